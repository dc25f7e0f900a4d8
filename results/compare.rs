//! Draws the random error of several sweeps of one key into one picture, with the Cramér–Rao bound: `compare OUT.svg TITLE KEY
//! NAME=TABLE.csv …`. A part of `results/regenerate`.

use std::process::ExitCode;

use motefield_report::figure::{Anchor, Area, Axis, Scale, Svg};
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
const COLOURS: [&str; 5] = ["#263c8c", "#c8501e", "#2d966e", "#8a4fa3", "#7a6a00"];

/// Value of the key, error with its interval along x and along y, bound along x and y, px.
type Row = (f64, [[f64; 3]; 2], [f64; 2]);

struct Sweep {
    name: String,
    rows: Vec<Row>,
}

fn read(argument: &str) -> Result<Sweep, String> {
    let (name, path) = argument.split_once('=').ok_or("NAME=TABLE.csv is wanted")?;
    let text = std::fs::read_to_string(path).map_err(|e| format!("{path}: {e}"))?;
    let mut lines = text.lines().map(|line| line.split(',').collect::<Vec<_>>());
    let head = lines.next().ok_or_else(|| format!("{path}: is empty"))?;
    let rows = lines.map(|row| {
        let at = |column: &str| -> Result<f64, String> {
            let k = head
                .iter()
                .position(|h| *h == column)
                .ok_or_else(|| format!("{path}: no {column}"))?;
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
    Ok(Sweep {
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

fn draw(title: &str, key: &str, sweeps: &[Sweep]) -> String {
    let mut svg = Svg::new(
        SIZE,
        title,
        "Random error along x and along y of each method, with 95 % intervals; dashed, its Cramér-Rao bound.",
    );
    svg.text(title, 18.0, [20.0, 32.0], Anchor::Start, "font-weight=\"bold\"");
    let all = || sweeps.iter().flat_map(|s| &s.rows);
    let errors = all().flat_map(|(_, e, b)| [e[0][0], e[1][0], b[0], b[1]]);
    let y_range = range(errors);
    let values: Vec<f64> = all().map(|(v, _, _)| *v).collect();
    let from_zero = values.contains(&0.0);
    let last = values.iter().copied().fold(0.0, f64::max);
    for (c, frame) in FRAMES.into_iter().enumerate() {
        let x = Axis {
            scale: if from_zero { Scale::Linear } else { Scale::Log },
            range: if from_zero {
                [-0.04 * last, 1.04 * last]
            } else {
                range(values.iter().copied())
            },
            place: frame.x,
        };
        let y = Axis {
            scale: Scale::Log,
            range: y_range,
            place: [frame.y[1], frame.y[0]],
        };
        let grid = "stroke=\"#000\" stroke-opacity=\"0.1\"";
        for tick in x.ticks(digits, |label| 7.5 * label.len() as f64 + 10.0) {
            svg.line(
                [tick.at, frame.y[1]],
                [tick.at, frame.y[1] + 4.0],
                "stroke=\"#222\"",
            );
            if let Some(label) = tick.label {
                svg.line([tick.at, frame.y[0]], [tick.at, frame.y[1]], grid);
                svg.text(&label, 12.0, [tick.at, frame.y[1] + 18.0], Anchor::Middle, "");
            }
        }
        for tick in y.ticks(digits, |_| 20.0) {
            svg.line(
                [frame.x[0], tick.at],
                [frame.x[0] - 4.0, tick.at],
                "stroke=\"#222\"",
            );
            if let Some(label) = tick.label {
                svg.line([frame.x[0], tick.at], [frame.x[1], tick.at], grid);
                svg.text(&label, 12.0, [frame.x[0] - 7.0, tick.at + 4.0], Anchor::End, "");
            }
        }
        for (sweep, colour) in sweeps.iter().zip(COLOURS) {
            let stroke = format!("fill=\"none\" stroke=\"{colour}\" stroke-width=\"1.8\"");
            let line = |of: &dyn Fn(&Row) -> f64| -> Vec<[f64; 2]> {
                sweep
                    .rows
                    .iter()
                    .map(|row| [x.at(row.0), y.clamped(of(row))])
                    .collect()
            };
            svg.path(
                &line(&|row| row.2[c]),
                false,
                &format!("{stroke} stroke-dasharray=\"3 4\""),
            );
            let errors = line(&|row| row.1[c][0]);
            svg.path(&errors, false, &stroke);
            for (row, at) in sweep.rows.iter().zip(errors) {
                let [_, lo, hi] = row.1[c];
                svg.line(
                    [at[0], y.clamped(lo)],
                    [at[0], y.clamped(hi)],
                    &format!("stroke=\"{colour}\""),
                );
                svg.disc(at, 3.0, &format!("fill=\"{colour}\""), "");
            }
        }
        svg.area(frame, "fill=\"none\" stroke=\"#222\"");
        let middle = 0.5 * (frame.x[0] + frame.x[1]);
        svg.text(key, 13.0, [middle, frame.y[1] + 42.0], Anchor::Middle, "");
        svg.text(
            ["along x", "along y"][c],
            14.0,
            [frame.x[0], frame.y[0] - 10.0],
            Anchor::Start,
            "font-weight=\"bold\"",
        );
    }
    svg.upright(
        "random error, px",
        13.0,
        [22.0, 0.5 * (FRAMES[0].y[0] + FRAMES[0].y[1])],
        "",
    );
    for (k, (sweep, colour)) in sweeps.iter().zip(COLOURS).enumerate() {
        let y = 94.0 + 22.0 * k as f64;
        svg.line(
            [740.0, y],
            [762.0, y],
            &format!("stroke=\"{colour}\" stroke-width=\"1.8\""),
        );
        svg.text(&sweep.name, 13.0, [770.0, y + 4.5], Anchor::Start, "");
    }
    let y = 94.0 + 22.0 * sweeps.len() as f64;
    svg.line(
        [740.0, y],
        [762.0, y],
        "stroke=\"#222\" stroke-width=\"1.8\" stroke-dasharray=\"3 4\"",
    );
    svg.text("its bound", 13.0, [770.0, y + 4.5], Anchor::Start, "");
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
