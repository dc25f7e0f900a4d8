//! How iterated deformation amplifies the noise of a single pass.
//!
//! With r the response of the window to a wave and F that of the predictor's filter
//! ([`PredictorFilter`]), a pass turns the noise m of the vectors before it into ε + F (1 - r) m,
//! with ε the noise of its own correlation. After n such passes the noise of a wave is ε (1 -
//! qⁿ)/(1 - q), q = F (1 - r). As ε is an average of the scatter of the pixels with the weights of
//! the window, its power spectrum is proportional to r²; so the variance grows by the factor
//! (derived)
//!
//! g² = ∫ r² ((1 - qⁿ)/(1 - q))² / ∫ r²
//!
//! over the waves that the grid of vectors can represent. Earlier passes are assumed to be like the
//! last one.

use std::f64::consts::PI;

use crate::deform::PredictorFilter;
use crate::processing::Processing;
use crate::window::window_weights;

/// Number of waves along each axis over which the integrals are summed: many more than the
/// oscillations of r and F within the range.
const WAVES: usize = 48;

/// g, the standard deviation of iterated vectors over that of a single pass.
pub(super) fn noise_gain(processing: &Processing, window: [usize; 2], spacing: [usize; 2]) -> f64 {
    if !processing.deform {
        return 1.0;
    }
    let passes = processing.passes.len() as i32;
    let phase = |k: usize| PI * (k as f64 + 0.5) / WAVES as f64;
    let [across, down] = [0, 1].map(|axis| -> Vec<f64> {
        let weights = window_weights(processing.weighting, window[axis]);
        let middle = 0.5 * (window[axis] as f64 - 1.0);
        let wave = |k: usize| phase(k) / spacing[axis] as f64;
        let response = |k: usize| {
            let terms = weights.iter().enumerate();
            terms
                .map(|(i, w)| w * (wave(k) * (i as f64 - middle)).cos())
                .sum()
        };
        (0..WAVES).map(response).collect()
    });
    let (mut single, mut iterated) = (0.0, 0.0);
    for (j, ry) in down.iter().enumerate() {
        for (i, rx) in across.iter().enumerate() {
            let r = rx * ry;
            let q = filter_response(processing.predictor_filter, [phase(i), phase(j)]) * (1.0 - r);
            let growth: f64 = (0..passes).map(|k| q.powi(k)).sum();
            single += r * r;
            iterated += (r * growth).powi(2);
        }
    }
    (iterated / single).sqrt()
}

/// F for a wave with the given phases from one vector to the next.
fn filter_response(filter: PredictorFilter, [x, y]: [f64; 2]) -> f64 {
    match filter {
        PredictorFilter::None => 1.0,
        PredictorFilter::BSpline => (2.0 + x.cos()) * (2.0 + y.cos()) / 9.0,
        // The second-order polynomial through 5 x 5 values weights them by (27 - 5 (i² + j²))/175
        // for its value in the middle.
        PredictorFilter::Regression => (-2..=2)
            .flat_map(|j| (-2..=2).map(move |i| (f64::from(i), f64::from(j))))
            .map(|(i, j)| (27.0 - 5.0 * (i * i + j * j)) / 175.0 * (i * x).cos() * (j * y).cos())
            .sum(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::processing::Pass;

    /// Derived (see [`PredictorFilter`]): for a wave along one axis the response of the regression
    /// is (17 + 24 cos ω - 6 cos 2ω)/35; of a constant nothing is lost.
    #[test]
    fn regression_has_its_closed_form_along_an_axis() {
        for phase in [0.0, 0.4, 1.3, 2.2, PI] {
            let expected = (17.0 + 24.0 * f64::cos(phase) - 6.0 * f64::cos(2.0 * phase)) / 35.0;
            for along in [[phase, 0.0], [0.0, phase]] {
                assert!((filter_response(PredictorFilter::Regression, along) - expected).abs() < 1e-12);
            }
        }
    }

    /// A single pass, or whole windows shifted, amplifies nothing (exactly); the value for the
    /// default is pinned.
    #[test]
    fn gain_of_known_schedules() {
        let gain = |processing: &Processing| noise_gain(processing, [32, 32], [8, 8]);
        let single = Processing {
            passes: vec![Pass::square(32, 0.75)],
            ..Processing::default()
        };
        let shifted = Processing {
            deform: false,
            ..Processing::default()
        };
        assert!((gain(&single) - 1.0).abs() < 1e-12);
        assert!((gain(&shifted) - 1.0).abs() < 1e-12);
        assert!((gain(&Processing::default()) - 1.282_485).abs() < 1e-6);
    }
}
