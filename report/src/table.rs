//! `table.csv` and `reliability.csv`: every figure of a study's points with its interval.

use motefield_evaluator::statistics::Estimate;
use motefield_files::table::Table;
use motefield_rig::quantity::digits;
use motefield_study::caveat::Caveat;
use motefield_study::run::{Point, trust};
use motefield_study::values::{Figure, figures};

use crate::format::CANNOT_TELL;

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

impl Label {
    /// The value with its unit, as a setup writes it.
    ///
    /// ```
    /// use motefield_report::table::Label;
    ///
    /// let label = |value: &str, unit: &str| Label {
    ///     value: value.to_owned(),
    ///     unit: unit.to_owned(),
    ///     streak_px: 0.0,
    /// };
    /// assert_eq!(label("120", "us").text(), "120 us");
    /// assert_eq!(label("4", "f/").text(), "f/4");
    /// assert_eq!(label("blackman", "").text(), "blackman");
    /// ```
    pub fn text(&self) -> String {
        match self.unit.as_str() {
            "" => self.value.clone(),
            "f/" => format!("f/{}", self.value),
            unit => format!("{} {unit}", self.value),
        }
    }
}

/// Heading of a figure: its name, and that of either end of its interval.
fn headings(name: &str) -> [String; 3] {
    ["", "_lo", "_hi"].map(|end| format!("{name}{end}"))
}

fn cells(e: Estimate) -> [String; 3] {
    [e.value, e.lo, e.hi].map(digits)
}

/// The cells of a figure, or in all three that it cannot be told and why: no number, so that
/// whoever reads it as one is stopped.
fn cells_of(figure: Figure) -> [String; 3] {
    match figure {
        Ok(e) => cells(e),
        Err(reason) => std::array::from_fn(|_| format!("{CANNOT_TELL}: {}", reason.as_str())),
    }
}

/// The table as CSV, one row per point.
///
/// Columns: `value, unit, streak_px, pairs, vectors, effective_vectors`, then each figure with
/// `_lo` and `_hi`, the ends of its 95 % interval:
///
/// - bias, local bias (what a place errs in every pair, root mean square over the places), random
///   error (what changes from pair to pair) and total error of x and of y against the truth at the
///   vector's position; the squares of the three add up to the total's. Where pairs do not tell the
///   local bias it reads `cannot tell: one-pair` (or `nothing-repeats`), and the random error
///   contains it; `outliers`, `total_px` (root mean square length of the error vector) over the
///   field and, as `fast_…`, over its fastest tenth; then those of x and y against the truth
///   averaged over the window, as `window_…` (after one pass that does not deform the pictures, the
///   difference of both is spatial resolution; after passes that do, it is not: they follow neither
///   truth; not for other programs, whose windows are not known);
/// - with the bound asked for, `bound_x_px` (Cramér–Rao bound, root mean square over the windows of
///   the first measurements) and `efficiency_x` (bound over random error, its interval from those
///   of both), and the same of y;
/// - with the further figures asked for, `error_p50_px` to `error_p99_px` (length of the error
///   vector that such a share of the vectors does not exceed), `valid_detection` (share whose
///   highest peak is that of the displacement), `peak_locking_x` (0 without, 1 when all
///   displacements are whole; nan where the true fractions are not uniform), `amplitude_x`
///   (amplitude of the displacement over the true one; nan in a uniform flow) and the same of y,
///   `dynamic_velocity_range` (largest displacement over random error) and
///   `dynamic_spatial_range` (width of the picture over largest displacement);
/// - `caveats`: what must be said beside these figures ([`Caveat::id`]), with spaces between; empty
///   where nothing must.
///
/// `pairs` counts all pairs rendered, also those that an ensemble measures together.
///
/// # Panics
/// When the points do not all carry the same figures.
pub fn csv(rows: &[(Label, &Point)]) -> String {
    let head = [
        "value",
        "unit",
        "streak_px",
        "pairs",
        "vectors",
        "effective_vectors",
    ];
    let named = rows.first().map_or_else(Vec::new, |(_, point)| figures(point));
    let named = named.iter().flat_map(|(name, _)| headings(name));
    let named = named.chain(["caveats".to_owned()]);
    let mut table = Table::new(head.map(str::to_owned).into_iter().chain(named));
    for (label, point) in rows {
        let score = &point.score;
        let mut row = vec![
            label.value.clone(),
            label.unit.clone(),
            digits(label.streak_px),
            point.pairs().to_string(),
            score.vectors.to_string(),
            digits(score.effective_vectors),
        ];
        row.extend(
            figures(point)
                .into_iter()
                .flat_map(|(_, figure)| cells_of(figure)),
        );
        row.push(ids(&point.caveats));
        table.rows.push(row);
    }
    table.csv()
}

/// The identifiers of what must be said beside a point's figures, with spaces between them.
pub(crate) fn ids(caveats: &[Caveat]) -> String {
    caveats
        .iter()
        .map(|caveat| caveat.id())
        .collect::<Vec<_>>()
        .join(" ")
}

/// `reliability.csv`: what the estimated uncertainties are worth, one row per point, estimator and
/// component. Columns: `value, unit, estimator, component, vectors`, then with `_lo` and `_hi` the
/// figures of [`trust::named`].
pub fn reliability_csv(rows: &[(Label, &Point)]) -> String {
    let head = ["value", "unit", "estimator", "component", "vectors"];
    let names = ["coverage_1", "coverage_2", "ratio", "rank_correlation"];
    let named = names.into_iter().flat_map(headings);
    let mut table = Table::new(head.map(str::to_owned).into_iter().chain(named));
    for (label, point) in rows {
        for trust in &point.besides.trust {
            for (component, of) in ["x", "y"].into_iter().zip(&trust.of) {
                let mut row = vec![
                    label.value.clone(),
                    label.unit.clone(),
                    trust.estimator.to_string(),
                    component.to_owned(),
                    of.vectors.to_string(),
                ];
                row.extend(trust::named(of).into_iter().flat_map(|(_, e)| cells(e)));
                table.rows.push(row);
            }
        }
    }
    table.csv()
}

#[cfg(test)]
mod tests {
    use super::*;
    use motefield_evaluator::score::CannotTell;

    #[test]
    fn a_table_without_points_has_its_heading() {
        let head = "value,unit,streak_px,pairs,vectors,effective_vectors,caveats\n";
        assert_eq!(csv(&[]), head);
        let head = reliability_csv(&[]);
        assert!(head.starts_with("value,unit,estimator,component,vectors,coverage_1,coverage_1_lo,"));
        assert_eq!(head.matches(',').count(), 16);
    }

    #[test]
    fn a_figure_fills_three_cells() {
        let e = Estimate {
            value: 1.0 / 3.0,
            lo: f64::NAN,
            hi: 2.0,
        };
        assert_eq!(cells(e), ["0.333333", "nan", "2"]);
        assert_eq!(headings("total_px")[1], "total_px_lo");
        assert_eq!(cells_of(Ok(e)), cells(e));
    }

    /// No cell of a figure that cannot be told reads as a number, nor as the lack of one.
    #[test]
    fn what_cannot_be_told_is_no_number() {
        for cell in cells_of(Err(CannotTell::OnePair)) {
            assert_eq!(cell, "cannot tell: one-pair");
            assert!(cell.parse::<f64>().is_err());
        }
    }
}
