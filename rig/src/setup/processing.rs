//! `[processing]`: how pairs are correlated.

use std::sync::Arc;

use motefield_evaluator::prepare::{Background, Preparation, Statistic};
use motefield_evaluator::{Pass, Processing, ProcessingError};
use ndarray::Array2;

use super::Setup;
use super::reader::{Reader, SetupError};
use crate::quantity::Dimension;

/// Most pairs of an ensemble: all of them are in memory at once.
const MOST_TOGETHER: usize = 1000;

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
    let mut p = Processing {
        preparation: preparation(r)?,
        background_frames: r.whole("processing.background_frames", 2, 100_000)?,
        ..Processing::default()
    };
    if p.background_frames.is_some() && matches!(p.preparation.background, Background::Given(_)) {
        return Err(r.error(
            "processing.background_frames",
            "is for a background that is to be made, but processing.background_picture gives one: take either out",
        ));
    }
    if let Some(pairs) = r.whole("processing.ensemble", 1, MOST_TOGETHER)? {
        p.ensemble = pairs;
    }
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

/// What is done to the frames before they are correlated.
fn preparation(r: &Reader) -> Result<Preparation, SetupError> {
    let words: Vec<(&str, Option<Statistic>)> = std::iter::once(("none", None))
        .chain(Statistic::ALL.iter().map(|s| (s.as_str(), Some(*s))))
        .collect();
    let made = r.word("processing.background", &words)?.flatten();
    let picture = picture(r, "processing.background_picture")?;
    let background = match (made, picture) {
        (Some(_), Some(_)) => {
            return Err(r.error(
                "processing.background_picture",
                "cannot stand beside processing.background, which makes one: give either",
            ));
        }
        (Some(statistic), None) => Background::Made(statistic),
        (None, Some(a)) => {
            let a = Arc::new(a);
            let b = self::picture(r, "processing.background_picture_b")?;
            Background::Given([Arc::clone(&a), b.map_or(a, Arc::new)])
        }
        (None, None) => Background::None,
    };
    let odd = |key: &str| match r.whole(key, 3, 4095)? {
        Some(side) if side % 2 == 0 => Err(r.error(
            key,
            format!(
                "is {side}, but must be an odd number of pixels, so that one is in the middle: write {}",
                side + 1
            ),
        )),
        side => Ok(side),
    };
    let mask = self::picture(r, "processing.mask")?;
    Ok(Preparation {
        background,
        intensity_cap: r.number("processing.intensity_cap", |n| n > 0.0, "above 0 (2 is usual)")?,
        high_pass_px: odd("processing.high_pass")?,
        local_normalisation_px: odd("processing.local_normalisation")?,
        mask: mask.map(|white| Arc::new(white.mapv(|v| v == 0.0))),
    })
}

/// The picture in the file that `key` names.
fn picture(r: &Reader, key: &str) -> Result<Option<Array2<f32>>, SetupError> {
    let read = |path: std::path::PathBuf| {
        motefield_files::picture::read(&path).map_err(|e| r.error(key, format!("cannot be used: {e}")))
    };
    r.path(key)?.map(read).transpose()
}

/// Checks that pictures of `size` (px) can be processed as the setup says, pair by pair or ensemble by ensemble.
pub fn check(setup: &Setup, [width, height]: [usize; 2]) -> Result<(), SetupError> {
    let processing = &setup.processing;
    processing.validate(width, height).map_err(|e| {
        let key = match e {
            ProcessingError::Shape { what: "the mask", .. } => "processing.mask",
            ProcessingError::Shape { .. } => "processing.background_picture",
            _ => "processing.passes",
        };
        setup.error(key, format!("cannot be used: {e}"))
    })?;
    let made = matches!(processing.preparation.background, Background::Made(_));
    if made && processing.background_frames.is_none() && processing.ensemble < 2 {
        return Err(setup.error(
            "processing.background",
            "is to be made of many frames, but each pair is measured by itself: say of how many frames, such as background_frames = 20, or measure pairs together, such as ensemble = 10",
        ));
    }
    Ok(())
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
