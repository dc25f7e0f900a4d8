//! The streak of a particle during one pulse, as points of light on the sensor.
//!
//! The image of a moving particle is the integral over the pulse of its image at each instant. The
//! integral is taken by Gauss–Legendre quadrature in time, whose error falls exponentially once the
//! points lie closer together than the particle image is wide. Each instant is weighted by the
//! power of the pulse, the light of the sheet where the particle is, and the particle's brightness.

mod instants;

use crate::flash::Flash;
use crate::flow::{State, Vec3, along};
use crate::light::{Exposure, PulseShape};
use crate::motion::follow;
use crate::scene::Scene;
use crate::seeding::Particle;
use crate::spot::Spot;
use crate::view::View;
use instants::{HermiteWeights, PulseInstant, PulseInstants};

/// Number of points that a streak of `length_sigmas` standard deviations of the particle image
/// needs so that no pixel is off by more than 4e-7 of the particle's light: a numerical study over
/// places, directions and widths from 0.3 to 1.2 px; the tests compare with independently computed
/// streaks.
fn points(length_sigmas: f64) -> usize {
    match length_sigmas {
        l if l < 1e-3 => 1,
        l if l < 0.1 => 2,
        l => 3 + l.ceil() as usize,
    }
}

/// Path of a particle during a pulse, in the time s from −1 at its beginning to 1 at its end: the
/// quintic with the particle's place and velocity at −1, 0 and 1. Exact for a straight path at
/// constant speed; otherwise of sixth order in the pulse length over the time in which the flow
/// changes.
pub(crate) struct Arc {
    /// Places, px.
    at: [Vec3; 3],
    /// Velocities, px per unit of s.
    velocity: [Vec3; 3],
}

impl Arc {
    /// Place at a time that has these weights.
    fn place(&self, weights: &HermiteWeights) -> Vec3 {
        let mut to = [0.0; 3];
        for k in 0..3 {
            to = along(
                along(to, self.at[k], weights.value[k]),
                self.velocity[k],
                weights.slope[k],
            );
        }
        to
    }

    /// Length of the path along x and y, px, by two chords.
    fn length_px(&self) -> f64 {
        let reach = |a: Vec3, b: Vec3| {
            let [dx, dy] = [b[0] - a[0], b[1] - a[1]];
            libm::sqrt(dx * dx + dy * dy)
        };
        reach(self.at[0], self.at[1]) + reach(self.at[1], self.at[2])
    }
}

/// Particles whose light is found at once.
const BLOCK: usize = 64;

/// Where a particle, the one of this number in its block, gives a share of its light.
struct Instant {
    number: usize,
    at: Vec3,
    share: f64,
}

/// Turns particles into points of light for one pulse of a scene.
#[derive(Debug)]
pub(crate) struct Exposer<'a> {
    scene: &'a Scene,
    view: View,
    flash: Flash,
    shape: &'a PulseShape,
    /// Photo-electrons of a particle of brightness 1 in the middle of the sheet.
    electrons: f64,
}

impl<'a> Exposer<'a> {
    pub(crate) fn new(scene: &'a Scene, flash: Flash) -> Self {
        Exposer {
            scene,
            view: View::of(scene),
            flash,
            shape: &scene.light.pulse_shapes[flash.shape],
            electrons: scene.electrons * flash.pulse.energy_ratio / flash.pulse.thickness_ratio,
        }
    }

    /// Half the time during which the pulse moves particles along their paths, pulse separations.
    fn half(&self) -> f64 {
        match self.scene.exposure {
            Exposure::Streak(_) => 0.0,
            Exposure::Fraction(f) => self.window() * f,
        }
    }

    /// Whether particles do not move during the pulse.
    fn freezes(&self) -> bool {
        match self.scene.exposure {
            Exposure::Streak(streak_px) => streak_px == [0.0; 2],
            Exposure::Fraction(_) => self.half() == 0.0,
        }
    }

    /// Half the time over which the pulse is rendered, in pulse lengths of the scene.
    fn window(&self) -> f64 {
        self.shape.half_window() * self.flash.pulse.length_ratio
    }

    /// How far the middle of that time is from that of the pulse, in pulse lengths of the scene: 0
    /// where the pulse is symmetric.
    fn offset(&self) -> f64 {
        self.shape.window_offset() * self.flash.pulse.length_ratio
    }

    /// Middle of the time during which particles move along their paths.
    fn middle(&self) -> f64 {
        match self.scene.exposure {
            Exposure::Streak(_) => self.flash.middle,
            Exposure::Fraction(f) => self.flash.middle + self.offset() * f,
        }
    }

    /// Times at which the path is needed: the middle of the pulse as it is rendered, and its
    /// beginning and end where the particles move along their paths meanwhile.
    fn times(&self) -> Vec<f64> {
        let (time, half) = (self.middle(), self.half());
        match half {
            0.0 => vec![time],
            _ => vec![time, time - half, time + half],
        }
    }

    /// Path of a particle from its states at those times.
    fn arc(&self, states: &[State]) -> Arc {
        let middle = states[0];
        if let Exposure::Streak(streak_px) = self.scene.exposure {
            return self.straight(middle.at, streak_px);
        }
        let (begin, end) = (states.get(1).unwrap_or(&middle), states.get(2).unwrap_or(&middle));
        let half = self.half();
        Arc {
            at: [begin.at, middle.at, end.at],
            velocity: [begin, &middle, end].map(|state| state.velocity.map(|v| v * half)),
        }
    }

    /// The streak that the scene states, about the place in the middle of the pulse.
    fn straight(&self, middle: Vec3, streak_px: [f64; 2]) -> Arc {
        let [x, y] = streak_px.map(|s| self.window() * s);
        let half = [x, y, 0.0];
        let middle = along(middle, [streak_px[0], streak_px[1], 0.0], self.offset());
        Arc {
            at: [along(middle, half, -1.0), middle, along(middle, half, 1.0)],
            velocity: [half; 3],
        }
    }

    /// Path during the pulse of the particle that is at `from` at time 0, in a field that gives its
    /// pathlines one by one.
    fn single(&self, from: Vec3) -> Arc {
        let (flow, time) = (self.scene.flow.as_ref(), self.middle());
        let middle = flow.path(from, 0.0, time);
        if let Exposure::Streak(streak_px) = self.scene.exposure {
            return self.straight(middle, streak_px);
        }
        let half = self.half();
        let at = [
            flow.path(middle, time, time - half),
            middle,
            flow.path(middle, time, time + half),
        ];
        let velocity = [(at[0], time - half), (middle, time), (at[2], time + half)]
            .map(|(at, t)| flow.velocity(at, t).map(|v| v * half));
        Arc { at, velocity }
    }

    /// Distance of a point from the middle plane of this pulse's sheet, px.
    fn distance(&self, at: Vec3) -> f64 {
        self.scene.sheet.distance_px(at, self.view.middle) - self.flash.pulse.offset_px
    }

    /// Light of this pulse's sheet at a point, over that in its middle.
    fn lit(&self, at: Vec3) -> f64 {
        let sheet = &self.scene.sheet;
        sheet.across(self.distance(at), self.flash.pulse.thickness_ratio)
            * sheet.along(at[1], self.view.middle)
    }

    /// The same at each of some places.
    fn lit_all(&self, instants: &[Instant], lit: &mut Vec<f64>, along: &mut Vec<f64>) {
        let sheet = &self.scene.sheet;
        lit.clear();
        lit.extend(instants.iter().map(|instant| self.distance(instant.at)));
        sheet.across_all(lit, self.flash.pulse.thickness_ratio);
        if sheet.height.is_some() {
            along.clear();
            along.extend(instants.iter().map(|instant| instant.at[1]));
            sheet.along_all(along, self.view.middle);
            lit.iter_mut().zip(along).for_each(|(lit, along)| *lit *= *along);
        }
    }

    /// Point of light of a particle at a place on its path: the fraction `share` of its light,
    /// where the light of the sheet over that in its middle is `lit`.
    #[inline(always)]
    fn spot(&self, particle: &Particle, at: Vec3, share: f64, lit: f64) -> Spot {
        let [x_px, y_px] = self.view.project(at);
        let diameter = self
            .view
            .diameter_px(self.scene, particle.diameter, at[2], [x_px, y_px]);
        Spot {
            x_px,
            y_px,
            electrons: (self.electrons * share * particle.brightness * lit) as f32,
            sigma_px: 0.25 * diameter,
        }
    }

    /// Point of light of a particle on its path as if it rested where it is in the middle of the
    /// pulse, and its depth there, px.
    pub(crate) fn at_rest(&self, particle: &Particle, path: &Arc) -> (Spot, f64) {
        let at = path.at[1];
        (self.spot(particle, at, 1.0, self.lit(at)), at[2])
    }

    /// Appends to `spots` the streaks of all particles during this pulse, the one of number `pulse`
    /// of those that `paths` is made for.
    pub(crate) fn expose_all(
        &self,
        paths: &Paths,
        pulse: usize,
        particles: &[Particle],
        spots: &mut Vec<Spot>,
    ) {
        let (mut instants, mut lit, mut along) = (Vec::new(), Vec::new(), Vec::new());
        let mut known = PulseInstants::default();
        let still = *self.shape == PulseShape::Rectangular && self.freezes();
        for (k, block) in particles.chunks(BLOCK).enumerate() {
            instants.clear();
            for (number, particle) in block.iter().enumerate() {
                let place = k * BLOCK + number;
                if still {
                    let at = paths.middle(self, pulse, place, particle);
                    instants.push(Instant {
                        number,
                        at,
                        share: 1.0,
                    });
                } else {
                    let path = paths.arc(self, pulse, place, particle);
                    self.expose(number, &path, &mut known, &mut instants);
                }
            }
            self.lit_all(&instants, &mut lit, &mut along);
            spots.reserve(instants.len());
            for (&Instant { number, at, share }, &lit) in instants.iter().zip(&lit) {
                let spot = self.spot(&block[number], at, share, lit);
                if spot.electrons > 0.0 && !self.scene.flow.solid(at) {
                    spots.push(spot);
                }
            }
        }
    }

    /// Number of points that the streak on a path needs.
    fn points(&self, path: &Arc) -> usize {
        let length = path.length_px() / (0.25 * self.scene.particle_diameter_px);
        // A particle that moves across the sheet changes brightness on its way, so that way counts
        // too, in quarters of the thickness.
        let thickness = self.scene.sheet.thickness_px * self.flash.pulse.thickness_ratio;
        let depth = 4.0 * (self.distance(path.at[2]) - self.distance(path.at[0])).abs() / thickness;
        points(length.max(depth))
    }

    /// Appends the streak of particle `number` of a block on its path, as instants.
    fn expose(&self, number: usize, path: &Arc, known: &mut PulseInstants, instants: &mut Vec<Instant>) {
        let needed = self.points(path);
        if needed == 1 && *self.shape == PulseShape::Rectangular {
            let at = path.at[1];
            instants.push(Instant {
                number,
                at,
                share: 1.0,
            });
            return;
        }
        let straight = matches!(self.scene.exposure, Exposure::Streak(_));
        let instant = |instant: &PulseInstant| Instant {
            number,
            at: match straight {
                true => along(path.at[1], path.velocity[1], instant.s),
                false => path.place(&instant.weights),
            },
            share: instant.share,
        };
        instants.extend(known.of(self.shape, needed).iter().map(instant));
    }
}

/// Paths of particles during one pulse or several: each particle is followed once for all of them,
/// where the field gives its pathlines as series.
#[derive(Debug)]
pub(crate) struct Paths {
    /// States of the first particle at the times of all pulses, then those of the second and so on.
    states: Option<Vec<State>>,
    /// Number of times before those of each pulse, and that of all.
    starts: Vec<usize>,
}

impl Arc {
    /// The same path, displaced.
    fn moved(mut self, by: Vec3) -> Arc {
        for at in &mut self.at {
            *at = along(*at, by, 1.0);
        }
        self
    }
}

impl Paths {
    /// Of particles during the pulses of the exposers, which are those of one scene.
    pub(crate) fn of(exposers: &[Exposer], particles: &[Particle]) -> Paths {
        let mut times = Vec::new();
        let mut starts = vec![0];
        for exposer in exposers {
            times.extend(exposer.times());
            starts.push(times.len());
        }
        let from = particles.iter().map(|particle| particle.at);
        let flow = exposers.first().map(|exposer| exposer.scene.flow.as_ref());
        let states = flow.and_then(|flow| follow(flow, from, 0.0, &times));
        Paths { states, starts }
    }

    /// Where a particle, the one of this number, is in the middle of the pulse of exposer number
    /// `pulse`, if it does not move meanwhile.
    fn middle(&self, exposer: &Exposer, pulse: usize, number: usize, particle: &Particle) -> Vec3 {
        let at = match &self.states {
            None => exposer.scene.flow.path(particle.at, 0.0, exposer.middle()),
            Some(states) => {
                let all = self.starts[self.starts.len() - 1];
                states[number * all + self.starts[pulse]].at
            }
        };
        match exposer.flash.walk {
            None => at,
            Some(walk) => along(at, walk.displacement_px(particle.id, particle.diameter), 1.0),
        }
    }

    /// Path of a particle, the one of this number, during the pulse of exposer number `pulse`.
    pub(crate) fn arc(&self, exposer: &Exposer, pulse: usize, number: usize, particle: &Particle) -> Arc {
        let arc = match &self.states {
            None => exposer.single(particle.at),
            Some(states) => {
                let all = self.starts[self.starts.len() - 1];
                exposer.arc(&states[number * all..][self.starts[pulse]..self.starts[pulse + 1]])
            }
        };
        match exposer.flash.walk {
            None => arc,
            Some(walk) => arc.moved(walk.displacement_px(particle.id, particle.diameter)),
        }
    }
}

#[cfg(test)]
mod tests;
