//! Which question a rig asks: what its light can do decides it.

use crate::StudyError;
use motefield_rig::keys::{self, Key, choices::PulseFreedom};
use motefield_rig::plan::{Plan, plan};
use motefield_rig::setup::Setup;

/// Streak in the fastest tenth of the field, px, below which none matters: a fiftieth of a usual
/// particle image (common practice, no source).
pub const LEAST_STREAK_PX: f64 = 0.05;

/// What an answer answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Question {
    /// How long the light pulse may be.
    PulseLength,
    /// How far apart pulses of a fixed length are.
    Separation,
    /// How long the exposures in continuous light may be, and how far apart they are.
    Exposure,
    /// Which values of the settings that the user names.
    Settings,
    /// Which of a list.
    Choice,
}

impl Question {
    /// Name in JSON files.
    pub fn as_str(self) -> &'static str {
        match self {
            Question::PulseLength => "pulse-length",
            Question::Separation => "separation",
            Question::Exposure => "exposure",
            Question::Settings => "settings",
            Question::Choice => "choice",
        }
    }

    /// The settings that it sets free by itself.
    pub fn keys(self) -> &'static [&'static Key] {
        const SEPARATION: &[&Key] = &[keys::timing::SEPARATION];
        const EXPOSURE: &[&Key] = &[keys::camera::EXPOSURE, keys::timing::SEPARATION];
        const PULSE: &[&Key] = &[keys::light::PULSE_LENGTH];
        match self {
            Question::PulseLength => PULSE,
            Question::Separation => SEPARATION,
            Question::Exposure => EXPOSURE,
            Question::Settings | Question::Choice => &[],
        }
    }

    /// The question that a rig asks.
    ///
    /// # Errors
    /// When it cannot be planned, or when its pictures do not follow from what the question is
    /// about: by the key, with what to state in its place.
    pub fn of(setup: &Setup) -> Result<Question, StudyError> {
        Question::of_plan(&plan(setup)?)
    }

    /// The same of a rig that was planned.
    ///
    /// # Errors
    /// As [`Question::of`].
    pub fn of_plan(plan: &Plan) -> Result<Question, StudyError> {
        let question = asked(plan);
        answerable(&plan.rig.setup, question)?;
        Ok(question)
    }
}

fn asked(plan: &Plan) -> Question {
    let light = &plan.rig.setup.light;
    match (light.continuous, light.pulse) {
        (true, _) => Question::Exposure,
        (false, Some(PulseFreedom::Fixed)) => Question::Separation,
        (false, Some(PulseFreedom::Free)) => Question::PulseLength,
        // A source of fixed energy has no more light in a longer pulse: what it has to lose is a
        // streak that matters.
        (false, None) => {
            let streak_px = plan.rig.speeds.streak_px(plan.scene.exposure);
            match light.pulse_energy_j.is_some() && streak_px < LEAST_STREAK_PX {
                true => Question::Separation,
                false => Question::PulseLength,
            }
        }
    }
}

/// Refuses pictures that do not follow from what the question is about.
pub(super) fn answerable(setup: &Setup, question: Question) -> Result<(), StudyError> {
    let refuse = |key: &'static Key, why: String| Err(StudyError::from(setup.error(key, why)));
    let image = &setup.image;
    let (free, remedy) = match question {
        Question::Exposure => ("exposure", "give camera.exposure and timing.separation"),
        Question::Separation => (
            "pulse separation",
            "give light.pulse_length and timing.separation",
        ),
        _ => (
            "pulse length",
            "give light.pulse_length and timing.separation, or sweep image.pulse_fraction",
        ),
    };
    for (key, given) in [
        (keys::image::STREAK, image.streak_px.is_some()),
        (keys::image::PULSE_FRACTION, image.pulse_fraction.is_some()),
    ] {
        if given {
            return refuse(
                key,
                format!("fixes the streak, which then does not follow the {free}: remove it and {remedy}"),
            );
        }
    }
    if question == Question::Separation {
        return Ok(());
    }
    for (key, given) in [
        (keys::image::ELECTRONS, image.electrons.is_some()),
        (keys::image::PEAK_ELECTRONS, image.peak_electrons.is_some()),
    ] {
        if given {
            return refuse(
                key,
                format!(
                    "fixes the light of a particle, which then does not follow the {free}: remove it and state how bright particles are in a recorded picture (light.measured_grey with light.measured_at), or what the light budget follows from (light.power with sheet, tracer, lens and camera.quantum_efficiency); if the pulse cannot be chosen, write light.pulse = \"fixed\""
                ),
            );
        }
    }
    Ok(())
}
