//! `[processing]`: how pairs are correlated.

use motefield_evaluator::{Pass, Processing};

use super::reader::{Reader, SetupError};
use crate::quantity::Dimension;

/// The choices of one of the evaluator's named enums, as words for [`Reader::word`].
macro_rules! choices {
    ($kind:ident) => {
        &motefield_evaluator::$kind::ALL
            .iter()
            .map(|choice| (choice.as_str(), *choice))
            .collect::<Vec<_>>()
    };
}

pub(super) fn read(r: &Reader) -> Result<Processing, SetupError> {
    let mut p = Processing::default();
    if let Some(count) = r.list("processing.passes", 1..=64)? {
        p.passes = (0..count)
            .map(|k| pass(r, &format!("processing.passes[{k}]")))
            .collect::<Result<_, _>>()?;
    }
    // A study varies the final window or its overlap by these two, whatever the list of passes.
    let last = *p.passes.last().expect("at least one pass");
    if let Some(side) = r.whole("processing.window", Processing::MIN_WINDOW_PX, 4096)? {
        for pass in &mut p.passes {
            let final_size = pass.window == last.window;
            pass.window = if final_size {
                [side; 2]
            } else {
                pass.window.map(|s| s.max(side))
            };
        }
    }
    if let Some(overlap) = r.share("processing.overlap")? {
        p.passes.last_mut().expect("at least one pass").overlap = overlap;
    }
    if let Some(v) = r.word("processing.weighting", choices!(Weighting))? {
        p.weighting = v;
    }
    if let Some(v) = r.word("processing.correlation", choices!(Correlation))? {
        p.correlation = v;
    }
    if let Some(v) = r.word("processing.normalise", choices!(Normalise))? {
        p.normalise = v;
        // Dividing by the window's own correlation means the linear one; nobody need say so twice.
        if v != motefield_evaluator::Normalise::None && !r.has("processing.correlation") {
            p.correlation = motefield_evaluator::Correlation::ZeroPadded;
        }
    }
    if let Some(v) = r.word("processing.peak_fit", choices!(PeakFit))? {
        p.peak_fit = v;
    }
    if let Some(v) = r.word("processing.interpolator", choices!(Interpolator))? {
        p.interpolator = v;
    }
    if let Some(v) = r.word("processing.predictor_filter", choices!(PredictorFilter))? {
        p.predictor_filter = v;
    }
    if let Some(v) = r.word("processing.refinement", choices!(Refinement))? {
        p.refinement = v;
    }
    if let Some(v) = r.switch("processing.deform")? {
        p.deform = v;
    }
    if let Some(v) = r.number("processing.outlier_threshold", |n| n > 0.0, "above 0")? {
        p.outlier_threshold = v;
    }
    if let Some(v) = r.positive("processing.outlier_epsilon", Dimension::Pixels)? {
        p.outlier_epsilon_px = v;
    }
    if let Some(v) = r.number("processing.min_peak_ratio", |n| n >= 1.0, "at least 1")? {
        p.min_peak_ratio = Some(v);
    }
    if let Some(v) = r.positive("processing.max_displacement", Dimension::Pixels)? {
        p.max_displacement_px = Some(v);
    }
    Ok(p)
}

/// `{ window = 32, overlap = 0.5 }`, or `window = [48, 24]`.
fn pass(r: &Reader, key: &str) -> Result<Pass, SetupError> {
    let side = |key: &str| r.whole(key, Processing::MIN_WINDOW_PX, 4096);
    let window_key = format!("{key}.window");
    let list = format!("{window_key}[0]");
    let window = if r.has(&list) {
        r.list(&window_key, 2..=2)?;
        side(&list)?
            .zip(side(&format!("{window_key}[1]"))?)
            .map(|(w, h)| [w, h])
    } else {
        side(&window_key)?.map(|s| [s; 2])
    };
    let window = window.ok_or_else(|| {
        r.error(
            key,
            "lacks its window: write for example { window = 32, overlap = 0.5 }",
        )
    })?;
    let overlap = r.share(&format!("{key}.overlap"))?.unwrap_or(0.5);
    Ok(Pass { window, overlap })
}
