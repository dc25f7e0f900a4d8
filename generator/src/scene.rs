//! What the pictures show: the plain value from which a pair is rendered.

mod error;

use std::sync::Arc;

use crate::camera::Camera;
use crate::flow::{Flow, Uniform};
use crate::imaging::Imaging;
use crate::light::Light;
use crate::population::Population;
use crate::sheet::Sheet;
pub use error::{SceneError, SceneField};
pub(crate) use error::{check, number};

/// How a particle moves while a pulse lights it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Exposure {
    /// Each pulse lasts this fraction of the pulse separation, and every particle follows its pathline meanwhile:
    /// the streak is the local displacement times the fraction.
    Fraction(f64),
    /// Every particle draws the same straight streak (x, y), px, about its place at mid-pulse.
    Streak([f64; 2]),
}

/// Everything that decides how a pair looks, but for the seed.
#[derive(Debug, Clone)]
pub struct Scene {
    /// Width and height, px.
    pub size: [usize; 2],
    /// Particle image diameter d_τ (e⁻², four standard deviations of the Gaussian image before the pixels integrate it), px.
    pub particle_diameter_px: f64,
    /// Particles per pixel inside the sheet's thickness.
    pub seeding_density_ppp: f64,
    /// Photo-electrons of one particle image at the sheet's centre, of a particle of brightness 1 in a pulse of energy 1.
    pub electrons: f64,
    /// Photo-electrons of the background in every pixel of frame A and of frame B.
    pub background_e: [f64; 2],
    /// The light sheet.
    pub sheet: Sheet,
    /// The two pulses and all other light.
    pub light: Light,
    /// The particles as a crowd.
    pub population: Population,
    /// The lens.
    pub imaging: Imaging,
    /// The camera.
    pub camera: Camera,
    /// Motion during a pulse.
    pub exposure: Exposure,
    /// What moves the particles.
    pub flow: Arc<dyn Flow>,
}

impl Default for Scene {
    /// A plain scene of 512 × 512 px with particles at rest, without a sensor.
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

/// Largest width or height, px: keeps a pair within a few GB.
pub const MAX_SIDE: usize = 16_384;
/// Largest seeding density, ppp: far above the point where particle images merge into a continuum.
pub const MAX_SEEDING_PPP: f64 = 10.0;

impl Scene {
    /// Checks every number against what rendering needs.
    ///
    /// # Errors
    /// The first quantity that is out of its range, with the range.
    pub fn validate(&self) -> Result<(), SceneError> {
        let side = |n: usize| (1..=MAX_SIDE).contains(&n);
        let background =
            |field: SceneField, e: f64| number(field, e, "e", (0.0..=1e9).contains(&e), "0 to 1e9 e");
        check([
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
                self.particle_diameter_px > 0.0 && self.particle_diameter_px <= 100.0,
                "above 0 and at most 100 px",
            ),
            number(
                SceneField::SeedingDensity,
                self.seeding_density_ppp,
                "ppp",
                (0.0..=MAX_SEEDING_PPP).contains(&self.seeding_density_ppp),
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
                Exposure::Fraction(f) => number(
                    SceneField::PulseFraction,
                    f,
                    "",
                    (0.0..=1.0).contains(&f),
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
        ])?;
        self.sheet.validate()?;
        self.light.validate(self.exposure)?;
        self.light.reflections.validate(self.size)?;
        self.population.validate(self.particle_diameter_px)?;
        self.imaging.validate(self)?;
        self.camera.validate()
    }
}

impl Scene {
    /// Depth on either side of the sheet's middle plane beyond which neither pulse shines, px.
    pub(crate) fn deepest_px(&self) -> f64 {
        let reach = self.sheet.reach_px();
        self.light
            .pulses
            .iter()
            .map(|pulse| pulse.offset_px.abs() + pulse.thickness_ratio * reach)
            .fold(0.0, f64::max)
    }
}
