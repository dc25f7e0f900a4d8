//! Everything that can be said of a setup before a picture is rendered: the plan's figures, the
//! rules of the trade, and the ways to expose a pair side by side.

use super::arrangement::Arrangement;
use super::facts::Facts;
use super::flow_facts::{flow_facts, timing_facts};
use super::proposal::Proposal;
use super::rules::{Rule, RuleInput, Status};
use super::straddle::Straddle;
use super::{Fact, Heading, Plan, plan};
use crate::assumption::{Assumption, assumptions};
use crate::caution;
use crate::setup::{Setup, SetupError};

/// What the plan of one setup amounts to.
#[derive(Debug, Clone)]
pub struct Assessment {
    /// Name of the setup.
    pub name: String,
    /// Figures by their heading.
    pub parts: Vec<(Heading, Vec<Fact>)>,
    /// The rules of the trade, applied.
    pub rules: Vec<Rule>,
    /// Ways to expose a pair, side by side; empty without pulse and separation.
    pub arrangements: Vec<Arrangement>,
    /// The pair in time, if the setup gives pulse and separation.
    pub straddle: Option<Straddle>,
    /// Frames per second, where stated.
    pub frame_rate_hz: Option<f64>,
    /// What the setup leaves open and the plan takes for granted; empty unless
    /// [asked for](Assessment::with_assumptions).
    pub assumed: Vec<Assumption>,
    /// What would keep every rule, where some are broken; `None` where all are kept, or unless it
    /// is [asked for](Assessment::with_proposal).
    pub proposal: Option<Proposal>,
    /// The caution about the light source, if it calls for one.
    pub caution: Option<String>,
}

impl Assessment {
    /// Assesses a setup.
    ///
    /// # Errors
    /// As [`plan`].
    pub fn of(setup: &Setup) -> Result<Assessment, SetupError> {
        Ok(Assessment::of_plan(&plan(setup)?))
    }

    /// Assesses a plan.
    pub fn of_plan(plan: &Plan) -> Assessment {
        let setup = &plan.rig.setup;
        let motion = plan.motion();
        let planned = RuleInput::new(plan, &motion);
        let mut facts = Facts(plan.facts.clone());
        let arrangements = timing_facts(&planned, &mut facts);
        if !setup.image.flat_field {
            flow_facts(&planned, &mut facts);
        }
        let part = |heading: Heading| {
            let own = facts
                .0
                .iter()
                .filter(|fact| fact.id.heading() == heading)
                .cloned();
            (heading, own.collect::<Vec<_>>())
        };
        Assessment {
            name: setup.name().to_owned(),
            parts: Heading::ALL
                .map(part)
                .into_iter()
                .filter(|(_, facts)| !facts.is_empty())
                .collect(),
            rules: planned.rules(),
            arrangements,
            straddle: plan.rig.straddle,
            frame_rate_hz: setup.camera.frame_rate_hz,
            assumed: Vec::new(),
            proposal: None,
            caution: caution::of_setup(setup),
        }
    }

    /// The same with what the setup of the plan leaves open, for which it is planned many times.
    pub fn with_assumptions(self, plan: &Plan) -> Assessment {
        let assumed = assumptions(plan);
        Assessment { assumed, ..self }
    }

    /// The same with one proposal that keeps every rule, for which the setup of the plan is planned
    /// some dozens of times where a rule is broken.
    pub fn with_proposal(self, plan: &Plan) -> Assessment {
        let proposal = Proposal::of(plan);
        Assessment { proposal, ..self }
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
}
