//! Figures beyond bias, random and total error: percentiles, detection, peak locking, response,
//! dynamic ranges.

use motefield_evaluator::score::{
    DynamicRange, ErrorSample, PERCENTILES, Score, Truths, VectorTruth, amplitude_ratio, dynamic_range,
    peak_locking,
};
use motefield_evaluator::statistics::{Estimate, Tiles, weighted_sum};

/// Further figures of a sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FurtherFigures {
    /// Length of the error vector that 50, 90, 95 and 99 % of the vectors do not exceed, px.
    pub percentiles_px: [Estimate; 4],
    /// Valid detection probability: share of vectors whose highest peak is that of the
    /// displacement.
    pub valid_detection: Estimate,
    /// Degree of peak locking of x and y: 0 without, 1 when all displacements are whole. Unknown
    /// where the true fractions are far from uniform, as in a uniform flow.
    pub peak_locking: [Estimate; 2],
    /// Amplitude of x and y over the true one; unknown where the true displacement is the same
    /// everywhere.
    pub amplitude: [Estimate; 2],
    /// Dynamic velocity and spatial range, by the larger of both components' random errors.
    pub dynamic_range: DynamicRange,
}

/// Mean resultant length of the true fractions up to which peak locking can be told from the flow
/// (see [`PeakLocking::truth`](motefield_evaluator::score::PeakLocking)).
const NEARLY_UNIFORM: f64 = 0.1;

/// True displacements that differ by no more than this are the same, but for rounding, px.
const SAME_PX: f64 = 1e-6;

/// Largest less smallest of the finite values.
fn range(values: impl Iterator<Item = f64>) -> f64 {
    let finite = values.filter(|v| v.is_finite());
    let (low, high) = finite.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
        (low.min(v), high.max(v))
    });
    high - low
}

/// A figure of a sample, whose interval holds what chance leaves unknown of the measured vectors,
/// with what the tiles leave unknown of the picture: both in quadrature. The jackknife over tiles
/// holds chance once more, so that the interval is rather too wide.
fn of_tiles(
    sample: &ErrorSample,
    tiles: Option<&Tiles>,
    found: Estimate,
    figure: impl Fn(&ErrorSample) -> Estimate,
) -> Estimate {
    let Some(tiles) = tiles.filter(|_| found.value.is_finite()) else {
        return found;
    };
    let without = |tile: usize| {
        let counts = |k: usize| sample.part.is_none_or(|part| part[k]) && tiles.of_place(k) != Some(tile);
        let part: Vec<bool> = (0..sample.places()).map(counts).collect();
        let part = ErrorSample {
            part: Some(&part),
            ..*sample
        };
        figure(&part).value
    };
    let figures: Vec<f64> = (0..tiles.len()).map(without).collect();
    let of_tiles = tiles.jackknife(found.value, &figures, sample.confidence);
    weighted_sum(&[
        (1.0, found),
        (
            1.0,
            Estimate {
                value: 0.0,
                lo: of_tiles.lo - of_tiles.value,
                hi: of_tiles.hi - of_tiles.value,
            },
        ),
    ])
}

impl FurtherFigures {
    /// Of a sample scored against `truths`, one of each pair, or one of all where the flow repeats,
    /// in pictures `width_px` wide, of which these `tiles` were measured, or all. Peak locking and
    /// amplitude are those of a flow that repeats, and unknown of another.
    ///
    /// # Panics
    /// Without any truth.
    pub fn of(
        sample: &ErrorSample,
        truths: &[VectorTruth],
        score: &Score,
        width_px: usize,
        tiles: Option<&Tiles>,
    ) -> FurtherFigures {
        let everywhere = truths.iter().flat_map(|truth| &truth.point_px);
        let lengths = everywhere.map(|[dx, dy]| dx.hypot(*dy));
        let (truth, repeats) = (&truths[0], sample.truths == Truths::Repeat);
        let largest_px = lengths.filter(|l| l.is_finite()).fold(0.0, f64::max);
        let [x, y] = score.point.map(|c| c.random_px);
        let worse = if y.value > x.value { y } else { x };
        let locking = |component| {
            let found = peak_locking(sample, truth, component);
            match repeats && found.truth <= NEARLY_UNIFORM {
                true => of_tiles(sample, tiles, found.degree, |part| {
                    peak_locking(part, truth, component).degree
                }),
                false => Estimate::unknown(-1.0, 1.0),
            }
        };
        let amplitude = |component: usize| {
            let range = range(truth.point_px.iter().map(|t| t[component]));
            match repeats && range > SAME_PX {
                true => of_tiles(sample, tiles, amplitude_ratio(sample, truth, component), |part| {
                    amplitude_ratio(part, truth, component)
                }),
                false => Estimate::unknown(f64::NEG_INFINITY, f64::INFINITY),
            }
        };
        FurtherFigures {
            percentiles_px: tiles.map_or_else(
                || sample.percentiles(),
                |tiles| sample.percentiles_of_tiles(tiles),
            ),
            valid_detection: score.valid_detection,
            peak_locking: [0, 1].map(locking),
            amplitude: [0, 1].map(amplitude),
            dynamic_range: dynamic_range(largest_px, width_px as f64, worse),
        }
    }

    /// All by their names in tables: `error_p50_px` to `error_p99_px`, `valid_detection`,
    /// `peak_locking_x`, `amplitude_x` and the same of y, `dynamic_velocity_range`,
    /// `dynamic_spatial_range`; what has no unit in its name is a ratio.
    pub fn named(&self) -> Vec<(String, Estimate)> {
        let mut all: Vec<(String, Estimate)> = PERCENTILES
            .iter()
            .zip(self.percentiles_px)
            .map(|(share, e)| (format!("error_p{:.0}_px", 100.0 * share), e))
            .collect();
        all.push(("valid_detection".to_owned(), self.valid_detection));
        for (name, both) in [("peak_locking", self.peak_locking), ("amplitude", self.amplitude)] {
            all.extend(
                ["x", "y"]
                    .iter()
                    .zip(both)
                    .map(|(axis, e)| (format!("{name}_{axis}"), e)),
            );
        }
        let spatial = self.dynamic_range.spatial;
        all.push(("dynamic_velocity_range".to_owned(), self.dynamic_range.velocity));
        all.push(("dynamic_spatial_range".to_owned(), Estimate::exact(spatial)));
        all
    }
}
