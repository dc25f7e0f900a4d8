//! Gauss–Legendre quadrature.

pub(crate) mod weighted;

use std::sync::LazyLock;

/// Points of the largest rule.
pub(crate) const LARGEST_RULE: usize = 32;

/// The rules of 0 to [`LARGEST_RULE`] points.
static RULES: LazyLock<Vec<Vec<[f64; 2]>>> =
    LazyLock::new(|| (0..=LARGEST_RULE).map(gauss_legendre).collect());

/// Nodes on (−1, 1) and their weights, which sum to 1, of the rule of `points` points, at most
/// [`LARGEST_RULE`].
pub(crate) fn rule(points: usize) -> &'static [[f64; 2]] {
    &RULES[points]
}

/// Nodes by Newton's method on the Legendre polynomial (Abramowitz and Stegun 25.4.29).
fn gauss_legendre(points: usize) -> Vec<[f64; 2]> {
    let n = points as f64;
    (0..points)
        .map(|k| {
            let mut x = -libm::cos(std::f64::consts::PI * (k as f64 + 0.75) / (n + 0.5));
            let mut slope = 1.0;
            for _ in 0..100 {
                let (mut p, mut before) = (x, 1.0);
                for j in 2..=points {
                    let j = j as f64;
                    (p, before) = (((2.0 * j - 1.0) * x * p - (j - 1.0) * before) / j, p);
                }
                slope = n * (before - x * p) / (1.0 - x * x);
                let step = p / slope;
                x -= step;
                if step.abs() < 1e-15 {
                    break;
                }
            }
            [x, 1.0 / ((1.0 - x * x) * slope * slope)]
        })
        .collect()
}

#[cfg(test)]
mod tests;
