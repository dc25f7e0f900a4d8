//! The picture of a case without curves: every comparison on its own line.

use crate::figure::{Anchor, Area, Axis, Scale, Svg, text_width};
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
        .map(|c| text_width(&name(c), 12.0))
        .fold(120.0, f64::max);
    let (left, row) = (widest + 24.0, 21.0);
    let text_of = |c: &Comparison| format!("{} ({})", super::shown(c), super::allowed(c));
    let beside = all
        .iter()
        .map(|c| text_width(&text_of(c), 10.5))
        .fold(0.0, f64::max);
    let size = [left + 280.0 + beside, 90.0 + row * all.len() as f64];
    let mut svg = Svg::new(
        size,
        &case.title,
        "Each figure's distance from what is expected, over its tolerance",
    );
    svg.text(
        &case.title,
        15.0,
        [size[0] / 2.0, 24.0],
        Anchor::Middle,
        "font-weight=\"bold\"",
    );
    let axis = Axis {
        scale: Scale::Linear,
        range: [-3.0, 3.0],
        place: [left, left + 260.0],
    };
    let (top, bottom) = (40.0, size[1] - 46.0);
    let allowed = Area {
        x: [axis.at(-1.0), axis.at(1.0)],
        y: [top, bottom],
    };
    svg.area(allowed, "fill=\"#009e73\" fill-opacity=\"0.13\"");
    svg.line(
        [axis.at(0.0), top],
        [axis.at(0.0), bottom],
        "stroke=\"#009e73\" stroke-dasharray=\"7 4\"",
    );
    for mark in [-3, -2, -1, 0, 1, 2, 3] {
        let at = axis.at(f64::from(mark));
        svg.line([at, bottom], [at, bottom + 5.0], "stroke=\"#222\"");
        svg.text(
            &mark.to_string().replace('-', "−"),
            12.0,
            [at, bottom + 18.0],
            Anchor::Middle,
            "",
        );
    }
    svg.line([left, bottom], [left + 260.0, bottom], "stroke=\"#222\"");
    svg.text(
        "distance from what is expected, in tolerances",
        12.5,
        [left + 130.0, bottom + 36.0],
        Anchor::Middle,
        "",
    );
    for (k, c) in all.iter().enumerate() {
        let y = top + row * (k as f64 + 0.6);
        svg.text(&name(c), 12.0, [left - 12.0, y + 4.0], Anchor::End, "");
        let color = match c.verdict {
            Verdict::Agrees => "#0072b2",
            Verdict::CannotTell => "#e69f00",
            Verdict::Disagrees => "#d55e00",
        };
        let [value, lo, hi] =
            [c.measured.value, c.measured.lo, c.measured.hi].map(|v| axis.clamped(scaled(c, v)));
        svg.line(
            [lo, y],
            [hi, y],
            &format!("stroke=\"{color}\" stroke-width=\"1.5\""),
        );
        svg.disc([value, y], 4.0, &format!("fill=\"{color}\""), "");
        let text = text_of(c);
        svg.text(&text, 10.5, [left + 270.0, y + 4.0], Anchor::Start, "");
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
