use super::*;

/// A rule of n points integrates polynomials to degree 2n − 1 exactly (Abramowitz and Stegun
/// 25.4.29).
#[test]
fn quadrature_is_exact_to_its_degree() {
    for n in 1..=LARGEST_RULE {
        for degree in 0..2 * n {
            let sum: f64 = rule(n).iter().map(|[x, w]| w * x.powi(degree as i32)).sum();
            let exact = if degree % 2 == 0 {
                1.0 / (degree as f64 + 1.0)
            } else {
                0.0
            };
            assert!(
                (sum - exact).abs() < 1e-14,
                "{n} points, degree {degree}: {sum} for {exact}"
            );
        }
    }
}
