//! The report of a study, to hand to a colleague: one HTML file, or a document from which a PDF is
//! typeset. It is made of the study's own files, so that it says what they say.

mod block;
mod html;
mod typst;
mod words;

use std::path::Path;

use motefield_files::table::Table;
use motefield_rig::plan::{Assessment, Heading};
use motefield_study::manifest::Manifest;
use motefield_study::verify::judge::Verdict;

use crate::format::typeset_all;
use crate::plan::timing;
use block::{Block, Cell, CellKind, Item, Printed};
use words::{Words, steps};

/// Name of the file.
pub const NAME: &str = "report.html";
/// Name of the PDF.
pub const PDF_NAME: &str = "report.pdf";

/// What stands on page and report alike about the light.
pub const NO_SAFETY_ASSESSMENT: &str =
    "This is not a safety assessment; local rules and licensed practice decide.";

/// What to do first where nothing asks for more.
const LOOK: &str = "Record some pairs at this setting and see whether they look as the pictures here do.";

/// A study to report on.
#[derive(Debug, Clone, Copy)]
pub struct Handout<'a> {
    /// What was asked, in a sentence.
    pub question: &'a str,
    /// The answer in words: its first line says it in a sentence, indented lines belong to the line
    /// above them.
    pub answer: &'a str,
    /// The plan of the setup, with the recommended setting where there is one.
    pub assessment: Option<&'a Assessment>,
    /// From what it was computed.
    pub manifest: &'a Manifest,
    /// The command that computes it again.
    pub command: &'a str,
    /// The study's files: pictures (SVG, PNG) and tables (CSV) are shown.
    pub files: &'a [(String, Vec<u8>)],
}

/// The report as HTML, without scripts; it prints to A4.
pub fn html(handout: &Handout) -> String {
    html::write(&printed(handout))
}

/// The report as a document of the typesetter Typst (0.13 or later), which makes a PDF of it.
pub fn typst(handout: &Handout) -> String {
    typst::write(&printed(handout))
}

fn printed(handout: &Handout) -> Printed {
    let words = Words::of(handout.answer);
    let rules = handout.assessment.map_or(&[][..], |a| &a.rules);
    let mut blocks = Vec::new();
    let caution = handout.assessment.and_then(|a| a.caution.as_ref());
    blocks.extend(caution.map(|caution| Block::Caution(caution.clone())));
    blocks.push(Block::Note(NO_SAFETY_ASSESSMENT.to_owned()));
    let mut steps = steps(rules, &words);
    if steps.is_empty() && handout.assessment.is_some() {
        steps.push(LOOK.to_owned());
    }
    if !steps.is_empty() {
        blocks.push(heading("What to do first"));
        blocks.push(Block::Steps(steps.iter().map(|step| typeset_all(step)).collect()));
    }
    blocks.extend(drawings(handout));
    blocks.extend(section("The answer in full", &words.details));
    blocks.extend(section("What it assumes, and what that is worth", &words.assumed));
    if let Some(assessment) = handout.assessment {
        blocks.extend(plan(assessment));
    }
    blocks.extend(tables(handout));
    blocks.extend(origin(handout));
    Printed {
        question: handout.question.to_owned(),
        answer: typeset_all(&words.sentence),
        blocks,
    }
}

fn heading(text: &str) -> Block {
    Block::Heading(text.to_owned())
}

/// Lines as paragraphs. Indented ones are points of a list, or rows of a table where they stand in
/// columns, two spaces apart at least.
fn section(title: &str, lines: &[&str]) -> Vec<Block> {
    let mut blocks = Vec::new();
    for line in lines {
        let columns = line.split("  ").map(str::trim).filter(|part| !part.is_empty());
        let mut cells: Vec<Cell> = columns.map(|part| in_column(typeset_all(part))).collect();
        match (line.starts_with(' '), blocks.last_mut()) {
            (false, _) => blocks.push(Block::Paragraph(typeset_all(line))),
            (true, Some(Block::Table { rows, .. })) if cells.len() > 1 => rows.push(cells),
            (true, _) if cells.len() > 1 => blocks.push(table(vec![cells])),
            (true, last) => {
                let text = cells.pop().map_or_else(String::new, |cell| cell.text);
                let deeper = line.starts_with("    ");
                let item = Item { text, deeper };
                match last {
                    Some(Block::List(items)) => items.push(item),
                    _ => blocks.push(Block::List(vec![item])),
                }
            }
        }
    }
    if !blocks.is_empty() {
        blocks.insert(0, heading(title));
    }
    blocks
}

/// Longest text that a column keeps on one line.
const SHORT: usize = 16;

fn in_column(text: String) -> Cell {
    match text.chars().count() <= SHORT {
        true => CellKind::Value.of(text),
        false => CellKind::Words.of(text),
    }
}

fn ends_with(name: &str, extension: &str) -> bool {
    Path::new(name).extension().is_some_and(|e| e == extension)
}

fn files<'a>(handout: &Handout<'a>, extension: &'a str) -> impl Iterator<Item = (&'a str, &'a str)> {
    let all = handout.files.iter();
    all.filter_map(move |(name, bytes)| {
        let shown = ends_with(name, extension).then(|| std::str::from_utf8(bytes).ok())?;
        Some((name.as_str(), shown?))
    })
}

/// Every picture of the study.
fn drawings(handout: &Handout) -> Vec<Block> {
    let drawn = files(handout, "svg").map(|(name, svg)| Block::Drawing {
        svg: svg.to_owned(),
        caption: Some(name.to_owned()),
    });
    let pictures = handout.files.iter().filter(|(name, _)| ends_with(name, "png"));
    let pictures = pictures.map(|(name, png)| Block::Picture {
        png: png.clone(),
        caption: name.trim_end_matches(".png").to_owned(),
    });
    drawn.chain(pictures).collect()
}

/// The timing of a pair, the light chain and the rules.
fn plan(assessment: &Assessment) -> Vec<Block> {
    let mut blocks = Vec::new();
    if let Some([svg, _]) = timing(assessment) {
        blocks.push(heading("Timing of a pair"));
        blocks.push(Block::Drawing { svg, caption: None });
    }
    let row = |words: &str, value: &str, remark: &str| -> Vec<Cell> {
        vec![
            CellKind::Words.of(typeset_all(words)),
            CellKind::Value.of(typeset_all(value)),
            CellKind::Remark.of(typeset_all(remark)),
        ]
    };
    let mut parts = assessment.parts.iter();
    if let Some((_, facts)) = parts.find(|(heading, _)| *heading == Heading::Light) {
        blocks.push(heading("From the lamp to the grey level"));
        let rows = facts.iter().map(|fact| row(fact.label, &fact.text, &fact.how));
        blocks.push(table(rows.collect()));
    }
    if !assessment.rules.is_empty() {
        blocks.push(heading("Rules of the trade"));
        let rows = assessment.rules.iter().map(|rule| {
            let mut cells = row(&rule.label, &rule.shown, &rule.limit);
            cells.insert(0, CellKind::Value.of(rule.status.word()));
            cells
        });
        blocks.push(table(rows.collect()));
    }
    blocks
}

/// A table without headings.
fn table(rows: Vec<Vec<Cell>>) -> Block {
    let head = Vec::new();
    Block::Table { head, rows }
}

/// Columns of tables that a reader looks at first; the files have them all.
const COLUMNS: [&str; 19] = [
    "case",
    "expectation",
    "measured",
    "expected",
    "verdict",
    "value",
    "unit",
    "state",
    "streak_px",
    "pairs",
    "total_px",
    "total_px_lo",
    "total_px_hi",
    "bias_x_px",
    "random_x_px",
    "relative_error",
    "relative_error_lo",
    "relative_error_hi",
    "outliers",
];

/// The tables, of their columns those one looks at first, and those that a key names.
fn tables(handout: &Handout) -> Vec<Block> {
    let mut blocks = Vec::new();
    for (name, csv) in files(handout, "csv") {
        let Ok(table) = Table::parse(Path::new(name), csv) else {
            continue;
        };
        let wanted = |head: &str| COLUMNS.contains(&head) || head.contains('.');
        let shown: Vec<usize> = (0..table.columns.len())
            .filter(|k| wanted(&table.columns[*k]))
            .collect();
        if shown.is_empty() {
            continue;
        }
        let verdict = table.columns.iter().position(|column| column == "verdict");
        let agrees = |row: &Vec<String>| {
            verdict.is_some_and(|k| row.get(k).is_some_and(|v| v == Verdict::Agrees.as_str()))
        };
        let kept: Vec<&Vec<String>> = table.rows.iter().filter(|row| !agrees(row)).collect();
        let value =
            |row: &[String], k: usize| CellKind::Value.of(rounded(row.get(k).map_or("", String::as_str)));
        blocks.push(heading(name));
        let head = shown.iter().map(|k| table.columns[*k].replace("_px", ", px"));
        let rows = kept
            .iter()
            .map(|row| shown.iter().map(|k| value(row, *k)).collect());
        blocks.extend((!kept.is_empty()).then(|| Block::Table {
            head: head.map(|name| name.replace('_', " ")).collect(),
            rows: rows.collect(),
        }));
        let agreeing = table.rows.len() - kept.len();
        blocks.extend(
            (agreeing > 0).then(|| Block::Note(format!("{agreeing} rows that agree stand in the file."))),
        );
        let left = table.columns.len() - shown.len();
        blocks.push(Block::Note(format!("{left} more columns in {name}.")));
    }
    blocks
}

/// A number to three digits; other text as it is.
fn rounded(cell: &str) -> String {
    match cell.parse::<f64>() {
        Ok(number) if cell.contains('.') => motefield_rig::quantity::short(number),
        _ => cell.to_owned(),
    }
}

/// Where it comes from and how to get it again.
fn origin(handout: &Handout) -> Vec<Block> {
    let manifest = handout.manifest;
    let identity = manifest.identity();
    let short = &identity[..12.min(identity.len())];
    let seed = manifest.seed.map_or("none".to_owned(), |seed| seed.to_string());
    let pair = |what: &str, value: &str| vec![CellKind::Words.of(what), CellKind::Verbatim.of(value)];
    let mut rows = vec![
        pair("program", &format!("motefield {}", manifest.version)),
        pair("results version", &manifest.results_version.to_string()),
        pair("numeric kernel", &manifest.kernel),
        pair("seed", &seed),
        pair("identity of the study", &identity),
    ];
    rows.extend(
        manifest
            .files_read
            .iter()
            .map(|file| pair(&file.path, &file.sha256)),
    );
    let mut blocks = vec![
        heading("To compute it again"),
        Block::Verbatim(handout.command.to_owned()),
        table(rows),
    ];
    let stated = manifest.setup.as_ref();
    if let Some(setup) = stated.filter(|setup| !(setup.text.is_empty() && setup.changes.is_empty())) {
        blocks.push(heading(&format!("The setup, {}", setup.name)));
        if !setup.changes.is_empty() {
            let changes = setup.changes.iter();
            blocks.push(table(
                changes
                    .map(|[key, value]| pair("changed", &format!("{key} = {value}")))
                    .collect(),
            ));
        }
        blocks.extend((!setup.text.is_empty()).then(|| Block::Verbatim(setup.text.clone())));
        for [name, text] in &setup.parts {
            blocks.push(heading(&format!("Its part {name}")));
            blocks.push(Block::Verbatim(text.clone()));
        }
    }
    blocks.push(heading("How to cite"));
    blocks.push(Block::Paragraph(format!(
        "motefield {}, results version {}, study {short}: {} With the setup and manifest.json, which stand for everything it was computed from.",
        manifest.version, manifest.results_version, handout.question,
    )));
    blocks.push(Block::Note(NO_SAFETY_ASSESSMENT.to_owned()));
    blocks
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whatever setup, answer and files say, it stays text.
    #[test]
    fn hostile_text_stays_text() {
        let hostile = "</pre><script>alert(1)</script>";
        let mut manifest = Manifest::new("decide", serde_json::json!({}));
        manifest.setup = Some(motefield_study::manifest::EffectiveSetup {
            name: hostile.to_owned(),
            text: hostile.to_owned(),
            parts: vec![[hostile.to_owned(), hostile.to_owned()]],
            changes: vec![[hostile.to_owned(), hostile.to_owned()]],
        });
        let table = format!("total_px,{hostile}.\n{hostile},1\n").into_bytes();
        let handout = Handout {
            question: hostile,
            answer: &format!("{hostile}\nCheck {hostile}\n  {hostile}\nAssumed {hostile}\n"),
            assessment: None,
            manifest: &manifest,
            command: hostile,
            files: &[(format!("{hostile}.csv"), table)],
        };
        let page = html(&handout);
        assert!(!page.contains("<script"), "{page}");
        assert!(page.matches("&lt;script&gt;").count() >= 12);
    }

    /// What stands in columns is a table, other indented lines a list.
    #[test]
    fn columns_become_a_table() {
        let lines = [
            "Error:",
            "   along x   2 us   3",
            "  one more",
            "    of it",
            "End.",
        ];
        let rest = &section("Title", &lines)[1..];
        let row = ["along x", "2 µs", "3"]
            .map(|cell| CellKind::Value.of(cell))
            .to_vec();
        let item = |text: &str, deeper| Item {
            text: text.to_owned(),
            deeper,
        };
        assert_eq!(
            rest,
            [
                Block::Paragraph("Error:".to_owned()),
                table(vec![row]),
                Block::List(vec![item("one more", false), item("of it", true)]),
                Block::Paragraph("End.".to_owned()),
            ]
        );
    }
}
