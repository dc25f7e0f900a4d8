//! What a decision is about: a rig whose light and streak follow from the pulse length, and the
//! pulse lengths worth trying.

use crate::StudyError;
use motefield_rig::keys;
use motefield_rig::plan::{Plan, Speeds, plan};
use motefield_rig::setup::Setup;

/// Streaks, in the fastest tenth of the field, from which and to which the pulse length is swept,
/// px.
const STREAKS_PX: [f64; 2] = [0.05, 10.0];

/// A rig for which a decision can be made.
#[derive(Debug, Clone)]
pub struct PulseSearch {
    /// As it is stated.
    pub setup: Setup,
    /// As planned, at its own pulse length.
    pub plan: Plan,
    /// Pulse separation, s.
    pub separation_s: f64,
    /// How far the field moves.
    pub speeds: Speeds,
    /// Pulse lengths from the shortest to the longest worth trying, s.
    pub range_s: [f64; 2],
}

impl PulseSearch {
    /// Checks that a decision can be made.
    ///
    /// # Errors
    /// When the setup has no rig, or pictures whose streak or light do not follow from the pulse
    /// length.
    pub fn of(setup: &Setup) -> Result<PulseSearch, StudyError> {
        let plan = plan(setup)?;
        let (separation_s, longest_s) = timing(setup, &plan)?;
        let speeds = plan.rig.speeds;
        let range_s = range(setup, separation_s, longest_s, &speeds)?;
        Ok(PulseSearch {
            setup: setup.clone(),
            plan,
            separation_s,
            speeds,
            range_s,
        })
    }
}

/// Pulse separation and longest pulse of a setup from which a decision can be made.
fn timing(setup: &Setup, plan: &Plan) -> Result<(f64, f64), StudyError> {
    let refuse = |key: &'static keys::Key, why: &str| Err(StudyError::from(setup.error(key, why)));
    if setup.image.streak_px.is_some() || setup.image.pulse_fraction.is_some() {
        let key = if setup.image.streak_px.is_some() {
            keys::image::STREAK
        } else {
            keys::image::PULSE_FRACTION
        };
        return refuse(
            key,
            "fixes the streak, so the pulse length decides nothing: remove it and give light.pulse_length and timing.separation, or sweep image.pulse_fraction",
        );
    }
    let (Some(separation), Some(_), Some(longest)) =
        (plan.rig.setup.separation_s, plan.pulse_s, plan.longest_pulse_s)
    else {
        return refuse(
            keys::light::PULSE_LENGTH,
            "or timing.separation is missing: a decision needs a rig with both; a scene alone can be swept",
        );
    };
    if plan.scene.electrons <= 0.0 {
        return refuse(
            keys::light::POWER,
            "gives no photo-electrons: check the light and the lens in the plan",
        );
    }
    if longest <= 0.0 {
        return refuse(
            keys::camera::DEAD_TIME,
            "leaves no room for a pulse: shorten it or lengthen timing.separation",
        );
    }
    Ok((separation, longest))
}

/// Pulse lengths from the shortest to the longest worth trying, s.
fn range(setup: &Setup, separation_s: f64, longest_s: f64, speeds: &Speeds) -> Result<[f64; 2], StudyError> {
    if speeds.fast_px < 1e-3 {
        return Err(setup.error(keys::timing::SEPARATION, "leaves the particles where they are between the pulses: a still picture does not limit the pulse; lengthen the separation or raise the velocity").into());
    }
    let [short, long] = STREAKS_PX.map(|streak| streak / speeds.fast_px * separation_s);
    let long = long.min(longest_s);
    // A separation so short that no streak reaches the lower end: three decades below the longest
    // pulse instead.
    Ok([if short < 0.5 * long { short } else { long * 1e-3 }, long])
}
