//! From the rig to the scene: what this light, lens, camera and flow will show. The only step between the two levels.

mod arrangement;
mod budget;
mod camera;
mod diagram;
mod facts;
mod flow;
mod flow_facts;
mod lens;
mod light;
mod measured;
mod motion;
pub mod page;
mod peak;
mod rules;
mod scattering;
mod seeding;
mod straddle;
#[cfg(test)]
mod tests;
mod timing;
mod tracer;
mod wanted;

use motefield_evaluator::Processing;
use motefield_generator::{Exposure, Scene};

use crate::quantity::Dimension;
use crate::setup::{Setup, SetupError, check_processing};
pub use arrangement::{Arrangement, fastest_velocity_m_s};
use budget::Chain;
use camera::sensor;
pub use diagram::{Diagram, Edge, Lane, Span};
use facts::Facts;
pub use facts::{Fact, short};
use flow::{Scale, flow};
use lens::{ParticleImage, RigLens, image_facts, imaging, rig_lens, scale_facts};
use light::{light, sheet};
use peak::{middle_pixel_share, peak_facts, streak};
pub use rules::{Fix, Rule, Status, rules};
use seeding::{density_ppp, seeding_facts};
pub use straddle::Straddle;
pub use timing::Speeds;
use timing::{longest_pulse_s, pulse_fraction, pulse_s, timing_facts};
use tracer::{population, tracer_facts};

/// A planned experiment.
#[derive(Debug, Clone)]
pub struct Plan {
    /// What the pictures will show.
    pub scene: Scene,
    /// How they will be correlated.
    pub processing: Processing,
    /// Pulse separation Δt, s, where the setup has a rig.
    pub separation_s: Option<f64>,
    /// Pulse length, s, where the setup has a rig.
    pub pulse_s: Option<f64>,
    /// Longest pulse that the separation and the exposures allow, s.
    pub longest_pulse_s: Option<f64>,
    /// Pixels a metre in the plane of the sheet, where the setup has a lens.
    pub px_per_m: Option<f64>,
    /// Everything worth telling, in the order of the way of the light.
    pub facts: Vec<Fact>,
}

const SCALE: &str = "Scale and sampling";
const LIGHT: &str = "Light budget";
const TIMING: &str = "Timing";
const FLOW: &str = "Flow and tracer";

/// Thickness, px, of the sheet of a scene that names none: nothing but the scale of depth, for flows that do not change with it.
const USUAL_THICKNESS_PX: f64 = 10.0;

impl Plan {
    /// The figure of this name.
    pub fn figure(&self, name: &str) -> Option<f64> {
        self.facts
            .iter()
            .find(|fact| fact.name == name)
            .map(|fact| fact.value)
    }
}

/// Plans the experiment of a setup.
///
/// # Errors
/// When the setup lacks what a figure needs, or a figure is out of range: names the keys and the remedy.
pub fn plan(setup: &Setup) -> Result<Plan, SetupError> {
    plan_with(setup, None)
}

fn picture_size(setup: &Setup) -> Result<[usize; 2], SetupError> {
    setup.image.size.or(setup.camera.size).ok_or_else(|| {
        setup.error(
            "camera.size",
            "is missing: write for example size = [1024, 1024] under [camera] or [image]",
        )
    })
}

fn thickness_px(setup: &Setup, scale: &Scale) -> Result<f64, SetupError> {
    match setup.sheet.thickness {
        Some(thickness) => scale.extent(thickness, "sheet.thickness"),
        None => Ok(USUAL_THICKNESS_PX),
    }
}

/// The same with the photo-electrons of a particle given beforehand, in place of what the setup says about them.
fn plan_with(setup: &Setup, electrons: Option<f64>) -> Result<Plan, SetupError> {
    let setup = &*wanted::with_separation(setup)?;
    let size = picture_size(setup)?;
    let lens = rig_lens(setup, size)?;
    let px_per_m = lens.as_ref().map(|l| l.px_per_m);
    let scale = Scale {
        setup,
        px_per_m,
        separation_s: setup.separation_s,
    };
    let thickness_px = thickness_px(setup, &scale)?;
    let image = ParticleImage::of(setup, lens.as_ref())?;
    let diameter_px = match (setup.image.particle_diameter_px, &image) {
        (Some(diameter), _) => diameter,
        (None, Some(image)) => image.diameter_px(),
        (None, None) if setup.image.flat_field => Scene::default().diameter_px,
        (None, None) => return Err(lens::lacking(setup)),
    };
    let exposure = match (setup.image.streak_px, pulse_fraction(setup)?) {
        (Some(streak), _) => Exposure::Streak(streak),
        (None, fraction) => Exposure::Fraction(fraction.unwrap_or(0.0)),
    };
    let (imaging, geometric_px) = imaging(setup, &scale, lens.as_ref())?;
    let middle = size.map(|n| 0.5 * (n as f64 - 1.0));
    let mut scene = Scene {
        size,
        diameter_px,
        seeding_ppp: density_ppp(setup, px_per_m, thickness_px)?,
        electrons: 0.0,
        background_e: setup.image.background_e.unwrap_or(0.0),
        sheet: sheet(setup, &scale, thickness_px)?,
        light: light(setup, &scale, size)?,
        population: population(setup, &scale, lens.as_ref(), geometric_px, middle)?,
        imaging,
        exposure,
        flow: flow(setup, &scale, size, thickness_px)?,
        sensor: sensor(setup)?,
    };
    let speeds = Speeds::of(size, scene.flow.as_ref());
    let longest_streak_px = streak(exposure, speeds.fastest_px);

    let mut facts = Facts::default();
    if let Some(lens) = &lens {
        scale_facts(lens, size, &mut facts);
    }
    // Where the picture states the diameter, the rig's parts of it are beside the point.
    let parts = image
        .as_ref()
        .filter(|_| setup.image.particle_diameter_px.is_none());
    let thickness_m = setup
        .sheet
        .thickness
        .zip(px_per_m)
        .map(|_| thickness_px / px_per_m.unwrap_or(1.0));
    image_facts(parts, &scene, thickness_m, &mut facts);
    seeding_facts(setup, &scene, px_per_m, &mut facts);
    scene.electrons = match electrons {
        Some(electrons) => electrons,
        None => photo_electrons(setup, lens.as_ref(), &scene, longest_streak_px, &mut facts)?,
    };
    facts.quantity(
        LIGHT,
        "electrons_e",
        "photo-electrons of a particle at sheet centre",
        scene.electrons,
        Dimension::Electrons,
    );
    peak_facts(&scene, &speeds, &mut facts);
    scene.validate().map_err(|e| {
        setup.error(
            scene_key(e.what),
            format!("gives a scene that cannot be rendered: {e}"),
        )
    })?;
    check_processing(setup, size)?;
    timing_facts(setup, &speeds, longest_streak_px, px_per_m, &mut facts);
    tracer_facts(setup, &mut facts)?;
    Ok(Plan {
        scene,
        processing: setup.processing.clone(),
        separation_s: setup.separation_s,
        pulse_s: pulse_s(setup),
        longest_pulse_s: longest_pulse_s(setup),
        px_per_m,
        facts: facts.0,
    })
}

/// Photo-electrons of a particle at the sheet's centre: as the picture states them, as measured, or by the light budget.
fn photo_electrons(
    setup: &Setup,
    lens: Option<&RigLens>,
    scene: &Scene,
    longest_streak_px: [f64; 2],
    facts: &mut Facts,
) -> Result<f64, SetupError> {
    let image = &setup.image;
    match (image.electrons, image.peak_electrons, setup.light.measured) {
        (Some(electrons), _, _) => Ok(electrons),
        (None, Some(peak), _) => Ok(peak / middle_pixel_share(scene, longest_streak_px)),
        (None, None, _) if image.flat_field => Ok(0.0),
        (None, None, Some(measured)) => measured::electrons(setup, lens, measured, facts),
        (None, None, None) => {
            let chain = Chain::of(setup, lens, pulse_s(setup))?.ok_or_else(|| budget::lacking(setup))?;
            chain.tell(facts);
            Ok(chain.electrons())
        }
    }
}

/// The key to look at when the scene finds a quantity out of range.
fn scene_key(what: &str) -> &'static str {
    match what {
        "image size" => "camera.size",
        "particle image diameter" => "image.particle_diameter",
        "seeding density" => "image.seeding_density",
        "photo-electrons per particle" => "image.electrons",
        "background" => "image.background",
        "sheet thickness" => "sheet.thickness",
        "sheet order" => "sheet.order",
        "sheet tilt" => "sheet.tilt_x",
        "sheet height" => "sheet.height",
        "energy ratio of the pulses" => "light.energy_ratio",
        "length ratio of the pulses" => "light.length_ratio",
        "offset of the pulses in depth" => "sheet.offset",
        "thickness ratio of the pulses" => "sheet.thickness_ratio",
        "timing jitter" => "light.jitter",
        "ambient light" => "light.ambient",
        "parasitic sensitivity" => "camera.parasitic_sensitivity",
        "reflection picture" | "light of the reflection picture" => "reflections.picture",
        "glare" => "reflections.glare",
        "width of the glare" => "reflections.glare_width",
        "hot spots" => "reflections.hot_spot_peak",
        "number of hot spots" => "reflections.hot_spots",
        "size of the hot spots" => "reflections.hot_spot_diameter",
        "spread of the diameters" => "tracer.diameter_sd",
        "limits of the diameters" => "tracer.diameter_limits",
        "power of the brightness" => "tracer.brightness_power",
        "geometric image" => "image.geometric_diameter",
        "cluster size" => "tracer.cluster_size",
        "cluster radius" => "tracer.cluster_radius",
        "seeding gradient" => "tracer.gradient_x",
        "radius of an unseeded region" | "share of seeding in an unseeded region" => "tracer.unseeded",
        "defocus" => "image.defocus",
        "depth of the plane in focus" => "lens.focus",
        "growth of the diameter" => "lens.diameter_growth",
        "fill factor" => "camera.fill_factor",
        "camera distance" => "lens.distance",
        "distortion" => "lens.distortion",
        "image pattern" => "lens.pattern",
        "dark signal" => "camera.dark_current",
        "DSNU" => "camera.dsnu",
        "PRNU" => "camera.prnu",
        "share of hot pixels" => "camera.hot_pixels",
        "signal of hot pixels" => "camera.hot_level",
        "share of dead pixels" => "camera.dead_pixels",
        "crosstalk" => "camera.crosstalk",
        "pulse length over pulse separation" => "light.pulse_length",
        "streak length" => "image.streak",
        "full-well capacity" => "camera.full_well",
        "dark noise" => "camera.dark_noise",
        "black level" => "camera.black_level",
        "camera gain" => "camera.gain",
        _ => "camera.bits",
    }
}

/// What of a list of keys is missing, as an error about `key`.
fn missing(setup: &Setup, key: &str, needed: &[(&str, bool)]) -> SetupError {
    let lacking: Vec<&str> = needed
        .iter()
        .filter(|(_, there)| !there)
        .map(|(name, _)| *name)
        .collect();
    setup.error(
        key,
        format!(
            "is not given, and to compute it the rig lacks {}: give either",
            lacking.join(", ")
        ),
    )
}
