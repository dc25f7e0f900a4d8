//! The report of a study: one HTML file to hand to a colleague, without scripts, that prints to A4.
//! It is made of the study's own files, so that it says what they say.

use std::fmt::Write;
use std::path::Path;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use motefield_files::table::Table;
use motefield_rig::plan::{Assessment, Heading, Rule, RuleId, Status};
use motefield_study::manifest::Manifest;

use crate::decide::thumb::RULE_LEFT;
use crate::figure::escape;
use crate::format::typeset_all;
use crate::plan::timing;

/// Name of the file.
pub const NAME: &str = "report.html";

/// What stands on page and report alike about the light.
pub const NO_SAFETY_ASSESSMENT: &str =
    "This is not a safety assessment; local rules and licensed practice decide.";

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

const STYLE: &str = "body{font:15px/1.5 system-ui,'Liberation Sans',sans-serif;font-variant-numeric:tabular-nums;color:#22252a;max-width:60rem;margin:2rem auto;padding:0 1rem}\
h1{font-size:1.1rem;font-weight:400;color:#5c6067;margin:0}.answer{font-size:1.6rem;line-height:1.3;margin:.4rem 0 1rem;max-width:44rem}\
h2{font-size:1.1rem;margin:2.2rem 0 .6rem;border-bottom:1px solid #c9c6bd}p,li{max-width:72ch}ul{padding-left:1.2rem}.deeper{margin-left:1.4rem}\
table{border-collapse:collapse}td,th{text-align:left;vertical-align:top;padding:.15rem .9rem .15rem 0;border-bottom:1px solid #e6e3da;font-weight:400}\
th{color:#5c6067}.wide{overflow-x:auto}.n{white-space:nowrap}.how{color:#5c6067;font-size:.88em}\
figure{margin:0 0 1rem}figure svg,img{max-width:100%;height:auto}.sharp{image-rendering:pixelated}\
pre{white-space:pre-wrap;overflow-wrap:anywhere;font-size:12px;line-height:1.4}code{overflow-wrap:anywhere}\
.caution{border-left:3px solid #8f5600;padding-left:.8rem}\
@page{size:A4;margin:16mm}@media print{body{margin:0;padding:0;font-size:10.5px}h2{break-after:avoid}tr,figure{break-inside:avoid}pre{font-size:9px}}";

/// The report as HTML.
pub fn html(handout: &Handout) -> String {
    let words = Words::of(handout.answer);
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width\">\
         <title>{}</title><style>{STYLE}</style></head>\n<body>\n<h1>{}</h1>\n<p class=\"answer\">{}</p>\n",
        escape(handout.question),
        escape(handout.question),
        text(&words.sentence)
    );
    if let Some(caution) = handout.assessment.and_then(|a| a.caution.as_ref()) {
        let _ = writeln!(out, "<p class=\"caution\">{}</p>", escape(caution));
    }
    let _ = writeln!(out, "<p class=\"how\">{NO_SAFETY_ASSESSMENT}</p>");
    first(handout, &words, &mut out);
    drawings(handout, &mut out);
    section("The answer in full", &words.details, &mut out);
    section(
        "What it assumes, and what that is worth",
        &words.assumed,
        &mut out,
    );
    if let Some(assessment) = handout.assessment {
        plan(assessment, &mut out);
    }
    tables(handout, &mut out);
    origin(handout, &mut out);
    out.push_str("</body>\n</html>\n");
    out
}

/// The answer in words, taken apart.
#[derive(Debug, Default)]
struct Words<'a> {
    sentence: String,
    /// What to look into first.
    check: Option<&'a str>,
    details: Vec<&'a str>,
    assumed: Vec<&'a str>,
}

impl<'a> Words<'a> {
    fn of(answer: &'a str) -> Words<'a> {
        let mut words = Words::default();
        let begins_assumed = ["By the tolerances", "Assumed", "Also assumed"];
        for line in answer.lines().filter(|line| !line.trim().is_empty()) {
            if words.sentence.is_empty() && !line.starts_with("Question") {
                words.sentence = line.to_owned();
            } else if line.starts_with("Check ") {
                words.check = Some(line);
            } else if !words.assumed.is_empty() || begins_assumed.iter().any(|b| line.starts_with(b)) {
                words.assumed.push(line);
            } else {
                words.details.push(line);
            }
        }
        let interval = words
            .details
            .iter()
            .find_map(|line| line.trim().strip_prefix(INTERVAL));
        if let Some(interval) = interval {
            let sentence = words.sentence.trim_end_matches('.');
            words.sentence = format!("{sentence} ({INTERVAL}{interval}).");
        }
        words
    }
}

/// What stands before the interval of the best setting.
const INTERVAL: &str = "not distinguishable from the best with 95 % confidence: ";

/// Text with the signs that print has, escaped.
fn text(words: &str) -> String {
    escape(&typeset_all(words))
}

/// Lines as paragraphs, indented ones as the list of the line above them.
fn section(title: &str, lines: &[&str], out: &mut String) {
    if lines.is_empty() {
        return;
    }
    let _ = writeln!(out, "<h2>{}</h2>", escape(title));
    let mut listed = false;
    for line in lines {
        let indented = line.starts_with(' ');
        let deeper = line.starts_with("    ");
        if indented != listed {
            out.push_str(if indented { "<ul>\n" } else { "</ul>\n" });
            listed = indented;
        }
        let line = text(line.trim());
        let _ = match indented {
            true if deeper => writeln!(out, "<li class=\"deeper\">{line}</li>"),
            true => writeln!(out, "<li>{line}</li>"),
            false => writeln!(out, "<p>{line}</p>"),
        };
    }
    if listed {
        out.push_str("</ul>\n");
    }
}

/// What to do first: what a rule asks for, unless the study found that it does more harm than good;
/// then the assumption that matters most.
fn steps(rules: &[Rule], words: &Words) -> Vec<String> {
    let mut steps = Vec::new();
    let leaves_thumb = words.details.iter().any(|line| line.starts_with(RULE_LEFT));
    for status in [Status::Fail, Status::Warn] {
        let asks = |rule: &&Rule| rule.status == status && !(leaves_thumb && rule.id == RuleId::Streak);
        let fixes = rules
            .iter()
            .filter(asks)
            .filter_map(|rule| Some((rule, rule.fix.as_ref()?)));
        steps.extend(fixes.map(|(rule, fix)| format!("{}: {}", rule.label, fix.words)));
    }
    steps.extend(words.check.map(str::to_owned));
    if steps.is_empty() {
        steps.push(
            "Record some pairs at this setting and see whether they look as the pictures here do.".to_owned(),
        );
    }
    steps
}

fn first(handout: &Handout, words: &Words, out: &mut String) {
    let rules = handout.assessment.map_or(&[][..], |a| &a.rules);
    out.push_str("<h2>What to do first</h2>\n<ol>\n");
    for step in steps(rules, words) {
        let _ = writeln!(out, "<li>{}</li>", text(&step));
    }
    out.push_str("</ol>\n");
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
fn drawings(handout: &Handout, out: &mut String) {
    let captioned = |shown: &str, name: &str| {
        let caption = escape(name);
        format!("<figure>\n{shown}<figcaption class=\"how\">{caption}</figcaption></figure>\n")
    };
    for (name, svg) in files(handout, "svg") {
        out.push_str(&captioned(svg, name));
    }
    let pictures = handout.files.iter().filter(|(name, _)| ends_with(name, "png"));
    for (name, png) in pictures {
        let data = STANDARD.encode(png);
        let name = name.trim_end_matches(".png");
        let image = format!(
            "<img class=\"sharp\" alt=\"{}\" src=\"data:image/png;base64,{data}\">",
            escape(name)
        );
        out.push_str(&captioned(&image, name));
    }
}

/// The timing of a pair, the light chain and the rules.
fn plan(assessment: &Assessment, out: &mut String) {
    if let Some([svg, _]) = timing(assessment) {
        let _ = writeln!(out, "<h2>Timing of a pair</h2>\n<figure>\n{svg}</figure>");
    }
    let light = assessment
        .parts
        .iter()
        .find(|(heading, _)| *heading == Heading::Light);
    if let Some((_, facts)) = light {
        out.push_str("<h2>From the lamp to the grey level</h2>\n<table>\n");
        for fact in facts {
            let [label, shown, how] = [fact.label, &fact.text, &fact.how].map(text);
            let _ = writeln!(
                out,
                "<tr><td>{label}</td><td class=\"n\">{shown}</td><td class=\"how\">{how}</td></tr>"
            );
        }
        out.push_str("</table>\n");
    }
    if !assessment.rules.is_empty() {
        out.push_str("<h2>Rules of the trade</h2>\n<table>\n");
        for rule in &assessment.rules {
            let [label, shown, limit] = [rule.label.as_str(), &rule.shown, &rule.limit].map(text);
            let _ = writeln!(
                out,
                "<tr><td>{}</td><td>{label}</td><td class=\"n\">{shown}</td><td class=\"how\">{limit}</td></tr>",
                rule.status.word()
            );
        }
        out.push_str("</table>\n");
    }
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
fn tables(handout: &Handout, out: &mut String) {
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
        let _ = writeln!(
            out,
            "<h2>{}</h2>\n<div class=\"wide\"><table>\n<tr>",
            escape(name)
        );
        for k in &shown {
            let head = table.columns[*k].replace("_px", ", px").replace('_', " ");
            let _ = write!(out, "<th>{}</th>", escape(&head));
        }
        out.push_str("</tr>\n");
        let verdict = table.columns.iter().position(|column| column == "verdict");
        let agrees = |row: &Vec<String>| verdict.is_some_and(|k| row.get(k).is_some_and(|v| v == "agrees"));
        let kept: Vec<&Vec<String>> = table.rows.iter().filter(|row| !agrees(row)).collect();
        for row in &kept {
            out.push_str("<tr>");
            for k in &shown {
                let _ = write!(
                    out,
                    "<td class=\"n\">{}</td>",
                    escape(&rounded(row.get(*k).map_or("", String::as_str)))
                );
            }
            out.push_str("</tr>\n");
        }
        let left = table.columns.len() - shown.len();
        let agreeing = table.rows.len() - kept.len();
        if agreeing > 0 {
            let _ = writeln!(
                out,
                "</table></div>\n<p class=\"how\">{agreeing} more rows agree.</p><div><table>"
            );
        }
        let _ = writeln!(
            out,
            "</table></div>\n<p class=\"how\">{left} more columns in {}.</p>",
            escape(name)
        );
    }
}

/// A number to three digits; other text as it is.
fn rounded(cell: &str) -> String {
    match cell.parse::<f64>() {
        Ok(number) if cell.contains('.') => motefield_rig::quantity::short(number),
        _ => cell.to_owned(),
    }
}

/// Where it comes from and how to get it again.
fn origin(handout: &Handout, out: &mut String) {
    let manifest = handout.manifest;
    let identity = manifest.identity();
    let short = &identity[..12.min(identity.len())];
    out.push_str("<h2>To compute it again</h2>\n");
    let _ = writeln!(out, "<pre>{}</pre>\n<table>", escape(handout.command));
    let seed = manifest.seed.map_or("none".to_owned(), |seed| seed.to_string());
    let results = manifest.results_version.to_string();
    for (what, value) in [
        ("program", format!("motefield {}", manifest.version)),
        ("results version", results),
        ("numeric kernel", manifest.kernel.clone()),
        ("seed", seed),
        ("identity of the study", identity.clone()),
    ] {
        let _ = writeln!(
            out,
            "<tr><td>{what}</td><td><code>{}</code></td></tr>",
            escape(&value)
        );
    }
    for file in &manifest.files_read {
        let [path, hash] = [&file.path, &file.sha256].map(|text| escape(text));
        let _ = writeln!(out, "<tr><td>{path}</td><td><code>{hash}</code></td></tr>");
    }
    out.push_str("</table>\n");
    if let Some(setup) = &manifest.setup {
        let _ = writeln!(out, "<h2>The setup, {}</h2>", escape(&setup.name));
        for [key, value] in &setup.changes {
            let _ = writeln!(
                out,
                "<p>Changed: <code>{} = {}</code></p>",
                escape(key),
                escape(value)
            );
        }
        let _ = writeln!(out, "<pre>{}</pre>", escape(&setup.text));
        for [name, text] in &setup.parts {
            let _ = writeln!(
                out,
                "<h2>Its part {}</h2>\n<pre>{}</pre>",
                escape(name),
                escape(text)
            );
        }
    }
    let _ = writeln!(
        out,
        "<h2>How to cite</h2>\n<p>motefield {}, results version {}, study {short}: {} With the setup and <code>manifest.json</code>, which stand for everything it was computed from.</p>\n<p class=\"how\">{NO_SAFETY_ASSESSMENT}</p>",
        escape(&manifest.version),
        manifest.results_version,
        escape(handout.question),
    );
}

#[cfg(test)]
mod tests {
    use motefield_rig::setup::{EMBEDDED, Setup};

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
        let page = html(&Handout {
            question: hostile,
            answer: &format!("{hostile}\nCheck {hostile}\n  {hostile}\nAssumed {hostile}\n"),
            assessment: None,
            manifest: &manifest,
            command: hostile,
            files: &[(format!("{hostile}.csv"), table)],
        });
        assert!(!page.contains("<script"), "{page}");
        assert!(page.matches("&lt;script&gt;").count() >= 12);
    }

    /// A rule of thumb that the study leaves is no advice; any other rule stays one.
    #[test]
    fn a_rule_that_the_answer_leaves_is_no_advice() {
        let change = [("light.pulse_length", "2 ms"), ("sheet.out_of_plane", "0.4")];
        let setup = Setup::from_text("rig", EMBEDDED, &change).unwrap();
        let rules = Assessment::of(&setup).unwrap().rules;
        let before = steps(&rules, &Words::of("Use 2 ms.\n"));
        let answer = format!("Use 2 ms.\n{RULE_LEFT}: it is.\n");
        let after = steps(&rules, &Words::of(&answer));
        let streak = |steps: &[String]| steps.iter().filter(|s| s.contains("streak")).count();
        assert_eq!((streak(&before), streak(&after)), (1, 0), "{before:?}");
        assert_eq!(before.len(), after.len() + 1);
        assert!(!after.is_empty());
    }

    /// The interval joins the answer's sentence.
    #[test]
    fn the_sentence_has_its_interval() {
        let words = Words::of(
            "Question: what.\nUse 5 us.\n  not distinguishable from the best with 95 % confidence: 4 us to 6 us\nCheck x first.\nAssumed: y.\n",
        );
        assert_eq!(
            words.sentence,
            "Use 5 us (not distinguishable from the best with 95 % confidence: 4 us to 6 us)."
        );
        assert_eq!(words.check, Some("Check x first."));
        assert_eq!(words.assumed, ["Assumed: y."]);
    }
}
