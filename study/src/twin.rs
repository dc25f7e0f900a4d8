//! The twin of a recording: a scene whose rendered pairs look like recorded ones, and what it tells
//! of them.
//!
//! A first guess in closed form ([`motefield_evaluator::appearance::guess`]) is bettered by
//! rendering: the figures of rendered pairs ([`motefield_evaluator::appearance`]) and their changes
//! with each parameter are compared with those of the recorded pairs, and the parameters moved by
//! least squares (indirect inference; Gouriéroux, Monfort & Renault 1993, J. Appl. Econometrics 8,
//! S85; from memory). All that is nonlinear in a recording (overlapping images, clipping, rounding,
//! deformation) acts on both alike. The scatter of the figures between rendered pairs, carried to
//! the parameters, gives their intervals; both the recorded and the rendered pairs contribute.

mod field;
mod fit;
mod fitting;
mod grey_scale;
mod light_change;
mod parameters;
mod processing_text;
mod quantities;

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use motefield_evaluator::appearance::curves::Curves;
use motefield_evaluator::appearance::grey_steps::grey_steps;
use motefield_evaluator::{Processing, VectorField, correlate};
use motefield_files::Memory;
use motefield_rig::setup::{Document, Referenced, Setup};
use ndarray::{Array2, ArrayView2};
use rayon::prelude::*;

use crate::StudyError;
use crate::run::Progress;
use fitting::TwinFitting;
pub use grey_scale::GreyScale;
pub use light_change::{LIGHT_CHANGES, LightChange};
pub use processing_text::processing_text;
pub use quantities::{COUNTED_RATIO, TwinQuantity};

/// Name of the flow's file beside the setup.
pub const FLOW: &str = "flow.csv";

/// The twin of a recording.
#[derive(Debug, Clone)]
pub struct Twin {
    /// The setup as text; the flow stands beside it in [`FLOW`].
    pub setup: String,
    /// The table of the flow.
    pub flow: String,
    /// The grey levels of recording and twin.
    pub grey: GreyScale,
    /// What was estimated.
    pub quantities: Vec<TwinQuantity>,
    /// The vectors of the first recorded pair.
    pub field: VectorField,
    /// The first recorded pair and a rendered one, in the twin's grey levels.
    pub specimens: [[Array2<f32>; 2]; 2],
    /// Curves of both.
    pub curves: [Curves; 2],
    /// Range of grey levels of their histograms.
    pub levels: [f64; 2],
    /// Largest difference of a figure between recorded and rendered pairs, in standard errors of
    /// that difference, and their root mean square.
    pub misfit: [f64; 2],
    /// Number of recorded pairs.
    pub pairs: usize,
}

/// Makes the twin of recorded pairs, all of one size, height × width; `None` where `stop` was set.
///
/// # Errors
/// When there is no pair, the frames differ in size, or show nothing.
pub fn twin(
    pairs: &[[ArrayView2<f32>; 2]],
    processing: &Processing,
    seed: u64,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Result<Option<Twin>, StudyError> {
    let frames: Vec<ArrayView2<f32>> = pairs.iter().flatten().copied().collect();
    let steps =
        grey_steps(&frames).ok_or_else(|| StudyError::request("there is no pair to make a twin of"))?;
    if steps.range[0] == steps.range[1] {
        return Err(StudyError::request(
            "all pixels have one grey level: there is nothing to make a twin of",
        ));
    }
    let grey = GreyScale::of(&steps);
    let levels: Vec<[Array2<f32>; 2]> = pairs
        .iter()
        .map(|pair| pair.each_ref().map(|frame| grey.twin_levels(frame)))
        .collect();
    let fields = levels
        .par_iter()
        .map(|[a, b]| correlate(a.view(), b.view(), processing))
        .collect::<Result<Vec<_>, _>>()
        .map_err(|e| StudyError::request(e.to_string()))?;
    let mut fitting = TwinFitting::new(&levels, &fields, processing, grey, seed)?;
    let start = fitting.start(&levels);
    let Some((parameters, round)) = fitting.fit(start, progress, stop)? else {
        return Ok(None);
    };
    fitting
        .finish(&levels, fields, grey, &parameters, &round)
        .map(Some)
}

impl Twin {
    /// The twin as a setup.
    ///
    /// # Errors
    /// When it cannot be read, which does not happen to a setup that was rendered.
    pub fn setup(&self) -> Result<Setup, StudyError> {
        let files = Memory::new([(PathBuf::from(FLOW), self.flow.clone().into_bytes())]);
        let document = Document::parse("twin.toml", &self.setup)?;
        Ok(Setup::read(document, Referenced::new(Arc::new(files)))?)
    }
}
