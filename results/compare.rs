//! Draws the random error of several sweeps of one key into one picture, with the Cramér–Rao bound:
//! `compare OUT.svg TITLE KEY NAME=TABLE.csv …`. A part of `results/regenerate`.

use std::path::Path;
use std::process::ExitCode;

use motefield_files::table::Table;
use motefield_report::figure::legend::{self, LegendEntry};
use motefield_report::figure::palette::{INK, series};
use motefield_report::figure::{
    Anchor, Area, Axis, AxisScale, BOLD, HEADING, Ruler, Side, Svg, TITLE, fill, frame, stroke,
};
use motefield_rig::quantity::digits;

const FRAMES: [Area; 2] = [
    Area {
        x: [74.0, 374.0],
        y: [84.0, 384.0],
    },
    Area {
        x: [424.0, 724.0],
        y: [84.0, 384.0],
    },
];
const SIZE: [f64; 2] = [930.0, 450.0];

/// Value of the key, error with its interval along x and along y, bound along x and y, px.
type SweepRow = (f64, [[f64; 3]; 2], [f64; 2]);

struct SweepTable {
    name: String,
    rows: Vec<SweepRow>,
}

fn read(argument: &str) -> Result<SweepTable, String> {
    let (name, path) = argument.split_once('=').ok_or("NAME=TABLE.csv is wanted")?;
    let text = std::fs::read_to_string(path).map_err(|e| format!("{path}: {e}"))?;
    let table = Table::parse(Path::new(path), &text).map_err(|e| e.to_string())?;
    let rows = table.rows.iter().map(|row| {
        let at = |name: &str| -> Result<f64, String> {
            let k = table.column(name).ok_or_else(|| format!("{path}: no {name}"))?;
            row[k]
                .parse()
                .map_err(|_| format!("{path}: {} is no number", row[k]))
        };
        let error = |axis: &str| -> Result<[f64; 3], String> {
            let [value, lo, hi] = ["", "_lo", "_hi"].map(|end| at(&format!("random_{axis}_px{end}")));
            Ok([value?, lo?, hi?])
        };
        Ok((
            at("value")?,
            [error("x")?, error("y")?],
            [at("bound_x_px")?, at("bound_y_px")?],
        ))
    });
    Ok(SweepTable {
        name: name.to_owned(),
        rows: rows.collect::<Result<_, String>>()?,
    })
}

fn range(values: impl Iterator<Item = f64>) -> [f64; 2] {
    let good = values.filter(|v| v.is_finite() && *v > 0.0);
    let (low, high) = good.fold((f64::INFINITY, 0.0f64), |(low, high), v| {
        (low.min(v), high.max(v))
    });
    [low / 1.15, high * 1.15]
}

const ABOUT: &str = "Random error along x and along y of each method, with 95 % intervals; dashed, its \
                     Cramér-Rao bound.";
const DASHED: &str = " stroke-dasharray=\"3 4\"";

/// The axes of the panels: both have the same.
fn axes(sweeps: &[SweepTable]) -> impl Fn(Area) -> [Axis; 2] {
    let all = || sweeps.iter().flat_map(|s| &s.rows);
    let error_px = range(all().flat_map(|(_, e, b)| [e[0][0], e[1][0], b[0], b[1]]));
    let values: Vec<f64> = all().map(|(v, _, _)| *v).collect();
    let last = values.iter().copied().fold(0.0, f64::max);
    let (scale, value) = match values.contains(&0.0) {
        true => (AxisScale::Linear, [-0.04 * last, 1.04 * last]),
        false => (AxisScale::Log, range(values.iter().copied())),
    };
    move |area| {
        [
            Axis {
                scale,
                range: value,
                place: area.x,
            },
            Axis {
                scale: AxisScale::Log,
                range: error_px,
                place: [area.y[1], area.y[0]],
            },
        ]
    }
}

/// One sweep along axis `c`: its errors with their intervals, and its bound.
fn curve(svg: &mut Svg, sweep: &SweepTable, [x, y]: [Axis; 2], c: usize, colour: &str) {
    let line = |of: &dyn Fn(&SweepRow) -> f64| -> Vec<[f64; 2]> {
        let at = |row: &SweepRow| [x.at(row.0), y.clamped(of(row))];
        sweep.rows.iter().map(at).collect()
    };
    let bound = line(&|row| row.2[c]);
    svg.path(&bound, false, &(stroke(colour, 1.8) + DASHED));
    let errors = line(&|row| row.1[c][0]);
    svg.path(&errors, false, &stroke(colour, 1.8));
    for (row, at) in sweep.rows.iter().zip(errors) {
        let [_, lo, hi] = row.1[c];
        let [lo, hi] = [lo, hi].map(|v| [at[0], y.clamped(v)]);
        svg.line(lo, hi, &stroke(colour, 1.0));
        svg.disc(at, 3.0, &fill(colour), "");
    }
}

fn draw(title: &str, key: &str, sweeps: &[SweepTable]) -> String {
    let mut svg = Svg::new(SIZE, title, ABOUT);
    svg.text(title, TITLE, [20.0, 32.0], Anchor::Start, BOLD);
    let axes = axes(sweeps);
    for (c, area) in FRAMES.into_iter().enumerate() {
        let [x, y] = axes(area);
        let error = ["random error, px", ""][c];
        let rulers = [
            Ruler::new(x, Side::Bottom, &digits).titled(key, 42.0),
            Ruler::new(y, Side::Left, &digits).titled(error, 52.0),
        ];
        frame(
            &mut svg,
            area,
            area,
            &rulers.map(|ruler| Ruler { grid: true, ..ruler }),
        );
        for (k, sweep) in sweeps.iter().enumerate() {
            curve(&mut svg, sweep, [x, y], c, series(k));
        }
        let name = ["along x", "along y"][c];
        let above = [area.x[0], area.y[0] - 10.0];
        svg.text(name, HEADING, above, Anchor::Start, BOLD);
    }
    let named = sweeps
        .iter()
        .enumerate()
        .map(|(k, sweep)| LegendEntry::line(stroke(series(k), 1.8), &sweep.name));
    let bound = LegendEntry::line(stroke(INK, 1.8) + DASHED, "its bound");
    let entries: Vec<LegendEntry> = named.chain([bound]).collect();
    legend::column(&mut svg, [740.0, 94.0], 22.0, &entries);
    svg.finish()
}

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [out, title, key, tables @ ..] = &arguments[..] else {
        eprintln!("compare OUT.svg TITLE KEY NAME=TABLE.csv ...");
        return ExitCode::from(2);
    };
    let done = tables
        .iter()
        .map(|table| read(table))
        .collect::<Result<Vec<_>, _>>()
        .and_then(|sweeps| std::fs::write(out, draw(title, key, &sweeps)).map_err(|e| format!("{out}: {e}")));
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(message) => {
            eprintln!("compare: {message}");
            ExitCode::from(2)
        }
    }
}
