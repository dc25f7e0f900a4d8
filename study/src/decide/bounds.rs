//! How far a pulse separation and an exposure may go: what can be built, and the quarter rule.

use motefield_rig::keys;
use motefield_rig::plan::{Plan, RuleId};
use motefield_rig::quantity::Dimension;
use motefield_rig::setup::Setup;

/// What ends the values worth trying.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SearchEnd {
    /// Pulse A and the dead time, or pulse B, take so long.
    Pulses,
    /// Beyond it an exposure would cut its pulse.
    Exposures,
    /// Both pulses lie within two frame periods.
    FrameRate,
    /// The fastest displacement is a quarter of the first window.
    QuarterRule,
    /// What the source bears: on-time, energy, share of the time.
    Source,
    /// The brightest particles reach the end of the camera's range.
    FullWell,
}

impl SearchEnd {
    /// Name in JSON files.
    pub fn as_str(self) -> &'static str {
        match self {
            SearchEnd::Pulses => "pulses",
            SearchEnd::Exposures => "exposures",
            SearchEnd::FrameRate => "frame-rate",
            SearchEnd::QuarterRule => "quarter-rule",
            SearchEnd::Source => "source",
            SearchEnd::FullWell => "full-well",
        }
    }

    /// For people: what stands against going further.
    pub fn words(self) -> &'static str {
        match self {
            SearchEnd::Pulses => "pulse and dead time leave no more room",
            SearchEnd::Exposures => "beyond it an exposure would cut its pulse",
            SearchEnd::FrameRate => "the frame rate allows no more",
            SearchEnd::QuarterRule => "the fastest displacement is a quarter of the first window",
            SearchEnd::Source => "the source bears no more",
            SearchEnd::FullWell => "beyond it the brightest particles saturate the sensor",
        }
    }
}

/// An end of what may be tried, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bound {
    /// Where, s.
    pub at_s: f64,
    /// Why nothing beyond it may be tried.
    pub wall: SearchEnd,
}

impl Bound {
    fn new(at_s: f64, wall: SearchEnd) -> Option<Bound> {
        at_s.is_finite().then_some(Bound { at_s, wall })
    }
}

/// Where a value stands among those tried.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Edge {
    /// Between others.
    Inside,
    /// At the last that is worth trying, and why it is.
    At(SearchEnd),
    /// At the last that was tried: what lies beyond is not known.
    OfTried,
}

/// Shortest and longest pulse separation of a planned rig.
///
/// With pulses T_A and T_B, dead time d, exposures t_A and t_B, frame rate f: at least T_A + d and
/// T_B; at most t_A + d + t_B − T_B, and 2/f − T_B so that both pulses lie within two frame periods
/// (derived). The jitter's margin is left on either side. The quarter rule: where displacement
/// grows in proportion to the separation, the present one times a quarter over the present share
/// of the first window.
pub fn separation(setup: &Setup, plan: &Plan) -> [Option<Bound>; 2] {
    let dead_s = setup.camera.dead_time_s.unwrap_or(0.0);
    let Some(straddle) = plan.rig.straddle else {
        let shortest = Bound::new(dead_s, SearchEnd::Pulses).filter(|bound| bound.at_s > 0.0);
        return [shortest, quarter(setup, plan)];
    };
    let [_, pulse_b_s] = straddle.pulses_s;
    let shortest_s = straddle.shortest_separation_s().max(pulse_b_s);
    let longest = nearest(&[
        Bound::new(straddle.longest_separation_s(), SearchEnd::Exposures),
        frames(setup, pulse_b_s),
        quarter(setup, plan),
    ]);
    [Bound::new(shortest_s, SearchEnd::Pulses), longest]
}

/// The same in continuous light, whatever the exposures: longer than the dead time, and shorter
/// than two frame periods.
pub fn separation_of_exposures(setup: &Setup, plan: &Plan) -> [Option<Bound>; 2] {
    let dead_s = setup.camera.dead_time_s.unwrap_or(0.0);
    let shortest = Bound::new(dead_s, SearchEnd::Pulses).filter(|bound| bound.at_s > 0.0);
    [shortest, nearest(&[frames(setup, 0.0), quarter(setup, plan)])]
}

fn nearest(bounds: &[Option<Bound>]) -> Option<Bound> {
    let bounds = bounds.iter().copied().flatten();
    bounds.min_by(|a, b| a.at_s.total_cmp(&b.at_s))
}

/// Both pulses lie within two frame periods.
fn frames(setup: &Setup, pulse_b_s: f64) -> Option<Bound> {
    let rate_hz = setup.camera.frame_rate_hz?;
    Bound::new(2.0 / rate_hz - pulse_b_s, SearchEnd::FrameRate).filter(|bound| bound.at_s > 0.0)
}

/// The pulse separation at which the fastest displacement is a quarter of the first window; none
/// where no separation brings it there, as in a vortex that turns on the spot.
fn quarter(setup: &Setup, plan: &Plan) -> Option<Bound> {
    let share = |plan: &Plan| {
        let rules = plan.rules();
        let rule = rules.iter().find(|rule| rule.id == RuleId::QuarterInPlane)?;
        Some(rule.value).filter(|value| *value > 0.0)
    };
    let mut separation_s = plan.rig.setup.separation_s?;
    let mut found = share(plan)?;
    // Along straight paths the first step is exact. Along curved ones a few more find it.
    for _ in 0..STEPS {
        if (found / QUARTER - 1.0).abs() < CLOSE {
            return Bound::new(separation_s, SearchEnd::QuarterRule);
        }
        separation_s *= (QUARTER / found).clamp(1.0 / FARTHEST_STEP, FARTHEST_STEP);
        let value = Setup::quantity(separation_s, Dimension::Time);
        let tried = setup.with(keys::timing::SEPARATION.path, value);
        // A separation too short for the pulses is refused by the plan: the rule is no bound there.
        found = share(&plan.changed(&tried.ok()?).ok()?)?;
    }
    None
}

/// Share of the first window (Keane & Adrian 1990, Meas. Sci. Technol. 1, 1202; memory).
const QUARTER: f64 = 0.25;
/// Close enough, a share: below what three digits show.
const CLOSE: f64 = 1e-6;
const STEPS: usize = 12;
/// One step goes no farther than this factor.
const FARTHEST_STEP: f64 = 1e4;

#[cfg(test)]
mod tests;
