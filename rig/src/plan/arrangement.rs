//! Ways to expose the two frames, side by side: how fast a flow each can measure.

use super::straddle::Straddle;
use crate::setup::Setup;

/// One way to expose a pair with pulses of the planned length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arrangement {
    /// Name in JSON files.
    pub name: &'static str,
    /// Name for people.
    pub label: &'static str,
    /// Whether it is the one planned.
    pub planned: bool,
    /// Shortest pulse separation possible, s.
    pub shortest_s: f64,
    /// Speed at which the displacement allowed is reached in that time, m/s.
    pub fastest_m_s: Option<f64>,
    /// Streak at that speed, px.
    pub streak_px: f64,
    /// Pairs per second.
    pub pairs_hz: Option<f64>,
    /// Time in each frame A during which constant light is gathered, s, where stated.
    pub open_s: Option<f64>,
}

/// Speed at which the picture moves by `displacement_px` in `separation_s`, m/s.
pub fn fastest_velocity_m_s(displacement_px: f64, px_per_m: f64, separation_s: f64) -> f64 {
    displacement_px / px_per_m / separation_s
}

/// The four arrangements; those of successive frames only where the frame rate is stated.
/// `allowed_px` is the displacement allowed.
pub(super) fn arrangements(
    setup: &Setup,
    straddle: &Straddle,
    px_per_m: Option<f64>,
    allowed_px: f64,
) -> Vec<Arrangement> {
    let pulse = straddle.pulses_s[0];
    let one = |name, label, planned, shortest_s: f64, pairs_hz, open_s: f64| Arrangement {
        name,
        label,
        planned,
        shortest_s,
        fastest_m_s: px_per_m.map(|scale| fastest_velocity_m_s(allowed_px, scale, shortest_s)),
        streak_px: allowed_px * pulse / shortest_s,
        pairs_hz,
        open_s: Some(open_s).filter(|s| s.is_finite()),
    };
    let rate = setup.camera.frame_rate_hz;
    let pairs = rate.map(|hz| 0.5 * hz);
    let pulsed = Straddle {
        continuous: false,
        ..*straddle
    };
    // With a shutter in place of pulses there is no jitter of the light.
    let shuttered = pulse + straddle.dead_s;
    let exposure = if straddle.continuous {
        f64::INFINITY
    } else {
        straddle.exposures_s[0]
    };
    let mut all = vec![
        one(
            "pulsed-pairs",
            "pulses, one in each of two exposures",
            !straddle.continuous,
            pulsed.shortest_separation_s(),
            pairs,
            exposure,
        ),
        one(
            "continuous-pairs",
            "continuous light, two exposures",
            straddle.continuous,
            shuttered,
            pairs,
            pulse,
        ),
    ];
    if let Some(hz) = rate {
        let period = 1.0 / hz;
        all.push(one(
            "pulsed-series",
            "pulses, one per frame at the frame rate",
            false,
            period,
            Some(hz),
            exposure,
        ));
        if shuttered <= period {
            all.push(one(
                "continuous-series",
                "continuous light, frame after frame",
                false,
                period,
                Some(hz),
                pulse,
            ));
        }
    }
    all
}
