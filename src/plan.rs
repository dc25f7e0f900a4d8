//! From the rig to the scene: what this light, lens, camera and flow will show. The only step between the two levels.

mod camera;
mod facts;
mod flow;
mod lens;
mod light;
#[cfg(test)]
mod tests;
mod timing;
mod tracer;

use motefield_evaluator::Processing;
use motefield_generator::{Exposure, Scene};

use crate::quantity::Dimension;
use crate::setup::{Setup, SetupError, check_processing};
use camera::sensor;
use facts::Facts;
pub use facts::{Fact, short};
use flow::{Scale, flow};
use lens::{imaging, middle_pixel_share, particle_image, rig_lens};
use light::{light, light_chain, sheet};
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

const LIGHT: &str = "Light";
const IMAGE: &str = "Image";
const TIMING: &str = "Timing";
const TRACER: &str = "Tracer";

/// Thickness, px, of the sheet of a scene that names none: nothing but the scale of depth, for flows that do not change with it.
const USUAL_THICKNESS_PX: f64 = 10.0;

/// Plans the experiment of a setup.
///
/// # Errors
/// When the setup lacks what a figure needs, or a figure is out of range: names the keys and the remedy.
pub fn plan(setup: &Setup) -> Result<Plan, SetupError> {
    let mut facts = Facts::default();
    let size = setup.image.size.or(setup.camera.size).ok_or_else(|| {
        setup.error(
            "camera.size",
            "is missing: write for example size = [1024, 1024] under [camera] or [image]",
        )
    })?;
    let lens = rig_lens(setup, size)?;
    let px_per_m = lens.as_ref().map(|l| l.px_per_m);
    let scale = Scale {
        setup,
        px_per_m,
        separation_s: setup.separation_s,
    };
    if let Some(px_per_m) = px_per_m {
        facts.quantity(
            IMAGE,
            "field_width_m",
            "field of view, width",
            size[0] as f64 / px_per_m,
            Dimension::Length,
        );
        facts.quantity(
            IMAGE,
            "pixel_in_sheet_m",
            "one pixel in the sheet",
            1.0 / px_per_m,
            Dimension::Length,
        );
    }
    if let Some(l) = &lens {
        facts.figure(IMAGE, "magnification", "magnification", l.magnification, "");
    }

    let thickness_px = match setup.sheet.thickness {
        Some(thickness) => scale.extent(thickness, "sheet.thickness")?,
        None => USUAL_THICKNESS_PX,
    };
    let sheet = sheet(setup, &scale, thickness_px)?;

    let flat_field = setup.image.flat_field;
    let diameter_px = match setup.image.particle_diameter_px {
        Some(diameter) => diameter,
        None if flat_field => Scene::default().diameter_px,
        None => particle_image(setup, lens.as_ref(), &mut facts)?,
    };
    facts.figure(
        IMAGE,
        "particle_image_diameter_px",
        "particle image diameter (e^-2)",
        diameter_px,
        "px",
    );

    let seeding_ppp = match (setup.image.seeding_ppp, setup.tracer.concentration_m3) {
        (Some(ppp), _) => ppp,
        (None, _) if flat_field => 0.0,
        (None, Some(concentration)) => {
            let needs = "needs the sheet's thickness and the lens: give sheet.thickness, lens.magnification and camera.pixel, or image.seeding_density";
            let px_per_m = px_per_m.ok_or_else(|| setup.error("tracer.concentration", needs))?;
            concentration * (thickness_px / px_per_m) / (px_per_m * px_per_m)
        }
        (None, None) => {
            return Err(setup.error("image.seeding_density", "is missing: write for example seeding_density = \"0.02 ppp\" under [image], or concentration = \"10 /mm3\" under [tracer]"));
        }
    };
    facts.figure(
        IMAGE,
        "seeding_density_ppp",
        "seeding density",
        seeding_ppp,
        "ppp",
    );

    let fraction = pulse_fraction(setup)?;
    let flow = flow(setup, &scale, size, thickness_px)?;
    let exposure = match (setup.image.streak_px, fraction) {
        (Some(streak), _) => Exposure::Streak(streak),
        (None, fraction) => Exposure::Fraction(fraction.unwrap_or(0.0)),
    };
    let speeds = Speeds::of(size, flow.as_ref());
    let longest_streak_px = match exposure {
        Exposure::Fraction(f) => [f * speeds.fastest_px, 0.0],
        Exposure::Streak(streak) => streak,
    };
    let peak_share = middle_pixel_share(diameter_px, longest_streak_px);
    let electrons = match (setup.image.electrons, setup.image.peak_electrons) {
        (Some(electrons), _) => electrons,
        (None, Some(peak)) => peak / peak_share,
        (None, None) if flat_field => 0.0,
        (None, None) => light_chain(setup, lens.as_ref(), &mut facts)?,
    };
    facts.quantity(
        LIGHT,
        "electrons_e",
        "photo-electrons of a particle at sheet centre",
        electrons,
        Dimension::Electrons,
    );
    let sensor = sensor(setup)?;
    let light = light(setup, &scale, size)?;
    let (imaging, geometric_px) = imaging(setup, &scale, lens.as_ref())?;
    let middle = size.map(|n| 0.5 * (n as f64 - 1.0));
    let population = population(setup, &scale, lens.as_ref(), geometric_px, middle)?;
    if let Some(sensor) = &sensor {
        let peak = electrons * peak_share;
        let background = setup.image.background_e.unwrap_or(0.0) + light.ambient_e[0] + sensor.dark_e[0];
        let noise =
            (peak + background + sensor.dark_noise_e.powi(2) + 1.0 / (12.0 * sensor.gain_dn_per_e.powi(2)))
                .sqrt();
        facts.quantity(
            LIGHT,
            "peak_electrons_e",
            "pixel in the middle of its longest streak",
            peak,
            Dimension::Electrons,
        );
        facts.figure(
            LIGHT,
            "peak_snr",
            "its signal-to-noise ratio (EMVA 1288)",
            peak / noise,
            "",
        );
        facts.figure(
            LIGHT,
            "peak_share_of_full_well",
            "its share of the full well",
            (peak + background) / sensor.full_well_e,
            "",
        );
    }

    let scene = Scene {
        size,
        diameter_px,
        seeding_ppp,
        electrons,
        background_e: setup.image.background_e.unwrap_or(0.0),
        sheet,
        light,
        population,
        imaging,
        exposure,
        flow,
        sensor,
    };
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
