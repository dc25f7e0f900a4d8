//! What is asked of a study, as the options of the command line ask it.

use motefield_rig::plan::plan;
use motefield_rig::setup::Setup;
use motefield_study::StudyError;
use motefield_study::decide::choice::ChoiceSearch;
use motefield_study::decide::limit::ErrorLimit;
use motefield_study::decide::map::{FreeSetting, axes_beside, axes_of, check};
use motefield_study::decide::question::Question;
use motefield_study::decide::{PulseSearch, USUAL_LIMIT_PX, USUAL_VALID, Wish};
use motefield_study::run::{Effort, External};
use motefield_study::seeding;
use serde_json::Value;

use crate::answer::{Refusal, seed, setup, text};

/// What is looked for.
pub(crate) enum Sought {
    /// The pulse length.
    Pulse(Box<PulseSearch>),
    /// The best of several numbers.
    Map(Question, Vec<FreeSetting>),
    /// The best of listed values.
    Choice(Box<ChoiceSearch>),
}

/// What is asked.
pub(crate) struct Asked {
    pub(crate) setup: Setup,
    pub(crate) sought: Sought,
    pub(crate) wish: Wish,
    /// The limit as it is stated, if it is: that of a pulse length is 0.1 px otherwise, of other
    /// settings there is none.
    pub(crate) limit: Option<ErrorLimit>,
}

/// Texts of a list in a request.
fn texts<'a>(request: &'a Value, name: &str) -> impl Iterator<Item = &'a str> + use<'a> {
    let list = request[name].as_array().map(Vec::as_slice).unwrap_or_default();
    list.iter().filter_map(Value::as_str)
}

impl Asked {
    /// The settings that the request names under `free`, as with the command line's `--free`; those
    /// under `choose`, as with its `--for`; else what the rig itself asks.
    pub(crate) fn of(request: &Value) -> Result<Asked, Refusal> {
        let setup = setup(request)?;
        let chosen = texts(request, "choose").map(|text| text.split('=').next().unwrap_or(text));
        let varied = chosen.chain(texts(request, "free")).map(str::trim);
        let setup = seeding::held(&setup, varied)?.unwrap_or(setup);
        let limit: Option<ErrorLimit> = match text(request, "limit").trim() {
            "" => None,
            stated => Some(
                stated
                    .parse()
                    .map_err(|e: String| Refusal::Words(format!("The limit {e}.")))?,
            ),
        };
        let sought = sought(&setup, request)?;
        let usual = Effort::default();
        let limit_px = match (&sought, limit) {
            (Sought::Pulse(search), Some(limit)) => limit.px(search)?,
            _ => USUAL_LIMIT_PX,
        };
        let wish = Wish {
            limit_px,
            valid: request["valid"].as_f64().unwrap_or(USUAL_VALID),
            external: External::default(),
            effort: Effort {
                seed: seed(request),
                precision: request["precision"].as_f64().unwrap_or(usual.precision),
                most_pairs: request["most_pairs"]
                    .as_u64()
                    .map_or(usual.most_pairs, |n| n as usize),
                // Large pictures by tiles.
                whole: false,
                ..usual
            },
        };
        Ok(Asked {
            setup,
            sought,
            wish,
            limit,
        })
    }

    pub(crate) fn question(&self) -> Question {
        match &self.sought {
            Sought::Pulse(_) => Question::PulseLength,
            Sought::Map(question, _) => *question,
            Sought::Choice(_) => Question::Choice,
        }
    }
}

fn sought(setup: &Setup, request: &Value) -> Result<Sought, Refusal> {
    let chosen: Vec<String> = texts(request, "choose").map(str::to_owned).collect();
    if !chosen.is_empty() {
        return Ok(Sought::Choice(Box::new(ChoiceSearch::of(setup, &chosen)?)));
    }
    let free: Vec<&str> = texts(request, "free").collect();
    let (question, axes) = match free.len() {
        0 | 1 => {
            let plan = plan(setup)?;
            match Question::of_plan(&plan)? {
                Question::PulseLength => {
                    return Ok(Sought::Pulse(Box::new(PulseSearch::of_plan(setup, plan)?)));
                }
                question => (question, axes_of(setup, question)?),
            }
        }
        _ => freed(setup, &free)?,
    };
    check(setup, &axes)?;
    Ok(Sought::Map(question, axes))
}

/// What is asked where settings are named, and all that are free then.
fn freed(setup: &Setup, free: &[&str]) -> Result<(Question, Vec<FreeSetting>), StudyError> {
    let named = (free.iter())
        .map(|key| FreeSetting::new(setup, key, None))
        .collect::<Result<Vec<FreeSetting>, StudyError>>()?;
    match Question::of(setup) {
        // A better separation goes with each of them.
        Ok(question @ Question::Separation) => Ok((question, axes_beside(setup, question, named)?)),
        _ => Ok((Question::Settings, named)),
    }
}
