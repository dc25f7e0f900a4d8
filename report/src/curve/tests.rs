//! The picture of several invented studies: deterministic, well-formed, and no text outside the
//! picture or over another.

use super::*;
use crate::figure::{Anchor, WIDER, middle, palette};

/// A study with a light wall rising as 1/t and a blur wall rising as t.
fn study(pulses: &[f64], light: f64, blur: f64) -> Curve {
    let points: Vec<CurvePoint> = pulses
        .iter()
        .map(|&pulse_s| {
            let scatter = (light / pulse_s).hypot(blur * pulse_s).hypot(0.012);
            let bias = 0.004 + 0.3 * blur * pulse_s;
            let total = scatter.hypot(bias);
            let usable = scatter < 0.6;
            CurvePoint {
                pulse_s,
                streak_px: 0.5 * pulse_s / 100e-6,
                total_px: Estimate {
                    value: total,
                    lo: 0.94 * total,
                    hi: 1.07 * total,
                },
                random_px: 0.8 * scatter,
                local_px: Some(0.6 * scatter),
                bias_px: if pulse_s < 30e-6 { -bias } else { bias },
                valid_fraction: if usable { 0.99 } else { 0.7 },
                usable,
            }
        })
        .collect();
    let best = points
        .iter()
        .filter(|p| p.usable)
        .min_by(|a, b| a.total_px.value.total_cmp(&b.total_px.value))
        .map(|p| Best {
            pulse_s: Estimate {
                value: p.pulse_s,
                lo: p.pulse_s / 1.3,
                hi: p.pulse_s * 1.25,
            },
            total_px: p.total_px.value,
        });
    let inside: Vec<f64> = points
        .iter()
        .filter(|p| p.usable && p.total_px.value <= 0.1)
        .map(|p| p.pulse_s)
        .collect();
    Curve {
        limit_px: 0.1,
        best,
        window_s: inside.first().map(|&first| [first, inside[inside.len() - 1]]),
        unfinished: None,
        title: "Error against pulse length: flume behind a screen bar".into(),
        x_label: "pulse length".into(),
        streak_label: "streak length in the fastest tenth of the field (px)".into(),
        y_label: "displacement error (px)".into(),
        caution: String::new(),
        short_wall: "shorter: light limits".into(),
        long_wall: "longer: blur limits".into(),
        points,
    }
}

fn spread(from: f64, to: f64, count: usize) -> Vec<f64> {
    (0..count)
        .map(|k| from * (to / from).powf(k as f64 / (count - 1) as f64))
        .collect()
}

/// Name and study: what the eye has looked at.
fn gallery() -> Vec<(&'static str, Curve)> {
    let mut one_sided = study(&spread(5e-6, 300e-6, 9), 1e-9, 200.0);
    one_sided.short_wall.clear();
    let mut broken = study(&spread(10e-6, 1e-3, 7), 3e-6, 120.0);
    broken.points[2].total_px.lo = f64::NAN;
    broken.points[3].total_px.hi = f64::INFINITY;
    broken.points[4].total_px.lo = -0.1;
    broken.points[5].bias_px = 0.0;
    broken.points[6].random_px = f64::INFINITY;
    broken.points[0].bias_px = f64::NAN;
    let mut empty = study(&[], 1.0, 1.0);
    empty.short_wall.clear();
    empty.long_wall.clear();
    let mut long = study(&spread(20e-6, 2e-3, 12), 4e-6, 80.0);
    long.title = "A title that is much too long for one line of the picture at its usual size, as titles of files tend to be now & then <here>".into();
    long.short_wall = "shorter: dim particles drown in the sensor's noise, more light would help".into();
    long.long_wall = "longer: streaks smear the correlation peak, shorter separation would help".into();
    let mut end = study(&spread(10e-6, 100e-6, 10), 3e-6, 1.0);
    end.long_wall = "longest pulse the separation allows".into();
    let mut edge = study(&spread(10e-6, 1e-3, 12), 3e-6, 30.0);
    edge.window_s = Some([10e-6, 12e-6]);
    vec![
        ("edge", edge),
        ("both", study(&spread(5e-6, 1.2e-3, 14), 2.2e-6, 180.0)),
        ("three-decades", study(&spread(1e-6, 2e-3, 16), 1.5e-6, 100.0)),
        ("one-wall", one_sided),
        ("nothing", study(&spread(5e-6, 1e-3, 11), 2e-5, 600.0)),
        ("end", end),
        ("single", study(&[120e-6], 2e-6, 180.0)),
        ("broken", broken),
        ("long", long),
        ("empty", empty),
        ("nanoseconds", study(&spread(5e-9, 40e-9, 6), 2e-10, 1e6)),
    ]
}

/// The value of an attribute in one line of the picture.
fn attribute<'a>(line: &'a str, name: &str) -> Option<&'a str> {
    let (_, rest) = line.split_once(&format!(" {name}=\""))?;
    rest.split_once('"').map(|(value, _)| value)
}

fn number(line: &str, name: &str) -> f64 {
    attribute(line, name)
        .and_then(|v| v.parse().ok())
        .unwrap_or_else(|| panic!("no {name} in {line}"))
}

/// Where the texts of a picture lie, and what they say; upright ones turned.
fn texts(svg: &str) -> Vec<(Area, String)> {
    svg.lines()
        .filter(|line| line.starts_with("<text"))
        .map(|line| {
            let (x, y, size) = (number(line, "x"), number(line, "y"), number(line, "font-size"));
            let (_, content) = line.split_once('>').unwrap();
            let content = content
                .strip_suffix("</text>")
                .unwrap()
                .replace("&lt;", "<")
                .replace("&amp;", "&");
            let anchor = match attribute(line, "text-anchor") {
                Some("start") => Anchor::Start,
                Some("middle") => Anchor::Middle,
                _ => Anchor::End,
            };
            let mut area = Area::of_text(&content, size, x, y, anchor);
            if attribute(line, "font-weight") == Some("bold") {
                let more = 0.5 * (WIDER - 1.0) * (area.x[1] - area.x[0]);
                area.x = match anchor {
                    Anchor::Start => [area.x[0], area.x[1] + 2.0 * more],
                    _ => [area.x[0] - more, area.x[1] + more],
                };
            }
            if attribute(line, "transform").is_some() {
                let half = 0.5 * (area.x[1] - area.x[0]);
                area = Area {
                    x: [x - 0.8 * size, x + 0.25 * size],
                    y: [y - half, y + half],
                };
            }
            (area, content)
        })
        .collect()
}

/// The requirement: no text is clipped and none covers another, measured with widths for wide
/// fonts.
#[test]
fn texts_lie_inside_and_apart() {
    for (name, curve) in gallery() {
        let svg = draw(&curve);
        let texts = texts(&svg);
        assert!(texts.len() > 8, "{name}");
        for (k, (a, words)) in texts.iter().enumerate() {
            assert!(
                a.x[0] >= 0.0 && a.x[1] <= SIZE[0] && a.y[0] >= 0.0 && a.y[1] <= SIZE[1],
                "{name}: {words:?} is clipped: {a:?}"
            );
            let in_frame = a.x[0] >= FRAME.x[0] && a.x[1] <= FRAME.x[1];
            assert!(
                in_frame || !words.contains("within"),
                "{name}: {words:?} leaves the frame"
            );
            for (b, others) in &texts[..k] {
                let apart = a.x[1] <= b.x[0] || b.x[1] <= a.x[0] || a.y[1] <= b.y[0] || b.y[1] <= a.y[0];
                assert!(apart, "{name}: {words:?} covers {others:?}");
            }
        }
    }
}

/// Every element is closed, in order; no number is missing; the same study gives the same bytes.
#[test]
fn pictures_are_well_formed_and_the_same_each_time() {
    for (name, curve) in gallery() {
        let svg = draw(&curve);
        assert_eq!(svg, draw(&curve));
        assert!(!svg.contains("NaN") || name == "broken", "{name}");
        let mut open = Vec::new();
        for tag in svg.split('<').skip(1) {
            let (tag, text) = tag.split_once('>').expect("a tag that ends");
            assert!(!text.contains('>'));
            if let Some(closed) = tag.strip_prefix('/') {
                assert_eq!(open.pop(), Some(closed), "{name}");
            } else if !tag.ends_with('/') {
                open.push(tag.split(' ').next().unwrap());
            }
            assert_eq!(tag.matches('"').count() % 2, 0, "{name}: {tag}");
            for coordinate in ["x", "y", "x1", "y1", "x2", "y2", "cx", "cy"] {
                if let Some(value) = attribute(tag, coordinate) {
                    let value: f64 = value.parse().unwrap();
                    assert!((0.0..=900.0).contains(&value), "{name}: {tag}");
                }
            }
        }
        assert!(open.is_empty());
        assert!(svg.contains("<title>Error against") || name == "long");
    }
}

/// Closed form: on logarithmic axes a power law is a straight line, so a study with light alone,
/// error 1e-6 s px over pulse length, falls by the same height over each factor of the pulse
/// length. The marks lie where the axis says (0.01 px of rounding).
#[test]
fn a_power_law_is_a_straight_line() {
    let mut curve = study(&[10e-6, 20e-6, 40e-6, 80e-6], 0.0, 0.0);
    for point in &mut curve.points {
        point.total_px.value = 1e-6 / point.pulse_s;
    }
    let svg = draw(&curve);
    let marks: Vec<[f64; 2]> = svg
        .lines()
        .filter(|line| line.contains("<circle") && line.contains("valid</title>"))
        .map(|line| [number(line, "cx"), number(line, "cy")])
        .collect();
    assert_eq!(marks.len(), 4);
    let steps: Vec<[f64; 2]> = marks
        .windows(2)
        .map(|m| [m[1][0] - m[0][0], m[1][1] - m[0][1]])
        .collect();
    for step in &steps {
        assert!(step[0] > 0.0 && step[1] > 0.0);
        assert!(
            (step[0] - steps[0][0]).abs() <= 0.021 && (step[1] - steps[0][1]).abs() <= 0.021,
            "{steps:?}"
        );
    }
}

/// An error below the axis: its line leaves by the lower edge, on the way to the next point, and an
/// error above the axis stays at the upper edge.
#[test]
fn lines_leave_by_the_lower_edge() {
    let mut curve = study(&[50e-6, 100e-6, 200e-6], 2e-6, 100.0);
    curve.points[1].bias_px = 1e-9;
    curve.points[0].bias_px = 0.03;
    curve.points[0].random_px = 1e9;
    let svg = draw(&curve);
    let line = |color: &str| {
        let path = svg
            .lines()
            .find(|l| l.starts_with("<path d") && l.contains(color) && l.contains("dasharray"));
        let d = attribute(path.unwrap(), "d").unwrap();
        let numbers = d
            .split(['M', 'L', ' '])
            .filter(|n| !n.is_empty())
            .map(|n| n.parse::<f64>().unwrap());
        numbers.collect::<Vec<f64>>()
    };
    let bias = line(palette::GREEN);
    assert_eq!(bias.len(), 4);
    let (from, to) = (bias[0], bias[2]);
    let second = 0.5 * (FRAME.x[0] + FRAME.x[1]);
    assert!(to > from + 20.0 && to < second - 20.0, "{bias:?}");
    assert_eq!(bias[3], FRAME.y[1]);
    assert_eq!(line(palette::VERMILION)[1], FRAME.y[0] + STRIP);
}

/// A logarithmic axis has no place for an error of zero: nothing is drawn there, and what is zero
/// throughout is not in the legend.
#[test]
fn zero_is_not_drawn() {
    let mut curve = study(&[50e-6, 100e-6, 200e-6, 400e-6], 2e-6, 100.0);
    let lines = |curve: &Curve| {
        let svg = draw(curve);
        let of_bias = |l: &&str| l.starts_with("<path d") && l.contains(palette::GREEN);
        (svg.lines().filter(of_bias).count(), svg.contains("|bias|"))
    };
    assert_eq!(lines(&curve), (1, true));
    curve.points[1].bias_px = 0.0;
    assert_eq!(lines(&curve), (1, true));
    curve.points.iter_mut().for_each(|p| p.bias_px = 0.0);
    assert_eq!(lines(&curve), (0, false));
}

/// The streak's axis is the pulse's times a factor: its label 0.5 stands where the pulse makes half
/// a pixel.
#[test]
fn the_upper_axis_follows_the_lower() {
    let curve = study(&spread(5e-6, 1.2e-3, 14), 2.2e-6, 180.0);
    let texts = texts(&draw(&curve));
    let centre = |words: &str, upper: bool| {
        let found = texts
            .iter()
            .find(|(area, text)| text == words && (area.y[1] < 135.0) == upper);
        middle(found.unwrap_or_else(|| panic!("no {words}")).0.x)
    };
    assert!((centre("0.5", true) - centre("100 µs", false)).abs() < 0.02);
    assert!((centre("1", true) - centre("200 µs", false)).abs() < 0.02);
}

#[test]
fn the_picture_says_what_was_decided() {
    let curve = study(&spread(5e-6, 1e-3, 11), 2e-5, 600.0);
    let svg = draw(&curve);
    let unusable = curve.points.iter().filter(|p| !p.usable).count();
    assert_eq!(svg.matches("r=\"4\" fill=\"#fff\"").count(), unusable);
    assert!(svg.contains("too few valid vectors"));
    assert!(svg.contains(">No pulse length stays within 0.1 px<"));
    assert!(svg.contains(
        "<desc>Error against pulse length on logarithmic axes: 11 pulse lengths from 5 µs to 1 ms. The total error is \
         smallest, 0.16 px, at 204 µs. No pulse length stays within 0.1 px. Shorter pulses: shorter: light limits. \
         Longer pulses: longer: blur limits.</desc>"
    ));
    let both = draw(&study(&spread(5e-6, 1.2e-3, 14), 2.2e-6, 180.0));
    assert!(both.contains(">27 µs to 516 µs stay within 0.1 px<") && both.contains(">best: 95.6 µs<"));
    assert!(!both.contains("too few valid vectors"));
}
