//! Against libm, and against the integral itself.

use super::*;

fn all_moments(s: &[f64; 3]) -> Vec<[f64; 3]> {
    let mut moments = Moments::default();
    moments.set(s, &[1.0; 3]);
    let mut all = vec![[0.0; 3]; MOMENTS];
    moments.first(&[1.0; 3], &mut all[0]);
    for k in 1..MOMENTS {
        let before = all[k - 1];
        moments.next(k, &before, &mut all[k]);
    }
    all
}

fn spread() -> impl Iterator<Item = f64> {
    let near = (0..2000).map(|k| f64::from(k) * 2e-3);
    near.chain((0..7000).map(|k| 4.0 + f64::from(k) * 0.099))
        .chain([0.0, 1e-300, 1e-9, 0.999_999_999, 1.0])
}

/// libm's exponential is correct to the last digit but one; ours adds two roundings and the term
/// left out of the polynomial, (½ ln 2)¹⁴/14! = 4e-18.
#[test]
fn decay_is_the_exponential() {
    for s in spread() {
        let expected = libm::exp(-s);
        let got = decay(s);
        assert!((got / expected - 1.0).abs() < 1e-15, "{s}: {got} {expected}");
    }
    assert_eq!(decay(1e9), decay(FARTHEST));
}

/// By the composite rule of Gauss and Legendre with 3 points in 1000 parts. Its error is at most
/// the sixth derivative, (k + s)⁶ ≤ 5e7, times 1000⁻⁶ / 2 016 000: 2e-17. Rounding of some 1e-16 a
/// step is multiplied by i/s in each step of the upward recurrence.
#[test]
fn moments_are_the_integrals() {
    for s in spread().filter(|s| *s < 8.0).step_by(17) {
        // Neighbours on both sides of s = 1, so that the recurrence runs both ways.
        for (k, got) in all_moments(&[0.5, s, 2.0]).iter().enumerate() {
            let expected = integral(k as i32, s);
            let growth: f64 = (1..=k).map(|i| (i as f64 / s.max(1.0)).max(1.0)).product();
            let growth = if s < 1.0 { 1.0 } else { growth };
            let error = (got[1] - expected).abs();
            assert!(error < 2e-15 * growth, "{k} {s}: {} {expected}", got[1]);
        }
    }
}

/// Far out the moments are k!/sᵏ⁺¹; what lies beyond v = 1 is below 1e-20 of them from s = 80 on.
#[test]
fn distant_moments_are_factorials_over_powers() {
    for s in [80.0, 300.0, 699.0, 1e4, 1e8] {
        let mut expected = 1.0 / s;
        for (k, got) in all_moments(&[s; 3]).iter().enumerate() {
            assert!(
                (got[2] / expected - 1.0).abs() < 1e-14,
                "{k} {s}: {} {expected}",
                got[2]
            );
            expected *= (k + 1) as f64 / s;
        }
    }
}

fn integral(k: i32, s: f64) -> f64 {
    const PARTS: usize = 1000;
    let off = 0.6_f64.sqrt();
    (0..PARTS)
        .map(|part| {
            let value = |node: f64| {
                let v = (part as f64 + 0.5 * (1.0 + node)) / PARTS as f64;
                v.powi(k) * libm::exp(-s * v)
            };
            (5.0 * value(-off) + 8.0 * value(0.0) + 5.0 * value(off)) / (18.0 * PARTS as f64)
        })
        .sum()
}
