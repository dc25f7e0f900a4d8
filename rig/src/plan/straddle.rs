//! Where the pulses sit against the two exposures of a pair: pulse A late in exposure A, pulse B
//! early in exposure B, and between them the dead time in which the camera sees nothing.

use super::timing::{exposures_s, pulse_s};
use crate::setup::Setup;

/// Standard deviations of jitter that the margin must hold, so that one pulse in 2 million at most
/// is cut (normal law).
const JITTERS: f64 = 5.0;

/// Pulses and exposures of one pair, s; time 0 is the start of pulse A.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Straddle {
    /// Pulse separation, start to start.
    pub separation_s: f64,
    /// Lengths of pulse A and pulse B.
    pub pulses_s: [f64; 2],
    /// From the end of exposure A to the beginning of exposure B.
    pub dead_s: f64,
    /// Lengths of exposure A and exposure B; infinite where they are not stated.
    pub exposures_s: [f64; 2],
    /// Standard deviation of each pulse's time.
    pub jitter_s: f64,
    /// Whether the light is continuous, so that the exposures are the pulses.
    pub continuous: bool,
}

impl Straddle {
    /// Of a rig with pulse and separation.
    pub(super) fn of(setup: &Setup) -> Option<Straddle> {
        let (separation_s, pulse) = (setup.separation_s?, pulse_s(setup)?);
        let stated = exposures_s(setup);
        let continuous = setup.light.continuous;
        let second = match (continuous, stated) {
            (true, Some([_, b])) => b,
            _ => pulse * setup.light.length_ratio.unwrap_or(1.0),
        };
        Some(Straddle {
            separation_s,
            pulses_s: [pulse, second],
            dead_s: setup.camera.dead_time_s.unwrap_or(0.0),
            exposures_s: stated.unwrap_or([f64::INFINITY; 2]),
            jitter_s: setup.light.jitter_s.unwrap_or(0.0),
            continuous,
        })
    }

    /// The latest and the earliest end of exposure A that keep both pulses whole inside their
    /// exposures. Pulse A, from 0 to T_A, needs T_A ≤ g ≤ t_A; pulse B, from Δt to Δt + T_B, needs
    /// Δt + T_B − t_B ≤ g + dead time ≤ Δt (derived).
    fn ends(&self) -> [f64; 2] {
        let [pulse_a, pulse_b] = self.pulses_s;
        let [exposure_a, exposure_b] = self.exposures_s;
        let latest = exposure_a.min(self.separation_s - self.dead_s);
        let earliest = pulse_a.max(self.separation_s + pulse_b - exposure_b - self.dead_s);
        [latest, earliest]
    }

    /// When exposure A ends: in continuous light with its pulse, else such that all four margins
    /// are as wide as can be.
    pub fn gap_s(&self) -> f64 {
        if self.continuous {
            return self.pulses_s[0];
        }
        let [latest, earliest] = self.ends();
        0.5 * (latest + earliest)
    }

    /// Least time between an edge of a pulse and that of its exposure; negative where a pulse is
    /// cut. In continuous light, time left beyond the dead time between the exposures.
    pub fn margin_s(&self) -> f64 {
        let [latest, earliest] = self.ends();
        let margin = if self.continuous {
            self.separation_s - self.pulses_s[0] - self.dead_s
        } else {
            0.5 * (latest - earliest)
        };
        // Exposures that just hold their pulses do, rounding aside.
        if margin.abs() < 1e-9 * self.separation_s {
            0.0
        } else {
            margin
        }
    }

    /// The margin that the jitter asks for.
    pub fn needed_margin_s(&self) -> f64 {
        if self.continuous {
            0.0
        } else {
            JITTERS * self.jitter_s
        }
    }

    /// Shortest pulse separation possible with these pulses: pulse A must be over, and the dead
    /// time, before pulse B begins.
    pub fn shortest_separation_s(&self) -> f64 {
        self.pulses_s[0] + self.dead_s + 2.0 * self.needed_margin_s()
    }

    /// Longest pulse separation for which both exposures still hold their pulse.
    pub fn longest_separation_s(&self) -> f64 {
        let [exposure_a, exposure_b] = self.exposures_s;
        if self.continuous {
            return f64::INFINITY;
        }
        exposure_a + self.dead_s + exposure_b - self.pulses_s[1] - 2.0 * self.needed_margin_s()
    }

    /// From the start of exposure A to the end of exposure B.
    pub fn whole_s(&self) -> f64 {
        if self.continuous {
            return self.separation_s + self.pulses_s[1];
        }
        self.exposures_s[0] + self.dead_s + self.exposures_s[1]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PAIR: Straddle = Straddle {
        separation_s: 10.0,
        pulses_s: [1.0, 1.0],
        dead_s: 2.0,
        exposures_s: [f64::INFINITY; 2],
        jitter_s: 0.0,
        continuous: false,
    };

    /// Worked by hand: between the end of pulse A at 1 and the start of pulse B at 10 lie 9, of
    /// which 2 are dead and 3.5 remain on either side.
    #[test]
    fn dead_time_stands_in_the_middle() {
        assert_eq!((PAIR.gap_s(), PAIR.margin_s()), (4.5, 3.5));
        assert_eq!(PAIR.shortest_separation_s(), 3.0);
        // Exposure A of 3 holds pulse A only if it ends at 3 at most; 2 and 0 remain at its ends if
        // it ends at 3, 1 at both if at 2.
        let short = Straddle {
            exposures_s: [3.0, f64::INFINITY],
            ..PAIR
        };
        assert_eq!((short.gap_s(), short.margin_s()), (2.0, 1.0));
        // Exposures of 4 each and 2 of dead time span 10: pulses 11 from end to end do not fit, by
        // half a unit at either end.
        let tight = Straddle {
            exposures_s: [4.0; 2],
            ..PAIR
        };
        assert_eq!(tight.margin_s(), -0.5);
        assert_eq!(tight.longest_separation_s(), 9.0);
    }

    /// The margins found are those that trying every place of the dead time finds, for unequal
    /// pulses and exposures.
    #[test]
    fn no_other_place_has_a_wider_margin() {
        for exposures_s in [[5.0, 5.0], [4.0, 9.0], [9.0, 7.5], [12.0, 12.0]] {
            let pair = Straddle {
                pulses_s: [1.0, 2.0],
                exposures_s,
                ..PAIR
            };
            let margin = |gap: f64| {
                let second = gap + pair.dead_s;
                [
                    gap - 1.0,
                    exposures_s[0] - gap,
                    10.0 - second,
                    second + exposures_s[1] - 12.0,
                ]
                .into_iter()
                .fold(f64::INFINITY, f64::min)
            };
            let tried = (-2000..2000)
                .map(|k| margin(0.01 * f64::from(k)))
                .fold(f64::NEG_INFINITY, f64::max);
            assert!(
                (tried - pair.margin_s()).abs() < 0.011,
                "{exposures_s:?}: {tried} {}",
                pair.margin_s()
            );
            assert!((margin(pair.gap_s()) - pair.margin_s()).abs() < 1e-12);
        }
    }
}
