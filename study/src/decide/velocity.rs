//! From the error of the displacement to the uncertainty of the velocity, and what averages over
//! many pairs give.
//!
//! The budget of one vector's velocity u = d/(S Δt) follows the GUM (JCGM 100:2008, 5.1): every
//! cause adds the square of its standard uncertainty. Bias, local bias and random error of the
//! displacement come from the study, and hold jitter and loss of light as the setup states them.
//! Scale and separation come from the tolerances of the setup (a half-width a of a rectangular
//! distribution is a/√3, 4.3.7). The tracer lags behind the fluid by |ρ_p − ρ| d²/(18 µ) times the
//! fluid's acceleration, which is its settling velocity times acceleration over gravity (Stokes
//! drag, small lag: Maxey 1987, J. Fluid Mech. 174, 441; memory).

use motefield_evaluator::score::Component;
use motefield_generator::Flow;
use motefield_rig::keys;
use motefield_rig::plan::{FactId, Plan, plan, points};
use motefield_rig::setup::{Setup, Tolerance};

use super::trial::curvature_px;
use crate::StudyError;
use crate::run::Point;

/// Standard gravity, m/s² (CGPM 1901).
const GRAVITY_M_S2: f64 = 9.806_65;
/// Coverage factor for about 95 % (JCGM 100:2008, 6.3.3).
pub const COVERAGE_FACTOR: f64 = 2.0;

/// A cause of uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UncertaintyCause {
    /// What changes from pair to pair; averages reduce it.
    Random,
    /// What a place errs in every pair.
    LocalBias,
    /// The mean of all errors.
    Bias,
    /// Curved paths: the displacement is not the velocity midway.
    Curvature,
    /// Tolerances of what fixes the scale.
    Scale,
    /// Tolerance of the pulse separation.
    Separation,
    /// The tracer does not follow the fluid's acceleration.
    TracerLag,
    /// The tracer sinks or rises.
    Settling,
}

impl UncertaintyCause {
    /// Name in JSON files.
    pub fn as_str(self) -> &'static str {
        match self {
            UncertaintyCause::Random => "random",
            UncertaintyCause::LocalBias => "local_bias",
            UncertaintyCause::Bias => "bias",
            UncertaintyCause::Curvature => "curvature",
            UncertaintyCause::Scale => "scale",
            UncertaintyCause::Separation => "separation",
            UncertaintyCause::TracerLag => "tracer_lag",
            UncertaintyCause::Settling => "settling",
        }
    }

    /// For people.
    pub fn words(self) -> &'static str {
        match self {
            UncertaintyCause::Random => "random error of the displacement",
            UncertaintyCause::LocalBias => "local bias of the displacement",
            UncertaintyCause::Bias => "bias of the displacement",
            UncertaintyCause::Curvature => "curved paths",
            UncertaintyCause::Scale => "scale of the picture",
            UncertaintyCause::Separation => "pulse separation",
            UncertaintyCause::TracerLag => "lag of the tracer in acceleration",
            UncertaintyCause::Settling => "settling of the tracer",
        }
    }
}

/// The uncertainty of the velocity of one vector, in the lab's units.
#[derive(Debug, Clone)]
pub struct VelocityBudget {
    /// Each cause with its standard uncertainty, m/s.
    pub causes: Vec<(UncertaintyCause, f64)>,
    /// Causes of which the setup does not say enough.
    pub unknown: Vec<UncertaintyCause>,
    /// Mean speed of the field, m/s.
    pub mean_m_s: f64,
    /// Random error along x and y, m/s.
    random_m_s: [f64; 2],
}

impl VelocityBudget {
    /// At a setting that was measured, planned as `planned`; `None` where the setup has no scale or
    /// no separation.
    ///
    /// # Errors
    /// When a setup at the end of a tolerance cannot be planned.
    pub fn of(setup: &Setup, planned: &Plan, point: &Point) -> Result<Option<VelocityBudget>, StudyError> {
        let (Some(px_per_m), Some(separation_s)) = (planned.rig.px_per_m(), planned.rig.setup.separation_s)
        else {
            return Ok(None);
        };
        let m_s = |px: f64| px / px_per_m / separation_s;
        let mean_m_s = m_s(planned.rig.speeds.mean_px);
        let parts = &point.score.point;
        let length = |of: fn(&Component) -> f64| of(&parts[0]).hypot(of(&parts[1]));
        let mut causes = vec![(UncertaintyCause::Random, m_s(length(|c| c.random_px.value)))];
        let mut unknown = Vec::new();
        match (parts[0].local_px, parts[1].local_px) {
            (Ok(x), Ok(y)) => causes.push((UncertaintyCause::LocalBias, m_s(x.value.hypot(y.value)))),
            _ => unknown.push(UncertaintyCause::LocalBias),
        }
        causes.push((UncertaintyCause::Bias, m_s(length(|c| c.bias_px.value))));
        causes.push((UncertaintyCause::Curvature, m_s(curvature_px(planned))));
        for (cause, relative) in [
            (
                UncertaintyCause::Scale,
                relative(setup, |plan| plan.rig.px_per_m(), &SCALE)?,
            ),
            (
                UncertaintyCause::Separation,
                relative(setup, |plan| plan.rig.setup.separation_s, &TIMING)?,
            ),
        ] {
            match relative {
                Some(relative) => causes.push((cause, relative * mean_m_s)),
                None => unknown.push(cause),
            }
        }
        match planned.figure(FactId::SettlingVelocity) {
            Some(settling_m_s) => {
                let size = planned.scene.size;
                let acceleration = acceleration(planned.scene.flow.as_ref(), size);
                let acceleration_m_s2 = m_s(acceleration) / separation_s;
                causes.push((
                    UncertaintyCause::TracerLag,
                    settling_m_s * acceleration_m_s2 / GRAVITY_M_S2,
                ));
                causes.push((UncertaintyCause::Settling, settling_m_s));
            }
            None => unknown.extend([UncertaintyCause::TracerLag, UncertaintyCause::Settling]),
        }
        Ok(Some(VelocityBudget {
            causes,
            unknown,
            mean_m_s,
            random_m_s: [0, 1].map(|k| m_s(parts[k].random_px.value)),
        }))
    }

    /// Combined standard uncertainty, m/s.
    pub fn combined_m_s(&self) -> f64 {
        self.causes.iter().map(|(_, u)| u * u).sum::<f64>().sqrt()
    }

    /// Share of a cause in the squared combined uncertainty.
    pub fn share(&self, u_m_s: f64) -> f64 {
        (u_m_s / self.combined_m_s()).powi(2)
    }

    /// What stays in a mean over any number of pairs, m/s.
    pub fn systematic_m_s(&self) -> f64 {
        let others = self
            .causes
            .iter()
            .filter(|(cause, _)| *cause != UncertaintyCause::Random);
        others.map(|(_, u)| u * u).sum::<f64>().sqrt()
    }

    /// Pairs of a steady flow whose mean has at most the standard uncertainty `limit_m_s`: `None`
    /// where what stays is larger.
    pub fn pairs_for(&self, limit_m_s: f64) -> Option<usize> {
        let left = limit_m_s.powi(2) - self.systematic_m_s().powi(2);
        let random: f64 = self.random_m_s.iter().map(|r| r * r).sum();
        let pairs = (random / left).ceil().max(1.0);
        (left > 0.0 && pairs < 1e9).then_some(pairs as usize)
    }

    /// What `pairs` independent pairs give of a flow whose components fluctuate by `fluctuation`
    /// times the mean speed, independently and normally.
    pub fn averages(&self, pairs: usize, fluctuation: f64) -> Averages {
        let flow = fluctuation * self.mean_m_s;
        let n = pairs as f64;
        let [x, y] = self.random_m_s.map(|random| flow.hypot(random));
        let rms = |total: f64| (total - flow).hypot(total / (2.0 * n).sqrt());
        Averages {
            pairs,
            mean_m_s: (self.systematic_m_s().powi(2) + (x * x + y * y) / n).sqrt(),
            rms: rms(x).max(rms(y)) / flow,
            stress: x * y / n.sqrt() / (flow * flow),
        }
    }
}

/// Standard uncertainties of what is formed from many pairs. Of normal fluctuations of standard
/// deviation s the mean of N has s/√N, the standard deviation s/√(2N), and the mean of the product
/// of two that are independent s_x s_y/√N (Benedict and Gould 1996, Exp. Fluids 22, 129; memory).
/// The random error of the vectors adds to the fluctuations of the flow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Averages {
    /// Number of pairs.
    pub pairs: usize,
    /// Of the mean velocity, m/s.
    pub mean_m_s: f64,
    /// Of the root mean square of the fluctuation, over it: with what the vectors' random error
    /// adds.
    pub rms: f64,
    /// Of the Reynolds shear stress, over the square of the fluctuation.
    pub stress: f64,
}

/// Keys that fix the scale.
const SCALE: [&str; 5] = [
    keys::lens::MAGNIFICATION.path,
    keys::lens::FIELD_WIDTH.path,
    keys::lens::FOCAL_LENGTH.path,
    keys::lens::WORKING_DISTANCE.path,
    keys::camera::PIXEL.path,
];
/// Keys that fix the separation.
const TIMING: [&str; 1] = [keys::timing::SEPARATION.path];

/// Relative standard uncertainty of a quantity of the plan by the tolerances of some keys; `None`
/// where none of them has one.
fn relative(
    setup: &Setup,
    of: impl Fn(&Plan) -> Option<f64>,
    keys: &[&str],
) -> Result<Option<f64>, StudyError> {
    let mut sum = None;
    for tolerance in setup
        .tolerances
        .iter()
        .filter(|t| keys.contains(&t.path.as_str()))
    {
        let at = |tolerance: &Tolerance, share: f64| -> Result<Option<f64>, StudyError> {
            Ok(of(&plan(&setup.with(&tolerance.path, tolerance.at(share))?)?))
        };
        if let (Some(low), Some(high)) = (at(tolerance, -1.0)?, at(tolerance, 1.0)?) {
            let u = (high - low).abs() / (high + low) / 3f64.sqrt();
            sum = Some(sum.unwrap_or(0.0) + u * u);
        }
    }
    Ok(sum.map(f64::sqrt))
}

/// Step in time for the change of a velocity, pulse separations.
const STEP: f64 = 1e-3;

/// Root mean square acceleration of the fluid over the picture, px per squared pulse separation:
/// Du/Dt = ∂u/∂t + (u·∇)u midway between the pulses.
fn acceleration(flow: &dyn Flow, size: [usize; 2]) -> f64 {
    let squares: Vec<f64> = points(size)
        .map(|[x, y]| [x, y, 0.0])
        .filter(|at| !flow.solid(*at))
        .map(|at| {
            let u = flow.velocity(at, 0.0);
            let gradient = flow.gradient(at, 0.0);
            let (before, after) = (flow.velocity(at, -STEP), flow.velocity(at, STEP));
            let along = |i: usize| {
                let carried: f64 = (0..3).map(|j| gradient[i][j] * u[j]).sum();
                carried + (after[i] - before[i]) / (2.0 * STEP)
            };
            (0..3).map(|i| along(i).powi(2)).sum::<f64>()
        })
        .filter(|square| square.is_finite())
        .collect();
    (squares.iter().sum::<f64>() / squares.len().max(1) as f64).sqrt()
}

#[cfg(test)]
mod tests;
