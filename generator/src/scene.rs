//! What the pictures show: the plain value from which a pair is rendered.

use std::sync::Arc;

use crate::flow::{Flow, Uniform};
use crate::imaging::Imaging;
use crate::light::Light;
use crate::population::Population;
use crate::sensor::Sensor;
use crate::sheet::Sheet;

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
    pub diameter_px: f64,
    /// Particles per pixel inside the sheet's thickness.
    pub seeding_ppp: f64,
    /// Photo-electrons of one particle image at the sheet's centre, of a particle of brightness 1 in a pulse of energy 1.
    pub electrons: f64,
    /// Photo-electrons of the background in every pixel of each frame.
    pub background_e: f64,
    /// The light sheet.
    pub sheet: Sheet,
    /// The two pulses and all other light.
    pub light: Light,
    /// The particles as a crowd.
    pub population: Population,
    /// Lens and pixel.
    pub imaging: Imaging,
    /// Motion during a pulse.
    pub exposure: Exposure,
    /// What moves the particles.
    pub flow: Arc<dyn Flow>,
    /// The camera; `None` keeps the expected photo-electrons as they are: no noise, no clipping, no grey levels.
    pub sensor: Option<Sensor>,
}

impl Default for Scene {
    /// A plain scene of 512 × 512 px with particles at rest, without a sensor.
    fn default() -> Self {
        Scene {
            size: [512; 2],
            diameter_px: 2.5,
            seeding_ppp: 0.02,
            electrons: 5000.0,
            background_e: 0.0,
            sheet: Sheet::default(),
            light: Light::default(),
            population: Population::default(),
            imaging: Imaging::default(),
            exposure: Exposure::Fraction(0.0),
            flow: Arc::new(Uniform {
                displacement_px: [0.0; 3],
            }),
            sensor: None,
        }
    }
}

/// A scene that cannot be rendered.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{what} is {value}, but must be {must}")]
pub struct SceneError {
    /// The quantity, in the trade's words.
    pub what: &'static str,
    /// The value it has.
    pub value: String,
    /// What it must be.
    pub must: &'static str,
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
        check([
            (
                "image size",
                format!("{} x {} px", self.size[0], self.size[1]),
                side(self.size[0]) && side(self.size[1]),
                "1 to 16384 px on each side",
            ),
            number(
                "particle image diameter",
                self.diameter_px,
                "px",
                self.diameter_px > 0.0 && self.diameter_px <= 100.0,
                "above 0 and at most 100 px",
            ),
            number(
                "seeding density",
                self.seeding_ppp,
                "ppp",
                (0.0..=MAX_SEEDING_PPP).contains(&self.seeding_ppp),
                "0 to 10 ppp",
            ),
            number(
                "photo-electrons per particle",
                self.electrons,
                "e",
                self.electrons >= 0.0 && self.electrons <= 1e12,
                "0 to 1e12 e",
            ),
            number(
                "background",
                self.background_e,
                "e",
                self.background_e >= 0.0 && self.background_e <= 1e9,
                "0 to 1e9 e",
            ),
            match self.exposure {
                Exposure::Fraction(f) => number(
                    "pulse length over pulse separation",
                    f,
                    "",
                    (0.0..=1.0).contains(&f),
                    "0 to 1 (a pulse cannot outlast the pulse separation)",
                ),
                Exposure::Streak([x, y]) => number(
                    "streak length",
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
        self.population.validate(self.diameter_px)?;
        self.imaging.validate(self)?;
        self.sensor.as_ref().map_or(Ok(()), Sensor::validate)
    }
}

impl Scene {
    /// Depth on either side of the sheet's middle plane beyond which neither pulse shines, px.
    pub(crate) fn deepest_px(&self) -> f64 {
        let reach = self.sheet.reach_px();
        self.light
            .pulses
            .iter()
            .map(|pulse| pulse.offset_px.abs() + pulse.thickness * reach)
            .fold(0.0, f64::max)
    }
}

/// A quantity, its value for people, whether it is good, and what it must be.
pub(crate) type Check = (&'static str, String, bool, &'static str);

/// The first of the checks that failed, as an error.
pub(crate) fn check(checks: impl IntoIterator<Item = Check>) -> Result<(), SceneError> {
    match checks.into_iter().find(|check| !check.2) {
        Some((what, value, _, must)) => Err(SceneError { what, value, must }),
        None => Ok(()),
    }
}

pub(crate) fn number(what: &'static str, value: f64, unit: &str, good: bool, must: &'static str) -> Check {
    (what, format!("{value} {unit}").trim_end().to_owned(), good, must)
}
