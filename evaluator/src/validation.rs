//! Which measured displacements are believed, and what stands in for the others in the predictor.

use crate::field::{Status, Vector, VectorField};
use crate::outlier::Neighbourhood;
use crate::processing::Processing;
use crate::window::Grid;

/// What the correlation plane of a window says.
#[derive(Clone, Copy)]
pub(crate) struct Measured {
    /// Displacement before the correlation, px.
    pub predicted: [f64; 2],
    /// Displacements by the highest and the second-highest peak, px.
    pub peaks: [Option<[f64; 2]>; 2],
    pub peak_ratio: f64,
}

impl Measured {
    fn displacement(&self) -> [f64; 2] {
        self.peaks[0].unwrap_or(self.predicted)
    }
}

/// What the vector says for itself, before its neighbours are asked.
fn own_status(measured: &Measured, displacement: Option<[f64; 2]>, processing: &Processing) -> Status {
    let Some([dx, dy]) = displacement else {
        return Status::NoPeak;
    };
    if processing
        .max_displacement_px
        .is_some_and(|longest| dx.hypot(dy) > longest)
    {
        Status::OutOfRange
    } else if processing
        .min_peak_ratio
        .is_some_and(|least| measured.peak_ratio < least)
    {
        Status::LowPeakRatio
    } else {
        Status::Valid
    }
}

fn statuses(grid: &Grid, measured: &[Measured], processing: &Processing) -> Vec<Status> {
    let mut statuses: Vec<Status> = measured
        .iter()
        .map(|m| own_status(m, m.peaks[0], processing))
        .collect();
    let displacements: Vec<[f64; 2]> = measured.iter().map(Measured::displacement).collect();
    let trusted: Vec<bool> = statuses.iter().map(|&s| s == Status::Valid).collect();
    let all = Neighbourhood {
        columns: grid.columns,
        displacements: &displacements,
        trusted: &trusted,
    };
    for (n, status) in statuses
        .iter_mut()
        .enumerate()
        .filter(|(_, s)| **s == Status::Valid)
    {
        let residual = all.residual(n, displacements[n], processing.outlier_epsilon_px);
        if residual.is_some_and(|residual| residual > processing.outlier_threshold) {
            *status = Status::Outlier;
        }
    }
    statuses
}

/// The displacements of a pass with those that fail a test replaced: by the second-highest peak if it passes, else by the median
/// of the trusted neighbours, else (nothing trusted anywhere near) by what was predicted.
pub(crate) fn replace_untrusted(
    grid: &Grid,
    measured: &[Measured],
    processing: &Processing,
) -> Vec<[f64; 2]> {
    let statuses = statuses(grid, measured, processing);
    let mut displacements: Vec<[f64; 2]> = measured.iter().map(Measured::displacement).collect();
    let mut trusted: Vec<bool> = statuses.iter().map(|&s| s == Status::Valid).collect();
    // Where a whole patch fails, each round fills its rim from the vectors around.
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
                    own_status(&measured[n], Some(second), processing) != Status::OutOfRange
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
pub(crate) fn field(grid: &Grid, measured: &[Measured], processing: &Processing) -> VectorField {
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
