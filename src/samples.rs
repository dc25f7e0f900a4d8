//! Sample pairs of a decision: files, and pictures for the report.

use motefield_files::picture;
use motefield_generator::{Pair, Scene, Seed, render};
use motefield_report::format::typeset_all;
use motefield_report::look_picture;
use motefield_report::specimen::{Specimen, Tone, cut, pictures};
use motefield_rig::keys;
use motefield_rig::plan::{Plan, plan};
use motefield_rig::quantity::Dimension;
use motefield_rig::setup::Setup;
use motefield_study::StudyError;
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

/// The pairs, enlarged.
const SPECIMENS: &str = "specimens.svg";
/// Their correlation planes.
const PLANES: &str = "planes.svg";
/// Vectors of the best.
const VECTORS: &str = "vectors.svg";
/// Errors of the best.
const ERRORS: &str = "errors.svg";
/// All pictures.
const PICTURES: [&str; 4] = [SPECIMENS, PLANES, VECTORS, ERRORS];

/// Pairs whose errors are drawn.
const PAIRS: u64 = 5;

/// Names of all files that may be written.
pub fn names() -> Vec<String> {
    let pairs = SHOWN
        .iter()
        .flat_map(|s| [format!("{s}-a.tif"), format!("{s}-b.tif"), format!("{s}.png")]);
    pairs.chain(PICTURES.map(str::to_owned)).collect()
}

/// What is made of a sample: files of its pair, the pair, and where its vectors can be shown its
/// correlation plane and, of the best, several measurements.
struct DrawnSample {
    files: Files,
    called: String,
    pair: Pair,
    scene: Scene,
    plane: Option<MiddlePlane>,
    looks: Vec<Look>,
    /// Uncertainties that the first tells of its vectors without the truth, px.
    told: Vec<[f64; 2]>,
}

impl DrawnSample {
    fn of(
        sample: &SamplePair,
        standing: Option<&Plan>,
        seed: u64,
        alone: bool,
    ) -> Result<DrawnSample, Failure> {
        let SamplePair { name, values, setup } = sample;
        let plan = match standing {
            Some(standing) => standing.changed(setup)?,
            None => plan(setup)?,
        };
        let (scene, processing) = (plan.scene, plan.processing);
        let of_study = Seed {
            study: seed,
            ..Seed::default()
        };
        let pair = render(&scene, of_study).map_err(|e| Failure::input(e.to_string()))?;
        let float = scene.camera.sensor.is_none();
        let files = vec![
            (format!("{name}-a.tif"), picture::tiff(&pair.a, float)),
            (format!("{name}-b.tif"), picture::tiff(&pair.b, float)),
            (format!("{name}.png"), cut(&pair, Tone::of(&pair, &scene))),
        ];
        let (mut plane, mut looks, mut told) = (None, Vec::new(), Vec::new());
        if alone && processing.ensemble <= 1 {
            plane = MiddlePlane::of(&pair, &scene, &processing)?;
            if *name == "best" {
                let look = |number| -> Result<_, StudyError> {
                    let look = Look::at(&scene, &processing, seed, number)?;
                    let told = if number == 0 {
                        look.uncertainties_px()?
                    } else {
                        Vec::new()
                    };
                    Ok((look, told))
                };
                let all = (0..PAIRS)
                    .into_par_iter()
                    .map(look)
                    .collect::<Result<Vec<_>, _>>()?;
                (looks, told) = all.into_iter().unzip();
            }
        }
        Ok(DrawnSample {
            files,
            called: match *name {
                "standing" => "as it stands".to_owned(),
                name => format!("{name}: {values}"),
            },
            pair,
            scene,
            plane,
            looks,
            told: told.concat(),
        })
    }
}

/// A pair of each sample; `alone` where the setup's own processing measures single pairs, whose
/// vectors can then be shown. `standing` is the plan of the setup that they were changed from, where
/// there is one.
pub fn files(
    samples: &[SamplePair],
    standing: Option<&Plan>,
    seed: u64,
    alone: bool,
) -> Result<Files, Failure> {
    let made = samples
        .par_iter()
        .map(|sample| DrawnSample::of(sample, standing, seed, alone))
        .collect::<Result<Vec<_>, _>>()?;
    let specimens: Vec<Specimen> = made
        .iter()
        .map(|made| Specimen {
            name: &made.called,
            pair: &made.pair,
            scene: &made.scene,
        })
        .collect();
    let planes: Vec<(&str, &MiddlePlane)> = made
        .iter()
        .filter_map(|made| Some((made.called.as_str(), made.plane.as_ref()?)))
        .collect();
    let best = made.iter().find(|made| !made.looks.is_empty());
    let draw = |name: &'static str| {
        let svg = match name {
            SPECIMENS => (!specimens.is_empty()).then(|| pictures(&specimens)),
            PLANES => (!planes.is_empty()).then(|| look_picture::planes(&planes)),
            VECTORS => best.map(|best| look_picture::vectors(&best.looks[0], &best.told)),
            _ => best.map(|best| look_picture::errors(&best.looks)),
        };
        Some((name.to_owned(), svg?.into_bytes()))
    };
    let drawn: Files = PICTURES.into_par_iter().filter_map(draw).collect();
    let of_pairs = made.into_iter().flat_map(|made| made.files);
    Ok(of_pairs.chain(drawn).collect())
}
