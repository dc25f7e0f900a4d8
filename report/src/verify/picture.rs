//! One picture per case: what was measured over what is expected.
//!
//! Along a sweep of numbers, curves with error bars over the expected curves and their tolerance.
//! For all other cases, each comparison on a line: how far it is from what is expected, in
//! tolerances.

use motefield_evaluator::statistics::Estimate;

use crate::figure::{Anchor, Area, Axis, Scale, Svg, text_width};
use motefield_rig::quantity::digits;
use motefield_study::verify::case::Case;
use motefield_study::verify::expectation::{Check, Tolerance};
use motefield_study::verify::record::CaseRecord;

const SIZE: [f64; 2] = [760.0, 460.0];
const INK: &str = "#222";
/// Distinct also for readers who confuse colours (Okabe and Ito's palette).
const COLORS: [&str; 7] = [
    "#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9", "#000",
];

/// The picture of a case as SVG.
pub fn svg(case: &Case, record: &CaseRecord) -> String {
    let quantity = quantity(case);
    let along = case.places.len() > 1 && case.places.iter().all(|p| !p.word);
    let plain = case
        .expectations
        .iter()
        .any(|e| e.quantity == quantity && e.relative_to.is_none());
    if along && plain {
        Curves::of(case, record, quantity).draw()
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

struct Curves<'a> {
    case: &'a Case,
    /// By curve: x and figure.
    measured: Vec<Vec<(f64, Estimate)>>,
    quantity: &'a str,
    x: Axis,
    y: Axis,
}

impl<'a> Curves<'a> {
    fn of(case: &'a Case, record: &'a CaseRecord, quantity: &'a str) -> Curves<'a> {
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
                Scale::Log
            } else {
                Scale::Linear
            }
        };
        let (sx, sy) = (scale('x'), scale('y'));
        let good = |v: &f64, scale: Scale| v.is_finite() && (scale == Scale::Linear || *v > 0.0);
        let xs: Vec<f64> = case.places.iter().map(|p| p.x).filter(|v| good(v, sx)).collect();
        let values = || measured.iter().flatten().map(|p| p.1);
        let centre: Vec<f64> = values().map(|e| e.value).filter(|v| good(v, sy)).collect();
        let (low, high) = ends(&centre);
        // Wide intervals are cut so that they do not flatten the curves.
        let reach = 1.5 * (high - low).max(1e-3 * high.abs().max(low.abs()));
        let bars = values()
            .flat_map(|e| [e.lo, e.hi])
            .filter(|v| good(v, sy))
            .map(|v| match sy {
                Scale::Linear => v.clamp(low - reach, high + reach),
                Scale::Log => v.clamp(low / 5.0, high * 5.0),
            });
        let mut ys: Vec<f64> = bars.chain(centre.iter().copied()).collect();
        ys.extend(
            expected(case, quantity)
                .iter()
                .flat_map(|(_, _, line)| line.iter().map(|p| p.1))
                .filter(|v| good(v, sy)),
        );
        let legend = 24.0 * case.variants.len().div_ceil(3) as f64;
        Curves {
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
        svg.text(
            &case.title,
            15.0,
            [SIZE[0] / 2.0, 24.0],
            Anchor::Middle,
            "font-weight=\"bold\"",
        );
        self.frame(&mut svg);
        for (variant, tolerance, line) in expected(case, self.quantity) {
            let color = COLORS[variant % COLORS.len()];
            let inside = |p: &(f64, f64)| self.x.holds(p.0);
            let line: Vec<(f64, f64)> = line.into_iter().filter(inside).collect();
            if let Some(tolerance) = tolerance {
                let upper = line
                    .iter()
                    .map(|&(x, v)| [self.x.at(x), self.y.clamped(v + tolerance.of(v))]);
                let lower = line
                    .iter()
                    .rev()
                    .map(|&(x, v)| [self.x.at(x), self.y.clamped(v - tolerance.of(v))]);
                let band: Vec<[f64; 2]> = upper.chain(lower).collect();
                svg.path(&band, true, &format!("fill=\"{color}\" fill-opacity=\"0.13\""));
            }
            let points: Vec<[f64; 2]> = line
                .iter()
                .map(|&(x, v)| [self.x.at(x), self.y.clamped(v)])
                .collect();
            svg.path(&points, false, &format!("fill=\"none\" stroke=\"{color}\" stroke-width=\"1.5\" stroke-dasharray=\"7 4\" stroke-opacity=\"0.8\""));
            if let ([at], Some(tolerance)) = (&points[..], tolerance) {
                let v = line[0].1;
                let [upper, lower] = [1.0, -1.0].map(|side| self.y.clamped(v + side * tolerance.of(v)));
                let area = Area {
                    x: [at[0] - 9.0, at[0] + 9.0],
                    y: [upper, lower],
                };
                svg.area(area, &format!("fill=\"{color}\" fill-opacity=\"0.13\""));
            }
            if let [at] = points[..] {
                svg.line(
                    [at[0] - 9.0, at[1]],
                    [at[0] + 9.0, at[1]],
                    &format!("stroke=\"{color}\" stroke-width=\"2.5\" stroke-opacity=\"0.8\""),
                );
            }
        }
        for (variant, curve) in self.measured.iter().enumerate() {
            self.curve(&mut svg, curve, COLORS[variant % COLORS.len()]);
        }
        self.legend(&mut svg);
        svg.finish()
    }

    fn curve(&self, svg: &mut Svg, curve: &[(f64, Estimate)], color: &str) {
        let shown = |p: &&(f64, Estimate)| {
            p.1.value.is_finite() && self.x.holds(p.0) && (self.y.scale == Scale::Linear || p.1.value > 0.0)
        };
        let line: Vec<[f64; 2]> = curve
            .iter()
            .filter(shown)
            .map(|(x, e)| [self.x.at(*x), self.y.clamped(e.value)])
            .collect();
        svg.path(
            &line,
            false,
            &format!("fill=\"none\" stroke=\"{color}\" stroke-width=\"1.2\""),
        );
        for (x, e) in curve.iter().filter(shown) {
            let at = self.x.at(*x);
            let bar = [e.lo, e.hi].map(|v| {
                if v.is_nan() {
                    self.y.clamped(e.value)
                } else {
                    self.y.clamped(v)
                }
            });
            let stroke = format!("stroke=\"{color}\" stroke-width=\"1.3\"");
            if e.lo != e.hi {
                svg.line([at, bar[0]], [at, bar[1]], &stroke);
                for y in bar {
                    svg.line([at - 4.0, y], [at + 4.0, y], &stroke);
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
            svg.disc(
                [at, self.y.clamped(e.value)],
                3.6,
                &format!("fill=\"{color}\""),
                &hint,
            );
        }
    }

    fn frame(&self, svg: &mut Svg) {
        let [left, right] = self.x.place;
        let [bottom, top] = self.y.place;
        let grid = "stroke=\"#000\" stroke-opacity=\"0.1\"";
        for tick in self.x.ticks(digits, |label| text_width(label, 13.0) + 12.0) {
            if let Some(label) = tick.label {
                svg.line([tick.at, top], [tick.at, bottom + 5.0], grid);
                svg.text(&label, 13.0, [tick.at, bottom + 20.0], Anchor::Middle, "");
            }
        }
        for tick in self.y.ticks(digits, |_| 24.0) {
            if let Some(label) = tick.label {
                svg.line([left - 5.0, tick.at], [right, tick.at], grid);
                svg.text(&label, 13.0, [left - 9.0, tick.at + 4.5], Anchor::End, "");
            }
        }
        let area = Area {
            x: [left, right],
            y: [top, bottom],
        };
        svg.area(area, &format!("fill=\"none\" stroke=\"{INK}\""));
        let key = self.case.key.as_deref().unwrap_or("");
        let x = self.case.drawing.x.as_deref().unwrap_or(key);
        let y = self.case.drawing.y.as_deref().unwrap_or(self.quantity);
        svg.text(
            x,
            14.0,
            [0.5 * (left + right), SIZE[1] - 16.0],
            Anchor::Middle,
            "",
        );
        svg.upright(y, 14.0, [20.0, 0.5 * (top + bottom)], "");
    }

    /// The legend: three entries per row above the frame.
    fn legend(&self, svg: &mut Svg) {
        let width = (self.x.place[1] - self.x.place[0]) / 3.0;
        for (k, variant) in self.case.variants.iter().enumerate() {
            let (x, y) = (
                self.x.place[0] + width * (k % 3) as f64,
                50.0 + 22.0 * (k / 3) as f64,
            );
            let color = COLORS[k % COLORS.len()];
            let name = if variant.name.is_empty() {
                "measured"
            } else {
                &variant.name
            };
            svg.disc([x + 6.0, y - 4.0], 3.6, &format!("fill=\"{color}\""), "");
            svg.text(name, 12.5, [x + 16.0, y], Anchor::Start, "");
        }
        let mut key = svg_key_text(self.case, self.quantity);
        if !key.is_empty() {
            key.insert_str(0, "- - ");
            svg.text(
                &key,
                11.5,
                [self.x.place[1], SIZE[1] - 5.0],
                Anchor::End,
                "fill-opacity=\"0.75\"",
            );
        }
    }
}

fn svg_key_text(case: &Case, quantity: &str) -> String {
    let drawn = case
        .expectations
        .iter()
        .find(|e| e.quantity == quantity && e.relative_to.is_none() && matches!(e.check, Check::Equals(..)));
    drawn.map_or(String::new(), |e| {
        format!("expected ({}), shaded: tolerance", e.kind.as_str())
    })
}

/// A curve's number, its tolerance, and the expected (x, value).
type Line = (usize, Option<Tolerance>, Vec<(f64, f64)>);

/// What is expected of a quantity, as lines fine enough to show a formula's shape.
fn expected(case: &Case, quantity: &str) -> Vec<Line> {
    let mut all = Vec::new();
    for e in case
        .expectations
        .iter()
        .filter(|e| e.quantity == quantity && e.relative_to.is_none())
    {
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
        let (low, high) = ends(&xs);
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

fn ends(values: &[f64]) -> (f64, f64) {
    values
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &v| {
            (l.min(v), h.max(v))
        })
}

/// An axis with some room at its ends.
fn axis(scale: Scale, values: &[f64], place: [f64; 2]) -> Axis {
    let (mut low, mut high) = ends(values);
    if !(low.is_finite() && high.is_finite()) {
        (low, high) = (1.0, 10.0);
    }
    let range = match scale {
        Scale::Linear => {
            let room = if high > low {
                0.06 * (high - low)
            } else {
                0.1 * high.abs().max(1e-9)
            };
            [low - room, high + room]
        }
        Scale::Log => {
            let room = (high / low).powf(0.06).max(1.1);
            [low / room, high * room]
        }
    };
    Axis { scale, range, place }
}
