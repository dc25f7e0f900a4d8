//! The report as one HTML file, without scripts, that prints to A4.

use std::fmt::Write;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use super::block::{Block, Cell, CellKind, Item, Printed};
use crate::figure::escape;

const STYLE: &str = "body{font:15px/1.5 system-ui,'Liberation Sans',sans-serif;font-variant-numeric:tabular-nums;color:#22252a;max-width:60rem;margin:2rem auto;padding:0 1rem}\
h1{font-size:1.1rem;font-weight:400;color:#5c6067;margin:0}.answer{font-size:1.6rem;line-height:1.3;margin:.4rem 0 1rem;max-width:44rem}\
h2{font-size:1.1rem;margin:2.2rem 0 .6rem;border-bottom:1px solid #c9c6bd}p,li{max-width:72ch}ul{padding-left:1.2rem}.deeper{margin-left:1.4rem}\
table{border-collapse:collapse}td,th{text-align:left;vertical-align:top;padding:.15rem .9rem .15rem 0;border-bottom:1px solid #e6e3da;font-weight:400}\
th{color:#5c6067}.wide{overflow-x:auto}.n{white-space:nowrap}.how{color:#5c6067;font-size:.88em}\
figure{margin:0 0 1rem}figure svg,img{max-width:100%;height:auto}.sharp{image-rendering:pixelated}\
pre{white-space:pre-wrap;overflow-wrap:anywhere;font-size:12px;line-height:1.4}code{overflow-wrap:anywhere}\
.caution{border-left:3px solid #8f5600;padding-left:.8rem}\
@page{size:A4;margin:16mm}@media print{body{margin:0;padding:0;font-size:10.5px}h2{break-after:avoid}tr,figure{break-inside:avoid}pre{font-size:9px}}";

/// A report as HTML.
pub(super) fn write(printed: &Printed) -> String {
    let [question, answer] = [&printed.question, &printed.answer].map(|text| escape(text));
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width\">\
         <title>{question}</title><style>{STYLE}</style></head>\n<body>\n<h1>{question}</h1>\n<p class=\"answer\">{answer}</p>\n"
    );
    for block in &printed.blocks {
        out.push_str(&one(block));
        out.push('\n');
    }
    out.push_str("</body>\n</html>\n");
    out
}

fn one(block: &Block) -> String {
    match block {
        Block::Heading(text) => format!("<h2>{}</h2>", escape(text)),
        Block::Paragraph(text) => format!("<p>{}</p>", escape(text)),
        Block::Note(text) => format!("<p class=\"how\">{}</p>", escape(text)),
        Block::Caution(text) => format!("<p class=\"caution\">{}</p>", escape(text)),
        Block::Steps(steps) => {
            let steps: String = steps
                .iter()
                .map(|step| format!("<li>{}</li>\n", escape(step)))
                .collect();
            format!("<ol>\n{steps}</ol>")
        }
        Block::List(items) => format!("<ul>\n{}</ul>", items.iter().map(item).collect::<String>()),
        Block::Drawing { svg, caption } => figure(svg, caption.as_deref()),
        Block::Picture { png, caption } => {
            let image = format!(
                "<img class=\"sharp\" alt=\"{}\" src=\"data:image/png;base64,{}\">",
                escape(caption),
                STANDARD.encode(png)
            );
            figure(&image, Some(caption))
        }
        Block::Table { head, rows } => table(head, rows),
        Block::Verbatim(text) => format!("<pre>{}</pre>", escape(text)),
    }
}

fn item(item: &Item) -> String {
    let class = if item.deeper { " class=\"deeper\"" } else { "" };
    format!("<li{class}>{}</li>\n", escape(&item.text))
}

fn figure(shown: &str, caption: Option<&str>) -> String {
    let caption = caption.map_or(String::new(), |caption| {
        format!("<figcaption class=\"how\">{}</figcaption>", escape(caption))
    });
    format!("<figure>\n{shown}{caption}</figure>")
}

/// A table with headings may be wider than the page.
fn table(head: &[String], rows: &[Vec<Cell>]) -> String {
    let mut out = String::from("<div class=\"wide\"><table>\n");
    if !head.is_empty() {
        let cells: String = head.iter().map(|h| format!("<th>{}</th>", escape(h))).collect();
        let _ = writeln!(out, "<tr>{cells}</tr>");
    }
    for row in rows {
        let cells: String = row.iter().map(cell).collect();
        let _ = writeln!(out, "<tr>{cells}</tr>");
    }
    out.push_str("</table></div>");
    out
}

fn cell(cell: &Cell) -> String {
    let text = escape(&cell.text);
    match cell.kind {
        CellKind::Words => format!("<td>{text}</td>"),
        CellKind::Value => format!("<td class=\"n\">{text}</td>"),
        CellKind::Remark => format!("<td class=\"how\">{text}</td>"),
        CellKind::Verbatim => format!("<td><code>{text}</code></td>"),
    }
}
