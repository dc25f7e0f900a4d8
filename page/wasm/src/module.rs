//! What the module keeps between requests.

use motefield_generator::{Crop, Pair, Scene};
use motefield_rig::plan::Plan;
use motefield_rig::setup::Setup;
use motefield_study::decide::Wish;
use motefield_study::decide::map::FreeSetting;
use motefield_study::decide::question::Question;
use motefield_study::run::Ledger;
use serde_json::Value;

use crate::answer::{Refusal, setup, text};

/// A pair, or a part of one.
pub(crate) struct Rendered {
    pub(crate) scene: Scene,
    /// Where in the scene's pictures it stands.
    pub(crate) crop: Crop,
    pub(crate) pair: Pair,
}

/// What is asked.
pub(crate) struct Asked {
    pub(crate) setup: Setup,
    pub(crate) question: Question,
    /// Settings to map; empty where the answer is the pulse length.
    pub(crate) axes: Vec<FreeSetting>,
    pub(crate) wish: Wish,
}

/// What the module keeps between requests.
#[derive(Default)]
pub struct Module {
    /// The last pair, for vectors and correlation planes.
    pub(crate) pair: Option<Rendered>,
    /// The last setup planned: a hand that moves asks several things of it.
    planned: Option<(String, Plan)>,
    pub(crate) study: Option<(Asked, Ledger)>,
}

impl Module {
    /// The plan of a request's setup.
    pub(crate) fn plan(&mut self, request: &Value) -> Result<&Plan, Refusal> {
        let wanted = text(request, "setup");
        let kept = self.planned.take().filter(|(of, _)| of == wanted);
        let found = match kept {
            Some(kept) => kept,
            None => (wanted.to_owned(), motefield_rig::plan::plan(&setup(request)?)?),
        };
        Ok(&self.planned.insert(found).1)
    }
}
