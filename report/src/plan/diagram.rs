//! The timing diagram: pulses, exposures and dead time of one pair, every edge at its time.
//!
//! Pulses of nanoseconds in exposures of milliseconds cannot be drawn to scale. Spans between
//! neighbouring edges are drawn as long as a power of their duration, the largest power (at most 1,
//! to scale) that leaves the shortest of them room for its label.

mod svg;
mod text;

use crate::format::{time, time_to};
use motefield_rig::plan::Straddle;
use motefield_rig::quantity::short;

pub use svg::draw;
pub use text::text;

/// What time 0 is.
const ORIGIN: &str = "Time 0 is the start of pulse A.";

/// Whether the picture is to scale, in a sentence.
fn scale_words(to_scale: bool) -> &'static str {
    match to_scale {
        true => "To scale.",
        false => "Not to scale: long spans are shortened.",
    }
}

/// When something begins and ends, s; time 0 is the start of pulse A. An end that is not stated is
/// infinite.
#[derive(Debug, Clone, PartialEq)]
pub struct Span {
    /// What lasts so long: a pulse, an exposure.
    pub name: String,
    /// Beginning and end.
    pub time_s: [f64; 2],
}

/// A row of the diagram.
#[derive(Debug, Clone, PartialEq)]
pub struct Lane {
    /// What it shows.
    pub name: &'static str,
    /// Whether it shows the light.
    pub is_light: bool,
    /// When it is on.
    pub spans: Vec<Span>,
}

/// An instant at which something begins or ends.
#[derive(Debug, Clone, PartialEq)]
pub struct Switching {
    /// When, s.
    pub time_s: f64,
    /// What happens, in words.
    pub events: Vec<String>,
}

/// The pair in time.
#[derive(Debug, Clone, PartialEq)]
pub struct Diagram {
    /// Light, then the camera's exposures.
    pub lanes: Vec<Lane>,
    /// Durations to be marked between two edges.
    pub measures: Vec<Span>,
    /// All edges in their order.
    pub edges: Vec<Switching>,
    /// What the picture means, in a sentence or two.
    pub notes: Vec<String>,
}

impl Diagram {
    /// Of a pair; `frame_rate_hz` where it is stated.
    pub fn of(straddle: &Straddle, frame_rate_hz: Option<f64>) -> Diagram {
        let (separation, gap) = (straddle.separation_s, straddle.gap_s());
        let [pulse_a, pulse_b] = straddle.pulses_s;
        let span = |name: &str, from: f64, to: f64| Span {
            name: name.to_owned(),
            time_s: [from, to],
        };
        let exposures = if straddle.continuous {
            [
                span("exposure A", 0.0, pulse_a),
                span("exposure B", separation, separation + pulse_b),
            ]
        } else {
            let [a, b] = straddle.exposures_s;
            let second = gap + straddle.dead_s;
            [
                span("exposure A", gap - a, gap),
                span("exposure B", second, second + b),
            ]
        };
        let light = if straddle.continuous {
            vec![span("continuous light", f64::NEG_INFINITY, f64::INFINITY)]
        } else {
            vec![
                span("pulse A", 0.0, pulse_a),
                span("pulse B", separation, separation + pulse_b),
            ]
        };
        let closed = [exposures[0].time_s[1], exposures[1].time_s[0]];
        let mut measures = vec![span("pulse separation", 0.0, separation)];
        if closed[1] > closed[0] {
            let name = if straddle.continuous {
                "between the exposures"
            } else {
                "dead time"
            };
            measures.push(span(name, closed[0], closed[1]));
        }
        let lanes = vec![
            Lane {
                name: "light",
                is_light: true,
                spans: light,
            },
            Lane {
                name: "camera",
                is_light: false,
                spans: exposures.to_vec(),
            },
        ];
        Diagram {
            edges: edges(&lanes),
            notes: notes(straddle, frame_rate_hz),
            lanes,
            measures,
        }
    }

    /// Places of all edges from 0 to 1, and whether they are to scale; `least` is the room of the
    /// shortest span. Beyond the first and the last edge, `least` is left on either side.
    fn places(&self, least: f64) -> (Vec<f64>, bool) {
        let spans: Vec<f64> = self
            .edges
            .windows(2)
            .map(|pair| pair[1].time_s - pair[0].time_s)
            .collect();
        let room = 1.0 - 2.0 * least;
        let widths = |power: f64| -> Vec<f64> {
            let raised: Vec<f64> = spans.iter().map(|s| s.powf(power)).collect();
            let sum: f64 = raised.iter().sum();
            raised.iter().map(|r| room * r / sum).collect()
        };
        let fits = |power: f64| widths(power).iter().all(|w| *w >= least);
        // The room of the shortest span shrinks with the power, so halving finds the largest one
        // that fits.
        let power = if fits(1.0) {
            1.0
        } else {
            let (mut low, mut high) = (0.0, 1.0);
            for _ in 0..40 {
                let middle = 0.5 * (low + high);
                if fits(middle) { low = middle } else { high = middle }
            }
            low
        };
        let mut places = vec![least];
        for width in widths(power) {
            places.push(places[places.len() - 1] + width);
        }
        (places, power == 1.0)
    }

    /// Where an instant lies: at its edge, or beyond both ends.
    fn place(&self, places: &[f64], time_s: f64) -> f64 {
        match time_s {
            t if t == f64::NEG_INFINITY => 0.0,
            t if t == f64::INFINITY => 1.0,
            t => {
                let nearest = |k: &usize, l: &usize| {
                    let off = |k: usize| (self.edges[k].time_s - t).abs();
                    off(*k).total_cmp(&off(*l))
                };
                (0..self.edges.len()).min_by(nearest).map_or(0.0, |k| places[k])
            }
        }
    }
}

/// All beginnings and ends in their order; those at the same time are one edge.
fn edges(lanes: &[Lane]) -> Vec<Switching> {
    let mut all: Vec<(f64, String)> = lanes
        .iter()
        .flat_map(|lane| &lane.spans)
        .flat_map(|span| {
            let [from, to] = span.time_s;
            [
                (from, format!("{} begins", span.name)),
                (to, format!("{} ends", span.name)),
            ]
        })
        .filter(|(time, _)| time.is_finite())
        .collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let whole = match (all.first(), all.last()) {
        (Some(first), Some(last)) => last.0 - first.0,
        _ => 0.0,
    };
    let mut edges: Vec<Switching> = Vec::new();
    for (time_s, event) in all {
        match edges.last_mut() {
            // Rounding aside, the same instant.
            Some(edge) if time_s - edge.time_s <= 1e-12 * whole => edge.events.push(event),
            _ => edges.push(Switching {
                time_s,
                events: vec![event],
            }),
        }
    }
    edges
}

impl Diagram {
    /// The time of an edge, with as many digits as tell it from its neighbours, but at least three.
    fn label(&self, k: usize) -> String {
        let at = |k: usize, digits| time_to(self.edges[k].time_s, digits);
        let before = |digits| k == 0 || at(k - 1, digits) != at(k, digits);
        let after = |digits| k + 1 == self.edges.len() || at(k + 1, digits) != at(k, digits);
        let digits = (3..12)
            .find(|&digits| before(digits) && after(digits))
            .unwrap_or(12);
        at(k, digits)
    }
}

fn notes(straddle: &Straddle, frame_rate_hz: Option<f64>) -> Vec<String> {
    let mut notes = Vec::new();
    let margin = straddle.margin_s();
    if straddle.continuous {
        notes.push(format!(
            "In continuous light the exposures are the pulses; {} remain between them beyond the dead time.",
            time(margin)
        ));
    } else if margin >= 0.0 {
        notes.push(format!(
            "The dead time lies where all edges have the widest margin: each pulse may be {} early or late.",
            time(margin)
        ));
    } else {
        notes.push(format!(
            "The pulses do not fit the exposures: they are cut by {}.",
            time(-margin)
        ));
    }
    if !straddle.exposures_s[0].is_finite() {
        notes.push(
            "The exposures' lengths are not stated (camera.exposure), so their outer ends are open."
                .to_owned(),
        );
    }
    notes.push(format!(
        "Shortest pulse separation possible with this pulse: {}.",
        time(straddle.shortest_separation_s())
    ));
    if let Some(hz) = frame_rate_hz {
        notes.push(format!(
            "At {} frames per second, {} pairs per second: the next pair begins {} after this one.",
            short(hz),
            short(0.5 * hz),
            time(2.0 / hz)
        ));
    }
    notes
}

#[cfg(test)]
mod tests {
    use super::*;

    fn straddle(separation_s: f64, pulse_s: f64, exposure_s: f64) -> Straddle {
        Straddle {
            separation_s,
            pulses_s: [pulse_s; 2],
            dead_s: 0.5e-6,
            exposures_s: [exposure_s; 2],
            jitter_s: 0.0,
            continuous: false,
        }
    }

    /// Edges as an experimenter would work them out: gap of 0.5 us in the middle of what pulse A
    /// and pulse B leave, 10 us - 8 ns.
    #[test]
    fn edges_carry_their_times() {
        let diagram = Diagram::of(&straddle(10e-6, 8e-9, 5e-3), None);
        let labels: Vec<String> = (0..diagram.edges.len()).map(|k| diagram.label(k)).collect();
        assert_eq!(
            labels,
            [
                "-5 ms", "0 s", "8 ns", "4.75 us", "5.25 us", "10 us", "10.01 us", "5.01 ms"
            ]
        );
        let drawn = draw(&diagram, "t");
        for label in labels {
            assert!(
                drawn.contains(&format!(
                    ">{}</text>",
                    label.replace("us", "µs").replace('-', "\u{2212}")
                )),
                "{label}"
            );
        }
    }

    /// All spans have their room, in their order, whatever their durations; equal ones are to
    /// scale.
    #[test]
    fn places_rise_and_leave_room() {
        for (separation, pulse, exposure) in [
            (10e-6, 5e-9, 5e-3),
            (2e-3, 1e-3, 5e-3),
            (1e-3, 0.9e-3, 1e-3),
            (1.0, 1e-9, f64::INFINITY),
        ] {
            let diagram = Diagram::of(&straddle(separation, pulse, exposure), Some(10.0));
            let (places, _) = diagram.places(0.08);
            assert_eq!(places.len(), diagram.edges.len());
            assert!(places.windows(2).all(|w| w[1] - w[0] > 0.0799), "{places:?}");
            assert!(places[places.len() - 1] < 0.9201, "{places:?}");
            assert!(text(&diagram).lines().all(|line| line.chars().count() <= 120));
        }
    }
}
