//! What a decision is about: a rig whose light and streak follow from the pulse length, and the pulse lengths worth trying.

use crate::StudyError;
use crate::source::Source;
use motefield_rig::plan::{Plan, Speeds};

/// Streaks, in the fastest tenth of the field, from which and to which the pulse length is swept, px.
const STREAKS_PX: [f64; 2] = [0.05, 10.0];

/// A rig for which a decision can be made.
#[derive(Debug, Clone)]
pub struct Rig {
    /// Where it is described.
    pub source: Source,
    /// As planned, at its own pulse length.
    pub plan: Plan,
    /// Pulse separation, s.
    pub separation_s: f64,
    /// How far the field moves.
    pub speeds: Speeds,
    /// Pulse lengths from the shortest to the longest worth trying, s.
    pub range_s: [f64; 2],
}

impl Rig {
    /// Checks that a decision can be made.
    ///
    /// # Errors
    /// When the setup has no rig, or pictures whose streak or light do not follow from the pulse length.
    pub fn of(source: &Source) -> Result<Rig, StudyError> {
        let plan = source.plan()?;
        let (separation_s, longest_s) = timing(source, &plan)?;
        let speeds = Speeds::of(plan.scene.size, plan.scene.flow.as_ref());
        let range_s = range(source, separation_s, longest_s, &speeds)?;
        Ok(Rig {
            source: source.clone(),
            plan,
            separation_s,
            speeds,
            range_s,
        })
    }
}

/// Pulse separation and longest pulse of a setup from which a decision can be made.
fn timing(source: &Source, plan: &Plan) -> Result<(f64, f64), StudyError> {
    let setup = source.setup()?;
    let refuse = |key: &str, why: &str| Err(StudyError::from(setup.error(key, why)));
    if setup.image.streak_px.is_some() || setup.image.pulse_fraction.is_some() {
        let key = if setup.image.streak_px.is_some() {
            "image.streak"
        } else {
            "image.pulse_fraction"
        };
        return refuse(
            key,
            "fixes the streak, so the pulse length decides nothing: remove it and give light.pulse_length and timing.separation, or study the scene with `motefield sweep --vary image.pulse_fraction=0..1:lin:11`",
        );
    }
    let (Some(separation), Some(_), Some(longest)) = (plan.separation_s, plan.pulse_s, plan.longest_pulse_s)
    else {
        return refuse(
            "light.pulse_length",
            "or timing.separation is missing: a decision needs a rig with both; a scene alone can be studied with `motefield sweep`",
        );
    };
    if plan.scene.electrons <= 0.0 {
        return refuse(
            "light.power",
            "gives no photo-electrons: check the light and the lens with `motefield plan`",
        );
    }
    if longest <= 0.0 {
        return refuse(
            "camera.dead_time",
            "leaves no room for a pulse: shorten it or lengthen timing.separation",
        );
    }
    Ok((separation, longest))
}

/// Pulse lengths from the shortest to the longest worth trying, s.
fn range(
    source: &Source,
    separation_s: f64,
    longest_s: f64,
    speeds: &Speeds,
) -> Result<[f64; 2], StudyError> {
    if speeds.fast_px < 1e-3 {
        return Err(source.setup()?.error("timing.separation", "leaves the particles where they are between the pulses: a still picture does not limit the pulse; lengthen the separation or raise the velocity").into());
    }
    let [short, long] = STREAKS_PX.map(|streak| streak / speeds.fast_px * separation_s);
    let long = long.min(longest_s);
    // A separation so short that no streak reaches the lower end: three decades below the longest pulse instead.
    Ok([if short < 0.5 * long { short } else { long * 1e-3 }, long])
}
