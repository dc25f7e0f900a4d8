//! Velocities as Taylor series in time along pathlines, which may be those of another field: what a
//! sum of fields needs from each.
//!
//! From the terms x\[0\] … x\[n\] of a place follows the coefficient u\[n\] of each field's
//! velocity there; their sum over the fields, over n + 1, is the next term of the place.

use super::Vec3;
use super::series::PathSeries;

/// The velocity of a field along the pathlines of some elements.
pub trait Along {
    /// Adds coefficient `n` of the velocity to `velocity` (x, y and z of all elements), from term
    /// `n` of the places. It is asked for n = 0, 1, 2 … one after another.
    fn add(&mut self, n: usize, place: [&[f64]; 3], velocity: [&mut [f64]; 3]);
}

/// The series of the pathlines that start at `from` and have this velocity, for places up to the
/// time `reach` from the start.
pub(crate) fn path(along: &mut dyn Along, from: [&[f64]; 3], reach: f64) -> PathSeries {
    let width = from[0].len();
    let mut series = PathSeries::new(from, reach);
    let mut velocity = vec![0.0; 3 * width];
    while width > 0 && !series.complete() {
        let n = series.count() - 1;
        velocity.fill(0.0);
        let [u, v, w] = thirds(&mut velocity);
        along.add(n, series.term(n), [u, v, w]);
        series.push([u, v, w]);
    }
    series
}

/// Three arrays of one length that stand one after another.
pub(crate) fn thirds(all: &mut [f64]) -> [&mut [f64]; 3] {
    let third = all.len() / 3;
    let (u, vw) = all.split_at_mut(third);
    let (v, w) = vw.split_at_mut(third);
    [u, v, w]
}

/// A velocity that is a linear function of the place: u = U + G (x − x₀).
#[derive(Debug)]
pub(crate) struct Linear {
    /// U, px per pulse separation.
    pub(crate) velocity: Vec3,
    /// G, per pulse separation.
    pub(crate) gradient: [Vec3; 3],
    /// x₀, px.
    pub(crate) about: Vec3,
}

impl Linear {
    /// Fluid at rest on an axis along z through (x₀, y₀), px.
    pub(crate) fn about_axis([x, y]: [f64; 2], gradient: [Vec3; 3]) -> Linear {
        Linear {
            velocity: [0.0; 3],
            gradient,
            about: [x, y, 0.0],
        }
    }
}

impl Along for Linear {
    fn add(&mut self, n: usize, place: [&[f64]; 3], velocity: [&mut [f64]; 3]) {
        let first = n == 0;
        let about = if first { self.about } else { [0.0; 3] };
        for ((axis, row), constant) in velocity.into_iter().zip(self.gradient).zip(self.velocity) {
            let constant = if first { constant } else { 0.0 };
            for (l, sum) in axis.iter_mut().enumerate() {
                let from = [0, 1, 2].map(|j| place[j][l] - about[j]);
                *sum += constant + row[0] * from[0] + row[1] * from[1] + row[2] * from[2];
            }
        }
    }
}

/// A function of y whose Taylor coefficients follow from those of y.
#[derive(Debug, Clone, Copy)]
pub(crate) enum VelocityProfile {
    /// sin s.
    Sine,
    /// exp(−s²).
    Gaussian,
    /// tanh s.
    Tanh,
}

/// A parallel flow along x, u = U + A f(s) with s = k (y − y₀) + φ, v = V, w = W.
#[derive(Debug)]
pub(crate) struct Parallel {
    /// U, V and W, px per pulse separation.
    pub(crate) velocity: Vec3,
    /// A, px per pulse separation.
    pub(crate) amplitude: f64,
    /// f.
    pub(crate) profile: VelocityProfile,
    /// k, per px.
    pub(crate) scale: f64,
    /// y₀, px.
    pub(crate) centre_y: f64,
    /// φ.
    pub(crate) phase: f64,
    /// Of each element the coefficients of s, f and one more function, found so far.
    pub(crate) terms: Vec<[Vec<f64>; 3]>,
}

impl Parallel {
    /// With U, V, W = `velocity`, k = `scale` and the rest 0.
    pub(crate) fn new(velocity: Vec3, amplitude: f64, profile: VelocityProfile, scale: f64) -> Parallel {
        Parallel {
            velocity,
            amplitude,
            profile,
            scale,
            centre_y: 0.0,
            phase: 0.0,
            terms: Vec::new(),
        }
    }
}

impl Along for Parallel {
    fn add(&mut self, n: usize, [_, y, _]: [&[f64]; 3], [u, v, w]: [&mut [f64]; 3]) {
        let (mut constant, mut centre, mut phase) = ([0.0; 3], 0.0, 0.0);
        if n == 0 {
            (constant, centre, phase) = (self.velocity, self.centre_y, self.phase);
            self.terms = vec![[const { Vec::new() }; 3]; y.len()];
        }
        for (l, [s, f, beside]) in self.terms.iter_mut().enumerate() {
            s.push(self.scale * (y[l] - centre) + phase);
            self.profile.append(s, f, beside);
            u[l] += constant[0] + self.amplitude * f[n];
            v[l] += constant[1];
            w[l] += constant[2];
        }
    }
}

impl VelocityProfile {
    /// Appends coefficient n of f, and of the function beside it that the next one needs: the
    /// cosine, s², and 1 − tanh² s. `s` has its coefficients up to n.
    fn append(self, s: &[f64], f: &mut Vec<f64>, beside: &mut Vec<f64>) {
        let n = f.len();
        let share = 1.0 / n.max(1) as f64;
        match self {
            VelocityProfile::Sine => {
                let (sin, cos) = match n {
                    0 => libm::sincos(s[0]),
                    _ => (share * slope_times(s, beside, n), -share * slope_times(s, f, n)),
                };
                f.push(sin);
                beside.push(cos);
            }
            VelocityProfile::Gaussian => {
                beside.push(square(s, n));
                let next = match n {
                    0 => libm::exp(-beside[0]),
                    _ => -share * slope_times(beside, f, n),
                };
                f.push(next);
            }
            VelocityProfile::Tanh => {
                let next = match n {
                    0 => libm::tanh(s[0]),
                    _ => share * slope_times(s, beside, n),
                };
                f.push(next);
                let one = if n == 0 { 1.0 } else { 0.0 };
                beside.push(one - square(f, n));
            }
        }
    }
}

/// Σ j a\[j\] b\[n − j\], j from 1 to n: n times the coefficient n of the integral of a′ b.
fn slope_times(a: &[f64], b: &[f64], n: usize) -> f64 {
    (1..=n).map(|j| j as f64 * a[j] * b[n - j]).sum()
}

/// Coefficient n of a².
fn square(a: &[f64], n: usize) -> f64 {
    (0..=n).map(|j| a[j] * a[n - j]).sum()
}
