//! Errors over a picture of which some tiles were measured.

use super::parts::{self, CannotTell};
use super::{Component, ErrorSample, OUTLIER_PX, PERCENTILES, Score, Truths};
use crate::statistics::{Estimate, GridValues, Tiles, local_and_random_of_tiles};

impl ErrorSample<'_> {
    /// [`score`](ErrorSample::score) over the whole picture, of which these tiles were measured.
    pub fn score_of_tiles(&self, tiles: &Tiles) -> Score {
        let mut effective_vectors = f64::INFINITY;
        let mut component = |c: usize, window: bool| {
            let values = self.values(move |errors, k| match window {
                true => errors.window_px[k][c],
                false => errors.point_px[k][c],
            });
            let bias = tiles.of(&values);
            let spread = tiles.of(&values.map(move |v| (v - bias.value).powi(2))).value;
            let most = values.count() as f64;
            effective_vectors = effective_vectors.min(match bias.variance > 0.0 {
                true => (spread / bias.variance).clamp(1.0, most.max(1.0)),
                false => most,
            });
            let (local_px, random_px) = self.split(&values, tiles);
            Component {
                bias_px: bias.estimate(self.confidence),
                local_px,
                random_px,
                total_px: tiles.root_mean_square(&values.map(|e| e * e), self.confidence),
            }
        };
        let point = [0, 1].map(|c| component(c, false));
        let window = [0, 1].map(|c| component(c, true));
        self.assembled(
            effective_vectors,
            [point, window],
            |squares| tiles.root_mean_square(squares, self.confidence),
            |yes, alike| tiles.share(yes, alike, self.confidence),
        )
    }

    /// [`percentiles`](ErrorSample::percentiles) over the whole picture, of which these tiles were
    /// measured.
    pub fn percentiles_of_tiles(&self, tiles: &Tiles) -> [Estimate; 4] {
        let length = self.values(|errors, k| errors.point_px[k][0].hypot(errors.point_px[k][1]));
        let found = tiles.quantiles(&length, &PERCENTILES, self.confidence);
        std::array::from_fn(|k| found[k].clamped(0.0, OUTLIER_PX))
    }

    fn split(&self, errors: &GridValues, tiles: &Tiles) -> (parts::LocalBias, Estimate) {
        let reason = match (self.truths, errors.pairs()) {
            (_, 0 | 1) => CannotTell::OnePair,
            (Truths::Differ, _) => CannotTell::FlowDiffers,
            (Truths::Repeat, _) => match local_and_random_of_tiles(errors, tiles, self.confidence) {
                Some(parts) => return (Ok(parts.local), parts.random),
                None => CannotTell::NothingRepeats,
            },
        };
        let bias = tiles.of(errors).value;
        let together = tiles.root_mean_square(&errors.map(move |e| (e - bias).powi(2)), self.confidence);
        (Err(reason), Estimate { lo: 0.0, ..together })
    }
}
