//! What every picture is made of: a writer of plain SVG, axes with ticks, one palette, a framed
//! plot area, a legend and texts of named sizes.
//!
//! The same input gives the same bytes: no time, no random identifiers, coordinates rounded to
//! 0.01 px.
//!
//! ```
//! use motefield_report::figure::{Area, Axis, AxisScale, Ruler, Side, Svg};
//! use motefield_report::figure::{frame, palette, stroke};
//!
//! let plot = Area { x: [80.0, 380.0], y: [40.0, 240.0] };
//! let x = Axis { scale: AxisScale::Log, range: [1.0, 100.0], place: plot.x };
//! let y = Axis { scale: AxisScale::Linear, range: [0.0, 0.5], place: [plot.y[1], plot.y[0]] };
//! let number = |v: f64| v.to_string();
//! let mut svg = Svg::new([400.0, 300.0], "Error", "The error falls with the particles per window.");
//! let rulers = [
//!     Ruler::new(x, Side::Bottom, &number).titled("particles per window", 46.0),
//!     Ruler::new(y, Side::Left, &number).titled("error, px", 52.0),
//! ];
//! frame(&mut svg, plot, plot, &rulers.map(|ruler| Ruler { grid: true, ..ruler }));
//! let curve = [[x.at(2.0), y.at(0.4)], [x.at(50.0), y.at(0.1)]];
//! svg.path(&curve, false, &stroke(palette::BLUE, 2.0));
//! assert!(svg.finish().contains(">error, px</text>"));
//! ```

mod axis;
mod frame;
pub mod legend;
pub mod palette;
mod svg;
mod text;

pub use axis::{Axis, AxisScale, Tick, ends};
pub use frame::{Ruler, Side, frame};
pub use svg::{Anchor, Area, Svg, fill, stroke, tint};
pub use text::{BOLD, HEADING, LABEL, NOTE, TITLE, WIDER, escape, fitted, text_width};

/// Half-way between two numbers.
pub(crate) fn middle([a, b]: [f64; 2]) -> f64 {
    0.5 * (a + b)
}

#[cfg(test)]
mod tests;
