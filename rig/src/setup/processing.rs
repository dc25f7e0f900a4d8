//! `[processing]`: how pairs are correlated.

use std::sync::Arc;

use motefield_evaluator::prepare::{Background, Preparation};
use motefield_evaluator::{Correlation, Normalise, Pass, Processing, ProcessingError};
use ndarray::Array2;

use super::reader::Reader;
use super::referenced::Referenced;
use super::{Setup, SetupError};
use crate::keys::choices::BackgroundChoice;
use crate::keys::{Key, processing as keys};

pub(super) fn processing(r: &Reader, referenced: &Referenced) -> Processing {
    let mut p = Processing {
        preparation: preparation(r, referenced),
        background_frames: r.whole(keys::BACKGROUND_FRAMES),
        ..Processing::default()
    };
    if p.background_frames.is_some() && matches!(p.preparation.background, Background::Given(_)) {
        r.fault(
            keys::BACKGROUND_FRAMES,
            "is for a background that is to be made, but processing.background_picture gives one: take either out",
        );
    }
    take(&mut p.ensemble, r.whole(keys::ENSEMBLE));
    passes(r, &mut p);
    take(&mut p.weighting, r.choice(keys::WEIGHTING));
    take(&mut p.correlation, r.choice(keys::CORRELATION));
    if let Some(normalise) = r.choice(keys::NORMALISE) {
        p.normalise = normalise;
        // Dividing by the window's own correlation means the linear one; nobody need say so twice.
        if normalise != Normalise::None && !r.has(keys::CORRELATION) {
            p.correlation = Correlation::ZeroPadded;
        }
    }
    take(&mut p.peak_fit, r.choice(keys::PEAK_FIT));
    take(&mut p.low_values, r.choice(keys::LOW_VALUES));
    take(&mut p.interpolator, r.choice(keys::INTERPOLATOR));
    take(&mut p.predictor_filter, r.choice(keys::PREDICTOR_FILTER));
    take(&mut p.refinement, r.choice(keys::REFINEMENT));
    take(&mut p.deform, r.switch(keys::DEFORM));
    take(&mut p.outlier_threshold, r.number(keys::OUTLIER_THRESHOLD));
    take(&mut p.outlier_epsilon_px, r.number(keys::OUTLIER_EPSILON));
    p.min_peak_ratio = r.number(keys::MIN_PEAK_RATIO).or(p.min_peak_ratio);
    p.max_displacement_px = r.number(keys::MAX_DISPLACEMENT).or(p.max_displacement_px);
    p
}

/// Takes what a setup gives.
fn take<T>(into: &mut T, given: Option<T>) {
    if let Some(given) = given {
        *into = given;
    }
}

fn passes(r: &Reader, p: &mut Processing) {
    if let Some(count) = r.list(keys::PASSES) {
        p.passes = (0..count).map(|k| pass(r, k)).collect();
    }
    // A study varies the final window or its overlap by these two, whatever the list of passes.
    let last = *p.passes.last().expect("at least one pass");
    if let Some(side) = r.whole(keys::WINDOW) {
        for pass in &mut p.passes {
            pass.window = match pass.window == last.window {
                true => [side; 2],
                false => pass.window.map(|s| s.max(side)),
            };
        }
    }
    if let Some(overlap) = r.number(keys::OVERLAP) {
        p.passes.last_mut().expect("at least one pass").overlap = overlap;
    }
}

/// `{ window = 32, overlap = 0.5 }`, or `window = [48, 24]`.
fn pass(r: &Reader, k: usize) -> Pass {
    let window = keys::PASS_WINDOW.in_table(k);
    let sides = match r.has(window.entry(0)) {
        true => r.list(window.clone()).and_then(|_| {
            let side = |i: usize| r.whole(window.entry(i));
            Some([side(0)?, side(1)?])
        }),
        false => r.whole(window.clone()).map(|side| [side; 2]),
    };
    let why = "a pass needs its window: write for example { window = 32, overlap = 0.5 }";
    Pass {
        window: r.needed(window, sides, why, [32; 2]),
        overlap: r.number(keys::PASS_OVERLAP.in_table(k)).unwrap_or(0.5),
    }
}

/// What is done to the frames before they are correlated.
fn preparation(r: &Reader, referenced: &Referenced) -> Preparation {
    let made = match r.choice(keys::BACKGROUND) {
        Some(BackgroundChoice::Made(statistic)) => Some(statistic),
        Some(BackgroundChoice::None) | None => None,
    };
    let picture = |key| picture(r, referenced, key);
    let background = match (made, picture(keys::BACKGROUND_PICTURE)) {
        (Some(statistic), given) => {
            if given.is_some() {
                r.fault(
                    keys::BACKGROUND_PICTURE,
                    "cannot stand beside processing.background, which makes one: give either",
                );
            }
            Background::Made(statistic)
        }
        (None, Some(a)) => {
            let b = picture(keys::BACKGROUND_PICTURE_B);
            Background::Given([Arc::clone(&a), b.unwrap_or(a)])
        }
        (None, None) => Background::None,
    };
    Preparation {
        background,
        intensity_cap: r.number(keys::INTENSITY_CAP),
        high_pass_px: r.whole(keys::HIGH_PASS),
        local_normalisation_px: r.whole(keys::LOCAL_NORMALISATION),
        mask: picture(keys::MASK).map(|white| Arc::new(white.mapv(|v| v == 0.0))),
    }
}

/// The picture in the file that a key names.
fn picture(r: &Reader, referenced: &Referenced, key: &'static Key) -> Option<Arc<Array2<f32>>> {
    let path = r.file(key)?;
    match referenced.picture(&path) {
        Ok(picture) => Some(picture),
        Err(e) => {
            r.fault(key, format!("cannot be used: {e}"));
            None
        }
    }
}

/// Checks that pictures of `size` (px) can be processed as the setup says, pair by pair or ensemble
/// by ensemble.
///
/// # Errors
/// When they cannot: names the key.
pub fn check_processing(setup: &Setup, [width, height]: [usize; 2]) -> Result<(), SetupError> {
    let processing = &setup.processing;
    processing.validate(width, height).map_err(|e| {
        let key = match e {
            ProcessingError::Shape { what: "the mask", .. } => keys::MASK,
            ProcessingError::Shape { .. } => keys::BACKGROUND_PICTURE,
            // The window may be stated apart from the list of passes.
            _ if setup.has(keys::WINDOW) => keys::WINDOW,
            _ => keys::PASSES,
        };
        setup.error(key, format!("cannot be used: {e}"))
    })?;
    let made = matches!(processing.preparation.background, Background::Made(_));
    if made && processing.background_frames.is_none() && processing.ensemble < 2 {
        return Err(setup.error(
            keys::BACKGROUND,
            "is to be made of many frames, but each pair is measured by itself: say of how many frames, such as background_frames = 20, or measure pairs together, such as ensemble = 10",
        ));
    }
    Ok(())
}
