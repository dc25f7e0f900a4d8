//! From the rig to the scene: what this light, lens, camera and flow will show. The only step
//! between the two levels.

mod arrangement;
mod assessment;
mod budget;
mod camera;
mod facts;
mod flow;
mod flow_facts;
mod fluid;
mod known;
mod lens;
mod light;
mod measured;
mod motion;
mod peak;
mod proposal;
mod rig;
mod rules;
mod sampling;
mod scattering;
mod seeding;
mod source;
mod straddle;
#[cfg(test)]
mod tests;
mod timing;
mod tracer;
mod wanted;

use std::sync::Arc;

use motefield_evaluator::Processing;
use motefield_generator::{Exposure, Scene, SceneField};

use crate::keys::{self, Key};
use crate::quantity::Dimension;
use crate::setup::{Faults, Setup, SetupError, check_processing};
pub use arrangement::{Arrangement, fastest_velocity_m_s};
pub use assessment::Assessment;
use budget::LightBudget;
use camera::camera;
use facts::Facts;
pub use facts::{Fact, FactId, Heading, short};
use lens::{image_facts, imaging, oblique_facts, scale_facts};
use light::{background_e, light, sheet};
use motion::Motion;
use peak::{middle_pixel_share, peak_facts, streak};
pub use proposal::{FARTHEST, Proposal, ProposedChange};
pub use rig::Rig;
use rules::RuleInput;
pub use rules::{Fix, Rule, RuleId, Status};
pub use sampling::points;
use seeding::{density_ppp, seeding_facts};
pub use straddle::Straddle;
pub use timing::Speeds;
use timing::{longest, pulse_fraction, pulse_s, timing_facts};
use tracer::{brownian_facts, population, tracer_facts};

/// A planned experiment.
#[derive(Debug, Clone)]
pub struct Plan {
    /// What the pictures will show.
    pub scene: Scene,
    /// How they will be correlated.
    pub processing: Processing,
    /// What it was planned for.
    pub rig: Rig,
    /// Pulse length, s, where the setup has a rig.
    pub pulse_s: Option<f64>,
    /// Longest pulse that the separation and the exposures allow and the source bears, s.
    pub longest_pulse_s: Option<f64>,
    /// The key of what the source bears, where that is what limits it.
    pub longest_pulse_by: Option<&'static Key>,
    /// Everything worth telling, in the order of the way of the light.
    pub facts: Vec<Fact>,
}

impl Plan {
    /// Plans the experiment of a rig.
    ///
    /// # Errors
    /// When the setup lacks what a figure needs, or a figure is out of range: names the keys and
    /// the remedy.
    pub fn of(rig: Rig) -> Result<Plan, SetupError> {
        Plan::lit(rig, None)
    }

    /// The same with the photo-electrons of a particle given beforehand, in place of what the setup
    /// says about them.
    fn lit(rig: Rig, electrons: Option<f64>) -> Result<Plan, SetupError> {
        let mut faults = Faults::default();
        let mut facts = Facts::default();
        let scene = scene(&rig, electrons, &mut facts, &mut faults);
        faults.none()?;
        let setup = &rig.setup;
        let longest_streak_px = streak(scene.exposure, rig.speeds.fastest_px);
        timing_facts(setup, &rig.speeds, longest_streak_px, rig.px_per_m(), &mut facts);
        tracer_facts(setup, &mut facts)?;
        let in_focus = facts.value(FactId::ShareInCorrelation).unwrap_or(1.0);
        let particles = in_focus * seeding::particles_per_vector(setup, &scene);
        brownian_facts(&scene, particles, &mut facts);
        Ok(Plan {
            scene,
            processing: setup.processing.clone(),
            pulse_s: pulse_s(setup),
            longest_pulse_s: longest(setup).map(|longest| longest.pulse_s),
            longest_pulse_by: longest(setup).and_then(|longest| longest.limit),
            facts: facts.0,
            rig,
        })
    }

    /// The plan of another setup that reads the same files: a motion of the fluid that is known is
    /// not worked out anew.
    ///
    /// # Errors
    /// As [`Rig::of`] and [`of`](Plan::of).
    pub fn changed(&self, setup: &Setup) -> Result<Plan, SetupError> {
        Plan::of(self.rig.changed(setup)?)
    }

    /// A figure of the plan.
    pub fn figure(&self, id: FactId) -> Option<f64> {
        self.facts
            .iter()
            .find(|fact| fact.id == id)
            .map(|fact| fact.value)
    }

    /// Every rule of the trade to which the setup says enough, applied.
    pub fn rules(&self) -> Vec<Rule> {
        RuleInput::new(self, &self.motion()).rules()
    }

    fn motion(&self) -> Motion {
        let fluid = &self.rig.motion;
        Motion::of(&self.scene, fluid.flow.as_ref(), &fluid.moved, &fluid.lit)
    }
}

/// Plans the experiment of a setup.
///
/// # Errors
/// As [`Rig::of`] and [`Plan::of`].
pub fn plan(setup: &Setup) -> Result<Plan, SetupError> {
    Plan::of(Rig::of(setup)?)
}

/// The scene of a rig and the facts on the way to it. Every fault of the scene and of its processing
/// is kept.
fn scene(rig: &Rig, electrons: Option<f64>, facts: &mut Facts, faults: &mut Faults) -> Scene {
    let setup = &rig.setup;
    let mut scene = dark_scene(rig, faults);
    let longest_streak_px = streak(scene.exposure, rig.speeds.fastest_px);
    if let Some(lens) = &rig.lens {
        scale_facts(setup, lens, rig.size, facts);
        oblique_facts(&scene, lens.px_per_m, facts);
    }
    // Where the picture states the diameter, the rig's parts of it are beside the point.
    let stated = setup.image.particle_diameter_px.is_some();
    let parts = rig.image.as_ref().filter(|_| !stated);
    let thickness_m = setup
        .sheet
        .thickness
        .and(rig.px_per_m())
        .map(|px_per_m| rig.thickness_px / px_per_m);
    image_facts(parts, &scene, thickness_m, facts);
    seeding_facts(setup, &scene, rig.px_per_m(), facts);
    scene.electrons = match electrons {
        Some(electrons) => electrons,
        None => faults.or_default(photo_electrons(rig, &scene, longest_streak_px, facts)),
    };
    facts.quantity(FactId::Electrons, scene.electrons, Dimension::Electrons);
    peak_facts(&scene, &rig.speeds, facts);
    // A key that sets several quantities is told of by the first.
    let mut told: Vec<&Key> = Vec::new();
    for e in scene.faults() {
        let key = scene_key(setup, e.field);
        if !told.iter().any(|before| before.path == key.path) {
            let words = format!("gives a scene that cannot be rendered: {e}");
            faults.add(setup.error(key, words));
            told.push(key);
        }
    }
    faults.or_default(check_processing(setup, rig.size));
    scene
}

/// The scene of a rig but for the light of its particles, which the facts on the way to it tell. In
/// the place of what the setup lacks stands what a scene has by default.
fn dark_scene(rig: &Rig, faults: &mut Faults) -> Scene {
    let (setup, scale, lens) = (&rig.setup, &rig.scale(), rig.lens.as_ref());
    let (size, thickness_px) = (rig.size, rig.thickness_px);
    let diameter_px = match (setup.image.particle_diameter_px, &rig.image) {
        (Some(diameter), _) => diameter,
        (None, Some(image)) => image.diameter_px(),
        (None, None) => {
            if !setup.image.flat_field {
                faults.add(lens::lacking(setup));
            }
            Scene::default().particle_diameter_px
        }
    };
    let fraction = faults.or_default(pulse_fraction(setup));
    let exposure = match (setup.image.streak_px, fraction) {
        (Some(streak), _) => Exposure::Streak(streak),
        (None, fraction) => Exposure::Fraction(fraction.unwrap_or(0.0)),
    };
    let (imaging, geometric_diameter_px) = faults.or_default(imaging(setup, scale, lens));
    let middle = size.map(|n| 0.5 * (n as f64 - 1.0));
    let density = density_ppp(setup, scale.px_per_m, thickness_px);
    let population = population(setup, scale, lens, geometric_diameter_px, middle);
    Scene {
        size,
        particle_diameter_px: diameter_px,
        seeding_density_ppp: faults.or_default(density),
        electrons: 0.0,
        background_e: faults.or_default(background_e(setup)),
        sheet: faults.or_default(sheet(setup, scale, thickness_px)),
        light: faults.or_default(light(setup, scale, size)),
        population: faults.or_default(population),
        imaging,
        camera: faults.or_default(camera(setup)),
        exposure,
        flow: Arc::clone(&rig.motion.flow),
    }
}

/// Photo-electrons of a particle at the sheet's centre: as the picture states them, as measured, or
/// by the light budget.
fn photo_electrons(
    rig: &Rig,
    scene: &Scene,
    longest_streak_px: [f64; 2],
    facts: &mut Facts,
) -> Result<f64, SetupError> {
    let setup = &rig.setup;
    let image = &setup.image;
    match (image.electrons, image.peak_electrons, setup.light.measured) {
        (Some(electrons), _, _) => Ok(electrons),
        (None, Some(peak), _) => Ok(peak / middle_pixel_share(scene, longest_streak_px)),
        (None, None, _) if image.flat_field => Ok(0.0),
        (None, None, Some(measured)) => measured::electrons(rig, measured, facts),
        (None, None, None) => {
            let chain = LightBudget::of(setup, rig.lens.as_ref(), pulse_s(setup))?
                .ok_or_else(|| budget::lacking(setup))?;
            chain.tell(facts);
            Ok(chain.electrons())
        }
    }
}

/// The key to look at when the scene finds a quantity out of range: of those that may set it, the
/// one that the setup gives.
fn scene_key(setup: &Setup, field: SceneField) -> &'static Key {
    let may_set = keys_of(field);
    let given = may_set.iter().find(|key| setup.has(key));
    given.copied().unwrap_or(may_set[0])
}

/// What decides how many photo-electrons a particle gives.
const LIGHT_OF_PARTICLES: &[&Key] = &[
    keys::image::ELECTRONS,
    keys::image::PEAK_ELECTRONS,
    keys::light::MEASURED_GREY,
    keys::light::POWER,
    keys::light::PULSE_ENERGY,
    keys::light::PEAK_POWER,
    keys::light::LUMINOUS_FLUX,
    keys::light::ELECTRICAL_POWER,
];

/// The keys that may set a quantity of the scene, those that override others first.
fn keys_of(field: SceneField) -> &'static [&'static Key] {
    use keys::{camera, flow, image, lens, light, reflections, sheet, tracer};
    match field {
        SceneField::ImageSize => &[image::SIZE, camera::SIZE],
        SceneField::ParticleDiameter => &[image::PARTICLE_DIAMETER, lens::APERTURE, lens::NUMERICAL_APERTURE],
        SceneField::SeedingDensity => &[
            image::SEEDING_DENSITY,
            tracer::CONCENTRATION,
            tracer::PARTICLES_PER_WINDOW,
        ],
        SceneField::Electrons => LIGHT_OF_PARTICLES,
        SceneField::BackgroundA => &[image::BACKGROUND],
        SceneField::BackgroundB => &[image::BACKGROUND_B, image::BACKGROUND],
        SceneField::PulseFraction => &[image::PULSE_FRACTION, light::PULSE_LENGTH, camera::EXPOSURE],
        SceneField::Streak => &[image::STREAK],
        SceneField::Displacement => &[flow::KIND],
        SceneField::SheetThickness => &[sheet::THICKNESS, sheet::TILT_X, sheet::TILT_Y],
        SceneField::SheetOrder => &[sheet::ORDER],
        SceneField::SheetTiltX => &[sheet::TILT_X],
        SceneField::SheetTiltY => &[sheet::TILT_Y],
        SceneField::SheetHeight => &[sheet::HEIGHT],
        SceneField::EnergyRatio => &[light::ENERGY_RATIO, light::LENGTH_RATIO, camera::EXPOSURE_B],
        SceneField::LengthRatio => &[light::LENGTH_RATIO, camera::EXPOSURE_B, camera::EXPOSURE],
        SceneField::SheetOffset => &[sheet::OFFSET],
        SceneField::ThicknessRatio => &[sheet::THICKNESS_RATIO],
        SceneField::Jitter => &[image::JITTER, light::JITTER],
        SceneField::AmbientLight => &[light::AMBIENT, camera::EXPOSURE],
        SceneField::ReflectionPictureSize => &[reflections::PICTURE],
        SceneField::ReflectionPictureLight => &[reflections::PICTURE_PEAK],
        SceneField::GlarePeak => &[reflections::GLARE],
        SceneField::GlareX => &[reflections::GLARE_X],
        SceneField::GlareY => &[reflections::GLARE_Y],
        SceneField::GlareAngle => &[reflections::GLARE_ANGLE],
        SceneField::GlareWidth => &[reflections::GLARE_WIDTH],
        SceneField::HotSpotCount => &[reflections::HOT_SPOTS],
        SceneField::HotSpotPeak => &[reflections::HOT_SPOT_PEAK],
        SceneField::HotSpotDiameter => &[reflections::HOT_SPOT_DIAMETER],
        SceneField::DiameterSd => &[tracer::DIAMETER_SD],
        SceneField::DiameterLimits => &[tracer::DIAMETER_LIMITS],
        SceneField::BrightnessPower => &[tracer::BRIGHTNESS_POWER],
        SceneField::BrightnessTable => &[tracer::BRIGHTNESS, tracer::DIAMETER],
        SceneField::GeometricDiameter => &[image::GEOMETRIC_DIAMETER, tracer::DIAMETER],
        SceneField::ClusterSize => &[tracer::CLUSTER_SIZE],
        SceneField::Brownian => &[tracer::BROWNIAN, tracer::DIAMETER],
        SceneField::ClusterRadius => &[tracer::CLUSTER_RADIUS],
        SceneField::GradientX => &[tracer::GRADIENT_X],
        SceneField::GradientY => &[tracer::GRADIENT_Y],
        SceneField::UnseededCentre => &[tracer::UNSEEDED],
        SceneField::UnseededRadius => &[tracer::UNSEEDED],
        SceneField::UnseededShare => &[tracer::UNSEEDED],
        SceneField::Defocus => &[image::DEFOCUS, lens::DEFOCUS],
        SceneField::Focus => &[lens::FOCUS],
        SceneField::DiameterGrowth => &[lens::DIAMETER_GROWTH],
        SceneField::CameraDistance => &[lens::DISTANCE],
        SceneField::Distortion => &[lens::DISTORTION],
        SceneField::ImagePattern => &[lens::PATTERN],
        SceneField::FillFactor => &[camera::FILL_FACTOR],
        SceneField::ParasiticSensitivity => &[camera::PARASITIC_SENSITIVITY],
        SceneField::Bits => &[camera::BITS],
        SceneField::Gain => &[camera::GAIN],
        SceneField::FullWell => &[camera::FULL_WELL],
        SceneField::DarkNoise => &[camera::DARK_NOISE],
        SceneField::BlackLevel => &[camera::BLACK_LEVEL],
        SceneField::DarkCurrent => &[camera::DARK_CURRENT, camera::EXPOSURE],
        SceneField::Dsnu => &[camera::DSNU],
        SceneField::Prnu => &[camera::PRNU],
        SceneField::HotPixels => &[camera::HOT_PIXELS],
        SceneField::HotLevel => &[camera::HOT_LEVEL, camera::FULL_WELL],
        SceneField::DeadPixels => &[camera::DEAD_PIXELS],
        SceneField::Crosstalk => &[camera::CROSSTALK],
        SceneField::Nonlinearity => &[camera::NONLINEARITY],
    }
}

/// What of a list of keys is missing, as an error about `key`. Each entry is a key, and others that
/// would do in its place.
fn missing(setup: &Setup, key: &'static Key, needed: &[&[&'static Key]]) -> SetupError {
    let lacking: Vec<String> = needed
        .iter()
        .filter(|any| !any.iter().any(|key| setup.has(key)))
        .map(|any| match any {
            [key, other, ..] => format!("{} (or {})", key.path, other.path),
            _ => any.iter().map(|key| key.path).collect(),
        })
        .collect();
    let why = format!(
        "is not given, and to compute it the rig lacks {}: give either",
        lacking.join(", ")
    );
    setup.error(key, why)
}
