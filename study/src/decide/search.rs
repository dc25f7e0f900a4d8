//! What a decision is about: a rig whose light and streak follow from the pulse length, and the
//! pulse lengths worth trying.

use super::bounds::SearchEnd;
use super::question::{LEAST_STREAK_PX, Question, answerable};
use crate::StudyError;
use motefield_rig::keys;
use motefield_rig::plan::{Plan, RuleId, Speeds, Status, plan};
use motefield_rig::quantity::Dimension;
use motefield_rig::setup::Setup;

/// Streaks, in the fastest tenth of the field, from which and to which the pulse length is swept,
/// px.
const STREAKS_PX: [f64; 2] = [LEAST_STREAK_PX, 10.0];

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
    /// The longest that can be built and keeps the brightest particles off saturation, s, and what
    /// ends it.
    pub most: (f64, SearchEnd),
}

impl PulseSearch {
    /// Checks that a decision can be made.
    ///
    /// # Errors
    /// When the setup has no rig, or pictures whose streak or light do not follow from the pulse
    /// length.
    pub fn of(setup: &Setup) -> Result<PulseSearch, StudyError> {
        PulseSearch::of_plan(setup, plan(setup)?)
    }

    /// The same of a setup that was planned.
    ///
    /// # Errors
    /// As [`PulseSearch::of`].
    pub fn of_plan(setup: &Setup, plan: Plan) -> Result<PulseSearch, StudyError> {
        answerable(setup, Question::PulseLength)?;
        let (separation_s, most) = timing(setup, &plan)?;
        let speeds = plan.rig.speeds;
        let [short, long] = range(setup, separation_s, most.0, &speeds)?;
        let most = within_rules(setup, &plan, short, most);
        let range_s = [short, long.min(most.0)];
        Ok(PulseSearch {
            setup: setup.clone(),
            plan,
            separation_s,
            speeds,
            range_s,
            most,
        })
    }
}

/// Pulse separation of a setup from which a decision can be made; the longest pulse that fits and
/// that the source bears, and which of the two ends it.
fn timing(setup: &Setup, plan: &Plan) -> Result<(f64, (f64, SearchEnd)), StudyError> {
    let refuse = |key: &'static keys::Key, why: &str| Err(StudyError::from(setup.error(key, why)));
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
    // The same without a cut: T_B ≤ t_A + dead time + t_B − Δt (derived).
    let uncut = plan.rig.straddle.map(|pair| {
        let [pulse_a, pulse_b] = pair.pulses_s;
        (pair.longest_separation_s() - separation + pulse_b) * pulse_a / pulse_b
    });
    let fits = uncut.filter(|s| (0.0..longest).contains(s) && *s > 0.0);
    let wall = match plan.longest_pulse_by {
        Some(_) if fits.is_none() => SearchEnd::Source,
        _ => SearchEnd::Exposures,
    };
    Ok((separation, (fits.unwrap_or(longest), wall)))
}

/// Rules that a longer pulse may break so that there is no use in measuring, and what they stand
/// for.
const RULES: [(RuleId, SearchEnd); 4] = [
    (RuleId::Saturation, SearchEnd::FullWell),
    (RuleId::SourceOnTime, SearchEnd::Source),
    (RuleId::SourceEnergy, SearchEnd::Source),
    (RuleId::SourceDuty, SearchEnd::Source),
];

/// The longest pulse, s, from the shortest worth trying to the longest that can be, up to which no
/// such rule is broken. Where the shortest breaks one already, the pulse length is not at fault.
fn within_rules(setup: &Setup, standing: &Plan, shortest_s: f64, most: (f64, SearchEnd)) -> (f64, SearchEnd) {
    let broken = |pulse_s: f64| -> Option<SearchEnd> {
        let value = Setup::quantity(pulse_s, Dimension::Time);
        let tried = setup.with(keys::light::PULSE_LENGTH.path, value).ok()?;
        let rules = standing.changed(&tried).ok()?.rules();
        let fails = |id: RuleId| rules.iter().any(|r| r.id == id && r.status == Status::Fail);
        RULES.iter().find(|(id, _)| fails(*id)).map(|(_, wall)| *wall)
    };
    let Some(wall) = broken(most.0).filter(|_| broken(shortest_s).is_none()) else {
        return most;
    };
    let (mut good, mut bad) = (shortest_s, most.0);
    while bad / good > 1.0 + HALVED_TO {
        let middle = (good * bad).sqrt();
        match broken(middle) {
            None => good = middle,
            Some(_) => bad = middle,
        }
    }
    (good, wall)
}

/// How closely that is looked for, a share: what three digits show.
const HALVED_TO: f64 = 1e-3;

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

#[cfg(test)]
mod tests {
    use super::*;
    use motefield_rig::setup::{EMBEDDED, EMBEDDED_NAME};

    fn search(changes: &[(&str, &str)]) -> PulseSearch {
        PulseSearch::of(&Setup::from_text(EMBEDDED_NAME, EMBEDDED, changes).unwrap()).unwrap()
    }

    fn close(found: f64, wanted: f64, share: f64) {
        assert!((found / wanted - 1.0).abs() < share, "{found} {wanted}");
    }

    /// The least of separation less dead time, exposure, on-time, energy over power, and share of
    /// the time over frame rate (closed forms).
    #[test]
    fn what_can_be_built_ends_the_search() {
        let found = |changes: &[(&str, &str)]| search(changes).most;
        let (longest, wall) = found(&[]);
        close(longest, 2.4e-3 - 0.2e-3, 1e-12);
        assert_eq!(wall, SearchEnd::Exposures);
        // Pulse B, 2.4 ms after the start of pulse A, is cut beyond 1.5 + 0.2 + 1.5 - 2.4 ms.
        let (longest, wall) = found(&[("camera.exposure", "1.5 ms")]);
        close(longest, 0.8e-3, 1e-9);
        assert_eq!(wall, SearchEnd::Exposures);
        for (key, value, wanted) in [
            ("light.on_time_limit", "90 us", 90e-6),
            ("light.energy_limit", "0.5 mJ", 0.5e-3 / 2.5),
        ] {
            let (longest, wall) = found(&[(key, value)]);
            close(longest, wanted, 1e-9);
            assert_eq!(wall, SearchEnd::Source, "{key}");
        }
        let duty = [("light.duty_limit", "0.01"), ("camera.frame_rate", "100 Hz")];
        let (longest, wall) = found(&duty);
        close(longest, 0.01 / 100.0, 1e-9);
        assert_eq!(wall, SearchEnd::Source);
    }

    /// At the longest pulse the brightest particles take the whole range, to the share within which
    /// it is looked for; a source four times as strong gets there sooner.
    #[test]
    fn saturation_ends_the_search() {
        let brightest = |power: &str| {
            let found = search(&[("light.power", power)]);
            let (longest_s, wall) = found.most;
            assert_eq!(wall, SearchEnd::FullWell);
            assert!(found.range_s[1] <= longest_s);
            let pulse = Setup::quantity(longest_s, Dimension::Time);
            let setup = found.setup.with(keys::light::PULSE_LENGTH.path, pulse).unwrap();
            let rules = plan(&setup).unwrap().rules();
            let share = rules.iter().find(|r| r.id == RuleId::Saturation).unwrap().value;
            assert!(share <= 1.0 && share > 1.0 - 2.0 * HALVED_TO, "{share}");
            longest_s
        };
        assert!(brightest("400 W") < brightest("100 W"));
    }
}
