//! The key table as data, for programs that make controls of it.

use serde_json::{Value, json};

use super::{Key, Kind, SECTIONS};

/// Every section with its keys: `path`, `kind` (a word), `must` (what may be written, in words),
/// `unit`,
/// `range` and `log` of a slider, `words` of a choice, `about`, `default`, `otherwise`, `assumes`,
/// `usual`, `instead_of`, `flows`.
pub fn json() -> Value {
    let section = |section: &super::Section| {
        let keys = section.keys.iter().map(|key| entry(key));
        json!({ "name": section.name, "title": section.title, "keys": keys.collect::<Value>() })
    };
    SECTIONS.iter().map(section).collect()
}

fn entry(key: &Key) -> Value {
    json!({
        "path": key.path,
        "kind": kind(&key.kind),
        "must": key.kind.words(),
        "words": match &key.kind {
            Kind::Choice(words) => words(),
            _ => Vec::new(),
        },
        "unit": key.unit,
        "range": key.slider.map(|slider| slider.range),
        "log": key.slider.is_some_and(|slider| slider.log),
        "about": key.about,
        "default": key.absent.value,
        "otherwise": key.absent.words,
        "assumes": key.absent.assumes,
        "usual": key.usual.map(|usual| usual.value),
        "instead_of": key.instead_of,
        "flows": key.flows,
    })
}

fn kind(kind: &Kind) -> &'static str {
    match kind {
        Kind::Quantity { .. } => "quantity",
        Kind::Number(_) => "number",
        Kind::Whole { .. } => "whole",
        Kind::Share(_) => "share",
        Kind::Choice(_) => "choice",
        Kind::Switch => "switch",
        Kind::File => "file",
        Kind::Text | Kind::Unit(_) => "text",
        Kind::List { .. } | Kind::Row(_) => "list",
        Kind::Tables { .. } => "tables",
        Kind::Either(..) => "either",
    }
}
