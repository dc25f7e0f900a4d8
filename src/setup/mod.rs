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
mod processing;
mod reader;
mod sheet;
mod tracer;

use motefield_evaluator::Processing;
use motefield_generator::medium::Fluid;

use crate::quantity::Dimension;
pub use camera::CameraSetup;
pub use flow::{Extent, FlowSetup, Imported, Motion, Pattern, Place, Rate, Stands, Vortex};
pub use image::ImageSetup;
pub use lens::LensSetup;
pub use light::{GlareSetup, HazardClass, Light, ReflectionSetup};
pub use processing::check as check_processing;
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
            processing: processing::read(&r)?,
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

    /// The value of a key as it is written; `None` where it is not given or holds more than one value.
    pub fn written(&self, key: &str) -> Option<String> {
        self.reader.written(key)
    }

    /// An error about a key of this setup.
    pub fn error(&self, key: &str, message: impl std::fmt::Display) -> SetupError {
        self.reader.error(key, message)
    }
}
