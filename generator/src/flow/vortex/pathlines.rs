//! Pathlines among several Lamb–Oseen vortices at rest.
//!
//! With s = r²/r_c² about a vortex, its fluid turns at the rate Ω M₀(s), and M₀ is the first of the
//! [moments](super::super::moments), each of which is minus the derivative of the one before. From
//! dMₖ/dt = −Mₖ₊₁ ds/dt follow their Taylor coefficients in time, from those of s, which is a
//! quadratic form of the place. All elements as one vortex sees them stand side by side, then all as
//! the next sees them, so that most of the work is done for all of them at once.

use std::cell::Cell;

use multiversion::multiversion;

use super::super::Vec3;
use super::super::along::{self, Along};
use super::super::moments::Moments;
use super::super::series::PathSeries;
use super::LambOseen;

thread_local! {
    /// What one block of elements leaves to the next of its thread: to ask the system for this room
    /// and give it back takes as long as to use it.
    static ROOM: Cell<Option<PathRoom>> = const { Cell::new(None) };
}

/// Room for the terms of some elements.
#[derive(Default)]
struct PathRoom {
    around: Around,
    /// x and y of all elements, term after term.
    places: Vec<f64>,
    /// Coefficients of the sum of all vortices' angular velocities, one after another.
    turn: Vec<f64>,
}

/// Elements as all vortices see them: arrays of one number for each vortex and element.
#[derive(Default)]
struct Around {
    /// Number of vortices times that of elements.
    all: usize,
    /// 1/r_c² of each vortex, 1/px².
    per_r2: Vec<f64>,
    /// Places from the vortex, px.
    x: Vec<f64>,
    y: Vec<f64>,
    /// Ω, and Ω times the moments at the start.
    rates: Vec<f64>,
    start: Moments,
    /// n s\[n\], from n = 0 on.
    slopes: Vec<f64>,
    /// Row n is coefficient m of Ω times moment n − m, m from 0 to n; rows one after another.
    rows: Vec<f64>,
    /// Room for a sum, and for one that is the same for all vortices.
    sum: Vec<f64>,
    squares: Vec<f64>,
}

/// The series of the pathlines of elements that are at `from`, up to the time `reach`, in a stream
/// of the velocity `stream_px` besides.
pub(crate) fn series(vortices: &[LambOseen], stream_px: Vec3, from: [&[f64]; 3], reach: f64) -> PathSeries {
    along::path(&mut AlongVortices::new(vortices, stream_px), from, reach)
}

/// The velocity of some vortices, and of a stream, along pathlines.
pub(crate) struct AlongVortices<'a> {
    vortices: &'a [LambOseen],
    stream_px: Vec3,
    room: PathRoom,
}

impl<'a> AlongVortices<'a> {
    pub(crate) fn new(vortices: &'a [LambOseen], stream_px: Vec3) -> AlongVortices<'a> {
        AlongVortices {
            vortices,
            stream_px,
            room: ROOM.take().unwrap_or_default(),
        }
    }
}

impl Drop for AlongVortices<'_> {
    fn drop(&mut self) {
        ROOM.set(Some(std::mem::take(&mut self.room)));
    }
}

impl Along for AlongVortices<'_> {
    fn add(&mut self, n: usize, place: [&[f64]; 3], velocity: [&mut [f64]; 3]) {
        if place[0].is_empty() {
            return;
        }
        if n == 0 {
            start(&mut self.room, self.vortices, place);
        }
        step(&mut self.room, self.stream_px, n, place, velocity);
    }
}

#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
fn start(room: &mut PathRoom, vortices: &[LambOseen], from: [&[f64]; 3]) {
    room.places.clear();
    room.turn.clear();
    room.around.start(vortices, from);
}

/// Adds coefficient n of the velocity.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
fn step(room: &mut PathRoom, stream_px: Vec3, n: usize, [x, y, _]: [&[f64]; 3], [u, v, w]: [&mut [f64]; 3]) {
    let width = x.len();
    let PathRoom { around, places, turn } = room;
    places.extend_from_slice(x);
    places.extend_from_slice(y);
    around.append_slopes(places, width, n);
    around.append_row(n);
    turn.resize((n + 1) * width, 0.0);
    if n == 0 {
        for (axis, stream) in [&mut *u, &mut *v, w].into_iter().zip(stream_px) {
            axis.iter_mut().for_each(|velocity| *velocity += stream);
        }
    }
    let seen = around.first(n).chunks_exact(width);
    let own_places = around.x.chunks_exact(width).zip(around.y.chunks_exact(width));
    for (own, (x, y)) in seen.zip(own_places) {
        add_multiple(&mut turn[n * width..], 1.0, own);
        add_products(u, -1.0, own, y);
        add_products(v, 1.0, own, x);
    }
    for j in 0..n {
        let [x, y] = term(places, width, n - j);
        let turn = &turn[j * width..][..width];
        add_products(u, -1.0, turn, y);
        add_products(v, 1.0, turn, x);
    }
}

/// x and y of all elements of term `n`.
#[inline(always)]
fn term(places: &[f64], width: usize, n: usize) -> [&[f64]; 2] {
    let (x, y) = places[2 * n * width..][..2 * width].split_at(width);
    [x, y]
}

impl Around {
    /// Places the elements about the vortices, in the room of elements before.
    #[inline(always)]
    fn start(&mut self, vortices: &[LambOseen], from: [&[f64]; 3]) {
        self.all = vortices.len() * from[0].len();
        let rows = [&mut self.x, &mut self.y, &mut self.rates, &mut self.per_r2];
        for row in rows.into_iter().chain([&mut self.slopes, &mut self.rows]) {
            row.clear();
        }
        let s = &mut self.sum;
        s.clear();
        for vortex in vortices {
            let (rate, per_r2) = vortex.core();
            let [cx, cy] = vortex.centre_px;
            let first = self.x.len();
            self.x.extend(from[0].iter().map(|x| x - cx));
            self.y.extend(from[1].iter().map(|y| y - cy));
            let places = self.x[first..].iter().zip(&self.y[first..]);
            s.extend(places.map(|(x, y)| (x * x + y * y) * per_r2));
            self.rates.resize(self.x.len(), rate);
            self.per_r2.push(per_r2);
        }
        self.start.set(s, &self.rates);
        self.squares.clear();
        self.squares.resize(from[0].len(), 0.0);
    }

    /// Appends n s\[n\].
    #[inline(always)]
    fn append_slopes(&mut self, places: &[f64], width: usize, n: usize) {
        let [x, y] = term(places, width, n);
        // The part of coefficient n of x² + y² that is the same for all vortices.
        let squares = &mut self.squares;
        squares.fill(0.0);
        for j in 1..n {
            let ([x, y], [p, q]) = (term(places, width, j), term(places, width, n - j));
            add_products(squares, 1.0, x, p);
            add_products(squares, 1.0, y, q);
        }
        self.slopes.resize((n + 1) * self.all, 0.0);
        let slopes = self.slopes[n * self.all..].chunks_exact_mut(width);
        let places = self.x.chunks_exact(width).zip(self.y.chunks_exact(width));
        for ((slope, (own_x, own_y)), per_r2) in slopes.zip(places).zip(&self.per_r2) {
            let scale = n as f64 * per_r2;
            add_products(slope, 2.0 * scale, own_x, x);
            add_products(slope, 2.0 * scale, own_y, y);
            add_multiple(slope, scale, squares);
        }
    }

    /// Appends row n.
    #[inline(always)]
    fn append_row(&mut self, n: usize) {
        let all = self.all;
        let at = |row: usize, m: usize| (row * (row + 1) / 2 + m) * all;
        match n {
            0 => self.start.first(&self.rates, &mut self.sum),
            _ => self
                .start
                .next(n, &self.rows[at(n - 1, 0)..][..all], &mut self.sum),
        }
        self.rows.extend_from_slice(&self.sum);
        for m in 1..=n {
            // m M_k[m] = −Σ j s[j] M_k+1[m − j], j from 1 to m = n − k.
            let share = -1.0 / m as f64;
            let slope_and_next = |j: usize| {
                let next = &self.rows[at(n + 1 - j, m - j)..][..all];
                (&self.slopes[j * all..][..all], next)
            };
            let (slope, next) = slope_and_next(1);
            for ((sum, slope), next) in self.sum.iter_mut().zip(slope).zip(next) {
                *sum = 0.0 + share * slope * next;
            }
            for j in 2..=m {
                let (slope, next) = slope_and_next(j);
                add_products(&mut self.sum, share, slope, next);
            }
            self.rows.extend_from_slice(&self.sum);
        }
    }

    /// Coefficient n of Ω times the first moment.
    #[inline(always)]
    fn first(&self, n: usize) -> &[f64] {
        &self.rows[(n * (n + 1) / 2 + n) * self.all..][..self.all]
    }
}

/// Adds `factor` times the products of two arrays.
#[inline(always)]
fn add_products(sum: &mut [f64], factor: f64, a: &[f64], b: &[f64]) {
    for ((sum, a), b) in sum.iter_mut().zip(a).zip(b) {
        *sum += factor * a * b;
    }
}

/// Adds `factor` times an array.
#[inline(always)]
fn add_multiple(sum: &mut [f64], factor: f64, a: &[f64]) {
    for (sum, a) in sum.iter_mut().zip(a) {
        *sum += factor * a;
    }
}
