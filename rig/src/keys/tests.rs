use std::collections::BTreeSet;
use std::path::Path;

use serde_json::Value;

use super::flow::FlowKind;
use super::kind::Choice;
use super::schema::{json_schema, value};
use super::*;
use crate::quantity::{Dimension, parse, parse_as_any};

/// What is wrong with a value, or nothing. `path` is the key's, with brackets for places in lists.
fn fault(path: &str, kind: &Kind, value: &Value) -> Option<String> {
    let holds = |range: Range, number: Option<f64>| number.is_some_and(|number| range.holds(number));
    let good = match kind {
        Kind::Quantity { dimensions, range } => {
            let read = value
                .as_str()
                .and_then(|text| parse_as_any(text, dimensions).ok());
            holds(*range, read.map(|quantity| quantity.value))
        }
        Kind::Number(range) => holds(*range, value.as_f64()),
        Kind::Whole { low, high, odd } => value
            .as_u64()
            .is_some_and(|number| (*low..=*high).contains(&number) && (!odd || number % 2 == 1)),
        Kind::Share(range) => {
            let percent = value
                .as_str()
                .and_then(|text| parse_as_any(text, &[Dimension::Fraction]).ok());
            holds(*range, value.as_f64().or(percent.map(|quantity| quantity.value)))
        }
        Kind::Choice(words) => value.as_str().is_some_and(|word| words().contains(&word)),
        Kind::Switch => value.is_boolean(),
        Kind::File | Kind::Text => value.is_string(),
        Kind::Unit(dimensions) => value
            .as_str()
            .is_some_and(|unit| parse_as_any(&format!("1 {unit}"), dimensions).is_ok()),
        Kind::List { of, least, most } => {
            return list_fault(path, kind, value, [*least, *most], |_, entry| {
                fault(path, of, entry)
            });
        }
        Kind::Row(kinds) => {
            let entry = |place: usize, entry: &Value| fault(path, kinds.get(place)?, entry);
            return list_fault(path, kind, value, [kinds.len(); 2], entry);
        }
        Kind::Tables { least, most } => {
            let table = |_, table: &Value| table_fault(&format!("{path}[]"), table);
            return list_fault(path, kind, value, [*least, *most], table);
        }
        Kind::Either(one, other) => {
            return fault(path, one, value).and_then(|_| fault(path, other, value));
        }
    };
    (!good).then(|| format!("{path} is {value}, but must be {}", kind.words()))
}

/// The first fault in a list of `least` to `most` entries, each judged by its place.
fn list_fault(
    path: &str,
    kind: &Kind,
    value: &Value,
    [least, most]: [usize; 2],
    entry_fault: impl Fn(usize, &Value) -> Option<String>,
) -> Option<String> {
    match value.as_array() {
        Some(list) if (least..=most).contains(&list.len()) => list
            .iter()
            .enumerate()
            .find_map(|(place, entry)| entry_fault(place, entry)),
        _ => Some(format!("{path} is {value}, but must be {}", kind.words())),
    }
}

/// The first fault in a table whose keys begin with `prefix`.
fn table_fault(prefix: &str, table: &Value) -> Option<String> {
    let Some(table) = table.as_object() else {
        return Some(format!("{prefix} is no table"));
    };
    table.iter().find_map(|(name, value)| {
        let path = format!("{prefix}.{name}");
        match find(&path) {
            Some(key) => fault(key.path, &key.kind, value),
            None => Some(format!("{path} is no key")),
        }
    })
}

fn own_fault(key: &Key, written: &str) -> Option<String> {
    match value(written) {
        Some(value) => fault(key.path, &key.kind, &value),
        None => Some(format!("{}: {written} is not TOML", key.path)),
    }
}

#[test]
fn keys_are_named_once() {
    let mut seen = BTreeSet::new();
    for key in all() {
        for path in key.names() {
            assert!(seen.insert(path), "{path} stands twice");
        }
    }
}

#[test]
fn keys_stand_in_their_section() {
    for section in SECTIONS {
        for key in section.keys {
            assert_eq!(key.section(), section.name, "{}", key.path);
            assert!(
                key.path.starts_with(&format!("{}.", section.name)),
                "{}",
                key.path
            );
            let start = format!("{}.", section.name);
            assert!(
                key.also.iter().all(|name| name.starts_with(&start)),
                "{}",
                key.path
            );
            assert_eq!(key.former.iter().find(|former| !former.contains('.')), None);
            let list = key.path.split_once("[].").map(|(list, _)| list);
            assert!(list.is_none_or(|list| find(list).is_some()), "{}", key.path);
            let place = key.instead_of;
            let sibling = find(place).is_some_and(|other| other.section() == section.name);
            assert!(place.is_empty() || sibling, "{}", key.path);
        }
    }
}

#[test]
fn keys_say_what_they_are_and_what_holds_without_them() {
    for key in all() {
        let Key {
            path, about, absent, ..
        } = key;
        assert!(!about.is_empty(), "{path}");
        assert!(
            !about.ends_with('.') && !about.contains("  ") && !about.contains('\n'),
            "{path}: {about}"
        );
        assert!(
            absent.value.is_some() == absent.words.is_empty(),
            "{path}: a value or words, not both"
        );
        assert!(
            absent.source.is_empty() || absent.value.is_some(),
            "{path}: the source of nothing"
        );
        assert!(key.usual.is_none_or(|usual| !usual.source.is_empty()), "{path}");
    }
}

/// The default and the usual value of a key, where it has them.
fn written_values(key: &Key) -> impl Iterator<Item = &'static str> {
    key.absent
        .value
        .into_iter()
        .chain(key.usual.map(|usual| usual.value))
}

#[test]
fn values_fit_their_keys() {
    for key in all() {
        for written in written_values(key) {
            assert_eq!(own_fault(key, written), None);
        }
    }
}

/// The kind of one number under a key: that of the entries of a list, the plain one of two.
fn single(kind: &Kind) -> &Kind {
    match kind {
        Kind::List { of, .. } => single(of),
        Kind::Either(one, _) => single(one),
        kind => kind,
    }
}

#[test]
fn sliders_lie_within_the_range() {
    for key in all() {
        let Some(Slider {
            range: [low, high],
            log,
        }) = key.slider
        else {
            continue;
        };
        assert!(low < high && (!log || low > 0.0), "{}", key.path);
        for end in [low, high] {
            let written = match key.unit {
                "" => key.written(end),
                _ => format!("\"{}\"", key.written(end)),
            };
            let fault = value(&written).and_then(|value| fault(key.path, single(&key.kind), &value));
            assert_eq!(fault, None);
        }
    }
}

#[test]
fn quantities_have_a_unit_of_their_dimension_and_a_slider() {
    for key in all() {
        match single(&key.kind) {
            Kind::Quantity { dimensions, .. } => {
                let unit = parse(&key.written(1.0)).map(|quantity| quantity.dimension);
                assert!(
                    unit.is_ok_and(|unit| dimensions.contains(&unit)),
                    "{}: {}",
                    key.path,
                    key.unit
                );
                assert!(key.slider.is_some(), "{}", key.path);
            }
            Kind::Number(_) | Kind::Share(_) => {
                assert!(key.unit.is_empty() && key.slider.is_some(), "{}", key.path);
            }
            _ => assert!(key.unit.is_empty(), "{}", key.path),
        }
    }
}

#[test]
fn ranges_hold_what_they_say() {
    for (range, inside, outside) in [
        (Range::Any, vec![-1e9, 0.0, 1e9], vec![f64::NAN, f64::INFINITY]),
        (Range::AboveZero, vec![1e-9], vec![0.0, -1.0]),
        (Range::NotNegative, vec![0.0, 1.0], vec![-1e-9]),
        (Range::AtLeast(1.0), vec![1.0, 5.0], vec![0.999]),
        (Range::Within(-1.0, 2.0), vec![-1.0, 2.0], vec![-1.1, 2.1]),
        (Range::AboveUpTo(0.0, 2.0), vec![0.1, 2.0], vec![0.0, 2.1]),
        (Range::Between(0.0, 1.0), vec![0.5], vec![0.0, 1.0]),
    ] {
        assert!(inside.iter().all(|value| range.holds(*value)), "{range:?}");
        assert!(!outside.iter().any(|value| range.holds(*value)), "{range:?}");
    }
}

#[test]
fn messages_show_ranges_in_units_that_a_setup_takes() {
    for (path, words) in [
        ("light.power", "a power above 0"),
        ("sheet.tilt_x", "an angle from -45 deg to 45 deg"),
        ("fluid.temperature", "a temperature above 0 K"),
        ("sheet.thickness", "a length or a distance in pixels above 0"),
        ("processing.min_peak_ratio", "a plain number of at least 1"),
        ("processing.high_pass", "an odd whole number from 3 to 4095"),
        ("lens.transmission", "0 to 1, or \"0 %\" to \"100 %\""),
        (
            "camera.fill_factor",
            "a share above 0 and at most 1, or in percent",
        ),
        ("light.source", "one of \"laser\", \"led\", \"lamp\""),
    ] {
        assert_eq!(
            find(path).map(|key| key.kind.words()).as_deref(),
            Some(words),
            "{path}"
        );
    }
}

#[test]
fn choices_have_different_words() {
    for key in all() {
        if let Kind::Choice(words) = key.kind {
            let words = words();
            let different: BTreeSet<_> = words.iter().collect();
            assert!(
                words.len() > 1 && different.len() == words.len(),
                "{}: {words:?}",
                key.path
            );
        }
    }
    assert_eq!(choices::HazardClass::Two.word(), "2");
    let profile = choices::HeightProfile::As(choices::SheetProfile::TopHat);
    assert_eq!(profile.word(), "top-hat");
}

#[test]
fn flows_have_their_keys() {
    let kinds: Vec<&str> = FlowKind::all().into_iter().map(|(word, _)| word).collect();
    for kind in &kinds {
        assert!(all().any(|key| key.is_needed_by(kind)), "{kind} needs nothing");
    }
    for key in all() {
        assert!(key.flows.is_empty() || key.section() == "flow", "{}", key.path);
        assert!(key.flows.iter().all(|flow| kinds.contains(flow)), "{}", key.path);
        assert!(
            key.needed_by.iter().all(|flow| key.flows.contains(flow)),
            "{}",
            key.path
        );
        let other = find(key.instead_of);
        assert!(other.is_none_or(|other| other.flows == key.flows), "{}", key.path);
    }
}

#[test]
fn entries_of_lists_are_found() {
    let path = |path: &str| find(path).map(|key| key.path);
    assert_eq!(path("image.streak[0]"), Some("image.streak"));
    assert_eq!(
        path("processing.passes[12].window"),
        Some("processing.passes[].window")
    );
    assert_eq!(
        path("processing.passes[0].window[1]"),
        Some("processing.passes[].window")
    );
    assert_eq!(
        path("tracer.unseeded[3].centre[0]"),
        Some("tracer.unseeded[].centre")
    );
    assert_eq!(
        path("camera.quantum_efficiency[0].at"),
        Some("camera.quantum_efficiency[].at")
    );
    assert_eq!(path("flow[1].seed"), Some("flow.seed"));
    assert_eq!(path("flow[1].centre[0]"), Some("flow.centre"));
    assert_eq!(whole("flow[1].centre[0]"), "flow[1].centre");
    assert_eq!(whole("processing.passes[2].window"), "processing.passes");
    assert_eq!(path("light.strength"), None);
}

/// The setups in `cases/`, read.
fn cases() -> Vec<(String, Value)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../cases");
    let mut cases = Vec::new();
    for entry in std::fs::read_dir(folder).expect("the cases").flatten() {
        if entry.path().extension().is_some_and(|ending| ending == "toml") {
            let text = std::fs::read_to_string(entry.path()).expect("a case");
            let table: toml::Table = toml::from_str(&text).expect("TOML");
            let value = serde_json::to_value(table).expect("JSON");
            cases.push((entry.path().display().to_string(), value));
        }
    }
    cases
}

#[test]
fn cases_fit_the_table_and_the_schema() {
    let schema = json_schema();
    let cases = cases();
    assert!(cases.len() >= 3);
    for (name, case) in cases {
        for (section, table) in case.as_object().expect("sections") {
            let fields = table.as_array();
            for table in fields.map_or(std::slice::from_ref(table), Vec::as_slice) {
                assert_eq!(table_fault(section, table), None, "{name}");
            }
        }
        assert_eq!(violation(&schema, &case), None, "{name}");
    }
}

/// The first part of the schema that a value breaks. Patterns are left aside.
fn violation(schema: &Value, value: &Value) -> Option<String> {
    let broken = |name: &str, rule: &Value| -> bool {
        let limit = rule.as_f64().unwrap_or(f64::NAN);
        let number = value.as_f64();
        let length = value.as_array().map(|list| list.len() as f64);
        let has = |name: &Value| value.get(name.as_str().unwrap_or("")).is_some();
        let rules = || rule.as_array().into_iter().flatten();
        match name {
            "type" if rule.is_array() => {
                let one = |word: &Value| violation(&serde_json::json!({ "type": word }), value);
                !rules().any(|word| one(word).is_none())
            }
            "type" => match rule.as_str() {
                Some("object") => !value.is_object(),
                Some("array") => !value.is_array(),
                Some("string") => !value.is_string(),
                Some("number") => !value.is_number(),
                Some("integer") => number.is_none_or(|n| n.fract() != 0.0),
                Some("boolean") => !value.is_boolean(),
                other => panic!("{other:?}"),
            },
            "minimum" => number.is_some_and(|n| n < limit),
            "maximum" => number.is_some_and(|n| n > limit),
            "exclusiveMinimum" => number.is_some_and(|n| n <= limit),
            "exclusiveMaximum" => number.is_some_and(|n| n >= limit),
            "multipleOf" => number.is_some_and(|n| n % limit != 0.0),
            "minItems" => length.is_some_and(|n| n < limit),
            "maxItems" => length.is_some_and(|n| n > limit),
            "enum" => !rules().any(|word| word == value),
            "const" => rule != value,
            "required" => rules().any(|name| !has(name)),
            "anyOf" => !rules().any(|rule| violation(rule, value).is_none()),
            "allOf" => rules().any(|rule| violation(rule, value).is_some()),
            "not" => violation(rule, value).is_none(),
            "if" => violation(rule, value).is_none() && violation(&schema["then"], value).is_some(),
            "items" => {
                let first = schema["prefixItems"].as_array().map_or(0, Vec::len);
                let rest = || value.as_array().into_iter().flatten().skip(first);
                match rule.as_bool() {
                    Some(allowed) => !allowed && rest().next().is_some(),
                    None => rest().any(|entry| violation(rule, entry).is_some()),
                }
            }
            "prefixItems" => value.as_array().is_some_and(|list| {
                rules()
                    .zip(list)
                    .any(|(rule, entry)| violation(rule, entry).is_some())
            }),
            "properties" => value.as_object().is_some_and(|table| {
                let known = |name: &str| rule.get(name);
                table
                    .iter()
                    .any(|(name, entry)| known(name).is_some_and(|rule| violation(rule, entry).is_some()))
            }),
            "propertyNames" => value.as_object().is_some_and(|table| {
                table
                    .keys()
                    .any(|name| violation(rule, &name.as_str().into()).is_some())
            }),
            "additionalProperties" => value
                .as_object()
                .is_some_and(|table| table.keys().any(|name| schema["properties"].get(name).is_none())),
            "then" | "pattern" | "title" | "description" | "default" | "examples" | "deprecated"
            | "$schema" => false,
            other => panic!("{other} is not a keyword that the schema uses"),
        }
    };
    let (name, rule) = schema
        .as_object()?
        .iter()
        .find(|(name, rule)| broken(name, rule))?;
    let deeper = match name.as_str() {
        "properties" => {
            let mut entries = value.as_object()?.iter();
            entries.find_map(|(name, entry)| violation(rule.get(name)?, entry))
        }
        "if" if schema["then"].get("type").is_some() => violation(&schema["then"], value),
        "allOf" => rule.as_array()?.iter().find_map(|rule| violation(rule, value)),
        _ => None,
    };
    Some(deeper.unwrap_or_else(|| format!("{value} breaks {name}: {rule}")))
}

/// A setup as JSON.
fn setup(text: &str) -> Value {
    let table: toml::Table = toml::from_str(text).expect("TOML");
    serde_json::to_value(table).expect("JSON")
}

#[test]
fn the_schema_refuses_what_no_setup_is() {
    let schema = json_schema();
    let good = "[flow]\nkind = 'uniform'\nvelocity = ['1 m/s', '0 m/s']\n";
    assert_eq!(violation(&schema, &setup(good)), None);
    for (more, part) in [
        ("[lights]\npower = '1 W'", "additionalProperties"),
        ("[light]\nstrength = '1 W'", "additionalProperties"),
        ("[light]\npower = 1", "type"),
        ("[light]\nsource = 'candle'", "enum"),
        ("[light]\npower = '1 W'\npulse_energy = '1 mJ'", "not"),
        ("[light]\ndelivery = 1.1", "anyOf"),
        ("[sheet]\nout_of_plane = 3", "maximum"),
        ("[camera]\nsize = [512]", "minItems"),
        ("[camera]\nsize = [512, 4]", "items"),
        ("[camera]\nbits = 12.5", "type"),
        ("[camera]\nfill_factor = 0", "anyOf"),
        ("[tracer]\ndiameter_limits = [1, 4]", "prefixItems"),
        ("[tracer]\nunseeded = [{ share = 0 }]", "items"),
        ("[processing]\nhigh_pass = 4", "not"),
        ("[processing]\npasses = [{ window = 2 }]", "items"),
        ("[processing]\nmin_peak_ratio = 0.5", "minimum"),
    ] {
        let found = violation(&schema, &setup(&format!("{good}{more}")));
        assert!(
            found
                .as_deref()
                .is_some_and(|found| found.contains(&format!("breaks {part}"))),
            "{more}: {found:?}"
        );
    }
    for (flow, part) in [
        ("velocity = ['1 m/s', '0 m/s']", "required"),
        ("kind = 'uniform'", "if"),
        (
            "kind = 'uniform'\nvelocity = ['1 m/s', '0 m/s']\nshear = 0.1",
            "if",
        ),
        (
            "kind = 'uniform'\nvelocity = ['1 m/s', '0 m/s']\ndisplacement = ['1 px', '0 px']",
            "not",
        ),
        ("kind = 'swirl'\nvelocity = ['1 m/s', '0 m/s']", "enum"),
    ] {
        let found = violation(&schema, &setup(&format!("[flow]\n{flow}")));
        assert!(
            found
                .as_deref()
                .is_some_and(|found| found.contains(&format!("breaks {part}"))),
            "{flow}: {found:?}"
        );
    }
    let turbulence = "[[flow]]\nkind = 'turbulence'\nrms_velocity = '1 px'\nintegral_scale = '80 px'\n";
    let two = format!("[[flow]]\nkind = 'uniform'\ndisplacement = ['1 px', '0 px']\n{turbulence}");
    assert_eq!(violation(&schema, &setup(&two)), None);
    for (wrong, part) in [
        (two.replace("integral_scale", "radius"), "items"),
        ("flow = []".to_owned(), "minItems"),
        ("flow = 'uniform'".to_owned(), "type"),
    ] {
        let found = violation(&schema, &setup(&wrong)).unwrap_or_default();
        assert!(found.contains(&format!("breaks {part}")), "{wrong}: {found}");
    }
    for flow in [
        "kind = 'uniform'\ndisplacement = ['1 px', '0 px']",
        "kind = 'linear-shear'\nshear_rate = '20 /s'",
    ] {
        assert_eq!(violation(&schema, &setup(&format!("[flow]\n{flow}"))), None);
    }
}

#[test]
fn defaults_and_usual_values_fit_the_schema() {
    for key in all() {
        for written in written_values(key) {
            let schema = schema::property(key);
            assert_eq!(
                value(written).and_then(|value| violation(&schema, &value)),
                None,
                "{}",
                key.path
            );
        }
    }
}

/// `MOTEFIELD_WRITE=1 cargo test -p motefield-rig keys` writes the page anew.
#[test]
fn the_page_of_keys_is_up_to_date() {
    let page = document::markdown();
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/keys.md");
    let found = std::fs::read_to_string(&path).unwrap_or_default();
    if found != page && std::env::var_os("MOTEFIELD_WRITE").is_some() {
        std::fs::write(&path, &page).expect("docs/keys.md written");
        panic!("docs/keys.md has been written anew: look at it and test again");
    }
    assert!(
        found == page,
        "docs/keys.md is out of date: MOTEFIELD_WRITE=1 cargo test -p motefield-rig keys writes it"
    );
}
