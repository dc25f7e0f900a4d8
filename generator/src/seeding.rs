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

use crate::crop::Crop;
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
/// The same where only a part of the picture is drawn: beyond the margin of the whole picture one
/// particle in a million is left out, but inside it none may be.
const CLUSTER_REACH_OF_CROP: f64 = 8.0;

/// Arrivals drawn at once, and the bytes that each takes: its time and its place along three axes.
const ARRIVALS: usize = 16;
const BYTES: usize = 4 * 8;

/// Distance of the points at which the largest velocity is looked for, px.
const STEP_PX: f64 = 16.0;
/// Most points of the whole picture at which it is looked for where only a part is drawn.
const MOST_POINTS: f64 = 4096.0;

/// Largest velocity that matters where parts of the picture are drawn, px per pulse separation
/// along each axis: over the whole picture by fewer points, and of each part by as many as ever.
pub(crate) fn fastest_of_crops(scene: &Scene, flashes: &[Flash], crops: &[Crop]) -> Vec<Vec3> {
    let (half, _) = travel_time(scene, flashes);
    let pixels: f64 = scene.size.iter().map(|n| *n as f64).product();
    let coarse = libm::sqrt(pixels / MOST_POINTS).max(STEP_PX);
    let everywhere = fastest(scene, half, Crop::whole(scene), coarse);
    let here = |crop: &Crop| {
        let here = fastest(scene, half, *crop, STEP_PX);
        std::array::from_fn(|i| here[i].max(everywhere[i]))
    };
    crops.iter().map(here).collect()
}

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
    /// The part of the picture that is drawn.
    crop: Crop,
}

impl Volume {
    pub(crate) fn of(scene: &Scene, flashes: &[Flash]) -> Volume {
        let (half, _) = travel_time(scene, flashes);
        let fastest = fastest(scene, half, Crop::whole(scene), STEP_PX);
        Volume::at_speed(scene, flashes, fastest)
    }

    /// The same where the largest velocity is known, px per pulse separation along each axis.
    fn at_speed(scene: &Scene, flashes: &[Flash], fastest: Vec3) -> Volume {
        let view = View::of(scene);
        let travel = farthest(scene, flashes, fastest);
        let deepest = scene.deepest_px();
        let radius =
            0.25 * view.largest_diameter_px(scene, deepest) * reach_sigmas(scene.imaging.pattern) + 1.0;
        let [sx, sy] = scene.sheet.slope;
        let off_plane = deepest + travel[2] + sx.abs() * travel[0] + sy.abs() * travel[1];
        let crop = Crop::whole(scene);
        let [low, high] = seen(scene, &view, radius, deepest, crop);
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
            crop,
        }
    }

    /// The part of the volume from which particles can show in a part of the picture, if none goes
    /// faster than `fastest`.
    pub(crate) fn of_crop(scene: &Scene, flashes: &[Flash], fastest: Vec3, crop: Crop) -> Volume {
        let whole = Volume::at_speed(scene, flashes, fastest);
        let travel = farthest(scene, flashes, fastest);
        let [low, high] = seen(scene, &View::of(scene), whole.radius + 1.0, whole.deepest, crop);
        let cluster = match scene.population.cluster_size {
            0.0 => 0.0,
            _ => CLUSTER_REACH_OF_CROP * scene.population.cluster_radius_px,
        };
        let mut part = whole.clone();
        for i in 0..2 {
            part.low[i] = whole.low[i].max(low[i] - travel[i] - cluster);
            part.high[i] = whole.high[i].min(high[i] + travel[i] + cluster);
        }
        Volume {
            reach_y: travel[1] + cluster,
            crop,
            ..part
        }
    }

    /// The last row of cells whose particles can show in the rows of pixels above `end` of what is
    /// drawn.
    pub(crate) fn last_row_above(&self, scene: &Scene, end: usize) -> i64 {
        let above = Crop {
            size: [self.crop.size[0], end],
            ..self.crop
        };
        let [_, high] = seen(scene, &View::of(scene), self.radius, self.deepest, above);
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
/// floating-point number tells them apart, and are distinct in pictures of up to 1024 cells on each
/// side with a sheet of up to 16,384 in depth.
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

/// Low and high corner, px, of the rectangle whose points can show in a part of the picture,
/// widened by `radius` on each side, at some distance up to `deepest` from the sheet's middle
/// plane.
fn seen(scene: &Scene, view: &View, radius: f64, deepest: f64, crop: Crop) -> [[f64; 2]; 2] {
    let low = [0, 1].map(|k| crop.origin[k] as f64 - 0.5 - radius);
    let high = [0, 1].map(|k| crop.end(k) as f64 - 0.5 + radius);
    let (mut from, mut to) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    // Without perspective and distortion the corners show what lies farthest out.
    let points = if view.is_parallel() { 1 } else { 64 };
    for k in 0..=points {
        let t = f64::from(k) / f64::from(points);
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

/// Time between 0 and the outer end of a pulse while which particles follow the flow, and the
/// largest length of the streak that the scene states, along x and y, px.
fn travel_time(scene: &Scene, flashes: &[Flash]) -> (f64, [f64; 2]) {
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
    (half, streak)
}

/// Bound of a particle's way between time 0 and the outer end of a pulse, along each axis, px: from
/// the largest velocity on a grid of points, plus a quarter for what lies between them.
fn farthest(scene: &Scene, flashes: &[Flash], fastest: Vec3) -> Vec3 {
    let (half, streak) = travel_time(scene, flashes);
    let travel = |i: usize| 1.25 * half * fastest[i];
    let smallest = scene.population.diameter_range()[0];
    let walks = flashes.iter().filter_map(|flash| flash.walk);
    let wander = walks.map(|walk| walk.reach_px(smallest)).fold(0.0, f64::max);
    [
        travel(0) + 0.5 * streak[0] + wander,
        travel(1) + 0.5 * streak[1] + wander,
        travel(2) + wander,
    ]
}

/// Largest velocity along each axis, px per pulse separation, on a grid of points over a part of
/// the picture, at three depths, midway in time and `half` before and after.
fn fastest(scene: &Scene, half: f64, crop: Crop, step_px: f64) -> Vec3 {
    let counts = crop.size.map(|n| (n as f64 / step_px).ceil() as usize);
    let (reach, middle) = (scene.deepest_px(), View::of(scene).middle);
    let mut points = Vec::with_capacity(3 * (counts[0] + 1));
    let mut fastest: Vec3 = [0.0; 3];
    for iy in 0..=counts[1] {
        points.clear();
        for ix in 0..=counts[0] {
            let [x, y] = [(ix, 0), (iy, 1)].map(|(n, k)| crop.origin[k] as f64 + n as f64 * step_px);
            let plane = scene.sheet.plane_px(x, y, middle);
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
    fastest
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
