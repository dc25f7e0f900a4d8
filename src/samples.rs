//! Sample pairs of a decision: files, and pictures for the report.

use motefield_files::picture;
use motefield_generator::{Seed, render};
use motefield_report::format::typeset_all;
use motefield_report::look_picture;
use motefield_report::specimen::{Specimen, Tone, cut, pictures};
use motefield_rig::keys;
use motefield_rig::plan::plan;
use motefield_rig::quantity::Dimension;
use motefield_rig::setup::Setup;
use motefield_study::decide::trial::Trial;
use motefield_study::look::{Look, MiddlePlane};
use rayon::prelude::*;

use crate::exit::Failure;

/// Names and contents of files.
pub type Files = Vec<(String, Vec<u8>)>;

const SHOWN: [&str; 4] = ["standing", "shortest", "best", "longest"];

/// A setting of which a sample pair is made.
pub struct SamplePair {
    /// One of [`SHOWN`]; vectors and errors are those of the best.
    pub name: &'static str,
    /// The values that make it, in words: "443 µs".
    pub values: String,
    /// The setup with them.
    pub setup: Setup,
}

impl SamplePair {
    /// A setup at a pulse length.
    pub fn at_pulse(setup: &Setup, (name, pulse_s): (&'static str, f64)) -> Result<SamplePair, Failure> {
        let value = Setup::quantity(pulse_s, Dimension::Time);
        Ok(SamplePair {
            name,
            values: motefield_report::format::time(pulse_s),
            setup: setup.with(keys::light::PULSE_LENGTH.path, value)?,
        })
    }

    /// A setup with the values of a trial of these keys.
    pub fn of_trial(
        setup: &Setup,
        keys: &[&str],
        name: &'static str,
        trial: &Trial,
    ) -> Result<SamplePair, Failure> {
        let changes = keys.iter().zip(&trial.values);
        let changes: Vec<_> = changes.map(|(key, value)| (*key, value.value())).collect();
        let values = trial.values.iter().map(|value| typeset_all(&value.text));
        Ok(SamplePair {
            name,
            values: values.collect::<Vec<_>>().join(", "),
            setup: setup.with_all(&changes)?,
        })
    }
}

/// Pictures: the pairs, their correlation planes, vectors of the best, errors of the best.
const PICTURES: [&str; 4] = ["specimens.svg", "planes.svg", "vectors.svg", "errors.svg"];

/// Pairs whose errors are drawn.
const PAIRS: u64 = 5;

/// Names of all files that may be written.
pub fn names() -> Vec<String> {
    let pairs = SHOWN
        .iter()
        .flat_map(|s| [format!("{s}-a.tif"), format!("{s}-b.tif"), format!("{s}.png")]);
    pairs.chain(PICTURES.map(str::to_owned)).collect()
}

/// A pair of each sample; `alone` where the setup's own processing measures single pairs, whose
/// vectors can then be shown.
pub fn files(samples: &[SamplePair], seed: u64, alone: bool) -> Result<Files, Failure> {
    let mut files = Files::new();
    let mut drawn = Vec::new();
    let mut planes = Vec::new();
    let mut looks = Vec::new();
    let mut told = Vec::new();
    for SamplePair { name, values, setup } in samples {
        let plan = plan(setup)?;
        let (scene, processing) = (plan.scene, plan.processing);
        let of_study = Seed {
            study: seed,
            ..Seed::default()
        };
        let pair = render(&scene, of_study).map_err(|e| Failure::input(e.to_string()))?;
        let float = scene.camera.sensor.is_none();
        files.push((format!("{name}-a.tif"), picture::tiff(&pair.a, float)));
        files.push((format!("{name}-b.tif"), picture::tiff(&pair.b, float)));
        files.push((format!("{name}.png"), cut(&pair, Tone::of(&pair, &scene))));
        let called = match *name {
            "standing" => "as it stands".to_owned(),
            name => format!("{name}: {values}"),
        };
        if alone && processing.ensemble <= 1 {
            let plane = MiddlePlane::of(&pair, &scene, &processing)?;
            planes.extend(plane.map(|plane| (called.clone(), plane)));
            if *name == "best" {
                let look = |number| Look::at(&scene, &processing, seed, number);
                looks = (0..PAIRS)
                    .into_par_iter()
                    .map(look)
                    .collect::<Result<Vec<_>, _>>()?;
                told = looks[0].uncertainties_px()?;
            }
        }
        drawn.push((called, pair, scene));
    }
    let specimens: Vec<Specimen> = drawn
        .iter()
        .map(|(name, pair, scene)| Specimen { name, pair, scene })
        .collect();
    let [specimens_name, planes_name, vectors_name, errors_name] = PICTURES;
    let mut add = |name: &str, svg: String| files.push((name.to_owned(), svg.into_bytes()));
    if !specimens.is_empty() {
        add(specimens_name, pictures(&specimens));
    }
    if !planes.is_empty() {
        add(planes_name, look_picture::planes(&planes));
    }
    if let Some(first) = looks.first() {
        add(vectors_name, look_picture::vectors(first, &told));
        add(errors_name, look_picture::errors(&looks));
    }
    Ok(files)
}
