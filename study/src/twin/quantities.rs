//! What a twin tells of its recording, each figure with its interval.

use motefield_evaluator::appearance::{darkest_by_blocks, signal};
use motefield_evaluator::statistics::{Confidence, Estimate, student};
use motefield_evaluator::{VectorField, VectorStatus};
use ndarray::Array2;
use rayon::prelude::*;

use super::GreyScale;
use super::fit::FitRound;
use super::fitting::TwinFitting;
use super::parameters::{self, COUNT, Parameters};
use crate::StudyError;

/// Something estimated of a recording.
#[derive(Debug, Clone, PartialEq)]
pub struct TwinQuantity {
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

/// Signal-to-noise ratio above which particles are counted for the density that is given.
pub const COUNTED_RATIO: f64 = 3.0;

impl TwinFitting<'_> {
    /// Quantities with the intervals that the scatter between rendered pairs gives.
    pub(super) fn quantities(
        &self,
        levels: &[[Array2<f32>; 2]],
        fields: &[VectorField],
        grey: GreyScale,
        p: &Parameters,
        round: &FitRound,
    ) -> Result<Vec<TwinQuantity>, StudyError> {
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
    ) -> Result<Vec<TwinQuantity>, StudyError> {
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
        if let Some(pattern) = self.pattern {
            all.push(quantity(
                "fixed_pattern",
                "fixed pattern of the offsets",
                "DN",
                pattern.map_rising(|dn| grey.step * dn),
                "what repeats at each pixel in all frames",
            ));
        }
        all.extend(self.read_off(fields, grey));
        Ok(all)
    }

    /// Grey steps, displacements and valid vectors.
    fn read_off(&self, fields: &[VectorField], grey: GreyScale) -> Vec<TwinQuantity> {
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
) -> TwinQuantity {
    TwinQuantity {
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
    fn of_images(&self, scale: f64) -> Vec<TwinQuantity> {
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
    fn of_grey_levels(&self, grey: GreyScale) -> Vec<TwinQuantity> {
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
