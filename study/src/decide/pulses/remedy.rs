//! What would help where no pulse length meets the limit: each change of the rig, computed.

use super::{PulseStudy, rounded_pulse};
use crate::StudyError;
use motefield_rig::keys::{self, Key};
use motefield_rig::plan::Speeds;
use motefield_rig::quantity::Dimension;
use motefield_rig::setup::{Setup, Value};

/// A change of the rig and the smallest error it leads to.
#[derive(Debug, Clone, PartialEq)]
pub struct Remedy {
    /// In words.
    pub change: String,
    /// Best pulse length among those tried, s.
    pub pulse_s: f64,
    /// Total error there, px.
    pub total_px: f64,
    /// Share of valid vectors there.
    pub valid: f64,
    /// Total error over the mean displacement: what a shorter pulse separation does not improve for
    /// nothing.
    pub relative: f64,
}

/// A change of the setup.
struct Change {
    words: String,
    key: &'static Key,
    value: Value,
    /// By what the displacement between the pulses changes.
    displacement: f64,
}

/// The changes an experimenter could make.
fn changes(setup: &Setup) -> Vec<Change> {
    let change = |words: String, key, value| Change {
        words,
        key,
        value,
        displacement: 1.0,
    };
    let (image, light) = (&setup.image, &setup.light);
    let sources = [
        (keys::image::ELECTRONS, image.electrons, Dimension::Electrons),
        (
            keys::image::PEAK_ELECTRONS,
            image.peak_electrons,
            Dimension::Electrons,
        ),
        (keys::light::POWER, light.power_w, Dimension::Power),
        (keys::light::PULSE_ENERGY, light.pulse_energy_j, Dimension::Energy),
    ];
    let mut all = Vec::new();
    if let Some((key, value, dimension)) = sources
        .iter()
        .find_map(|&(key, value, dimension)| Some((key, value?, dimension)))
    {
        all.push(change(
            "four times the light".to_owned(),
            key,
            Setup::quantity(4.0 * value, dimension),
        ));
    }
    if let (Some(f_number), None, None) = (setup.lens.f_number, image.electrons, image.peak_electrons) {
        let wider = f_number / std::f64::consts::SQRT_2;
        all.push(change(
            format!("aperture one stop wider (f/{wider:.2})"),
            keys::lens::APERTURE,
            Setup::quantity(wider, Dimension::Aperture),
        ));
    }
    if let Some(separation_s) = setup.separation_s {
        all.push(Change {
            displacement: 0.5,
            ..change(
                "half the pulse separation (half the displacement)".to_owned(),
                keys::timing::SEPARATION,
                Setup::quantity(0.5 * separation_s, Dimension::Time),
            )
        });
    }
    if let Some(last) = setup.processing.passes.last() {
        let side = last.window[0].max(last.window[1]) * 3 / 2;
        all.push(change(
            format!("final windows of {side} px"),
            keys::processing::WINDOW,
            Value::Number(side as f64),
        ));
    }
    all
}

/// Computes what each change would bring, at three pulse lengths about the best; the most helpful
/// first.
pub(super) fn all(study: &PulseStudy, best_s: f64, speeds: &Speeds) -> Result<Vec<Remedy>, StudyError> {
    let changes = changes(study.setup);
    let mut tried = Vec::new();
    let mut experiments = Vec::new();
    for change in &changes {
        for factor in [0.5, 1.0, 2.0] {
            let pulse_s = best_s * factor * change.displacement;
            // Some cannot be: a pulse longer than the separation, a window larger than the picture.
            let keys = [(change.key.path, change.value.clone()), rounded_pulse(pulse_s)];
            if let Ok(experiment) = study.experiment(&keys) {
                tried.push((change, pulse_s));
                experiments.push(experiment);
            }
        }
    }
    let found = study.run(&experiments, 0);
    let total = |point: &crate::run::Point| point.score.total_with_outliers_px();
    let mut best: Vec<(&Change, f64, &crate::run::Point)> = Vec::new();
    for ((change, pulse_s), point) in tried.into_iter().zip(&found) {
        let Some(point) = point else { continue };
        match best.iter_mut().find(|(of, ..)| std::ptr::eq(*of, change)) {
            Some(so_far) if total(point) < total(so_far.2) => *so_far = (change, pulse_s, point),
            Some(_) => {}
            None => best.push((change, pulse_s, point)),
        }
    }
    best.sort_by(|a, b| total(a.2).total_cmp(&total(b.2)));
    let remedy = |(change, pulse_s, point): (&Change, f64, &crate::run::Point)| {
        let total_px = point.score.total_px.value;
        Remedy {
            change: change.words.clone(),
            pulse_s,
            total_px,
            valid: 1.0 - point.score.outliers.value,
            relative: total_px / (speeds.mean_px * change.displacement),
        }
    };
    Ok(best.into_iter().map(remedy).collect())
}
