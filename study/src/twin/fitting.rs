//! The fit of a twin: pairs are rendered and measured as the recorded ones were, round by round.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use motefield_evaluator::appearance::curves::curves;
use motefield_evaluator::appearance::guess::guess;
use motefield_evaluator::appearance::{appearance, fixed_pattern, signal};
use motefield_evaluator::statistics::{Confidence, Estimate};
use motefield_evaluator::{Processing, VectorField, correlate};
use motefield_files::Memory;
use motefield_generator::{Pair, Scene, Seed, render};
use motefield_rig::plan::plan;
use motefield_rig::setup::{Document, Referenced, Setup};
use ndarray::{Array2, ArrayView2};
use rayon::prelude::*;

use super::field::{self, Cosines, FieldComponents};
use super::fit::{FitRound, limited, mean, weights};
use super::parameters::{self, COUNT, LEAST_DISPLACEMENT_PX, Parameters, StatedParameter};
use super::{FLOW, GreyScale, Twin};
use crate::StudyError;
use crate::run::Progress;

/// Fewest pairs of which a fixed pattern is told.
const LEAST_FOR_PATTERN: usize = 8;

/// Everything that stays the same while a twin is fitted.
pub(super) struct TwinFitting<'a> {
    pub(super) stated: StatedParameter,
    processing: &'a Processing,
    seed: u64,
    /// The vectors of the first pair, whole.
    measured: VectorField,
    pub(super) flow: FieldComponents,
    referenced: Arc<Referenced>,
    recorded: Vec<Vec<f64>>,
    /// Fixed pattern of the offsets, grey levels; none where it is not told.
    pub(super) pattern: Option<Estimate>,
    /// Pairs rendered a round, and for each slope.
    pub(super) counts: [usize; 2],
}

/// Pixels that a round renders at least, and pixels for each slope.
const PIXELS: [usize; 2] = [500_000, 200_000];

/// Rounds of the fit.
const ROUNDS: usize = 5;
/// Round after which the flow is made anew, with the noise of the vectors known.
const FLOW_ROUNDS: [usize; 2] = [1, 3];

pub(super) fn whole(e: impl std::fmt::Display) -> StudyError {
    StudyError::request(format!("the twin's scene cannot be rendered: {e}"))
}

impl<'a> TwinFitting<'a> {
    pub(super) fn new(
        levels: &[[Array2<f32>; 2]],
        fields: &[VectorField],
        processing: &'a Processing,
        grey: GreyScale,
        seed: u64,
    ) -> Result<TwinFitting<'a>, StudyError> {
        let (height, width) = levels[0][0].dim();
        let measured = field::filled(&fields[0]);
        let cosines = Cosines::of(&measured, processing);
        let flow = cosines.flow(&field::components(&measured), None);
        let recorded = levels
            .par_iter()
            .zip(fields)
            .map(|([a, b], field)| appearance(a.view(), b.view(), &field::filled(field)))
            .collect::<Result<Vec<_>, _>>()
            .map_err(|e| StudyError::request(e.to_string()))?;
        let frames: Vec<ArrayView2<f32>> = levels.iter().flatten().map(|f| f.view()).collect();
        let scale = |k: usize| levels.iter().map(|pair| signal(&pair[k].view())).sum::<f64>();
        let pattern = (levels.len() >= LEAST_FOR_PATTERN).then(|| fixed_pattern(&frames, Confidence::USUAL));
        let squares = flow[0].iter().zip(&flow[1]).map(|(x, y)| x * x + y * y);
        let displacement_px = (squares.sum::<f64>() / flow[0].len() as f64).sqrt();
        let per = |pixels: usize| pixels.div_ceil(width * height);
        let mut fitting = TwinFitting {
            stated: StatedParameter {
                size: [width, height],
                bits: grey.bits,
                white_dn: grey.white_dn,
                energy_ratio: (scale(1) / scale(0).max(1e-30)).sqrt().clamp(0.01, 100.0),
                more_background_dn: 0.0,
                displacement_px,
                pattern_dn: pattern.map_or(0.0, |pattern| pattern.value),
            },
            processing,
            seed,
            measured,
            flow,
            referenced: Referenced::on_disk(),
            recorded,
            pattern,
            counts: [per(PIXELS[0]).clamp(4, 10), per(PIXELS[1]).clamp(1, 4)],
        };
        fitting.take_flow();
        Ok(fitting)
    }

    /// Puts the flow where the setup finds it.
    fn take_flow(&mut self) {
        let table = self.table();
        let files = Memory::new([(PathBuf::from(FLOW), table.into_bytes())]);
        self.referenced = Referenced::new(Arc::new(files));
    }

    fn table(&self) -> String {
        field::table(&self.measured, &self.flow, self.stated.size)
    }

    /// Where the fit begins: the closed forms.
    pub(super) fn start(&self, levels: &[[Array2<f32>; 2]]) -> Parameters {
        let frames: Vec<ArrayView2<f32>> = levels.iter().take(4).flatten().map(|f| f.view()).collect();
        let g = guess(&frames);
        let [short, long] = [
            g.diameter_px[0].min(g.diameter_px[1]),
            g.diameter_px[0].max(g.diameter_px[1]),
        ];
        // A uniform streak of length s has the variance s²/12; the images' is d²/16.
        let streak2 = match self.stated.displacement_px >= LEAST_DISPLACEMENT_PX {
            true => 12.0 * (long * long - short * short) / 16.0,
            false => 0.0,
        };
        let ln = |v: f64, least: f64, most: f64| v.max(least).min(most).ln();
        let range = self.stated.white_dn;
        Parameters([
            ln(short, 0.6, 20.0),
            ln(g.seeding_density_ppp, 1e-3, 0.3),
            ln(g.light_dn, 1.0, 1e3 * range),
            g.floor_dn.clamp(0.0, range),
            ln(g.noise_dn, 0.3, range),
            g.gain_dn.clamp(0.0, 10.0_f64.max(0.02 * range)),
            0.15,
            0.02,
            streak2,
        ])
    }

    pub(super) fn scene(&self, p: &Parameters) -> Result<Scene, StudyError> {
        let text = parameters::setup_text(p, &self.stated);
        let document = Document::parse("twin.toml", &text)?;
        let setup = Setup::read(document, Arc::clone(&self.referenced))?;
        Ok(plan(&setup)?.scene)
    }

    pub(super) fn pair(&self, scene: &Scene, realisation: u64) -> Result<Pair, StudyError> {
        let seed = Seed {
            study: self.seed,
            point: 0,
            realisation,
        };
        render(scene, seed).map_err(whole)
    }

    /// Figures of the first `count` rendered pairs, with the true field in place of a measured one.
    fn figures(&self, p: &Parameters, count: usize) -> Result<Vec<Vec<f64>>, StudyError> {
        let scene = self.scene(p)?;
        let truth = field::as_field(&self.measured, &self.flow);
        (0..count as u64)
            .into_par_iter()
            .map(|k| {
                let pair = self.pair(&scene, k)?;
                appearance(pair.a.view(), pair.b.view(), &truth).map_err(whole)
            })
            .collect()
    }

    /// Figures of rendered pairs that are measured as the recorded ones, and their fields.
    fn measured_figures(&self, p: &Parameters) -> Result<Vec<(Vec<f64>, VectorField)>, StudyError> {
        let scene = self.scene(p)?;
        (0..self.counts[0] as u64)
            .into_par_iter()
            .map(|k| {
                let pair = self.pair(&scene, k)?;
                let field = correlate(pair.a.view(), pair.b.view(), self.processing).map_err(whole)?;
                let field = field::filled(&field);
                let figures = appearance(pair.a.view(), pair.b.view(), &field).map_err(whole)?;
                Ok((figures, field))
            })
            .collect()
    }

    fn slopes(&self, p: &Parameters) -> Result<Vec<Vec<f64>>, StudyError> {
        let base = mean(&self.figures(p, self.counts[1])?);
        let steps = parameters::steps(p);
        (0..COUNT)
            .into_par_iter()
            .map(|k| {
                if k == COUNT - 1 && self.stated.displacement_px < LEAST_DISPLACEMENT_PX {
                    return Ok(vec![0.0; base.len()]);
                }
                let mut moved = *p;
                // Below 0 nothing changes: the slope is that above it.
                let from = if k >= COUNT - 4 { p.0[k].max(0.0) } else { p.0[k] };
                let step = if k == COUNT - 3 && from > 0.8 {
                    -steps[k]
                } else {
                    steps[k]
                };
                moved.0[k] = from + step;
                let there = mean(&self.figures(&moved, self.counts[1])?);
                Ok(there.iter().zip(&base).map(|(a, b)| (a - b) / step).collect())
            })
            .collect()
    }

    pub(super) fn fit(
        &mut self,
        start: Parameters,
        progress: &dyn Progress,
        stop: &AtomicBool,
    ) -> Result<Option<(Parameters, FitRound)>, StudyError> {
        let prior = parameters::prior(&start);
        let held = prior.map(|[_, deviation]| deviation.powi(-2));
        let recorded = mean(&self.recorded);
        let mut p = start;
        let renders = self.counts[0] + (COUNT + 1) * self.counts[1];
        progress.expect(ROUNDS * renders);
        let mut last = None;
        for number in 0..ROUNDS {
            if stop.load(Ordering::Relaxed) {
                return Ok(None);
            }
            let measured = self.measured_figures(&p)?;
            let rendered: Vec<Vec<f64>> = measured.iter().map(|(figures, _)| figures.clone()).collect();
            let round = FitRound {
                weights: weights(&rendered),
                slopes: self.slopes(&p)?,
                rendered,
            };
            (0..renders).for_each(|_| progress.done());
            let base = mean(&round.rendered);
            let wanted: Vec<f64> = recorded.iter().zip(&base).map(|(r, b)| r - b).collect();
            // Weights are those of one pair; so many pairs together weigh more against the prior.
            let together = self.together();
            let held = held.map(|h| h / together);
            let pull = std::array::from_fn(|k| prior[k][0] - p.0[k]);
            let change = round.change(&wanted, &pull, &held);
            p = limited(&p, change);
            if FLOW_ROUNDS.contains(&number) {
                let fields: Vec<FieldComponents> =
                    measured.iter().map(|(_, f)| field::components(f)).collect();
                let cosines = Cosines::of(&self.measured, self.processing);
                let noise = cosines.noise(&fields);
                self.flow = cosines.flow(&field::components(&self.measured), Some(&noise));
                self.take_flow();
            }
            last = Some(round);
        }
        Ok(last.map(|round| (p, round)))
    }

    /// Number of pairs that would scatter as much as the difference of recorded and rendered ones.
    pub(super) fn together(&self) -> f64 {
        let [recorded, rendered] = [self.recorded.len(), self.counts[0]].map(|n| n as f64);
        1.0 / (1.0 / recorded + 1.0 / rendered)
    }

    pub(super) fn finish(
        &self,
        levels: &[[Array2<f32>; 2]],
        mut fields: Vec<VectorField>,
        grey: GreyScale,
        p: &Parameters,
        round: &FitRound,
    ) -> Result<Twin, StudyError> {
        let scene = self.scene(p)?;
        let measured = self.measured_figures(p)?;
        let rendered: Vec<Vec<f64>> = measured.into_iter().map(|(figures, _)| figures).collect();
        let base = mean(&rendered);
        let weights = weights(&rendered);
        let recorded = mean(&self.recorded);
        let off = |k: usize| (recorded[k] - base[k]) * (weights[k] * self.together()).sqrt();
        let off: Vec<f64> = (0..base.len()).map(off).collect();
        let largest = off.iter().fold(0.0f64, |m, v| m.max(v.abs()));
        let square = off.iter().map(|v| v * v).sum::<f64>() / off.len() as f64;
        let specimen = self.pair(&scene, 1 << 20)?;
        let specimen = [specimen.a, specimen.b];
        let field = correlate(specimen[0].view(), specimen[1].view(), self.processing).map_err(whole)?;
        let white = levels[0]
            .iter()
            .flatten()
            .fold(0.0f64, |m, v| m.max(f64::from(*v)));
        let black = levels[0]
            .iter()
            .flatten()
            .fold(white, |m, v| m.min(f64::from(*v)));
        let range = [black, white];
        let of = |[a, b]: &[Array2<f32>; 2], field: &VectorField| {
            curves(a.view(), b.view(), &field::filled(field), range).map_err(whole)
        };
        let curves = [of(&levels[0], &fields[0])?, of(&specimen, &field)?];
        let quantities = self.quantities(levels, &fields, grey, p, round)?;
        Ok(Twin {
            setup: parameters::setup_text(p, &self.stated),
            flow: self.table(),
            grey,
            quantities,
            field: fields.swap_remove(0),
            specimens: [levels[0].clone(), specimen],
            curves,
            levels: range,
            misfit: [largest, square.sqrt()],
            pairs: levels.len(),
        })
    }
}
