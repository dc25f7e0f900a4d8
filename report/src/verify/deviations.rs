//! The picture of a case without curves: every comparison on its own line.

use crate::figure::palette::{BLUE, GREEN, ORANGE, VERMILION};
use crate::figure::{
    Anchor, Area, Axis, AxisScale, BOLD, NOTE, Ruler, Side, Svg, TITLE, fill, frame, stroke, text_width, tint,
};
use crate::format::typeset;
use motefield_study::verify::case::Case;
use motefield_study::verify::judge::{Comparison, Verdict};
use motefield_study::verify::record::CaseRecord;

/// Every comparison on its own line: its distance from the middle of the range allowed, divided by
/// half of that range.
pub(super) fn svg(case: &Case, record: &CaseRecord) -> String {
    let all = &record.comparisons;
    let name = |c: &Comparison| {
        let parts = [
            case.expectations[c.expectation].name.as_str(),
            c.variant.as_str(),
            c.at.as_str(),
        ];
        parts
            .iter()
            .filter(|p| !p.is_empty())
            .copied()
            .collect::<Vec<_>>()
            .join(", ")
    };
    let widest = all
        .iter()
        .map(|c| text_width(&name(c), NOTE))
        .fold(120.0, f64::max);
    let (left, row) = (widest + 24.0, 21.0);
    let text_of = |c: &Comparison| format!("{} ({})", super::shown(c), super::allowed(c));
    let beside = all
        .iter()
        .map(|c| text_width(&text_of(c), NOTE))
        .fold(0.0, f64::max);
    let size = [left + 280.0 + beside, 90.0 + row * all.len() as f64];
    let mut svg = Svg::new(
        size,
        &case.title,
        "Each figure's distance from what is expected, over its tolerance",
    );
    svg.text(&case.title, TITLE, [size[0] / 2.0, 24.0], Anchor::Middle, BOLD);
    let axis = Axis {
        scale: AxisScale::Linear,
        range: [-3.0, 3.0],
        place: [left, left + 260.0],
    };
    let area = Area {
        x: axis.place,
        y: [40.0, size[1] - 46.0],
    };
    let (top, bottom) = (area.y[0], area.y[1]);
    let allowed = Area {
        x: [axis.at(-1.0), axis.at(1.0)],
        y: area.y,
    };
    svg.area(allowed, &tint(GREEN));
    let middle = axis.at(0.0);
    let dashed = stroke(GREEN, 1.0) + " stroke-dasharray=\"7 4\"";
    svg.line([middle, top], [middle, bottom], &dashed);
    let label = |v: f64| typeset(&v.to_string());
    let title = "distance from what is expected, in tolerances";
    let ruler = Ruler::new(axis, Side::Bottom, &label).titled(title, 40.0);
    frame(&mut svg, area, area, &[ruler]);
    for (k, c) in all.iter().enumerate() {
        let y = top + row * (k as f64 + 0.6);
        svg.text(&name(c), NOTE, [left - 12.0, y + 4.0], Anchor::End, "");
        let color = match c.verdict {
            Verdict::Agrees => BLUE,
            Verdict::Known | Verdict::CannotTell | Verdict::Borderline => ORANGE,
            Verdict::Disagrees | Verdict::Missing => VERMILION,
        };
        let [value, lo, hi] =
            [c.measured.value, c.measured.lo, c.measured.hi].map(|v| axis.clamped(scaled(c, v)));
        svg.line([lo, y], [hi, y], &stroke(color, 1.5));
        svg.disc([value, y], 4.0, &fill(color), "");
        let text = text_of(c);
        svg.text(&text, NOTE, [left + 270.0, y + 4.0], Anchor::Start, "");
    }
    svg.finish()
}

/// The distance from the middle of the range allowed, divided by half of it; for a bound, 1 (or -1)
/// at the bound and one more per bound's size beyond it.
fn scaled(c: &Comparison, value: f64) -> f64 {
    match c.allowed {
        [low, high] if low.is_infinite() => 1.0 + (value - high) / high.abs().max(1e-12),
        [low, high] if high.is_infinite() => -1.0 + (value - low) / low.abs().max(1e-12),
        [low, high] => (value - 0.5 * (low + high)) / (0.5 * (high - low)),
    }
}
