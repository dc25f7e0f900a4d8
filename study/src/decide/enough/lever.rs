//! What a builder can change, each by the key that the setup states it with.

use motefield_rig::keys::{self, Key};
use motefield_rig::plan::Plan;
use motefield_rig::quantity::{self, Dimension as D, significant};
use motefield_rig::setup::{Setup, Value};

use crate::decide::limit::ErrorLimit;
use crate::vary::SweepValue;

/// What is changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Means {
    /// Power, energy or number of the sources, or the photo-electrons of a particle.
    Light,
    /// Aperture of the lens; depth of field and image size follow.
    Aperture,
    /// Side of the final interrogation window.
    Window,
    /// Pairs that are measured together.
    Ensemble,
    /// Diameter of the tracer.
    TracerDiameter,
    /// Number of particles.
    Seeding,
    /// Width of the field pictured, or the magnification.
    Field,
    /// Pulse separation, or the displacement from which it follows.
    Separation,
}

impl Means {
    /// Name in JSON files.
    pub fn as_str(self) -> &'static str {
        match self {
            Means::Light => "light",
            Means::Aperture => "aperture",
            Means::Window => "window",
            Means::Ensemble => "ensemble",
            Means::TracerDiameter => "tracer-diameter",
            Means::Seeding => "seeding",
            Means::Field => "field",
            Means::Separation => "separation",
        }
    }
}

/// How a value is written.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Form {
    Quantity(D),
    Number,
    /// In whole steps of so many.
    Whole(f64),
}

/// A setting that a builder can change, in one direction.
#[derive(Debug, Clone)]
pub struct Lever {
    /// What it changes.
    pub means: Means,
    /// Its key.
    pub key: &'static Key,
    now: f64,
    form: Form,
    /// Whether the value rises.
    rises: bool,
    /// The farthest it goes, a factor above 1.
    pub most: f64,
}

/// How far each may go, a factor (common practice, no source); light of any amount is looked for.
const APERTURE: f64 = 8.0;
const FASTEST_LENS: f64 = 1.4;
const LARGEST_NUMERICAL_APERTURE: f64 = 0.9;
const LARGER_WINDOW: f64 = 2.5;
const SMALLER_WINDOW: f64 = 2.0;
const SMALLEST_WINDOW_PX: f64 = 16.0;
const ENSEMBLE: f64 = 8.0;
const TRACER: f64 = 4.0;
const SEEDING: f64 = 4.0;
const FIELD: f64 = 2.0;
const SEPARATION: f64 = 4.0;
/// Light beside other changes.
const LIGHT: f64 = 4.0;
/// Image diameter below which stopping down may help, px (Westerweel 1997; memory).
const SMALL_IMAGE_PX: f64 = 2.0;

impl Lever {
    fn new(means: Means, key: &'static Key, now: f64, form: Form) -> Lever {
        Lever {
            means,
            key,
            now,
            form,
            rises: true,
            most: 1.0,
        }
    }

    /// The same able to go as far as a factor.
    pub(super) fn reaching(&self, most: f64) -> Lever {
        Lever { most, ..self.clone() }
    }

    /// A quantity that rises up to `most` times its present value.
    pub(super) fn of_quantity(means: Means, key: &'static Key, now: f64, dimension: D, most: f64) -> Lever {
        Lever::new(means, key, now, Form::Quantity(dimension)).up(most)
    }

    fn up(self, most: f64) -> Lever {
        Lever { most, ..self }
    }

    fn down(self, most: f64) -> Lever {
        Lever {
            most,
            rises: false,
            ..self
        }
    }

    /// The number at a factor of change, rounded away from the present one: to three digits, or to
    /// the next whole step.
    fn number(&self, factor: f64) -> f64 {
        let exact = if self.rises {
            self.now * factor
        } else {
            self.now / factor
        };
        if factor <= 1.0 {
            return self.now;
        }
        match self.form {
            Form::Whole(step) if self.rises => (exact / step - 1e-9).ceil() * step,
            Form::Whole(step) => (exact / step + 1e-9).floor() * step,
            _ => outward(exact, self.rises),
        }
    }

    /// The setting at a factor of change.
    pub fn value(&self, factor: f64) -> Value {
        SweepValue::new(&self.text(factor)).value()
    }

    /// The setting at a factor of change as a setup writes it.
    pub fn text(&self, factor: f64) -> String {
        self.written(self.number(factor))
    }

    /// The present value as a setup writes it.
    pub fn present(&self) -> String {
        self.written(self.now)
    }

    fn written(&self, number: f64) -> String {
        match self.form {
            Form::Quantity(dimension) => quantity::format(number, dimension),
            _ => number.to_string(),
        }
    }

    /// Value after the change over that before.
    pub fn factor(&self, factor: f64) -> f64 {
        self.number(factor) / self.now
    }

    /// Whether it goes by whole steps.
    pub fn is_whole(&self) -> bool {
        matches!(self.form, Form::Whole(_))
    }
}

/// To three digits, away from zero or toward it.
fn outward(value: f64, up: bool) -> f64 {
    let near = significant(value, 3);
    let step = 10f64.powi(value.abs().log10().floor() as i32 - 2);
    match up {
        true if near < value * (1.0 - 1e-9) => significant(near + step, 3),
        false if near > value * (1.0 + 1e-9) => significant(near - step, 3),
        _ => near,
    }
}

/// Everything that can be changed, more light first if there is a key for it.
pub(super) fn all(standing: &Plan, limit: ErrorLimit, taken: &[&str]) -> Vec<Lever> {
    let setup = &standing.rig.setup;
    let mut levers: Vec<Lever> = light(standing).into_iter().collect();
    levers.extend(aperture(standing));
    levers.extend(processing(standing));
    levers.extend(tracer(setup));
    levers.extend(field(setup));
    if standing.rig.follows_separation() {
        levers.extend(separation(setup, limit));
    }
    let both = [keys::timing::SEPARATION.path, keys::timing::DISPLACEMENT.path];
    let is_taken = |key: &str| {
        let same_thing = both.contains(&key) && taken.iter().any(|other| both.contains(other));
        same_thing || taken.contains(&key)
    };
    levers.retain(|lever| lever.most > 1.0 && !is_taken(lever.key.path));
    levers
}

/// The key that brings more light: the first that does.
fn light(standing: &Plan) -> Option<Lever> {
    let setup = &standing.rig.setup;
    let (image, light) = (&setup.image, &setup.light);
    let quantity = |key, value: Option<f64>, dimension| {
        value.map(|value| Lever::new(Means::Light, key, value, Form::Quantity(dimension)).up(LIGHT))
    };
    let sources = Lever::new(
        Means::Light,
        keys::light::SOURCES,
        light.sources as f64,
        Form::Whole(1.0),
    );
    let candidates = [
        quantity(keys::image::ELECTRONS, image.electrons, D::Electrons),
        quantity(keys::image::PEAK_ELECTRONS, image.peak_electrons, D::Electrons),
        quantity(keys::light::POWER, light.power_w, D::Power),
        quantity(
            keys::light::LUMINOUS_FLUX,
            light.luminous_flux_lm,
            D::LuminousFlux,
        ),
        quantity(
            keys::light::ELECTRICAL_POWER,
            light.electrical.map(|of| of.power_w),
            D::Power,
        ),
        quantity(keys::light::PULSE_ENERGY, light.pulse_energy_j, D::Energy),
        Some(sources.up(LIGHT)),
        // The grey level seen reached in less time is a brighter light.
        light.measured.and_then(|measured| measured.at_s).map(|at_s| {
            Lever::new(
                Means::Light,
                keys::light::MEASURED_AT,
                at_s,
                Form::Quantity(D::Time),
            )
            .down(LIGHT)
        }),
    ];
    let brings = |lever: &Lever| {
        let changed = setup.with(lever.key.path, lever.value(2.0));
        let electrons = changed
            .and_then(|setup| standing.changed(&setup))
            .map(|plan| plan.scene.electrons);
        electrons.is_ok_and(|electrons| electrons > 1.5 * standing.scene.electrons)
    };
    candidates.into_iter().flatten().find(brings)
}

fn aperture(standing: &Plan) -> Vec<Lever> {
    let setup = &standing.rig.setup;
    let (lens, image) = (&setup.lens, &setup.image);
    let lit = image.electrons.or(image.peak_electrons).is_none();
    let small = image.particle_diameter_px.is_none() && standing.scene.particle_diameter_px < SMALL_IMAGE_PX;
    let mut levers = Vec::new();
    if let Some(now) = lens.aperture {
        let of = |key| Lever::new(Means::Aperture, key, now, Form::Quantity(D::Aperture));
        let key = keys::lens::APERTURE;
        levers.extend(lit.then(|| of(key).down((now / FASTEST_LENS).min(APERTURE))));
        levers.extend(small.then(|| of(key).up(APERTURE)));
    } else if let Some(now) = lens.numerical_aperture {
        let of = |key| Lever::new(Means::Aperture, key, now, Form::Number);
        let key = keys::lens::NUMERICAL_APERTURE;
        levers.extend(lit.then(|| of(key).up((LARGEST_NUMERICAL_APERTURE / now).min(APERTURE))));
        levers.extend(small.then(|| of(key).down(APERTURE)));
    }
    levers
}

fn processing(standing: &Plan) -> Vec<Lever> {
    let setup = &standing.rig.setup;
    let mut levers = Vec::new();
    if let Some(pass) = setup.processing.passes.last() {
        let [width, height] = pass.window;
        let now = width.max(height) as f64;
        let largest = *standing.scene.size.iter().min().unwrap_or(&0) as f64 / 3.0;
        let of = || Lever::new(Means::Window, keys::processing::WINDOW, now, Form::Whole(8.0));
        levers.push(of().up((largest / now).min(LARGER_WINDOW)));
        levers.push(of().down((now / SMALLEST_WINDOW_PX).min(SMALLER_WINDOW)));
    }
    let pairs = setup.processing.ensemble as f64;
    let key = keys::processing::ENSEMBLE;
    levers.push(Lever::new(Means::Ensemble, key, pairs, Form::Whole(1.0)).up(ENSEMBLE));
    levers
}

fn tracer(setup: &Setup) -> Vec<Lever> {
    let (tracer, image) = (&setup.tracer, &setup.image);
    let diameter = tracer.diameter_m.map(|now| {
        Lever::new(
            Means::TracerDiameter,
            keys::tracer::DIAMETER,
            now,
            Form::Quantity(D::Length),
        )
        .up(TRACER)
    });
    let of = |key, now, form| Lever::new(Means::Seeding, key, now, form).up(SEEDING);
    let density = D::NumberDensity;
    let seeding = match (
        image.seeding_density_ppp,
        tracer.particles_per_window,
        tracer.concentration_m3,
    ) {
        (Some(ppp), ..) => Some(of(
            keys::image::SEEDING_DENSITY,
            ppp,
            Form::Quantity(D::SeedingDensity),
        )),
        (None, Some(count), _) => Some(of(keys::tracer::PARTICLES_PER_WINDOW, count, Form::Number)),
        (None, None, now) => now.map(|now| of(keys::tracer::CONCENTRATION, now, Form::Quantity(density))),
    };
    diameter.into_iter().chain(seeding).collect()
}

/// A narrower field.
fn field(setup: &Setup) -> Option<Lever> {
    let lens = &setup.lens;
    let of = |key, now, form| Lever::new(Means::Field, key, now, form);
    let length = Form::Quantity(D::Length);
    match (lens.magnification, lens.field_width_m, lens.thin) {
        (Some(now), ..) => Some(of(keys::lens::MAGNIFICATION, now, Form::Number).up(FIELD)),
        (None, Some(now), _) => Some(of(keys::lens::FIELD_WIDTH, now, length).down(FIELD)),
        (None, None, Some(thin)) => {
            let nearer = (thin.distance_m / thin.focal_length_m / 1.5).clamp(1.0, FIELD);
            Some(of(keys::lens::WORKING_DISTANCE, thin.distance_m, length).down(nearer))
        }
        (None, None, None) => None,
    }
}

/// A shorter separation where pixels are limited, a longer one where the error of the velocity is:
/// it is the error in pixels over a longer way.
fn separation(setup: &Setup, limit: ErrorLimit) -> Option<Lever> {
    let of = |key, now, dimension| Lever::new(Means::Separation, key, now, Form::Quantity(dimension));
    let lever = match (setup.displacement_px, setup.separation_s) {
        (Some(px), _) => of(keys::timing::DISPLACEMENT, px, D::Pixels),
        (None, separation) => of(keys::timing::SEPARATION, separation?, D::Time),
    };
    Some(match limit {
        ErrorLimit::Pixels(_) => lever.down(SEPARATION),
        ErrorLimit::Share(_) | ErrorLimit::Speed(_) => lever.up(SEPARATION),
    })
}
