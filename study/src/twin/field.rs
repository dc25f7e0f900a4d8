//! The flow of a twin: a measured field without its noise, and with what processing smoothed.
//!
//! A measured field is the true one times the response of the processing, plus random errors. Both
//! depend on the wavelength. Less its best parabola, the field is developed into cosines; in rings
//! of equal wavenumber with the mean square P of the measured coefficients and N of the random
//! errors', the coefficients are multiplied by √((P − N)/P)/R with the response R: the field then
//! has the spectrum of the flow, and where N is small it is the flow. (Wiener's filter, (P − N)/P,
//! would be nearer to the flow at every place but poorer in small scales, which make the error.)
//! Where R is below 0.3 nothing can be known, and the coefficients are dropped: the twin has no
//! scales smaller than those, of about 0.8 windows.

use motefield_evaluator::{PredictorFilter, Processing, VectorField, VectorStatus, window_weights};
use motefield_files::table::Table;

/// Smallest response that is undone.
const LEAST_RESPONSE: f64 = 0.3;

/// Rings of wavenumbers.
const RINGS: usize = 12;

/// A field of displacements on a grid: along x and along y, row by row, px.
pub(super) type FieldComponents = [Vec<f64>; 2];

/// The displacements of a field; those that are not valid are replaced by the median of the valid
/// ones around.
pub(super) fn filled(field: &VectorField) -> VectorField {
    let mut whole = field.clone();
    let (columns, rows) = (field.columns, field.rows);
    for k in 0..field.vectors.len() {
        if field.vectors[k].status == VectorStatus::Valid {
            continue;
        }
        let (column, row) = (k % columns, k / columns);
        let found = (1..columns.max(rows)).find_map(|reach| {
            let rows = row.saturating_sub(reach)..(row + reach + 1).min(rows);
            let near = rows.flat_map(|j| {
                let columns = column.saturating_sub(reach)..(column + reach + 1).min(field.columns);
                columns.map(move |i| j * field.columns + i)
            });
            let near: Vec<usize> = near
                .filter(|n| field.vectors[*n].status == VectorStatus::Valid)
                .collect();
            (near.len() >= 3).then_some(near)
        });
        let near = found.unwrap_or_default();
        let median = |of: &dyn Fn(usize) -> f64| {
            let mut values: Vec<f64> = near.iter().map(|n| of(*n)).collect();
            values.sort_by(f64::total_cmp);
            values.get(values.len() / 2).copied().unwrap_or(0.0)
        };
        whole.vectors[k].dx_px = median(&|n| field.vectors[n].dx_px);
        whole.vectors[k].dy_px = median(&|n| field.vectors[n].dy_px);
    }
    whole
}

pub(super) fn components(field: &VectorField) -> FieldComponents {
    [
        field.vectors.iter().map(|v| v.dx_px).collect(),
        field.vectors.iter().map(|v| v.dy_px).collect(),
    ]
}

/// Mean square of the random errors' coefficients in each ring, of each component.
pub(super) type Noise = [[f64; RINGS]; 2];

/// The cosines of a grid of vectors.
pub(super) struct Cosines {
    columns: usize,
    rows: usize,
    across: Vec<Vec<f64>>,
    down: Vec<Vec<f64>>,
    ring: Vec<usize>,
    response: Vec<f64>,
    cut: Vec<bool>,
}

fn basis(count: usize) -> Vec<Vec<f64>> {
    let n = count as f64;
    let row = |m: usize| {
        let scale = if m == 0 {
            (1.0 / n).sqrt()
        } else {
            (2.0 / n).sqrt()
        };
        let angle = |i: usize| std::f64::consts::PI * m as f64 * (i as f64 + 0.5) / n;
        (0..count).map(|i| scale * angle(i).cos()).collect()
    };
    (0..count).map(row).collect()
}

impl Cosines {
    pub fn of(field: &VectorField, processing: &Processing) -> Cosines {
        let (columns, rows) = (field.columns, field.rows);
        let modes: Vec<[f64; 2]> = (0..columns * rows)
            .map(|k| {
                let angle = |m: usize, n: usize| std::f64::consts::PI * m as f64 / n as f64;
                [angle(k % columns, columns), angle(k / columns, rows)]
            })
            .collect();
        let response = modes
            .iter()
            .map(|phase| response(*phase, field.spacing, processing))
            .collect();
        let ring = |[x, y]: [f64; 2]| {
            let share = (0.5 * (x * x + y * y)).sqrt() / std::f64::consts::PI;
            ((share.sqrt() * RINGS as f64) as usize).min(RINGS - 1)
        };
        // Before anything is known of the noise: waves longer than 1.5 windows.
        let window = field.window[0].max(field.window[1]) as f64;
        let cut = |[x, y]: [f64; 2]| {
            let [dx, dy] = field.spacing.map(|s| s as f64);
            let per_px = ((x / dx).powi(2) + (y / dy).powi(2)).sqrt() / (2.0 * std::f64::consts::PI);
            per_px * 1.5 * window > 1.0
        };
        Cosines {
            columns,
            rows,
            across: basis(columns),
            down: basis(rows),
            ring: modes.iter().map(|m| ring(*m)).collect(),
            response,
            cut: modes.iter().map(|m| cut(*m)).collect(),
        }
    }

    fn forward(&self, values: &[f64]) -> Vec<f64> {
        let (columns, rows) = (self.columns, self.rows);
        let mut half = vec![0.0; values.len()];
        for j in 0..rows {
            let row = &values[j * columns..(j + 1) * columns];
            for m in 0..columns {
                half[j * columns + m] = row.iter().zip(&self.across[m]).map(|(v, b)| v * b).sum();
            }
        }
        let mut out = vec![0.0; values.len()];
        for n in 0..rows {
            for m in 0..columns {
                out[n * columns + m] = (0..rows).map(|j| half[j * columns + m] * self.down[n][j]).sum();
            }
        }
        out
    }

    fn back(&self, coefficients: &[f64]) -> Vec<f64> {
        let (columns, rows) = (self.columns, self.rows);
        let mut half = vec![0.0; coefficients.len()];
        for n in 0..rows {
            let row = &coefficients[n * columns..(n + 1) * columns];
            for i in 0..columns {
                half[n * columns + i] = (0..columns).map(|m| row[m] * self.across[m][i]).sum();
            }
        }
        let mut out = vec![0.0; coefficients.len()];
        for j in 0..rows {
            for i in 0..columns {
                out[j * columns + i] = (0..rows).map(|n| half[n * columns + i] * self.down[n][j]).sum();
            }
        }
        out
    }

    fn ring_means(&self, squares: impl Fn(usize) -> f64) -> [(f64, usize); RINGS] {
        let mut all = [(0.0, 0); RINGS];
        for (k, ring) in self.ring.iter().enumerate() {
            all[*ring].0 += squares(k);
            all[*ring].1 += 1;
        }
        all.map(|(sum, count)| (if count > 0 { sum / count as f64 } else { 0.0 }, count))
    }

    /// The spectrum of what differs between measurements of one flow.
    pub fn noise(&self, measured: &[FieldComponents]) -> Noise {
        let n = measured.len() as f64;
        [0, 1].map(|c| {
            let mean: Vec<f64> = (0..measured[0][c].len())
                .map(|k| measured.iter().map(|m| m[c][k]).sum::<f64>() / n)
                .collect();
            let of: Vec<Vec<f64>> = measured
                .iter()
                .map(|m| {
                    let rest: Vec<f64> = m[c].iter().zip(&mean).map(|(v, m)| v - m).collect();
                    self.forward(&rest)
                })
                .collect();
            let square = |k: usize| of.iter().map(|f| f[k] * f[k]).sum::<f64>() / (n - 1.0);
            self.ring_means(square).map(|(mean, _)| mean)
        })
    }

    /// The flow behind a measured field.
    pub fn flow(&self, measured: &FieldComponents, noise: Option<&Noise>) -> FieldComponents {
        [0, 1].map(|c| {
            let trend = parabola(&measured[c], self.columns, self.rows);
            let rest: Vec<f64> = measured[c].iter().zip(&trend).map(|(v, t)| v - t).collect();
            let mut found = self.forward(&rest);
            let power = self.ring_means(|k| found[k] * found[k]);
            for (k, value) in found.iter_mut().enumerate() {
                *value *= match noise {
                    None => f64::from(u8::from(!self.cut[k])),
                    Some(noise) => {
                        let (p, count) = power[self.ring[k]];
                        // One standard error of the mean of so many squares is left to chance.
                        let n = noise[c][self.ring[k]] * (1.0 + (2.0 / count.max(1) as f64).sqrt());
                        let share = if p > n { (1.0 - n / p).sqrt() } else { 0.0 };
                        match self.response[k] >= LEAST_RESPONSE {
                            true => share / self.response[k].min(1.0),
                            false => 0.0,
                        }
                    }
                };
            }
            self.back(&found).iter().zip(&trend).map(|(v, t)| v + t).collect()
        })
    }
}

/// The parabola (six terms) nearest to the values of a grid.
fn parabola(values: &[f64], columns: usize, rows: usize) -> Vec<f64> {
    let terms = |k: usize| {
        let at = |i: usize, n: usize| 2.0 * (i as f64 + 0.5) / n as f64 - 1.0;
        let (x, y) = (at(k % columns, columns), at(k / columns, rows));
        [1.0, x, y, x * x, x * y, y * y]
    };
    // Six equations, each with its right-hand side last.
    let mut equations = vec![vec![0.0; 7]; 6];
    for (k, v) in values.iter().enumerate() {
        let t = terms(k);
        for i in 0..6 {
            equations[i][6] += t[i] * v;
            for j in 0..6 {
                equations[i][j] += t[i] * t[j];
            }
        }
    }
    for (i, row) in equations.iter_mut().enumerate() {
        row[i] += 1e-9 * values.len() as f64;
    }
    let found = super::fit::solved(equations);
    (0..values.len())
        .map(|k| terms(k).iter().zip(&found).map(|(t, f)| t * f).sum())
        .collect()
}

/// Response of the processing to a wave with these phases from one vector to the next: a pass with
/// the window's response r and the predictor's F turns R into r + (1 − r) F R.
fn response(phase: [f64; 2], spacing: [usize; 2], processing: &Processing) -> f64 {
    let window = |side: [usize; 2]| -> f64 {
        [0, 1]
            .map(|k| {
                let weights = window_weights(processing.weighting, side[k]);
                let middle = 0.5 * (side[k] as f64 - 1.0);
                let turn = phase[k] / spacing[k] as f64;
                weights
                    .iter()
                    .enumerate()
                    .map(|(i, w)| w * (turn * (i as f64 - middle)).cos())
                    .sum::<f64>()
            })
            .iter()
            .product()
    };
    let [x, y] = phase.map(f64::cos);
    let filter = match processing.predictor_filter {
        PredictorFilter::None => 1.0,
        PredictorFilter::BSpline => (2.0 + x) / 3.0 * (2.0 + y) / 3.0,
        PredictorFilter::Regression => {
            // Weights (27 - 5 i² - 5 j²)/175 of the parabola through 5 × 5 vectors.
            let near = (-2i32..=2).flat_map(|i| (-2i32..=2).map(move |j| (i, j)));
            near.map(|(i, j)| {
                let weight = f64::from(27 - 5 * i * i - 5 * j * j) / 175.0;
                weight * (phase[0] * f64::from(i)).cos() * (phase[1] * f64::from(j)).cos()
            })
            .sum()
        }
    };
    let last = processing.passes.last().map_or([32; 2], |pass| pass.window);
    if !processing.deform {
        return window(last);
    }
    let mut passes = processing.passes.iter().map(|pass| window(pass.window));
    let first = passes.next().unwrap_or(1.0);
    passes.fold(first, |before, r| r + (1.0 - r) * filter * before)
}

/// Grid points beyond the vectors on each side that a flow needs to cover a picture.
fn margin(start: f64, spacing: f64) -> usize {
    ((start + 1.0) / spacing).ceil().max(0.0) as usize + 1
}

/// The flow as a table of points, continued in straight lines to the borders of the picture.
pub(super) fn table(field: &VectorField, flow: &FieldComponents, size: [usize; 2]) -> String {
    let first = &field.vectors[0];
    let [sx, sy] = field.spacing.map(|s| s as f64);
    let last = &field.vectors[field.vectors.len() - 1];
    let left = margin(first.x_px, sx);
    let top = margin(first.y_px, sy);
    let right = margin(size[0] as f64 - 1.0 - last.x_px, sx);
    let bottom = margin(size[1] as f64 - 1.0 - last.y_px, sy);
    let (columns, rows) = (field.columns as isize, field.rows as isize);
    let at = |c: usize, i: isize, j: isize| {
        // Beyond the grid along the slope over the three outermost vectors.
        let along = |i: isize, n: isize| {
            let held = i.clamp(0, n - 1);
            let inward = match i - held {
                0 => 0,
                beyond if beyond < 0 => 2.min(n - 1),
                _ => -(2.min(n - 1)),
            };
            (held, inward, (i - held).abs() as f64)
        };
        let (ci, inward_i, beyond_i) = along(i, columns);
        let (cj, inward_j, beyond_j) = along(j, rows);
        let value = |i: isize, j: isize| flow[c][(j * columns + i) as usize];
        let here = value(ci, cj);
        let slope = |inward: isize, inner: f64| match inward {
            0 => 0.0,
            _ => (here - inner) / inward.abs() as f64,
        };
        here + beyond_i * slope(inward_i, value(ci + inward_i, cj))
            + beyond_j * slope(inward_j, value(ci, cj + inward_j))
    };
    let mut table = Table::new(["x", "y", "u", "v"]);
    for j in -(top as isize)..rows + bottom as isize {
        for i in -(left as isize)..columns + right as isize {
            table.rows.push(vec![
                (first.x_px + i as f64 * sx).to_string(),
                (first.y_px + j as f64 * sy).to_string(),
                format!("{:.6}", at(0, i, j)),
                format!("{:.6}", at(1, i, j)),
            ]);
        }
    }
    table.csv()
}

/// The flow on the grid of the vectors, as a field.
pub(super) fn as_field(field: &VectorField, flow: &FieldComponents) -> VectorField {
    let mut whole = field.clone();
    for (k, vector) in whole.vectors.iter_mut().enumerate() {
        (vector.dx_px, vector.dy_px) = (flow[0][k], flow[1][k]);
    }
    whole
}
