//! Legends: a swatch of each line or mark, and what it means.

use super::text::{LABEL, text_width};
use super::{Anchor, Svg};

/// Draws a swatch about a point.
pub type Swatch<'a> = Box<dyn Fn(&mut Svg, [f64; 2]) + 'a>;

/// A line or mark and what it means.
pub struct LegendEntry<'a> {
    /// The swatch.
    pub swatch: Swatch<'a>,
    /// Width of the swatch, px.
    pub wide: f64,
    /// What it means.
    pub words: &'a str,
}

/// Between a swatch and its words, px.
const BESIDE: f64 = 6.0;
/// Between two entries of a row, px.
const GAP: f64 = 22.0;
/// Radius of a disc in a legend, px.
const RADIUS: f64 = 4.5;

/// A piece of a line of these attributes, `wide` px long.
pub fn line<'a>(wide: f64, attributes: String) -> Swatch<'a> {
    Box::new(move |svg, [x, y]| svg.line([x - 0.5 * wide, y], [x + 0.5 * wide, y], &attributes))
}

/// A disc of these attributes.
pub fn disc<'a>(attributes: String) -> Swatch<'a> {
    Box::new(move |svg, at| svg.disc(at, RADIUS, &attributes, ""))
}

impl<'a> LegendEntry<'a> {
    /// A line of these attributes and what it means.
    pub fn line(attributes: String, words: &'a str) -> LegendEntry<'a> {
        let wide = 24.0;
        LegendEntry {
            swatch: line(wide, attributes),
            wide,
            words,
        }
    }

    /// A disc of these attributes and what it means.
    pub fn disc(attributes: String, words: &'a str) -> LegendEntry<'a> {
        LegendEntry {
            swatch: disc(attributes),
            wide: 2.0 * RADIUS,
            words,
        }
    }

    /// Draws it with its left end at `x` and its middle at `y`.
    pub fn draw(&self, svg: &mut Svg, [x, y]: [f64; 2]) {
        (self.swatch)(svg, [x + 0.5 * self.wide, y]);
        let at = [x + self.wide + BESIDE, y + 4.5];
        svg.text(self.words, LABEL, at, Anchor::Start, "");
    }

    fn width(&self) -> f64 {
        self.wide + BESIDE + text_width(self.words, LABEL)
    }
}

/// Draws entries side by side, the row's middle at the point given.
pub fn row(svg: &mut Svg, [x, y]: [f64; 2], entries: &[LegendEntry]) {
    let wide: f64 = entries.iter().map(|entry| entry.width() + GAP).sum();
    let mut left = x - 0.5 * (wide - GAP);
    for entry in entries {
        entry.draw(svg, [left, y]);
        left += entry.width() + GAP;
    }
}

/// Draws entries below each other, `pitch` px apart, the first at the point given.
pub fn column(svg: &mut Svg, [x, y]: [f64; 2], pitch: f64, entries: &[LegendEntry]) {
    for (k, entry) in entries.iter().enumerate() {
        entry.draw(svg, [x, y + pitch * k as f64]);
    }
}
