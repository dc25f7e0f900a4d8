//! The page as one HTML file that needs nothing beside it.

use std::fmt::Write;

use super::text::cells;
use super::text::proposal_words;
use super::{diagram, diagram_of};
use crate::Apply;
use crate::figure::escape;
use motefield_rig::plan::{Assessment, Status};

const STYLE: &str = "body{font:15px/1.45 Helvetica,Arial,'Liberation Sans',sans-serif;color:#222;max-width:62rem;margin:1.5rem auto;padding:0 1rem}\
h1{font-size:1.5rem}h2{font-size:1.15rem;margin-top:1.8rem;border-bottom:1px solid #ccc}\
table{border-collapse:collapse;width:100%}td,th{text-align:left;vertical-align:top;padding:.2rem .6rem .2rem 0;border-bottom:1px solid #eee}\
th{font-weight:600}.n{white-space:nowrap;font-variant-numeric:tabular-nums}.how{color:#666;font-size:.88em}\
.s{display:inline-block;width:3.2em;text-align:center;border-radius:.25em;font-weight:600;color:#fff}\
.pass{background:#00775a}.warn{background:#9a6400}.fail{background:#b3261e}\
.caution{border:2px solid #b3261e;padding:.6rem 1rem;border-radius:.3rem}svg{max-width:100%;height:auto}\
@media print{body{margin:0;font-size:11px}h2{break-after:avoid}tr,svg{break-inside:avoid}}";

/// The page as HTML.
pub fn html(assessment: &Assessment, apply: Apply) -> String {
    let name = escape(&assessment.name);
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width\">\
         <title>Plan of {name}</title><style>{STYLE}</style></head>\n<body>\n<h1>Plan of {name}</h1>\n"
    );
    if let Some(caution) = &assessment.caution {
        let _ = writeln!(out, "<p class=\"caution\">{}</p>", escape(caution));
    }
    if !assessment.rules.is_empty() {
        rules(assessment, apply, &mut out);
    }
    for (heading, facts) in &assessment.parts {
        let _ = writeln!(out, "<h2>{}</h2>\n<table>", escape(heading.as_str()));
        for fact in facts {
            let [label, text, how] = [fact.label, &fact.text, &fact.how].map(escape);
            let _ = writeln!(
                out,
                "<tr><td>{label}</td><td class=\"n\">{text}</td><td class=\"how\">{how}</td></tr>"
            );
        }
        out.push_str("</table>\n");
    }
    if !assessment.arrangements.is_empty() {
        out.push_str("<h2>Arrangements of light and exposures</h2>\n<table><tr><th>arrangement</th><th>shortest separation</th><th>fastest velocity</th><th>streak there</th><th>pairs per second</th><th>gathers room light</th></tr>\n");
        for one in &assessment.arrangements {
            let label = escape(one.label);
            let label = if one.planned {
                format!("<b>{label}</b> (as planned)")
            } else {
                label
            };
            let _ = write!(out, "<tr><td>{label}</td>");
            for cell in cells(one) {
                let _ = write!(out, "<td class=\"n\">{}</td>", escape(&cell));
            }
            out.push_str("</tr>\n");
        }
        out.push_str("</table>\n");
    }
    if !assessment.assumed.is_empty() {
        out.push_str("<h2>Assumed, as the setup does not say otherwise</h2>\n<table>\n");
        for assumption in &assessment.assumed {
            let usual = crate::assumed::usual(assumption).unwrap_or_default();
            let [words, usual] = [assumption.to_string(), usual].map(|text| escape(&text));
            let _ = writeln!(out, "<tr><td>{words}</td><td class=\"how\">{usual}</td></tr>");
        }
        out.push_str("</table>\n");
    }
    if let Some(shown) = &diagram_of(assessment) {
        out.push_str("<h2>Timing of a pair</h2>\n");
        out.push_str(&diagram::draw(shown, "Timing of a pair"));
        let _ = writeln!(
            out,
            "<details><summary>The same as text</summary><pre>{}</pre></details>",
            escape(&diagram::text(shown))
        );
    }
    out.push_str("</body>\n</html>\n");
    out
}

/// What is wrong stands first.
fn rules(assessment: &Assessment, apply: Apply, out: &mut String) {
    let _ = writeln!(
        out,
        "<h2>Rules of the trade</h2>\n<p>{}</p>\n<table><tr><th></th><th>what</th><th>value</th><th>limit</th><th>source</th></tr>",
        escape(&assessment.verdict())
    );
    for status in [Status::Fail, Status::Warn, Status::Pass] {
        for rule in assessment.rules.iter().filter(|rule| rule.status == status) {
            let [label, shown, limit, source] =
                [rule.label.as_str(), &rule.shown, &rule.limit, rule.source].map(escape);
            let fix = rule.fix.as_ref().map_or(String::new(), |fix| {
                format!("<br><b>Change:</b> {}", escape(&fix.words))
            });
            let _ = writeln!(
                out,
                "<tr><td><span class=\"s {0}\">{0}</span></td><td>{label}{fix}</td><td class=\"n\">{shown}</td><td>{limit}</td><td class=\"how\">{source}</td></tr>",
                status.word()
            );
        }
    }
    out.push_str("</table>\n");
    if let Some(proposal) = &assessment.proposal {
        let _ = writeln!(out, "<p>{}</p>", escape(&proposal_words(proposal)));
        if let Some(settings) = proposal.settings() {
            let _ = writeln!(out, "<pre>{}</pre>", escape(&apply(&settings)));
        }
    }
}
