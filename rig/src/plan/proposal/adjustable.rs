//! Settings that a builder can change, and how their values are written.

use super::super::Plan;
use super::super::rules::{Rule, Status, down, up};
use super::ProposedChange;
use crate::keys::{self, Key};
use crate::quantity::{self, Dimension};
use crate::setup::{Setup, Value};

/// A setting that stands at a number.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Adjustable {
    pub path: String,
    now: f64,
    form: AdjustableForm,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum AdjustableForm {
    Quantity(Dimension),
    Number,
    /// A window's side, in steps of so many px.
    Whole(f64),
}

/// Steps of a window's side, px.
const WINDOW_STEP: f64 = 8.0;
/// A plan that far aside tells how steep a rule is, a factor.
const ASIDE: f64 = 1.05;

impl Adjustable {
    /// The number under a path; `None` where the setup has none, or nothing to multiply.
    fn of(setup: &Setup, path: &str) -> Option<Adjustable> {
        let written = setup.written(path)?;
        let (now, form) = match (written.parse::<f64>(), quantity::parse(&written)) {
            (Ok(number), _) => (number, AdjustableForm::Number),
            (_, Ok(q)) if q.dimension == Dimension::Fraction => (q.value, AdjustableForm::Number),
            (_, Ok(q)) => (q.value, AdjustableForm::Quantity(q.dimension)),
            _ => return None,
        };
        let path = path.to_owned();
        (now != 0.0 && now.is_finite()).then_some(Adjustable { path, now, form })
    }

    /// Three digits, away from where it stands; windows by whole steps.
    fn number(&self, x: f64) -> f64 {
        let exact = self.now * x.exp();
        match self.form {
            _ if x == 0.0 => self.now,
            AdjustableForm::Whole(step) if x > 0.0 => (exact / step - 1e-6).ceil() * step,
            AdjustableForm::Whole(step) => ((exact / step + 1e-6).floor() * step).max(step),
            _ if x > 0.0 => up(exact),
            _ => down(exact),
        }
    }

    pub fn value(&self, x: f64) -> Value {
        let text = self.text(x);
        match self.form {
            AdjustableForm::Quantity(_) => quantity::parse(&text).map_or(Value::Text(text), Value::Quantity),
            _ => Value::Number(self.number(x)),
        }
    }

    fn text(&self, x: f64) -> String {
        match self.form {
            AdjustableForm::Quantity(dimension) => quantity::format(self.number(x), dimension),
            _ => self.number(x).to_string(),
        }
    }

    /// Another place, a little to one side.
    pub fn aside(&self, x: f64, sign: f64) -> f64 {
        let now = self.now * x.exp();
        match self.form {
            AdjustableForm::Whole(step) => ((now + sign * step).max(step) / self.now).ln(),
            _ => x + sign * ASIDE.ln(),
        }
    }

    pub fn change(&self, x: f64) -> ProposedChange {
        ProposedChange {
            key: self.path.clone(),
            values: [self.text(0.0), self.text(x)],
        }
    }
}

/// Everything that a builder can change without another rig: what the rules that are broken name,
/// and the usual settings.
pub(super) fn all(plan: &Plan, rules: &[Rule]) -> Vec<Adjustable> {
    const USUAL: &[&Key] = &[
        keys::image::ELECTRONS,
        keys::image::PEAK_ELECTRONS,
        keys::light::POWER,
        keys::light::LUMINOUS_FLUX,
        keys::light::ELECTRICAL_POWER,
        keys::light::PULSE_ENERGY,
        keys::light::PULSE_LENGTH,
        keys::image::PULSE_FRACTION,
        keys::camera::EXPOSURE,
        keys::camera::FRAME_RATE,
        keys::timing::SEPARATION,
        keys::timing::DISPLACEMENT,
        keys::lens::APERTURE,
        keys::lens::NUMERICAL_APERTURE,
        keys::image::PARTICLE_DIAMETER,
        keys::image::SEEDING_DENSITY,
        keys::tracer::PARTICLES_PER_WINDOW,
        keys::tracer::CONCENTRATION,
        keys::tracer::DIAMETER,
        keys::sheet::THICKNESS,
    ];
    let setup = &plan.rig.setup;
    let broken = rules.iter().filter(|rule| rule.status > Status::Pass);
    let named = broken.filter_map(|rule| rule.fix.as_ref()?.set.as_ref().map(|(path, _)| path.as_str()));
    let mut all: Vec<Adjustable> = Vec::new();
    for path in USUAL.iter().map(|key| key.path).chain(named) {
        let window = path == keys::processing::WINDOW.path || path.contains("passes[");
        if !window && all.iter().all(|one| one.path != path) {
            all.extend(Adjustable::of(setup, path));
        }
    }
    all.extend(windows(plan));
    all
}

/// Sides of the first and of the final window.
fn windows(plan: &Plan) -> Vec<Adjustable> {
    let passes = &plan.processing.passes;
    let side = |k: usize| passes[k].window[0].max(passes[k].window[1]) as f64;
    let of = |path: String, now: f64| Adjustable {
        path,
        now,
        form: AdjustableForm::Whole(WINDOW_STEP),
    };
    let mut all = Vec::new();
    let Some(last) = passes.len().checked_sub(1) else {
        return all;
    };
    all.push(of(keys::processing::WINDOW.path.to_owned(), side(last)));
    // A list of passes that the file does not hold cannot be changed by one of its entries.
    if last > 0 && plan.rig.setup.has(keys::processing::PASSES) {
        let path = keys::processing::PASS_WINDOW.in_table(0).path().to_owned();
        all.push(of(path, side(0)));
    }
    all
}
