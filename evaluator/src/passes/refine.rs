//! Refinement of the last pass, once the correlation has brought the windows nearly together.
//!
//! A refinement ([`Refinement`]) finds what each window adds, averaged over its weights, to the
//! displacement that a predictor through the vectors expects. The average alone would have the
//! resolution of a single window, so what averaging removes from a smooth field is added back, as
//! in a pass of the correlation, but from refined vectors and only once: most of the resolution of
//! the iteration, with less of its noise.

use super::Correlator;
use crate::deform::Predictor;
use crate::field::{VectorField, VectorStatus};
use crate::frames::Frames;
use crate::least_squares::Normal;
use crate::refinement::images_as_found::ImagesAsFound;
use crate::refinement::matching::{Equations, Matching};
use crate::refinement::particle_fit::{self, Room};
use crate::refinement::particle_shifts;
use crate::refinement::particles::{PairDescription, Particles};
use crate::refinement::{FARTHEST_PX, Refinement};
use crate::validation::{self, WindowPeaks};

impl Correlator {
    /// The vectors of the last pass with the valid ones refined; the equations of all pairs are
    /// added.
    pub(super) fn refine(
        &mut self,
        pairs: &[Frames],
        measured: &[WindowPeaks],
        mut field: VectorField,
    ) -> VectorField {
        let stage = self.stages.len() - 1;
        let grid = self.stages[stage].0.clone();
        let weighting = self.processing.weighting;
        let rounds = match self.processing.refinement {
            Refinement::None => 0,
            Refinement::LeastSquares => 1,
            // Two rounds ask each particle alone, the second with particles displaced as the first
            // found. In the last, which fits those of a window together, what the correlation
            // missed within a window no longer matters.
            Refinement::ParticleFit => 3,
        };
        let mut known: Vec<Option<PairDescription>> = pairs.iter().map(|_| None).collect();
        let mut vectors = validation::replace_untrusted(&grid, measured, &self.processing);
        for round in 1..=rounds {
            let last = round == rounds;
            let predictor = self.predictor_through(stage, vectors.clone());
            let valid = |n: usize| field.vectors[n].status == VectorStatus::Valid;
            let residuals = self.residuals(pairs, &predictor, valid, last, &mut known);
            let refined = |n: usize| residuals[n].filter(|[x, y]| valid(n) && x.hypot(*y) <= FARTHEST_PX);
            let refined: Vec<Option<[f64; 2]>> = (0..grid.len()).map(refined).collect();
            // Each window's average, where it is known.
            let mut averages = vectors.clone();
            let averaged = predictor.averaged(self.size, &grid, weighting);
            for ((average, residual), averaged) in averages.iter_mut().zip(&refined).zip(averaged) {
                if let Some(residual) = residual {
                    *average = [0, 1].map(|k| averaged[k] + residual[k]);
                }
            }
            // And what averaging removes from a smooth field through these, added back.
            let smooth = self.predictor_through(stage, averages.clone());
            let averaged = smooth.averaged(self.size, &grid, weighting);
            for (n, vector) in field.vectors.iter_mut().enumerate() {
                if refined[n].is_none() {
                    continue;
                }
                let there = smooth.at(vector.x_px, vector.y_px);
                let [dx_px, dy_px] = [0, 1].map(|k| averages[n][k] + there[k] - averaged[n][k]);
                let [x, y] = measured[n].displacement();
                if (dx_px - x).hypot(dy_px - y) <= FARTHEST_PX {
                    vectors[n] = [dx_px, dy_px];
                    if last {
                        (vector.dx_px, vector.dy_px) = (dx_px, dy_px);
                    }
                }
            }
        }
        field
    }

    /// What each window adds to a predictor at its centre, px, roughly unless this is the `last`
    /// round; `None` where that is not known. The description of each pair by particles, if one is
    /// made, is left in `known` for the next time.
    fn residuals(
        &mut self,
        pairs: &[Frames],
        predictor: &Predictor,
        valid: impl Fn(usize) -> bool,
        last: bool,
        known: &mut [Option<PairDescription>],
    ) -> Vec<Option<[f64; 2]>> {
        let grid = self.stages[self.stages.len() - 1].0.clone();
        let weighting = self.processing.weighting;
        if self.processing.refinement == Refinement::LeastSquares {
            let mut equations = vec![Equations::new(); grid.len()];
            let mut matching = Matching::new(self.size, self.processing.interpolator);
            for (number, pair) in pairs.iter().enumerate() {
                let whole = self.size.map(|side| 0..side);
                self.deform(number, pair.views(), predictor, whole);
                let [a, b] = &self.deformed;
                matching.add([a, b], &grid, weighting, &mut equations);
            }
            let residual = |equations: Equations| equations.solve().map(|[rx, ry, ..]| [rx, ry]);
            return equations.into_iter().map(residual).collect();
        }
        let mut equations = vec![Normal::new(); grid.len()];
        let mut room = Room::default();
        for (pair, known) in pairs.iter().zip(known) {
            let particles = Particles::find(pair.views(), predictor, known.take(), last);
            let windows = equations.iter_mut().enumerate().filter(|(n, _)| valid(*n));
            if last {
                let mut as_found = ImagesAsFound::default();
                for (n, equations) in windows {
                    particle_fit::add(
                        &particles,
                        &grid,
                        weighting,
                        n,
                        &mut as_found,
                        &mut room,
                        equations,
                    );
                }
            } else {
                particle_shifts::add(&particles, &grid, weighting, windows);
            }
            *known = Some(particles.description());
        }
        equations.into_iter().map(Normal::solve).collect()
    }
}
