//! Pathlines in the sum of Fourier modes, as Taylor series in time.
//!
//! Along a pathline the phase of a mode is a series whose terms are those of the place times the
//! wave vector. With w\[n\] = n times its terms, in radians, those of cosine and sine follow from n
//! c\[n\] = −Σ w\[j\] s\[n−j\] and n s\[n\] = Σ w\[j\] c\[n−j\], j from 1 to n. A mode's cosine and
//! sine are therefore computed once for the whole path. The modes stand side by side; each path
//! takes the terms that it needs.

use std::f64::consts::TAU;

use multiversion::multiversion;

use super::super::Vec3;
use super::super::along::Along;
use super::super::series::{OnePath, PathSeries, TERMS};
use super::{LANES, WaveBlock, cosine, sine_of_any, whole_turns_off};

/// Number of modes, filled up with some of no amplitude to a power of two.
const MODES: usize = 128;

/// All modes side by side.
#[repr(align(64))]
pub(super) struct Modes {
    wave: [[f64; MODES]; 3],
    frequency: [f64; MODES],
    phase: [f64; MODES],
    amplitude: [[f64; MODES]; 3],
}

/// Terms of the modes along a pathline, one number after another. Loads that cross two lines of the
/// cache take twice as long.
#[repr(align(64))]
struct Term {
    cosine: [f64; MODES],
    sine: [f64; MODES],
    /// The number of the term times that of the phase, rad.
    slope: [f64; MODES],
}

/// The series of the pathlines of elements that are at `from` at a time, up to the time `reach`.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
pub(super) fn series(modes: &Modes, from: [&[f64]; 3], time: f64, reach: f64) -> PathSeries {
    let mut terms = Vec::with_capacity(TERMS);
    let mut all = Vec::with_capacity(from[0].len());
    for ((x, y), z) in from[0].iter().zip(from[1]).zip(from[2]) {
        let mut one = OnePath::new([*x, *y, *z], reach);
        terms.clear();
        while !one.complete() {
            one.push(next(modes, &mut terms, one.last().1, time));
        }
        all.push(one);
    }
    PathSeries::beside(&all, reach)
}

/// The velocity of all modes along pathlines.
pub(super) struct AlongModes {
    modes: Modes,
    /// When the paths start.
    time: f64,
    /// Of each element.
    terms: Vec<Vec<Term>>,
}

impl AlongModes {
    pub(super) fn new(modes: Modes, time: f64) -> AlongModes {
        let terms = Vec::new();
        AlongModes { modes, time, terms }
    }
}

impl Along for AlongModes {
    fn add(&mut self, n: usize, place: [&[f64]; 3], velocity: [&mut [f64]; 3]) {
        if n == 0 {
            // As many as most series have.
            let one = |_: &f64| Vec::with_capacity(8);
            self.terms = place[0].iter().map(one).collect();
        }
        add_coefficient(self, place, velocity);
    }
}

#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
fn add_coefficient(along: &mut AlongModes, place: [&[f64]; 3], velocity: [&mut [f64]; 3]) {
    for (l, terms) in along.terms.iter_mut().enumerate() {
        let from = [0, 1, 2].map(|i| place[i][l]);
        let found = next(&along.modes, terms, from, along.time);
        for i in 0..3 {
            velocity[i][l] += found[i];
        }
    }
}

/// The next coefficient of the velocity, from that of the place; the terms of the modes are kept.
#[inline(always)]
fn next(modes: &Modes, terms: &mut Vec<Term>, place: Vec3, time: f64) -> Vec3 {
    match terms.len() {
        0 => start(modes, terms, place, time),
        n => append(modes, terms, n, place),
    }
    velocity(modes, &terms[terms.len() - 1].cosine)
}

/// Sum of the modes' amplitudes times these numbers.
#[inline(always)]
fn velocity(modes: &Modes, cosine: &[f64; MODES]) -> Vec3 {
    let mut sums = [0.0; 3];
    for (sum, amplitude) in sums.iter_mut().zip(&modes.amplitude) {
        let mut parts = [0.0; MODES / 2];
        for m in 0..MODES / 2 {
            parts[m] = amplitude[m] * cosine[m] + amplitude[m + MODES / 2] * cosine[m + MODES / 2];
        }
        // By halves, which vector code can add side by side.
        for m in 0..32 {
            parts[m] += parts[m + 32];
        }
        for m in 0..16 {
            parts[m] += parts[m + 16];
        }
        for m in 0..8 {
            parts[m] += parts[m + 8];
        }
        *sum =
            ((parts[0] + parts[4]) + (parts[2] + parts[6])) + ((parts[1] + parts[5]) + (parts[3] + parts[7]));
    }
    sums
}

impl Modes {
    pub(super) fn of(blocks: &[WaveBlock]) -> Modes {
        let mut modes = Modes {
            wave: [[0.0; MODES]; 3],
            frequency: [0.0; MODES],
            phase: [0.0; MODES],
            amplitude: [[0.0; MODES]; 3],
        };
        for (b, block) in blocks.iter().enumerate() {
            for l in 0..LANES {
                let m = b * LANES + l;
                for i in 0..3 {
                    modes.wave[i][m] = block.wave[i][l];
                    modes.amplitude[i][m] = block.amplitude[i][l];
                }
                modes.frequency[m] = block.frequency[l];
                modes.phase[m] = block.phase[l];
            }
        }
        modes
    }
}

#[inline(always)]
fn start(modes: &Modes, terms: &mut Vec<Term>, [x, y, z]: Vec3, time: f64) {
    terms.push(Term::EMPTY);
    let first = &mut terms[0];
    for m in 0..MODES {
        let turns = modes.wave[0][m] * x
            + modes.wave[1][m] * y
            + modes.wave[2][m] * z
            + modes.frequency[m] * time
            + modes.phase[m];
        let turns = whole_turns_off(turns);
        first.cosine[m] = cosine(turns);
        first.sine[m] = sine_of_any(turns);
    }
}

/// Term n ≥ 1, from that of the place.
#[inline(always)]
fn append(modes: &Modes, terms: &mut Vec<Term>, n: usize, [x, y, z]: Vec3) {
    terms.push(Term::EMPTY);
    let (before, last) = terms.split_at_mut(n);
    let last = &mut last[0];
    let order = TAU * n as f64;
    let moving = if n == 1 { 1.0 } else { 0.0 };
    for (m, slope) in last.slope.iter_mut().enumerate() {
        let turns =
            modes.wave[0][m] * x + modes.wave[1][m] * y + modes.wave[2][m] * z + modes.frequency[m] * moving;
        *slope = order * turns;
    }
    let (mut cosine, mut sine) = ([0.0; MODES], [0.0; MODES]);
    for j in 1..=n {
        let slope = if j == n { &last.slope } else { &before[j].slope };
        let (s, c) = (&before[n - j].sine, &before[n - j].cosine);
        for m in 0..MODES {
            cosine[m] -= slope[m] * s[m];
            sine[m] += slope[m] * c[m];
        }
    }
    let share = 1.0 / n as f64;
    for m in 0..MODES {
        last.cosine[m] = cosine[m] * share;
        last.sine[m] = sine[m] * share;
    }
}

impl Term {
    const EMPTY: Term = Term {
        cosine: [0.0; MODES],
        sine: [0.0; MODES],
        slope: [0.0; MODES],
    };
}
