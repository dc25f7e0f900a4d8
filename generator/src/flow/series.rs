//! Pathlines as Taylor series in time, many at once.
//!
//! Where the velocity is made of functions whose Taylor coefficients follow from each other by
//! recurrence, all coefficients of a pathline cost about as much as a few velocities, and one
//! series gives the place at any time near its start (Jorba and Zou, Experimental Mathematics 14
//! (2005) 99). Elements stand side by side in arrays; none depends on another, so an element's path
//! is the same whichever elements are computed with it.

use multiversion::multiversion;

use super::Vec3;

/// Number of terms that a series has at most.
pub(crate) const TERMS: usize = 13;

/// A series is cut off after a term of at most this size, px, a tenth of the error that a
/// displacement may have, 1e-6 px. Terms fall geometrically, or faster, within the radius of
/// convergence; those left out add up to less than 1e-6 px as long as each is at most 0.9 of the
/// one before.
const CUT_PX: f64 = 1e-7;

/// The term before the last may have this size, px. Two are looked at, because a single one may be
/// small by chance.
const BEFORE_CUT_PX: f64 = 1e-6;

/// Whether a series may be cut off after term `n`, from the sizes of the term before it and of it.
#[inline(always)]
fn may_end(n: usize, before_px: f64, last_px: f64) -> bool {
    (n >= FIRST_CUT) & (before_px <= BEFORE_CUT_PX) & (last_px <= CUT_PX)
}

/// The first term at which a series may be cut off: an element that is at rest at the start, or not
/// accelerated, may still move.
const FIRST_CUT: usize = 4;

/// A fluid element at some time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct State {
    /// Place, px.
    pub at: Vec3,
    /// Velocity, px per pulse separation.
    pub velocity: Vec3,
}

/// Taylor series in time of the pathlines of some fluid elements: places are the sum of x\[n\] τⁿ,
/// with τ the time since the start.
///
/// ```
/// use motefield_generator::flow::PathSeries;
///
/// // Solid rotation at the rate ½: the terms of the velocity are those of the place, turned.
/// let mut series = PathSeries::new([&[3.0, 5.0], &[0.0, 1.0], &[0.0, 0.0]], 0.4);
/// while !series.complete() {
///     let [x, y, z] = series.last().map(|v| v.to_vec());
///     let (u, v): (Vec<f64>, Vec<f64>) = (
///         y.iter().map(|y| -0.5 * y).collect(),
///         x.iter().map(|x| 0.5 * x).collect(),
///     );
///     series.push([&u, &v, &z]);
/// }
/// let [x, y, _] = series.state(0, 0.4).expect("a series that reaches 0.4").at;
/// assert!((x - 3.0 * 0.2_f64.cos()).abs() < 1e-8 && (y - 3.0 * 0.2_f64.sin()).abs() < 1e-8);
/// ```
#[derive(Debug, Clone)]
pub struct PathSeries {
    /// Number of elements.
    width: usize,
    /// Terms one after another, each with x, y and z of all elements.
    terms: Vec<f64>,
    /// |x| + |y| + |z| of each term of each element, as it was when it was found.
    sizes: Vec<f64>,
    /// Longest time from the start at which places are wanted, and its power for the last term.
    reach: f64,
    power: f64,
    /// Elements whose series may be cut off within the terms found.
    done: Vec<bool>,
}

impl PathSeries {
    /// The series of elements that are at `from` (x, y and z of all), px, with places wanted up to
    /// the time `reach` after or before the start.
    ///
    /// # Panics
    /// When the three axes have different numbers of elements.
    pub fn new(from: [&[f64]; 3], reach: f64) -> PathSeries {
        let width = from[0].len();
        // Most series of a picture's particles have so many terms or fewer.
        const USUAL: usize = 8;
        let mut terms = Vec::with_capacity(USUAL * 3 * width);
        for axis in from {
            assert_eq!(axis.len(), width, "three coordinates per element");
            terms.extend_from_slice(axis);
        }
        let mut sizes = Vec::with_capacity(USUAL * width);
        sizes.resize(width, f64::INFINITY);
        PathSeries {
            width,
            terms,
            sizes,
            reach: reach.abs(),
            power: 1.0,
            done: vec![false; width],
        }
    }

    /// Number of elements.
    #[inline(always)]
    pub fn width(&self) -> usize {
        self.width
    }

    /// Number of terms found so far.
    #[inline(always)]
    pub fn count(&self) -> usize {
        self.sizes.len() / self.width.max(1)
    }

    /// Term `n`, x\[n\]: x, y and z of all elements.
    ///
    /// # Panics
    /// When it has not been found.
    #[inline(always)]
    pub fn term(&self, n: usize) -> [&[f64]; 3] {
        let (xy, z) = self.terms[3 * n * self.width..][..3 * self.width].split_at(2 * self.width);
        let (x, y) = xy.split_at(self.width);
        [x, y, z]
    }

    /// The last of the terms.
    pub fn last(&self) -> [&[f64]; 3] {
        self.term(self.count() - 1)
    }

    /// Whether no more terms are needed, or there is room for none.
    #[inline(always)]
    pub fn complete(&self) -> bool {
        self.count() >= TERMS || self.done.iter().all(|done| *done)
    }

    /// Appends the term x\[n + 1\] that follows from the coefficient n of the velocity,
    /// u\[n\] / (n + 1); n + 1 is the number of terms before.
    ///
    /// # Panics
    /// When the velocity is not that of as many elements.
    #[inline(always)]
    pub fn push(&mut self, velocity: [&[f64]; 3]) {
        let (n, width) = (self.count(), self.width);
        let share = 1.0 / n as f64;
        for axis in velocity {
            assert_eq!(axis.len(), width, "three components per element");
            self.terms.extend(axis.iter().map(|v| v * share));
        }
        self.sizes.resize((n + 1) * width, 0.0);
        let (before, size) = self.sizes[(n - 1) * width..].split_at_mut(width);
        for axis in self.terms[3 * n * width..].chunks_exact(width.max(1)) {
            for (size, v) in size.iter_mut().zip(axis) {
                *size += v.abs();
            }
        }
        let power = self.power;
        self.power *= self.reach;
        if n >= FIRST_CUT {
            for ((done, before), size) in self.done.iter_mut().zip(before).zip(size) {
                *done |= may_end(n, *before * power, *size * self.power);
            }
        }
    }

    /// State of element number `l` at the time `since` after the start; `None` where the series
    /// does not reach so far. How many terms are summed depends on `since` and on the element's own
    /// terms alone.
    ///
    /// # Panics
    /// When there is no such element.
    pub fn state(&self, l: usize, since: f64) -> Option<State> {
        assert!(l < self.width, "an element of the series");
        let term = |n: usize| [0, 1, 2].map(|i| self.terms[(3 * n + i) * self.width + l]);
        let (mut at, mut velocity, mut power) = (term(0), [0.0; 3], 1.0);
        let mut before = f64::INFINITY;
        for n in 1..self.count() {
            let (x, slope) = (term(n), n as f64 * power);
            power *= since;
            for i in 0..3 {
                at[i] += x[i] * power;
                velocity[i] += x[i] * slope;
            }
            let last = self.sizes[n * self.width + l] * power.abs();
            if may_end(n, before, last) {
                return Some(State { at, velocity });
            }
            before = last;
        }
        None
    }

    /// The [states](PathSeries::state) of all elements at the time `since` after the start, summed
    /// side by side.
    pub(crate) fn states(&self, since: f64) -> States {
        let width = self.width;
        let mut states = States {
            at: self.terms[..3 * width].to_vec(),
            velocity: vec![0.0; 3 * width],
            before: vec![f64::INFINITY; width],
            open: vec![1; width],
        };
        let mut power = 1.0;
        for n in 1..self.count() {
            let slope = n as f64 * power;
            power *= since;
            let term = &self.terms[3 * n * width..][..3 * width];
            let sizes = &self.sizes[n * width..][..width];
            add_term(&mut states, n, term, sizes, [power, slope]);
            if states.open.iter().all(|open| *open == 0) {
                break;
            }
        }
        states
    }

    /// The series of several elements, each found by itself.
    pub(crate) fn beside(all: &[OnePath], reach: f64) -> PathSeries {
        let count = all.iter().map(|one| one.count).max().unwrap_or(1);
        let width = all.len();
        let mut beside = PathSeries {
            width,
            terms: vec![0.0; 3 * count * width],
            sizes: vec![f64::INFINITY; count * width],
            reach: reach.abs(),
            power: 1.0,
            done: vec![true; width],
        };
        for (l, one) in all.iter().enumerate() {
            for (n, term) in one.terms[..one.count].iter().enumerate() {
                for (i, v) in term.iter().enumerate() {
                    beside.terms[(3 * n + i) * width + l] = *v;
                }
                beside.sizes[n * width + l] = one.sizes[n];
            }
        }
        beside
    }

    /// Changes all terms in place; `change` gets their numbers, and x, y and z of all elements.
    pub(crate) fn change(&mut self, mut change: impl FnMut(usize, [&mut [f64]; 3])) {
        if self.width == 0 {
            return;
        }
        for (n, term) in self.terms.chunks_exact_mut(3 * self.width).enumerate() {
            let (xy, z) = term.split_at_mut(2 * self.width);
            let (x, y) = xy.split_at_mut(self.width);
            change(n, [x, y, z]);
        }
    }
}

/// States of elements side by side, while their terms are summed and after.
pub(crate) struct States {
    /// x, y and z of all elements.
    at: Vec<f64>,
    velocity: Vec<f64>,
    /// Size of the last term at this time, px.
    before: Vec<f64>,
    /// 1 where further terms are to be added, else 0.
    open: Vec<u64>,
}

impl States {
    /// As [`PathSeries::state`].
    #[inline(always)]
    pub(crate) fn state(&self, l: usize) -> Option<State> {
        let width = self.open.len();
        (self.open[l] == 0).then(|| State {
            at: [0, 1, 2].map(|i| self.at[i * width + l]),
            velocity: [0, 1, 2].map(|i| self.velocity[i * width + l]),
        })
    }
}

/// Adds term `n` where terms are to be added: `power` and `slope` times x, y and z.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
fn add_term(states: &mut States, n: usize, term: &[f64], sizes: &[f64], [power, slope]: [f64; 2]) {
    let width = sizes.len();
    let axes = states
        .at
        .chunks_exact_mut(width)
        .zip(states.velocity.chunks_exact_mut(width));
    for (x, (at, velocity)) in term.chunks_exact(width).zip(axes) {
        for (((x, open), at), velocity) in x.iter().zip(&states.open).zip(at).zip(velocity) {
            *at = if *open == 1 { *at + x * power } else { *at };
            *velocity = if *open == 1 {
                *velocity + x * slope
            } else {
                *velocity
            };
        }
    }
    for ((size, open), before) in sizes.iter().zip(&mut states.open).zip(&mut states.before) {
        let last = size * power.abs();
        *open &= u64::from(!may_end(n, *before, last));
        *before = last;
    }
}

/// The series of a single element, for fields that find the terms of one after another.
#[derive(Debug, Clone)]
pub(crate) struct OnePath {
    terms: [Vec3; TERMS],
    sizes: [f64; TERMS],
    count: usize,
    reach: f64,
    power: f64,
    done: bool,
}

impl OnePath {
    /// As [`PathSeries::new`].
    #[inline(always)]
    pub(crate) fn new(from: Vec3, reach: f64) -> OnePath {
        let mut one = OnePath {
            terms: [[0.0; 3]; TERMS],
            sizes: [f64::INFINITY; TERMS],
            count: 1,
            reach: reach.abs(),
            power: 1.0,
            done: false,
        };
        one.terms[0] = from;
        one
    }

    /// The last of the terms and its number.
    #[inline(always)]
    pub(crate) fn last(&self) -> (usize, Vec3) {
        (self.count - 1, self.terms[self.count - 1])
    }

    /// As [`PathSeries::complete`].
    #[inline(always)]
    pub(crate) fn complete(&self) -> bool {
        self.done || self.count == TERMS
    }

    /// As [`PathSeries::push`].
    #[inline(always)]
    pub(crate) fn push(&mut self, velocity: Vec3) {
        let n = self.count;
        let share = 1.0 / n as f64;
        let term = velocity.map(|v| v * share);
        self.terms[n] = term;
        self.sizes[n] = term[0].abs() + term[1].abs() + term[2].abs();
        self.count += 1;
        let power = self.power;
        self.power *= self.reach;
        self.done = may_end(n, self.sizes[n - 1] * power, self.sizes[n] * self.power);
    }
}
