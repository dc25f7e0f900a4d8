//! A choice from lists as a picture: the error of the velocity of every combination, ranked.

use crate::figure::legend::{LegendEntry, row};
use crate::figure::palette::{BLUE, FAINT, GREY, SKY, VERMILION};
use crate::figure::{
    Anchor, Area, Axis, AxisScale, BOLD, LABEL, NOTE, Ruler, Side, Svg, TITLE, fill, fitted, frame, stroke,
    text_width,
};
use crate::format::named;
use motefield_rig::quantity::short;
use motefield_study::decide::choice::SettingsChoice;
use motefield_study::decide::trial::{MeasuredSetting, Trial};

const WIDTH: f64 = 760.0;
/// Left end of titles and sentences, and right end of the plot, px.
const ENDS: [f64; 2] = [24.0, 736.0];
/// Upper end of the plot, px.
const TOP: f64 = 84.0;
/// Between two combinations, px.
const PITCH: f64 = 18.0;
/// Widest names of combinations, px.
const NAMES: f64 = 300.0;
/// Below the plot: axis, legend and sentence, px.
const BELOW: f64 = 118.0;
/// Combinations drawn; the table holds all.
const MOST: usize = 40;
/// Room beside the outermost values, a factor.
const ROOM: f64 = 1.1;

/// How a combination stands to the best.
#[derive(Clone, Copy, PartialEq)]
enum OptionStanding {
    AsGood,
    Worse,
    LosesVectors,
}

impl OptionStanding {
    const ALL: [(OptionStanding, &'static str, &'static str); 3] = [
        (OptionStanding::AsGood, BLUE, "not distinguishable from the best"),
        (OptionStanding::Worse, SKY, "worse"),
        (OptionStanding::LosesVectors, GREY, "loses too many vectors"),
    ];

    fn of(choice: &SettingsChoice, trial: &Trial, m: &MeasuredSetting) -> OptionStanding {
        let best = choice.best().map(|(_, best)| best);
        match (trial.usable(choice.wish.valid), best) {
            (None, _) => OptionStanding::LosesVectors,
            (Some(_), Some(best)) if m.as_good_as(best) => OptionStanding::AsGood,
            (Some(_), _) => OptionStanding::Worse,
        }
    }

    fn colour(self) -> &'static str {
        let (_, colour, _) = OptionStanding::ALL[self as usize];
        colour
    }
}

/// Draws what was measured of a choice as the content of an SVG file; that of a study that was
/// stopped says with `go_on` how to get the rest.
pub fn draw(choice: &SettingsChoice, go_on: &str) -> String {
    let measured: Vec<(&Trial, &MeasuredSetting)> = (choice.trials.iter())
        .filter_map(|trial| Some((trial, trial.measured()?)))
        .filter(|(_, m)| m.relative().value > 0.0)
        .collect();
    let drawn = &measured[..measured.len().min(MOST)];
    let bottom = TOP + PITCH * (drawn.len().max(1) as f64 + 0.5);
    let keys: Vec<String> = choice.keys.iter().map(|key| named(key)).collect();
    let title = format!(
        "{}rror of the velocity by {}",
        if choice.stopped { "Unfinished: e" } else { "E" },
        keys.join(" and ")
    );
    let words = super::choice::words(choice, go_on);
    let mut svg = Svg::new([WIDTH, bottom + BELOW], &title, &words);
    svg.text(&title, TITLE, [ENDS[0], 34.0], Anchor::Start, BOLD);
    let mut about = "in % of the mean speed, with 95 % intervals".to_owned();
    if drawn.len() < measured.len() {
        about += &format!("; the first {} of {} combinations", drawn.len(), measured.len());
    }
    svg.text(&about, NOTE, [ENDS[0], 55.0], Anchor::Start, &fill(FAINT));
    // What it is worth stands in the answer.
    let sentence = words.lines().next().unwrap_or("");
    let sentence = sentence.split(". ").next().unwrap_or("");
    let (sentence, size) = fitted(sentence, NOTE, ENDS[1] - ENDS[0]);
    let at = [ENDS[0], bottom + BELOW - 18.0];
    svg.text(&sentence, size, at, Anchor::Start, "");
    if drawn.is_empty() {
        return svg.finish();
    }
    rows(&mut svg, choice, drawn, bottom);
    legend(&mut svg, choice, drawn, bottom);
    svg.finish()
}

/// Each combination by its name, with its error and interval; a ring about the best.
fn rows(svg: &mut Svg, choice: &SettingsChoice, drawn: &[(&Trial, &MeasuredSetting)], bottom: f64) {
    let name = |trial: &Trial| {
        let values: Vec<&str> = trial.values.iter().map(|v| v.text.as_str()).collect();
        values.join(", ")
    };
    let widest = (drawn.iter().map(|(trial, _)| text_width(&name(trial), LABEL))).fold(0.0, f64::max);
    let plot = Area {
        x: [ENDS[0] + widest.min(NAMES) + 14.0, ENDS[1]],
        y: [TOP, bottom],
    };
    let ends = drawn.iter().map(|(_, m)| m.relative());
    let low = ends
        .clone()
        .map(|e| e.lo.max(0.5 * e.value))
        .fold(f64::INFINITY, f64::min);
    let high = ends.map(|e| e.hi.min(2.0 * e.value)).fold(0.0, f64::max);
    let x = Axis {
        scale: AxisScale::Log,
        range: [100.0 * low / ROOM, 100.0 * high * ROOM],
        place: plot.x,
    };
    let label = |value: f64| short(value);
    let mut ruler = Ruler::new(x, Side::Bottom, &label).titled("error of the velocity, %", 42.0);
    ruler.grid = true;
    frame(svg, plot, plot, &[ruler]);
    for (k, (trial, m)) in drawn.iter().enumerate() {
        let y = TOP + PITCH * (k as f64 + 0.75);
        let error = m.relative();
        let colour = OptionStanding::of(choice, trial, m).colour();
        let (shown, size) = fitted(&name(trial), LABEL, NAMES);
        svg.text(&shown, size, [plot.x[0] - 8.0, y + 4.5], Anchor::End, "");
        let [from, to] = [error.lo, error.hi].map(|of| x.clamped(100.0 * of));
        svg.line([from, y], [to, y], &stroke(colour, 2.0));
        let at = [x.at(100.0 * error.value), y];
        let hint = format!("{}: {} %", name(trial), short(100.0 * error.value));
        svg.disc(at, 4.0, &fill(colour), &hint);
        if choice.best().is_some_and(|(best, _)| best.values == trial.values) {
            svg.disc(at, 8.0, &stroke(VERMILION, 2.5), &hint);
        }
    }
}

/// What is to be seen, and no more.
fn legend(svg: &mut Svg, choice: &SettingsChoice, drawn: &[(&Trial, &MeasuredSetting)], bottom: f64) {
    let mut entries = Vec::new();
    if choice.best().is_some() {
        entries.push(LegendEntry::disc(stroke(VERMILION, 2.5), "best"));
    }
    for (stands, colour, words) in OptionStanding::ALL {
        if drawn
            .iter()
            .any(|(trial, m)| OptionStanding::of(choice, trial, m) == stands)
        {
            entries.push(LegendEntry::disc(fill(colour), words));
        }
    }
    row(svg, [0.5 * WIDTH, bottom + 70.0], &entries);
}
