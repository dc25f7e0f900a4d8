//! Which measured displacements are trusted, and what replaces the others in the predictor.

use crate::field::{Vector, VectorField, VectorStatus};
use crate::outlier::Neighbourhood;
use crate::processing::Processing;
use crate::window::Grid;

/// What the correlation plane of a window gives.
#[derive(Clone, Copy)]
pub(crate) struct WindowPeaks {
    /// Displacement before the correlation, px.
    pub predicted: [f64; 2],
    /// Displacements from the highest and the second-highest peak, px. The latter is not told of the
    /// last pass unless that is refined: no vector of it is replaced.
    pub peaks: [Option<[f64; 2]>; 2],
    pub peak_ratio: f64,
}

impl WindowPeaks {
    /// Of a window that is not measured.
    pub const NONE: WindowPeaks = WindowPeaks {
        predicted: [0.0; 2],
        peaks: [None; 2],
        peak_ratio: 0.0,
    };

    pub fn displacement(&self) -> [f64; 2] {
        self.peaks[0].unwrap_or(self.predicted)
    }
}

/// The status of a vector by its own peaks, before it is compared with its neighbours.
fn own_status(
    measured: &WindowPeaks,
    displacement: Option<[f64; 2]>,
    processing: &Processing,
) -> VectorStatus {
    let Some([dx, dy]) = displacement else {
        return VectorStatus::NoPeak;
    };
    if processing
        .max_displacement_px
        .is_some_and(|longest| dx.hypot(dy) > longest)
    {
        VectorStatus::OutOfRange
    } else if processing
        .min_peak_ratio
        .is_some_and(|least| measured.peak_ratio < least)
    {
        VectorStatus::LowPeakRatio
    } else {
        VectorStatus::Valid
    }
}

fn statuses(grid: &Grid, measured: &[WindowPeaks], processing: &Processing) -> Vec<VectorStatus> {
    let mut statuses: Vec<VectorStatus> = measured
        .iter()
        .map(|m| own_status(m, m.peaks[0], processing))
        .collect();
    let displacements: Vec<[f64; 2]> = measured.iter().map(WindowPeaks::displacement).collect();
    let trusted: Vec<bool> = statuses.iter().map(|&s| s == VectorStatus::Valid).collect();
    let all = Neighbourhood {
        columns: grid.columns,
        displacements: &displacements,
        trusted: &trusted,
    };
    let residuals = all.residuals(processing.outlier_epsilon_px);
    for (status, residual) in statuses.iter_mut().zip(residuals) {
        let outlier = residual.is_some_and(|residual| residual > processing.outlier_threshold);
        if outlier && *status == VectorStatus::Valid {
            *status = VectorStatus::Outlier;
        }
    }
    statuses
}

/// The displacements of a pass, with those that fail a test replaced: by the second-highest peak if
/// that passes, else by the median of the trusted neighbours, else (where none is trusted anywhere
/// near) by the prediction.
pub(crate) fn replace_untrusted(
    grid: &Grid,
    measured: &[WindowPeaks],
    processing: &Processing,
) -> Vec<[f64; 2]> {
    let statuses = statuses(grid, measured, processing);
    let mut displacements: Vec<[f64; 2]> = measured.iter().map(WindowPeaks::displacement).collect();
    let mut trusted: Vec<bool> = statuses.iter().map(|&s| s == VectorStatus::Valid).collect();
    // Where a whole patch fails, each round fills its rim from the vectors around it.
    loop {
        let known = Neighbourhood {
            columns: grid.columns,
            displacements: &displacements,
            trusted: &trusted,
        };
        let filled: Vec<(usize, [f64; 2])> = (0..measured.len())
            .filter(|&n| !trusted[n])
            .filter_map(|n| {
                let median = known.median(n)?;
                let second = measured[n].peaks[1].filter(|&second| {
                    let residual = known.residual(n, second, processing.outlier_epsilon_px);
                    own_status(&measured[n], Some(second), processing) != VectorStatus::OutOfRange
                        && residual.is_some_and(|residual| residual <= processing.outlier_threshold)
                });
                Some((n, second.unwrap_or(median)))
            })
            .collect();
        if filled.is_empty() {
            break;
        }
        for (n, displacement) in filled {
            (displacements[n], trusted[n]) = (displacement, true);
        }
    }
    for (n, displacement) in displacements.iter_mut().enumerate().filter(|(n, _)| !trusted[*n]) {
        *displacement = measured[n].predicted;
    }
    displacements
}

/// The vectors of the last pass, each with its status.
pub(crate) fn field(grid: &Grid, measured: &[WindowPeaks], processing: &Processing) -> VectorField {
    let statuses = statuses(grid, measured, processing);
    let vectors = measured
        .iter()
        .zip(statuses)
        .enumerate()
        .map(|(n, (measured, status))| {
            let [x_px, y_px] = grid.centre(n % grid.columns, n / grid.columns);
            let [dx_px, dy_px] = measured.displacement();
            Vector {
                x_px,
                y_px,
                dx_px,
                dy_px,
                peak_ratio: measured.peak_ratio,
                status,
            }
        });
    VectorField {
        columns: grid.columns,
        rows: grid.rows,
        window: grid.window,
        spacing: grid.spacing,
        vectors: vectors.collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 5 x 5 vectors of displacement (2 + 0.01 n, -1) that predict (9, 9), with the peaks of some
    /// of them replaced.
    fn measured(spoiled: &[(usize, [Option<[f64; 2]>; 2])]) -> (Grid, Vec<WindowPeaks>) {
        let mut measured: Vec<WindowPeaks> = (0..25)
            .map(|n| WindowPeaks {
                predicted: [9.0, 9.0],
                peaks: [Some([2.0 + 0.01 * n as f64, -1.0]), Some([-6.0, 4.0])],
                peak_ratio: 3.0,
            })
            .collect();
        for &(n, peaks) in spoiled {
            measured[n].peaks = peaks;
        }
        (Grid::new(96, 96, [32, 32], 0.5), measured)
    }

    fn replaced(spoiled: &[(usize, [Option<[f64; 2]>; 2])], processing: &Processing) -> Vec<[f64; 2]> {
        let (grid, measured) = measured(spoiled);
        assert_eq!(grid.len(), 25);
        replace_untrusted(&grid, &measured, processing)
    }

    /// Derived by hand. Number 12 is the middle one; the median of its neighbours 6 7 8 11 13 16 17
    /// 18 is 2.12.
    #[test]
    fn outliers_are_replaced_by_the_second_peak_or_the_median() {
        let processing = Processing::default();
        let wrong = Some([7.0, 7.0]);
        let second = Some([2.15, -1.02]);
        let median = |[dx, dy]: [f64; 2]| (dx - 2.12).abs() < 1e-12 && dy == -1.0;

        assert_eq!(replaced(&[(12, [wrong, second])], &processing)[12], [2.15, -1.02]);
        assert!(median(
            replaced(&[(12, [wrong, Some([-6.0, 4.0])])], &processing)[12]
        ));
        assert!(median(replaced(&[(12, [wrong, None])], &processing)[12]));
        assert!(median(replaced(&[(12, [None, None])], &processing)[12]));
        // The others keep what they measured.
        let others = replaced(&[(12, [wrong, None])], &processing);
        assert!(
            (0..25)
                .filter(|n| *n != 12)
                .all(|n| others[n] == [2.0 + 0.01 * n as f64, -1.0])
        );
    }

    /// A whole corner without peaks is filled from its rim inward; a whole field without peaks
    /// falls back on the prediction.
    #[test]
    fn patches_are_filled_from_their_rim() {
        let nothing = |n: usize| (n, [None, None]);
        let corner: Vec<_> = [0, 1, 2, 5, 6, 7, 10, 11, 12].into_iter().map(nothing).collect();
        let filled = replaced(&corner, &Processing::default());
        assert!(
            filled
                .iter()
                .all(|[dx, dy]| (2.0..2.3).contains(dx) && *dy == -1.0),
            "{filled:?}"
        );
        let all: Vec<_> = (0..25).map(nothing).collect();
        assert_eq!(replaced(&all, &Processing::default()), vec![[9.0, 9.0]; 25]);
    }
}
