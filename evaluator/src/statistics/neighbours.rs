//! Sums over the places about each place of a grid, weighted by their lag.

use multiversion::multiversion;

/// Places whose sums are made side by side.
const LANES: usize = 16;

/// The places about each place of a grid.
pub(super) struct Neighbours {
    columns: usize,
    /// The values with zeros all around, which stand for the places that are not there.
    padded: Vec<f64>,
    stride: usize,
    first: usize,
    lags: Vec<(isize, f64)>,
    sums: Vec<[f64; LANES]>,
}

impl Neighbours {
    pub(super) fn new([columns, rows]: [usize; 2], [rx, ry]: [usize; 2]) -> Neighbours {
        let [far_x, far_y] = [(2 * rx).min(columns - 1), (2 * ry).min(rows - 1)];
        let stride = columns.next_multiple_of(LANES) + 2 * far_x;
        Neighbours {
            columns,
            padded: vec![0.0; stride * (rows + 2 * far_y)],
            stride,
            first: far_y * stride + far_x,
            lags: lags([far_x, far_y], stride, |dx, dy| {
                lag_window(dx, rx) * lag_window(dy, ry)
            }),
            sums: vec![[0.0; LANES]; columns.div_ceil(LANES)],
        }
    }

    /// What each place adds to the squared sum of the residuals: each times the sum of those about
    /// it, weighted by their lag.
    pub(super) fn contributions(&mut self, residuals: &[f64], contributions: &mut [f64]) {
        let start = |y: usize| self.first + y * self.stride;
        for (y, row) in residuals.chunks_exact(self.columns).enumerate() {
            self.padded[start(y)..][..self.columns].copy_from_slice(row);
        }
        let rows = residuals.chunks_exact(self.columns);
        for (y, (row, found)) in rows.zip(contributions.chunks_exact_mut(self.columns)).enumerate() {
            sum_about(&self.padded, start(y), &self.lags, &mut self.sums);
            for ((found, r), sum) in found.iter_mut().zip(row).zip(self.sums.as_flattened()) {
                *found = r * sum;
            }
        }
    }
}

/// The weighted sums of the values about each place of a row that begins at `start`.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
fn sum_about(values: &[f64], start: usize, lags: &[(isize, f64)], sums: &mut [[f64; LANES]]) {
    for (chunk, sums) in sums.iter_mut().enumerate() {
        let here = start + chunk * LANES;
        let mut all = [0.0; LANES];
        for &(offset, weight) in lags {
            let near = &values[here.wrapping_add_signed(offset)..].as_chunks::<LANES>().0[0];
            for lane in 0..LANES {
                all[lane] += weight * near[lane];
            }
        }
        *sums = all;
    }
}

/// How much further every place at a lag is where rows are `stride` places long, and the weight of
/// the lag: those above first, from the farthest row on, at last those below.
fn lags(
    [far_x, far_y]: [usize; 2],
    stride: usize,
    weight: impl Fn(usize, usize) -> f64,
) -> Vec<(isize, f64)> {
    let [far_x, far_y] = [far_x, far_y].map(|far| far as isize);
    let mut lags = Vec::new();
    for dy in -far_y..=far_y {
        for dx in -far_x..=far_x {
            // Above, from right to left: the order is part of the sums' last digits.
            let dx = if dy < 0 { -dx } else { dx };
            let weight = weight(dx.unsigned_abs(), dy.unsigned_abs());
            lags.push((dy * stride as isize + dx, weight));
        }
    }
    lags
}

/// Weight of the covariance at a lag along one axis, up to twice the reach.
pub(super) fn lag_window(lag: usize, reach: usize) -> f64 {
    match (lag, reach) {
        (l, r) if l <= r => 1.0,
        (l, r) => 1.0 - (l - r) as f64 / (r + 1) as f64,
    }
}
