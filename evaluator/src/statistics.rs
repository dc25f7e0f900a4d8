//! Intervals for figures taken from errors that are not independent.
//!
//! Overlapping windows see the same particles, so their errors are correlated and a count of vectors overstates what is
//! known. Every interval here rests on the variance of a mean over a grid of correlated values that was measured on several
//! independent pairs ([`variance_of_mean`]).

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal, StudentsT};

/// A figure with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The figure.
    pub value: f64,
    /// Lower end of the 95 % interval.
    pub lo: f64,
    /// Upper end of the 95 % interval.
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
pub struct Sheets<'a> {
    /// Grid columns.
    pub columns: usize,
    /// Lag, in grid steps along x and y, beyond which values of one pair no longer depend on each other.
    pub reach: [usize; 2],
    /// One sheet of values a pair, each row by row over the grid.
    pub values: Vec<std::borrow::Cow<'a, [f64]>>,
}

impl Sheets<'_> {
    /// How many values there are.
    pub fn count(&self) -> usize {
        self.values
            .iter()
            .map(|sheet| sheet.iter().filter(|v| v.is_finite()).count())
            .sum()
    }

    /// Mean of all values; `NaN` when there is none.
    pub fn mean(&self) -> f64 {
        let (mut sum, mut n) = (0.0, 0usize);
        for &v in self
            .values
            .iter()
            .flat_map(|sheet| sheet.iter())
            .filter(|v| v.is_finite())
        {
            sum += v;
            n += 1;
        }
        sum / n as f64
    }
}

/// Variance of the mean of all values.
///
/// What repeats from pair to pair at one grid position is a property of the flow, not chance; so with several
/// pairs the mean over the pairs is taken off at each position (and the loss of one degree of freedom in as many as
/// there are pairs made good). With one pair the mean over the grid is taken off instead, which counts the fixed pattern as
/// chance: wider, never narrower.
///
/// The covariances over the lags of the grid are summed with a flat-topped window: whole to the
/// `reach`, then falling to nothing at twice the reach (Politis and Romano 1995, J. Time Ser. Anal. 16, 67; memory). Never
/// less than for independent values.
pub fn variance_of_mean(sheets: &Sheets) -> f64 {
    let count = sheets.count();
    let Some(size) = sheets.values.first().map(|sheet| sheet.len()) else {
        return f64::NAN;
    };
    if count < 2 {
        return f64::NAN;
    }
    let pairs = sheets.values.len();
    let overall = sheets.mean();
    let centre: Vec<(f64, f64)> = (0..size)
        .map(|i| {
            let (sum, n) = sheets
                .values
                .iter()
                .map(|s| s[i])
                .filter(|v| v.is_finite())
                .fold((0.0, 0.0), |(s, n), v| (s + v, n + 1.0));
            match pairs {
                1 => (overall, (count as f64 / (count as f64 - 1.0)).sqrt()),
                // A position seen once says nothing of the scatter there; leave it out of the sum but not out of the count.
                _ if n < 2.0 => (f64::NAN, 0.0),
                _ => (sum / n, f64::sqrt(n / (n - 1.0))),
            }
        })
        .collect();
    let columns = sheets.columns;
    let rows = size / columns;
    let taper = |lag: usize, reach: usize| match (lag, reach) {
        (l, r) if l <= r => 1.0,
        (l, r) => 1.0 - (l - r) as f64 / (r + 1) as f64,
    };
    let (mut same, mut all, mut seen) = (0.0, 0.0, 0usize);
    for sheet in &sheets.values {
        let residual: Vec<f64> = sheet
            .iter()
            .zip(&centre)
            .map(|(v, (mean, scale))| {
                if v.is_finite() && mean.is_finite() {
                    (v - mean) * scale
                } else {
                    f64::NAN
                }
            })
            .collect();
        seen += residual.iter().filter(|r| r.is_finite()).count();
        let clean: Vec<f64> = residual
            .iter()
            .map(|r| if r.is_finite() { *r } else { 0.0 })
            .collect();
        let [rx, ry] = sheets.reach;
        for dy in 0..=(2 * ry).min(rows - 1) {
            let limit = (2 * rx).min(columns - 1) as isize;
            // Each pair of positions once: half the plane of lags, and twice its sum.
            for dx in (if dy == 0 { 0 } else { -limit })..=limit {
                let weight = taper(dx.unsigned_abs(), rx) * taper(dy, ry);
                let mut sum = 0.0;
                for y in 0..rows - dy {
                    let (first, last) = ((-dx).max(0) as usize, columns - dx.max(0) as usize);
                    let here = &clean[y * columns + first..y * columns + last];
                    let start = ((y + dy) * columns + first).wrapping_add_signed(dx);
                    let there = &clean[start..start + here.len()];
                    sum += here.iter().zip(there).map(|(a, b)| a * b).sum::<f64>();
                }
                if (dx, dy) == (0, 0) {
                    same += sum;
                    all += sum;
                } else {
                    all += 2.0 * weight * sum;
                }
            }
        }
    }
    if seen == 0 {
        return f64::NAN;
    }
    // The positions left out are taken to scatter as the others do.
    all.max(same) / seen as f64 / count as f64
}

/// Mean with its 95 % interval by Student's t on the effective number of values; and that number.
pub fn mean(sheets: &Sheets) -> (Estimate, f64) {
    let n = sheets.count() as f64;
    let value = sheets.mean();
    let variance = variance_of_mean(sheets);
    if n < 2.0 || !variance.is_finite() {
        return (
            Estimate {
                value,
                ..Estimate::unknown(f64::NEG_INFINITY, f64::INFINITY)
            },
            n.min(1.0),
        );
    }
    let spread = sheets
        .values
        .iter()
        .flat_map(|s| s.iter())
        .filter(|v| v.is_finite())
        .map(|v| (v - value).powi(2))
        .sum::<f64>()
        / (n - 1.0);
    let effective = if variance > 0.0 {
        (spread / variance).clamp(1.0, n)
    } else {
        n
    };
    let half = student(effective - 1.0) * variance.sqrt();
    (
        Estimate {
            value,
            lo: value - half,
            hi: value + half,
        },
        effective,
    )
}

/// Square root of the mean of `squares` (squared deviations, each at least zero) with its 95 % interval.
///
/// If the deviations were independent and normal, n s²/σ² would follow the chi-squared law with n degrees of freedom. Here the
/// number of degrees of freedom is the one that gives the measured variance of the mean square, ν = 2 s⁴/Var(s²)
/// (Satterthwaite 1946, Biometrics Bull. 2, 110): it carries both the dependence and the tails of the errors.
pub fn root_mean_square(squares: &Sheets) -> Estimate {
    let (n, s2) = (squares.count() as f64, squares.mean());
    let variance = variance_of_mean(squares);
    if s2 == 0.0 {
        return Estimate {
            value: 0.0,
            lo: 0.0,
            hi: 0.0,
        };
    }
    if n < 2.0 || !variance.is_finite() {
        return Estimate {
            value: s2.sqrt(),
            ..Estimate::unknown(0.0, f64::INFINITY)
        };
    }
    chi_interval(s2.sqrt(), (2.0 * s2 * s2 / variance).min(n))
}

/// The 95 % interval of a standard deviation `s` known with `freedom` degrees of freedom (chi-squared law;
/// JCGM 100 annex E.4, ISO 2854).
pub fn chi_interval(s: f64, freedom: f64) -> Estimate {
    let freedom = freedom.max(0.5);
    let law = ChiSquared::new(freedom).expect("degrees of freedom above zero");
    let end = |p: f64| s * (freedom / law.inverse_cdf(p)).sqrt();
    Estimate {
        value: s,
        lo: end(0.975),
        hi: end(0.025),
    }
}

/// Fraction `p` seen among `n` (effective) trials, with Wilson's 95 % interval (Wilson 1927, J. Am. Stat. Assoc. 22, 209).
pub fn fraction(p: f64, n: f64) -> Estimate {
    if n <= 0.0 || !p.is_finite() {
        return Estimate::unknown(0.0, 1.0);
    }
    let z = normal(0.975);
    let z2 = z * z / n;
    let centre = (p + 0.5 * z2) / (1.0 + z2);
    let half = z / (1.0 + z2) * (p * (1.0 - p) / n + 0.25 * z2 / n).sqrt();
    // At the ends the formula gives exactly 0 and 1, but for rounding.
    let lo = if p == 0.0 { 0.0 } else { (centre - half).max(0.0) };
    let hi = if p == 1.0 { 1.0 } else { (centre + half).min(1.0) };
    Estimate { value: p, lo, hi }
}

/// Two-sided 95 % factor of Student's t; of the normal law for many degrees of freedom.
pub fn student(freedom: f64) -> f64 {
    if freedom > 1e5 {
        return normal(0.975);
    }
    StudentsT::new(0.0, 1.0, freedom.max(0.5))
        .expect("degrees of freedom above zero")
        .inverse_cdf(0.975)
}

fn normal(p: f64) -> f64 {
    Normal::new(0.0, 1.0)
        .expect("the standard normal law")
        .inverse_cdf(p)
}
