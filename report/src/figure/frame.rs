//! A framed plot area with ticks, labels, titles and a grid.

use super::palette::{GRID, INK};
use super::text::{HEADING, LABEL, text_width};
use super::{Anchor, Area, Axis, Svg, Tick, fill, middle, stroke};

/// A side of a plot area.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Below the plot area.
    Bottom,
    /// Above the plot area.
    Top,
    /// On the left.
    Left,
}

/// An axis on a side of the frame.
#[derive(Clone, Copy)]
pub struct Ruler<'a> {
    /// Its values and where they lie.
    pub axis: Axis,
    /// Where it stands.
    pub side: Side,
    /// Writes a value as a label.
    pub label: &'a dyn Fn(f64) -> String,
    /// What it measures, with its unit; empty if another axis says so.
    pub title: &'a str,
    /// From the frame to the base line of the title, px.
    pub title_away: f64,
    /// Whether grid lines run across the plot at the labels.
    pub grid: bool,
}

/// Length of a tick with a label and of one without, px.
const TICKS: [f64; 2] = [6.0, 3.0];
/// Between the labels of a row, px.
const GAP: f64 = 12.0;
/// Room of a label in a column, px.
const ROW: f64 = 22.0;

impl<'a> Ruler<'a> {
    /// A ruler without title and grid.
    pub fn new(axis: Axis, side: Side, label: &'a dyn Fn(f64) -> String) -> Ruler<'a> {
        Ruler {
            axis,
            side,
            label,
            title: "",
            title_away: 0.0,
            grid: false,
        }
    }

    /// The ruler with a title whose base line is `away` px from the frame.
    pub fn titled(self, title: &'a str, away: f64) -> Ruler<'a> {
        Ruler {
            title,
            title_away: away,
            ..self
        }
    }

    fn ticks(&self) -> Vec<Tick> {
        match self.side {
            Side::Left => self.axis.ticks(self.label, |_| ROW),
            _ => self
                .axis
                .ticks(self.label, |label| text_width(label, LABEL) + GAP),
        }
    }
}

/// Draws the frame with its rulers; the grid fills `plot`, which lies within the frame.
pub fn frame(svg: &mut Svg, frame: Area, plot: Area, rulers: &[Ruler]) {
    let ink = fill(INK);
    for ruler in rulers {
        for Tick { at, label } in ruler.ticks() {
            let length = TICKS[usize::from(label.is_none())];
            let ([from, to], grid, place, anchor) = match ruler.side {
                Side::Bottom => (
                    [[at, frame.y[1]], [at, frame.y[1] + length]],
                    plot.y.map(|y| [at, y]),
                    [at, frame.y[1] + 20.0],
                    Anchor::Middle,
                ),
                Side::Top => (
                    [[at, frame.y[0]], [at, frame.y[0] - length]],
                    plot.y.map(|y| [at, y]),
                    [at, frame.y[0] - 11.0],
                    Anchor::Middle,
                ),
                Side::Left => (
                    [[frame.x[0], at], [frame.x[0] - length, at]],
                    plot.x.map(|x| [x, at]),
                    [frame.x[0] - 10.0, at + 4.5],
                    Anchor::End,
                ),
            };
            svg.line(from, to, &stroke(INK, 1.0));
            if let Some(label) = label {
                if ruler.grid {
                    svg.line(grid[0], grid[1], GRID);
                }
                svg.text(&label, LABEL, place, anchor, &ink);
            }
        }
        let away = ruler.title_away;
        match ruler.side {
            _ if ruler.title.is_empty() => {}
            Side::Bottom => {
                let at = [middle(frame.x), frame.y[1] + away];
                svg.text(ruler.title, HEADING, at, Anchor::Middle, &ink);
            }
            Side::Top => {
                let at = [middle(frame.x), frame.y[0] - away];
                svg.text(ruler.title, HEADING, at, Anchor::Middle, &ink);
            }
            Side::Left => {
                let at = [frame.x[0] - away, middle(plot.y)];
                svg.upright(ruler.title, HEADING, at, &ink);
            }
        }
    }
    svg.area(frame, &stroke(INK, 1.0));
}
