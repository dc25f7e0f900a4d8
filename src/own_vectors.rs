//! Options that say how another program's vectors are written, and the option that puts a mistake
//! right.

use std::path::Path;

use clap::{Args, ValueEnum};
use motefield_evaluator::conventions::{Convention, Mistake, Moment, Order};
use motefield_rig::quantity::{Dimension, parse_as, short};
use motefield_study::own_vectors::{Columns, TableReading};
use serde_json::{Value, json};

use crate::exit::Failure;

/// How vectors of one's own processing are written. See docs/own-vectors.md.
#[derive(Args, Clone, Default)]
#[command(next_help_heading = "How your vectors are written (docs/own-vectors.md)")]
pub struct VectorArguments {
    /// Columns by number from 1 or by name: x=1,y=2,dx=3,dy=4, and flag=5 for one that marks valid
    /// vectors; found by their names otherwise, and in this order where there are four
    #[arg(long, value_name = "FIELD=COLUMN,...")]
    columns: Option<Columns>,
    /// Entry of the flag's column that marks a valid vector; may be repeated
    #[arg(long, value_name = "ENTRY")]
    good: Vec<String>,
    /// Unit of positions: px, a length such as mm (with --scale), or a multiple such as "16 px" for
    /// numbers of columns and rows
    #[arg(long, value_name = "UNIT", allow_hyphen_values = true)]
    position_unit: Option<String>,
    /// Unit of displacements: px, a length (with --scale), or a speed such as m/s (with --scale and
    /// --dt)
    #[arg(long, value_name = "UNIT", allow_hyphen_values = true)]
    displacement_unit: Option<String>,
    /// Length that a pixel shows, such as "20 um/px"
    #[arg(long, value_name = "LENGTH/px")]
    scale: Option<String>,
    /// Time between the frames, such as "1 ms"
    #[arg(long, value_name = "TIME")]
    dt: Option<String>,
    /// Where the centre of the first pixel lies, px: a number or X,Y; 0 by default, 0.5 where the
    /// origin is the corner of the picture, 1 where pixels are counted from 1
    #[arg(long, value_name = "PX", value_parser = origin, allow_hyphen_values = true)]
    origin: Option<[f64; 2]>,
    /// Which way y runs; of positions only, if --dy says otherwise of displacements
    #[arg(long, value_enum, value_name = "WAY")]
    y: Option<VectorsWay>,
    /// Which way y of displacements runs; as --y by default
    #[arg(long, value_enum, value_name = "WAY")]
    dy: Option<VectorsWay>,
    /// x and y are exchanged
    #[arg(long, value_enum, value_name = "WHAT")]
    exchange: Option<Exchange>,
    /// Displacements run from frame B to frame A
    #[arg(long)]
    reverse: bool,
    /// Order of the displacements beside the positions
    #[arg(long, value_enum, value_name = "ORDER")]
    order: Option<Sequence>,
    /// Which moment positions belong to
    #[arg(long, value_enum, value_name = "MOMENT")]
    at: Option<When>,
    /// Side of the interrogation window, px: vectors nearer than that share particles, which widens
    /// intervals; by default four spacings of the grid, at least 32 px
    #[arg(long, value_name = "PX", value_parser = side)]
    window: Option<f64>,
}

#[derive(Clone, Copy, ValueEnum, PartialEq)]
enum VectorsWay {
    Up,
    Down,
}

#[derive(Clone, Copy, ValueEnum, PartialEq)]
enum Exchange {
    Both,
    Positions,
    Displacements,
}

#[derive(Clone, Copy, ValueEnum, PartialEq)]
enum Sequence {
    /// Each beside its own position
    AsWritten,
    /// Column by column, while positions run row by row, or the other way round
    Columns,
    /// The last row first
    LastRowFirst,
}

#[derive(Clone, Copy, ValueEnum, PartialEq)]
enum When {
    /// Midway between the frames
    Middle,
    /// Frame A
    Start,
    /// Frame B
    End,
}

fn origin(text: &str) -> Result<[f64; 2], String> {
    let number = |t: &str| t.trim().parse().ok().filter(|v: &f64| v.is_finite());
    let both = match text.split_once(',') {
        Some((x, y)) => number(x).zip(number(y)).map(|(x, y)| [x, y]),
        None => number(text).map(|v| [v; 2]),
    };
    both.ok_or_else(|| "must be a number or two, such as 0.5 or 0.5,1".to_owned())
}

fn side(text: &str) -> Result<f64, String> {
    let number = text.parse().ok().filter(|v: &f64| (1.0..1e6).contains(v));
    number.ok_or_else(|| "must be a number from 1, such as 32".to_owned())
}

impl VectorArguments {
    /// Whether anything is said of the vectors.
    pub fn any(&self) -> bool {
        let words = [
            &self.position_unit,
            &self.displacement_unit,
            &self.scale,
            &self.dt,
        ];
        words.iter().any(|word| word.is_some())
            || self.columns.is_some()
            || !self.good.is_empty()
            || self.origin.is_some()
            || self.y.is_some()
            || self.dy.is_some()
            || self.exchange.is_some()
            || self.reverse
            || self.order.is_some()
            || self.at.is_some()
            || self.window.is_some()
    }

    pub fn window_px(&self) -> Option<f64> {
        self.window
    }

    /// What was said, for manifests.
    pub fn asked(&self) -> Result<Value, Failure> {
        let TableReading {
            columns,
            good,
            convention,
        } = self.reading()?;
        Ok(json!({
            "columns": format!("{columns:?}"),
            "good": good,
            "convention": format!("{convention:?}"),
            "window_px": self.window,
        }))
    }

    pub fn reading(&self) -> Result<TableReading, Failure> {
        let up = self.y == Some(VectorsWay::Up);
        let sign = if self.reverse { -1.0 } else { 1.0 };
        Ok(TableReading {
            columns: self.columns.clone().unwrap_or_default(),
            good: self.good.clone(),
            convention: Convention {
                order: match self.order {
                    None | Some(Sequence::AsWritten) => Order::AsWritten,
                    Some(Sequence::Columns) => Order::Columns,
                    Some(Sequence::LastRowFirst) => Order::LastRowFirst,
                },
                exchanged: [Exchange::Positions, Exchange::Displacements]
                    .map(|of| self.exchange == Some(of) || self.exchange == Some(Exchange::Both)),
                position_px: self.unit_px("--position-unit", self.position_unit.as_deref(), false)?,
                origin_px: self.origin.unwrap_or_default(),
                up: [up, self.dy.map_or(up, |dy| dy == VectorsWay::Up)],
                displacement_px: sign
                    * self.unit_px("--displacement-unit", self.displacement_unit.as_deref(), true)?,
                moment: match self.at {
                    None | Some(When::Middle) => Moment::Middle,
                    Some(When::Start) => Moment::Start,
                    Some(When::End) => Moment::End,
                },
            },
        })
    }

    /// Length of a unit, px.
    fn unit_px(&self, option: &str, unit: Option<&str>, speeds: bool) -> Result<f64, Failure> {
        let Some(unit) = unit else { return Ok(1.0) };
        let text = match unit
            .trim()
            .starts_with(|c: char| c.is_ascii_digit() || "+-.".contains(c))
        {
            true => unit.to_owned(),
            false => format!("1 {unit}"),
        };
        let refused = |why: String| Failure::input(format!("{option} {unit}: {why}"));
        let found = [Dimension::Pixels, Dimension::Length, Dimension::Speed];
        let quantity = motefield_rig::quantity::parse_as_any(&text, &found[..if speeds { 3 } else { 2 }])
            .map_err(|e| refused(e.to_string()))?;
        let px = match quantity.dimension {
            Dimension::Pixels => quantity.value,
            Dimension::Length => quantity.value / self.metres_per_px().map_err(refused)?,
            _ => quantity.value * self.dt_s().map_err(refused)? / self.metres_per_px().map_err(refused)?,
        };
        match px.is_finite() && px != 0.0 {
            true => Ok(px),
            false => Err(refused("must not be 0".to_owned())),
        }
    }

    fn metres_per_px(&self) -> Result<f64, String> {
        let text = self
            .scale
            .as_deref()
            .ok_or("needs --scale, such as --scale \"20 um/px\"")?;
        let bad = || format!("--scale {text} must be the length that one pixel covers, such as \"20 um/px\"");
        let length = text.trim().strip_suffix("/px").ok_or_else(bad)?;
        let metres = parse_as(length.trim(), Dimension::Length).map_err(|e| format!("--scale: {e}"))?;
        (metres > 0.0).then_some(metres).ok_or_else(bad)
    }

    fn dt_s(&self) -> Result<f64, String> {
        let text = self.dt.as_deref().ok_or("needs --dt, such as --dt \"1 ms\"")?;
        let seconds = parse_as(text, Dimension::Time).map_err(|e| format!("--dt: {e}"))?;
        (seconds > 0.0)
            .then_some(seconds)
            .ok_or_else(|| format!("--dt {text} must be above 0"))
    }

    /// The option that puts a mistake right, beside those that are given.
    pub fn remedy(&self, mistake: &Mistake, truths: &[&Path]) -> Result<String, Failure> {
        let now = self.reading()?.convention;
        let way = |up: bool| if up { "up" } else { "down" };
        let flip = |positions: bool, displacements: bool| {
            let up = [now.up[0] != positions, now.up[1] != displacements];
            match up[0] == up[1] {
                true => format!("--y {}", way(up[0])),
                false => format!("--y {} --dy {}", way(up[0]), way(up[1])),
            }
        };
        let exchange = |positions: bool, displacements: bool| {
            match [now.exchanged[0] != positions, now.exchanged[1] != displacements] {
                [true, true] => "--exchange both",
                [true, false] => "--exchange positions",
                [false, true] => "--exchange displacements",
                [false, false] => "leave --exchange out",
            }
            .to_owned()
        };
        let unit = |factor: f64| {
            format!(
                "--displacement-unit \"{} px\"",
                short(now.displacement_px.abs() * factor)
            )
        };
        let place = |factor: f64| format!("--position-unit \"{} px\"", short(now.position_px * factor));
        // The origin is stated along the file's axes.
        let origin = |px: [f64; 2]| {
            let y = if now.up[0] { -px[1] } else { px[1] };
            let [x, y] =
                [now.origin_px[0] + px[0], now.origin_px[1] + y].map(|v| (1000.0 * v).round() / 1000.0 + 0.0);
            if x == y {
                format!("--origin={x}")
            } else {
                format!("--origin={x},{y}")
            }
        };
        Ok(match *mistake {
            Mistake::FramesExchanged if self.reverse => "leave --reverse out".to_owned(),
            Mistake::FramesExchanged => "--reverse".to_owned(),
            Mistake::YReversed => flip(true, true),
            Mistake::PositionsReversed => flip(true, false),
            Mistake::DisplacementsReversed => flip(false, true),
            Mistake::AxesExchanged => exchange(true, true),
            Mistake::PositionsExchanged => exchange(true, false),
            Mistake::DisplacementsExchanged => exchange(false, true),
            Mistake::Doubled => unit(0.5),
            Mistake::Halved => unit(2.0),
            Mistake::DisplacementUnit(px) => unit(px),
            Mistake::HalfPixel(shift) | Mistake::OnePixel(shift) | Mistake::Shift(shift) => {
                origin(shift.map(|s| -s))
            }
            Mistake::AtStart => "--at start".to_owned(),
            Mistake::AtEnd => "--at end".to_owned(),
            Mistake::ColumnOrder => "--order columns".to_owned(),
            Mistake::RowOrder => "--order last-row-first".to_owned(),
            Mistake::WholePixels => "write the displacements with their decimals".to_owned(),
            Mistake::OtherPair(k) => match truths.get(k) {
                Some(path) => format!("--truth {}", path.display()),
                None => "give the truth of this pair under --truth".to_owned(),
            },
            Mistake::Index {
                spacing_px,
                origin_px,
            } => format!("{} {}", place(spacing_px), origin(origin_px)),
            Mistake::Units {
                position_px,
                displacement_px,
            } => match (displacement_px - 1.0).abs() < 0.01 {
                true => place(position_px),
                false => format!("{} {}", place(position_px), unit(displacement_px)),
            },
        })
    }
}
