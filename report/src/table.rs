//! `table.csv`: one row a point, every figure with its interval.

use std::fmt::Write;

use motefield_rig::quantity::digits;
use motefield_study::run::{Point, trust};
use motefield_study::values::figures;

/// A row's label: the value varied.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// Number or word.
    pub value: String,
    /// Unit; empty for plain numbers and words.
    pub unit: String,
    /// Mean streak length in the fastest tenth of the field, px.
    pub streak_px: f64,
}

/// The table as CSV. Columns: `value, unit, streak_px, pairs, vectors, effective_vectors`, then each figure with `_lo` and `_hi`,
/// the ends of its 95 % interval: bias, random and total error of x and of y against the truth at the vector's position, `outliers`,
/// `total_px` (root mean square length of the error vector) over the field and, as `fast_…`, over its fastest
/// tenth; then those of x and y against the truth averaged over the window, as `window_…`. With the bound asked for, `bound_x_px`
/// (Cramér–Rao bound, root mean square over the windows of the first measurements) and `efficiency_x` (bound over random error), and the
/// same of y. With the further figures asked for: `error_p50_px` to `error_p99_px`, the length of the error vector that such a share of the
/// vectors does not exceed; `valid_detection`, the share whose highest peak is that of the displacement; `peak_locking_x` (0 without,
/// 1 when all displacements are whole; nan where the true fractions are not uniform), `amplitude_x` (amplitude of the displacement over
/// the true one; nan in a uniform flow) and the same of y; `dynamic_velocity_range` (largest displacement over random error) and
/// `dynamic_spatial_range` (width of the picture over largest displacement). `pairs` counts all pairs rendered, also those that an ensemble measures together.
pub fn csv(rows: &[(Label, &Point)]) -> String {
    let mut text = String::from("value,unit,streak_px,pairs,vectors,effective_vectors");
    if let Some((_, point)) = rows.first() {
        for (name, _) in figures(point) {
            let _ = write!(text, ",{name},{name}_lo,{name}_hi");
        }
    }
    text.push('\n');
    for (label, point) in rows {
        let s = &point.score;
        let _ = write!(
            text,
            "{},{},{},{},{},{}",
            label.value,
            label.unit,
            digits(label.streak_px),
            point.pairs(),
            s.vectors,
            digits(s.effective_vectors)
        );
        for (_, e) in figures(point) {
            let _ = write!(text, ",{},{},{}", digits(e.value), digits(e.lo), digits(e.hi));
        }
        text.push('\n');
    }
    text
}

/// `reliability.csv`: what the estimated uncertainties are worth, a row for each point, estimator and component. Columns: `value, unit,
/// estimator, component, vectors`, then with `_lo` and `_hi` the figures of [`trust::named`].
pub fn reliability_csv(rows: &[(Label, &Point)]) -> String {
    let mut text = String::from("value,unit,estimator,component,vectors");
    for name in ["coverage_1", "coverage_2", "ratio", "rank_correlation"] {
        let _ = write!(text, ",{name},{name}_lo,{name}_hi");
    }
    text.push('\n');
    for (label, point) in rows {
        for trust in &point.besides.trust {
            for (component, of) in ["x", "y"].iter().zip(&trust.of) {
                let _ = write!(
                    text,
                    "{},{},{},{component},{}",
                    label.value, label.unit, trust.estimator, of.vectors
                );
                for (_, e) in trust::named(of) {
                    let _ = write!(text, ",{},{},{}", digits(e.value), digits(e.lo), digits(e.hi));
                }
                text.push('\n');
            }
        }
    }
    text
}
