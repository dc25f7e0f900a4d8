//! The pulse length that a decision names.

use motefield_evaluator::statistics::Estimate;

use super::{Figures, Measure, Request};
use crate::decide::{PulseSearch, USUAL_LIMIT_PX, USUAL_VALID, Wish, decide};
use crate::run::{Effort, External};

/// Pulse length and error of the best point of a decision.
pub const DECISION: Measure = Measure {
    name: "decision",
    about: "the decision (which renders and correlates by itself) on the pulse length of a rig, every point with the case's number of pairs: the pulse length that it names, with those that cannot be told from it as its interval, and the total error there",
    arguments: &[],
    figures: &["best_pulse_s", "total_px"],
    pictures: true,
    statistical: true,
    run,
};

fn run(request: &Request) -> Result<Figures, String> {
    let search = PulseSearch::of(&request.plan().rig.setup).map_err(|e| e.to_string())?;
    let wish = Wish {
        external: External::default(),
        limit_px: USUAL_LIMIT_PX,
        valid: USUAL_VALID,
        effort: Effort {
            seed: request.seed,
            first_pairs: request.pairs,
            most_pairs: request.pairs,
            confidence: request.confidence,
            ..Effort::default()
        },
    };
    let decision = decide(&search, &wish, None, request.progress, request.stop).map_err(|e| e.to_string())?;
    let (point, reading) = decision.best().ok_or("was stopped")?;
    let [lo, hi] = reading.best_interval_s;
    let best = Estimate {
        value: reading.best_s,
        lo,
        hi,
    };
    Ok([("best_pulse_s", best), ("total_px", point.point.score.total_px)]
        .map(|(name, figure)| (name.to_owned(), figure))
        .into())
}
