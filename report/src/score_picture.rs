//! A score as pictures side by side: where the errors are, how they are distributed, and whether
//! displacements are locked to whole pixels.

use motefield_evaluator::score::FractionClass;
use motefield_rig::quantity::short;

use crate::figure::legend::{self, LegendEntry};
use crate::figure::palette::{BLUE, BY_SIZE, FAINT, GREY, VERMILION, ramp};
use crate::figure::{
    Anchor, Area, Axis, AxisScale, BOLD, HEADING, NOTE, Ruler, Side, Svg, TITLE, fill, frame, stroke, tint,
};

/// What is drawn.
#[derive(Debug, Clone)]
pub struct ScorePicture<'a> {
    /// Where the vectors stand, px.
    pub at_px: &'a [[f64; 2]],
    /// Measured minus true at each place, one list per pair, px; `NaN` where the vector is lost.
    pub errors_px: &'a [Vec<[f64; 2]>],
    /// Width and height of the picture, px.
    pub size_px: [usize; 2],
    /// Fractions of the displacements along x and y, measured and true.
    pub fractions: [Vec<FractionClass>; 2],
}

const SIDE: f64 = 300.0;
const PITCH: f64 = 390.0;
const LEFT: f64 = 78.0;
const TOP: f64 = 100.0;
/// Classes of the histogram.
const CLASSES: usize = 40;

/// Draws the three as the content of an SVG file.
pub fn draw(picture: &ScorePicture) -> String {
    let size = [LEFT + 3.0 * PITCH - 60.0, TOP + SIDE + 100.0];
    let title = "Errors of the vectors, measured minus true";
    let about = "Root mean square error at each place; distribution of the errors along x and y; distribution of the \
                 fractions of the displacements, measured (bars) and true (line): peaks at 0 are peak locking.";
    let mut svg = Svg::new(size, title, about);
    svg.text(title, TITLE, [20.0, 34.0], Anchor::Start, BOLD);
    let panel = |k: usize| Area {
        x: [LEFT + PITCH * k as f64, LEFT + PITCH * k as f64 + SIDE],
        y: [TOP, TOP + SIDE],
    };
    map(&mut svg, panel(0), picture);
    histogram(&mut svg, panel(1), picture.errors_px);
    locking(&mut svg, panel(2), picture);
    svg.finish()
}

fn map(svg: &mut Svg, area: Area, picture: &ScorePicture) {
    let [width, height] = picture.size_px.map(|s| s as f64);
    let scale = SIDE / width.max(height);
    let plot = Area {
        x: [area.x[0], area.x[0] + width * scale],
        y: [area.y[0], area.y[0] + height * scale],
    };
    let mean_square = |k: usize| {
        let found = picture
            .errors_px
            .iter()
            .map(|e| e[k][0].powi(2) + e[k][1].powi(2));
        let found: Vec<f64> = found.filter(|s| s.is_finite()).collect();
        found.iter().sum::<f64>() / found.len() as f64
    };
    let errors: Vec<f64> = (0..picture.at_px.len()).map(|k| mean_square(k).sqrt()).collect();
    let mut sorted: Vec<f64> = errors.iter().copied().filter(|e| e.is_finite()).collect();
    sorted.sort_by(f64::total_cmp);
    let most = sorted
        .get(sorted.len() * 98 / 100)
        .copied()
        .unwrap_or(1.0)
        .max(1e-12);
    let heading = format!("where: white 0, dark {} px and more", short(most));
    svg.text(
        &heading,
        HEADING,
        [plot.x[0], plot.y[0] - 12.0],
        Anchor::Start,
        BOLD,
    );
    let cell = 0.5 * (width * height / picture.at_px.len().max(1) as f64).sqrt() * scale;
    for (at, error) in picture.at_px.iter().zip(&errors) {
        let [x, y] = [
            plot.x[0] + (at[0] + 0.5) * scale,
            plot.y[0] + (at[1] + 0.5) * scale,
        ];
        let square = Area {
            x: [x - cell, x + cell],
            y: [y - cell, y + cell],
        };
        if error.is_finite() {
            svg.area(square, &fill(&ramp(&BY_SIZE, error / most)));
        } else {
            svg.path(
                &[[x - cell, y - cell], [x + cell, y + cell]],
                false,
                &stroke(VERMILION, 1.0),
            );
        }
    }
    svg.area(plot, &stroke(GREY, 1.0));
    let note = "struck out: lost in every pair";
    svg.text(
        note,
        NOTE,
        [plot.x[0], plot.y[1] + 20.0],
        Anchor::Start,
        &fill(FAINT),
    );
}

/// How errors along x and along y are distributed, one list of them per pair, px.
pub(crate) fn histogram(svg: &mut Svg, area: Area, errors_px: &[Vec<[f64; 2]>]) {
    let component = |c: usize| -> Vec<f64> {
        let all = errors_px.iter().flatten().map(|e| e[c]);
        all.filter(|e| e.is_finite()).collect()
    };
    let both = [component(0), component(1)];
    let mut sizes: Vec<f64> = both.iter().flatten().map(|e| e.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let most = sizes
        .get(sizes.len() * 995 / 1000)
        .copied()
        .unwrap_or(1.0)
        .max(1e-9)
        * 1.1;
    let counts = both.each_ref().map(|errors| {
        let mut counts = [0.0; CLASSES];
        for e in errors.iter().filter(|e| e.abs() < most) {
            counts[((e + most) / (2.0 * most) * CLASSES as f64) as usize] += 1.0 / errors.len() as f64;
        }
        counts
    });
    let top = counts.iter().flatten().copied().fold(0.0, f64::max).max(1e-9);
    let x = Axis {
        scale: AxisScale::Linear,
        range: [-most, most],
        place: area.x,
    };
    let y = Axis {
        scale: AxisScale::Linear,
        range: [0.0, 1.1 * top],
        place: [area.y[1], area.y[0]],
    };
    // Ticks are round numbers.
    let label = |v: f64| ((v * 1e9).round() / 1e9).to_string();
    svg.text(
        "how often",
        HEADING,
        [area.x[0], area.y[0] - 12.0],
        Anchor::Start,
        BOLD,
    );
    let rulers = [
        Ruler::new(x, Side::Bottom, &label).titled("error, px", 44.0),
        Ruler::new(y, Side::Left, &label).titled("share of the vectors", 56.0),
    ];
    frame(
        svg,
        area,
        area,
        &rulers.map(|ruler| Ruler { grid: true, ..ruler }),
    );
    for (counts, colour) in counts.iter().zip([BLUE, VERMILION]) {
        let steps = (0..CLASSES).flat_map(|k| {
            let end = |k: usize| x.at(-most + 2.0 * most * k as f64 / CLASSES as f64);
            [[end(k), y.at(counts[k])], [end(k + 1), y.at(counts[k])]]
        });
        svg.path(&steps.collect::<Vec<_>>(), false, &stroke(colour, 1.6));
    }
    let entries = [
        LegendEntry::line(stroke(BLUE, 2.0), "x"),
        LegendEntry::line(stroke(VERMILION, 2.0), "y"),
    ];
    legend::row(svg, [0.5 * (area.x[0] + area.x[1]), area.y[1] + 70.0], &entries);
}

fn locking(svg: &mut Svg, area: Area, picture: &ScorePicture) {
    let all = picture.fractions.iter().flatten();
    let top = all
        .map(|c| c.measured.value.max(c.truth))
        .filter(|v| v.is_finite())
        .fold(1e-9, f64::max);
    let x = Axis {
        scale: AxisScale::Linear,
        range: [-0.5, 0.5],
        place: area.x,
    };
    let y = Axis {
        scale: AxisScale::Linear,
        range: [0.0, 1.1 * top],
        place: [area.y[1], area.y[0]],
    };
    svg.text(
        "peak locking",
        HEADING,
        [area.x[0], area.y[0] - 12.0],
        Anchor::Start,
        BOLD,
    );
    let label = |v: f64| short(v);
    let rulers = [
        Ruler::new(x, Side::Bottom, &label).titled("displacement less whole pixels, px", 44.0),
        Ruler::new(y, Side::Left, &label).titled("share of the vectors", 56.0),
    ];
    frame(svg, area, area, &rulers);
    for (classes, colour) in picture.fractions.iter().zip([BLUE, VERMILION]) {
        let half = 0.5 / classes.len().max(1) as f64;
        for class in classes.iter().filter(|c| c.measured.value.is_finite()) {
            let bar = Area {
                x: [x.at(class.middle_px - half), x.at(class.middle_px + half)],
                y: [y.at(class.measured.value), area.y[1]],
            };
            svg.area(bar, &tint(colour));
        }
        let line: Vec<[f64; 2]> = classes
            .iter()
            .map(|c| [x.at(c.middle_px), y.at(c.truth)])
            .collect();
        svg.path(&line, false, &stroke(colour, 1.6));
    }
    let entries = [
        LegendEntry::line(stroke(BLUE, 2.0), "x, true"),
        LegendEntry::line(stroke(VERMILION, 2.0), "y, true; bars: measured"),
    ];
    legend::row(svg, [0.5 * (area.x[0] + area.x[1]), area.y[1] + 70.0], &entries);
}
