//! Seeding: a Poisson process of particles in the volume that the pulses can light.
//!
//! Particles are placed at time 0, midway between the pulses. In an incompressible flow a uniform
//! Poisson process stays one at all times, so the choice of the time does not matter. (Fixed
//! numbers or lattices of particles would understate the error of a measurement: Westerweel, Exp.
//! Fluids 29 (2000) S3.) Uneven seeding is uneven as stated at time 0 and moves with the fluid.
//!
//! Space is divided into cells, each with random streams of its own, so that a larger margin around
//! the picture adds particles without moving any. A cell is filled by a Poisson process of unit
//! rate along an auxiliary axis: every arrival gets a random place, and those that arrive before
//! the mean number of particles at the local density are kept. Their number is exactly Poisson, and
//! a denser seeding keeps the particles of a thinner one.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use crate::elementary::ln_all;
use crate::flash::Flash;
use crate::flow::Vec3;
use crate::light::Exposure;
use crate::motion::velocities;
use crate::population::Diameters;
use crate::random::{Purpose, Seed, normal_quantile, open01, open01_of, stream};
use crate::scene::Scene;
use crate::splat::reach_sigmas;
use crate::view::View;

/// Side of a cell along x and y, px.
pub(crate) const CELL_PX: f64 = 64.0;
/// Depth of a cell over the thickness of the sheet.
pub(crate) const CELL_DEPTH: f64 = 0.5;
/// Margin for the particles of clusters, in standard deviations of their places.
const CLUSTER_REACH: f64 = 5.0;

/// Arrivals drawn at once, and the bytes that each takes: its time and its place along three axes.
const ARRIVALS: usize = 16;
const BYTES: usize = 4 * 8;

/// A particle at time 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Particle {
    /// Its number, the same in every frame.
    pub(crate) id: u64,
    /// Place midway between the pulses, px.
    pub(crate) at: Vec3,
    /// Diameter over the mean.
    pub(crate) diameter: f64,
    /// Light over that which gives the scene's photo-electrons.
    pub(crate) brightness: f64,
}

/// The volume, at time 0, from which particles can come into the light and the picture during the
/// pulses, and the cells that cover it.
#[derive(Debug, Clone)]
pub(crate) struct Volume {
    low: Vec3,
    high: Vec3,
    cell: Vec3,
    /// Largest distance from the sheet's middle plane, px.
    off_plane: f64,
    middle: [f64; 2],
    /// Largest radius of a particle image and distance of its particle from the plane z = 0, px.
    radius: f64,
    deepest: f64,
    /// Largest distance along y between a particle at time 0 and where it shows, px.
    reach_y: f64,
}

impl Volume {
    pub(crate) fn of(scene: &Scene, flashes: &[Flash]) -> Volume {
        let view = View::of(scene);
        let travel = farthest(scene, &view, flashes);
        let deepest = scene.deepest_px();
        let radius =
            0.25 * view.largest_diameter_px(scene, deepest) * reach_sigmas(scene.imaging.pattern) + 1.0;
        let [sx, sy] = scene.sheet.slope;
        let off_plane = deepest + travel[2] + sx.abs() * travel[0] + sy.abs() * travel[1];
        let [low, high] = seen(scene, &view, radius, deepest, scene.size[1]);
        let cluster = match scene.population.cluster_size {
            0.0 => 0.0,
            _ => CLUSTER_REACH * scene.population.cluster_radius_px,
        };
        let tilted = |corner: [f64; 2]| scene.sheet.plane_px(corner[0], corner[1], view.middle).abs();
        let reach = [
            travel[0] + cluster,
            travel[1] + cluster,
            off_plane * libm::hypot(1.0, libm::hypot(sx, sy)) + tilted(low).max(tilted(high)) + cluster,
        ];
        Volume {
            low: [low[0] - reach[0], low[1] - reach[1], -reach[2]],
            high: [high[0] + reach[0], high[1] + reach[1], reach[2]],
            cell: [CELL_PX, CELL_PX, CELL_DEPTH * scene.sheet.thickness_px],
            off_plane: off_plane + cluster,
            middle: view.middle,
            radius,
            deepest,
            reach_y: reach[1],
        }
    }

    /// The last row of cells whose particles can show in the rows of pixels above `end`.
    pub(crate) fn last_row_above(&self, scene: &Scene, end: usize) -> i64 {
        let [_, high] = seen(scene, &View::of(scene), self.radius, self.deepest, end);
        ((high[1] + self.reach_y) / self.cell[1]).floor() as i64
    }

    /// The indices of the cells that cover the volume, in rows along x, all depths of one column
    /// after another.
    pub(crate) fn rows(&self) -> Vec<Vec<[i64; 3]>> {
        let index =
            |limit: &Vec3| -> [i64; 3] { std::array::from_fn(|i| (limit[i] / self.cell[i]).floor() as i64) };
        let (first, last) = (index(&self.low), index(&self.high));
        let row = |y: i64| {
            (first[0]..=last[0])
                .flat_map(|x| (first[2]..=last[2]).map(move |z| [x, y, z]))
                .collect()
        };
        (first[1]..=last[1]).map(row).collect()
    }

    /// Appends the particles of one cell that stand inside the volume.
    pub(crate) fn fill(&self, scene: &Scene, cell: [i64; 3], seed: Seed, particles: &mut Vec<Particle>) {
        // 21 bits per index: cells reach 2^26 px from the origin, far beyond any picture.
        let place = cell
            .iter()
            .fold(0u64, |key, &i| key << 21 | (i + (1 << 20)) as u64 & 0x1f_ffff);
        let population = &scene.population;
        let mut rng = stream(seed, Purpose::Particles, place);
        let mut sizes =
            (population.diameters != Diameters::Same).then(|| stream(seed, Purpose::Diameters, place));
        let mut words = [0; ARRIVALS * BYTES];
        let mut rank = || sizes.as_mut().map_or(0.5, open01);
        let mut clusters = (population.cluster_size > 0.0).then(|| stream(seed, Purpose::Clusters, place));
        let full = scene.seeding_density_ppp * self.cell[0] * self.cell[1] * CELL_DEPTH;
        let mean = match &clusters {
            Some(_) => full / population.cluster_size,
            None => full,
        };
        let last = mean * population.largest_density();
        let mut number = 0;
        let mut arrival = 0.0;
        let mut put = |at: Vec3, u: f64| {
            let id = id_of(cell, number);
            number += 1;
            let inside = (0..3).all(|i| at[i] >= self.low[i] && at[i] <= self.high[i])
                && scene.sheet.distance_px(at, self.middle).abs() <= self.off_plane;
            if inside && !scene.flow.solid(at) {
                let diameter = population.diameter(u);
                particles.push(Particle {
                    id,
                    at,
                    diameter,
                    brightness: population.brightness(diameter),
                });
            }
        };
        loop {
            rng.fill_bytes(&mut words);
            let draws: [[f64; 4]; ARRIVALS] = std::array::from_fn(|k| {
                std::array::from_fn(|i| {
                    let at = k * BYTES + i * 8;
                    open01_of(u64::from_le_bytes(std::array::from_fn(|b| words[at + b])))
                })
            });
            let mut waits = draws.map(|[wait, ..]| wait);
            ln_all(&mut waits);
            for (wait, [_, places @ ..]) in waits.into_iter().zip(draws) {
                arrival -= wait;
                if arrival > last {
                    return;
                }
                let at: Vec3 = std::array::from_fn(|i| (cell[i] as f64 + places[i]) * self.cell[i]);
                let there = arrival <= mean * population.density(at[0], at[1], self.middle);
                match &mut clusters {
                    None => {
                        let u = rank();
                        if there {
                            put(at, u);
                        }
                    }
                    Some(rng) => {
                        for _ in 0..poisson(population.cluster_size, rng) {
                            let off: Vec3 = std::array::from_fn(|_| {
                                population.cluster_radius_px * normal_quantile(open01(rng))
                            });
                            let u = rank();
                            if there {
                                put([at[0] + off[0], at[1] + off[1], at[2] + off[2]], u);
                            }
                        }
                    }
                }
            }
        }
    }
}

/// Number of a particle from its cell and its rank there, from 0 on: 10 bits for the cell along x
/// and along y, 14 for its depth and 19 for the rank. So numbers stay below 2⁵³, up to which a
/// floating-point number tells them apart, and are distinct in pictures of up to 1024 cells a side
/// with a sheet of up to 16,384 in depth.
fn id_of([x, y, z]: [i64; 3], rank: u64) -> u64 {
    // 0, -1, 1, -2, ... become 0, 1, 2, 3, ...
    let count = |i: i64, bits: u32| (i << 1 ^ i >> 63) as u64 & ((1 << bits) - 1);
    ((count(x, 10) << 10 | count(y, 10)) << 14 | count(z, 14)) << 19 | rank & 0x7_ffff
}

/// A Poisson number, by counting arrivals of unit rate.
fn poisson(mean: f64, rng: &mut ChaCha8Rng) -> u32 {
    let (mut n, mut arrival) = (0, 0.0);
    loop {
        arrival -= libm::log(open01(rng));
        if arrival > mean {
            return n;
        }
        n += 1;
    }
}

/// Low and high corner, px, of the rectangle whose points can show in the rows of the picture above
/// `end`, widened by `radius` on each side, at some distance up to `deepest` from the sheet's middle
/// plane.
fn seen(scene: &Scene, view: &View, radius: f64, deepest: f64, end: usize) -> [[f64; 2]; 2] {
    let [width, height] = [scene.size[0], end].map(|n| n as f64);
    let low = [-0.5 - radius; 2];
    let high = [width - 0.5 + radius, height - 0.5 + radius];
    let (mut from, mut to) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    const POINTS: usize = 64;
    for k in 0..=POINTS {
        let t = k as f64 / POINTS as f64;
        let [x, y] = [0, 1].map(|i| low[i] + t * (high[i] - low[i]));
        for [x, y] in [[x, low[1]], [x, high[1]], [low[0], y], [high[0], y]] {
            for z in [-deepest, deepest] {
                let at = view.unproject(x, y, z, scene.sheet.slope);
                for i in 0..2 {
                    from[i] = from[i].min(at[i]);
                    to[i] = to[i].max(at[i]);
                }
            }
        }
    }
    [from, to]
}

/// Bound of a particle's way between time 0 and the outer end of a pulse, along each axis, px: from
/// the largest velocity on a grid of points over the picture, at three depths and three times, plus
/// a quarter for what lies between them.
fn farthest(scene: &Scene, view: &View, flashes: &[Flash]) -> Vec3 {
    const STEP_PX: f64 = 16.0;
    let mut half: f64 = 0.0;
    let mut streak: [f64; 2] = [0.0; 2];
    for flash in flashes {
        let shape = &scene.light.pulse_shapes[flash.shape];
        let reach = shape.half_window() + shape.window_offset().abs();
        let drawn = 2.0 * reach * flash.pulse.length_ratio;
        match scene.exposure {
            Exposure::Fraction(f) => half = half.max(flash.middle.abs() + 0.5 * f * drawn),
            Exposure::Streak(s) => {
                half = half.max(flash.middle.abs());
                streak = [0, 1].map(|i| streak[i].max(drawn * s[i].abs()));
            }
        }
    }
    let counts = scene.size.map(|n| (n as f64 / STEP_PX).ceil() as usize);
    let reach = scene.deepest_px();
    let mut points = Vec::with_capacity(3 * (counts[0] + 1));
    let mut fastest: Vec3 = [0.0; 3];
    for iy in 0..=counts[1] {
        points.clear();
        for ix in 0..=counts[0] {
            let (x, y) = (ix as f64 * STEP_PX, iy as f64 * STEP_PX);
            let plane = scene.sheet.plane_px(x, y, view.middle);
            points.extend([plane - reach, plane, plane + reach].map(|z| [x, y, z]));
        }
        for time in [-half, 0.0, half] {
            for v in velocities(scene.flow.as_ref(), &points, time) {
                for i in 0..3 {
                    fastest[i] = fastest[i].max(v[i].abs());
                }
            }
        }
    }
    let travel = |i: usize| 1.25 * half * fastest[i];
    [
        travel(0) + 0.5 * streak[0],
        travel(1) + 0.5 * streak[1],
        travel(2),
    ]
}

#[cfg(test)]
mod tests {
    use super::id_of;

    /// By hand: the first particle of the middle cell is 0, the largest numbers fit 53 bits, and no
    /// two cells share one.
    #[test]
    fn numbers_are_small_and_distinct() {
        assert_eq!(id_of([0, 0, 0], 0), 0);
        assert_eq!(id_of([0, 0, 0], 7), 7);
        assert_eq!(id_of([0, 0, -1], 0), 1 << 19);
        assert_eq!(id_of([-512, -512, -8192], 0x7_ffff), (1 << 53) - 1);
        let mut all: Vec<u64> = (-3..3)
            .flat_map(|x| (-3..3).flat_map(move |y| (-3..3).map(move |z| id_of([x, y, z], 1))))
            .collect();
        all.sort_unstable();
        all.dedup();
        assert_eq!(all.len(), 216);
    }
}
