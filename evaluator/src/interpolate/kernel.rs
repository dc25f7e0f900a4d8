//! The interpolation kernels as polynomials, and the poles of the B-spline filters.

use super::Interpolator;

/// Number of samples that a row of weights has room for.
pub(super) const TAPS: usize = 8;

/// The weights of the samples around a point as polynomials of u, its fraction of a pixel less a
/// half. A kernel is even, so that weight k and that of the sample opposite, support - 1 - k, are
/// E + u O and E - u O with the polynomials E and O of u²: two weights for the work of one.
pub(super) struct Kernel {
    /// Number of samples with a weight; the point lies between the two in the middle.
    pub support: usize,
    /// Coefficients of (u²)ⁿ in E and O, for each k in the first half of the support.
    pub terms: Vec<[[f32; HALF]; 2]>,
}

/// Pairs of opposite samples.
pub(super) const HALF: usize = TAPS / 2;

impl Kernel {
    /// From weights of which number k is the sum of `terms[n][k]` tⁿ, with t the fraction of a
    /// pixel.
    fn about_the_middle(support: usize, terms: &[[f64; TAPS]]) -> Kernel {
        // tⁿ = (u + ½)ⁿ, by the binomial theorem.
        let mut powers = vec![[0.0; TAPS]; terms.len().next_multiple_of(2)];
        let mut binomial = vec![1.0];
        for term in terms {
            for (power, share) in powers.iter_mut().zip(&binomial) {
                for (sum, value) in power.iter_mut().zip(term) {
                    *sum += share * value;
                }
            }
            let by_half = binomial.iter().map(|share| 0.5 * share).chain([0.0]);
            let by_u = [0.0].into_iter().chain(binomial.iter().copied());
            binomial = by_half.zip(by_u).map(|(a, b)| a + b).collect();
        }
        let half = |power: &[f64; TAPS]| std::array::from_fn(|k| power[k] as f32);
        Kernel {
            support,
            terms: powers
                .chunks(2)
                .map(|two| [half(&two[0]), half(&two[1])])
                .collect(),
        }
    }
}

impl Interpolator {
    pub(super) fn kernel(self) -> Kernel {
        let (support, divisor, terms): (usize, f64, &[[f64; TAPS]]) = match self {
            Interpolator::Bilinear => (
                2,
                1.0,
                &[
                    [1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
                    [-1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
                ],
            ),
            Interpolator::Cubic => (
                4,
                6.0,
                &[
                    [1.0, 4.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0],
                    [-3.0, 0.0, 3.0, 0.0, 0.0, 0.0, 0.0, 0.0],
                    [3.0, -6.0, 3.0, 0.0, 0.0, 0.0, 0.0, 0.0],
                    [-1.0, 3.0, -3.0, 1.0, 0.0, 0.0, 0.0, 0.0],
                ],
            ),
            Interpolator::Quintic => (
                6,
                120.0,
                &[
                    [1.0, 26.0, 66.0, 26.0, 1.0, 0.0, 0.0, 0.0],
                    [-5.0, -50.0, 0.0, 50.0, 5.0, 0.0, 0.0, 0.0],
                    [10.0, 20.0, -60.0, 20.0, 10.0, 0.0, 0.0, 0.0],
                    [-10.0, 20.0, 0.0, -20.0, 10.0, 0.0, 0.0, 0.0],
                    [5.0, -20.0, 30.0, -20.0, 5.0, 0.0, 0.0, 0.0],
                    [-1.0, 5.0, -10.0, 10.0, -5.0, 1.0, 0.0, 0.0],
                ],
            ),
            Interpolator::Septic => (
                8,
                5040.0,
                &[
                    [1.0, 120.0, 1191.0, 2416.0, 1191.0, 120.0, 1.0, 0.0],
                    [-7.0, -392.0, -1715.0, 0.0, 1715.0, 392.0, 7.0, 0.0],
                    [21.0, 504.0, 315.0, -1680.0, 315.0, 504.0, 21.0, 0.0],
                    [-35.0, -280.0, 665.0, 0.0, -665.0, 280.0, 35.0, 0.0],
                    [35.0, 0.0, -315.0, 560.0, -315.0, 0.0, 35.0, 0.0],
                    [-21.0, 84.0, -105.0, 0.0, 105.0, -84.0, 21.0, 0.0],
                    [7.0, -42.0, 105.0, -140.0, 105.0, -42.0, 7.0, 0.0],
                    [-1.0, 7.0, -21.0, 35.0, -35.0, 21.0, -7.0, 1.0],
                ],
            ),
            Interpolator::Lanczos3 => return lanczos(3),
            Interpolator::Lanczos4 => return lanczos(4),
        };
        let terms: Vec<_> = terms.iter().map(|term| term.map(|t| t / divisor)).collect();
        Kernel::about_the_middle(support, &terms)
    }

    /// Poles of the filter that turns pixels into coefficients: the roots within the unit circle of
    /// the sampled B-spline's z-transform, which is a polynomial of s = z + 1/z. Its roots in s:
    /// that of s + 4, those of s² + 26 s + 64, those of s³ + 120 s² + 1188 s + 2176.
    pub(super) fn poles(self) -> Vec<f64> {
        let sums = match self {
            Interpolator::Cubic => vec![-4.0],
            Interpolator::Quintic => vec![-13.0 + 105f64.sqrt(), -13.0 - 105f64.sqrt()],
            Interpolator::Septic => vec![-2.403460066117891, -8.282182046853598, -109.314_357_887_028_5],
            _ => vec![],
        };
        sums.into_iter()
            .map(|s: f64| (s + (s * s - 4.0).sqrt()) / 2.0)
            .collect()
    }
}

/// The weights sinc(x) sinc(x / radius), divided by their sum, as polynomials through their values
/// at Chebyshev nodes. At degree 12 these stay within 1e-7 of the weights.
fn lanczos(radius: usize) -> Kernel {
    const DEGREE: usize = 12;
    let support = 2 * radius;
    let sinc = |x: f64| {
        let p = std::f64::consts::PI * x;
        if p.abs() < 1e-9 { 1.0 } else { p.sin() / p }
    };
    let mut terms = vec![[0.0f64; TAPS]; DEGREE + 1];
    let node = |n: usize| 0.5 - 0.5 * (std::f64::consts::PI * (n as f64 + 0.5) / (DEGREE + 1) as f64).cos();
    for n in 0..=DEGREE {
        let distance = |k: usize| node(n) + (radius - 1) as f64 - k as f64;
        let weights: Vec<f64> = (0..support)
            .map(|k| sinc(distance(k)) * sinc(distance(k) / radius as f64))
            .collect();
        let sum: f64 = weights.iter().sum();
        // Lagrange's polynomial of this node, expanded in powers of t.
        let mut basis = vec![1.0];
        for m in (0..=DEGREE).filter(|&m| m != n) {
            let divisor = node(n) - node(m);
            let mut next = vec![0.0; basis.len() + 1];
            for (power, value) in basis.iter().enumerate() {
                next[power + 1] += value / divisor;
                next[power] -= value * node(m) / divisor;
            }
            basis = next;
        }
        for (term, power) in terms.iter_mut().zip(basis) {
            for (value, weight) in term.iter_mut().zip(&weights) {
                *value += power * weight / sum;
            }
        }
    }
    Kernel::about_the_middle(support, &terms)
}
