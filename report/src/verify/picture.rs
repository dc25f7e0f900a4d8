//! One picture per case: what was measured over what is expected.
//!
//! Along a sweep of numbers, curves with error bars over the expected curves and their tolerance.
//! For all other cases, each comparison on a line: how far it is from what is expected, in
//! tolerances.

use motefield_evaluator::statistics::Estimate;

use crate::figure::legend::LegendEntry;
use crate::figure::palette::{FAINT, series};
use crate::figure::{
    Anchor, Area, Axis, AxisScale, BOLD, NOTE, Ruler, Side, Svg, TITLE, ends, fill, frame, stroke, tint,
};
use motefield_rig::quantity::digits;
use motefield_study::verify::case::Case;
use motefield_study::verify::case::expectation::{AllowedDifference, Check};
use motefield_study::verify::record::CaseRecord;

const SIZE: [f64; 2] = [760.0, 460.0];

/// The picture of a case as SVG.
pub fn svg(case: &Case, record: &CaseRecord) -> String {
    let quantity = quantity(case);
    let along = case.places.len() > 1 && case.places.iter().all(|p| !p.word);
    let plain = case
        .expectations
        .iter()
        .any(|e| e.quantity == quantity && e.relative_to.is_none());
    if along && plain {
        PlottedCurves::of(case, record, quantity).draw()
    } else {
        super::deviations::svg(case, record)
    }
}

fn quantity(case: &Case) -> &str {
    match &case.drawing.quantity {
        Some(quantity) => quantity,
        None => case
            .expectations
            .iter()
            .find(|e| e.relative_to.is_none())
            .map_or("", |e| e.quantity.as_str()),
    }
}

struct PlottedCurves<'a> {
    case: &'a Case,
    /// By curve: x and figure.
    measured: Vec<Vec<(f64, Estimate)>>,
    quantity: &'a str,
    x: Axis,
    y: Axis,
}

impl<'a> PlottedCurves<'a> {
    fn of(case: &'a Case, record: &'a CaseRecord, quantity: &'a str) -> PlottedCurves<'a> {
        let measured: Vec<Vec<(f64, Estimate)>> = record
            .figures
            .iter()
            .map(|curve| {
                curve
                    .iter()
                    .zip(&case.places)
                    .filter_map(|(figures, place)| Some((place.x, *figures.get(quantity)?)))
                    .collect()
            })
            .collect();
        let scale = |axis: char| {
            if case.drawing.log.contains(axis) {
                AxisScale::Log
            } else {
                AxisScale::Linear
            }
        };
        let (sx, sy) = (scale('x'), scale('y'));
        let good = |v: &f64, scale: AxisScale| v.is_finite() && (scale == AxisScale::Linear || *v > 0.0);
        let xs: Vec<f64> = case.places.iter().map(|p| p.x).filter(|v| good(v, sx)).collect();
        let values = || measured.iter().flatten().map(|p| p.1);
        let centre: Vec<f64> = values().map(|e| e.value).filter(|v| good(v, sy)).collect();
        let [low, high] = ends(centre.iter().copied());
        // Wide intervals are cut so that they do not flatten the curves.
        let reach = 1.5 * (high - low).max(1e-3 * high.abs().max(low.abs()));
        let bars = values()
            .flat_map(|e| [e.lo, e.hi])
            .filter(|v| good(v, sy))
            .map(|v| match sy {
                AxisScale::Linear => v.clamp(low - reach, high + reach),
                AxisScale::Log => v.clamp(low / 5.0, high * 5.0),
            });
        let mut ys: Vec<f64> = bars.chain(centre.iter().copied()).collect();
        ys.extend(
            expected(case, quantity)
                .iter()
                .flat_map(|(_, _, line)| line.iter().map(|p| p.1))
                .filter(|v| good(v, sy)),
        );
        let legend = 24.0 * case.variants.len().div_ceil(3) as f64;
        PlottedCurves {
            case,
            measured,
            quantity,
            x: axis(sx, &xs, [92.0, SIZE[0] - 24.0]),
            y: axis(sy, &ys, [SIZE[1] - 62.0, 40.0 + legend]),
        }
    }

    fn draw(&self) -> String {
        let case = self.case;
        let mut svg = Svg::new(
            SIZE,
            &case.title,
            &format!("{} over {}", self.quantity, case.key.as_deref().unwrap_or("")),
        );
        let middle = 0.5 * SIZE[0];
        svg.text(&case.title, TITLE, [middle, 24.0], Anchor::Middle, BOLD);
        self.frame(&mut svg);
        for line in expected(case, self.quantity) {
            self.expectation(&mut svg, &line);
        }
        for (variant, curve) in self.measured.iter().enumerate() {
            self.curve(&mut svg, curve, series(variant));
        }
        self.legend(&mut svg);
        svg.finish()
    }

    /// What is expected, dashed, in its tolerance; a single point as a short bar.
    fn expectation(&self, svg: &mut Svg, (variant, tolerance, line): &ExpectedLine) {
        let color = series(*variant);
        let line: Vec<(f64, f64)> = line.iter().copied().filter(|p| self.x.holds(p.0)).collect();
        let at = |&(x, v): &(f64, f64)| [self.x.at(x), self.y.clamped(v)];
        let points: Vec<[f64; 2]> = line.iter().map(at).collect();
        let dashed = stroke(color, 1.5) + " stroke-dasharray=\"7 4\" stroke-opacity=\"0.8\"";
        if let Some(tolerance) = tolerance {
            let edge = |side: f64| {
                let moved = move |&(x, v): &(f64, f64)| (x, v + side * tolerance.of(v));
                line.iter().map(moved).map(|p| at(&p)).collect::<Vec<_>>()
            };
            let [upper, lower] = [1.0, -1.0].map(edge);
            let band: Vec<[f64; 2]> = upper.iter().chain(lower.iter().rev()).copied().collect();
            match (&upper[..], &lower[..]) {
                (&[[x, top]], &[[_, bottom]]) => {
                    let x = [x - 9.0, x + 9.0];
                    svg.area(Area { x, y: [top, bottom] }, &tint(color));
                }
                _ => svg.path(&band, true, &tint(color)),
            }
        }
        svg.path(&points, false, &dashed);
        if let [[x, y]] = points[..] {
            let bar = stroke(color, 2.5) + " stroke-opacity=\"0.8\"";
            svg.line([x - 9.0, y], [x + 9.0, y], &bar);
        }
    }

    fn curve(&self, svg: &mut Svg, curve: &[(f64, Estimate)], color: &str) {
        let shown = |p: &&(f64, Estimate)| {
            p.1.value.is_finite()
                && self.x.holds(p.0)
                && (self.y.scale == AxisScale::Linear || p.1.value > 0.0)
        };
        let line: Vec<[f64; 2]> = curve
            .iter()
            .filter(shown)
            .map(|(x, e)| [self.x.at(*x), self.y.clamped(e.value)])
            .collect();
        svg.path(&line, false, &stroke(color, 1.2));
        for (x, e) in curve.iter().filter(shown) {
            let at = self.x.at(*x);
            let bar = [e.lo, e.hi].map(|v| {
                if v.is_nan() {
                    self.y.clamped(e.value)
                } else {
                    self.y.clamped(v)
                }
            });
            let line = stroke(color, 1.3);
            if e.lo != e.hi {
                svg.line([at, bar[0]], [at, bar[1]], &line);
                for y in bar {
                    svg.line([at - 4.0, y], [at + 4.0, y], &line);
                }
            }
            let hint = format!(
                "{} at {}: {} ({} to {})",
                self.quantity,
                digits(*x),
                digits(e.value),
                digits(e.lo),
                digits(e.hi)
            );
            svg.disc([at, self.y.clamped(e.value)], 3.6, &fill(color), &hint);
        }
    }

    fn frame(&self, svg: &mut Svg) {
        let area = Area {
            x: self.x.place,
            y: [self.y.place[1], self.y.place[0]],
        };
        let drawing = &self.case.drawing;
        let key = self.case.key.as_deref().unwrap_or("");
        let x = drawing.x.as_deref().unwrap_or(key);
        let y = drawing.y.as_deref().unwrap_or(self.quantity);
        let rulers = [
            Ruler::new(self.x, Side::Bottom, &digits).titled(x, 46.0),
            Ruler::new(self.y, Side::Left, &digits).titled(y, 72.0),
        ];
        frame(
            svg,
            area,
            area,
            &rulers.map(|ruler| Ruler { grid: true, ..ruler }),
        );
    }

    /// The legend: three entries per row above the frame.
    fn legend(&self, svg: &mut Svg) {
        let [left, right] = self.x.place;
        for (k, variant) in self.case.variants.iter().enumerate() {
            let at = [
                left + (right - left) / 3.0 * (k % 3) as f64,
                46.0 + 22.0 * (k / 3) as f64,
            ];
            let name = match variant.name.as_str() {
                "" => "measured",
                name => name,
            };
            LegendEntry::disc(fill(series(k)), name).draw(svg, at);
        }
        let mut key = svg_key_text(self.case, self.quantity);
        if !key.is_empty() {
            key.insert_str(0, "- - ");
            let at = [right, SIZE[1] - 5.0];
            svg.text(&key, NOTE, at, Anchor::End, &fill(FAINT));
        }
    }
}

fn svg_key_text(case: &Case, quantity: &str) -> String {
    let drawn = case.expectations.iter().find(|e| {
        e.quantity == quantity
            && e.relative_to.is_none()
            && matches!(e.check, Check::Equals(..) | Check::Values(..))
    });
    drawn.map_or(String::new(), |e| {
        format!("expected ({}), shaded: tolerance", e.kind.as_str())
    })
}

/// Number of the curve, tolerance, and places with their values.
type ExpectedLine = (usize, Option<AllowedDifference>, Vec<(f64, f64)>);

/// What is expected of a quantity, by curve, at places close enough to show a formula's shape.
fn expected(case: &Case, quantity: &str) -> Vec<ExpectedLine> {
    let mut all = Vec::new();
    for e in case
        .expectations
        .iter()
        .filter(|e| e.quantity == quantity && e.relative_to.is_none())
    {
        if let Check::Values(values, tolerance) = &e.check {
            for &variant in &e.variants {
                for (&place, &value) in e.places.iter().zip(values) {
                    all.push((variant, Some(*tolerance), vec![(case.places[place].x, value)]));
                }
            }
            continue;
        }
        let (formula, tolerance) = match &e.check {
            Check::Equals(formula, tolerance) => (formula, Some(*tolerance)),
            Check::AtMost(formula) | Check::AtLeast(formula) => (formula, None),
            _ => continue,
        };
        // Nothing is expected between places that are not neighbours.
        if e.places.windows(2).any(|two| two[1] != two[0] + 1) {
            for &variant in &e.variants {
                let constants = &case.variants[variant].constants;
                for &place in &e.places {
                    let x = case.places[place].x;
                    let line = formula.at(x, constants).map(|v| vec![(x, v)]);
                    all.push((variant, tolerance, line.unwrap_or_default()));
                }
            }
            continue;
        }
        let xs: Vec<f64> = e.places.iter().map(|&k| case.places[k].x).collect();
        let [low, high] = ends(xs.iter().copied());
        let log = case.drawing.log.contains('x') && low > 0.0;
        let between = |t: f64| {
            if log {
                low * (high / low).powf(t)
            } else {
                low + (high - low) * t
            }
        };
        let fine: Vec<f64> = match xs.len() {
            1 => xs,
            _ => (0..=80).map(|k| between(f64::from(k) / 80.0)).collect(),
        };
        for &variant in &e.variants {
            let constants = &case.variants[variant].constants;
            let line = fine
                .iter()
                .filter_map(|&x| Some((x, formula.at(x, constants).ok()?)))
                .collect();
            all.push((variant, tolerance, line));
        }
    }
    all
}

/// An axis with a little room at its ends.
fn axis(scale: AxisScale, values: &[f64], place: [f64; 2]) -> Axis {
    let [mut low, mut high] = ends(values.iter().copied());
    if !(low.is_finite() && high.is_finite()) {
        (low, high) = (1.0, 10.0);
    }
    let range = match scale {
        AxisScale::Linear => {
            let room = if high > low {
                0.06 * (high - low)
            } else {
                0.1 * high.abs().max(1e-9)
            };
            [low - room, high + room]
        }
        AxisScale::Log => {
            let room = (high / low).powf(0.06).max(1.1);
            [low / room, high * room]
        }
    };
    Axis { scale, range, place }
}
