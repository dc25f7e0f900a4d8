//! The twin of a recording: a scene whose rendered pairs look like recorded ones, and what it tells
//! of them.
//!
//! A first guess in closed form ([`motefield_evaluator::appearance::guess`]) is bettered by
//! rendering: the figures of rendered pairs ([`motefield_evaluator::appearance`]) and their changes
//! with each parameter are compared with those of the recorded pairs, and the parameters moved by
//! least squares (indirect inference; Gouriéroux, Monfort & Renault 1993, J. Appl. Econometrics 8,
//! S85; from memory). All that is nonlinear in a recording (overlapping images, clipping, rounding,
//! deformation) acts on both alike. The scatter of the figures between rendered pairs, carried to
//! the parameters, gives their intervals; both the recorded and the rendered pairs contribute.

mod field;
mod fit;
mod parameters;

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use motefield_evaluator::appearance::curves::{Curves, curves};
use motefield_evaluator::appearance::grey_steps::{GreySteps, grey_steps};
use motefield_evaluator::appearance::guess::guess;
use motefield_evaluator::appearance::{appearance, darkest_by_blocks, fixed_pattern, signal};
use motefield_evaluator::statistics::{Confidence, Estimate, student};
use motefield_evaluator::uncertainty::Estimator;
use motefield_evaluator::{Processing, VectorField, VectorStatus, correlate};
use motefield_files::Memory;
use motefield_generator::{Pair, Scene, Seed, render};
use motefield_rig::plan::plan;
use motefield_rig::setup::{Document, Referenced, Setup};
use ndarray::{Array2, ArrayView2};
use rayon::prelude::*;

use crate::StudyError;
use crate::manifest::EffectiveSetup;
use crate::run::{Chain, Effort, Experiment, Point, Progress, Wanted, run_with};
use field::{Components, Cosines};
use fit::{Round, limited, mean, weights};
use parameters::{COUNT, LEAST_DISPLACEMENT_PX, Parameters, Stated};

/// Name of the flow's file beside the setup.
pub const FLOW: &str = "flow.csv";

/// Signal-to-noise ratio above which particles are counted for the density that is given.
pub const COUNTED_RATIO: f64 = 3.0;

/// How grey levels of a recording become those of its twin: (grey − offset)/step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GreyScale {
    /// Grey level of the recording that is the twin's 0.
    pub offset: f64,
    /// Grey levels of the recording a grey level of the twin.
    pub step: f64,
    /// Bits of the twin's grey levels.
    pub bits: u32,
    /// Largest grey level of the twin that occurs or can.
    pub white_dn: f64,
    /// Share of saturated pixels.
    pub saturated: f64,
}

impl GreyScale {
    fn of(steps: &GreySteps) -> GreyScale {
        let [low, high] = steps.range;
        let (offset, step) = match steps.step {
            Some(step) => (low.min(0.0), step),

            // Without whole steps the twin's are so fine that they do not matter.
            None => (low - 0.05 * (high - low), (high - low).max(1e-30) / 50_000.0),
        };
        // Where the grey levels have an offset inside a step, it stays part of the floor.
        let top = ((high - offset) / step).max(1.0);
        let bits = (1..=16)
            .find(|bits| f64::from((1u32 << bits) - 1) >= top)
            .unwrap_or(16);
        let white_dn = match steps.saturated > 0.0 {
            true => top.min(65_535.0),
            false => f64::from((1u32 << bits) - 1),
        };
        GreyScale {
            offset,
            step,
            bits,
            white_dn,
            saturated: steps.saturated,
        }
    }

    /// A recorded frame in the twin's grey levels.
    pub fn twin_levels(&self, frame: &ArrayView2<f32>) -> Array2<f32> {
        frame.mapv(|v| ((f64::from(v) - self.offset) / self.step) as f32)
    }
}

/// Something estimated of a recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Quantity {
    /// Its name in JSON files, which is stable.
    pub id: &'static str,
    /// Its name.
    pub label: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// The estimate with its 95 % interval.
    pub estimate: Estimate,
    /// What must be known to read it; empty if nothing.
    pub remark: &'static str,
}

/// The twin of a recording.
#[derive(Debug, Clone)]
pub struct Twin {
    /// The setup as text; the flow stands beside it in [`FLOW`].
    pub setup: String,
    /// The table of the flow.
    pub flow: String,
    /// The grey levels of recording and twin.
    pub grey: GreyScale,
    /// What was estimated.
    pub quantities: Vec<Quantity>,
    /// The vectors of the first recorded pair.
    pub field: VectorField,
    /// The first recorded pair and a rendered one, in the twin's grey levels.
    pub specimens: [[Array2<f32>; 2]; 2],
    /// Curves of both.
    pub curves: [Curves; 2],
    /// Range of grey levels of their histograms.
    pub levels: [f64; 2],
    /// Largest difference of a figure between recorded and rendered pairs, in standard errors of
    /// that difference, and their root mean square.
    pub misfit: [f64; 2],
    /// Number of recorded pairs.
    pub pairs: usize,
}

/// Everything that stays the same while a twin is fitted.
struct Fitting<'a> {
    stated: Stated,
    processing: &'a Processing,
    seed: u64,
    /// The vectors of the first pair, whole.
    measured: VectorField,
    flow: Components,
    referenced: Arc<Referenced>,
    recorded: Vec<Vec<f64>>,
    /// Pairs rendered a round, and for each slope.
    counts: [usize; 2],
}

/// Pixels that a round renders at least, and pixels for each slope.
const PIXELS: [usize; 2] = [500_000, 200_000];

/// Rounds of the fit.
const ROUNDS: usize = 5;
/// Round after which the flow is made anew, with the noise of the vectors known.
const FLOW_ROUNDS: [usize; 2] = [1, 3];

/// Makes the twin of recorded pairs, all of one size, height × width; `None` where `stop` was set.
///
/// # Errors
/// When there is no pair, the frames differ in size, or show nothing.
pub fn twin(
    pairs: &[[ArrayView2<f32>; 2]],
    processing: &Processing,
    seed: u64,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Result<Option<Twin>, StudyError> {
    let frames: Vec<ArrayView2<f32>> = pairs.iter().flatten().copied().collect();
    let steps =
        grey_steps(&frames).ok_or_else(|| StudyError::request("there is no pair to make a twin of"))?;
    if steps.range[0] == steps.range[1] {
        return Err(StudyError::request(
            "all pixels have one grey level: there is nothing to make a twin of",
        ));
    }
    let grey = GreyScale::of(&steps);
    let levels: Vec<[Array2<f32>; 2]> = pairs
        .iter()
        .map(|pair| pair.each_ref().map(|frame| grey.twin_levels(frame)))
        .collect();
    let fields = levels
        .par_iter()
        .map(|[a, b]| correlate(a.view(), b.view(), processing))
        .collect::<Result<Vec<_>, _>>()
        .map_err(|e| StudyError::request(e.to_string()))?;
    let mut fitting = Fitting::new(&levels, &fields, processing, grey, seed)?;
    let start = fitting.start(&levels);
    let Some((parameters, round)) = fitting.fit(start, progress, stop)? else {
        return Ok(None);
    };
    fitting
        .finish(&levels, fields, grey, &parameters, &round)
        .map(Some)
}

fn whole(e: impl std::fmt::Display) -> StudyError {
    StudyError::request(format!("the twin's scene cannot be rendered: {e}"))
}

impl<'a> Fitting<'a> {
    fn new(
        levels: &[[Array2<f32>; 2]],
        fields: &[VectorField],
        processing: &'a Processing,
        grey: GreyScale,
        seed: u64,
    ) -> Result<Fitting<'a>, StudyError> {
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
        let pattern = (levels.len() >= LEAST_FOR_PATTERN).then(|| fixed_pattern(&frames));
        let squares = flow[0].iter().zip(&flow[1]).map(|(x, y)| x * x + y * y);
        let displacement_px = (squares.sum::<f64>() / flow[0].len() as f64).sqrt();
        let per = |pixels: usize| pixels.div_ceil(width * height);
        let mut fitting = Fitting {
            stated: Stated {
                size: [width, height],
                bits: grey.bits,
                white_dn: grey.white_dn,
                energy_ratio: (scale(1) / scale(0).max(1e-30)).sqrt().clamp(0.01, 100.0),
                more_background_dn: 0.0,
                displacement_px,
                pattern_dn: pattern.unwrap_or(0.0),
            },
            processing,
            seed,
            measured,
            flow,
            referenced: Referenced::on_disk(),
            recorded,
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
    fn start(&self, levels: &[[Array2<f32>; 2]]) -> Parameters {
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

    fn scene(&self, p: &Parameters) -> Result<Scene, StudyError> {
        let text = parameters::setup_text(p, &self.stated);
        let document = Document::parse("twin.toml", &text)?;
        let setup = Setup::read(document, Arc::clone(&self.referenced))?;
        Ok(plan(&setup)?.scene)
    }

    fn pair(&self, scene: &Scene, realisation: u64) -> Result<Pair, StudyError> {
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

    fn fit(
        &mut self,
        start: Parameters,
        progress: &dyn Progress,
        stop: &AtomicBool,
    ) -> Result<Option<(Parameters, Round)>, StudyError> {
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
            let round = Round {
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
                let fields: Vec<Components> = measured.iter().map(|(_, f)| field::components(f)).collect();
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
    fn together(&self) -> f64 {
        let [recorded, rendered] = [self.recorded.len(), self.counts[0]].map(|n| n as f64);
        1.0 / (1.0 / recorded + 1.0 / rendered)
    }

    fn finish(
        &self,
        levels: &[[Array2<f32>; 2]],
        mut fields: Vec<VectorField>,
        grey: GreyScale,
        p: &Parameters,
        round: &Round,
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

    /// Quantities with the intervals that the scatter between rendered pairs gives.
    fn quantities(
        &self,
        levels: &[[Array2<f32>; 2]],
        fields: &[VectorField],
        grey: GreyScale,
        p: &Parameters,
        round: &Round,
    ) -> Result<Vec<Quantity>, StudyError> {
        let together = self.together();
        let held = parameters::prior(p).map(|[_, deviation]| deviation.powi(-2) / together);
        let departures = round.departures(&held);
        let freedom = departures.len() as f64 - 1.0;
        let scatter = Scatter {
            parameters: *p,
            departures,
            factor: student(freedom, Confidence::USUAL) / together.sqrt(),
        };
        let mut all = scatter.of_images(grey.step);
        all.extend(scatter.of_grey_levels(grey));
        all.extend(self.plain_quantities(levels, fields, grey, p)?);
        Ok(all)
    }

    /// Quantities that are read off directly; what chance gives them is seen in rendered pairs.
    fn plain_quantities(
        &self,
        levels: &[[Array2<f32>; 2]],
        fields: &[VectorField],
        grey: GreyScale,
        p: &Parameters,
    ) -> Result<Vec<Quantity>, StudyError> {
        let scene = self.scene(p)?;
        let rendered = (0..self.counts[0] as u64)
            .into_par_iter()
            .map(|k| self.pair(&scene, k).map(|pair| [pair.a, pair.b]))
            .collect::<Result<Vec<_>, _>>()?;
        let n = rendered.len() as f64;
        let factor = student(n - 1.0, Confidence::USUAL) / (levels.len() as f64).sqrt();
        let scatter = |values: &[f64]| {
            let mean = values.iter().sum::<f64>() / n;
            (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt()
        };
        let ratio = |pair: &[Array2<f32>; 2]| {
            let [a, b] = pair.each_ref().map(|frame| signal(&frame.view()));
            0.5 * (b.max(1e-30) / a.max(1e-30)).ln()
        };
        let ratios: Vec<f64> = rendered.iter().map(ratio).collect();
        let half = factor * scatter(&ratios);
        let value = self.stated.energy_ratio;
        let mut all = vec![quantity(
            "energy_ratio",
            "light of pulse B over that of pulse A",
            "",
            Estimate {
                value,
                lo: value * (-half).exp(),
                hi: value * half.exp(),
            },
            "",
        )];
        let uneven = |pair: &[Array2<f32>; 2]| {
            let blocks = darkest_by_blocks(&pair[0].view());
            let mean = blocks.iter().sum::<f64>() / blocks.len() as f64;
            blocks.iter().map(|b| (b - mean).powi(2)).sum::<f64>() / blocks.len() as f64
        };
        let by_chance: Vec<f64> = rendered.iter().map(uneven).collect();
        let chance = by_chance.iter().sum::<f64>() / n;
        let found = levels.iter().map(uneven).sum::<f64>() / levels.len() as f64 - chance;
        let half = factor * scatter(&by_chance);
        let root = |v: f64| grey.step * v.max(0.0).sqrt();
        all.push(quantity(
            "background_unevenness",
            "unevenness of the background",
            "DN",
            Estimate {
                value: root(found),
                lo: root(found - half),
                hi: root(found + half),
            },
            "standard deviation over blocks of 64 px; the twin's background is even",
        ));
        if levels.len() >= LEAST_FOR_PATTERN {
            let value = grey.step * self.stated.pattern_dn;
            all.push(quantity(
                "fixed_pattern",
                "fixed pattern of the offsets",
                "DN",
                Estimate::unbounded(value).clamped(0.0, f64::INFINITY),
                "what repeats at each pixel in all frames",
            ));
        }
        all.extend(self.read_off(fields, grey));
        Ok(all)
    }

    /// Grey steps, displacements and valid vectors.
    fn read_off(&self, fields: &[VectorField], grey: GreyScale) -> Vec<Quantity> {
        let mut all = Vec::new();
        all.push(quantity(
            "grey_step",
            "step of the grey levels used",
            "DN",
            Estimate::exact(grey.step),
            "",
        ));
        all.push(quantity(
            "saturated",
            "share of saturated pixels",
            "",
            Estimate::exact(grey.saturated),
            "",
        ));
        for (c, ids) in [["dx_low", "dx_high"], ["dy_low", "dy_high"]]
            .into_iter()
            .enumerate()
        {
            let labels = [
                ["smallest displacement along x", "largest displacement along x"],
                ["smallest displacement along y", "largest displacement along y"],
            ][c];
            let mut values: Vec<f64> = self.flow[c].clone();
            values.sort_by(f64::total_cmp);
            let at = |share: f64| values[((values.len() - 1) as f64 * share) as usize];
            for (k, share) in [0.025, 0.975].into_iter().enumerate() {
                all.push(quantity(
                    ids[k],
                    labels[k],
                    "px",
                    Estimate::unbounded(at(share)),
                    "of the inner 95 % of the field of the first pair, without its noise",
                ));
            }
        }
        let valid = |f: &VectorField| {
            let count = f
                .vectors
                .iter()
                .filter(|v| v.status == VectorStatus::Valid)
                .count();
            count as f64 / f.vectors.len() as f64
        };
        let share = fields.iter().map(valid).sum::<f64>() / fields.len() as f64;
        all.push(quantity(
            "valid_vectors",
            "share of valid vectors",
            "",
            Estimate::exact(share),
            "of the recorded pairs",
        ));
        all
    }
}

/// A quantity from its parts.
fn quantity(
    id: &'static str,
    label: &'static str,
    unit: &'static str,
    estimate: Estimate,
    remark: &'static str,
) -> Quantity {
    Quantity {
        id,
        label,
        unit,
        estimate,
        remark,
    }
}

/// Of what cannot be negative, whatever the fit says.
fn positive(e: Estimate) -> Estimate {
    let value = e.value.max(0.0);
    Estimate { value, ..e }.clamped(0.0, f64::INFINITY)
}

fn root(v: f64) -> f64 {
    v.max(0.0).sqrt()
}

/// The fitted parameters and how they scatter.
struct Scatter {
    parameters: Parameters,
    /// Departures of the parameters found from single pairs.
    departures: Vec<[f64; COUNT]>,
    /// From their standard deviation to half the interval.
    factor: f64,
}

impl Scatter {
    /// A function of the parameters, with the scatter of its values at the departures.
    fn of(&self, value: &dyn Fn(&Parameters) -> f64) -> Estimate {
        let at = |departure: &[f64; COUNT], sign: f64| {
            let moved = std::array::from_fn(|k| self.parameters.0[k] + sign * departure[k]);
            value(&Parameters(moved))
        };
        let square = |d: &[f64; COUNT]| (0.5 * (at(d, 1.0) - at(d, -1.0))).powi(2);
        let n = self.departures.len() as f64;
        let variance = self.departures.iter().map(square).sum::<f64>() / (n - 1.0);
        Estimate::symmetric(value(&self.parameters), self.factor * variance.sqrt())
    }

    /// Of a parameter that may lie at its end: its own interval, bent by a rising function.
    fn bent(&self, k: usize, value: &dyn Fn(f64) -> f64) -> Estimate {
        let e = self.of(&|q: &Parameters| q.0[k]);
        Estimate {
            value: value(e.value),
            lo: value(e.lo),
            hi: value(e.hi),
        }
    }

    /// What concerns the particle images; `scale` grey levels of the recording are one of the twin.
    fn of_images(&self, scale: f64) -> Vec<Quantity> {
        vec![
            quantity(
                "particle_diameter",
                "particle image diameter",
                "px",
                positive(self.of(&Parameters::diameter_px)),
                "e^-2 diameter before the pixels integrate it, across the streak",
            ),
            quantity(
                "streak",
                "streak length",
                "px",
                self.bent(COUNT - 1, &root),
                "root mean square over the field; along the displacement",
            ),
            quantity(
                "density_counted",
                "seeding density above the noise",
                "ppp",
                positive(self.of(&|q| parameters::density_above(q, COUNTED_RATIO))),
                "particles whose brightest pixel is at least three standard deviations of the noise",
            ),
            quantity(
                "seeding_density",
                "seeding density inside the sheet",
                "ppp",
                positive(self.of(&Parameters::density_ppp)),
                "for a Gaussian sheet; not told apart from its profile and the spread of brightness",
            ),
            quantity(
                "particle_light",
                "light of a particle in the middle of the sheet",
                "DN",
                positive(self.of(&|q| scale * q.light_dn())),
                "summed over its image; see the seeding density",
            ),
            quantity(
                "diameter_spread",
                "spread of the particle diameters",
                "",
                self.bent(7, &root),
                "standard deviation over mean, light as the square; not told apart from the sheet's profile",
            ),
        ]
    }

    /// What concerns floor and noise, and the loss.
    fn of_grey_levels(&self, grey: GreyScale) -> Vec<Quantity> {
        let scale = grey.step;
        vec![
            quantity(
                "floor",
                "grey level without particles",
                "DN",
                self.of(&|q| grey.offset + scale * q.floor_dn()),
                "black level and background together, which pictures without a dark frame do not tell apart",
            ),
            quantity(
                "noise",
                "noise without particles",
                "DN",
                positive(self.of(&|q| scale * q.noise_dn())),
                "standard deviation: read noise, rounding and shot noise of the background together",
            ),
            quantity(
                "gain",
                "gain",
                "DN/e",
                positive(self.of(&|q| scale * q.0[5])),
                "from the rise of the noise with the grey level",
            ),
            quantity(
                "loss",
                "loss of pairs",
                "",
                self.bent(6, &|v| v.clamp(0.0, 1.0)),
                "share of the light of frame A's images without a partner in frame B, but for the image's border",
            ),
        ]
    }
}

/// The `[processing]` of a setup as text, for the setup of a twin; what was changed for one run
/// included.
///
/// # Errors
/// When it stands in a part that the setup includes.
pub fn processing_text(setup: &EffectiveSetup) -> Result<String, StudyError> {
    let own = toml::from_str::<toml::Table>(&setup.text).unwrap_or_default();
    let mut section = match own.get("processing") {
        Some(toml::Value::Table(section)) => section.clone(),
        _ if setup.parts.iter().any(|[_, text]| text.contains("[processing]")) => {
            return Err(StudyError::request(
                "the processing stands in an included part: write it into the setup itself",
            ));
        }
        _ => toml::Table::new(),
    };
    for [key, value] in &setup.changes {
        if let Some(name) = key.strip_prefix("processing.") {
            let text = format!("{name} = {value}");
            let parsed = toml::from_str::<toml::Table>(&text).map_err(|_| {
                StudyError::request(format!("{text}: cannot be written into the twin's setup"))
            })?;
            section.extend(parsed);
        }
    }
    let whole = toml::Table::from_iter([("processing".to_owned(), toml::Value::Table(section.clone()))]);
    Ok(match section.is_empty() {
        true => String::new(),
        false => format!("\n{}", toml::to_string(&whole).unwrap_or_default()),
    })
}

/// Fewest pairs of which a fixed pattern is told.
const LEAST_FOR_PATTERN: usize = 8;

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
    /// The twin as a setup.
    ///
    /// # Errors
    /// When it cannot be read, which does not happen to a setup that was rendered.
    pub fn setup(&self) -> Result<Setup, StudyError> {
        let files = Memory::new([(PathBuf::from(FLOW), self.flow.clone().into_bytes())]);
        let document = Document::parse("twin.toml", &self.setup)?;
        Ok(Setup::read(document, Referenced::new(Arc::new(files)))?)
    }

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
            if let motefield_generator::Exposure::Fraction(f) = scene.exposure {
                scene.exposure = motefield_generator::Exposure::Fraction((f * change.length).min(1.0));
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
        points.extend(run_with(
            &chain,
            &plain,
            &experiments[1..],
            effort,
            progress,
            stop,
        ));
        Ok(points)
    }
}
