//! What a case can measure: the columns of a study's table, or named figures from the program's own
//! functions.
//!
//! A new measure is a file here and a line in [`ALL`]. It calls the code that the rest of the
//! program uses, and has no formulas of its own but for units.

mod damping;
mod decision;
mod displacement;
mod facts;
mod fixed_pattern;
mod flat_field;
mod fluid;
mod interpolation;
mod intervals;
mod lens;
mod median;
mod particle_image;
mod peak;
mod planted;
mod propagated;
mod range;
mod response;
mod seeding;
mod sphere;
mod study;
mod tracer;
mod uncertainty;
mod vorticity;
mod window_light;

use std::collections::BTreeMap;
use std::sync::atomic::AtomicBool;

use motefield_evaluator::statistics::{Confidence, Estimate};
use motefield_generator::Seed;
use rayon::prelude::*;
use toml::{Table, Value};

use crate::run::{Chain, Progress};
use motefield_rig::plan::Plan;
use motefield_rig::quantity::{self, Dimension};

/// The figures of a point by their names.
pub type Figures = BTreeMap<String, Estimate>;

/// One way to obtain figures.
#[derive(Debug)]
pub struct Measure {
    /// The name that case files use.
    pub name: &'static str,
    /// What its figures are, in a line.
    pub about: &'static str,
    /// Names of its arguments.
    pub arguments: &'static [&'static str],
    /// Names of its figures.
    pub figures: &'static [&'static str],
    /// Whether it needs a setup, to render pictures.
    pub pictures: bool,
    /// Whether its figures depend on chance, and have intervals.
    pub statistical: bool,
    /// Computes the figures of one place of one curve.
    pub run: fn(&Request) -> Result<Figures, String>,
}

impl Measure {
    /// Whether its figures are computed from numbers, without rendering a picture.
    pub fn is_arithmetic(&self) -> bool {
        !self.statistical && self.name != particle_image::PARTICLE_IMAGE.name
    }
}

/// What a measure needs for the figures at one place of one curve.
pub struct Request<'a> {
    /// What renders and correlates.
    pub chain: &'a Chain,
    /// Its arguments.
    pub arguments: Arguments,
    /// The planned setup, for measures with pictures.
    pub plan: Option<Plan>,
    /// Pairs to render.
    pub pairs: usize,
    /// Study seed.
    pub seed: u64,
    /// Confidence of the intervals.
    pub confidence: Confidence,
    /// Told of each pair that is done.
    pub progress: &'a dyn Progress,
    /// Set from outside to stop.
    pub stop: &'a AtomicBool,
}

impl Request<'_> {
    /// The result of `of` for each realisation, in their order; on all threads.
    fn each<T: Send>(&self, of: impl Fn(Seed) -> Result<T, String> + Sync) -> Result<Vec<T>, String> {
        (0..self.pairs)
            .into_par_iter()
            .map(|realisation| {
                let seed = Seed {
                    study: self.seed,
                    point: 0,
                    realisation: realisation as u64,
                };
                let found = of(seed)?;
                self.progress.done();
                Ok(found)
            })
            .collect()
    }

    fn plan(&self) -> &Plan {
        self.plan
            .as_ref()
            .expect("a measure with pictures is given a setup")
    }
}

/// Arguments by name.
#[derive(Debug, Clone)]
pub struct Arguments(pub Table);

impl Arguments {
    /// A number, or a quantity with its unit, in SI.
    ///
    /// # Errors
    /// When it is missing or is no number.
    pub fn number(&self, name: &str) -> Result<f64, String> {
        match self.0.get(name) {
            Some(Value::Float(v)) => Ok(*v),
            Some(Value::Integer(v)) => Ok(*v as f64),
            Some(Value::String(text)) => match text.parse() {
                Ok(v) => Ok(v),
                Err(_) => quantity::parse(text)
                    .map(|q| q.value)
                    .map_err(|e| format!("{name}: {e}")),
            },
            Some(other) => Err(format!("{name} = {other} is not a number")),
            None => Err(format!("lacks the argument {name}")),
        }
    }

    /// A quantity of a dimension, in SI.
    ///
    /// # Errors
    /// When it is missing, has no unit, or is of another dimension.
    pub fn quantity(&self, name: &str, dimension: Dimension) -> Result<f64, String> {
        match self.0.get(name) {
            Some(Value::String(text)) => {
                quantity::parse_as(text, dimension).map_err(|e| format!("{name}: {e}"))
            }
            Some(other) => Err(format!("{name} = {other} needs a unit, in quotes")),
            None => Err(format!("lacks the argument {name}")),
        }
    }

    /// A word.
    ///
    /// # Errors
    /// When it is missing or is no word.
    pub fn word(&self, name: &str) -> Result<&str, String> {
        self.0
            .get(name)
            .and_then(Value::as_str)
            .ok_or_else(|| format!("lacks the argument {name}, a word in quotes"))
    }
}

/// Figures known exactly.
fn exactly<const N: usize>(figures: [(&str, f64); N]) -> Figures {
    figures
        .into_iter()
        .map(|(name, value)| (name.to_owned(), Estimate::exact(value)))
        .collect()
}

/// All measures.
pub const ALL: &[&Measure] = &[
    &study::STUDY,
    &displacement::DISPLACEMENT,
    &decision::DECISION,
    &peak::PEAK,
    &tracer::TRACER,
    &fluid::FLUID,
    &response::RESPONSE,
    &uncertainty::UNCERTAINTY,
    &interpolation::INTERPOLATION,
    &seeding::SEEDING,
    &window_light::WINDOW_LIGHT,
    &particle_image::PARTICLE_IMAGE,
    &flat_field::FLAT_FIELD,
    &flat_field::CAMERA,
    &fixed_pattern::FIXED_PATTERN,
    &facts::PLAN,
    &lens::LENS,
    &sphere::SPHERE,
    &sphere::SCATTERED_LIGHT,
    &range::RANGE,
    &median::MEDIAN,
    &planted::PLANTED,
    &vorticity::VORTICITY,
    &intervals::INTERVALS,
    &intervals::COMBINED,
    &propagated::PROPAGATED,
    &damping::DAMPING,
    &damping::SHEAR_STRESS,
];

/// The measure of this name.
///
/// # Errors
/// When there is none: lists those there are.
pub fn find(name: &str) -> Result<&'static Measure, String> {
    ALL.iter().copied().find(|m| m.name == name).ok_or_else(|| {
        let names: Vec<&str> = ALL.iter().map(|m| m.name).collect();
        format!("there is no such measure, but: {}", names.join(", "))
    })
}
