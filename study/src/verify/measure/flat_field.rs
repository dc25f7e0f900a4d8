//! The camera from its pictures alone: flat fields rendered and evaluated as EMVA 1288 (release 4.0
//! Linear; memory) evaluates a camera.

use motefield_evaluator::statistics::{Estimate, jackknife};
use motefield_generator::{Scene, Seed};

use super::{Figures, Measure, Request};

/// Signal and noise of one exposure.
pub const FLAT_FIELD: Measure = Measure {
    name: "flat field",
    about: "grey levels of rendered flat fields at image.background, and of dark ones: mean above dark, temporal variance from the difference of the two frames, signal-to-noise ratio, and the photon-transfer slope (variance above dark over mean above dark)",
    arguments: &[],
    figures: &[
        "signal_dn",
        "variance_dn2",
        "dark_variance_dn2",
        "snr",
        "gain_dn_per_e",
    ],
    pictures: true,
    statistical: true,
    run: flat_field,
};

/// Mean (DN) and temporal variance (DN²) of a flat field of so many electrons, from two frames: the
/// variance from their difference, in which fixed patterns cancel.
fn frames(request: &Request, electrons: f64, realisation: u64) -> Result<[f64; 2], String> {
    let scene = Scene {
        background_e: [electrons; 2],
        ..request.plan().scene.clone()
    };
    let seed = Seed {
        study: request.seed,
        point: 0,
        realisation,
    };
    let pair = (request.chain.render)(&scene, seed).map_err(|e| e.to_string())?;
    let n = pair.a.len() as f64;
    let [mut sum, mut difference, mut square] = [0.0; 3];
    for (&a, &b) in pair.a.iter().zip(&pair.b) {
        let [a, b] = [a, b].map(f64::from);
        sum += a + b;
        difference += a - b;
        square += (a - b) * (a - b);
    }
    Ok([0.5 * sum / n, 0.5 * (square / n - (difference / n).powi(2))])
}

fn flat_field(request: &Request) -> Result<Figures, String> {
    let electrons = request.plan().scene.background_e[0];
    let sums: Vec<[f64; 5]> = (0..request.pairs as u64)
        .map(|realisation| {
            let [mean, variance] = frames(request, electrons, 2 * realisation)?;
            let [dark_mean, dark_variance] = frames(request, 0.0, 2 * realisation + 1)?;
            request.progress.done();
            Ok([1.0, mean, variance, dark_mean, dark_variance])
        })
        .collect::<Result<_, String>>()?;
    let figure = |of: fn(&[f64; 5]) -> f64| jackknife(&sums, request.confidence, of);
    Ok([
        ("signal_dn", figure(|[n, mean, _, dark, _]| (mean - dark) / n)),
        ("variance_dn2", figure(|[n, _, variance, ..]| variance / n)),
        ("dark_variance_dn2", figure(|[n, .., variance]| variance / n)),
        (
            "snr",
            figure(|[n, mean, variance, dark, _]| (mean - dark) / n / (variance / n).sqrt()),
        ),
        (
            "gain_dn_per_e",
            figure(|[_, mean, variance, dark, dark_variance]| (variance - dark_variance) / (mean - dark)),
        ),
    ]
    .map(|(name, figure)| (name.to_owned(), figure))
    .into())
}

/// The figures of a camera's data sheet.
pub const CAMERA: Measure = Measure {
    name: "camera",
    about: "EMVA 1288 figures of the camera, from a series of rendered flat fields up to 1.1 times the full well: gain, dark noise, saturation (where the temporal variance is largest), absolute sensitivity threshold, dynamic range, largest signal-to-noise ratio; electrons, for photons divide by the quantum efficiency",
    arguments: &[],
    figures: &[
        "gain_dn_per_e",
        "dark_noise_e",
        "saturation_e",
        "threshold_e",
        "dynamic_range",
        "dynamic_range_db",
        "largest_snr_db",
    ],
    pictures: true,
    statistical: true,
    run: camera,
};

/// Exposures of the series.
const EXPOSURES: usize = 56;
/// 1, and two numbers per exposure.
const SUMS: usize = 1 + 2 * EXPOSURES;
/// Share of saturation up to which the photon-transfer line is fitted.
const LINEAR: f64 = 0.7;

fn camera(request: &Request) -> Result<Figures, String> {
    let sensor = request
        .plan()
        .scene
        .camera
        .sensor
        .ok_or("needs a camera that is not ideal")?;
    // For each pair: 1, and mean and variance of every exposure.
    let sums: Vec<[f64; SUMS]> = (0..request.pairs)
        .map(|realisation| {
            let mut sums = [1.0; SUMS];
            for (k, exposure) in sums[1..].chunks_mut(2).enumerate() {
                let electrons = 1.1 * sensor.full_well_e * k as f64 / (EXPOSURES - 1) as f64;
                let found = frames(request, electrons, (realisation * EXPOSURES + k) as u64)?;
                exposure.copy_from_slice(&found);
            }
            request.progress.done();
            Ok(sums)
        })
        .collect::<Result<_, String>>()?;
    let figure = |k: usize| -> Estimate { jackknife(&sums, request.confidence, |sums| data_sheet(sums)[k]) };
    let names = CAMERA.figures.iter().enumerate();
    Ok(names.map(|(k, name)| ((*name).to_owned(), figure(k))).collect())
}

/// The figures of [`CAMERA`], in its order, from sums over pairs.
fn data_sheet(sums: &[f64; SUMS]) -> [f64; 7] {
    let series: Vec<[f64; 2]> = sums[1..]
        .chunks(2)
        .map(|exposure| [exposure[0] / sums[0], exposure[1] / sums[0]])
        .collect();
    let [dark, dark_variance] = series[0];
    let above: Vec<[f64; 2]> = series
        .iter()
        .map(|[mean, variance]| [mean - dark, variance - dark_variance])
        .collect();
    let [full, _] = above
        .iter()
        .copied()
        .max_by(|a, b| a[1].total_cmp(&b[1]))
        .expect("a series");
    let line = above.iter().filter(|[mean, _]| *mean <= LINEAR * full);
    let [product, square] = line.fold([0.0; 2], |[product, square], [mean, variance]| {
        [product + mean * variance, square + mean * mean]
    });
    let gain = product / square;
    // Rounding to grey levels adds 1/12 DN² to the variance (EMVA 1288, quantisation noise).
    let dark_noise = (dark_variance - 1.0 / 12.0).max(0.0).sqrt() / gain;
    let saturation = full / gain;
    let threshold = dark_variance.sqrt() / gain + 0.5;
    let range = saturation / threshold;
    [
        gain,
        dark_noise,
        saturation,
        threshold,
        range,
        20.0 * range.log10(),
        10.0 * saturation.log10(),
    ]
}
