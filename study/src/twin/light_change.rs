//! The error of the recorded vectors, and what more or less light would do to it.

use std::sync::atomic::AtomicBool;

use motefield_evaluator::Processing;
use motefield_evaluator::uncertainty::Estimator;
use motefield_generator::Exposure;
use motefield_rig::plan::plan;

use super::Twin;
use crate::StudyError;
use crate::run::{After, Chain, Effort, Experiment, Point, Progress, Wanted, run_with};

/// A change of the light for which the error is predicted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LightChange {
    /// Light of a particle over that in the recording.
    pub light: f64,
    /// Pulse length over that in the recording: streaks grow with it.
    pub length: f64,
}

/// The recording itself, half and twice the power, half and twice the pulse length.
pub const LIGHT_CHANGES: [LightChange; 5] = [
    LightChange {
        light: 1.0,
        length: 1.0,
    },
    LightChange {
        light: 0.5,
        length: 1.0,
    },
    LightChange {
        light: 2.0,
        length: 1.0,
    },
    LightChange {
        light: 0.5,
        length: 0.5,
    },
    LightChange {
        light: 2.0,
        length: 2.0,
    },
];

impl Twin {
    /// Errors of the recorded vectors as they would be with each change of the light; with the
    /// first, what the estimators of uncertainty are worth.
    ///
    /// # Errors
    /// When the scene cannot be planned.
    pub fn errors(
        &self,
        processing: &Processing,
        changes: &[LightChange],
        effort: &Effort,
        progress: &dyn Progress,
        stop: &AtomicBool,
    ) -> Result<Vec<Option<Point>>, StudyError> {
        let scene = plan(&self.setup()?)?.scene;
        let experiment = |change: &LightChange| {
            let mut scene = scene.clone();
            scene.electrons *= change.light;
            if let Exposure::Fraction(f) = scene.exposure {
                scene.exposure = Exposure::Fraction((f * change.length).min(1.0));
            }
            Experiment {
                scene,
                processing: processing.clone(),
            }
        };
        let experiments: Vec<Experiment> = changes.iter().map(experiment).collect();
        let wanted = Wanted {
            estimators: Estimator::ALL.to_vec(),
            ..Wanted::default()
        };
        let chain = Chain::default();
        let mut points = run_with(&chain, &wanted, &experiments[..1], effort, progress, stop);
        let plain = Wanted::default();
        let after = After {
            whole: progress,
            pairs: points.iter().flatten().map(Point::pairs).sum(),
        };
        points.extend(run_with(&chain, &plain, &experiments[1..], effort, &after, stop));
        Ok(points)
    }
}
