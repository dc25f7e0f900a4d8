//! Deliberate faults in the generator and the evaluator, each of which a reference case finds in
//! quick depth: here coarse ones, in `small` those of 10 to 20 %. That the program without them
//! passes the same cases is held by `reference`.

mod small;

use std::sync::atomic::AtomicBool;

use motefield_evaluator::{
    Interpolator, Normalise, PeakFit, Processing, ProcessingError, VectorField, Weighting, correlate,
};
use motefield_generator::pair::expected;
use motefield_generator::{Exposure, Pair, Profile, Scene, SceneError, Seed, render};
use motefield_study::run::{Chain, Silent};
use motefield_study::verify::EMBEDDED;
use motefield_study::verify::case::Case;
use motefield_study::verify::suite::{Depth, Runner, confidence, read};
use ndarray::{Array2, ArrayView2};

type Rendered = Result<Pair, SceneError>;
type Measured = Result<VectorField, ProcessingError>;
type View<'a> = ArrayView2<'a, f32>;

/// The scene with something else in it.
fn other(scene: &Scene, seed: Seed, change: fn(&mut Scene)) -> Rendered {
    let mut scene = scene.clone();
    change(&mut scene);
    render(&scene, seed)
}

fn sensor(scene: &mut Scene, change: fn(&mut motefield_generator::Sensor)) {
    if let Some(sensor) = &mut scene.camera.sensor {
        change(sensor);
    }
}

/// The diameter taken for a full width at half maximum: 1.70 times too many standard deviations.
fn fwhm(scene: &Scene, seed: Seed) -> Rendered {
    other(scene, seed, |s| s.particle_diameter_px *= 4.0 / 2.354_82)
}

/// The diameter taken for that between the e⁻¹ points: √2 times too large.
fn e_1(scene: &Scene, seed: Seed) -> Rendered {
    other(scene, seed, |s| {
        s.particle_diameter_px *= std::f64::consts::SQRT_2
    })
}

/// The displacement given to frame B alone, so that the truth is half of it off: the carried
/// pattern 4 px too low in both frames.
fn one_sided(scene: &Scene, seed: Seed) -> Rendered {
    let pair = render(scene, seed)?;
    let lower = |frame: &Array2<f32>| {
        let rows = frame.nrows();
        Array2::from_shape_fn(frame.dim(), |(y, x)| frame[[(y + rows - 4) % rows, x]])
    };
    Ok(Pair {
        a: lower(&pair.a),
        b: lower(&pair.b),
    })
}

/// Light that arrives without shot noise: dark noise, gain and rounding alone.
fn no_shot_noise(scene: &Scene, seed: Seed) -> Rendered {
    let mut pair = expected(scene, seed)?;
    if let Some(camera) = &scene.camera.sensor {
        for (k, frame) in [&mut pair.a, &mut pair.b].into_iter().enumerate() {
            let mut numbers = seed.draws(k as u64);
            frame.mapv_inplace(|e| {
                let noisy = f64::from(e) + camera.dark_noise_e * numbers.normal();
                (camera.gain_dn_per_e * noisy + camera.black_level_dn).round() as f32
            });
        }
    }
    Ok(pair)
}

/// Twice the gain.
fn doubled_gain(scene: &Scene, seed: Seed) -> Rendered {
    other(scene, seed, |s| sensor(s, |c| c.gain_dn_per_e *= 2.0))
}

/// The dark noise's variance where its standard deviation belongs.
fn dark_variance(scene: &Scene, seed: Seed) -> Rendered {
    other(scene, seed, |s| sensor(s, |c| c.dark_noise_e *= c.dark_noise_e))
}

/// No saturation.
fn endless_well(scene: &Scene, seed: Seed) -> Rendered {
    other(scene, seed, |s| {
        sensor(s, |c| {
            c.full_well_e *= 10.0;
            c.bits = 16;
        })
    })
}

/// A streak in frame A alone.
fn one_streak(scene: &Scene, seed: Seed) -> Rendered {
    let still = other(scene, seed, |s| s.exposure = Exposure::Streak([0.0; 2]))?;
    Ok(Pair {
        b: still.b,
        ..render(scene, seed)?
    })
}

/// A top-hat sheet for a Gaussian one.
fn wrong_sheet(scene: &Scene, seed: Seed) -> Rendered {
    other(scene, seed, |s| s.sheet.profile = Profile::TopHat)
}

/// The second sheet shifted to the wrong side.
fn wrong_depth(scene: &Scene, seed: Seed) -> Rendered {
    other(scene, seed, |s| s.light.pulses[1].offset_px *= -1.0)
}

/// Pixels that see only their middle.
fn point_pixels(scene: &Scene, seed: Seed) -> Rendered {
    other(scene, seed, |s| s.camera.fill_factor = 0.01)
}

/// Twice the seeding.
fn doubled_seeding(scene: &Scene, seed: Seed) -> Rendered {
    other(scene, seed, |s| s.seeding_density_ppp *= 2.0)
}

/// The same number of particles in every square of 32 px, in place of a Poisson number.
fn fixed_number(scene: &Scene, seed: Seed) -> Rendered {
    let mut numbers = seed.draws(0);
    let [width, height] = scene.size;
    let sigma = scene.particle_diameter_px / 4.0;
    let mut frame = Array2::zeros((height, width));
    let share = |from: f64, at: f64| {
        let end = |edge: f64| libm::erf((edge - at) / (sigma * std::f64::consts::SQRT_2));
        0.5 * (end(from + 0.5) - end(from - 0.5))
    };
    for tile in 0..(width / 32) * (height / 32) {
        let corner = [tile % (width / 32) * 32, tile / (width / 32) * 32].map(|c| c as f64 - 0.5);
        for _ in 0..(scene.seeding_density_ppp * 1024.0).round() as usize {
            let [x, y] = corner.map(|c| c + 32.0 * numbers.uniform());
            let near = |at: f64, length: usize| {
                (at - 5.0).ceil().max(0.0) as usize..=((at + 5.0).floor() as usize).min(length - 1)
            };
            for row in near(y, height) {
                for column in near(x, width) {
                    frame[[row, column]] +=
                        (scene.electrons * share(row as f64, y) * share(column as f64, x)) as f32;
                }
            }
        }
    }
    Ok(Pair {
        b: frame.clone(),
        a: frame,
    })
}

/// The vectors changed after the correlation.
fn changed(a: View, b: View, processing: &Processing, change: fn([f64; 2]) -> [f64; 2]) -> Measured {
    let mut field = correlate(a, b, processing)?;
    for vector in &mut field.vectors {
        [vector.dx_px, vector.dy_px] = change([vector.dx_px, vector.dy_px]);
    }
    Ok(field)
}

/// The correlation by other settings than those asked for.
fn with(a: View, b: View, processing: &Processing, change: fn(&mut Processing)) -> Measured {
    let mut processing = processing.clone();
    change(&mut processing);
    correlate(a, b, &processing)
}

/// Half a pixel too much.
fn half_pixel(a: View, b: View, p: &Processing) -> Measured {
    changed(a, b, p, |[x, y]| [x + 0.5, y])
}

/// y upward.
fn flipped(a: View, b: View, p: &Processing) -> Measured {
    changed(a, b, p, |[x, y]| [x, -y])
}

/// Whole pixels only.
fn no_fit(a: View, b: View, p: &Processing) -> Measured {
    changed(a, b, p, |v| v.map(f64::round))
}

/// From frame B to frame A.
fn backward(a: View, b: View, p: &Processing) -> Measured {
    correlate(b, a, p)
}

/// The window's own correlation left in.
fn unnormalised(a: View, b: View, p: &Processing) -> Measured {
    with(a, b, p, |p| p.normalise = Normalise::None)
}

/// Linear interpolation, whatever is asked for.
fn bilinear(a: View, b: View, p: &Processing) -> Measured {
    with(a, b, p, |p| p.interpolator = Interpolator::Bilinear)
}

/// A Gaussian window for a top-hat one.
fn gaussian_window(a: View, b: View, p: &Processing) -> Measured {
    with(a, b, p, |p| p.weighting = Weighting::Gaussian)
}

/// A parabola through the peak.
fn parabola(a: View, b: View, p: &Processing) -> Measured {
    with(a, b, p, |p| p.peak_fit = PeakFit::Parabola3)
}

/// The later passes left out.
fn one_pass(a: View, b: View, p: &Processing) -> Measured {
    with(a, b, p, |p| p.passes = vec![*p.passes.last().expect("a pass")])
}

/// Holds a faulty chain against the case that must find it.
fn found(chain: Chain, name: &str) {
    let cases = read(EMBEDDED.iter().copied()).unwrap();
    let case = cases.iter().find(|c| c.name == name);
    fails(chain, case.expect("a case of this name"));
}

/// Holds that a case disagrees with what a chain gives, or misses it.
fn fails(chain: Chain, case: &Case) {
    let runner = Runner {
        chain,
        depth: Depth::Quick,
        seed: 1,
        confidence: confidence(&read(EMBEDDED.iter().copied()).unwrap()),
        progress: &Silent,
        stop: &AtomicBool::new(false),
    };
    let record = runner.run(case).unwrap().unwrap();
    let fails = (0..case.expectations.len())
        .any(|k| record.verdict(k).fails() && case.expectations[k].known_disagreement.is_none());
    assert!(
        fails,
        "{} does not find it:\n{}",
        case.name,
        motefield_report::verify::lines(case, &record)
    );
}

macro_rules! faults {
    ($($test:ident: $stage:ident = $fault:ident, $case:literal;)+) => {$(
        #[test]
        #[ignore = "slow: .ci/run takes it"]
        fn $test() {
            found(Chain { $stage: $fault, ..Chain::default() }, $case);
        }
    )+};
}

faults! {
    diameter_as_full_width_at_half_maximum: render = fwhm, "image-diameter";
    diameter_between_e_1_points: render = e_1, "image-diameter";
    pixels_that_see_a_point: render = point_pixels, "image-diameter";
    displacement_of_one_frame: render = one_sided, "midway";
    light_without_shot_noise: render = no_shot_noise, "emva-transfer";
    twice_the_gain: render = doubled_gain, "emva-transfer";
    variance_for_deviation: render = dark_variance, "emva-transfer";
    no_saturation: render = endless_well, "emva-camera";
    streak_in_one_frame: render = one_streak, "streak-peak";
    top_hat_for_gaussian_sheet: render = wrong_sheet, "out-of-plane";
    sheet_shifted_to_the_wrong_side: render = wrong_depth, "sheet-offset";
    twice_the_seeding: render = doubled_seeding, "seeding-number";
    fixed_number_of_particles: render = fixed_number, "seeding-number";
    half_a_pixel_too_much: correlate = half_pixel, "window-bias";
    y_upward: correlate = flipped, "vertical";
    from_b_to_a: correlate = backward, "vertical";
    no_fit_between_pixels: correlate = no_fit, "window-bias";
    window_left_unnormalised: correlate = unnormalised, "window-bias-removed";
    linear_interpolation: correlate = bilinear, "bright-uniform";
    gaussian_for_top_hat_window: correlate = gaussian_window, "response-one-pass";
    parabola_for_gaussian: correlate = parabola, "peak-locking";
    no_later_passes: correlate = one_pass, "response-iterated";
}
