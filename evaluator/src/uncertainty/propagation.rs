//! Uncertainty of what is computed from vectors: mean, variance, shear stress and vorticity
//! (Sciacchitano & Wieneke 2016, Meas. Sci. Technol. 27, 084006; formulas from memory).
//!
//! All uncertainties are standard ones (one standard deviation) in the unit of the figure: with
//! displacements in px, px for a mean, px² for a variance or shear stress, px per px for a
//! vorticity.

use crate::statistics::{Confidence, Estimate, GridValues, bootstrap, student};

/// Effective number of the values of a `series` taken at equal steps, for its mean: N/(2τ), at most
/// N, with the integral time scale τ = ½ + Σρ in steps.
///
/// The autocorrelation ρ is summed up to the first lag that is at least five times τ so far (Madras
/// & Sokal 1988, J. Stat. Phys. 50, 109; from memory), and τ then has the relative standard error
/// √(2 (2M + 1)/N) with the last lag M, which gives the interval. Assumes a stationary series much
/// longer than τ; unknown for fewer than ten values or without scatter.
///
/// ```
/// use motefield_evaluator::statistics::Confidence;
/// use motefield_evaluator::uncertainty::effective_number;
///
/// // Values that alternate about their mean are anticorrelated: none is redundant.
/// let series: Vec<f64> = (0..40).map(|k| f64::from(k % 2)).collect();
/// assert_eq!(effective_number(&series, Confidence::USUAL).value, 40.0);
/// ```
pub fn effective_number(series: &[f64], confidence: Confidence) -> Estimate {
    let n = series.len();
    let unknown = Estimate::unknown(1.0, n.max(1) as f64);
    let mean = series.iter().sum::<f64>() / n as f64;
    let centred: Vec<f64> = series.iter().map(|v| v - mean).collect();
    let product = |lag: usize| {
        centred
            .iter()
            .zip(&centred[lag..])
            .map(|(a, b)| a * b)
            .sum::<f64>()
            / (n - lag) as f64
    };
    if n < 10 || !mean.is_finite() {
        return unknown;
    }
    let square = product(0);
    if square <= 0.0 {
        return unknown;
    }
    let (mut time, mut last) = (0.5, 0);
    while (last as f64) < 5.0 * time && last + 1 < n / 2 {
        last += 1;
        time += product(last) / square;
    }
    // Subtracting the series' own mean lowers each ρ by about 2τ/n (Wolff 2004, Comput. Phys.
    // Commun. 156, 143; from memory).
    let time = (time * (1.0 + (2 * last + 1) as f64 / n as f64)).max(0.5);
    let spread = (student(f64::INFINITY, confidence) * (2.0 * (2 * last + 1) as f64 / n as f64).sqrt()).exp();
    let value = n as f64 / (2.0 * time);
    Estimate {
        value,
        lo: value / spread,
        hi: value * spread,
    }
    .clamped(1.0, n as f64)
}

/// Standard uncertainty of a mean: σ/√N, with N the effective number of values
/// ([`effective_number`]). `deviation` is the standard deviation of the measured values, which
/// includes both the fluctuation of the flow and the random error; in a steady flow the root mean
/// square uncertainty of the vectors can be used.
///
/// ```
/// assert_eq!(motefield_evaluator::uncertainty::of_mean(0.2, 100.0), 0.02);
/// ```
pub fn of_mean(deviation: f64, effective: f64) -> f64 {
    deviation / effective.sqrt()
}

/// Standard uncertainty of a variance: σ²√(2/(N - 1)), for normal values; N is the effective number
/// of the *squared* deviations, larger than that of the values themselves, because their
/// autocorrelation is the square of that of the values. (The variance of the random error is part
/// of the measured variance: a bias of its mean squared uncertainty, which is to be subtracted
/// first.)
///
/// ```
/// assert_eq!(motefield_evaluator::uncertainty::of_variance(3.0, 9.0), 1.5);
/// ```
pub fn of_variance(variance: f64, effective: f64) -> f64 {
    variance * (2.0 / (effective - 1.0)).sqrt()
}

/// Standard uncertainty of a shear stress, the mean product of two fluctuations: σ_u σ_v √((1 +
/// ρ²)/(N - 1)), for normal values with the standard `deviations` and the `correlation` ρ; N is the
/// effective number of the *products*.
///
/// ```
/// use motefield_evaluator::uncertainty::of_shear_stress;
///
/// assert_eq!(of_shear_stress([2.0, 3.0], 0.0, 10.0), 2.0);
/// ```
pub fn of_shear_stress(deviations: [f64; 2], correlation: f64, effective: f64) -> f64 {
    deviations[0] * deviations[1] * ((1.0 + correlation * correlation) / (effective - 1.0)).sqrt()
}

/// Standard uncertainty of a vorticity by central differences, ∂v/∂x - ∂u/∂y, on a grid of
/// `spacing` along x and y, px.
///
/// `along_x` are the uncertainties of v, px, at the two neighbours in x, `along_y` those of u at
/// the two neighbours in y; `correlation` is that of the errors of vectors two grid steps apart, of
/// v along x and of u along y ([`overlap_correlation`] or [`error_correlation`]). With equal
/// uncertainties U and correlations ρ this is U/d √(1 - ρ). Assumes that the errors of u and v are
/// independent.
///
/// ```
/// use motefield_evaluator::uncertainty::of_vorticity;
///
/// let found = of_vorticity([0.1; 2], [0.1; 2], [8.0; 2], [0.5; 2]);
/// assert!((found - 0.1 / 8.0 * 0.5f64.sqrt()).abs() < 1e-15);
/// ```
pub fn of_vorticity(along_x: [f64; 2], along_y: [f64; 2], spacing: [f64; 2], correlation: [f64; 2]) -> f64 {
    let difference = |[a, b]: [f64; 2], rho: f64| (a * a + b * b - 2.0 * rho * a * b).max(0.0).sqrt();
    let x = difference(along_x, correlation[0]) / (2.0 * spacing[0]);
    let y = difference(along_y, correlation[1]) / (2.0 * spacing[1]);
    x.hypot(y)
}

/// Correlation of the errors of two windows `shift_px` apart along a side on which they average
/// with `weights` (see [`window_weights`](crate::window_weights)): Σ wᵢ wᵢ₊ₛ / Σ wᵢ², for a top-hat
/// window the fraction by which they overlap.
///
/// Derived for errors that come from each pixel independently, as in one pass over noise. With
/// correlated particle images the errors of overlapping top-hat windows are less alike (0.33 to
/// 0.45 where they share half), and the uncertainty of the vorticity comes out 7 to 10 % low; with
/// Gaussian weighting it is right to 2 %.
///
/// ```
/// use motefield_evaluator::uncertainty::overlap_correlation;
/// use motefield_evaluator::{Weighting, window_weights};
///
/// assert_eq!(overlap_correlation(&window_weights(Weighting::TopHat, 32), 16), 0.5);
/// ```
pub fn overlap_correlation(weights: &[f64], shift_px: usize) -> f64 {
    let shifted = weights.get(shift_px..).unwrap_or_default();
    let product: f64 = weights.iter().zip(shifted).map(|(a, b)| a * b).sum();
    product / weights.iter().map(|w| w * w).sum::<f64>()
}

/// Seed of the resampling.
const SEED: u64 = 2;

/// Correlation, as measured, of the errors of vectors `lag` grid steps apart along x and y: Σ a b /
/// Σ (a² + b²)/2 over all such vectors and pairs. What repeats at a position in every pair is a
/// property of the flow and is subtracted; so this needs two pairs.
///
/// The interval is the [`bootstrap`] over pairs, -1 to 1 with fewer than five.
///
/// ```
/// use motefield_evaluator::statistics::{Confidence, GridValues};
/// use motefield_evaluator::uncertainty::error_correlation;
///
/// // Neighbours have opposite errors.
/// let errors = GridValues::new(2, [1, 0], [[0.1, -0.1], [-0.1, 0.1]]);
/// let found = error_correlation(&errors, [1, 0], Confidence::USUAL);
/// assert!((found.value + 1.0).abs() < 1e-12);
/// ```
pub fn error_correlation(errors: &GridValues, lag: [usize; 2], confidence: Confidence) -> Estimate {
    let columns = errors.columns;
    let size = errors.places();
    // A position seen only once would have no residual, whatever the scatter.
    let centre = |(sum, n): (f64, f64)| if n < 2.0 { f64::NAN } else { sum / n };
    let centres: Vec<f64> = errors.totals().at_places.into_iter().map(centre).collect();
    let mut sums: Vec<[f64; 2]> = Vec::new();
    errors.walk(|_, pair| {
        let sum = (0..size)
            .map(|k| (k, k + lag[1] * columns + lag[0]))
            .filter(|(k, other)| k % columns + lag[0] < columns && *other < size)
            .map(|(k, other)| (pair[k] - centres[k], pair[other] - centres[other]))
            .filter(|(a, b)| a.is_finite() && b.is_finite())
            .fold([0.0; 2], |[product, square], (a, b)| {
                [product + a * b, square + 0.5 * (a * a + b * b)]
            });
        sums.push(sum);
    });
    bootstrap(sums.len(), SEED, confidence, |times| {
        let sum = |of: usize| {
            sums.iter()
                .zip(times)
                .map(|(s, t)| s[of] * f64::from(*t))
                .sum::<f64>()
        };
        sum(0) / sum(1)
    })
    .clamped(-1.0, 1.0)
}
