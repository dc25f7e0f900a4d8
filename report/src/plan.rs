//! The plan as a page to take to the lab: every figure, the rules, the arrangements side by side, the
//! timing diagram, the caution.

pub mod diagram;
mod html;
mod text;

use motefield_rig::plan::{Arrangement, Assessment, Fact, Rule};
use serde_json::{Value, json};

use diagram::Diagram;
pub use html::html;
pub use text::text;

/// The pair in time, if the setup gives pulse and separation.
fn diagram_of(page: &Assessment) -> Option<Diagram> {
    let straddle = page.straddle.as_ref()?;
    Some(Diagram::of(straddle, page.frame_rate_hz))
}

/// For machines: every figure by its name, in SI, px and electrons; rules, arrangements and the diagram as lists.
pub fn json(page: &Assessment) -> Value {
    let mut value = json!({
        "schema": "motefield-plan/1",
        "version": env!("CARGO_PKG_VERSION"),
        "setup": page.name,
        "caution": page.caution,
        "fails": page.fails(),
    });
    let object = value.as_object_mut().expect("an object");
    for fact in page.parts.iter().flat_map(|(_, facts)| facts) {
        object.insert(fact.name.to_owned(), json!(fact.value));
    }
    let chain = page
        .parts
        .iter()
        .find(|(heading, _)| *heading == Assessment::LIGHT);
    object.insert("light_budget".to_owned(), chain.map_or(json!([]), |(_, facts)| {
            let link = |fact: &Fact| json!({ "name": fact.name, "label": fact.label, "value": fact.value, "shown": fact.text, "how": fact.how });
            facts.iter().map(link).collect()
        }));
    object.insert("rules".to_owned(), page.rules.iter().map(rule).collect());
    object.insert(
        "arrangements".to_owned(),
        page.arrangements.iter().map(arrangement).collect(),
    );
    object.insert(
        "timing_diagram".to_owned(),
        diagram_of(page).map_or(Value::Null, |diagram| {
            let edge = |edge: &diagram::Edge| json!({ "time_s": edge.time_s, "events": edge.events });
            json!({ "edges": diagram.edges.iter().map(edge).collect::<Value>(), "notes": diagram.notes })
        }),
    );
    value
}

/// The timing diagram as SVG and as text.
pub fn timing(page: &Assessment) -> Option<[String; 2]> {
    let title = format!("Timing of a pair: {}", page.name);
    diagram_of(page).map(|shown| [diagram::draw(&shown, &title), diagram::text(&shown)])
}

fn rule(rule: &Rule) -> Value {
    let fix = rule.fix.as_ref().map(|fix| {
        let (key, value) = fix
            .set
            .as_ref()
            .map_or((None, None), |(key, value)| (Some(key), Some(value)));
        json!({ "words": fix.words, "key": key, "value": value })
    });
    json!({
        "name": rule.name,
        "label": rule.label,
        "value": rule.value,
        "shown": rule.shown,
        "limit": rule.limit,
        "status": rule.status.word(),
        "source": rule.source,
        "fix": fix,
    })
}

fn arrangement(a: &Arrangement) -> Value {
    json!({
        "name": a.name,
        "label": a.label,
        "planned": a.planned,
        "shortest_separation_s": a.shortest_s,
        "fastest_velocity_m_s": a.fastest_m_s,
        "streak_px": a.streak_px,
        "pairs_hz": a.pairs_hz,
        "open_s": a.open_s,
    })
}
