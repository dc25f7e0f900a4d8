//! Setup files: what the experimenter writes down, checked and in SI units.
//!
//! Two levels in one file. The rig (`[light] [sheet] [tracer] [fluid] [lens] [camera] [flow] [timing] [processing]`) is what
//! stands in the lab; `[image]` states what the pictures show and overrides what the rig would give. [`crate::plan`] is
//! the only step from the one to the other.

mod flow;
mod reader;

use motefield_evaluator::{Pass, Processing};
use motefield_generator::Profile;
use motefield_generator::medium::Fluid;

use crate::quantity::Dimension;
pub use flow::{Extent, FlowSetup, Imported, Motion, Pattern, Place, Rate, Stands, Vortex};
pub use reader::{Reader, SetupError};

/// `[light]`
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Light {
    /// Radiant power while a pulse lasts; the light of a pulse grows with its length.
    pub power_w: Option<f64>,
    /// Energy of a pulse whatever its length.
    pub pulse_energy_j: Option<f64>,
    /// Length of each pulse.
    pub pulse_s: Option<f64>,
    /// Vacuum wavelength.
    pub wavelength_m: Option<f64>,
    /// Share of the light that reaches the sheet's part seen by the camera.
    pub delivery: Option<f64>,
    /// Whether the source is a laser; an LED else.
    pub laser: Option<bool>,
    /// Hazard class of the source as its maker states it.
    pub hazard_class: Option<HazardClass>,
}

/// Laser hazard classes of IEC 60825-1, from harmless to hazardous.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum HazardClass {
    /// 1, 1M: harmless to the naked eye.
    One,
    /// 2, 2M: the blink protects.
    Two,
    /// 3R: small risk.
    ThreeR,
    /// 3B: hazardous to the eye.
    ThreeB,
    /// 4: hazardous to eye and skin, also by diffuse reflection.
    Four,
}

/// `[sheet]`
#[derive(Debug, Clone, PartialEq)]
pub struct SheetSetup {
    /// Fall of the light across the sheet.
    pub profile: Profile,
    /// Thickness Δz₀.
    pub thickness: Option<Extent>,
    /// Height of the sheet.
    pub height_m: Option<f64>,
    /// Displacement in depth over the thickness, besides that of the flow.
    pub out_of_plane: f64,
}

/// `[tracer]`
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TracerSetup {
    /// Particle diameter.
    pub diameter_m: Option<f64>,
    /// Relative half-width of the diameters about it.
    pub diameter_spread: Option<f64>,
    /// Particle density.
    pub density_kg_m3: Option<f64>,
    /// Refractive index of the particles against vacuum.
    pub refractive_index: Option<f64>,
    /// Particles in a volume of fluid.
    pub concentration_m3: Option<f64>,
}

/// `[lens]`
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LensSetup {
    /// Image over object.
    pub magnification: Option<f64>,
    /// Width of the field pictured; the magnification follows from it.
    pub field_width_m: Option<f64>,
    /// Aperture, f-number.
    pub f_number: Option<f64>,
    /// Share of light that passes lens and filter.
    pub transmission: Option<f64>,
    /// e⁻² diameter of what aberrations and focus add to the image, on the sensor.
    pub blur_m: Option<f64>,
}

/// `[camera]`
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CameraSetup {
    /// Width and height.
    pub size: Option<[usize; 2]>,
    /// Distance between pixels.
    pub pixel_m: Option<f64>,
    /// Bits of a grey level.
    pub bits: Option<usize>,
    /// Grey levels an electron.
    pub gain_dn_per_e: Option<f64>,
    /// Full-well capacity.
    pub full_well_e: Option<f64>,
    /// Temporal dark noise.
    pub dark_noise_e: Option<f64>,
    /// Mean grey level of a dark pixel.
    pub black_level_dn: Option<f64>,
    /// Photo-electrons a photon.
    pub quantum_efficiency: Option<f64>,
    /// No camera: expected photo-electrons as they are.
    pub ideal: bool,
    /// Time from the end of exposure A to the beginning of exposure B.
    pub dead_time_s: Option<f64>,
    /// Length of an exposure.
    pub exposure_s: Option<f64>,
}

/// `[image]`: what the pictures show; overrides the rig.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ImageSetup {
    /// Width and height.
    pub size: Option<[usize; 2]>,
    /// Particle image diameter d_τ.
    pub particle_diameter_px: Option<f64>,
    /// Particles per pixel.
    pub seeding_ppp: Option<f64>,
    /// Photo-electrons of a particle image at sheet centre.
    pub electrons: Option<f64>,
    /// Photo-electrons in the pixel on which the middle of a particle's streak stands, at sheet centre; in place of `electrons`.
    pub peak_electrons: Option<f64>,
    /// Photo-electrons of the background in a pixel.
    pub background_e: Option<f64>,
    /// Pulse length over pulse separation.
    pub pulse_fraction: Option<f64>,
    /// The same streak for all particles.
    pub streak_px: Option<[f64; 2]>,
}

/// A whole setup.
#[derive(Debug)]
pub struct Setup {
    /// File name, or the embedded rig's.
    pub name: String,
    /// The text as it was read.
    pub text: String,
    /// `[light]`
    pub light: Light,
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
        let light = Light {
            power_w: r.positive("light.power", D::Power)?,
            pulse_energy_j: r.positive("light.pulse_energy", D::Energy)?,
            pulse_s: r.positive("light.pulse_length", D::Time)?,
            wavelength_m: r.positive("light.wavelength", D::Length)?,
            delivery: r.share("light.delivery")?,
            laser: r.word("light.source", &[("laser", true), ("led", false)])?,
            hazard_class: r.word("light.hazard_class", &HAZARD_CLASSES)?,
        };
        if light.power_w.is_some() && light.pulse_energy_j.is_some() {
            return Err(r.error("light.pulse_energy", "and light.power exclude each other: a source is limited by its power (diode, LED) or gives a fixed energy (Q-switched)"));
        }
        let sheet = SheetSetup {
            profile: r
                .word(
                    "sheet.profile",
                    &[("gaussian", Profile::Gaussian), ("top-hat", Profile::TopHat)],
                )?
                .unwrap_or(Profile::Gaussian),
            thickness: flow::extent(&r, "sheet.thickness")?,
            height_m: r.positive("sheet.height", D::Length)?,
            out_of_plane: r
                .number(
                    "sheet.out_of_plane",
                    |n| n.abs() <= 2.0,
                    "-2 to 2 sheet thicknesses",
                )?
                .unwrap_or(0.0),
        };
        if let Some(Extent::Px(t) | Extent::M(t)) = sheet.thickness
            && t <= 0.0
        {
            return Err(r.error("sheet.thickness", "must be above 0"));
        }
        let tracer = TracerSetup {
            diameter_m: r.positive("tracer.diameter", D::Length)?,
            diameter_spread: r.share("tracer.diameter_spread")?,
            density_kg_m3: r.positive("tracer.density", D::Density)?,
            refractive_index: r.number("tracer.refractive_index", |n| (1.0..=4.0).contains(&n), "1 to 4")?,
            concentration_m3: r.positive("tracer.concentration", D::NumberDensity)?,
        };
        let kind = r.word("fluid.kind", &[("water", Fluid::Water), ("air", Fluid::Air)])?;
        let temperature = r.positive("fluid.temperature", D::Temperature)?;
        let fluid = kind.map(|kind| (kind, temperature.unwrap_or(293.15)));
        let lens = LensSetup {
            magnification: r.number(
                "lens.magnification",
                |n| n > 0.0 && n <= 100.0,
                "above 0 and at most 100",
            )?,
            field_width_m: r.positive("lens.field_width", D::Length)?,
            f_number: r.positive("lens.aperture", D::Aperture)?,
            transmission: r.share("lens.transmission")?,
            blur_m: r.not_negative("lens.blur", D::Length)?,
        };
        if lens.magnification.is_some() && lens.field_width_m.is_some() {
            return Err(r.error(
                "lens.field_width",
                "and lens.magnification say the same thing twice: leave one out",
            ));
        }
        let camera = CameraSetup {
            size: size(&r, "camera.size")?,
            pixel_m: r.positive("camera.pixel", D::Length)?,
            bits: r.whole("camera.bits", 1, 16)?,
            gain_dn_per_e: r.positive("camera.gain", D::Gain)?,
            full_well_e: r.positive("camera.full_well", D::Electrons)?,
            dark_noise_e: r.not_negative("camera.dark_noise", D::Electrons)?,
            black_level_dn: r.not_negative("camera.black_level", D::GreyLevels)?,
            quantum_efficiency: r.share("camera.quantum_efficiency")?,
            ideal: r.switch("camera.ideal")?.unwrap_or(false),
            dead_time_s: r.not_negative("camera.dead_time", D::Time)?,
            exposure_s: r.positive("camera.exposure", D::Time)?,
        };
        let image = ImageSetup {
            size: size(&r, "image.size")?,
            particle_diameter_px: r.positive("image.particle_diameter", D::Pixels)?,
            seeding_ppp: r.not_negative("image.seeding_density", D::SeedingDensity)?,
            electrons: r.not_negative("image.electrons", D::Electrons)?,
            peak_electrons: r.not_negative("image.peak_electrons", D::Electrons)?,
            background_e: r.not_negative("image.background", D::Electrons)?,
            pulse_fraction: r.number(
                "image.pulse_fraction",
                |n| (0.0..=1.0).contains(&n),
                "0 to 1: a pulse cannot outlast the pulse separation",
            )?,
            streak_px: match r.list("image.streak", 2..=2)? {
                None => None,
                Some(_) => {
                    let part = |k: usize| {
                        let key = format!("image.streak[{k}]");
                        Ok(r.quantity(&key, &[D::Pixels])?.map_or(0.0, |q| q.value))
                    };
                    Some([part(0)?, part(1)?])
                }
            },
        };
        if image.seeding_ppp == Some(0.0) {
            return Err(r.error(
                "image.seeding_density",
                "is 0: without particles there is nothing to correlate; write for example \"0.02 ppp\"",
            ));
        }
        if image.electrons.is_some() && image.peak_electrons.is_some() {
            return Err(r.error(
                "image.peak_electrons",
                "and image.electrons both set the light of a particle: leave one out",
            ));
        }
        if image.streak_px.is_some() && image.pulse_fraction.is_some() {
            return Err(r.error(
                "image.streak",
                "and image.pulse_fraction both set the streak: leave one out",
            ));
        }
        let setup = Setup {
            name: name.to_owned(),
            text: text.to_owned(),
            flow: flow::read(&r)?,
            separation_s: r.positive("timing.separation", D::Time)?,
            processing: processing(&r)?,
            light,
            sheet,
            tracer,
            fluid,
            lens,
            camera,
            image,
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

const HAZARD_CLASSES: [(&str, HazardClass); 7] = [
    ("1", HazardClass::One),
    ("1M", HazardClass::One),
    ("2", HazardClass::Two),
    ("2M", HazardClass::Two),
    ("3R", HazardClass::ThreeR),
    ("3B", HazardClass::ThreeB),
    ("4", HazardClass::Four),
];

fn size(r: &Reader, key: &str) -> Result<Option<[usize; 2]>, SetupError> {
    if r.list(key, 2..=2)?.is_none() {
        return Ok(None);
    }
    let side = |k: usize| r.whole(&format!("{key}[{k}]"), 8, motefield_generator::scene::MAX_SIDE);
    Ok(side(0)?.zip(side(1)?).map(|(width, height)| [width, height]))
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
