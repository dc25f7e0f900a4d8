//! Several processing chains side by side over one sweep, on the same pairs.
//!
//! Compared is the root mean square length of the error vector of each pair, in which a lost vector
//! counts as [`OUTLIER_PX`] off, so that no chain gains by throwing vectors away. The difference to
//! the first chain is formed pair by pair, since what particles and noise do is the same to both,
//! and its mean has Student's interval over the pairs.

use motefield_evaluator::score::OUTLIER_PX;
use motefield_evaluator::statistics::{Confidence, Estimate, mean_of_independent};
use motefield_files::table::Table;
use motefield_rig::quantity::{digits, short};
use motefield_study::run::Point;
use serde_json::{Value, json};

use crate::figure::legend::{self, LegendEntry};
use crate::figure::palette::series;
use crate::figure::{
    Anchor, Area, Axis, AxisScale, BOLD, NOTE, Ruler, Side, Svg, TITLE, ends, fill, fitted, frame, stroke,
};
use crate::format::{columns, fine_percent, half_width};
use crate::json::Interval;
use crate::table::Label;

/// A chain with its points of a sweep, `None` where nothing was measured.
#[derive(Debug)]
pub struct ChainPoints<'a> {
    /// What to call it.
    pub name: String,
    /// One a value of the sweep.
    pub points: Vec<Option<&'a Point>>,
}

/// A chain at a value of the sweep.
struct Compared {
    /// Error of a pair, lost vectors included, px: its mean.
    error_px: Estimate,
    /// The same less that of the first chain, on the same pairs.
    less_first_px: Estimate,
}

/// Error of each pair, lost vectors included, px.
fn of_pairs(point: &Point) -> Vec<f64> {
    let count = point.score.vectors as f64 / point.score.pairs as f64;
    let one = |errors: &motefield_evaluator::score::Errors| {
        let squares = errors
            .point_px
            .iter()
            .map(|[x, y]| x * x + y * y)
            .filter(|s| s.is_finite());
        let (found, sum) = squares.fold((0.0, 0.0), |(n, sum), s| (n + 1.0, sum + s));
        ((sum + (count - found).max(0.0) * OUTLIER_PX.powi(2)) / count).sqrt()
    };
    let pairs = 0..point.errors.number();
    pairs.map(|pair| one(&point.errors.pair(pair))).collect()
}

fn compared(first: Option<&Point>, point: &Point) -> Compared {
    let own = of_pairs(point);
    let of_first = first.map_or_else(Vec::new, of_pairs);
    let differences: Vec<f64> = own.iter().zip(&of_first).map(|(a, b)| a - b).collect();
    Compared {
        error_px: mean_of_independent(&own, Confidence::USUAL),
        less_first_px: mean_of_independent(&differences, Confidence::USUAL),
    }
}

/// Each value of the sweep with each chain measured there.
fn all<'a>(
    labels: &'a [Label],
    chains: &'a [ChainPoints],
) -> impl Iterator<Item = (&'a Label, usize, &'a Point, Compared)> {
    labels.iter().enumerate().flat_map(move |(k, label)| {
        let first = chains[0].points[k];
        chains.iter().enumerate().filter_map(move |(c, chain)| {
            let point = chain.points[k]?;
            Some((label, c, point, compared(first, point)))
        })
    })
}

/// `chains.csv`: `value, unit, chain, pairs, failed_pairs, outliers`, then with `_lo` and `_hi` the
/// ends of their 95 % intervals `total_px` (outliers apart), `error_with_lost_px` (mean over the
/// pairs, each lost vector counted as 1 px) and `less_first_px` (the same less that of the first
/// chain, pair by pair).
pub fn csv(labels: &[Label], chains: &[ChainPoints]) -> String {
    let mut head: Vec<String> = ["value", "unit", "chain", "pairs", "failed_pairs", "outliers"]
        .map(str::to_owned)
        .to_vec();
    for name in ["total_px", "error_with_lost_px", "less_first_px"] {
        head.extend(["", "_lo", "_hi"].map(|end| format!("{name}{end}")));
    }
    let mut table = Table::new(head);
    for (label, c, point, compared) in all(labels, chains) {
        let mut row = vec![
            label.value.clone(),
            label.unit.clone(),
            chains[c].name.clone(),
            point.pairs().to_string(),
            point.besides.failures.len().to_string(),
            digits(point.score.outliers.value),
        ];
        for e in [point.score.total_px, compared.error_px, compared.less_first_px] {
            row.extend([e.value, e.lo, e.hi].map(digits));
        }
        table.rows.push(row);
    }
    table.csv()
}

/// The same for programs.
pub fn json(labels: &[Label], chains: &[ChainPoints]) -> Value {
    let one = |(label, c, point, compared): (&Label, usize, &Point, Compared)| {
        json!({
            "value": label.value,
            "unit": label.unit,
            "chain": chains[c].name,
            "pairs": point.pairs(),
            "failed_pairs": point.besides.failures.len(),
            "total_px": Interval::from(point.score.total_px),
            "outliers": Interval::from(point.score.outliers),
            "error_with_lost_px": Interval::from(compared.error_px),
            "less_first_px": Interval::from(compared.less_first_px),
        })
    };
    all(labels, chains).map(one).collect()
}

/// `failures.csv`: on which pairs a chain failed, and why.
pub fn failures(labels: &[Label], chains: &[ChainPoints]) -> String {
    let mut table = Table::new(["value", "unit", "chain", "pair", "reason"]);
    for (label, c, point, _) in all(labels, chains) {
        for (pair, why) in &point.besides.failures {
            let row = [&label.value, &label.unit, &chains[c].name, &pair.to_string(), why];
            table.rows.push(row.map(String::clone).to_vec());
        }
    }
    table.csv()
}

/// On how many pairs of all points another program failed, and why on the first; empty where it
/// failed on none.
pub fn failed<'a>(name: &str, points: impl IntoIterator<Item = &'a Point>) -> String {
    let (mut pairs, mut failures, mut first) = (0, 0, None);
    for point in points {
        pairs += point.pairs();
        failures += point.besides.failures.len();
        first = first.or_else(|| point.besides.failures.first());
    }
    first.map_or(String::new(), |(_, why)| {
        format!("{name} failed on {failures} of {pairs} pairs; the first: {why}\n")
    })
}

/// The comparison as a table for the eye, and where which chain is better.
pub fn words(key: &str, labels: &[Label], chains: &[ChainPoints]) -> String {
    let mut rows = vec![
        [
            key,
            "chain",
            "total px",
            "outliers",
            "error px",
            "less the first px",
            "pairs",
        ]
        .map(str::to_owned)
        .to_vec(),
    ];
    for (label, c, point, compared) in all(labels, chains) {
        let known = |e: Estimate| {
            if e.value.is_finite() {
                half_width(e)
            } else {
                "-".to_owned()
            }
        };
        rows.push(vec![
            label.text(),
            chains[c].name.clone(),
            known(point.score.total_px),
            fine_percent(point.score.outliers.value),
            known(compared.error_px),
            if c == 0 {
                String::new()
            } else {
                known(compared.less_first_px)
            },
            point.pairs().to_string(),
        ]);
    }
    let mut text = columns(&rows)
        + "± is half the 95 % interval; error: each lost vector counted as 1 px; less the first: on the same pairs.\n";
    for (c, chain) in chains.iter().enumerate().skip(1) {
        let where_is = |better: &dyn Fn(Estimate) -> bool| {
            let places = all(labels, chains).filter(|(_, k, _, of)| *k == c && better(of.less_first_px));
            places
                .map(|(label, ..)| label.text())
                .collect::<Vec<_>>()
                .join(", ")
        };
        let (own, first) = (where_is(&|e| e.hi < 0.0), where_is(&|e| e.lo > 0.0));
        let at = |places: String| {
            if places.is_empty() {
                "nowhere".to_owned()
            } else {
                format!("at {places}")
            }
        };
        text += &format!(
            "{} is better than {} {}, worse {} (95 % confidence at each value).\n",
            chain.name,
            chains[0].name,
            at(own),
            at(first)
        );
    }
    text
}

const SIZE: [f64; 2] = [760.0, 520.0];
const PLOT: Area = Area {
    x: [92.0, 736.0],
    y: [84.0, 410.0],
};

/// Draws the error of every chain over the values as the content of an SVG file; values that are
/// words stand side by side.
pub fn draw(key: &str, labels: &[Label], chains: &[ChainPoints]) -> String {
    let title = format!("Processing chains over {key}");
    let mut svg = Svg::new(SIZE, &title, &words(key, labels, chains));
    let (text, font) = fitted(&title, TITLE, SIZE[0] - 48.0);
    svg.text(&text, font, [24.0, 34.0], Anchor::Start, BOLD);
    svg.text(
        "root mean square error of a pair, lost vectors counted as 1 px; 95 % intervals",
        NOTE,
        [24.0, 55.0],
        Anchor::Start,
        "",
    );
    let numbers: Vec<f64> = labels
        .iter()
        .map(|label| label.value.parse().unwrap_or(f64::NAN))
        .collect();
    let numeric = numbers.iter().all(|v| *v > 0.0) && labels.len() > 1;
    let place = |k: usize| if numeric { numbers[k] } else { k as f64 + 1.0 };
    let errors: Vec<f64> = all(labels, chains)
        .map(|(.., of)| of.error_px.value)
        .filter(|e| *e > 0.0)
        .collect();
    if errors.is_empty() {
        return svg.finish();
    }
    let places: Vec<f64> = (0..labels.len()).map(place).collect();
    let x = around(&places, PLOT.x);
    let y = around(&errors, [PLOT.y[1], PLOT.y[0]]);
    let unit = labels.first().map_or("", |label| label.unit.as_str());
    let below = if unit.is_empty() {
        key.to_owned()
    } else {
        format!("{key}, {unit}")
    };
    let number = |v: f64| short(v);
    let bottom = |v: f64| match numeric {
        true => short(v),
        false => labels
            .get((v - 1.0).max(0.0) as usize)
            .filter(|_| v.fract() == 0.0)
            .map_or(String::new(), Label::text),
    };
    let mut rulers = [
        Ruler::new(x, Side::Bottom, &bottom).titled(&below, 46.0),
        Ruler::new(y, Side::Left, &number).titled("error, px", 62.0),
    ];
    rulers.iter_mut().for_each(|ruler| ruler.grid = true);
    frame(&mut svg, PLOT, PLOT, &rulers);
    for (c, chain) in chains.iter().enumerate() {
        let colour = series(c);
        let errors = chain
            .points
            .iter()
            .map(|point| point.map(|point| compared(None, point).error_px));
        let drawn = errors.enumerate().filter_map(|(k, e)| Some((k, e?)));
        let mut line = Vec::new();
        for (k, e) in drawn.filter(|(_, e)| e.value > 0.0) {
            let at = [x.at(place(k)), y.at(e.value)];
            let ends = [e.lo, e.hi].map(|v| [at[0], y.clamped(v)]);
            svg.line(ends[0], ends[1], &stroke(colour, 1.5));
            let words = format!("{}: {} px", labels[k].text(), short(e.value));
            svg.disc(at, 3.5, &fill(colour), &words);
            line.push(at);
        }
        svg.path(&line, false, &stroke(colour, 1.5));
    }
    let entries: Vec<LegendEntry> = chains
        .iter()
        .enumerate()
        .map(|(c, chain)| LegendEntry::line(stroke(series(c), 2.0), &chain.name))
        .collect();
    legend::row(&mut svg, [0.5 * SIZE[0], SIZE[1] - 24.0], &entries);
    svg.finish()
}

/// A logarithmic axis with some room about the values.
fn around(values: &[f64], place: [f64; 2]) -> Axis {
    let [low, high] = ends(values.iter().copied());
    Axis {
        scale: AxisScale::Log,
        range: [low / 1.15, high * 1.15],
        place,
    }
}
