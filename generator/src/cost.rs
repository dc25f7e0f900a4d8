//! What rendering a pair takes.

use crate::scene::Scene;
use crate::seeding::{CELL_DEPTH, CELL_PX};

/// What rendering a pair takes; see [`Scene::cost`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cost {
    /// Cells in which particles are drawn.
    pub cells: f64,
    /// Particles in them.
    pub particles: f64,
    /// Memory for the frames, bytes.
    pub memory_bytes: f64,
}

impl Scene {
    /// What rendering a pair takes, estimated from the picture, the sheet and the seeding without
    /// the way that particles go during the pulses.
    ///
    /// ```
    /// use motefield_generator::Scene;
    ///
    /// let cost = Scene { size: [1000, 500], seeding_density_ppp: 0.02, ..Scene::default() }.cost();
    /// assert!(cost.particles > 10_000.0 && cost.memory_bytes > 4e6);
    /// ```
    pub fn cost(&self) -> Cost {
        let [width, height] = self.size.map(|n| n as f64);
        let depth = 2.0 * self.farthest_px();
        let thickness = self.sheet.thickness_px;
        let columns = (width / CELL_PX + 2.0) * (height / CELL_PX + 2.0);
        let cells = columns * (depth / (CELL_DEPTH * thickness) + 2.0);
        let lit = 2.0 * self.deepest_px() / thickness;
        let particles = self.seeding_density_ppp * width * height * lit.max(1.0);
        // Two frames of four bytes per pixel, twice while they are put together and read, and the
        // true displacement of sixteen.
        let memory_bytes = width * height * (2.0 * 4.0 * 2.0 + 16.0);
        Cost {
            cells,
            particles,
            memory_bytes,
        }
    }
}
