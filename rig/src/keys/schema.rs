//! A JSON Schema of a setup file, for editors that check what is typed.
//!
//! It knows what can be judged key by key, which keys exclude each other, and which of them a kind
//! of flow takes. What depends on several values, such as a window larger than the picture, only
//! the program finds.

use serde_json::{Map, Value, json};

use super::flow::FlowKind;
use super::kind::Choice;
use super::{Key, Kind, NEEDED, Range, SECTIONS, all, flow};
use crate::quantity::Dimension;

/// The schema (JSON Schema, draft 2020-12).
pub fn json_schema() -> Value {
    let mut sections: Map<String, Value> = SECTIONS
        .iter()
        .map(|section| {
            let mut schema = table(&format!("{}.", section.name));
            if section.name == flow::SECTION.name {
                schema = json!({
                    "type": ["object", "array"],
                    "allOf": [
                        { "if": { "type": "object" }, "then": schema },
                        { "if": { "type": "array" }, "then": list(1, flow::MOST_FIELDS, schema) },
                    ],
                });
            }
            schema["description"] = section.title.into();
            (section.name.to_owned(), schema)
        })
        .collect();
    sections.insert("include".to_owned(), json!({
        "type": "array",
        "items": { "type": "string" },
        "description": "files with parts of the setup, beside it; what the setup itself says overrides them",
    }));
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Setup of motefield",
        "type": "object",
        "properties": sections,
        "required": [flow::SECTION.name],
        "additionalProperties": false,
    })
}

/// A key under one of its names in a table.
struct SchemaEntry {
    name: &'static str,
    /// Whether it is the name under which the documents have it.
    own: bool,
    former: bool,
    key: &'static Key,
}

impl SchemaEntry {
    /// What stands in the table whose keys begin with `prefix`.
    fn of(prefix: &str) -> Vec<SchemaEntry> {
        let mut entries = Vec::new();
        for key in all() {
            for path in key.names() {
                let name = path.strip_prefix(prefix).filter(|name| !name.contains('.'));
                entries.extend(name.map(|name| SchemaEntry {
                    name,
                    own: path == key.path,
                    former: key.former.contains(&path),
                    key,
                }));
            }
        }
        entries
    }

    fn property(&self) -> Value {
        let mut schema = property(self.key);
        if self.former {
            schema["deprecated"] = true.into();
            schema["description"] = format!("Now {}.", self.key.path).into();
        }
        schema
    }
}

/// The table whose keys begin with `prefix`: `light.`, `tracer.unseeded[].`.
fn table(prefix: &str) -> Value {
    let entries = SchemaEntry::of(prefix);
    let properties: Map<String, Value> = entries
        .iter()
        .map(|entry| (entry.name.to_owned(), entry.property()))
        .collect();
    let needed = |key: &Key| key.flows.is_empty() && key.absent.words == NEEDED;
    let mut rules = needs(&entries, needed);
    rules.extend(entries.iter().filter_map(|entry| exclusion(&entries, entry)));
    if prefix == "flow." {
        rules.extend(
            FlowKind::all()
                .into_iter()
                .map(|(word, _)| of_flow(&entries, word)),
        );
    }
    let mut schema = json!({
        "type": "object",
        "properties": properties,
        "additionalProperties": false,
    });
    if !rules.is_empty() {
        schema["allOf"] = rules.into();
    }
    schema
}

/// For each key that is needed, that it is given under one of its names, or another in its place.
fn needs(entries: &[SchemaEntry], needed: impl Fn(&Key) -> bool) -> Vec<Value> {
    entries
        .iter()
        .filter(|entry| entry.own && needed(entry.key))
        .map(|entry| {
            let path = entry.key.path;
            let serves = |other: &&SchemaEntry| other.key.path == path || other.key.instead_of == path;
            let ways: Vec<Value> = entries
                .iter()
                .filter(serves)
                .map(|other| json!({ "required": [other.name] }))
                .collect();
            match &ways[..] {
                [only] => only.clone(),
                _ => json!({ "anyOf": ways }),
            }
        })
        .collect()
}

/// That a key and the one in whose place it may stand are not both there.
fn exclusion(entries: &[SchemaEntry], entry: &SchemaEntry) -> Option<Value> {
    let other = entries
        .iter()
        .find(|other| other.key.path == entry.key.instead_of)?;
    Some(json!({ "not": { "required": [entry.name, other.name] } }))
}

/// The keys that a kind of flow takes, and those that it needs.
fn of_flow(entries: &[SchemaEntry], flow: &str) -> Value {
    let takes = |key: &Key| key.flows.is_empty() || key.flows.contains(&flow);
    let names: Vec<&str> = entries.iter().filter(|e| takes(e.key)).map(|e| e.name).collect();
    let mut then = json!({ "propertyNames": { "enum": names } });
    let needs = needs(entries, |key| key.is_needed_by(flow));
    if !needs.is_empty() {
        then["allOf"] = needs.into();
    }
    json!({ "if": { "properties": { "kind": { "const": flow } } }, "then": then })
}

/// What may stand under a key.
pub(super) fn property(key: &Key) -> Value {
    let mut schema = kind(key, &key.kind);
    schema["description"] = key.about.into();
    if let Some(default) = key.absent.value.and_then(value) {
        schema["default"] = default;
    }
    if let Some(usual) = key.usual.and_then(|usual| value(usual.value)) {
        schema["examples"] = json!([usual]);
    }
    schema
}

fn kind(key: &Key, of: &Kind) -> Value {
    let whole = |low: u64, high: u64| json!({ "type": "integer", "minimum": low, "maximum": high });
    match of {
        Kind::Quantity { dimensions, .. } => json!({ "type": "string", "pattern": quantity(dimensions) }),
        Kind::Number(range) => {
            // A text where it has a tolerance.
            let mut schema = number(*range);
            schema["type"] = json!(["number", "string"]);
            schema["pattern"] = format!(r"^\s*{NUMBER}\s*(\+-|±).*$").into();
            schema
        }
        Kind::Whole {
            low,
            high,
            odd: false,
        } => whole(*low, *high),
        Kind::Whole { low, high, odd: true } => {
            let mut schema = whole(*low, *high);
            schema["not"] = json!({ "multipleOf": 2 });
            schema
        }
        Kind::Share(range) => json!({ "anyOf": [
            number(*range),
            { "type": "string", "pattern": quantity(&[Dimension::Fraction]) },
        ] }),
        Kind::Choice(words) => json!({ "enum": words() }),
        Kind::Switch => json!({ "type": "boolean" }),
        Kind::File | Kind::Text => json!({ "type": "string" }),
        Kind::Unit(dimensions) => {
            json!({ "type": "string", "pattern": format!("^ *{} *$", units(dimensions)) })
        }
        Kind::List { of, least, most } => list(*least, *most, kind(key, of)),
        Kind::Row(kinds) => {
            let entries: Vec<Value> = kinds.iter().map(|of| kind(key, of)).collect();
            let mut schema = list(entries.len(), entries.len(), false.into());
            schema["prefixItems"] = entries.into();
            schema
        }
        Kind::Tables { least, most } => list(*least, *most, table(&format!("{}[].", key.path))),
        Kind::Either(one, other) => {
            json!({ "anyOf": [kind(key, one), kind(key, other)] })
        }
    }
}

fn list(least: usize, most: usize, items: Value) -> Value {
    json!({ "type": "array", "items": items, "minItems": least, "maxItems": most })
}

fn number(range: Range) -> Value {
    let mut schema = json!({ "type": "number" });
    let mut limit = |name: &str, value: f64| schema[name] = value.into();
    match range {
        Range::Any => {}
        Range::AboveZero => limit("exclusiveMinimum", 0.0),
        Range::NotNegative => limit("minimum", 0.0),
        Range::AtLeast(low) => limit("minimum", low),
        Range::Within(low, high) => {
            limit("minimum", low);
            limit("maximum", high);
        }
        Range::AboveUpTo(low, high) => {
            limit("exclusiveMinimum", low);
            limit("maximum", high);
        }
        Range::Between(low, high) => {
            limit("exclusiveMinimum", low);
            limit("exclusiveMaximum", high);
        }
    }
    schema
}

const NUMBER: &str = r"[+\-−]?(\d[\d_]*\.?[\d_]*|\.\d[\d_]*)([eE][+\-]?\d+)?";

/// The pattern of a tolerance behind a value; of which kinds it may be, the program tells.
const TOLERANCE: &str = r"((\+-|±).*)?";

/// The pattern of a number with its unit.
fn quantity(dimensions: &[Dimension]) -> String {
    if let [Dimension::Aperture] = dimensions {
        return format!(r"^\s*[fF]/\s*{NUMBER}\s*{TOLERANCE}$");
    }
    format!(r"^\s*{NUMBER}\s*{}\s*{TOLERANCE}$", units(dimensions))
}

/// The pattern of a unit alone, in all its spellings.
fn units(dimensions: &[Dimension]) -> String {
    let units: Vec<String> = dimensions.iter().flat_map(|d| d.units()).map(spellings).collect();
    format!("({})", units.join("|"))
}

fn spellings(unit: &str) -> String {
    let unit = match unit.strip_prefix('u') {
        Some(rest) => format!("[uµμ]{rest}"),
        None => unit.to_owned(),
    };
    let unit = match unit.strip_prefix('/') {
        Some(rest) => format!("(1 ?)?/ ?{rest}"),
        None => unit,
    };
    match unit.as_str() {
        "deg" => "(deg|°)".to_owned(),
        "degC" => "(deg|°)C".to_owned(),
        "e" | "ke" | "DN/e" => format!("{unit}-?"),
        "e/s" => "e-?/s".to_owned(),
        _ => unit.replace("m3", r"m\^?[3³]").replace("Pa s", "Pa[ ·*]*s"),
    }
}

/// A value as a setup writes it, read.
pub(super) fn value(written: &str) -> Option<Value> {
    let table: toml::Table = toml::from_str(&format!("value = {written}")).ok()?;
    serde_json::to_value(table.get("value")?).ok()
}
