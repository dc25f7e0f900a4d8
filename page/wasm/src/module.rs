//! What the module keeps between requests.

use motefield_generator::{Crop, Pair, Scene};
use motefield_rig::plan::Plan;
use serde_json::Value;

use crate::answer::{Refusal, setup, text};
use crate::study::Study;

/// A pair, or a part of one.
pub(crate) struct KeptPair {
    pub(crate) scene: Scene,
    /// Where in the scene's pictures it stands.
    pub(crate) crop: Crop,
    pub(crate) pair: Pair,
}

/// What the module keeps between requests.
#[derive(Default)]
pub struct Module {
    /// The last pair, for vectors and correlation planes.
    pub(crate) pair: Option<KeptPair>,
    /// The last setup planned: a hand that moves asks several things of it.
    planned: Option<(String, Plan)>,
    pub(crate) study: Option<Study>,
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
