//! What a particle draws on the sensor during one pulse: its path, cut into points of light.
//!
//! The picture of a moving particle is the integral over the pulse of its picture at each instant. That integral is
//! taken by Gauss–Legendre quadrature in time, whose error falls exponentially once the points lie closer than the particle
//! image's own width. Light weighs each instant by the pulse's power, the sheet where the particle is, and its brightness.

use std::sync::LazyLock;

use crate::flow::{Vec3, along};
use crate::imaging::View;
use crate::light::{Flash, PulseShape};
use crate::scene::{Exposure, Scene};
use crate::seeding::Particle;

/// A point of light: place on the sensor (px) and photo-electrons.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// px.
    pub x_px: f64,
    /// px.
    pub y_px: f64,
    /// Expected photo-electrons.
    pub electrons: f32,
    /// Standard deviation of its image, px.
    pub sigma_px: f64,
}

/// Points of the largest rule; longer streaks are cut into pieces.
const LARGEST_RULE: usize = 32;

/// Nodes on (−1, 1) and weights that sum to 1, for rules of 0 to [`LARGEST_RULE`] points.
static RULES: LazyLock<Vec<Vec<[f64; 2]>>> =
    LazyLock::new(|| (0..=LARGEST_RULE).map(gauss_legendre).collect());

/// Gauss–Legendre nodes by Newton's method on the Legendre polynomial (Abramowitz and Stegun 25.4.29; memory).
fn gauss_legendre(points: usize) -> Vec<[f64; 2]> {
    let n = points as f64;
    (0..points)
        .map(|k| {
            let mut x = -libm::cos(std::f64::consts::PI * (k as f64 + 0.75) / (n + 0.5));
            let mut slope = 1.0;
            for _ in 0..100 {
                let (mut p, mut before) = (x, 1.0);
                for j in 2..=points {
                    let j = j as f64;
                    (p, before) = (((2.0 * j - 1.0) * x * p - (j - 1.0) * before) / j, p);
                }
                slope = n * (before - x * p) / (1.0 - x * x);
                let step = p / slope;
                x -= step;
                if step.abs() < 1e-15 {
                    break;
                }
            }
            [x, 1.0 / ((1.0 - x * x) * slope * slope)]
        })
        .collect()
}

/// How many points a streak of `length_sigmas` standard deviations of the particle image needs so that no pixel is off by
/// more than 4e-7 of the particle's light (own numerical study over placements, directions and widths from 0.3 to
/// 1.2 px; derived, and held by the tests against independently computed streaks).
fn points(length_sigmas: f64) -> usize {
    match length_sigmas {
        l if l < 1e-3 => 1,
        l if l < 0.1 => 2,
        l => 3 + l.ceil() as usize,
    }
}

/// Where a particle is at the beginning, the middle and the end of a pulse, and how fast, in pulse time from −1 to 1:
/// the quintic through all six is its path (exact for a straight one; the error of the sixth order in the pulse's
/// share of any time in which the flow changes).
struct Arc {
    at: [Vec3; 3],
    velocity: [Vec3; 3],
}

impl Arc {
    fn place(&self, s: f64) -> Vec3 {
        // Hermite basis on the nodes −1, 0, 1: values first, slopes after; each polynomial is 1 (in value or slope) at one node.
        let (m, p) = ((s - 1.0) * (s - 1.0), (s + 1.0) * (s + 1.0));
        let s2 = s * s;
        let value = [
            0.25 * s2 * m * (3.0 * s + 4.0),
            m * p,
            0.25 * s2 * p * (4.0 - 3.0 * s),
        ];
        let slope = [0.25 * s2 * m * (s + 1.0), m * p * s, 0.25 * s2 * p * (s - 1.0)];
        let mut to = [0.0; 3];
        for k in 0..3 {
            to = along(along(to, self.at[k], value[k]), self.velocity[k], slope[k]);
        }
        to
    }

    fn length_px(&self) -> f64 {
        let reach = |a: Vec3, b: Vec3| libm::hypot(b[0] - a[0], b[1] - a[1]);
        reach(self.at[0], self.at[1]) + reach(self.at[1], self.at[2])
    }
}

/// Points over a Gaussian pulse at least, so that its power is resolved.
const GAUSSIAN_POINTS: usize = 24;

/// Draws particles during one pulse.
#[derive(Debug)]
pub struct Exposer<'a> {
    scene: &'a Scene,
    view: View,
    flash: Flash,
    /// Photo-electrons of a particle of brightness 1 in the middle of the sheet.
    electrons: f64,
}

impl<'a> Exposer<'a> {
    /// For one pulse of a scene.
    pub fn new(scene: &'a Scene, flash: Flash) -> Self {
        Exposer {
            scene,
            view: View::of(scene),
            flash,
            electrons: scene.electrons * flash.pulse.energy_ratio / flash.pulse.thickness_ratio,
        }
    }

    fn path(&self, from: Vec3) -> Arc {
        let (flow, time) = (self.scene.flow.as_ref(), self.flash.middle);
        let middle = flow.path(from, 0.0, time);
        let window = self.scene.light.pulse_shape.half_window() * self.flash.pulse.length_ratio;
        match self.scene.exposure {
            Exposure::Streak([x, y]) => {
                let half = [window * x, window * y, 0.0];
                Arc {
                    at: [along(middle, half, -1.0), middle, along(middle, half, 1.0)],
                    velocity: [half; 3],
                }
            }
            Exposure::Fraction(f) => {
                let half = window * f;
                let ends = [
                    flow.path(middle, time, time - half),
                    middle,
                    flow.path(middle, time, time + half),
                ];
                let velocity = [(ends[0], time - half), (middle, time), (ends[2], time + half)]
                    .map(|(at, t)| flow.velocity(at, t).map(|v| v * half));
                Arc { at: ends, velocity }
            }
        }
    }

    /// Height of a point above the middle of this pulse's sheet, px.
    fn distance(&self, at: Vec3) -> f64 {
        self.scene.sheet.distance_px(at, self.view.middle) - self.flash.pulse.offset_px
    }

    /// Light of this pulse's sheet at a point over that in its middle.
    fn lit(&self, at: Vec3) -> f64 {
        let sheet = &self.scene.sheet;
        sheet.across(self.distance(at), self.flash.pulse.thickness_ratio)
            * sheet.along(at[1], self.view.middle)
    }

    /// What a particle shows at one place on its way, with `share` of its light, where the sheet's is `lit`.
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

    /// Where in the picture a particle stands in the middle of the pulse, and how bright it would be at rest there; with its depth, px.
    pub fn at_rest(&self, particle: &Particle) -> (Spot, f64) {
        let at = self.scene.flow.path(particle.at, 0.0, self.flash.middle);
        (self.spot(particle, at, 1.0, self.lit(at)), at[2])
    }

    /// Appends to `spots` what a particle draws during the pulse.
    pub fn expose(&self, particle: &Particle, spots: &mut Vec<Spot>) {
        let path = self.path(particle.at);
        let length = path.length_px() / (0.25 * self.scene.particle_diameter_px);
        // A particle that crosses the sheet in depth changes brightness on the way: measure that way in quarter thicknesses.
        let thickness = self.scene.sheet.thickness_px * self.flash.pulse.thickness_ratio;
        let depth = 4.0 * (self.distance(path.at[2]) - self.distance(path.at[0])).abs() / thickness;
        // On the level in an even sheet the light stays the same.
        let sheet = &self.scene.sheet;
        let even = sheet.slope == [0.0; 2] && sheet.height.is_none();
        let level = (even && path.velocity.iter().all(|v| v[2] == 0.0)).then(|| self.lit(path.at[1]));
        let mut needed = points(length.max(depth));
        let gaussian = self.scene.light.pulse_shape == PulseShape::Gaussian;
        if gaussian {
            needed = needed.max(GAUSSIAN_POINTS);
        }
        let pieces = needed.div_ceil(LARGEST_RULE);
        let rule = &RULES[needed.div_ceil(pieces)];
        let share = 1.0 / pieces as f64;
        let nodes = || {
            (0..pieces).flat_map(|piece| {
                let centre = (2 * piece + 1) as f64 * share - 1.0;
                rule.iter().map(move |[node, weight]| {
                    (
                        centre + share * node,
                        share * weight * power(gaussian, centre + share * node),
                    )
                })
            })
        };
        let all: f64 = if gaussian {
            nodes().map(|(_, weight)| weight).sum()
        } else {
            1.0
        };
        for (time, weight) in nodes() {
            let at = path.place(time);
            let lit = level.unwrap_or_else(|| self.lit(at));
            let spot = self.spot(particle, at, weight / all, lit);
            if spot.electrons > 0.0 && !self.scene.flow.solid(at) {
                spots.push(spot);
            }
        }
    }
}

/// Power at the time s (−1 to 1) of a pulse over its largest: the Gaussian's window is ± two full widths at half maximum.
fn power(gaussian: bool, s: f64) -> f64 {
    if gaussian {
        libm::exp(-16.0 * std::f64::consts::LN_2 * s * s)
    } else {
        1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A rule of n points integrates polynomials to degree 2n − 1 exactly (Abramowitz and Stegun 25.4.29).
    #[test]
    fn quadrature_is_exact_to_its_degree() {
        for n in 1..=LARGEST_RULE {
            for degree in 0..2 * n {
                let sum: f64 = RULES[n].iter().map(|[x, w]| w * x.powi(degree as i32)).sum();
                let exact = if degree % 2 == 0 {
                    1.0 / (degree as f64 + 1.0)
                } else {
                    0.0
                };
                assert!(
                    (sum - exact).abs() < 1e-14,
                    "{n} points, degree {degree}: {sum} for {exact}"
                );
            }
        }
    }

    /// The quintic reproduces a path of fifth degree in time exactly.
    #[test]
    fn quintic_reproduces_degree_five() {
        let place = |s: f64| [1.0 - 2.0 * s + s.powi(5), s * s - 0.3 * s.powi(4), s.powi(3)];
        let speed = |s: f64| [-2.0 + 5.0 * s.powi(4), 2.0 * s - 1.2 * s.powi(3), 3.0 * s * s];
        let nodes = [-1.0, 0.0, 1.0];
        let arc = Arc {
            at: nodes.map(place),
            velocity: nodes.map(speed),
        };
        for s in [-1.0, -0.7, -0.2, 0.0, 0.4, 0.9, 1.0] {
            for i in 0..3 {
                assert!((arc.place(s)[i] - place(s)[i]).abs() < 1e-14);
            }
        }
    }
}
