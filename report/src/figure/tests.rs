//! Axes against closed forms, marks against what a reader expects on common ranges.

use super::*;

fn axis(scale: AxisScale, low: f64, high: f64) -> Axis {
    Axis {
        scale,
        range: [low, high],
        place: [100.0, 700.0],
    }
}

fn labels(axis: Axis) -> Vec<String> {
    let ticks = axis.ticks(|v| v.to_string(), |label| text_width(label, 13.0) + 12.0);
    ticks.into_iter().filter_map(|t| t.label).collect()
}

/// Closed form; 1e-9 px is far below a pixel.
#[test]
fn places_follow_the_scale() {
    let log = axis(AxisScale::Log, 1.0, 1000.0);
    for (value, at) in [
        (1.0, 100.0),
        (10.0, 300.0),
        (100.0, 500.0),
        (1000.0, 700.0),
        (0.1, -100.0),
    ] {
        assert!((log.at(value) - at).abs() < 1e-9);
    }
    assert_eq!(log.clamped(1e9), 700.0);
    assert_eq!(log.clamped(-1.0), 100.0);
    assert_eq!(log.clamped(f64::NAN), 100.0);
    assert!((axis(AxisScale::Linear, -1.0, 2.0).at(0.0) - 300.0).abs() < 1e-9);
}

#[test]
fn labels_are_round_and_as_many_as_fit() {
    assert_eq!(
        labels(axis(AxisScale::Log, 1.0, 1000.0)),
        ["1", "2", "5", "10", "20", "50", "100", "200", "500", "1000"]
    );
    assert_eq!(labels(axis(AxisScale::Log, 1e-6, 1.0)).len(), 7);
    assert_eq!(
        labels(axis(AxisScale::Log, 0.9, 2.1)),
        ["1", "1.2", "1.4", "1.6", "1.8", "2"]
    );
    assert_eq!(
        labels(axis(AxisScale::Linear, 0.0, 1.0)),
        [
            "0", "0.1", "0.2", "0.3", "0.4", "0.5", "0.6", "0.7", "0.8", "0.9", "1"
        ]
    );
    assert_eq!(
        labels(axis(AxisScale::Linear, -0.3, 0.3)),
        ["-0.3", "-0.2", "-0.1", "0", "0.1", "0.2", "0.3"]
    );
}

/// Between the labels of a logarithmic axis stand the other multiples of each power of ten, once
/// each and in order.
#[test]
fn marks_between_fill_the_decades() {
    let ticks = axis(AxisScale::Log, 1.0, 100.0).ticks(|v| v.to_string(), |_| 120.0);
    assert_eq!(ticks.len(), 19);
    assert!(ticks.windows(2).all(|t| t[0].at < t[1].at));
}

#[test]
fn texts_that_do_not_fit_shrink_and_then_end_in_dots() {
    let text = "a rather long title";
    let wide = text_width(text, 20.0);
    assert_eq!(fitted(text, 20.0, wide), (text.to_owned(), 20.0));
    let (same, smaller) = fitted(text, 20.0, 0.8 * wide);
    assert!(same == text && (smaller - 16.0).abs() < 1e-9);
    let (cut, size) = fitted(text, 20.0, 0.4 * wide);
    assert!(cut.starts_with("a rath") && cut.ends_with('…') && text_width(&cut, size) <= 0.4 * wide);
    assert_eq!(fitted("", 20.0, 0.0).0, "");
}

/// Names may hold anything; the file stays well-formed (XML 1.0).
#[test]
fn any_text_is_escaped() {
    let mut svg = Svg::new([10.0, 10.0], "a < b & \"c\"\u{0}", "");
    svg.text("<script>", 5.0, [f64::NAN, 1.0], Anchor::Start, "");
    let svg = svg.finish();
    assert!(svg.contains("<title>a &lt; b &amp; &quot;c&quot;\u{fffd}</title>"));
    assert!(svg.contains("x=\"0\" y=\"1\"") && svg.contains("&lt;script&gt;"));
}
