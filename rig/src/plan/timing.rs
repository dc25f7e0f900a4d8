//! Pulses, exposures and the motion meanwhile.

use motefield_generator::Exposure;

use super::facts::{FactId, Facts};
use super::sampling::Moved;
use super::source;
use crate::keys;
use crate::quantity::{self, Dimension};
use crate::setup::{Setup, SetupError};

/// Length of pulse A: that of the exposure in continuous light.
pub(super) fn pulse_s(setup: &Setup) -> Option<f64> {
    if setup.light.continuous {
        setup.camera.exposure_s
    } else {
        setup.light.pulse_length_s
    }
}

/// Lengths of the exposures of frame A and frame B.
pub(super) fn exposures_s(setup: &Setup) -> Option<[f64; 2]> {
    let a = setup.camera.exposure_s?;
    Some([a, setup.camera.exposure_b_s.unwrap_or(a)])
}

/// Pulse length over pulse separation.
pub(super) fn pulse_fraction(setup: &Setup) -> Result<Option<f64>, SetupError> {
    if setup.image.pulse_fraction.is_some() || setup.image.streak_px.is_some() {
        return Ok(setup.image.pulse_fraction);
    }
    let Some(pulse) = pulse_s(setup) else {
        if setup.light.continuous {
            return Err(setup.error(
                keys::light::CONTINUOUS,
                "makes the exposure the pulse, and camera.exposure is missing: write for example exposure = \"0.5 ms\" under [camera]",
            ));
        }
        return Ok(None);
    };
    let separation = setup.separation_s.ok_or_else(|| {
        setup.error(keys::timing::SEPARATION, "is missing: the streak follows from light.pulse_length over it; write for example separation = \"2 ms\"")
    })?;
    let longest = within_exposures_s(setup).unwrap_or(separation);
    // What fits exactly does so whatever the rounding of the difference.
    if pulse > longest * (1.0 + 1e-9) {
        let limit = quantity::format(longest, Dimension::Time);
        let key = if setup.light.continuous {
            keys::camera::EXPOSURE
        } else {
            keys::light::PULSE_LENGTH
        };
        let ratio = match setup.light.length_ratio {
            Some(ratio) if ratio > 1.0 => " (and light.length_ratio, for pulse B)",
            _ => "",
        };
        return Err(setup.error(
            key,
            format!("is {}, longer than the {limit} that timing.separation, camera.dead_time and camera.exposure leave{ratio}: shorten it or lengthen the separation", quantity::format(pulse, Dimension::Time)),
        ));
    }
    Ok(Some(pulse / separation))
}

/// Pulse A must end before exposure B begins, and each pulse must fit its exposure: T ≤ Δt − dead
/// time, T ≤ exposure, and for pulse B, longer by the length ratio, the same with its exposure and
/// the pulse separation.
fn within_exposures_s(setup: &Setup) -> Option<f64> {
    let separation = setup.separation_s?;
    let ratio = setup.light.length_ratio.unwrap_or(1.0);
    let between = separation - setup.camera.dead_time_s.unwrap_or(0.0);
    let mut longest = between.min(separation / ratio);
    if let (Some([a, b]), false) = (exposures_s(setup), setup.light.continuous) {
        longest = longest.min(a).min(b / ratio);
    }
    Some(longest.max(0.0))
}

/// The longest pulse worth trying, and what limits it where the source does.
pub(super) struct Longest {
    pub(super) pulse_s: f64,
    pub(super) limit: Option<&'static keys::Key>,
}

/// The longest pulse that fits the exposures and that the source bears.
pub(super) fn longest(setup: &Setup) -> Option<Longest> {
    let pulse_s = within_exposures_s(setup)?;
    let bearable = source::longest(setup).filter(|bearable| bearable.pulse_s < pulse_s);
    Some(Longest {
        pulse_s: bearable.map_or(pulse_s, |bearable| bearable.pulse_s),
        limit: bearable.map(|bearable| bearable.key),
    })
}

/// Tells displacements, pulses and the longest streak.
pub(super) fn timing_facts(
    setup: &Setup,
    speeds: &Speeds,
    longest_streak_px: [f64; 2],
    px_per_m: Option<f64>,
    facts: &mut Facts,
) {
    let mut displacement = |id, px| {
        facts.figure(id, px, "px");
    };
    displacement(FactId::FastestDisplacement, speeds.fastest_px);
    displacement(FactId::MeanDisplacement, speeds.mean_px);
    displacement(FactId::SlowestDisplacement, speeds.slowest_px);
    if let Some(separation) = setup.separation_s {
        let mut time = |id, seconds, how: &str| {
            facts.quantity(id, seconds, Dimension::Time).how(how);
        };
        let from_displacement = setup.displacement_px.map_or(String::new(), |px| {
            format!(
                "so that the fastest displacement is the {} px wanted",
                super::facts::short(px)
            )
        });
        time(FactId::Separation, separation, &from_displacement);
        if let Some(pulse) = pulse_s(setup) {
            time(FactId::Pulse, pulse, "");
        }
        if let Some(longest) = longest(setup) {
            let by = longest
                .limit
                .map_or(String::new(), |key| format!("by {}", key.path));
            time(FactId::LongestPulse, longest.pulse_s, &by);
        }
        if let Some(px_per_m) = px_per_m {
            let speed = speeds.fastest_px / px_per_m / separation;
            facts.quantity(FactId::FastestSpeed, speed, Dimension::Speed);
        }
    }
    let streak = longest_streak_px[0].hypot(longest_streak_px[1]);
    facts
        .figure(FactId::LongestStreak, streak, "px")
        .how("fastest displacement x pulse length / pulse separation");
}

/// How far the field moves between the pulses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Speeds {
    /// Mean length of the displacement over the picture, px.
    pub mean_px: f64,
    /// Mean over its fastest tenth, px.
    pub fast_px: f64,
    /// The longest, px.
    pub fastest_px: f64,
    /// The shortest outside bodies, px.
    pub slowest_px: f64,
}

impl Speeds {
    /// Mean streak in the fastest tenth of the field, px.
    pub fn streak_px(&self, exposure: Exposure) -> f64 {
        match exposure {
            Exposure::Fraction(fraction) => fraction * self.fast_px,
            Exposure::Streak([x, y]) => x.hypot(y),
        }
    }

    /// From the motion over the picture.
    pub(super) fn of(moved: &[Moved]) -> Speeds {
        let mut slowest_px = f64::INFINITY;
        let mut lengths: Vec<f64> = moved
            .iter()
            .map(
                |Moved {
                     ends: [a, b], solid, ..
                 }| {
                    let length = (b[0] - a[0]).hypot(b[1] - a[1]);
                    if length < slowest_px && !solid {
                        slowest_px = length;
                    }
                    length
                },
            )
            .collect();
        lengths.sort_by(|a, b| b.total_cmp(a));
        let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
        Speeds {
            mean_px: mean(&lengths),
            fast_px: mean(&lengths[..lengths.len().div_ceil(10)]),
            fastest_px: lengths[0],
            slowest_px: if slowest_px.is_finite() { slowest_px } else { 0.0 },
        }
    }
}
