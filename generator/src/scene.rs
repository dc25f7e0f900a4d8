//! The scene: everything that decides how a pair looks, except the random seed.

use std::sync::Arc;

use crate::camera::Camera;
use crate::error::{SceneError, SceneField, failed, in_range, number};
use crate::flow::{Flow, Uniform};
use crate::imaging::Imaging;
use crate::light::{Exposure, Light};
use crate::population::Population;
use crate::sheet::Sheet;

/// What the pictures show: plain data from which [`render`](crate::render) makes pairs.
///
/// ```
/// use motefield_generator::{Scene, SceneField};
///
/// let mut scene = Scene { size: [32, 32], ..Scene::default() };
/// assert!(scene.validate().is_ok());
/// scene.seeding_density_ppp = -0.1;
/// let error = scene.validate().unwrap_err();
/// assert_eq!(error.field, SceneField::SeedingDensity);
/// assert_eq!(error.to_string(), "seeding density is -0.1 ppp, but must be 0 to 10 ppp");
/// ```
#[derive(Debug, Clone)]
pub struct Scene {
    /// Width and height of the frames, px; 1 to [`Scene::MAX_SIDE`] each.
    pub size: [usize; 2],
    /// Particle image diameter d_τ, px: the e⁻² diameter (four standard deviations) of the image
    /// before the pixels integrate it, of a particle of mean size in the plane in focus.
    pub particle_diameter_px: f64,
    /// Particles per pixel (ppp) within the sheet's thickness.
    pub seeding_density_ppp: f64,
    /// Photo-electrons of one particle image: a particle of brightness 1 in the middle of the
    /// sheet, lit by a pulse whose energy ratio is 1.
    pub electrons: f64,
    /// Photo-electrons of the background in every pixel, of frame A and of frame B.
    pub background_e: [f64; 2],
    /// The light sheet.
    pub sheet: Sheet,
    /// The two pulses and all light besides.
    pub light: Light,
    /// Sizes, brightness and arrangement of the particles.
    pub population: Population,
    /// The lens.
    pub imaging: Imaging,
    /// The camera.
    pub camera: Camera,
    /// Motion of the particles during a pulse.
    pub exposure: Exposure,
    /// The velocity field that moves the particles.
    pub flow: Arc<dyn Flow>,
}

impl Default for Scene {
    /// 512 × 512 px, 0.02 ppp of particles of 2.5 px and 5000 e at rest in a Gaussian sheet 10 px
    /// thick; no background, no sensor.
    fn default() -> Self {
        Scene {
            size: [512; 2],
            particle_diameter_px: 2.5,
            seeding_density_ppp: 0.02,
            electrons: 5000.0,
            background_e: [0.0; 2],
            sheet: Sheet::default(),
            light: Light::default(),
            population: Population::default(),
            imaging: Imaging::default(),
            camera: Camera::default(),
            exposure: Exposure::Fraction(0.0),
            flow: Arc::new(Uniform {
                displacement_px: [0.0; 3],
            }),
        }
    }
}

/// Smallest particle image, px: a smaller one is as good as a point, and tables of its pattern
/// would be finer than memory holds.
const SMALLEST_DIAMETER_PX: f64 = 0.01;
/// Most cells of the seeding, each with a random stream of its own, and most particles in them:
/// some minutes and a few GB for a pair.
const MOST_CELLS: f64 = 1e8;
const MOST_PARTICLES: f64 = 1e9;

/// Largest seeding density, ppp: far above the point where particle images merge into a continuum.
const MAX_SEEDING_PPP: f64 = 10.0;

impl Scene {
    /// Largest width or height, px: keeps a pair within a few GB.
    pub const MAX_SIDE: usize = 16_384;

    /// Checks that every quantity is in the range that rendering needs.
    ///
    /// # Errors
    /// The first of the [`faults`](Scene::faults).
    pub fn validate(&self) -> Result<(), SceneError> {
        self.faults().into_iter().next().map_or(Ok(()), Err)
    }

    /// Every quantity that is out of its range, with its value and the range.
    pub fn faults(&self) -> Vec<SceneError> {
        let mut faults = self.own_faults();
        faults.extend(self.sheet.faults());
        // Of what is out of range no amount can be told.
        if faults.is_empty() {
            faults.extend(self.amount_faults());
        }
        faults.extend(self.light.faults(self.exposure));
        faults.extend(self.light.reflections.faults(self.size));
        faults.extend(self.population.faults(self.particle_diameter_px));
        faults.extend(self.imaging.faults(self.farthest_px(), self.uniform_images()));
        faults.extend(self.camera.faults());
        faults
    }

    /// What is out of range of the scene's own quantities and its flow.
    fn own_faults(&self) -> Vec<SceneError> {
        let fastest = self.fastest_px();
        let side = |n: usize| (1..=Self::MAX_SIDE).contains(&n);
        let background = |field: SceneField, e: f64| in_range(field, e, "e", 0.0..=1e9, "0 to 1e9 e");
        failed([
            (
                SceneField::ImageSize,
                format!("{} x {} px", self.size[0], self.size[1]),
                side(self.size[0]) && side(self.size[1]),
                "1 to 16384 px on each side",
            ),
            number(
                SceneField::ParticleDiameter,
                self.particle_diameter_px,
                "px",
                (SMALLEST_DIAMETER_PX..=100.0).contains(&self.particle_diameter_px),
                "0.01 to 100 px",
            ),
            in_range(
                SceneField::SeedingDensity,
                self.seeding_density_ppp,
                "ppp",
                0.0..=MAX_SEEDING_PPP,
                "0 to 10 ppp",
            ),
            number(
                SceneField::Electrons,
                self.electrons,
                "e",
                self.electrons >= 0.0 && self.electrons <= 1e12,
                "0 to 1e12 e",
            ),
            background(SceneField::BackgroundA, self.background_e[0]),
            background(SceneField::BackgroundB, self.background_e[1]),
            match self.exposure {
                Exposure::Fraction(f) => in_range(
                    SceneField::PulseFraction,
                    f,
                    "",
                    0.0..=1.0,
                    "0 to 1 (a pulse cannot outlast the pulse separation)",
                ),
                Exposure::Streak([x, y]) => number(
                    SceneField::Streak,
                    libm::hypot(x, y),
                    "px",
                    libm::hypot(x, y) <= 1000.0,
                    "0 to 1000 px",
                ),
            },
            number(
                SceneField::Displacement,
                fastest,
                "px",
                fastest <= Self::MAX_SIDE as f64,
                "at most 16384 px, the side of the largest picture",
            ),
        ])
    }

    /// Whether rendering needs more time or memory than there is.
    fn amount_faults(&self) -> Vec<SceneError> {
        let cost = self.cost();
        failed([
            (
                SceneField::SheetThickness,
                format!(
                    "{} px, which makes {:.1e} cells of particles",
                    self.sheet.thickness_px, cost.cells
                ),
                cost.cells <= MOST_CELLS,
                "so thick, or so little tilted and offset, that there are at most 1e8 cells half as deep",
            ),
            (
                SceneField::SeedingDensity,
                format!(
                    "{} ppp, which makes {:.1e} particles",
                    self.seeding_density_ppp, cost.particles
                ),
                cost.particles <= MOST_PARTICLES,
                "so thin, or the picture so small, that there are at most 1e9",
            ),
        ])
    }

    /// Largest displacement on a grid of 17 × 17 points over the picture, px; infinite where one is
    /// no number.
    fn fastest_px(&self) -> f64 {
        const SIDE: usize = 17;
        let place = |k: usize, axis: usize| self.size[axis] as f64 * k as f64 / (SIDE - 1) as f64 - 0.5;
        let speed = |k: usize| {
            let at = [place(k % SIDE, 0), place(k / SIDE, 1), 0.0];
            let square: f64 = self.flow.velocity(at, 0.0).iter().map(|v| v * v).sum();
            if square.is_nan() {
                f64::INFINITY
            } else {
                libm::sqrt(square)
            }
        };
        (0..SIDE * SIDE).map(speed).fold(0.0, f64::max)
    }

    /// Largest depth of a lit particle in the picture, px, whichever way the sheet leans.
    pub(crate) fn farthest_px(&self) -> f64 {
        let [sx, sy] = self.sheet.slope;
        let [w, h] = self.size.map(|n| n as f64);
        self.deepest_px() + 0.5 * (sx.abs() * w + sy.abs() * h)
    }

    /// Whether all particle images are alike, at most 10 px wide and on full pixels.
    fn uniform_images(&self) -> bool {
        self.population.geometric_diameter_px == 0.0
            && self.particle_diameter_px <= 10.0
            && self.camera.fill_factor == 1.0
    }

    /// Distance from the sheet's middle plane beyond which neither pulse lights particles, px.
    pub(crate) fn deepest_px(&self) -> f64 {
        let reach = self.sheet.reach_px();
        self.light
            .pulses
            .iter()
            .map(|pulse| pulse.offset_px.abs() + pulse.thickness_ratio * reach)
            .fold(0.0, f64::max)
    }
}
