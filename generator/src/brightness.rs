//! How bright a scene is at a place of its picture.

use crate::reflection::Reflections;
use crate::scene::Scene;
use crate::view::View;

impl Scene {
    /// Light that particles in the sheet's middle plane give per area at the point (x, y) of the
    /// picture, px, over that of evenly seeded particles in the middle of the sheet: by the height
    /// of the sheet and the seeding there.
    ///
    /// ```
    /// use motefield_generator::{Profile, Scene};
    ///
    /// let mut scene = Scene { size: [65, 65], ..Scene::default() };
    /// scene.sheet.height = Some((Profile::Gaussian, 64.0));
    /// assert_eq!(scene.particle_light(3.0, 32.0), 1.0);
    /// // Half the height off the middle: e^-2.
    /// assert!((scene.particle_light(3.0, 64.0) - (-2.0_f64).exp()).abs() < 1e-12);
    /// ```
    pub fn particle_light(&self, x_px: f64, y_px: f64) -> f64 {
        let view = View::of(self);
        let at = view.unproject(x_px, y_px, 0.0, self.sheet.slope);
        self.sheet.along(at[1], view.middle) * self.population.density(at[0], at[1], view.middle)
    }

    /// Photo-electrons that shine on the pixel in this column and row without any particle, of
    /// frame A; hot spots, which are small, left out.
    ///
    /// # Panics
    /// When there is no such pixel.
    pub fn steady_light_e(&self, column: usize, row: usize) -> f64 {
        let reflections = Reflections {
            hot_spots: None,
            ..self.light.reflections.clone()
        };
        let pixel = [column..column + 1, row..row + 1];
        let reflected = reflections.part(self.size, pixel, crate::Seed::default());
        let reflected = reflected.map_or(0.0, |light| f64::from(light[[0, 0]]));
        self.background_e[0] + self.light.ambient_e[0] + reflected * self.light.pulses[0].energy_ratio
    }
}
