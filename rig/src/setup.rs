//! Setups: what the experimenter states, checked and in SI units.
//!
//! Two levels in one file. The rig (`[light] [sheet] [tracer] [fluid] [lens] [camera] [flow]
//! [timing] [processing]`) is what stands in the lab; `[image]` states what the pictures show and
//! overrides what the rig would give. [`crate::plan`] is the only step from the one to the other.
//! Every key is described in [`crate::keys`].

mod camera;
mod document;
mod error;
mod flow;
mod image;
mod lens;
mod light;
mod processing;
mod reader;
mod referenced;
mod sheet;
mod stated;
mod tolerance;
mod tracer;

use std::sync::Arc;

use motefield_evaluator::Processing;

pub use camera::CameraSetup;
pub use document::{Document, Value, usual_parts};
pub(crate) use error::Faults;
pub use error::{Fault, Place, SetupError, SourceText};
pub use flow::{Extent, FieldSetup, FlowSetup, Imported, PlaceFromMiddle, Stands, Velocity};
pub use image::ImageSetup;
pub use lens::{LensSetup, ThinLens};
pub use light::{
    ElectricalPower, GlareSetup, LightSetup, MeasuredBrightness, PulseCourse, RecordedPulse, ReflectionSetup,
    SourceLimits, SpectralLine,
};
pub use processing::check_processing;
pub use reader::KeyAt;
use reader::Reader;
pub use referenced::Referenced;
pub use sheet::SheetSetup;
pub use stated::{Stated, StatedKeys};
pub use tolerance::Tolerance;
pub use tracer::{BrightnessSetup, Fluorescence, TracerSetup, Unseeded};

use crate::keys;
use crate::medium::Fluid;
use crate::quantity::Quantity;

/// The rig that serves where no setup is named.
pub const EMBEDDED: &str = include_str!("../../cases/flume.toml");
/// What messages call it.
pub const EMBEDDED_NAME: &str = "the embedded rig (cases/flume.toml)";

/// A whole setup.
#[derive(Debug, Clone)]
pub struct Setup {
    /// `[light]`
    pub light: LightSetup,
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
    /// `[flow]`, or a list of fields that add.
    pub flow: FlowSetup,
    /// `[timing] separation`: Δt, from the start of one pulse to the start of the other.
    pub separation_s: Option<f64>,
    /// `[timing] displacement`: how far the fastest fluid in the picture shall move between the
    /// pulses, from which Δt follows.
    pub displacement_px: Option<f64>,
    /// `[processing]`
    pub processing: Processing,
    /// `[image]`
    pub image: ImageSetup,
    /// Values stated with a tolerance, `"2.5 W +- 20 %"`.
    pub tolerances: Vec<Tolerance>,
    /// With the parts that it includes.
    document: Document,
    /// Without them: what a change acts on, so that it overrides a part as the text does.
    own: Document,
    referenced: Arc<Referenced>,
}

/// The pulse separation, or the displacement from which it follows. Where the text gives one and a
/// change the other, the change counts.
fn timing(r: &Reader) -> (Option<f64>, Option<f64>) {
    let (separation, displacement) = (keys::timing::SEPARATION, keys::timing::DISPLACEMENT);
    let given = (r.number(separation), r.number(displacement));
    match (
        r.has(separation) && r.has(displacement),
        r.is_changed(separation),
        r.is_changed(displacement),
    ) {
        (true, true, false) => (given.0, None),
        (true, false, true) => (None, given.1),
        (true, ..) => {
            r.exclude(displacement, separation, "both set the pulse separation");
            given
        }
        (false, ..) => given,
    }
}

impl Setup {
    /// Reads a setup; the files that it names, and the parts that it includes, come from
    /// `referenced`.
    ///
    /// # Errors
    /// Everything in it that cannot be used, each with its line and what to write instead.
    ///
    /// # Examples
    /// ```
    /// use motefield_rig::setup::{Document, Referenced, Setup};
    ///
    /// let text = "[flow]\nkind = \"uniform\"\nvelocity = [\"0.1 m/s\", \"0 m/s\"]\n";
    /// let document = Document::parse("rig.toml", text).unwrap();
    /// let setup = Setup::read(document, Referenced::on_disk()).unwrap();
    /// assert!(setup.light.power_w.is_none());
    ///
    /// let document = Document::parse("rig.toml", "[light]\npower = 4\n").unwrap();
    /// let refused = Setup::read(document, Referenced::on_disk()).unwrap_err();
    /// assert!(refused.to_string().contains("rig.toml, line 2: `light.power = 4` has no unit"));
    /// ```
    pub fn read(document: Document, referenced: Arc<Referenced>) -> Result<Setup, SetupError> {
        let own = document;
        let document = own.with_parts(referenced.files())?;
        let r = Reader::new(&document);
        let light = light::light(&r, &referenced);
        let temperature = r.number(keys::fluid::TEMPERATURE);
        let fluid = r
            .choice(keys::fluid::KIND)
            .map(|kind| (kind, temperature.unwrap_or(293.15)));
        let (separation_s, displacement_px) = timing(&r);
        let (flow, processing) = (flow::flow(&r), processing::processing(&r, &referenced));
        let (reflections, sheet) = (light::reflections(&r), sheet::sheet(&r));
        let (tracer, lens) = (tracer::tracer(&r), lens::lens(&r));
        let emitted = tracer.fluorescence.map(|of| SpectralLine {
            wavelength_m: of.emission_m,
            share: 1.0,
        });
        let seen = emitted.as_ref().map_or(&light.lines[..], std::slice::from_ref);
        let (camera, image) = (camera::camera(&r, seen), image::image(&r));
        let tolerances = tolerance::tolerances(&r, &document);
        r.finish()?;
        Ok(Setup {
            light,
            reflections,
            sheet,
            tracer,
            fluid,
            lens,
            camera,
            flow,
            separation_s,
            displacement_px,
            processing,
            image,
            tolerances,
            document,
            own,
            referenced,
        })
    }

    /// Reads a text with changes to it, each a key and its value as a person writes it; the files
    /// that it names are read from disk.
    ///
    /// # Errors
    /// As [`Document::parse`] and [`read`](Setup::read).
    pub fn from_text<K: AsRef<str>>(name: &str, text: &str, changes: &[(K, K)]) -> Result<Setup, SetupError> {
        let plain = Document::parse(name, text)?;
        let document = changes.iter().fold(plain, |document, (path, value)| {
            document.with(path.as_ref(), Value::parse(value.as_ref()))
        });
        Setup::read(document, Referenced::on_disk())
    }

    /// Reads the `[processing]` of a setup that may lack everything else.
    ///
    /// # Errors
    /// Everything in that section that cannot be used.
    pub fn read_processing(document: &Document, referenced: &Referenced) -> Result<Processing, SetupError> {
        let document = document.with_parts(referenced.files())?;
        let r = Reader::new(&document);
        let processing = processing::processing(&r, referenced);
        r.finish_section(keys::processing::SECTION.name)?;
        Ok(processing)
    }

    /// The setup with another value under `path`: a key, or an entry of a list.
    ///
    /// # Errors
    /// As [`read`](Setup::read).
    pub fn with(&self, path: &str, value: Value) -> Result<Setup, SetupError> {
        Setup::read(self.own.with(path, value), Arc::clone(&self.referenced))
    }

    /// The same with several changes.
    ///
    /// # Errors
    /// As [`read`](Setup::read).
    pub fn with_all(&self, changes: &[(&str, Value)]) -> Result<Setup, SetupError> {
        let document = changes.iter().fold(self.own.clone(), |document, (path, value)| {
            document.with(path, value.clone())
        });
        Setup::read(document, Arc::clone(&self.referenced))
    }

    /// What the setup is called.
    pub fn name(&self) -> &str {
        self.document.name()
    }

    /// The text as it was read.
    pub fn text(&self) -> &str {
        self.document.text()
    }

    /// The text, flattened, with its parts and its changes.
    pub fn document(&self) -> &Document {
        &self.document
    }

    /// The files that the setup names.
    pub fn referenced(&self) -> &Arc<Referenced> {
        &self.referenced
    }

    /// What stands under a path as a setup would write it, lists too; `None` where nothing does,
    /// and for sections and lists of tables.
    pub fn written(&self, path: &str) -> Option<String> {
        self.document.written(path)
    }

    /// The rig as it stood when `light.measured_grey` was read: as the text states it, without its
    /// changes but for those of the measurement itself.
    ///
    /// # Errors
    /// When the text alone is no setup.
    pub fn as_measured(&self) -> Result<Setup, SetupError> {
        let of_measurement = [keys::light::MEASURED_GREY.path, keys::light::MEASURED_AT.path];
        let document = self.document.as_read(|path| of_measurement.contains(&path))?;
        Setup::read(document, Arc::clone(&self.referenced))
    }

    /// Vacuum wavelength of the light that the lens collects: that of the fluorescence, if the
    /// particles have it, else that of the source.
    pub fn seen_wavelength_m(&self) -> Option<f64> {
        let emitted = self.tracer.fluorescence.map(|of| of.emission_m);
        emitted.or(self.light.wavelength_m)
    }

    /// Whether the setup gives a key.
    pub fn has(&self, key: &keys::Key) -> bool {
        key.names().any(|name| self.document.has(name))
    }

    /// An error about a key of this setup.
    pub fn error(&self, at: impl Into<KeyAt>, message: impl std::fmt::Display) -> SetupError {
        self.document
            .error(self.document.fault(&at.into().written(&self.document), message))
    }

    /// A quantity of this setup as a change sets it.
    pub fn quantity(value: f64, dimension: crate::quantity::Dimension) -> Value {
        Value::Quantity(Quantity { value, dimension })
    }
}

#[cfg(test)]
mod tests;
