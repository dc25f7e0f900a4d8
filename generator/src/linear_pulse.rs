//! A pulse whose power is piecewise linear in time, such as an oscilloscope records it or as rise
//! and fall times make it.
//!
//! The image of a particle is the integral over time of power times its image at each instant. It
//! is taken by the Gauss rule whose weight is the power itself: exact for any polynomial in time
//! up to twice the number of points, whatever corners the power has, so that centroid and second
//! moment of a streak are exact from two points on.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::{Arc, Mutex, OnceLock};

use crate::quadrature::weighted::Recurrence;
use crate::quadrature::{LARGEST_RULE, rule};

/// Points of the largest rule: with it the weight times the square of its last polynomial times t
/// is of degree 62, which Gauss–Legendre rules of 32 points integrate exactly.
const LARGEST: usize = LARGEST_RULE - 1;
/// Most corners.
const MOST_POINTS: usize = 10_000;

/// Power over time of a pulse, linear between points and zero outside.
///
/// ```
/// use motefield_generator::LinearPulse;
///
/// // Rises over a fifth of its length, then falls slowly: lengths count between half powers.
/// let pulse = LinearPulse::new(&[[-0.1, 0.0], [0.1, 1.0], [0.4, 1.0], [1.6, 0.0]])?;
/// assert!(pulse.centroid() > 0.5);
/// assert!(LinearPulse::new(&[[0.0, 1.0], [1.0, -1.0]]).is_err());
/// # Ok::<(), motefield_generator::PulseShapeError>(())
/// ```
#[derive(Clone)]
pub struct LinearPulse {
    points: Arc<[[f64; 2]]>,
    centroid: f64,
    rules: Arc<Rules>,
}

/// The rules of a pulse, each made when it is first asked for.
struct Rules {
    recurrence: Recurrence,
    /// Of 0 to [`LARGEST`] points over the whole pulse.
    whole: [OnceLock<Arc<Quadrature>>; LARGEST + 1],
    /// Over pieces, by the number of pieces.
    pieces: Mutex<BTreeMap<usize, Arc<Quadrature>>>,
}

/// Times, −1 at the pulse's beginning and 1 at its end, with weights that sum to 1.
pub(crate) type Quadrature = [[f64; 2]];

impl fmt::Debug for LinearPulse {
    /// The points, of which all else follows.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("LinearPulse").field(&self.points).finish()
    }
}

impl PartialEq for LinearPulse {
    fn eq(&self, other: &LinearPulse) -> bool {
        self.points == other.points
    }
}

/// Points that are no pulse.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum PulseShapeError {
    /// Too few or too many points.
    #[error("a pulse has {0} points, but must have 2 to {MOST_POINTS}")]
    Count(usize),
    /// A time or a power that is no finite number; counted from 0.
    #[error("point {0} (counted from 0) of the pulse is not finite")]
    NotFinite(usize),
    /// A time that is not after the one before it.
    #[error("point {0} (counted from 0) of the pulse is not later than the one before it")]
    NotLater(usize),
    /// A negative power.
    #[error("point {0} (counted from 0) of the pulse has a power below 0")]
    Negative(usize),
    /// No power at all.
    #[error("the pulse has no power above 0")]
    Dark,
}

impl LinearPulse {
    /// A pulse through `points`: time in pulse lengths from the pulse's start, and power in any
    /// unit.
    ///
    /// # Errors
    /// Unless there are 2 to 10 000 finite points, each later than the one before, of powers of at
    /// least 0 that are not all 0.
    pub fn new(points: &[[f64; 2]]) -> Result<LinearPulse, PulseShapeError> {
        check(points)?;
        let [first, last] = [points[0][0], points[points.len() - 1][0]];
        let instants = instants(points, [first, last]);
        let energy: f64 = instants.iter().map(|[_, w]| w).sum();
        if energy <= 0.0 {
            return Err(PulseShapeError::Dark);
        }
        let centroid = instants.iter().map(|[t, w]| w * t).sum::<f64>() / energy;
        let recurrence = Recurrence::of(&scaled(&instants, [first, last], energy), LARGEST);
        let rules = Rules {
            recurrence,
            whole: Default::default(),
            pieces: Mutex::default(),
        };
        Ok(LinearPulse {
            points: points.into(),
            centroid,
            rules: Arc::new(rules),
        })
    }

    /// The points, as they were given.
    pub fn points(&self) -> &[[f64; 2]] {
        &self.points
    }

    /// Beginning and end, in pulse lengths from the pulse's start.
    pub fn span(&self) -> [f64; 2] {
        [self.points[0][0], self.points[self.points.len() - 1][0]]
    }

    /// Centroid of the power, in pulse lengths from the pulse's start.
    pub fn centroid(&self) -> f64 {
        self.centroid
    }

    /// A rule of at least `needed` points whose weight is the power.
    pub(crate) fn rule(&self, needed: usize) -> Arc<Quadrature> {
        let Rules {
            recurrence,
            whole,
            pieces: kept,
        } = self.rules.as_ref();
        if let Some(rule) = whole.get(needed) {
            return Arc::clone(rule.get_or_init(|| recurrence.rule(needed).into()));
        }
        let pieces = needed.div_ceil(LARGEST);
        let mut kept = kept.lock().expect("no thread panics with the lock");
        let made = kept.entry(pieces).or_insert_with(|| self.in_pieces(pieces));
        Arc::clone(made)
    }

    /// The largest rule on each of some equal pieces of the pulse.
    fn in_pieces(&self, pieces: usize) -> Arc<Quadrature> {
        let [first, last] = self.span();
        let step = (last - first) / pieces as f64;
        let all: f64 = instants(&self.points, [first, last]).iter().map(|[_, w]| w).sum();
        let mut rule = Vec::new();
        for piece in 0..pieces {
            let part = [first + piece as f64 * step, first + (piece + 1) as f64 * step];
            let instants = instants(&self.points, part);
            let energy: f64 = instants.iter().map(|[_, w]| w).sum();
            if energy <= 0.0 {
                continue;
            }
            let share = 1.0 / pieces as f64;
            let centre = (2 * piece + 1) as f64 * share - 1.0;
            let own = Recurrence::of(&scaled(&instants, part, energy), LARGEST).rule(LARGEST);
            let placed = own.iter().map(|[t, w]| [centre + share * t, w * energy / all]);
            rule.extend(placed);
        }
        rule.into()
    }
}

fn check(points: &[[f64; 2]]) -> Result<(), PulseShapeError> {
    if !(2..=MOST_POINTS).contains(&points.len()) {
        return Err(PulseShapeError::Count(points.len()));
    }
    for (k, [time, power]) in points.iter().enumerate() {
        if !(time.is_finite() && power.is_finite()) {
            return Err(PulseShapeError::NotFinite(k));
        }
        if k > 0 && *time <= points[k - 1][0] {
            return Err(PulseShapeError::NotLater(k));
        }
        if *power < 0.0 {
            return Err(PulseShapeError::Negative(k));
        }
    }
    Ok(())
}

/// Instants within a part of the pulse with their energies, which integrate the power times a
/// polynomial of degree 62 exactly: a Gauss–Legendre rule on each straight piece.
fn instants(points: &[[f64; 2]], [from, to]: [f64; 2]) -> Vec<[f64; 2]> {
    let mut all = Vec::new();
    for ends in points.windows(2) {
        let ([t0, p0], [t1, p1]) = (ends[0], ends[1]);
        let (low, high) = (t0.max(from), t1.min(to));
        if low >= high || (p0 == 0.0 && p1 == 0.0) {
            continue;
        }
        let slope = (p1 - p0) / (t1 - t0);
        let (centre, half) = (0.5 * (low + high), 0.5 * (high - low));
        all.extend(rule(LARGEST_RULE).iter().map(|[node, weight]| {
            let t = centre + half * node;
            [t, weight * 2.0 * half * (p0 + slope * (t - t0))]
        }));
    }
    all
}

/// The same with times from −1 to 1 and energies that sum to 1.
fn scaled(instants: &[[f64; 2]], [from, to]: [f64; 2], energy: f64) -> Vec<[f64; 2]> {
    let (centre, half) = (0.5 * (from + to), 0.5 * (to - from));
    instants
        .iter()
        .map(|[t, w]| [(t - centre) / half, w / energy])
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Moments of the rules about the pulse's start: degree d of a saw-tooth that falls from 1 at 0
    /// to 0 at 1 is ∫ 2 (1 − t) tᵈ dt = 2/((d + 1)(d + 2)) (closed form), by rules of the whole
    /// pulse and of pieces. To rounding.
    #[test]
    fn moments_of_a_saw_tooth() {
        // The same straight line by two points and by many.
        let many: Vec<[f64; 2]> = (0..=50)
            .map(|k| f64::from(k) / 50.0)
            .map(|t| [t, 1.0 - t])
            .collect();
        for points in [vec![[0.0, 1.0], [1.0, 0.0]], many] {
            let pulse = LinearPulse::new(&points).unwrap();
            assert!((pulse.centroid() - 1.0 / 3.0).abs() < 1e-15);
            for needed in [2, 7, 31, 32, 200] {
                let rule = pulse.rule(needed);
                assert!(rule.len() >= needed);
                for degree in 0..4 {
                    let found: f64 = rule.iter().map(|[s, w]| w * (0.5 * (1.0 + s)).powi(degree)).sum();
                    let exact = 2.0 / f64::from((degree + 1) * (degree + 2));
                    assert!(
                        (found - exact).abs() < 1e-13,
                        "{needed}, {degree}: {found} for {exact}"
                    );
                }
            }
        }
    }

    #[test]
    fn what_is_no_pulse_is_refused() {
        use PulseShapeError as E;
        for (points, error) in [
            (vec![[0.0, 1.0]], E::Count(1)),
            (vec![[0.0, 1.0], [0.0, 1.0]], E::NotLater(1)),
            (vec![[0.0, 1.0], [f64::NAN, 1.0]], E::NotFinite(1)),
            (vec![[0.0, 1.0], [1.0, -0.1]], E::Negative(1)),
            (vec![[0.0, 0.0], [1.0, 0.0]], E::Dark),
        ] {
            assert_eq!(LinearPulse::new(&points), Err(error));
        }
    }
}
