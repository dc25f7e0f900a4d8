//! A writer of plain SVG.

use std::fmt::Write;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use super::palette::{INK, PAPER};
use super::text::{escape, text_width};

/// Fonts in order of preference.
const FONTS: &str = "Helvetica, Arial, 'Liberation Sans', sans-serif";

/// Attributes of something filled with a colour.
pub fn fill(colour: &str) -> String {
    format!("fill=\"{colour}\"")
}

/// Attributes of something filled with a colour that lets through what lies below.
pub fn tint(colour: &str) -> String {
    format!("fill=\"{colour}\" fill-opacity=\"0.16\"")
}

/// Attributes of a line of a colour, `width` px wide.
pub fn stroke(colour: &str, width: f64) -> String {
    format!("fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\"")
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

/// A picture in the making. Attributes are given as SVG writes them: [`fill`], [`tint`],
/// [`stroke`].
#[derive(Debug, Clone)]
pub struct Svg {
    text: String,
}

impl Svg {
    /// An empty white picture that tells its `title` and `description` to those who cannot see it.
    pub fn new([width, height]: [f64; 2], title: &str, description: &str) -> Svg {
        let text = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" \
             viewBox=\"0 0 {width} {height}\" role=\"img\" font-family=\"{FONTS}\" fill=\"{INK}\">\n\
             <title>{}</title>\n<desc>{}</desc>\n<rect width=\"{width}\" height=\"{height}\" fill=\"{PAPER}\"/>\n",
            escape(title),
            escape(description)
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

    /// Rectangles that look alike; nothing for none.
    pub fn areas(&mut self, areas: &[Area], attributes: &str) {
        if areas.is_empty() {
            return;
        }
        let mut d = String::new();
        for area in areas {
            let [x, y] = [area.x[0], area.y[0]].map(coordinate);
            let [width, height] = [area.x[1] - area.x[0], area.y[1] - area.y[0]].map(coordinate);
            let _ = write!(d, "M{x} {y}h{width}v{height}h-{width}z");
        }
        self.element(&format!("<path d=\"{d}\" {attributes}/>"));
    }

    /// A line through points (`closed`: and back to the first); nothing for fewer than two.
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

    /// A disc, with a text that appears under the pointer (none if empty).
    pub fn disc(&mut self, at: [f64; 2], radius: f64, attributes: &str, hint: &str) {
        let [x, y] = at.map(coordinate);
        let head = format!("<circle cx=\"{x}\" cy=\"{y}\" r=\"{radius}\" {attributes}");
        if hint.is_empty() {
            self.element(&format!("{head}/>"));
        } else {
            self.element(&format!("{head}><title>{}</title></circle>", escape(hint)));
        }
    }

    /// A picture, given as a PNG file, whose pixels stay sharp.
    pub fn png(&mut self, area: Area, png: &[u8], about: &str) {
        let [x, y] = [area.x[0], area.y[0]].map(coordinate);
        let [width, height] = [area.x[1] - area.x[0], area.y[1] - area.y[0]].map(coordinate);
        self.element(&format!(
            "<image x=\"{x}\" y=\"{y}\" width=\"{width}\" height=\"{height}\" \
             style=\"image-rendering:pixelated\" href=\"data:image/png;base64,{}\"><title>{}</title></image>",
            STANDARD.encode(png),
            escape(about)
        ));
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
            escape(text)
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
