//! The report as a document of the typesetter Typst, from 0.13 on, which makes a PDF of it; it
//! needs no file beside it. All text stands in string literals, where nothing is markup.

use std::fmt::Write;

use super::block::{Block, Cell, CellKind, Item, Printed};

/// Page, letters, and the few shapes that a report has.
const STYLE: &str = r##"#set page(paper: "a4", margin: 16mm, numbering: "1 / 1")
#set text(font: ("Liberation Sans", "Helvetica", "Arial", "Libertinus Serif"), size: 9pt, fill: rgb("#22252a"), number-width: "tabular")
#set par(leading: 0.55em)
#let grey = rgb("#5c6067")
#let rule = 0.5pt + rgb("#c9c6bd")
#show heading: it => block(width: 100%, above: 16pt, below: 8pt, inset: (bottom: 3pt), stroke: (bottom: rule), sticky: true, text(size: 10.5pt, it.body))
#show raw: set text(size: 6.8pt)
#let small(words) = text(size: 0.88em, fill: grey, words)
#let fitting(shown, scaled) = layout(space => {
  let natural = measure(shown)
  let share = calc.min(1, space.width / natural.width, 240mm / natural.height)
  if share < 1 { scaled(share * natural.width) } else { shown }
})
#let drawing(svg) = fitting(image(bytes(svg), format: "svg"), width => image(bytes(svg), format: "svg", width: width))
#let picture(png) = image(bytes(png), format: "png", width: 80%, scaling: "pixelated")
#let shown(it, caption) = block(breakable: false, above: 10pt, below: 10pt, stack(spacing: 4pt, it, small(caption)))
#let lines(columns, ..cells) = layout(space => {
  let at(size) = {
    set text(size: size)
    table(columns: columns, stroke: (_, _) => (bottom: 0.4pt + rgb("#e6e3da")), inset: (left: 0em, right: 0.9em, y: 0.3em), ..cells)
  }
  // A table with a column that takes what room there is is as wide as the page.
  let natural = if columns.contains(1fr) { space.width } else { measure(at(8pt)).width }
  at(calc.max(4.5pt, 8pt * calc.min(1, space.width / natural)))
})
"##;

/// A report as a Typst document.
pub(super) fn write(printed: &Printed) -> String {
    let [question, answer] = [&printed.question, &printed.answer].map(|text| string(text));
    let mut out = format!("#set document(title: {question}, date: none)\n{STYLE}");
    let _ = writeln!(out, "#text(size: 10.5pt, fill: grey, {question})");
    let _ = writeln!(out, "#block(above: 8pt, below: 12pt, text(size: 15pt, {answer}))");
    for block in &printed.blocks {
        let _ = writeln!(out, "#{}", one(block));
    }
    out
}

fn one(block: &Block) -> String {
    match block {
        Block::Heading(text) => format!("heading({})", string(text)),
        Block::Paragraph(text) => format!("par({})", string(text)),
        Block::Note(text) => format!("par(small({}))", string(text)),
        Block::Caution(text) => format!(
            "block(inset: (left: 8pt), stroke: (left: 2pt + rgb(\"#8f5600\")), {})",
            string(text)
        ),
        Block::Steps(steps) => format!("enum({})", arguments(steps.iter().map(|step| string(step)))),
        Block::List(items) => format!("list({})", arguments(items.iter().map(item))),
        Block::Drawing { svg, caption } => {
            let caption = caption.as_deref().unwrap_or_default();
            format!("shown(drawing({}), {})", string(svg), string(caption))
        }
        Block::Picture { png, caption } => {
            let bytes = arguments(png.iter().map(u8::to_string));
            format!("shown(picture(({bytes})), {})", string(caption))
        }
        Block::Table { head, rows } => table(head, rows),
        Block::Verbatim(text) => format!("raw({}, block: true)", string(text)),
    }
}

fn item(item: &Item) -> String {
    match item.deeper {
        true => format!("pad(left: 1.2em, {})", string(&item.text)),
        false => string(&item.text),
    }
}

fn table(head: &[String], rows: &[Vec<Cell>]) -> String {
    let width = rows.iter().map(Vec::len).fold(head.len(), usize::max);
    // What may be broken into lines takes the room that is left.
    let broken = |k: usize| {
        let cells = || rows.iter().filter_map(|row| row.get(k));
        head.is_empty() && cells().any(|cell| cell.kind == CellKind::Remark)
    };
    let columns = (0..width).map(|k| if broken(k) { "1fr" } else { "auto" }.to_owned());
    let mut cells = Vec::new();
    if !head.is_empty() {
        let names = head.iter().map(|name| format!("small({})", string(name)));
        cells.push(format!("table.header({})", arguments(names)));
    }
    for row in rows {
        cells.extend(row.iter().map(cell));
        cells.extend(vec!["[]".to_owned(); width - row.len()]);
    }
    format!(
        "lines(({}), {})",
        arguments(columns),
        arguments(cells.into_iter())
    )
}

fn cell(cell: &Cell) -> String {
    let text = string(&cell.text);
    match cell.kind {
        CellKind::Words => text,
        CellKind::Value => format!("box({text})"),
        CellKind::Remark => format!("small({text})"),
        CellKind::Verbatim => format!("raw({text})"),
    }
}

/// Arguments of a call, or the members of a list, with the comma that makes a list of one.
fn arguments(all: impl Iterator<Item = String>) -> String {
    all.map(|one| one + ",").collect()
}

/// A text as a string literal.
fn string(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 2);
    out.push('"');
    for c in text.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            _ => out.push(c),
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The Typst reference, "str": a literal ends at its quotation mark, and only a backslash is
    /// special within.
    #[test]
    fn a_literal_holds_any_text() {
        assert_eq!(string("plain #text"), "\"plain #text\"");
        assert_eq!(string("a \"b\" \\"), "\"a \\\"b\\\" \\\\\"");
    }
}
