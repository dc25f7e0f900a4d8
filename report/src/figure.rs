//! What every plot is made of: linear and logarithmic axes, and a writer of plain SVG.
//!
//! The same input gives the same bytes: no time, no random identifiers, coordinates rounded to 0.01 px. Text is measured with the
//! widths of Helvetica plus a margin, so that layouts hold with the usual substitutes.

use std::fmt::Write;

/// Fonts in order of preference.
const FONTS: &str = "Helvetica, Arial, 'Liberation Sans', sans-serif";

/// How values are spread along an axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// Evenly.
    Linear,
    /// By their logarithm; the range lies above zero.
    Log,
}

/// Values along a line of the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axis {
    /// How values are spread.
    pub scale: Scale,
    /// First and last value; first < last.
    pub range: [f64; 2],
    /// Where the two lie in the picture, px (x, or y which runs down).
    pub place: [f64; 2],
}

/// A mark on an axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Tick {
    /// Where it lies, px.
    pub at: f64,
    /// What it says; nothing on the marks between.
    pub label: Option<String>,
}

impl Axis {
    /// Where a value lies, px; beyond the ends for values outside the range.
    pub fn at(&self, value: f64) -> f64 {
        let [low, high] = self.range;
        let share = match self.scale {
            Scale::Linear => (value - low) / (high - low),
            Scale::Log => (value / low).log10() / (high / low).log10(),
        };
        self.place[0] + share * (self.place[1] - self.place[0])
    }

    /// Where a value lies, moved to the nearer end when it is outside the range (or not a number: to the first).
    pub fn clamped(&self, value: f64) -> f64 {
        let [low, high] = self.range;
        self.at(if value > low { value.min(high) } else { low })
    }

    /// Whether the value lies in the range.
    pub fn holds(&self, value: f64) -> bool {
        (self.range[0]..=self.range[1]).contains(&value)
    }

    /// Marks at round values: as many labels as fit when each takes `room` px along the axis, and marks without labels between on a
    /// logarithmic axis.
    pub fn ticks(&self, label: impl Fn(f64) -> String, room: impl Fn(&str) -> f64) -> Vec<Tick> {
        let fits = |values: &[f64]| {
            let spans: Vec<[f64; 2]> = values
                .iter()
                .map(|&v| (self.at(v), 0.5 * room(&label(v))))
                .map(|(at, half)| [at - half, at + half])
                .collect();
            spans.windows(2).all(|w| w[0][1] <= w[1][0] || w[1][1] <= w[0][0])
        };
        let mut choices = self.choices();
        let labelled = match choices
            .iter()
            .position(|values| values.len() <= 12 && fits(values))
        {
            Some(best) => choices.swap_remove(best),
            None => Vec::new(),
        };
        let between = match self.scale {
            Scale::Linear => Vec::new(),
            Scale::Log => self.steps(&[1, 2, 3, 4, 5, 6, 7, 8, 9]),
        };
        let unlabelled = between
            .into_iter()
            .filter(|v| !labelled.contains(v))
            .map(|v| (v, None));
        let mut marks: Vec<(f64, Option<String>)> = labelled
            .iter()
            .map(|&v| (v, Some(label(v))))
            .chain(unlabelled)
            .collect();
        marks.sort_by(|a, b| a.0.total_cmp(&b.0));
        marks
            .into_iter()
            .map(|(value, label)| Tick {
                at: self.at(value),
                label,
            })
            .collect()
    }

    /// Sets of round values inside the range, the densest first.
    fn choices(&self) -> Vec<Vec<f64>> {
        let [low, high] = self.range;
        if self.scale == Scale::Log && high / low > 6.0 {
            let decades: &[&[u32]] = &[
                &[1, 2, 3, 4, 5, 6, 7, 8, 9],
                &[1, 2, 3, 5, 7],
                &[1, 2, 5],
                &[1, 3],
                &[1],
            ];
            return decades.iter().map(|steps| self.steps(steps)).collect();
        }
        let exponent = (high - low).log10().floor() as i32;
        let steps = [(1, -1), (2, -1), (5, -1), (1, 0), (2, 0), (5, 0)];
        let evenly = |(digit, power): (i32, i32)| {
            let step = decimal(f64::from(digit), exponent + power);
            // The slack keeps an end that is itself round; `holds` has the last word.
            let (first, last) = (
                (low / step - 1e-9).ceil() as i64,
                (high / step + 1e-9).floor() as i64,
            );
            // Multiples as decimals, so that 3 × 0.1 is 0.3.
            (first..=last)
                .map(|k| decimal((k * i64::from(digit)) as f64, exponent + power))
                .filter(|v| self.holds(*v))
                .collect()
        };
        steps.into_iter().map(evenly).collect()
    }

    /// These multiples of each power of ten, inside the range.
    fn steps(&self, digits: &[u32]) -> Vec<f64> {
        let exponents = self.range.map(|v| v.log10().floor() as i32);
        (exponents[0]..=exponents[1])
            .flat_map(|e| digits.iter().map(move |&d| decimal(f64::from(d), e)))
            .filter(|v| self.holds(*v))
            .collect()
    }
}

/// `digits` × 10^`exponent`, rounded once.
fn decimal(digits: f64, exponent: i32) -> f64 {
    format!("{digits}e{exponent}").parse().unwrap_or(f64::NAN)
}

/// Width of a text in regular Helvetica of `size` px (Adobe's font metrics; memory), plus 18 % for wider substitutes.
pub fn text_width(text: &str, size: f64) -> f64 {
    let em: u32 = text
        .chars()
        .map(|c| match c {
            'i' | 'j' | 'l' | '\'' => 222,
            ' ' | '!' | ',' | '.' | '/' | ':' | ';' | 'I' | 'f' | 't' | '[' | ']' | '|' => 278,
            '(' | ')' | '-' | 'r' | '`' | '"' => 345,
            'c' | 'k' | 's' | 'v' | 'x' | 'y' | 'z' | 'J' => 500,
            'w' | 'C' | 'D' | 'H' | 'N' | 'R' | 'U' => 722,
            'm' | 'M' => 833,
            'G' | 'O' | 'Q' => 778,
            '%' | 'W' | '@' => 944,
            'A' | 'B' | 'E' | 'F' | 'K' | 'P' | 'S' | 'T' | 'V' | 'X' | 'Y' | 'Z' => 667,
            '\u{2e80}'.. => 1000,
            _ => 560,
        })
        .sum();
    1.18e-3 * f64::from(em) * size
}

/// A text that is at most `room` px wide: first smaller, down to 0.7 of its `size`, then shorter. The text and its size.
pub fn fitted(text: &str, size: f64, room: f64) -> (String, f64) {
    let fitting = size * (room / text_width(text, size).max(1.0)).clamp(0.7, 1.0);
    if text_width(text, fitting) <= room {
        return (text.to_owned(), fitting);
    }
    let mut kept = text.to_owned();
    while kept.pop().is_some() && text_width(&kept, fitting) + text_width("…", fitting) > room {}
    (kept.trim_end().to_owned() + "…", fitting)
}

/// A rectangle, px.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    /// Left and right, left < right.
    pub x: [f64; 2],
    /// Top and bottom, top < bottom.
    pub y: [f64; 2],
}

impl Area {
    /// The area of a text anchored at (x, y) (`y` its base line).
    pub fn of_text(text: &str, size: f64, x: f64, y: f64, anchor: Anchor) -> Area {
        let width = text_width(text, size);
        let left = match anchor {
            Anchor::Start => x,
            Anchor::Middle => x - 0.5 * width,
            Anchor::End => x - width,
        };
        Area {
            x: [left, left + width],
            y: [y - 0.8 * size, y + 0.25 * size],
        }
    }

    /// Whether the point lies inside, or nearer than `margin`.
    pub fn holds(&self, [x, y]: [f64; 2], margin: f64) -> bool {
        x > self.x[0] - margin && x < self.x[1] + margin && y > self.y[0] - margin && y < self.y[1] + margin
    }
}

/// Which end of a text its place names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// Its beginning.
    Start,
    /// Its middle.
    Middle,
    /// Its end.
    End,
}

/// A picture in the making. Attributes are given as SVG writes them: `r##"stroke="#000""##`.
#[derive(Debug, Clone)]
pub struct Svg {
    text: String,
}

impl Svg {
    /// An empty white picture that tells its `title` and `description` to those who cannot see it.
    pub fn new([width, height]: [f64; 2], title: &str, description: &str) -> Svg {
        let text = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" \
             viewBox=\"0 0 {width} {height}\" role=\"img\" font-family=\"{FONTS}\" fill=\"#222\">\n\
             <title>{}</title>\n<desc>{}</desc>\n<rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>\n",
            escaped(title),
            escaped(description)
        );
        Svg { text }
    }

    /// A straight line.
    pub fn line(&mut self, from: [f64; 2], to: [f64; 2], attributes: &str) {
        let [x1, y1, x2, y2] = [from[0], from[1], to[0], to[1]].map(coordinate);
        self.element(&format!(
            "<line x1=\"{x1}\" y1=\"{y1}\" x2=\"{x2}\" y2=\"{y2}\" {attributes}/>"
        ));
    }

    /// A rectangle.
    pub fn area(&mut self, area: Area, attributes: &str) {
        let [x, y] = [area.x[0], area.y[0]].map(coordinate);
        let [width, height] = [area.x[1] - area.x[0], area.y[1] - area.y[0]].map(coordinate);
        self.element(&format!(
            "<rect x=\"{x}\" y=\"{y}\" width=\"{width}\" height=\"{height}\" {attributes}/>"
        ));
    }

    /// A line through points (`closed`: back to the first). Nothing for fewer than two.
    pub fn path(&mut self, points: &[[f64; 2]], closed: bool, attributes: &str) {
        if points.len() < 2 {
            return;
        }
        let mut d = String::new();
        for (k, point) in points.iter().enumerate() {
            let [x, y] = point.map(coordinate);
            let _ = write!(d, "{}{x} {y}", if k == 0 { 'M' } else { 'L' });
        }
        let end = if closed { "Z" } else { "" };
        self.element(&format!("<path d=\"{d}{end}\" {attributes}/>"));
    }

    /// A disc, with a text that appears when the pointer rests on it (none if empty).
    pub fn disc(&mut self, at: [f64; 2], radius: f64, attributes: &str, hint: &str) {
        let [x, y] = at.map(coordinate);
        let head = format!("<circle cx=\"{x}\" cy=\"{y}\" r=\"{radius}\" {attributes}");
        if hint.is_empty() {
            self.element(&format!("{head}/>"));
        } else {
            self.element(&format!("{head}><title>{}</title></circle>", escaped(hint)));
        }
    }

    /// A text with its base line at `at`.
    pub fn text(&mut self, text: &str, size: f64, [x, y]: [f64; 2], anchor: Anchor, attributes: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let [x, y, size] = [x, y, size].map(coordinate);
        self.element(&format!(
            "<text x=\"{x}\" y=\"{y}\" font-size=\"{size}\" text-anchor=\"{anchor}\" {attributes}>{}</text>",
            escaped(text)
        ));
    }

    /// A text that reads upward, its middle at `at`.
    pub fn upright(&mut self, text: &str, size: f64, at: [f64; 2], attributes: &str) {
        let [x, y] = at.map(coordinate);
        self.text(
            text,
            size,
            at,
            Anchor::Middle,
            &format!("transform=\"rotate(-90 {x} {y})\" {attributes}"),
        );
    }

    /// The picture as a file's content.
    pub fn finish(mut self) -> String {
        self.text.push_str("</svg>\n");
        self.text
    }

    fn element(&mut self, element: &str) {
        self.text
            .push_str(&element.replace(" />", "/>").replace(" >", ">"));
        self.text.push('\n');
    }
}

/// To 0.01 px; what is no number goes to the corner rather than break the file.
fn coordinate(value: f64) -> f64 {
    let rounded = (value * 100.0).round() / 100.0;
    if rounded.is_finite() { rounded + 0.0 } else { 0.0 }
}

fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            // Characters that XML 1.0 does not allow.
            '\0'..='\u{8}' | '\u{b}' | '\u{c}' | '\u{e}'..='\u{1f}' | '\u{fffe}' | '\u{ffff}' => {
                out.push('\u{fffd}')
            }
            _ => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests;
