//! The instants of a pulse at which a particle's light is taken, with their shares of it.

use crate::light::PulseShape;
use crate::quadrature::{LARGEST_RULE, rule};

/// Least number of points over a Gaussian pulse, so that its power is resolved.
const GAUSSIAN_POINTS: usize = 24;

/// Hermite basis on the nodes −1, 0 and 1 at some time: each polynomial is 1, in value or in slope,
/// at one node and 0 at the others.
#[derive(Debug, Clone, Copy)]
pub(super) struct HermiteWeights {
    pub value: [f64; 3],
    pub slope: [f64; 3],
}

impl HermiteWeights {
    pub fn at(s: f64) -> HermiteWeights {
        let (m, p) = ((s - 1.0) * (s - 1.0), (s + 1.0) * (s + 1.0));
        let s2 = s * s;
        HermiteWeights {
            value: [
                0.25 * s2 * m * (3.0 * s + 4.0),
                m * p,
                0.25 * s2 * p * (4.0 - 3.0 * s),
            ],
            slope: [0.25 * s2 * m * (s + 1.0), m * p * s, 0.25 * s2 * p * (s - 1.0)],
        }
    }
}

/// An instant of a pulse.
#[derive(Debug, Clone, Copy)]
pub(super) struct PulseInstant {
    /// Time, −1 to 1.
    pub s: f64,
    /// Share of the pulse's light.
    pub share: f64,
    pub weights: HermiteWeights,
}

/// Instants that a streak of any length is made of, by the number of points that it needs; each
/// list is made when it is first asked for.
#[derive(Debug, Default)]
pub(super) struct PulseInstants(Vec<Vec<PulseInstant>>);

impl PulseInstants {
    pub fn of(&mut self, shape: &PulseShape, needed: usize) -> &[PulseInstant] {
        if self.0.len() <= needed {
            self.0.resize_with(needed + 1, Vec::new);
        }
        let known = &mut self.0[needed];
        if known.is_empty() {
            *known = instants(shape, needed);
        }
        known
    }
}

/// Instants of a pulse and their shares of its light: a quadrature of at least `needed` points.
fn instants(shape: &PulseShape, needed: usize) -> Vec<PulseInstant> {
    let instant = |[s, share]: [f64; 2]| PulseInstant {
        s,
        share,
        weights: HermiteWeights::at(s),
    };
    let gaussian = match shape {
        PulseShape::Linear(pulse) => return pulse.rule(needed).iter().copied().map(instant).collect(),
        PulseShape::Rectangular => false,
        PulseShape::Gaussian => true,
    };
    let needed = if gaussian {
        needed.max(GAUSSIAN_POINTS)
    } else {
        needed
    };
    let pieces = needed.div_ceil(LARGEST_RULE);
    let rule = rule(needed.div_ceil(pieces));
    let share_of_piece = 1.0 / pieces as f64;
    let mut found = Vec::with_capacity(pieces * rule.len());
    let mut all = 0.0;
    for piece in 0..pieces {
        let centre = (2 * piece + 1) as f64 * share_of_piece - 1.0;
        for [node, weight] in rule {
            let time = centre + share_of_piece * node;
            let share = share_of_piece * weight * power(gaussian, time);
            all += share;
            found.push(instant([time, share]));
        }
    }
    if gaussian {
        found.iter_mut().for_each(|instant| instant.share /= all);
    }
    found
}

/// Power of a pulse over its maximum at the time s, −1 to 1; a Gaussian pulse is rendered over two
/// full widths at half maximum on either side of its middle.
fn power(gaussian: bool, s: f64) -> f64 {
    if gaussian {
        libm::exp(-16.0 * std::f64::consts::LN_2 * s * s)
    } else {
        1.0
    }
}
