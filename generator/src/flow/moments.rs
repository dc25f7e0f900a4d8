//! The moments ∫₀¹ vᵏ exp(−s v) dv of many numbers s at once.
//!
//! The first, (1 − exp(−s))/s, is the angular velocity of a Lamb–Oseen vortex over that in its
//! middle, s being the squared distance from there; each is minus the derivative of the one before.
//! Everything is made of sums, products and quotients in a fixed order, without branches between
//! numbers, so that the compiler can make vector code and every machine gives the same bits.

use super::series::TERMS;

/// Number of moments.
pub(crate) const MOMENTS: usize = TERMS - 1;

/// exp(−s) underflows beyond.
const FARTHEST: f64 = 700.0;

/// exp(−s) for s ≥ 0, with a relative error of 1e-15 up to s = 700 and the value there beyond: 2ⁿ
/// times the Taylor polynomial of degree 13 of the rest, which is at most ½ ln 2.
#[inline(always)]
pub(crate) fn decay(s: f64) -> f64 {
    // Adding 1.5 · 2⁵² rounds to a whole number, which then stands in the lowest bits.
    const ROUND: f64 = 1.5 * (1u64 << 52) as f64;
    // ln 2 in two parts, the first with so few digits that its product with n is exact (Cody and
    // Waite, *Software Manual for the Elementary Functions*, chapter 6).
    const LN_2_HIGH: f64 = 0.693_145_751_953_125;
    const LN_2_LOW: f64 = 1.428_606_820_309_417_2e-6;
    let x = -s.min(FARTHEST);
    let shifted = x * std::f64::consts::LOG2_E + ROUND;
    let n = shifted - ROUND;
    let rest = (x - n * LN_2_HIGH) - n * LN_2_LOW;
    let mut sum = INVERSE_FACTORIAL[13];
    for k in (0..13).rev() {
        sum = sum * rest + INVERSE_FACTORIAL[k];
    }
    sum * f64::from_bits(shifted.to_bits().wrapping_add(1023) << 52)
}

const INVERSE_FACTORIAL: [f64; 14] = {
    let mut all = [1.0; 14];
    let (mut factorial, mut k) = (1.0, 1);
    while k < 14 {
        factorial *= k as f64;
        all[k] = 1.0 / factorial;
        k += 1;
    }
    all
};

/// The moments at some numbers s ≥ 0, times a factor for each, one moment after another.
///
/// From s = 1 on by s M\[k\] = k M\[k−1\] − exp(−s), upward. Below, where that loses digits,
/// downward, from the series M\[11\] = exp(−s) (1 + s/13 (1 + s/14 (1 + …)))/12; all by parts from
/// the integral (the incomplete gamma function, Abramowitz and Stegun 6.5.22 and 6.5.29). The error
/// is 2e-15 where s < 1 and elsewhere 2e-15 times the factors k/s above 1 of all moments up to it.
/// A moment is worth its share of s − s₀ to the power k, over k!, so that this is enough.
#[derive(Debug, Default)]
pub(crate) struct Moments {
    /// exp(−s) times the factor.
    decays: Vec<f64>,
    /// 1/s where s > 1.
    inverse: Vec<f64>,
    /// The numbers below 1, by their places, and all their moments.
    near: Vec<(usize, [f64; MOMENTS])>,
}

impl Moments {
    /// At all `s`, times `factors`; takes the place of those before.
    #[inline(always)]
    pub(crate) fn set(&mut self, s: &[f64], factors: &[f64]) {
        let Moments {
            decays,
            inverse,
            near,
        } = self;
        decays.resize(s.len(), 0.0);
        inverse.resize(s.len(), 0.0);
        let to = decays.iter_mut().zip(inverse.iter_mut());
        for ((e, inverse), (s, factor)) in to.zip(s.iter().zip(factors)) {
            *e = decay(*s) * factor;
            *inverse = 1.0 / s.max(1.0);
        }
        near.clear();
        let below = s.iter().zip(&*decays).enumerate();
        near.extend(
            below
                .filter(|(_, (s, _))| **s < 1.0)
                .map(|(l, (s, e))| (l, downward(*s, *e))),
        );
    }

    /// Moment 0, ∫₀¹ exp(−s v) dv, for these factors.
    #[inline(always)]
    pub(crate) fn first(&self, factors: &[f64], row: &mut [f64]) {
        for ((m, factor), (e, inverse)) in row
            .iter_mut()
            .zip(factors)
            .zip(self.decays.iter().zip(&self.inverse))
        {
            *m = (factor - e) * inverse;
        }
        self.near.iter().for_each(|(l, all)| row[*l] = all[0]);
    }

    /// Moment `k`, 1 to 11, from the one before.
    #[inline(always)]
    pub(crate) fn next(&self, k: usize, before: &[f64], row: &mut [f64]) {
        let order = k as f64;
        for ((m, before), (e, inverse)) in row
            .iter_mut()
            .zip(before)
            .zip(self.decays.iter().zip(&self.inverse))
        {
            *m = (order * before - e) * inverse;
        }
        self.near.iter().for_each(|(l, all)| row[*l] = all[k]);
    }
}

/// All moments at `s` < 1, times the factor that `e` has over exp(−s).
fn downward(s: f64, e: f64) -> [f64; MOMENTS] {
    const SERIES: usize = 12;
    let mut below = 1.0;
    for i in (1..=SERIES).rev() {
        below = 1.0 + s * (1.0 / (MOMENTS + i) as f64) * below;
    }
    below *= e / MOMENTS as f64;
    let mut all = [0.0; MOMENTS];
    for k in (0..MOMENTS).rev() {
        all[k] = below;
        if k > 0 {
            below = (s * below + e) / k as f64;
        }
    }
    all
}

#[cfg(test)]
mod tests;
