//! Intervals for figures taken from errors that are not independent.
//!
//! Overlapping windows see the same particles, so their errors are correlated and a count of vectors overstates what is
//! known. Every interval here rests on the variance of a mean over a grid of correlated values that was measured on several
//! independent pairs ([`variance_of_mean`]).

use std::borrow::Cow;

mod bootstrap;
mod combination;
mod dependence;
mod intervals;
mod quantiles;
mod rank_correlation;

pub use bootstrap::bootstrap;
pub use combination::{Combined, combine};
pub use dependence::variance_of_mean;
pub use intervals::{chi_interval, fraction, mean, root_mean_square, share, student};
pub(crate) use intervals::{freedom, lessened};
pub use quantiles::quantiles;
pub use rank_correlation::rank_correlation;

/// How often an interval is meant to hold the true value, between 0 and 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Confidence(f64);

impl Confidence {
    /// 95 %, the usual one.
    pub const USUAL: Confidence = Confidence(0.95);

    /// The confidence `level`; `None` unless it lies between 0 and 1, both excluded.
    pub fn new(level: f64) -> Option<Confidence> {
        (level > 0.0 && level < 1.0).then_some(Confidence(level))
    }

    /// The level, between 0 and 1.
    pub fn level(self) -> f64 {
        self.0
    }

    /// What is left out at either end of a two-sided interval.
    fn tail(self) -> f64 {
        0.5 * (1.0 - self.0)
    }
}

/// A figure with its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The figure.
    pub value: f64,
    /// Lower end of the interval.
    pub lo: f64,
    /// Upper end of the interval.
    pub hi: f64,
}

impl Estimate {
    /// A figure of which nothing is known: not a number, anything from `lo` to `hi`.
    pub fn unknown(lo: f64, hi: f64) -> Self {
        Estimate {
            value: f64::NAN,
            lo,
            hi,
        }
    }

    /// Half the interval over the value; infinite when nothing is known.
    pub fn relative_half_width(&self) -> f64 {
        let half = 0.5 * (self.hi - self.lo);
        match half {
            0.0 => 0.0,
            h if h.is_finite() && self.value != 0.0 => h / self.value.abs(),
            _ => f64::INFINITY,
        }
    }
}

/// Values on a grid, measured on several pairs that are independent of one another; `NaN` where there is none.
#[derive(Debug, Clone, PartialEq)]
pub struct GridValues<'a> {
    /// Grid columns.
    pub columns: usize,
    /// Lag, in grid steps along x and y, beyond which values of one pair no longer depend on each other.
    pub reach: [usize; 2],
    /// One list of values per pair, row by row over the grid.
    pub pairs: Vec<Cow<'a, [f64]>>,
}

impl GridValues<'_> {
    /// How many values there are.
    pub fn count(&self) -> usize {
        self.pairs
            .iter()
            .map(|pair| pair.iter().filter(|v| v.is_finite()).count())
            .sum()
    }

    /// The same grid with `of` of every value; where there is none there is none.
    pub fn map(&self, of: impl Fn(f64) -> f64) -> GridValues<'static> {
        let pair = |pair: &Cow<[f64]>| {
            let one = |v: &f64| if v.is_finite() { of(*v) } else { f64::NAN };
            Cow::Owned(pair.iter().map(one).collect())
        };
        GridValues {
            columns: self.columns,
            reach: self.reach,
            pairs: self.pairs.iter().map(pair).collect(),
        }
    }

    /// Mean of all values; `NaN` when there is none.
    pub fn mean(&self) -> f64 {
        let (mut sum, mut n) = (0.0, 0usize);
        for &v in self
            .pairs
            .iter()
            .flat_map(|pair| pair.iter())
            .filter(|v| v.is_finite())
        {
            sum += v;
            n += 1;
        }
        sum / n as f64
    }
}
