//! Who is where: a Poisson process of particles in the volume that both pulses can light.
//!
//! Positions are those at mid-time; for an incompressible flow a uniform Poisson process stays one at every time, so it does
//! not matter when the particles are dropped. (Fixed counts or lattices would understate the error: Westerweel 2000,
//! Exp. Fluids 29, S3.)
//!
//! Space is cut into cells, each with its own random stream, so that a larger margin adds particles without moving
//! any. Within a cell the particles arrive one after the other along a further axis of unit rate, and those that arrive before
//! the cell's mean number are there: an exact Poisson number, and a denser seeding keeps the particles of a thinner one.

use crate::flow::{Flow, Vec3};
use crate::random::{Purpose, Seed, open01, stream};
use crate::scene::{Exposure, Scene};

/// Side of a cell in the image plane, px.
const CELL_PX: f64 = 64.0;
/// Depth of a cell, over the sheet's thickness.
const CELL_DEPTH: f64 = 0.5;

/// A particle at mid-time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Particle {
    /// Place midway between the pulses, px.
    pub at: Vec3,
}

/// Cells by their place in the grid, with the volume's limits inside.
#[derive(Debug, Clone, PartialEq)]
pub struct Volume {
    low: Vec3,
    high: Vec3,
    cell: Vec3,
}

impl Volume {
    /// The volume at mid-time from which a particle can reach the picture, lit, in either pulse.
    pub fn of(scene: &Scene) -> Volume {
        let [width, height] = scene.size.map(|n| n as f64);
        let travel = farthest(scene);
        let radius = 0.25 * scene.diameter_px * crate::splat::REACH_SIGMAS + 1.0;
        let reach = [
            travel[0] + radius,
            travel[1] + radius,
            travel[2] + scene.sheet.reach_px(),
        ];
        let depth = CELL_DEPTH * scene.sheet.thickness_px;
        Volume {
            low: [-0.5 - reach[0], -0.5 - reach[1], -reach[2]],
            high: [width - 0.5 + reach[0], height - 0.5 + reach[1], reach[2]],
            cell: [CELL_PX, CELL_PX, depth],
        }
    }

    /// The cells that hold the volume, a column in depth after the other along rows of the picture.
    pub fn cells(&self) -> impl Iterator<Item = [i64; 3]> + use<> {
        let index =
            |limit: &Vec3| -> [i64; 3] { std::array::from_fn(|i| (limit[i] / self.cell[i]).floor() as i64) };
        let (first, last) = (index(&self.low), index(&self.high));
        (first[1]..=last[1]).flat_map(move |y| {
            (first[0]..=last[0]).flat_map(move |x| (first[2]..=last[2]).map(move |z| [x, y, z]))
        })
    }

    /// The particles of one cell that stand inside the volume, appended to `particles`.
    pub fn fill(&self, cell: [i64; 3], seeding_ppp: f64, seed: Seed, particles: &mut Vec<Particle>) {
        // 21 bits an index: cells reach 2^26 px from the origin, far beyond any picture.
        let place = cell
            .iter()
            .fold(0u64, |key, &i| key << 21 | (i + (1 << 20)) as u64 & 0x1f_ffff);
        let mut rng = stream(seed, Purpose::Particles, place);
        let mean = seeding_ppp * self.cell[0] * self.cell[1] * CELL_DEPTH;
        let mut arrival = 0.0;
        loop {
            arrival -= libm::log(open01(&mut rng));
            if arrival > mean {
                return;
            }
            let at = std::array::from_fn(|i| (cell[i] as f64 + open01(&mut rng)) * self.cell[i]);
            if (0..3).all(|i| at[i] >= self.low[i] && at[i] <= self.high[i]) {
                particles.push(Particle { at });
            }
        }
    }
}

/// The farthest a particle goes between mid-time and the outer end of a pulse, by axis, px: the largest speed on a grid of
/// points over the picture and the sheet at three times, with a quarter added for what lies between them.
fn farthest(scene: &Scene) -> Vec3 {
    const STEP_PX: f64 = 16.0;
    let (half, streak) = match scene.exposure {
        Exposure::Fraction(f) => (0.5 + 0.5 * f, [0.0; 2]),
        Exposure::Streak(s) => (0.5, s),
    };
    let flow: &dyn Flow = scene.flow.as_ref();
    let counts = scene.size.map(|n| (n as f64 / STEP_PX).ceil() as usize);
    let reach = scene.sheet.reach_px();
    let mut fastest: Vec3 = [0.0; 3];
    for iy in 0..=counts[1] {
        for ix in 0..=counts[0] {
            for z in [-reach, 0.0, reach] {
                for time in [-half, 0.0, half] {
                    let v = flow.velocity([ix as f64 * STEP_PX, iy as f64 * STEP_PX, z], time);
                    for i in 0..3 {
                        fastest[i] = fastest[i].max(v[i].abs());
                    }
                }
            }
        }
    }
    let travel = |i: usize| 1.25 * half * fastest[i];
    [
        travel(0) + 0.5 * streak[0].abs(),
        travel(1) + 0.5 * streak[1].abs(),
        travel(2),
    ]
}
