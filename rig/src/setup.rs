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

use crate::medium::Fluid;
use motefield_evaluator::Processing;

use crate::quantity::Dimension;
pub use camera::CameraSetup;
pub use flow::{Extent, FlowSetup, Imported, Motion, Pattern, Place, Rate, Stands, Vortex};
pub use image::ImageSetup;
pub use lens::LensSetup;
pub use light::{GlareSetup, HazardClass, Light, Measured, ReflectionSetup};
pub use processing::check as check_processing;
pub use reader::{Reader, SetupError};
pub use sheet::SheetSetup;
pub use tracer::{BrightnessSetup, TracerSetup, Unseeded};

/// A whole setup.
#[derive(Debug, Clone)]
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
    /// `[timing] displacement`: how far the fastest fluid in the picture shall move between the pulses, from which Δt follows.
    pub wanted_displacement_px: Option<f64>,
    /// `[processing]`
    pub processing: Processing,
    /// `[image]`
    pub image: ImageSetup,
    changes: Vec<(String, String)>,
    reader: Reader,
}

/// The pulse separation, or the displacement from which it follows. Where the file gives one and the command line the other, the
/// command line has the word.
fn timing(r: &Reader) -> Result<(Option<f64>, Option<f64>), SetupError> {
    let (separation, displacement) = ("timing.separation", "timing.displacement");
    let given = (
        r.positive(separation, Dimension::Time)?,
        r.positive(displacement, Dimension::Pixels)?,
    );
    match given {
        (Some(_), Some(_)) => match (r.from_command_line(separation), r.from_command_line(displacement)) {
            (true, false) => Ok((given.0, None)),
            (false, true) => Ok((None, given.1)),
            _ => Err(r.error(
                displacement,
                "and timing.separation both set the pulse separation: leave one out",
            )),
        },
        given => Ok(given),
    }
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
        let (separation_s, wanted_displacement_px) = timing(&r)?;
        let setup = Setup {
            name: name.to_owned(),
            text: text.to_owned(),
            changes: overrides.to_vec(),
            flow: flow::read(&r)?,
            separation_s,
            wanted_displacement_px,
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

    /// The rig as it stood when `light.measured_grey` was read: as the file states it, without the command line's changes but for those
    /// of the measurement itself.
    ///
    /// # Errors
    /// When the file alone is no setup.
    pub fn as_measured(&self) -> Result<Setup, SetupError> {
        let own = |(key, _): &&(String, String)| key.starts_with("light.measured_");
        let changes: Vec<(String, String)> = self.changes.iter().filter(own).cloned().collect();
        Setup::read(&self.name, &self.text, &changes)
    }

    /// Whether the setup has a key, or a list or section of that name.
    pub fn has(&self, key: &str) -> bool {
        self.reader.has(key)
    }

    /// An error about a key of this setup.
    pub fn error(&self, key: &str, message: impl std::fmt::Display) -> SetupError {
        self.reader.error(key, message)
    }
}
