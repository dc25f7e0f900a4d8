//! A figure with its interval.

/// How often an interval is meant to contain the true value, between 0 and 1.
///
/// ```
/// use motefield_evaluator::statistics::Confidence;
///
/// assert_eq!(Confidence::USUAL.level(), 0.95);
/// assert_eq!(Confidence::new(1.0), None);
/// ```
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

    /// The probability left out at either end of a two-sided interval.
    pub(super) fn tail(self) -> f64 {
        0.5 * (1.0 - self.0)
    }
}

/// A figure with its interval, all three in the unit of the figure.
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
    /// A figure that is known exactly.
    pub const fn exact(value: f64) -> Self {
        Estimate {
            value,
            lo: value,
            hi: value,
        }
    }

    /// A figure with the same distance to both ends of its interval.
    pub fn symmetric(value: f64, half_width: f64) -> Self {
        Estimate {
            value,
            lo: value - half_width,
            hi: value + half_width,
        }
    }

    /// A figure whose interval is not known: it reaches from minus to plus infinity.
    pub fn unbounded(value: f64) -> Self {
        Estimate {
            value,
            lo: f64::NEG_INFINITY,
            hi: f64::INFINITY,
        }
    }

    /// A figure of which nothing is known: not a number, anything from `lo` to `hi`.
    pub fn unknown(lo: f64, hi: f64) -> Self {
        Estimate {
            value: f64::NAN,
            lo,
            hi,
        }
    }

    /// Half the interval over the value; infinite when nothing is known.
    ///
    /// ```
    /// use motefield_evaluator::statistics::Estimate;
    ///
    /// assert_eq!(Estimate::symmetric(4.0, 1.0).relative_half_width(), 0.25);
    /// ```
    pub fn relative_half_width(&self) -> f64 {
        let half = 0.5 * (self.hi - self.lo);
        match half {
            0.0 => 0.0,
            h if h.is_finite() && self.value != 0.0 => h / self.value.abs(),
            _ => f64::INFINITY,
        }
    }

    /// A function of the figure that rises with it: the ends are the function of the ends.
    ///
    /// ```
    /// use motefield_evaluator::statistics::Estimate;
    ///
    /// let squared = Estimate { value: 2.0, lo: 1.0, hi: 3.0 }.map_rising(|v| v * v);
    /// assert_eq!([squared.value, squared.lo, squared.hi], [4.0, 1.0, 9.0]);
    /// ```
    pub fn map_rising(self, of: impl Fn(f64) -> f64) -> Self {
        Estimate {
            value: of(self.value),
            lo: of(self.lo),
            hi: of(self.hi),
        }
    }

    /// A function of the figure that falls as it rises: the ends change places.
    ///
    /// ```
    /// use motefield_evaluator::statistics::Estimate;
    ///
    /// // Dynamic range: the largest displacement, 8 px, over a random error.
    /// let range = Estimate { value: 0.1, lo: 0.08, hi: 0.16 }.map_falling(|error| 8.0 / error);
    /// assert_eq!([range.value, range.lo, range.hi], [80.0, 50.0, 100.0]);
    /// ```
    pub fn map_falling(self, of: impl Fn(f64) -> f64) -> Self {
        Estimate {
            value: of(self.value),
            lo: of(self.hi),
            hi: of(self.lo),
        }
    }

    /// The interval without what lies outside `least` to `most`, which the figure cannot pass.
    pub fn clamped(self, least: f64, most: f64) -> Self {
        Estimate {
            value: self.value,
            lo: self.lo.max(least),
            hi: self.hi.min(most),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: half of 4 to 10 over 6; nothing of an exact figure, even of zero.
    #[test]
    fn relative_half_width_of_known_intervals() {
        let figure = Estimate {
            value: 6.0,
            lo: 4.0,
            hi: 10.0,
        };
        assert_eq!(figure.relative_half_width(), 0.5);
        assert_eq!(figure.map_falling(|v| -v).relative_half_width(), 0.5);
        assert_eq!(Estimate::exact(0.0).relative_half_width(), 0.0);
        assert_eq!(Estimate::symmetric(0.0, 1.0).relative_half_width(), f64::INFINITY);
        assert_eq!(
            Estimate::unknown(0.0, f64::INFINITY).relative_half_width(),
            f64::INFINITY
        );
    }

    /// An end that is not passed stays, and the value always does.
    #[test]
    fn clamping_moves_only_the_ends() {
        let clamped = Estimate::symmetric(0.5, 2.0).clamped(-1.0, 4.0);
        assert_eq!([clamped.value, clamped.lo, clamped.hi], [0.5, -1.0, 2.5]);
        let clamped = Estimate::symmetric(5.0, 2.0).clamped(-1.0, 4.0);
        assert_eq!([clamped.value, clamped.lo, clamped.hi], [5.0, 3.0, 4.0]);
    }
}
