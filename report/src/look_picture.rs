//! Pairs at the setting that is recommended, as pictures: vectors over their errors, what is
//! estimated without the truth, and correlation planes.

use motefield_evaluator::VectorField;
use motefield_rig::quantity::short;
use motefield_study::look::{Look, MiddlePlane};

use crate::figure::palette::{BY_SIZE, FAINT, GREY, INK, VERMILION, ramp};
use crate::figure::{Anchor, Area, BOLD, HEADING, NOTE, Svg, TITLE, WIDER, fill, fitted, stroke};
use crate::format::typeset_all;
use crate::score_picture::histogram;

const SIDE: f64 = 372.0;
const LEFT: f64 = 24.0;
const BETWEEN: f64 = 32.0;
const TOP: f64 = 88.0;
/// Colours of a map, and the share of the ramp that they take: ink is read on all of them.
const CLASSES: usize = 12;
const DARKEST: f64 = 0.65;
/// Most arrows along a side.
const ARROWS: usize = 28;

/// Vectors of one pair over their true errors, and beside it the uncertainty that correlation
/// statistics tell without the truth, on the same scale, as the content of an SVG file.
pub fn vectors(look: &Look, uncertainties_px: &[[f64; 2]]) -> String {
    let (height, width) = look.pair.a.dim();
    let per_px = SIDE / width as f64;
    let tall = height as f64 * per_px;
    let size = [2.0 * LEFT + 2.0 * SIDE + BETWEEN, TOP + tall + 64.0];
    let title = "Vectors of one pair, and how far they are wrong";
    let about = "Left: measured vectors over the length of their true errors. Right: the length of the standard uncertainty that correlation statistics tell of the same pictures, without the truth, on the same scale.";
    let mut svg = Svg::new(size, title, about);
    svg.text(title, TITLE, [LEFT, 30.0], Anchor::Start, BOLD);
    part(&mut svg, look);
    let lengths = |all: &[[f64; 2]]| all.iter().map(|[x, y]| x.hypot(*y)).collect::<Vec<f64>>();
    let errors = lengths(&look.errors_px);
    let told = lengths(uncertainties_px);
    let most = quantile(&errors, 0.98).max(1e-9);
    let panel = |k: f64| {
        let left = LEFT + k * (SIDE + BETWEEN);
        Area {
            x: [left, left + SIDE],
            y: [TOP, TOP + tall],
        }
    };
    let root = |all: &[f64]| {
        let found: Vec<f64> = all.iter().filter(|e| e.is_finite()).map(|e| e * e).collect();
        (found.iter().sum::<f64>() / found.len().max(1) as f64).sqrt()
    };
    // Of the same vectors.
    let told_of_valid: Vec<f64> = told
        .iter()
        .zip(&errors)
        .map(|(u, e)| if e.is_finite() { *u } else { f64::NAN })
        .collect();
    for (k, values, words) in [
        (0.0, &errors, "true error"),
        (1.0, &told_of_valid, "estimated uncertainty"),
    ] {
        let area = panel(k);
        let words = format!("{words}, rms {} px", short(root(values)));
        let (words, size) = fitted(&words, HEADING, SIDE / WIDER);
        svg.text(&words, size, [area.x[0], TOP - 14.0], Anchor::Start, BOLD);
        map(&mut svg, area, &look.field, values, most, per_px);
    }
    arrows(&mut svg, panel(0.0), look, per_px);
    scale(&mut svg, [LEFT, TOP + tall + 20.0], most);
    svg.finish()
}

/// Maps of the error over several pairs and how the errors are distributed, as the content of an
/// SVG file.
pub fn errors(looks: &[Look]) -> String {
    let Some(first) = looks.first() else {
        return Svg::new([1.0, 1.0], "", "").finish();
    };
    let (height, width) = first.pair.a.dim();
    let per_px = SIDE / width as f64;
    let tall = (height as f64 * per_px).max(SIDE * 0.7);
    let size = [2.0 * LEFT + 2.0 * SIDE + BETWEEN, TOP + tall + 92.0];
    let title = format!(
        "Errors of the vectors of {} pairs, measured minus true",
        looks.len()
    );
    let about = "Left: root mean square of the error vector at each place. Right: distribution of the errors along x and along y.";
    let mut svg = Svg::new(size, &title, about);
    svg.text(&title, TITLE, [LEFT, 30.0], Anchor::Start, BOLD);
    part(&mut svg, first);
    let mean_square = |k: usize| {
        let all = looks.iter().map(|look| look.errors_px[k]);
        let found: Vec<f64> = all
            .map(|[x, y]| x * x + y * y)
            .filter(|s| s.is_finite())
            .collect();
        found.iter().sum::<f64>() / found.len() as f64
    };
    let values: Vec<f64> = (0..first.errors_px.len())
        .map(|k| mean_square(k).sqrt())
        .collect();
    let most = quantile(&values, 0.98).max(1e-9);
    let area = Area {
        x: [LEFT, LEFT + SIDE],
        y: [TOP, TOP + height as f64 * per_px],
    };
    svg.text("where", HEADING, [LEFT, TOP - 14.0], Anchor::Start, BOLD);
    map(&mut svg, area, &first.field, &values, most, per_px);
    scale(&mut svg, [LEFT, area.y[1] + 20.0], most);
    let left = LEFT + SIDE + BETWEEN + 60.0;
    let plot = Area {
        x: [left, left + SIDE - 60.0],
        y: [TOP, TOP + tall],
    };
    let all: Vec<Vec<[f64; 2]>> = looks.iter().map(|look| look.errors_px.clone()).collect();
    histogram(&mut svg, plot, &all);
    svg.finish()
}

/// What is shown, where that is not the whole picture.
fn part(svg: &mut Svg, look: &Look) {
    if look.is_part() {
        let ((height, width), [wide, high]) = (look.pair.a.dim(), look.picture_px);
        let words = format!("the middle of the picture, {width} x {height} of {wide} x {high} px");
        svg.text(
            &typeset_all(&words),
            NOTE,
            [LEFT, 50.0],
            Anchor::Start,
            &fill(FAINT),
        );
    }
}

/// The value below which this share of the finite values lies; 0 of none.
fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
    sorted.sort_by(f64::total_cmp);
    let place = ((sorted.len() as f64 * share) as usize).min(sorted.len().saturating_sub(1));
    sorted.get(place).copied().unwrap_or(0.0)
}

fn colour(class: usize) -> String {
    ramp(&BY_SIZE, DARKEST * class as f64 / (CLASSES - 1) as f64)
}

/// Values at the windows of a field, from 0, pale, to `most`, dark; windows without one are struck
/// out.
fn map(svg: &mut Svg, area: Area, field: &VectorField, values: &[f64], most: f64, per_px: f64) {
    let half = field.spacing.map(|s| 0.5 * s as f64 * per_px);
    let mut classes = vec![Vec::new(); CLASSES];
    for (vector, value) in field.vectors.iter().zip(values) {
        let [x, y] = [
            area.x[0] + (vector.x_px + 0.5) * per_px,
            area.y[0] + (vector.y_px + 0.5) * per_px,
        ];
        let cell = Area {
            x: [x - half[0], x + half[0]],
            y: [y - half[1], y + half[1]],
        };
        if value.is_finite() {
            let class = (value / most * CLASSES as f64) as usize;
            classes[class.min(CLASSES - 1)].push(cell);
        } else {
            svg.line(
                [cell.x[0], cell.y[0]],
                [cell.x[1], cell.y[1]],
                &stroke(VERMILION, 1.0),
            );
        }
    }
    for (class, cells) in classes.iter().enumerate() {
        svg.areas(cells, &fill(&colour(class)));
    }
    svg.area(area, &stroke(GREY, 1.0));
}

/// What the colours mean.
fn scale(svg: &mut Svg, [left, top]: [f64; 2], most: f64) {
    let wide = 14.0;
    for class in 0..CLASSES {
        let x = left + wide * class as f64;
        let cell = Area {
            x: [x, x + wide],
            y: [top, top + 12.0],
        };
        svg.area(cell, &fill(&colour(class)));
    }
    let words = format!("0 to {} px and more; struck out: lost", short(most));
    let at = [left + wide * CLASSES as f64 + 8.0, top + 10.0];
    svg.text(&words, NOTE, at, Anchor::Start, &fill(FAINT));
}

/// The vectors, as many as the eye tells apart, the longest as long as they are apart.
fn arrows(svg: &mut Svg, area: Area, look: &Look, per_px: f64) {
    let field = &look.field;
    let every = field.columns.max(field.rows).div_ceil(ARROWS).max(1);
    let valid = || {
        field
            .vectors
            .iter()
            .zip(&look.errors_px)
            .filter(|(_, e)| e[0].is_finite())
    };
    let longest = valid().map(|(v, _)| v.dx_px.hypot(v.dy_px)).fold(1e-9, f64::max);
    let apart = (every * field.spacing[0].max(field.spacing[1])) as f64 * per_px;
    let reach = 0.9 * apart / longest;
    for (k, (vector, error)) in field.vectors.iter().zip(&look.errors_px).enumerate() {
        let shown = [k % field.columns, k / field.columns]
            .iter()
            .all(|at| at.is_multiple_of(every));
        if !shown || !error[0].is_finite() {
            continue;
        }
        let from = [
            area.x[0] + (vector.x_px + 0.5) * per_px,
            area.y[0] + (vector.y_px + 0.5) * per_px,
        ];
        let [u, v] = [vector.dx_px * reach, vector.dy_px * reach];
        let tip = [from[0] + u, from[1] + v];
        let side = |turn: f64| [tip[0] - 0.35 * (u - turn * v), tip[1] - 0.35 * (v + turn * u)];
        svg.path(&[from, tip, side(0.5)], false, &stroke(INK, 0.9));
        svg.path(&[tip, side(-0.5)], false, &stroke(INK, 0.9));
    }
    let words = format!("arrows: the longest is {} px", short(longest));
    let at = [area.x[0], area.y[1] + 54.0];
    svg.text(&words, NOTE, at, Anchor::Start, &fill(FAINT));
}

/// Correlation planes of the middle window side by side, each with its name, as the content of an
/// SVG file. A ring stands at the true displacement.
pub fn planes(planes: &[(&str, &MiddlePlane)]) -> String {
    let count = planes.len().max(1) as f64;
    let side = (2.0 * SIDE + BETWEEN - 24.0 * (count - 1.0)) / count;
    let side = side.min(SIDE);
    let size = [2.0 * LEFT + 2.0 * SIDE + BETWEEN, 84.0 + side + 52.0];
    let title = "Correlation planes of the first pass, window in the middle";
    let about = "Pale: least, dark: highest value of each plane. Ring: the true displacement; dashes: no displacement.";
    let mut svg = Svg::new(size, title, about);
    svg.text(title, TITLE, [LEFT, 30.0], Anchor::Start, BOLD);
    for (k, (name, shown)) in planes.iter().enumerate() {
        let left = LEFT + k as f64 * (side + 24.0);
        let name = typeset_all(name);
        svg.text(&name, HEADING, [left, 68.0], Anchor::Start, BOLD);
        let area = Area {
            x: [left, left + side],
            y: [80.0, 80.0 + side],
        };
        plane(&mut svg, area, shown);
        let ratio = match shown.peak_ratio {
            Some(ratio) => format!("highest over second peak: {}", short(ratio)),
            None => "no second peak".to_owned(),
        };
        let at = [left, area.y[1] + 18.0];
        svg.text(&ratio, NOTE, at, Anchor::Start, &fill(FAINT));
    }
    let at = [LEFT, size[1] - 12.0];
    svg.text(about, NOTE, at, Anchor::Start, &fill(FAINT));
    svg.finish()
}

fn plane(svg: &mut Svg, area: Area, shown: &MiddlePlane) {
    let [reach_x, reach_y] = shown.plane.reach();
    let lags = || (-reach_y..=reach_y).flat_map(|j| (-reach_x..=reach_x).map(move |i| (i, j)));
    let values = || {
        lags()
            .map(|(i, j)| shown.plane.at(i, j))
            .filter(|v| v.is_finite())
    };
    let low = values().fold(f32::INFINITY, f32::min);
    let high = values().fold(f32::NEG_INFINITY, f32::max);
    let cell = [reach_x, reach_y].map(|r| (area.x[1] - area.x[0]) / (2 * r + 1) as f64);
    let at = |[i, j]: [f64; 2]| {
        [
            area.x[0] + (i + reach_x as f64 + 0.5) * cell[0],
            area.y[0] + (j + reach_y as f64 + 0.5) * cell[1],
        ]
    };
    let mut classes = vec![Vec::new(); CLASSES];
    for (i, j) in lags() {
        let share = (shown.plane.at(i, j) - low) / (high - low).max(f32::MIN_POSITIVE);
        let class = (share * CLASSES as f32) as usize;
        let [x, y] = at([i as f64, j as f64]);
        classes[class.min(CLASSES - 1)].push(Area {
            x: [x - 0.5 * cell[0], x + 0.5 * cell[0]],
            y: [y - 0.5 * cell[1], y + 0.5 * cell[1]],
        });
    }
    for (class, cells) in classes.iter().enumerate() {
        let share = class as f64 / (CLASSES - 1) as f64;
        svg.areas(cells, &fill(&ramp(&BY_SIZE, share)));
    }
    let [x, y] = at([0.0, 0.0]);
    let dashes = format!("{} stroke-dasharray=\"2 4\"", stroke(GREY, 0.8));
    svg.line([x, area.y[0]], [x, area.y[1]], &dashes);
    svg.line([area.x[0], y], [area.x[1], y], &dashes);
    let inside = |[x, y]: [f64; 2]| x.abs() <= reach_x as f64 && y.abs() <= reach_y as f64;
    if let Some(truth) = shown.truth_px.filter(|truth| inside(*truth)) {
        svg.disc(
            at(truth),
            2.0 * cell[0],
            &stroke(VERMILION, 1.6),
            "true displacement",
        );
    }
    svg.area(area, &stroke(GREY, 1.0));
}

#[cfg(test)]
mod tests {
    use super::*;
    use motefield_evaluator::correlation::Plane;
    use motefield_evaluator::{Vector, VectorStatus};
    use motefield_generator::Pair;
    use ndarray::Array2;

    fn look() -> Look {
        let vector = |k: usize| Vector {
            x_px: 15.5 + 16.0 * (k % 2) as f64,
            y_px: 15.5 + 16.0 * (k / 2) as f64,
            dx_px: 3.0,
            dy_px: 0.0,
            peak_ratio: 3.0,
            status: VectorStatus::Valid,
        };
        let frame = Array2::zeros((48, 48));
        Look {
            picture_px: [48, 48],
            processing: motefield_evaluator::Processing::default(),
            pair: Pair {
                a: frame.clone(),
                b: frame,
            },
            field: VectorField {
                columns: 2,
                rows: 2,
                window: [32, 32],
                spacing: [16, 16],
                vectors: (0..4).map(vector).collect(),
            },
            errors_px: vec![[0.0, 0.0], [0.3, 0.4], [f64::NAN; 2], [0.0, 0.01]],
        }
    }

    /// The greatest error has the darkest colour, none the palest; what is lost is struck out and
    /// has no arrow; root mean squares by hand.
    #[test]
    fn the_map_tells_errors_apart() {
        let svg = vectors(&look(), &[[0.06, 0.08]; 4]);
        assert!(svg.contains(&fill(&colour(0))) && svg.contains(&fill(&colour(CLASSES - 1))));
        assert_eq!(svg.matches(&stroke(INK, 0.9)).count(), 2 * 3, "{svg}");
        // Lost on either side.
        assert_eq!(svg.matches(&stroke(VERMILION, 1.0)).count(), 2);
        // sqrt((0 + 0.25 + 0.0001) / 3)
        assert!(svg.contains("true error, rms 0.289 px"), "{svg}");
        assert!(svg.contains("estimated uncertainty, rms 0.100 px"), "{svg}");
        let both = errors(&[look(), look()]);
        assert!(both.contains("of 2 pairs") && both.contains("share of the vectors"));
    }

    /// The ring stands over the dark cell of a plane with its peak at the truth.
    #[test]
    fn the_ring_stands_on_the_peak() {
        let peak = |x: isize, y: isize| if [x, y] == [3, -2] { 1.0 } else { 0.0 };
        let shown = MiddlePlane {
            plane: Plane::from_fn([16, 16], peak),
            truth_px: Some([3.0, -2.0]),
            peak_ratio: None,
        };
        let svg = planes(&[("best", &shown)]);
        let [reach, _] = shown.plane.reach();
        let cell = SIDE / (2 * reach + 1) as f64;
        let [x, y] = [3, -2].map(|lag| (lag + reach) as f64 * cell + 0.5 * cell);
        let rounded = |v: f64| ((v * 100.0).round() / 100.0).to_string();
        let ring = format!("cx=\"{}\" cy=\"{}\"", rounded(LEFT + x), rounded(80.0 + y));
        assert!(svg.contains(&ring), "{ring} in {svg}");
        assert!(svg.contains("no second peak"));
    }
}
