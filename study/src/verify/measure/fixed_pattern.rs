//! The pattern of a sensor that stays the same from picture to picture, as EMVA 1288 measures it.

use motefield_evaluator::statistics::{Estimate, chi_interval};
use motefield_generator::{Scene, Seed};
use ndarray::Array2;

use super::{Figures, Measure, Request};

/// Non-uniformity of dark signal and response.
pub const FIXED_PATTERN: Measure = Measure {
    name: "fixed pattern",
    about: "DSNU and PRNU (EMVA 1288): standard deviation over the pixels of the mean of dark frames, in electrons, and of that of flat fields of half the full well, in quadrature over the dark one's and over their mean; the temporal noise that is left in the means is taken off",
    arguments: &[],
    figures: &["dsnu_e", "prnu"],
    pictures: true,
    statistical: true,
    run,
};

/// Of flat fields of one exposure, DN and DN²: mean, spatial variance without temporal noise, and
/// temporal variance.
struct Averaged {
    mean: f64,
    spatial: f64,
    temporal: f64,
}

fn averaged(request: &Request, electrons: f64, from: usize) -> Result<Averaged, String> {
    let scene = Scene {
        background_e: [electrons; 2],
        ..request.plan().scene.clone()
    };
    let [width, height] = scene.size;
    let mut sum = Array2::<f64>::zeros((height, width));
    let mut square = sum.clone();
    for k in 0..request.pairs {
        let seed = Seed {
            study: request.seed,
            point: 0,
            realisation: (from + k) as u64,
        };
        let pair = (request.chain.render)(&scene, seed).map_err(|e| e.to_string())?;
        for frame in [pair.a, pair.b] {
            let frame = frame.mapv(f64::from);
            square += &(&frame * &frame);
            sum += &frame;
        }
    }
    let frames = 2.0 * request.pairs as f64;
    let means = sum / frames;
    let of_pixels = (square / frames - &means * &means) * (frames / (frames - 1.0));
    let temporal = of_pixels.mean().unwrap_or(f64::NAN);
    Ok(Averaged {
        mean: means.mean().unwrap_or(f64::NAN),
        spatial: means.var(1.0) - temporal / frames,
        temporal,
    })
}

fn run(request: &Request) -> Result<Figures, String> {
    let sensor = request.plan().scene.camera.sensor;
    let full = sensor.ok_or("needs a camera that is not ideal")?.full_well_e;
    let dark = averaged(request, 0.0, 0)?;
    let half = averaged(request, 0.5 * full, request.pairs)?;
    (0..request.pairs).for_each(|_| request.progress.done());
    let gain = (half.temporal - dark.temporal) / (half.mean - dark.mean);
    let of_pixels = |deviation: f64| -> Estimate {
        let [width, height] = request.plan().scene.size;
        chi_interval(deviation, (width * height) as f64 - 1.0, request.confidence)
    };
    Ok([
        ("dsnu_e", of_pixels(dark.spatial.max(0.0).sqrt() / gain)),
        (
            "prnu",
            of_pixels((half.spatial - dark.spatial).max(0.0).sqrt() / (half.mean - dark.mean)),
        ),
    ]
    .map(|(name, figure)| (name.to_owned(), figure))
    .into())
}
