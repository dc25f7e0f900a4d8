//! Pairs of which the tiles alone are rendered and correlated.

use std::sync::Arc;

use motefield_evaluator::prepare::Background;
use motefield_evaluator::{Correlator, Processing, Vector, VectorField};
use motefield_generator::pair::Crops;
use motefield_generator::{Pair, Scene, Seed, Sensor};

use super::super::saturation::full_share;
use super::Tiling;

const VALID: &str = "processing that was validated";

/// Tiles of the pictures of an experiment.
pub(in crate::run) struct TilePairs<'a> {
    pub(in crate::run) tiling: Tiling,
    crops: Crops<'a>,
}

impl<'a> TilePairs<'a> {
    /// `background` are the realisations of which each tile's background is made, if one is.
    ///
    /// # Panics
    /// When the scene does not validate.
    pub(in crate::run) fn new(mut tiling: Tiling, scene: &'a Scene, background: &[Seed]) -> TilePairs<'a> {
        let crops = Crops::of(scene, tiling.crops.clone()).expect("a scene that was validated");
        for (k, processing) in tiling.processing.iter_mut().enumerate() {
            let made = match (&processing.preparation.background, background) {
                (_, []) => None,
                (Background::Made(statistic), _) => Some(*statistic),
                _ => None,
            };
            if let Some(statistic) = made {
                let pairs: Vec<Pair> = background.iter().map(|seed| crops.render(k, *seed)).collect();
                let a = statistic.of(pairs.iter().map(|pair| pair.a.view()));
                let b = statistic.of(pairs.iter().map(|pair| pair.b.view()));
                let both = [a, b].map(|picture| Arc::new(picture.expect("frames of one shape")));
                processing.preparation.background = Background::Given(both);
            }
        }
        TilePairs { tiling, crops }
    }

    /// The vectors that count, of the pairs of these realisations measured together.
    ///
    /// # Panics
    /// When the processing does not validate.
    pub(in crate::run) fn measure(&self, seeds: &[Seed]) -> Vec<Vector> {
        let [width, height] = self.tiling.crops[0].size;
        let of_tile = |(k, processing): (usize, &Processing)| -> VectorField {
            let pairs: Vec<Pair> = (seeds.iter().map(|seed| self.crops.render(k, *seed))).collect();
            let views: Vec<_> = pairs.iter().map(|pair| [pair.a.view(), pair.b.view()]).collect();
            let correlator = Correlator::new(width, height, processing).expect(VALID);
            let mut correlator = correlator.measuring(self.tiling.with_neighbours(k));
            correlator.correlate_ensemble(&views).expect(VALID)
        };
        let fields: Vec<VectorField> = self.tiling.processing.iter().enumerate().map(of_tile).collect();
        self.tiling.vectors(&fields)
    }

    /// Share of the pixels, of both frames, in which at least this charge is expected, e.
    pub(in crate::run) fn saturated(&self, sensor: &Sensor, seed: Seed) -> f64 {
        let full = |k: usize| full_share(self.crops.expected(k, seed), sensor);
        let tiles = self.tiling.crops.len();
        (0..tiles).map(full).sum::<f64>() / tiles as f64
    }
}
