//! The brightest pixels of the particle images: their light, grey level, signal-to-noise ratio, and
//! how near they come to saturation.

use std::convert::Infallible;

use motefield_generator::{Exposure, Scene, Sensor};

use super::facts::{FactId, Facts, short};
use super::known::Known;
use super::timing::Speeds;
use crate::quantity::Dimension as D;

/// Share of the particles that are no brighter than the one whose image counts as brightest, where
/// particles differ.
const BRIGHTEST_RANK: f64 = 0.95;

/// Share of a particle image's light in the pixel on which the middle of its straight streak (x,
/// y), px, stands: the mean along the streak of the Gaussian's integral over that pixel's sensitive
/// square, σ = d_τ/4 (Simpson's rule, 1e-6 for streaks to 100 px), less what crosstalk takes from
/// it and plus what its neighbours give back.
pub(super) fn middle_pixel_share(scene: &Scene, streak_px: [f64; 2]) -> f64 {
    let crosstalk = scene
        .camera
        .sensor
        .as_ref()
        .map_or(0.0, |sensor| sensor.crosstalk);
    let own = pixel_share(scene, streak_px, [0.0; 2]);
    if crosstalk == 0.0 {
        return own;
    }
    let beside: f64 = [[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]]
        .into_iter()
        .map(|at| pixel_share(scene, streak_px, at))
        .sum();
    (1.0 - crosstalk) * own + 0.25 * crosstalk * beside
}

/// The same for the pixel `at` from the middle, without crosstalk. What falls between the sensitive
/// squares is lost, and made up for by a brighter image on average.
fn pixel_share(scene: &Scene, streak_px: [f64; 2], at: [f64; 2]) -> f64 {
    static KNOWN: Known<6> = Known::new();
    let (fill_factor, diameter_px) = (scene.camera.fill_factor, scene.particle_diameter_px);
    let numbers = [fill_factor, diameter_px, streak_px[0], streak_px[1], at[0], at[1]];
    let compute = || Ok::<f64, Infallible>(mean_along(fill_factor, diameter_px, streak_px, at));
    let Ok(share) = KNOWN.or_compute(numbers, compute);
    share
}

fn mean_along(fill_factor: f64, diameter_px: f64, streak_px: [f64; 2], at: [f64; 2]) -> f64 {
    const STEPS: usize = 2000;
    let half = 0.5 * fill_factor.sqrt();
    let width = 0.25 * diameter_px * std::f64::consts::SQRT_2;
    let line = |at: f64| 0.5 * (libm::erf((at + half) / width) - libm::erf((at - half) / width));
    let share = |k: usize| {
        let t = k as f64 / STEPS as f64 - 0.5;
        line(at[0] - t * streak_px[0]) * line(at[1] - t * streak_px[1])
    };
    let inner: f64 = (1..STEPS)
        .map(|k| share(k) * if k % 2 == 1 { 4.0 } else { 2.0 })
        .sum();
    (share(0) + inner + share(STEPS)) / (3.0 * STEPS as f64 * fill_factor)
}

/// Ranks at which the diameters are looked at.
const RANKS: usize = 1000;

fn diameters(scene: &Scene) -> impl Iterator<Item = f64> {
    (0..RANKS).map(|k| scene.population.diameter((k as f64 + 0.5) / RANKS as f64))
}

/// Mean of a function of the diameter over the mean one.
pub(super) fn over_diameters(scene: &Scene, of: impl Fn(f64) -> f64) -> f64 {
    diameters(scene).map(of).sum::<f64>() / RANKS as f64
}

/// Mean light of a particle over that of one of the mean diameter, and that of one brighter than 95
/// % of them.
pub(super) fn brightness(scene: &Scene) -> [f64; 2] {
    let of = |diameter| scene.population.brightness(diameter);
    let mut all: Vec<f64> = diameters(scene).map(of).collect();
    all.sort_by(f64::total_cmp);
    [
        over_diameters(scene, of),
        all[(BRIGHTEST_RANK * RANKS as f64) as usize],
    ]
}

/// Electrons of frame A's pixel that are there without any particle.
pub(super) fn floor_e(scene: &Scene) -> f64 {
    let dark = scene
        .camera
        .sensor
        .as_ref()
        .map_or(0.0, |sensor| sensor.dark_current_e[0]);
    scene.background_e[0] + scene.light.ambient_e[0] + dark
}

/// Streak of pulse A where the field moves by `displacement_px`.
pub(super) fn streak(exposure: Exposure, displacement_px: f64) -> [f64; 2] {
    match exposure {
        Exposure::Fraction(fraction) => [fraction * displacement_px, 0.0],
        Exposure::Streak(streak) => streak,
    }
}

/// The middle pixel of the brightest particle images (see [`crate::setup::MeasuredBrightness`]),
/// electrons without background, over the scene's photo-electrons of a particle.
pub(super) fn brightest_share(scene: &Scene, exposure: Exposure, slowest_px: f64) -> f64 {
    brightness(scene)[1] * middle_pixel_share(scene, streak(exposure, slowest_px))
}

/// Signal-to-noise ratio of a pixel with `signal_e` besides the floor: EMVA 1288's, whose noise is
/// the Poisson noise of all electrons, the dark noise and that of the grey levels' rounding
/// (release 4.0 Linear; memory).
pub(super) fn signal_to_noise(sensor: &Sensor, signal_e: f64, floor_e: f64) -> f64 {
    signal_e / (signal_e + floor_e + readout_variance(sensor)).sqrt()
}

/// Variance of a dark pixel, electrons².
pub(super) fn readout_variance(sensor: &Sensor) -> f64 {
    sensor.dark_noise_e.powi(2) + 1.0 / (12.0 * sensor.gain_dn_per_e.powi(2))
}

/// Grey level of a pixel, DN, at most the largest.
fn grey_dn(sensor: &Sensor, electrons: f64) -> f64 {
    (sensor.black_level_dn + sensor.gain_dn_per_e * electrons).min(sensor.white_dn())
}

/// The electrons of a pixel over those at which it is full or its grey level the largest, whichever
/// comes first.
pub(super) fn share_of_range(sensor: &Sensor, electrons: f64) -> f64 {
    let white = (sensor.white_dn() - sensor.black_level_dn) / sensor.gain_dn_per_e;
    electrons / sensor.full_well_e.min(white)
}

/// Tells what becomes of a particle's photo-electrons on the sensor.
pub(super) fn peak_facts(scene: &Scene, speeds: &Speeds, facts: &mut Facts) {
    let longest = streak(scene.exposure, speeds.fastest_px);
    let share = middle_pixel_share(scene, longest);
    let [mean, _] = brightness(scene);
    if mean != 1.0 {
        facts
            .quantity(FactId::MeanElectrons, scene.electrons * mean, D::Electrons)
            .how(format!(
                "x {}, mean over the diameters in the pictures",
                short(mean)
            ));
    }
    let Some(sensor) = &scene.camera.sensor else {
        return;
    };
    let floor = floor_e(scene);
    let peak = scene.electrons * share;
    facts
        .quantity(FactId::PeakElectrons, peak, D::Electrons)
        .how(format!(
            "x share of that pixel, {}, for an image of {} px and a streak of {} px",
            short(share),
            short(scene.particle_diameter_px),
            short(longest[0].hypot(longest[1])),
        ));
    facts
        .quantity(FactId::PeakGrey, grey_dn(sensor, peak + floor), D::GreyLevels)
        .how(format!(
            "black level {} DN + K {} DN/e x (pixel + background {} e)",
            short(sensor.black_level_dn),
            short(sensor.gain_dn_per_e),
            short(floor)
        ));
    facts
        .figure(FactId::PeakSnr, signal_to_noise(sensor, peak, floor), "")
        .how(format!(
            "pixel / root(pixel + background + dark noise {} e squared + 1/12 DN squared)",
            short(sensor.dark_noise_e)
        ));
    facts.figure(
        FactId::PeakShareOfFullWell,
        (peak + floor) / sensor.full_well_e,
        "",
    );
    brightest_facts(scene, sensor, speeds, facts);
    camera_facts(sensor, facts);
}

/// Tells how near the brightest particles come to saturation.
fn brightest_facts(scene: &Scene, sensor: &Sensor, speeds: &Speeds, facts: &mut Facts) {
    let floor = floor_e(scene);
    let [_, bright] = brightness(scene);
    let brightest = scene.electrons * brightest_share(scene, scene.exposure, speeds.slowest_px);
    facts
        .quantity(
            FactId::BrightestGrey,
            grey_dn(sensor, brightest + floor),
            D::GreyLevels,
        )
        .how(if bright == 1.0 {
            "middle pixel of an image in the middle of the sheet, where the field moves least".to_owned()
        } else {
            format!(
                "middle pixel in the middle of the sheet, where the field moves least, of a particle {} times as bright as the mean one (95 % are dimmer)",
                short(bright)
            )
        });
    facts
        .figure(
            FactId::BrightestShareOfRange,
            share_of_range(sensor, brightest + floor),
            "",
        )
        .how("electrons over full well or largest grey level, whichever is nearer");
}

/// Tells the camera's faintest light and its dynamic range.
fn camera_facts(sensor: &Sensor, facts: &mut Facts) {
    let threshold = readout_variance(sensor).sqrt() + 0.5;
    facts
        .quantity(FactId::AbsoluteThreshold, threshold, D::Electrons)
        .how("root(dark variance) + 1/2: a signal-to-noise ratio of 1");
    let range = sensor.full_well_e / threshold;
    facts
        .told(
            FactId::DynamicRange,
            range,
            format!("{} ({:.1} dB)", short(range), 20.0 * range.log10()),
        )
        .how("full well / that threshold");
}
