//! Faults of 10 to 20 %, or as much as a slip of one constant, exponent or factor makes: in the
//! generator, the camera and the correlation by wrappers, in what is computed without a picture by
//! other numbers in the case's text than its expectations were made for.

use motefield_evaluator::{LowValues, PeakFit, PredictorFilter, VectorStatus, Weighting, correlate};
use motefield_generator::pair::expected;
use motefield_generator::{Exposure, Pair, Scene, Seed, render};
use motefield_study::run::Chain;
use motefield_study::verify::EMBEDDED;
use motefield_study::verify::case::Case;

use super::{Measured, Rendered, View, changed, fails, found, other, sensor, with};
use motefield_evaluator::Processing;

/// Changes of a scene, each a fault of its own.
macro_rules! scenes {
    ($($test:ident: $change:expr, $case:literal;)+) => {$(
        #[test]
        #[ignore = "slow: .ci/run takes it"]
        fn $test() {
            fn fault(scene: &Scene, seed: Seed) -> Rendered {
                other(scene, seed, $change)
            }
            found(Chain { render: fault, ..Chain::default() }, $case);
        }
    )+};
}

scenes! {
    images_a_tenth_larger: |s| s.particle_diameter_px *= 1.1, "image-diameter";
    particles_a_seventh_brighter: |s| s.electrons *= 1.15, "seeding-number";
    a_seventh_more_particles: |s| s.seeding_density_ppp *= 1.15, "seeding-number";
    dark_noise_a_seventh_larger: |s| sensor(s, |c| c.dark_noise_e *= 1.15), "emva-transfer";
    gain_a_tenth_larger: |s| sensor(s, |c| c.gain_dn_per_e *= 1.1), "emva-transfer";
    full_well_a_twentieth_smaller: |s| sensor(s, |c| c.full_well_e *= 0.95), "emva-camera";
    response_that_bends: |s| sensor(s, |c| c.nonlinearity += 0.1), "emva-transfer";
    background_a_seventh_brighter: |s| s.background_e = s.background_e.map(|e| 1.15 * e), "emva-transfer";
    crosstalk_a_fifth_larger: |s| sensor(s, |c| c.crosstalk *= 1.2), "crosstalk";
    offsets_of_pixels_a_seventh_apart: |s| sensor(s, |c| c.dsnu_e *= 1.15), "fixed-pattern";
    responses_of_pixels_a_seventh_apart: |s| sensor(s, |c| c.prnu *= 1.15), "fixed-pattern";
    streak_a_tenth_short: |s| streak(s, 0.9), "streak-error";
    streak_a_tenth_long: |s| streak(s, 1.1), "streak-error";
    sheet_a_seventh_thicker: |s| s.sheet.thickness_px *= 1.15, "out-of-plane";
    second_sheet_a_seventh_of_the_thickness_off: |s| s.light.pulses[1].offset_px += 0.15 * s.sheet.thickness_px, "out-of-plane";
    second_sheet_shifted_too_far: |s| s.light.pulses[1].offset_px *= 1.2, "sheet-offset";
    second_pulse_a_seventh_longer: |s| s.light.pulses[1].length_ratio *= 1.15, "unequal-pulses";
    jitter_a_sixth_short: |s| s.light.jitter *= 0.83, "jitter";
    light_of_frame_a_in_frame_b: |s| s.camera.parasitic_sensitivity = 0.15, "window-bias";
}

fn streak(scene: &mut Scene, factor: f64) {
    if let Exposure::Streak(way) = &mut scene.exposure {
        *way = way.map(|px| factor * px);
    }
}

/// Shot noise a fifth stronger: the pictures moved away from the expected ones.
fn strong_shot_noise(scene: &Scene, seed: Seed) -> Rendered {
    let (noisy, even) = (render(scene, seed)?, expected(scene, seed)?);
    let Some(camera) = scene.camera.sensor else {
        return Ok(noisy);
    };
    let stronger = |noisy: &ndarray::Array2<f32>, even: &ndarray::Array2<f32>| {
        let mut frame = noisy.clone();
        frame.zip_mut_with(even, |dn, e| {
            let middle = (camera.gain_dn_per_e * f64::from(*e) + camera.black_level_dn) as f32;
            *dn = middle + 1.2 * (*dn - middle);
        });
        frame
    };
    Ok(Pair {
        a: stronger(&noisy.a, &even.a),
        b: stronger(&noisy.b, &even.b),
    })
}

/// Each vector moved toward or away from the mean of its field: what changes is the scatter.
fn scattered(a: View, b: View, processing: &Processing, [x, y]: [f64; 2]) -> Measured {
    let mut field = correlate(a, b, processing)?;
    let n = field.vectors.len() as f64;
    let mean = |of: fn(&motefield_evaluator::Vector) -> f64| field.vectors.iter().map(of).sum::<f64>() / n;
    let [u, v] = [mean(|v| v.dx_px), mean(|v| v.dy_px)];
    for vector in &mut field.vectors {
        vector.dx_px = u + x * (vector.dx_px - u);
        vector.dy_px = v + y * (vector.dy_px - v);
    }
    Ok(field)
}

/// One vector of twenty lost.
fn some_lost(a: View, b: View, processing: &Processing) -> Measured {
    let mut field = correlate(a, b, processing)?;
    for vector in field.vectors.iter_mut().step_by(20) {
        vector.status = VectorStatus::NoPeak;
    }
    Ok(field)
}

/// Changes of the processing or of its vectors, each a fault of its own.
macro_rules! processings {
    ($($test:ident: |$a:ident, $b:ident, $p:ident| $fault:expr, $case:literal;)+) => {$(
        #[test]
        #[ignore = "slow: .ci/run takes it"]
        fn $test() {
            fn fault($a: View, $b: View, $p: &Processing) -> Measured {
                $fault
            }
            found(Chain { correlate: fault, ..Chain::default() }, $case);
        }
    )+};
}

processings! {
    displacements_a_tenth_too_long: |a, b, p| changed(a, b, p, |v| v.map(|d| 1.1 * d)), "unequal-pulses";
    vertical_ones_a_tenth_too_short: |a, b, p| changed(a, b, p, |[x, y]| [x, 0.9 * y]), "vertical";
    a_fiftieth_of_a_pixel_too_much: |a, b, p| changed(a, b, p, |[x, y]| [x + 0.02, y]), "vertical";
    x_for_y: |a, b, p| changed(a, b, p, |[x, y]| [y, x]), "vertical";
    rounded_to_a_sixteenth_of_a_pixel: |a, b, p| changed(a, b, p, |v| v.map(|d| (16.0 * d).round() / 16.0)), "window-offset";
    random_error_a_seventh_short: |a, b, p| scattered(a, b, p, [0.85; 2]), "window-size";
    random_error_a_seventh_large: |a, b, p| scattered(a, b, p, [1.15; 2]), "window-size";
    random_error_short_along_x: |a, b, p| scattered(a, b, p, [0.85, 1.0]), "window-offset-noise";
    random_error_large_along_y: |a, b, p| scattered(a, b, p, [1.0, 1.15]), "equal-power-optimum";
    random_error_two_thirds: |a, b, p| scattered(a, b, p, [0.667; 2]), "noise-error";
    one_vector_of_twenty_lost: |a, b, p| some_lost(a, b, p), "quarter-rule";
    no_outlier_test: |a, b, p| with(a, b, p, |p| p.outlier_threshold = 1e6), "planted-outliers";
    outlier_test_ten_times_as_strict: |a, b, p| with(a, b, p, |p| { p.outlier_threshold /= 10.0; p.outlier_epsilon_px /= 10.0; }), "planted-outliers";
    predictor_filtered_unasked: |a, b, p| with(a, b, p, |p| p.predictor_filter = PredictorFilter::BSpline), "response-iterated";
    one_pass_too_few: |a, b, p| with(a, b, p, |p| p.passes.truncate((p.passes.len() - 1).max(1))), "response-iterated";
    no_deformation: |a, b, p| with(a, b, p, |p| p.deform = false), "response-iterated";
    centroid_for_gaussian: |a, b, p| with(a, b, p, |p| p.peak_fit = PeakFit::Centroid3), "window-bias";
    parabola_where_values_are_low: |a, b, p| with(a, b, p, |p| p.low_values = LowValues::Parabola), "small-images";
    variance_a_fifth_short: |a, b, p| scattered(a, b, p, [0.9; 2]), "window-variance";
    shear_stress_a_seventh_short: |a, b, p| scattered(a, b, p, [1.0, 0.85]), "window-stress";
    triangular_window_for_blackman: |a, b, p| with(a, b, p, |p| if p.weighting == Weighting::Blackman { p.weighting = Weighting::Triangular }), "response-weighted";
    nothing_found_beyond_ten_pixels: |a, b, p| with(a, b, p, |p| p.max_displacement_px = Some(10.0)), "quarter-rule";
}

#[test]
fn shot_noise_a_fifth_stronger() {
    let render = strong_shot_noise;
    found(
        Chain {
            render,
            ..Chain::default()
        },
        "emva-transfer",
    );
}

/// Runs a case whose text says something else than its expectations were made for.
fn found_in_text(name: &str, from: &str, to: &str) {
    let (_, text) = EMBEDDED
        .iter()
        .find(|(n, _)| *n == name)
        .expect("a case of this name");
    assert!(text.contains(from), "{name} does not hold {from}");
    let case = Case::read(name, &text.replace(from, to)).unwrap();
    fails(Chain::default(), &case);
}

macro_rules! texts {
    ($($test:ident: $case:literal, $from:literal => $to:literal;)+) => {$(
        #[test]
        #[ignore = "slow: .ci/run takes it"]
        fn $test() {
            found_in_text($case, $from, $to);
        }
    )+};
}

texts! {
    quantum_efficiency_a_tenth_short: "light-chain", "quantum_efficiency = 0.6" => "quantum_efficiency = 0.54";
    transmission_an_eighth_short: "light-chain", "transmission = 0.8" => "transmission = 0.7";
    wavelength_a_tenth_long: "light-chain", "\"532 nm\"" => "\"585 nm\"";
    thickness_a_seventh_large: "light-chain", "thickness = \"1 mm\"" => "thickness = \"1.15 mm\"";
    aperture_a_tenth_small: "light-chain", "\"lens.aperture\" = \"f/4\"" => "\"lens.aperture\" = \"f/4.4\"";
    blur_a_tenth_large: "light-chain", "blur = \"9 um\"" => "blur = \"9.9 um\"";
    index_of_the_tracer_off: "mie-angles", "index = 1.55" => "index = 1.57";
    size_parameter_off: "mie-tables", "set = { size_parameter = 10, index = 1.5, absorption = 0 }" => "set = { size_parameter = 11, index = 1.5, absorption = 0 }";
    density_of_the_tracer_a_tenth_large: "fluid-air", "density = \"1500 kg/m3\"" => "density = \"1650 kg/m3\"";
    temperature_off: "fluid-printed", "\"25 degC\", wavelength = \"226.5 nm\"" => "\"28 degC\", wavelength = \"226.5 nm\"";
    viscosity_a_tenth_large: "tracer-kinds", "viscosity = \"18.2 uPa s\"" => "viscosity = \"20 uPa s\"";
    spline_of_a_degree_less: "interpolators", "\"septic\" }" => "\"quintic\" }";
    bias_of_another_spline: "interpolator-bias", "\"cubic\" }" => "\"quintic\" }";
    distance_of_the_pupil_a_seventh_short: "perspective", "distance = \"800 px\"" => "distance = \"690 px\"";
    vortex_a_tenth_faster: "vortex-core", "peak_displacement = \"1 px\"" => "peak_displacement = \"1.1 px\"";
    confidence_off: "statistics-wilson", "confidence = 0.95" => "confidence = 0.94";
    degrees_of_freedom_off: "student-table", "[2, 5, 9," => "[2, 5, 8,";
    deviation_a_tenth_large: "propagated-uncertainty", "deviation_u = 0.3" => "deviation_u = 0.33";
    rotation_a_tenth_large: "streak-curved", "rotation = \"28.64789 deg\"" => "rotation = \"31.5 deg\"";
    pulse_a_tenth_long: "streak-accelerating", "pulse_fraction = 0.5" => "pulse_fraction = 0.55";
}
