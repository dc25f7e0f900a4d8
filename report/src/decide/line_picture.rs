//! One setting as a picture: the error of the velocity over it, with its 95 % intervals.

use crate::answer::QUESTION;
use crate::figure::palette::{FAINT, GREY, VERMILION, series};
use crate::figure::{
    Anchor, Area, Axis, AxisScale, BOLD, NOTE, Ruler, Side, Svg, TITLE, fill, frame, stroke,
};
use crate::format::{named, typeset_all};
use motefield_rig::quantity::short;
use motefield_study::decide::map::Map;
use motefield_study::decide::trial::{MeasuredSetting, Trial};

const SIZE: [f64; 2] = [760.0, 520.0];
const PLOT: Area = Area {
    x: [92.0, 736.0],
    y: [84.0, 430.0],
};
/// Left end of titles and sentences, px.
const LEFT: f64 = 24.0;
/// Room beside the outermost values, a factor.
const ROOM: f64 = 1.1;

fn number(trial: &Trial) -> f64 {
    trial.values[0].number.parse().unwrap_or(f64::NAN)
}

/// Draws the error over the one setting of a map as the content of an SVG file; that of a study
/// that was stopped says with `go_on` how to get it.
pub fn draw(map: &Map, go_on: &str) -> String {
    let key = named(&map.axes[0].key);
    let unit = map.trials.first().map_or("", |t| t.values[0].unit.as_str());
    let title = format!(
        "{}rror of the velocity over {key}",
        if map.stopped { "Unfinished: e" } else { "E" },
    );
    let words = super::map::words(map, go_on);
    let mut svg = Svg::new(SIZE, &title, &words);
    svg.text(&title, TITLE, [LEFT, 34.0], Anchor::Start, BOLD);
    let about = "in % of the mean speed: total error of the displacement, plus what curved paths add";
    svg.text(about, NOTE, [LEFT, 55.0], Anchor::Start, &fill(FAINT));
    let sentence = words
        .lines()
        .find(|line| !line.starts_with(QUESTION))
        .unwrap_or("");
    svg.text(sentence, NOTE, [LEFT, SIZE[1] - 18.0], Anchor::Start, "");
    let mut measured: Vec<(f64, &Trial, &MeasuredSetting)> = map
        .trials
        .iter()
        .filter_map(|t| Some((number(t), t, t.measured()?)))
        .filter(|(x, _, m)| *x > 0.0 && m.relative().value > 0.0)
        .collect();
    measured.sort_by(|a, b| a.0.total_cmp(&b.0));
    let errors = measured.iter().map(|(.., m)| 100.0 * m.relative().value);
    let (Some(first), Some(last)) = (measured.first(), measured.last()) else {
        return svg.finish();
    };
    let (low, high) = (
        errors.clone().fold(f64::INFINITY, f64::min),
        errors.fold(0.0, f64::max),
    );
    let axis = |range: [f64; 2], place| Axis {
        scale: AxisScale::Log,
        range: [range[0] / ROOM, range[1] * ROOM],
        place,
    };
    let x = axis([first.0, last.0], PLOT.x);
    let y = axis([low, high], [PLOT.y[1], PLOT.y[0]]);
    let below = match unit {
        "" => key,
        unit => format!("{key}, {}", typeset_all(unit)),
    };
    let label = |value: f64| short(value);
    let mut rulers = [
        Ruler::new(x, Side::Bottom, &label).titled(&below, 46.0),
        Ruler::new(y, Side::Left, &label).titled("error of the velocity, %", 62.0),
    ];
    rulers.iter_mut().for_each(|ruler| ruler.grid = true);
    frame(&mut svg, PLOT, PLOT, &rulers);
    points(&mut svg, map, &measured, x, y);
    svg.finish()
}

/// The errors with their intervals; a ring at the smallest, grey where too few vectors are valid.
fn points(svg: &mut Svg, map: &Map, measured: &[(f64, &Trial, &MeasuredSetting)], x: Axis, y: Axis) {
    let line: Vec<[f64; 2]> = measured
        .iter()
        .map(|(at, _, m)| [x.at(*at), y.at(100.0 * m.relative().value)])
        .collect();
    svg.path(&line, false, &stroke(series(0), 1.5));
    let best = map.best().map(|(trial, _)| &trial.values);
    for ((_, trial, m), at) in measured.iter().zip(&line) {
        let relative = m.relative();
        let ends = [relative.lo, relative.hi].map(|of| y.clamped(100.0 * of));
        let usable = trial.usable(map.wish.valid).is_some();
        let colour = if usable { series(0) } else { GREY };
        svg.line([at[0], ends[0]], [at[0], ends[1]], &stroke(colour, 1.5));
        let hint = format!("{}: {} %", trial.values[0].text, short(100.0 * relative.value));
        svg.disc(*at, 3.5, &fill(colour), &hint);
        if best == Some(&trial.values) {
            svg.disc(*at, 9.0, &stroke(VERMILION, 2.5), &hint);
        }
    }
}
