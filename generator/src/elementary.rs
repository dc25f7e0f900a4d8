//! Exponential and natural logarithm in double precision, many at a time.
//!
//! They have no branches, so that the compiler can make vector code, and no fused multiply-add, so
//! that every machine gives the same bits. One by one or many at a time the results are the same.

use multiversion::multiversion;

/// ln 2 in two parts, the first with so few digits that its multiples by whole numbers are exact.
const LN_2: [f64; 2] = [0.693_147_180_369_123_8, 1.908_214_929_270_587_7e-10];

/// Least argument of [`exp`]; e to it is 1e-304.
const LEAST: f64 = -700.0;

/// e to the power of `x`, for x of at most 700, with a relative error of at most 1e-15; below −700
/// as at −700. With x = k ln 2 + r, |r| ≤ ½ ln 2, it is 2ᵏ times the series of eʳ, whose first term
/// left out is 2e-17.
#[inline(always)]
pub(crate) fn exp(x: f64) -> f64 {
    const INVERSE: [f64; 13] = [
        1.0,
        1.0 / 2.0,
        1.0 / 6.0,
        1.0 / 24.0,
        1.0 / 120.0,
        1.0 / 720.0,
        1.0 / 5040.0,
        1.0 / 40_320.0,
        1.0 / 362_880.0,
        1.0 / 3_628_800.0,
        1.0 / 39_916_800.0,
        1.0 / 479_001_600.0,
        1.0 / 6_227_020_800.0,
    ];
    // Adding 1.5 · 2⁵² rounds to a whole number, which then stands in the last bits.
    const WHOLE: f64 = 6_755_399_441_055_744.0;
    let x = if x > LEAST { x } else { LEAST };
    let shifted = x * std::f64::consts::LOG2_E + WHOLE;
    let k = shifted - WHOLE;
    let r = (x - k * LN_2[0]) - k * LN_2[1];
    let mut series = INVERSE[12];
    for n in (0..12).rev() {
        series = series * r + INVERSE[n];
    }
    let power = f64::from_bits((shifted.to_bits() << 52).wrapping_add(1023 << 52));
    power * (series * r + 1.0)
}

/// Natural logarithm of a positive number that is not subnormal, to 1e-15 of it or of 1, whichever
/// is larger. With x = 2ᵏ m, m from √½ to √2, it is k ln 2 + 2 artanh((m − 1)/(m + 1)); the first
/// term of the series of artanh that is left out is 5e-17.
#[inline(always)]
pub(crate) fn ln(x: f64) -> f64 {
    /// Bits of √½.
    const MIDDLE: i64 = 0x3fe6_a09e_667f_3bcd;
    let bits = x.to_bits() as i64;
    let exponent = (bits - MIDDLE) >> 52;
    let m = f64::from_bits((bits - (exponent << 52)) as u64);
    let s = (m - 1.0) / (m + 1.0);
    let q = s * s;
    let mut series = 1.0 / 21.0;
    for n in (0..10).rev() {
        series = series * q + 1.0 / (2 * n + 1) as f64;
    }
    let k = exponent as i32 as f64;
    k * LN_2[0] + (2.0 * s * series + k * LN_2[1])
}

/// [`exp`] of each value, in place.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
pub(crate) fn exp_all(values: &mut [f64]) {
    for value in values {
        *value = exp(*value);
    }
}

/// [`ln`] of each value, in place.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
pub(crate) fn ln_all(values: &mut [f64]) {
    for value in values {
        *value = ln(*value);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against `libm`, which is right to its last bit or the one before; and one by one as many at
    /// a time.
    #[test]
    fn functions_agree_with_libm() {
        let mut arguments: Vec<f64> = (0..400_000).map(|k| f64::from(k) * -1.75e-3).collect();
        arguments.extend((0..1000).map(|k| f64::from(k) * 0.7));
        let mut all = arguments.clone();
        exp_all(&mut all);
        for (x, got) in arguments.iter().zip(all) {
            let exact = libm::exp(*x);
            assert!((got - exact).abs() <= 1e-15 * exact, "{x}: {got:e} {exact:e}");
            assert_eq!(got, exp(*x));
        }
        assert_eq!(exp(-1e9), exp(-700.0));
        let arguments: Vec<f64> = (0..400_000).map(|k| exp(f64::from(k) * 3e-3 - 600.0)).collect();
        let mut all = arguments.clone();
        ln_all(&mut all);
        for (x, got) in arguments.iter().zip(all) {
            let exact = libm::log(*x);
            assert!(
                (got - exact).abs() <= 1e-15 * exact.abs().max(1.0),
                "{x:e}: {got} {exact}"
            );
            assert_eq!(got, ln(*x));
        }
        assert_eq!((exp(0.0), ln(1.0)), (1.0, 0.0));
    }
}
