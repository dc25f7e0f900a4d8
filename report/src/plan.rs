//! The plan as a page to take to the lab: figures, rules, arrangements side by side, timing
//! diagram, caution.

pub mod diagram;
mod html;
mod text;

use motefield_rig::plan::{Arrangement, Assessment, Fact, Heading, Proposal, ProposedChange, Rule, RuleId};
use serde_json::{Value, json};

use crate::json;
use diagram::Diagram;
pub use html::html;
pub use text::text;

/// The pair in time, if the setup gives pulse and separation.
fn diagram_of(assessment: &Assessment) -> Option<Diagram> {
    let straddle = assessment.straddle.as_ref()?;
    Some(Diagram::of(straddle, assessment.frame_rate_hz))
}

/// For programs: every figure by its name, in SI, px and electrons; rules, arrangements and the
/// diagram as lists.
pub fn json(assessment: &Assessment) -> Value {
    let mut object = json::head("motefield-plan/1");
    object.insert("setup".to_owned(), json!(assessment.name));
    object.insert("caution".to_owned(), json!(assessment.caution));
    object.insert("fails".to_owned(), json!(assessment.fails()));
    for fact in assessment.parts.iter().flat_map(|(_, facts)| facts) {
        object.insert(fact.id.as_str().to_owned(), json!(fact.value));
    }
    let chain = assessment
        .parts
        .iter()
        .find(|(heading, _)| *heading == Heading::Light);
    let chain = chain.map_or(&[][..], |(_, facts)| facts);
    object.insert("light_budget".to_owned(), chain.iter().map(link).collect());
    object.insert("rules".to_owned(), assessment.rules.iter().map(rule).collect());
    object.insert(
        "proposal".to_owned(),
        json!(assessment.proposal.as_ref().map(proposal)),
    );
    object.insert("assumed".to_owned(), crate::assumed::json(&assessment.assumed));
    object.insert(
        "arrangements".to_owned(),
        assessment.arrangements.iter().map(arrangement).collect(),
    );
    object.insert(
        "timing_diagram".to_owned(),
        diagram_of(assessment).map_or(Value::Null, |diagram| {
            let edge = |edge: &diagram::Switching| json!({ "time_s": edge.time_s, "events": edge.events });
            json!({ "edges": diagram.edges.iter().map(edge).collect::<Value>(), "notes": diagram.notes })
        }),
    );
    object.into()
}

/// The timing diagram as SVG and as text, if the setup gives pulse and separation.
pub fn timing(assessment: &Assessment) -> Option<[String; 2]> {
    let title = format!("Timing of a pair: {}", assessment.name);
    diagram_of(assessment).map(|shown| [diagram::draw(&shown, &title), diagram::text(&shown)])
}

/// A link of the light budget.
fn link(fact: &Fact) -> Value {
    json!({
        "name": fact.id.as_str(),
        "label": fact.label,
        "value": fact.value,
        "shown": fact.text,
        "how": fact.how,
    })
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
        "name": rule.id.as_str(),
        "label": rule.label,
        "value": rule.value,
        "shown": rule.shown,
        "limit": rule.limit,
        "status": rule.status.word(),
        "source": rule.source,
        "fix": fix,
    })
}

/// What would keep every rule: `kind` says which of the other fields are filled.
fn proposal(proposal: &Proposal) -> Value {
    let change = |change: &ProposedChange| json!({ "key": change.key, "from": change.values[0], "to": change.values[1] });
    let ids = |rules: &[(RuleId, String)]| rules.iter().map(|(id, _)| id.as_str()).collect::<Value>();
    let (kind, changes, rules) = match proposal {
        Proposal::Together(changes) => ("changes", changes.iter().map(change).collect(), Value::Null),
        Proposal::Exclude(rules) => ("rules-exclude-each-other", Value::Null, ids(rules)),
        Proposal::OutOfReach(id, _) => ("rule-out-of-reach", Value::Null, json!([id.as_str()])),
        Proposal::NotFound(rules) => ("not-found", Value::Null, ids(rules)),
    };
    json!({ "kind": kind, "changes": changes, "rules": rules })
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
