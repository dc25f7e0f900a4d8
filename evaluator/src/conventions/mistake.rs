//! The usual mistakes in writing or reading vectors, and what puts each right.

use super::{Convention, Moment, Order};

/// A mistake in the convention of vectors. Shifts and units are those that put it right.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Mistake {
    /// Displacements run from frame B to frame A: the frames were exchanged, time was reversed, or
    /// both signs are. The truth is that midway in time, so these are one and the same.
    FramesExchanged,
    /// y runs up, of positions and displacements.
    YReversed,
    /// y runs up, of positions only.
    PositionsReversed,
    /// y runs up, of displacements only.
    DisplacementsReversed,
    /// x and y are exchanged, of positions and displacements.
    AxesExchanged,
    /// x and y are exchanged, of positions only.
    PositionsExchanged,
    /// x and y are exchanged, of displacements only.
    DisplacementsExchanged,
    /// Displacements are twice as long as the true ones.
    Doubled,
    /// Displacements are half as long as the true ones.
    Halved,
    /// Positions are off by half a pixel: a pixel's corner for its centre.
    HalfPixel([f64; 2]),
    /// Positions are off by one pixel: counted from 1.
    OnePixel([f64; 2]),
    /// Positions belong to frame A.
    AtStart,
    /// Positions belong to frame B.
    AtEnd,
    /// Displacements stand column by column beside positions row by row, or the other way round.
    ColumnOrder,
    /// Displacements stand with the last row first.
    RowOrder,
    /// Displacements are rounded to whole pixels.
    WholePixels,
    /// The vectors are those of another pair, of this number among those given.
    OtherPair(usize),
    /// Displacements are in another unit, of this length, px: mm, or a velocity.
    DisplacementUnit(f64),
    /// Positions are numbers of rows and columns.
    Index {
        /// Between neighbours, px.
        spacing_px: f64,
        /// Where the first pixel's centre lies, px.
        origin_px: [f64; 2],
    },
    /// Positions are in another unit, and displacements in one of their own.
    Units {
        /// Length of a position's unit, px.
        position_px: f64,
        /// Length of a displacement's unit, px.
        displacement_px: f64,
    },
    /// Positions are off by so much, px: a window's corner for its centre.
    Shift([f64; 2]),
}

impl Mistake {
    /// Those without anything to search for, the most usual first.
    pub(super) fn fixed() -> Vec<Mistake> {
        use Mistake::{
            AtEnd, AtStart, AxesExchanged, ColumnOrder, DisplacementsExchanged, DisplacementsReversed,
            Doubled, FramesExchanged, HalfPixel, Halved, OnePixel, PositionsExchanged, PositionsReversed,
            RowOrder, YReversed,
        };
        let mut all = vec![
            YReversed,
            DisplacementsReversed,
            PositionsReversed,
            FramesExchanged,
            AxesExchanged,
            DisplacementsExchanged,
            PositionsExchanged,
            Doubled,
            Halved,
            ColumnOrder,
            RowOrder,
        ];
        let signs = [[-1.0, -1.0], [-1.0, 1.0], [1.0, 1.0], [1.0, -1.0]];
        all.extend(signs.map(|s| HalfPixel(s.map(|s: f64| 0.5 * s))));
        all.extend(signs.map(OnePixel));
        all.extend([AtStart, AtEnd]);
        all
    }

    /// What puts it right, of vectors in px by the conventions of this library.
    pub fn correction(&self) -> Convention {
        let right = Convention::default();
        let up = |up| Convention { up, ..right };
        let exchanged = |exchanged| Convention { exchanged, ..right };
        let scaled = |displacement_px| Convention {
            displacement_px,
            ..right
        };
        let at = |moment| Convention { moment, ..right };
        let ordered = |order| Convention { order, ..right };
        match *self {
            Mistake::WholePixels | Mistake::OtherPair(_) => right,
            Mistake::FramesExchanged => scaled(-1.0),
            Mistake::YReversed => up([true; 2]),
            Mistake::PositionsReversed => up([true, false]),
            Mistake::DisplacementsReversed => up([false, true]),
            Mistake::AxesExchanged => exchanged([true; 2]),
            Mistake::PositionsExchanged => exchanged([true, false]),
            Mistake::DisplacementsExchanged => exchanged([false, true]),
            Mistake::Doubled => scaled(0.5),
            Mistake::Halved => scaled(2.0),
            Mistake::HalfPixel(shift) | Mistake::OnePixel(shift) | Mistake::Shift(shift) => Convention {
                origin_px: shift.map(|s| -s),
                ..right
            },
            Mistake::AtStart => at(Moment::Start),
            Mistake::AtEnd => at(Moment::End),
            Mistake::ColumnOrder => ordered(Order::Columns),
            Mistake::RowOrder => ordered(Order::LastRowFirst),
            Mistake::DisplacementUnit(displacement_px) => scaled(displacement_px),
            Mistake::Index {
                spacing_px,
                origin_px,
            } => Convention {
                position_px: spacing_px,
                origin_px,
                ..right
            },
            Mistake::Units {
                position_px,
                displacement_px,
            } => Convention {
                position_px,
                displacement_px,
                ..right
            },
        }
    }

    /// Its name in files, which is stable.
    pub fn id(&self) -> &'static str {
        match self {
            Mistake::FramesExchanged => "frames-exchanged",
            Mistake::YReversed => "y-reversed",
            Mistake::PositionsReversed => "y-of-positions-reversed",
            Mistake::DisplacementsReversed => "y-of-displacements-reversed",
            Mistake::AxesExchanged => "x-and-y-exchanged",
            Mistake::PositionsExchanged => "x-and-y-of-positions-exchanged",
            Mistake::DisplacementsExchanged => "x-and-y-of-displacements-exchanged",
            Mistake::Doubled => "displacements-doubled",
            Mistake::Halved => "displacements-halved",
            Mistake::HalfPixel(_) => "half-a-pixel-off",
            Mistake::OnePixel(_) => "one-pixel-off",
            Mistake::AtStart => "positions-in-frame-a",
            Mistake::AtEnd => "positions-in-frame-b",
            Mistake::ColumnOrder => "column-order",
            Mistake::RowOrder => "row-order",
            Mistake::WholePixels => "whole-pixels",
            Mistake::OtherPair(_) => "other-pair",
            Mistake::DisplacementUnit(_) => "unit-of-displacements",
            Mistake::Index { .. } => "index-for-position",
            Mistake::Units { .. } => "units",
            Mistake::Shift(_) => "positions-off",
        }
    }
}
