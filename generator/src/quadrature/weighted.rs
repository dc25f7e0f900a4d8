//! Gauss rules of any weight: the rule of n points integrates the weight times a polynomial of
//! degree 2n − 1 exactly.
//!
//! The weight comes as many weighted points that integrate it times polynomials exactly.
//! Stieltjes' procedure makes of them the recurrence of the weight's orthogonal polynomials
//! (Gautschi, *Orthogonal Polynomials: Computation and Approximation*, 2004, section 2.2; memory);
//! the zeros of these polynomials are the nodes.

/// The recurrence p_{k+1} √β_{k+1} = (t − α_k) p_k − √β_k p_{k−1} of the polynomials that are
/// orthonormal under a weight on [−1, 1].
#[derive(Debug)]
pub(crate) struct Recurrence {
    alpha: Vec<f64>,
    /// √β_k; the first is not used.
    root_beta: Vec<f64>,
}

impl Recurrence {
    /// Of a weight that `points` stand for, each a place on [−1, 1] and its weight; the weights sum
    /// to 1. Gives rules of up to `largest` points, of which there must be fewer than `points`.
    pub(crate) fn of(points: &[[f64; 2]], largest: usize) -> Recurrence {
        let (mut alpha, mut root_beta) = (Vec::with_capacity(largest), vec![0.0]);
        let mut now = vec![1.0; points.len()];
        let mut before = vec![0.0; points.len()];
        for k in 0..largest {
            let mean: f64 = points.iter().zip(&now).map(|([t, w], p)| w * t * p * p).sum();
            alpha.push(mean);
            for ((before, now), [t, _]) in before.iter_mut().zip(&now).zip(points) {
                *before = (t - mean) * now - root_beta[k] * *before;
            }
            std::mem::swap(&mut before, &mut now);
            let norm: f64 = points.iter().zip(&now).map(|([_, w], p)| w * p * p).sum();
            let root = libm::sqrt(norm);
            now.iter_mut().for_each(|p| *p /= root);
            root_beta.push(root);
        }
        Recurrence { alpha, root_beta }
    }

    /// Nodes in ascending order and their weights, which sum to 1, of the rule of `points` points.
    pub(crate) fn rule(&self, points: usize) -> Vec<[f64; 2]> {
        (0..points)
            .map(|k| {
                let node = self.zero(points, k);
                [node, self.weight(points, node)]
            })
            .collect()
    }

    /// Zero `k` of the polynomial of that degree, by bisection between −1 and 1.
    fn zero(&self, degree: usize, k: usize) -> f64 {
        let (mut low, mut high) = (-1.0, 1.0);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if self.zeros_below(degree, middle) > k {
                high = middle;
            } else {
                low = middle;
            }
        }
        0.5 * (low + high)
    }

    /// How many zeros lie below `t`: the negative pivots of the Jacobi matrix less t (Sylvester's
    /// law of inertia).
    fn zeros_below(&self, degree: usize, t: f64) -> usize {
        let mut pivot = 1.0;
        let mut below = 0;
        for k in 0..degree {
            let beta = self.root_beta[k] * self.root_beta[k];
            pivot = self.alpha[k] - t - beta / pivot;
            if pivot == 0.0 {
                pivot = f64::MIN_POSITIVE;
            }
            below += usize::from(pivot < 0.0);
        }
        below
    }

    /// Weight of a node (Christoffel's number): 1/Σ p_k² over the degrees below that of the rule.
    fn weight(&self, points: usize, node: f64) -> f64 {
        let (mut before, mut now) = (0.0, 1.0);
        let mut sum = 1.0;
        for k in 0..points - 1 {
            let next = ((node - self.alpha[k]) * now - self.root_beta[k] * before) / self.root_beta[k + 1];
            (before, now) = (now, next);
            sum += now * now;
        }
        1.0 / sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quadrature::rule;

    /// Under an even weight the rules are Gauss and Legendre's (checked in their own test); under
    /// the weight (1 + t)/2 the moment of degree d is, in closed form, half the sum of those of
    /// degree d and d + 1 of the even weight: 1/(d + 1) for even d, 1/(d + 2) for odd. To rounding.
    #[test]
    fn rules_are_exact_to_their_degree() {
        let even = Recurrence::of(rule(32), 31);
        for (found, known) in even.rule(9).iter().zip(rule(9).iter().rev()) {
            let (found_at, known_at) = (found[0].abs(), known[0].abs());
            assert!((found_at - known_at).abs() < 1e-14 && (found[1] - known[1]).abs() < 1e-14);
        }
        let rising: Vec<[f64; 2]> = rule(32).iter().map(|[t, w]| [*t, w * (1.0 + t)]).collect();
        let rising = Recurrence::of(&rising, 31);
        for n in 1..=31 {
            let rule = rising.rule(n);
            for degree in 0..2 * n {
                let sum: f64 = rule.iter().map(|[t, w]| w * t.powi(degree as i32)).sum();
                let exact = if degree % 2 == 0 {
                    1.0 / (degree as f64 + 1.0)
                } else {
                    1.0 / (degree as f64 + 2.0)
                };
                assert!(
                    (sum - exact).abs() < 1e-13,
                    "{n} points, degree {degree}: {sum} for {exact}"
                );
            }
        }
    }
}
