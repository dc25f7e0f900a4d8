//! The frame, its axes, and what is drawn to scale.

use super::{Curve, CurvePoint, FRAME, PLOT, drawable, time};
use crate::figure::palette::{self, INK, PAPER};
use crate::figure::{
    Anchor, Area, Axis, AxisScale, BOLD, LABEL, Ruler, Side, Svg, ends, fill, frame, stroke, tint,
};
use crate::format::{CANNOT_TELL, pixels};
use motefield_evaluator::statistics::Estimate;

/// The curve on its axes.
pub(super) struct Chart<'a> {
    pub(super) curve: &'a Curve,
    pub(super) points: &'a [CurvePoint],
    pub(super) x: Axis,
    pub(super) y: Axis,
}

impl<'a> Chart<'a> {
    pub(super) fn of(curve: &'a Curve, points: &'a [CurvePoint]) -> Chart<'a> {
        let pulses = points.iter().map(|p| p.pulse_s);
        let totals = || points.iter().map(|p| p.total_px.value);
        let smallest = totals().fold(f64::INFINITY, f64::min);
        let largest = totals().fold(0.0, f64::max);
        // Ends of intervals and components count unless they are so far off that they would flatten
        // the curve.
        let others = points
            .iter()
            .flat_map(|p| {
                let local = p.local_px.unwrap_or(p.random_px);
                [p.total_px.lo, p.total_px.hi, p.random_px, local, p.bias_px.abs()]
            })
            .filter(|v| drawable(*v))
            .map(|v| v.clamp(smallest / 8.0, largest * 2.0));
        let near = smallest / 30.0..largest * 30.0;
        let limit = Some(curve.limit_px).filter(|v| drawable(*v) && (points.is_empty() || near.contains(v)));
        let axis = |range: [f64; 2], place| Axis {
            scale: AxisScale::Log,
            range,
            place,
        };
        Chart {
            curve,
            points,
            x: axis(padded(pulses, 0.06, 0.6), FRAME.x),
            y: axis(
                padded(totals().chain(others).chain(limit), 0.05, 0.6),
                [PLOT.y[1], PLOT.y[0]],
            ),
        }
    }

    pub(super) fn at(&self, pulse_s: f64, error_px: f64) -> [f64; 2] {
        [self.x.at(pulse_s), self.y.clamped(error_px)]
    }

    /// The band of pulse lengths that meet the limit.
    pub(super) fn window(&self, svg: &mut Svg) {
        if let Some(window) = self.curve.window_s {
            let x = window.map(|s| self.x.clamped(s));
            let area = Area { x, y: FRAME.y };
            svg.area(area, &format!("{} fill-opacity=\"0.25\"", fill(palette::YELLOW)));
            for x in x {
                svg.line([x, PLOT.y[0]], [x, PLOT.y[1]], &stroke(palette::ORANGE, 1.0));
            }
        }
    }

    pub(super) fn axes(&self, svg: &mut Svg) {
        let curve = self.curve;
        let with_grid = |ruler| Ruler { grid: true, ..ruler };
        let mut rulers = vec![
            with_grid(Ruler::new(self.x, Side::Bottom, &time).titled(&curve.x_label, 48.0)),
            with_grid(Ruler::new(self.y, Side::Left, &plain).titled(&curve.y_label, 60.0)),
        ];
        if let Some(streak) = self.streak_axis() {
            rulers.push(Ruler::new(streak, Side::Top, &plain).titled(&curve.streak_label, 33.0));
        }
        frame(svg, FRAME, PLOT, &rulers);
    }

    /// The upper axis; none when no streak is known.
    fn streak_axis(&self) -> Option<Axis> {
        let last = self.points.iter().rev().find(|p| drawable(p.streak_px))?;
        let px_per_s = last.streak_px / last.pulse_s;
        Some(Axis {
            range: self.x.range.map(|s| s * px_per_s),
            ..self.x
        })
    }

    pub(super) fn limit(&self, svg: &mut Svg) {
        if self.y.holds(self.curve.limit_px) {
            let y = self.y.at(self.curve.limit_px);
            let dashes = "stroke-dasharray=\"9 5\"";
            svg.line(
                [FRAME.x[0], y],
                [FRAME.x[1], y],
                &format!("{} {dashes}", stroke(INK, 1.5)),
            );
            let beside = FRAME.x[1] + 8.0;
            svg.text("limit", LABEL, [beside, y - 3.0], Anchor::Start, BOLD);
            let limit = pixels(self.curve.limit_px);
            svg.text(&limit, LABEL, [beside, y + 13.0], Anchor::Start, "");
        }
    }

    /// The errors: what lies outside the axis is cut off at its end.
    pub(super) fn lines(&self, svg: &mut Svg) {
        self.intervals(svg);
        for series in &SERIES {
            for (certain, line) in self.runs(series.value) {
                let faded = if certain { "" } else { " stroke-opacity=\"0.4\"" };
                svg.path(&line, false, &(series.stroke() + faded));
            }
            for point in self.points.iter().filter(|p| self.y.holds((series.value)(p))) {
                let faded = if point.usable { "" } else { " fill-opacity=\"0.4\"" };
                let at = self.at(point.pulse_s, (series.value)(point));
                svg.disc(at, 2.2, &(fill(series.colour) + faded), "");
            }
        }
        for point in self.points {
            let at = self.at(point.pulse_s, point.total_px.value);
            svg.disc(at, 4.0, &mark(point.usable), &hint(point));
        }
    }

    /// The intervals of the total error, as a band and as bars.
    fn intervals(&self, svg: &mut Svg) {
        for part in self.points.split(|p| !has_interval(p)) {
            let upper = part.iter().map(|p| self.at(p.pulse_s, p.total_px.hi));
            let lower = part.iter().rev().map(|p| self.at(p.pulse_s, p.total_px.lo));
            let band: Vec<[f64; 2]> = upper.chain(lower).collect();
            svg.path(&band, true, &tint(TOTAL));
        }
        for point in self.points.iter().filter(|p| has_interval(p)) {
            let bar = stroke(TOTAL, 1.2);
            let ends = [point.total_px.hi, point.total_px.lo].map(|v| self.at(point.pulse_s, v));
            svg.line(ends[0], ends[1], &bar);
            for [x, y] in ends {
                svg.line([x - 3.5, y], [x + 3.5, y], &bar);
            }
        }
    }

    /// A line through the points, cut where it leaves the axis and split where it becomes
    /// uncertain: whether both ends of its parts are usable, and its points, px.
    pub(super) fn runs(&self, value: fn(&CurvePoint) -> f64) -> Vec<(bool, Vec<[f64; 2]>)> {
        let mut runs: Vec<(bool, Vec<[f64; 2]>)> = Vec::new();
        for pair in self.points.windows(2) {
            let certain = pair.iter().all(|p| p.usable);
            let [from, to] = [&pair[0], &pair[1]].map(|p| self.on_line(p.pulse_s, value(p)));
            let Some([from, to]) = from.zip(to).and_then(|(from, to)| cut(from, to, self.y.place[0])) else {
                continue;
            };
            match runs.last_mut() {
                Some((same, line)) if *same == certain && line.last() == Some(&from) => line.push(to),
                _ => runs.push((certain, vec![from, to])),
            }
        }
        runs
    }

    /// A point of a line, px. What a logarithmic axis cannot show, such as an error of 0, stays
    /// undrawn.
    fn on_line(&self, pulse_s: f64, error_px: f64) -> Option<[f64; 2]> {
        let [low, high] = self.y.range;
        drawable(error_px).then(|| [self.x.at(pulse_s), self.y.at(error_px.clamp(0.1 * low, high))])
    }

    /// Whether anything of an error is on the axis.
    pub(super) fn shows(&self, value: fn(&CurvePoint) -> f64) -> bool {
        self.points.iter().any(|p| self.y.holds(value(p))) || !self.runs(value).is_empty()
    }
}

/// The colour of the total error.
pub(super) const TOTAL: &str = palette::BLUE;

/// How an error is drawn, and which it is.
pub(super) struct ChartSeries {
    pub(super) colour: &'static str,
    width: f64,
    dashes: &'static str,
    pub(super) value: fn(&CurvePoint) -> f64,
}

impl ChartSeries {
    /// The attributes of its line.
    pub(super) fn stroke(&self) -> String {
        format!(
            "{} stroke-dasharray=\"{}\"",
            stroke(self.colour, self.width),
            self.dashes
        )
    }
}

/// Bias, local bias, random and total error: the total last, on top.
pub(super) const SERIES: [ChartSeries; 4] = [
    ChartSeries {
        colour: palette::GREEN,
        width: 2.0,
        dashes: "2 4",
        value: |p| p.bias_px.abs(),
    },
    ChartSeries {
        colour: palette::PURPLE,
        width: 2.0,
        dashes: "10 3 2 3",
        // What cannot be told is not drawn.
        value: |p| p.local_px.unwrap_or(f64::NAN),
    },
    ChartSeries {
        colour: palette::VERMILION,
        width: 2.0,
        dashes: "8 4",
        value: |p| p.random_px,
    },
    ChartSeries {
        colour: TOTAL,
        width: 2.5,
        dashes: "none",
        value: |p| p.total_px.value,
    },
];

/// The attributes of the mark of a point: full where enough vectors are valid, open elsewhere.
pub(super) fn mark(usable: bool) -> String {
    let ground = if usable { TOTAL } else { PAPER };
    format!("{} stroke=\"{TOTAL}\" stroke-width=\"2\"", fill(ground))
}

/// The shortest decimal.
fn plain(value: f64) -> String {
    value.to_string()
}

/// The part of a line above `bottom` (y runs down); nothing if there is none.
fn cut(from: [f64; 2], to: [f64; 2], bottom: f64) -> Option<[[f64; 2]; 2]> {
    if from[1].min(to[1]) > bottom {
        return None;
    }
    let cut_to = |end: [f64; 2], other: [f64; 2]| {
        if end[1] <= bottom {
            return end;
        }
        let share = (bottom - other[1]) / (end[1] - other[1]);
        [other[0] + share * (end[0] - other[0]), bottom]
    };
    Some([cut_to(from, to), cut_to(to, from)])
}

/// Lowest and highest of positive values with a margin of `share` of their span on either side, at
/// least `decades` apart.
fn padded(values: impl Iterator<Item = f64>, share: f64, decades: f64) -> [f64; 2] {
    let [low, high] = ends(values.map(f64::log10));
    let (low, high) = if low <= high { (low, high) } else { (-1.0, 0.0) };
    let margin = (share * (high - low)).max(0.5 * (decades - (high - low)));
    [low - margin, high + margin].map(|v| 10f64.powf(v))
}

/// Whether the point counts and its interval is known and can be drawn on a logarithmic axis.
pub(super) fn has_interval(point: &CurvePoint) -> bool {
    let Estimate { value, lo, hi } = point.total_px;
    point.usable && drawable(lo) && lo <= value && value <= hi && hi.is_finite()
}

fn hint(point: &CurvePoint) -> String {
    let Estimate { value, lo, hi } = point.total_px;
    format!(
        "{}: total {} ({} to {}), random {}, local bias {}, bias {}, streak {}, {:.1} % of the vectors valid",
        time(point.pulse_s),
        pixels(value),
        pixels(lo),
        pixels(hi),
        pixels(point.random_px),
        point.local_px.map_or(CANNOT_TELL.to_owned(), pixels),
        pixels(point.bias_px),
        pixels(point.streak_px),
        100.0 * point.valid_fraction
    )
}
