//! The decision: how long may the light pulse be?
//!
//! The pulse length is swept over the range that the rig allows; around the smallest error and the crossings of the limit
//! the sweep is refined; at the ends of what is allowed the experiment is repeated without the sensor's and the light's noise, and
//! with the motion frozen, to say which of the two limits.

pub mod answer;
pub mod reading;

use std::sync::atomic::AtomicBool;

use motefield_generator::Exposure;

use crate::failure::Failure;
use crate::plan::{Plan, Speeds};
use crate::source::Source;
use crate::study::{Effort, Experiment, Point, Progress, run};
use reading::{Reading, Sample};

/// What the user may choose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wish {
    /// Largest total error allowed, px.
    pub limit_px: f64,
    /// Least share of valid vectors.
    pub valid: f64,
    /// How well each point shall be known.
    pub effort: Effort,
}

/// Total error commonly accepted, px (common practice, no source).
pub const USUAL_LIMIT_PX: f64 = 0.1;
/// Share of valid vectors commonly asked for (Keane and Adrian 1992, Appl. Sci. Res. 49, 191; memory).
pub const USUAL_VALID: f64 = 0.95;

/// Streaks, in the fastest tenth of the field, from which and to which the pulse length is swept, px.
const STREAKS_PX: [f64; 2] = [0.05, 10.0];
/// Points of the first sweep.
const COARSE: usize = 10;
/// Rounds of refinement.
const REFINEMENTS: usize = 2;

/// A pulse length and what came of it.
#[derive(Debug, Clone)]
pub struct Measured {
    /// Pulse length, s.
    pub pulse_s: f64,
    /// Mean streak in the fastest tenth of the field, px.
    pub streak_px: f64,
    /// The errors.
    pub point: Point,
}

/// The same pulse with one cause of error taken away.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cause {
    /// Pulse length, s.
    pub pulse_s: f64,
    /// Total error as it is, px.
    pub total_px: f64,
    /// Without shot noise, dark noise and quantisation, as with unlimited light, px.
    pub unlimited_light_px: f64,
    /// With the particles frozen during the pulse, at the same light, px.
    pub frozen_px: f64,
}

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
    /// Total error over the mean displacement: what a shorter pulse separation does not improve for nothing.
    pub relative: f64,
}

/// Everything the study found.
#[derive(Debug, Clone)]
pub struct Decision {
    /// The rig as planned, at its own pulse length.
    pub plan: Plan,
    /// How far the field moves.
    pub speeds: Speeds,
    /// What was wished.
    pub wish: Wish,
    /// The sweep, by rising pulse length.
    pub points: Vec<Measured>,
    /// What the sweep says; `None` if nothing was measured.
    pub reading: Option<Reading>,
    /// What limits toward short pulses, and toward long ones.
    pub causes: [Option<Cause>; 2],
    /// What would help; filled when no pulse length meets the limit.
    pub remedies: Vec<Remedy>,
    /// Whether the study was stopped before its end.
    pub stopped: bool,
}

/// Decides for the rig of `source`.
///
/// # Errors
/// When the setup has no rig, or pictures whose streak or light do not follow from the pulse length.
pub fn decide(
    source: &Source,
    wish: &Wish,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Result<Decision, Failure> {
    let plan = source.plan()?;
    let (separation_s, longest_s) = rig(source, &plan)?;
    let speeds = Speeds::of(plan.scene.size, plan.scene.flow.as_ref());
    let range = range(source, separation_s, longest_s, &speeds)?;
    let study = Sweep {
        source,
        wish,
        separation_s,
        fast_px: speeds.fast_px,
        progress,
        stop,
        spent: std::cell::Cell::new(0),
    };

    let ratio = range[1] / range[0];
    let coarse = (0..COARSE)
        .map(|k| range[0] * ratio.powf(k as f64 / (COARSE - 1) as f64))
        .collect::<Vec<_>>();
    let mut points = study.measure(&coarse, REFINEMENTS * MORE + CAUSES)?;
    for round in 0..REFINEMENTS {
        let Some(reading) = study.reading(&points) else {
            break;
        };
        let more = reading.refinements(&samples(&points));
        points.extend(study.measure(&more, (REFINEMENTS - 1 - round) * MORE + CAUSES)?);
        points.sort_by(|a, b| a.pulse_s.total_cmp(&b.pulse_s));
    }
    let reading = study.reading(&points);
    let causes = match &reading {
        Some(reading) => study.causes(&points, reading)?,
        None => [None; 2],
    };
    let remedies = match &reading {
        Some(reading) if reading.window.is_none() => study.remedies(reading.best_s, &speeds)?,
        _ => Vec::new(),
    };
    let stopped = stop.load(std::sync::atomic::Ordering::Relaxed);
    Ok(Decision {
        plan,
        speeds,
        wish: *wish,
        points,
        reading,
        causes,
        remedies,
        stopped,
    })
}

/// Points that a round of refinement usually adds.
const MORE: usize = 3;
/// Experiments for the causes: two at each end.
const CAUSES: usize = 4;

/// Pulse separation and longest pulse of a setup from which a decision can be made.
fn rig(source: &Source, plan: &Plan) -> Result<(f64, f64), Failure> {
    let setup = source.setup()?;
    let refuse = |key: &str, why: &str| Err(Failure::from(setup.error(key, why)));
    if setup.image.streak_px.is_some() || setup.image.pulse_fraction.is_some() {
        let key = if setup.image.streak_px.is_some() {
            "image.streak"
        } else {
            "image.pulse_fraction"
        };
        return refuse(
            key,
            "fixes the streak, so the pulse length decides nothing: remove it and give light.pulse_length and timing.separation, or study the scene with `motefield sweep --vary image.pulse_fraction=0..1:lin:11`",
        );
    }
    let (Some(separation), Some(_), Some(longest)) = (plan.separation_s, plan.pulse_s, plan.longest_pulse_s)
    else {
        return refuse(
            "light.pulse_length",
            "or timing.separation is missing: a decision needs a rig with both; a scene alone can be studied with `motefield sweep`",
        );
    };
    if plan.scene.electrons <= 0.0 {
        return refuse(
            "light.power",
            "gives no photo-electrons: check the light and the lens with `motefield plan`",
        );
    }
    if !(longest > 0.0) {
        return refuse(
            "camera.dead_time",
            "leaves no room for a pulse: shorten it or lengthen timing.separation",
        );
    }
    Ok((separation, longest))
}

/// Pulse lengths from the shortest to the longest worth trying, s.
fn range(source: &Source, separation_s: f64, longest_s: f64, speeds: &Speeds) -> Result<[f64; 2], Failure> {
    if speeds.fast_px < 1e-3 {
        return Err(source.setup()?.error("timing.separation", "leaves the particles where they are between the pulses: a still picture does not limit the pulse; lengthen the separation or raise the velocity").into());
    }
    let [short, long] = STREAKS_PX.map(|streak| streak / speeds.fast_px * separation_s);
    let long = long.min(longest_s);
    // A separation so short that no streak reaches the lower end: three decades below the longest pulse instead.
    Ok([if short < 0.5 * long { short } else { long * 1e-3 }, long])
}

struct Sweep<'a> {
    source: &'a Source,
    wish: &'a Wish,
    separation_s: f64,
    fast_px: f64,
    progress: &'a dyn Progress,
    stop: &'a AtomicBool,
    /// Pairs of the finished phases.
    spent: std::cell::Cell<usize>,
}

/// Progress of one phase out of several.
struct Phase<'a> {
    whole: &'a dyn Progress,
    /// Pairs before this phase.
    before: usize,
    /// Points of this phase and of those expected after it.
    points: [usize; 2],
}

impl Progress for Phase<'_> {
    fn expect(&self, pairs: usize) {
        let [now, later] = self.points;
        self.whole
            .expect(self.before + pairs + pairs * later / now.max(1));
    }
    fn done(&self) {
        self.whole.done();
    }
}

/// A pulse length as a setup says it, to three digits: what the report names is what was rendered.
fn pulse_text(pulse_s: f64) -> String {
    format!("{:.2e} s", pulse_s)
}

fn samples(points: &[Measured]) -> Vec<Sample<'_>> {
    points
        .iter()
        .map(|m| Sample {
            pulse_s: m.pulse_s,
            point: &m.point,
        })
        .collect()
}

impl Sweep<'_> {
    fn experiment(&self, changes: &[(&str, String)]) -> Result<Experiment, Failure> {
        let plan = self.source.with(changes).plan()?;
        Ok(Experiment {
            scene: plan.scene,
            processing: plan.processing,
        })
    }

    fn run(&self, experiments: &[Experiment], later: usize) -> Vec<Option<Point>> {
        if experiments.is_empty() {
            return Vec::new();
        }
        let phase = Phase {
            whole: self.progress,
            before: self.spent.get(),
            points: [experiments.len(), later],
        };
        let points = run(experiments, &self.wish.effort, &phase, self.stop);
        self.spent
            .set(self.spent.get() + points.iter().flatten().map(|p| p.score.pairs).sum::<usize>());
        points
    }

    fn measure(&self, pulses_s: &[f64], later: usize) -> Result<Vec<Measured>, Failure> {
        let longest = pulses_s.iter().copied().fold(0.0, f64::max);
        let texts: Vec<String> = pulses_s
            .iter()
            // The longest is a limit: rounding must not carry it beyond.
            .map(|&p| {
                if p == longest {
                    format!("{:e} s", p)
                } else {
                    pulse_text(p)
                }
            })
            .collect();
        let experiments = texts
            .iter()
            .map(|t| self.experiment(&[("light.pulse_length", t.clone())]))
            .collect::<Result<Vec<_>, _>>()?;
        let points = self.run(&experiments, later);
        Ok(points
            .into_iter()
            .zip(&experiments)
            .filter_map(|(point, experiment)| {
                let Exposure::Fraction(fraction) = experiment.scene.exposure else {
                    return None;
                };
                Some(Measured {
                    pulse_s: fraction * self.separation_s,
                    streak_px: fraction * self.fast_px,
                    point: point?,
                })
            })
            .collect())
    }

    fn reading(&self, points: &[Measured]) -> Option<Reading> {
        Reading::of(&samples(points), self.wish.limit_px, self.wish.valid)
    }

    /// Repeats the ends of the window (of the range, where no window or no wall is there) without one cause each.
    fn causes(&self, points: &[Measured], reading: &Reading) -> Result<[Option<Cause>; 2], Failure> {
        let end = |side: usize| -> Option<&Measured> {
            let wall = reading.window.map(|w| w.pulses_s[side]);
            let beyond = |m: &&Measured| match (side, wall) {
                (0, Some(wall)) => m.pulse_s <= wall * 1.000_001,
                (_, Some(wall)) => m.pulse_s >= wall * 0.999_999,
                (0, None) => m.pulse_s < reading.best_s,
                (_, None) => m.pulse_s > reading.best_s,
            };
            let mut beyond = points.iter().filter(beyond);
            // The measured point next to the wall on its outer side, where the error is beyond the limit; without a window, the range's end.
            match (side, wall.is_some()) {
                (0, true) => beyond.next_back(),
                (0, false) => beyond.next(),
                (_, true) => beyond.next(),
                (_, false) => beyond.next_back(),
            }
        };
        let ends = [end(0), end(1)];
        let mut experiments = Vec::new();
        for m in ends.iter().flatten() {
            let pulse = ("light.pulse_length", format!("{:e} s", m.pulse_s));
            let ideal = self.experiment(&[pulse.clone(), ("camera.ideal", "true".to_owned())])?;
            let mut frozen = self.experiment(&[pulse])?;
            frozen.scene.exposure = Exposure::Fraction(0.0);
            experiments.extend([ideal, frozen]);
        }
        let found = self.run(&experiments, 0);
        let mut pairs = found.chunks_exact(2);
        let mut cause = |m: Option<&Measured>| -> Option<Cause> {
            let m = m?;
            let [ideal, frozen] = pairs.next()? else {
                return None;
            };
            Some(Cause {
                pulse_s: m.pulse_s,
                total_px: effective_total(&m.point),
                unlimited_light_px: effective_total(ideal.as_ref()?),
                frozen_px: effective_total(frozen.as_ref()?),
            })
        };
        Ok([cause(ends[0]), cause(ends[1])])
    }

    /// Computes what each change of the rig would bring, at three pulse lengths about the best.
    fn remedies(&self, best_s: f64, speeds: &Speeds) -> Result<Vec<Remedy>, Failure> {
        let setup = self.source.setup()?;
        let mut changes: Vec<(String, Vec<(&str, String)>, f64)> = Vec::new();
        let scaled = |value: f64, unit: &str| format!("{value:e} {unit}");
        let light = &setup.light;
        match (setup.image.electrons, light.power_w, light.pulse_energy_j) {
            (Some(e), _, _) => changes.push((
                "four times the light".into(),
                vec![("image.electrons", scaled(4.0 * e, "e"))],
                1.0,
            )),
            (_, Some(w), _) => changes.push((
                "four times the light".into(),
                vec![("light.power", scaled(4.0 * w, "W"))],
                1.0,
            )),
            (_, _, Some(j)) => changes.push((
                "four times the light".into(),
                vec![("light.pulse_energy", scaled(4.0 * j, "J"))],
                1.0,
            )),
            _ => {}
        }
        if let (Some(f), None) = (setup.lens.f_number, setup.image.electrons) {
            let wider = f / std::f64::consts::SQRT_2;
            changes.push((
                format!("aperture one stop wider (f/{wider:.2})"),
                vec![("lens.aperture", format!("f/{wider}"))],
                1.0,
            ));
        }
        if let Some(dt) = setup.separation_s {
            changes.push((
                "half the pulse separation (half the displacement)".into(),
                vec![("timing.separation", scaled(0.5 * dt, "s"))],
                0.5,
            ));
        }
        let [width, height] = self.source.plan()?.scene.size;
        if let Some(last) = setup.processing.passes.last() {
            let side = (last.window[0].max(last.window[1]) * 3 / 2)
                .min(width)
                .min(height);
            changes.push((
                format!("final windows of {side} px"),
                vec![("processing.window", side.to_string())],
                1.0,
            ));
        }
        let mut tried = Vec::new();
        let mut experiments = Vec::new();
        for (k, (_, change, displacement)) in changes.iter().enumerate() {
            for factor in [0.5, 1.0, 2.0] {
                // With half the separation a pulse of the same length may no longer fit.
                let mut change = change.clone();
                change.push(("light.pulse_length", pulse_text(best_s * factor * displacement)));
                if let Ok(experiment) = self.experiment(&change) {
                    tried.push((k, best_s * factor * displacement));
                    experiments.push(experiment);
                }
            }
        }
        let found = self.run(&experiments, 0);
        let remedies = changes
            .iter()
            .enumerate()
            .filter_map(|(k, (words, _, displacement))| {
                let mine = tried
                    .iter()
                    .zip(&found)
                    .filter(|((of, _), point)| *of == k && point.is_some());
                let (pulse_s, point) = mine
                    .filter_map(|((_, pulse), point)| Some((*pulse, point.as_ref()?)))
                    .min_by(|a, b| effective_total(a.1).total_cmp(&effective_total(b.1)))?;
                let total_px = point.score.total_px.value;
                let valid = 1.0 - point.score.outliers.value;
                Some(Remedy {
                    change: words.clone(),
                    pulse_s,
                    total_px,
                    valid,
                    relative: total_px / (speeds.mean_px * displacement),
                })
            });
        let mut remedies: Vec<Remedy> = remedies.collect();
        remedies.sort_by(|a, b| a.total_px.total_cmp(&b.total_px));
        Ok(remedies)
    }
}

/// Total error with the outliers counted in, as if each were off by the outlier limit: comparable where many vectors are lost.
fn effective_total(point: &Point) -> f64 {
    use motefield_evaluator::score::OUTLIER_PX;
    let lost = point.score.outliers.value;
    let kept = if point.score.total_px.value.is_finite() {
        point.score.total_px.value
    } else {
        OUTLIER_PX
    };
    ((1.0 - lost) * kept * kept + lost * OUTLIER_PX * OUTLIER_PX).sqrt()
}
