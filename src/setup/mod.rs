//! Setup files: what the experimenter writes down, checked and in SI units.
//!
//! Two levels in one file. The rig (`[light] [sheet] [tracer] [fluid] [lens] [camera] [flow] [timing] [processing]`) is what
//! stands in the lab; `[image]` states what the pictures show and overrides what the rig would give. [`crate::plan`] is
//! the only step from the one to the other.

mod camera;
mod flow;
mod image;
mod lens;
mod light;
mod reader;
mod sheet;
mod tracer;

use motefield_evaluator::{Pass, Processing};
use motefield_generator::medium::Fluid;

use crate::quantity::Dimension;
pub use camera::CameraSetup;
pub use flow::{Extent, FlowSetup, Imported, Motion, Pattern, Place, Rate, Stands, Vortex};
pub use image::ImageSetup;
pub use lens::LensSetup;
pub use light::{GlareSetup, HazardClass, Light, ReflectionSetup};
pub use reader::{Reader, SetupError};
pub use sheet::SheetSetup;
pub use tracer::{BrightnessSetup, TracerSetup, Unseeded};

/// A whole setup.
#[derive(Debug)]
pub struct Setup {
    /// File name, or the embedded rig's.
    pub name: String,
    /// The text as it was read.
    pub text: String,
    /// `[light]`
    pub light: Light,
    /// `[reflections]`
    pub reflections: ReflectionSetup,
    /// `[sheet]`
    pub sheet: SheetSetup,
    /// `[tracer]`
    pub tracer: TracerSetup,
    /// `[fluid]`: which, and its temperature in K.
    pub fluid: Option<(Fluid, f64)>,
    /// `[lens]`
    pub lens: LensSetup,
    /// `[camera]`
    pub camera: CameraSetup,
    /// `[flow]`
    pub flow: FlowSetup,
    /// `[timing] separation`: Δt, from the start of one pulse to the start of the other.
    pub separation_s: Option<f64>,
    /// `[processing]`
    pub processing: Processing,
    /// `[image]`
    pub image: ImageSetup,
    reader: Reader,
}

impl Setup {
    /// Reads a setup; `overrides` are (key, value) pairs that stand in place of the text's own.
    ///
    /// # Errors
    /// The first key that cannot be used, with its line and what to write instead.
    pub fn read(name: &str, text: &str, overrides: &[(String, String)]) -> Result<Setup, SetupError> {
        use Dimension as D;
        let r = Reader::new(name, text, overrides)?;
        let light = light::light(&r)?;
        let kind = r.word("fluid.kind", &[("water", Fluid::Water), ("air", Fluid::Air)])?;
        let temperature = r.positive("fluid.temperature", D::Temperature)?;
        let fluid = kind.map(|kind| (kind, temperature.unwrap_or(293.15)));
        let setup = Setup {
            name: name.to_owned(),
            text: text.to_owned(),
            flow: flow::read(&r)?,
            separation_s: r.positive("timing.separation", D::Time)?,
            processing: processing(&r)?,
            reflections: light::reflections(&r)?,
            sheet: sheet::sheet(&r)?,
            tracer: tracer::tracer(&r)?,
            fluid,
            lens: lens::lens(&r)?,
            camera: camera::camera(&r, light.wavelength_m)?,
            image: image::image(&r)?,
            light,
            reader: r,
        };
        setup.reader.finish()?;
        Ok(setup)
    }

    /// An error about a key of this setup.
    pub fn error(&self, key: &str, message: impl std::fmt::Display) -> SetupError {
        self.reader.error(key, message)
    }
}

/// The choices of one of the evaluator's named enums, as words for [`Reader::word`].
macro_rules! choices {
    ($kind:ident) => {
        &motefield_evaluator::$kind::ALL
            .iter()
            .map(|choice| (choice.as_str(), *choice))
            .collect::<Vec<_>>()
    };
}

fn processing(r: &Reader) -> Result<Processing, SetupError> {
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
