//! The page of all keys, in Markdown: `docs/keys.md`.

use super::flow::FlowKind;
use super::kind::{Choice, how_many, range_words};
use super::{Key, Kind, PRACTICE, Range, SECTIONS, Section, all, find, flow};
use crate::quantity::Dimension;

const TOP: &str = "\
# The keys of a setup file

Every key, with what holds where it is left out and what is usual in the trade. [setup.md](setup.md) explains how a
setup is written and what lies behind the keys. Values are written as in a setup file. After the colon follows what
leaving the key out assumes about the experiment, and in brackets the source of a value; usual values without a source
are common practice.

A key is named with its section, as in `light.power`; a key of an entry in a list carries the entry's number, as in
`tracer.unseeded[0].radius`. Under that name each can be changed for one run, and a study can vary it.

Before the sections may stand `include = [\"parts/camera.toml\", \"parts/lens.toml\"]`: parts in files of their own, named
from the folder of the setup; `\"usual:camera-small\"` is one of those that the program brings along. What the setup
itself says under a key, or under one in its place, overrides its parts.
";

const UNITS: &str = "\
## Units

µ may be written `u` or `µ`, degrees `deg` or `°`, powers `m3`, `m^3` or `m³`; the space before the unit may be left
out. A share is a number from 0 to 1, or in percent.

A length that may be written in the lab or in the picture (in `px`) needs the scale of the picture where it is in the
lab: `camera.pixel` with `lens.magnification` or `lens.field_width`. A velocity may be written in the lab, which needs
`timing.separation` too, or in `px` as the displacement between the pulses.
";

const FLOWS: &str = "\
x points to the right, y down and z toward the camera. A key that a flow needs must be given; the others may be, as may
`carried_by`, `drift` and `angle` with every flow.

Fields add: `[[flow]]` tables one after another, or `flow = [{ kind = \"wake\", … }, { kind = \"turbulence\", … }]`.
Their keys are named with the number of the field, from 0 on: `flow[1].rms_velocity`. A change of the field after the
last, as of `flow[1].kind` where there is a single `[flow]`, adds a field.
";

/// The whole page.
pub fn markdown() -> String {
    let mut page = format!("{TOP}\n{UNITS}\n{}", units());
    for section in SECTIONS {
        page += &format!("\n## `[{}]`: {}\n\n", section.name, section.title);
        if section.name == flow::SECTION.name {
            page += &format!("{FLOWS}\n{}\n", flows());
        }
        page += &keys(section);
    }
    page
}

fn units() -> String {
    let rows = Dimension::ALL.iter().map(|dimension| {
        let units: Vec<String> = dimension.units().map(code).collect();
        let example = code(&format!("\"{}\"", dimension.example()));
        [bare(*dimension).to_owned(), units.join(" "), example]
    });
    table(["what", "units", "example"], rows)
}

/// The kinds of flow with the keys that each takes.
fn flows() -> String {
    let rows = FlowKind::all().into_iter().map(|(word, kind)| {
        let taken: Vec<&Key> = all().filter(|key| key.flows.contains(&word)).collect();
        let names = |needed: bool| {
            let chosen = taken
                .iter()
                .filter(|key| key.instead_of.is_empty() && key.is_needed_by(word) == needed);
            let names: Vec<String> = chosen.map(|key| with_alternative(key, &taken)).collect();
            names.join(", ")
        };
        [code(word), kind.about().to_owned(), names(true), names(false)]
    });
    table(["kind", "flow", "needs", "may have"], rows)
}

/// A key's name, with that of the key that may stand in its place.
fn with_alternative(key: &Key, among: &[&Key]) -> String {
    match among.iter().find(|other| other.instead_of == key.path) {
        Some(other) => format!("{} or {}", code(key.name()), code(other.name())),
        None => code(key.name()),
    }
}

fn keys(section: &Section) -> String {
    let rows = section.keys.iter().map(|key| {
        [
            code(key.name()),
            with_keys_marked(&about(key)),
            written(&key.kind, key.unit),
            with_keys_marked(&left_out(key)),
            usual(key),
        ]
    });
    table(["key", "what it is", "written as", "if left out", "usual"], rows)
}

fn about(key: &Key) -> String {
    let mut about = key.about.to_owned();
    if !key.instead_of.is_empty() {
        about += &format!("; in place of {}", key.instead_of);
    }
    if !key.also.is_empty() {
        let names: Vec<String> = key.also.iter().map(|name| code(name)).collect();
        about += &format!("; also {}", names.join(", "));
    }
    if !key.former.is_empty() {
        let names: Vec<String> = key.former.iter().map(|name| code(name)).collect();
        about += &format!("; formerly {}", names.join(", "));
    }
    about
}

/// What may be written, in few words.
fn written(kind: &Kind, unit: &str) -> String {
    let with = |what: &str, range: String| match range.trim_start_matches("of ") {
        "" => what.to_owned(),
        range => format!("{what}, {range}"),
    };
    let plain = |range: Range| range.words(|value| value.to_string());
    match kind {
        Kind::Quantity { dimensions, range } => {
            let what = with(bare(dimensions[0]), range_words(*range, dimensions[0]));
            format!("{what}, in {}", in_units(dimensions, unit))
        }
        Kind::Number(range) => with("number", plain(*range)),
        Kind::Share(Range::Within(0.0, 1.0)) => "share".to_owned(),
        Kind::Share(range) => with("share", plain(*range)),
        Kind::Whole { low, high, odd } => {
            let odd = if *odd { "odd" } else { "whole" };
            format!("{odd} number from {low} to {high}")
        }
        Kind::Choice(words) => {
            let words: Vec<String> = words().iter().map(|word| code(&format!("\"{word}\""))).collect();
            words.join(", ")
        }
        Kind::Switch => "`true` or `false`".to_owned(),
        Kind::File => "file name".to_owned(),
        Kind::Text => "text".to_owned(),
        Kind::Unit(dimensions) => format!("unit, such as {}", in_units(dimensions, dimensions[0].unit())),
        Kind::List { of, least, most } => {
            format!("list of {}: each {}", how_many(*least, *most), written(of, unit))
        }
        Kind::Row(kinds) => {
            let entries: Vec<String> = kinds.iter().map(|kind| written(kind, unit)).collect();
            format!("list: {}", entries.join(", then "))
        }
        Kind::Tables { least, most } => format!("list of {} tables", how_many(*least, *most)),
        Kind::Either(one, other) => format!("{}, or {}", written(one, unit), written(other, unit)),
    }
}

/// The unit that is shown, and one of each further dimension.
fn in_units(dimensions: &[Dimension], unit: &str) -> String {
    let others = dimensions
        .iter()
        .filter(|dimension| !dimension.units().any(|own| own == unit));
    let shown = if unit == "f/" { "f/4" } else { unit };
    let units: Vec<String> = std::iter::once(shown)
        .chain(others.map(|d| d.unit()))
        .map(code)
        .collect();
    units.join(" or ")
}

/// The name of a dimension without its article.
fn bare(dimension: Dimension) -> &'static str {
    let name = dimension.name();
    name.split_once(' ').map_or(name, |(_, bare)| bare)
}

fn left_out(key: &Key) -> String {
    let mut taken = key.absent.value.map_or(key.absent.words.to_owned(), code);
    let said = key.usual.is_some_and(|usual| usual.source == key.absent.source);
    if !key.absent.source.is_empty() && !said {
        taken += &format!(" [{}]", key.absent.source);
    }
    if !key.absent.assumes.is_empty() {
        taken += &format!(": {}", key.absent.assumes);
    }
    taken
}

fn usual(key: &Key) -> String {
    match key.usual {
        None => String::new(),
        Some(usual) if usual.source == PRACTICE => code(usual.value),
        Some(usual) => format!("{} [{}]", code(usual.value), usual.source),
    }
}

/// The text with the keys in it as code.
fn with_keys_marked(text: &str) -> String {
    let marked = text.split(' ').map(|word| {
        let key = word.trim_matches(|c: char| matches!(c, '(' | ')' | ',' | ';' | ':'));
        match find(key) {
            Some(_) => word.replace(key, &code(key)),
            None => word.to_owned(),
        }
    });
    marked.collect::<Vec<_>>().join(" ")
}

fn code(text: &str) -> String {
    format!("`{text}`")
}

fn table<const N: usize>(heads: [&str; N], rows: impl Iterator<Item = [String; N]>) -> String {
    let row = |cells: &[String]| {
        let cells: Vec<String> = cells.iter().map(|cell| cell.replace('|', "\\|")).collect();
        format!("| {} |\n", cells.join(" | "))
    };
    let mut table = row(&heads.map(str::to_owned));
    table += &row(&[const { "---" }; N].map(str::to_owned));
    for cells in rows {
        table += &row(&cells);
    }
    table
}
