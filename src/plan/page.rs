//! The page to take to the lab: every figure, the rules, the arrangements side by side, the timing diagram, the caution.

mod html;
mod text;

use serde_json::{Value, json};

use super::arrangement::Arrangement;
use super::diagram::Diagram;
use super::facts::Facts;
use super::flow_facts::{flow_facts, timing_facts};
use super::motion::Motion;
use super::rules::{Rig, Rule, Status};
use super::{FLOW, Fact, LIGHT, SCALE, TIMING, diagram, plan, wanted};
use crate::caution;
use crate::setup::{Setup, SetupError};

pub use html::html;
pub use text::text;

/// Everything that the plan of one setup tells.
#[derive(Debug, Clone)]
pub struct Page {
    /// Name of the setup.
    pub name: String,
    /// Figures by their heading.
    pub parts: Vec<(&'static str, Vec<Fact>)>,
    /// The rules of the trade, applied.
    pub rules: Vec<Rule>,
    /// Ways to expose a pair, side by side; empty without pulse and separation.
    pub arrangements: Vec<Arrangement>,
    /// The pair in time, if the setup tells pulse and separation.
    pub diagram: Option<Diagram>,
    /// The caution about the light source, if it calls for one.
    pub caution: Option<String>,
}

impl Page {
    /// The page of a setup.
    ///
    /// # Errors
    /// As [`plan`].
    pub fn of(setup: &Setup) -> Result<Page, SetupError> {
        let setup = &*wanted::with_separation(setup)?;
        let plan = plan(setup)?;
        let motion = Motion::of(&plan.scene);
        let rig = Rig::of(setup, &plan, &motion)?;
        let mut facts = Facts(plan.facts.clone());
        let arrangements = timing_facts(&rig, &mut facts);
        if !setup.image.flat_field {
            flow_facts(&rig, &motion, &mut facts);
        }
        let part = |heading: &'static str| {
            let own = facts.0.iter().filter(|fact| fact.part == heading).cloned();
            (heading, own.collect::<Vec<_>>())
        };
        Ok(Page {
            name: setup.name.clone(),
            parts: [SCALE, LIGHT, TIMING, FLOW]
                .map(part)
                .into_iter()
                .filter(|(_, facts)| !facts.is_empty())
                .collect(),
            rules: rig.rules(),
            arrangements,
            diagram: rig
                .straddle
                .map(|straddle| Diagram::of(&straddle, setup.camera.frame_rate_hz)),
            caution: caution::of_setup(setup),
        })
    }

    /// Whether a rule fails.
    pub fn fails(&self) -> bool {
        self.rules.iter().any(|rule| rule.status == Status::Fail)
    }

    /// How many rules are kept, bent, broken: in a sentence.
    pub fn verdict(&self) -> String {
        let count = |status| self.rules.iter().filter(|rule| rule.status == status).count();
        let (pass, warn, fail) = (count(Status::Pass), count(Status::Warn), count(Status::Fail));
        match (warn, fail) {
            (0, 0) => format!("All {pass} rules are kept."),
            (_, 0) => format!("{pass} rules are kept, {warn} warn, none fails."),
            _ => format!("{pass} rules are kept, {warn} warn, {fail} fail."),
        }
    }

    /// For machines: every figure by its name, in SI, px and electrons; rules, arrangements and the diagram as lists.
    pub fn json(&self) -> Value {
        let mut value = json!({
            "schema": "motefield-plan/1",
            "version": env!("CARGO_PKG_VERSION"),
            "setup": self.name,
            "caution": self.caution,
            "fails": self.fails(),
        });
        let object = value.as_object_mut().expect("an object");
        for fact in self.parts.iter().flat_map(|(_, facts)| facts) {
            object.insert(fact.name.to_owned(), json!(fact.value));
        }
        let chain = self.parts.iter().find(|(heading, _)| *heading == LIGHT);
        object.insert("light_budget".to_owned(), chain.map_or(json!([]), |(_, facts)| {
            let link = |fact: &Fact| json!({ "name": fact.name, "label": fact.label, "value": fact.value, "shown": fact.text, "how": fact.how });
            facts.iter().map(link).collect()
        }));
        object.insert("rules".to_owned(), self.rules.iter().map(rule).collect());
        object.insert(
            "arrangements".to_owned(),
            self.arrangements.iter().map(arrangement).collect(),
        );
        object.insert(
            "timing_diagram".to_owned(),
            self.diagram.as_ref().map_or(Value::Null, |diagram| {
                let edge = |edge: &diagram::Edge| json!({ "time_s": edge.time_s, "events": edge.events });
                json!({ "edges": diagram.edges.iter().map(edge).collect::<Value>(), "notes": diagram.notes })
            }),
        );
        value
    }

    /// The timing diagram as SVG and as text.
    pub fn timing(&self) -> Option<[String; 2]> {
        let title = format!("Timing of a pair: {}", self.name);
        self.diagram
            .as_ref()
            .map(|shown| [diagram::draw(shown, &title), diagram::text(shown)])
    }
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
