//! Another program as the processing of a study: frames go out, vectors come back.
//!
//! Its vectors stand where it puts them. The first pair of a point says where; those of later pairs
//! must stand at the same places, in any order, and what is missing counts as lost. A pair on which
//! the program fails has lost all its vectors, and the reason is kept.

use std::fmt::Debug;
use std::sync::atomic::AtomicBool;

use motefield_evaluator::conventions::PlacedVectors;
use motefield_evaluator::score::{Errors, VectorTruth};
use motefield_generator::{Pair, Scene, truth::TrueDisplacement};

use crate::own_vectors::{Lattice, thinned};

/// Why a program gave no vectors.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Failed {
    /// It was stopped with the study: the pair is as if it had not been begun.
    Stopped,
    /// Ended with an error, took too long, or wrote what cannot be used: says what.
    Because(String),
}

/// A program that measures pairs.
pub trait ExternalChain: Debug + Sync {
    /// Vectors of a pair, px, by this library's conventions. `float` says that the pictures are
    /// photo-electrons and not grey levels. Called from several threads at once.
    ///
    /// # Errors
    /// When there are no vectors: why.
    fn measure(&self, pair: &Pair, float: bool, stop: &AtomicBool) -> Result<PlacedVectors, Failed>;

    /// Side of its interrogation window, px, if it is known.
    fn window_px(&self) -> Option<f64>;
}

/// The program that measures in place of this one's evaluator, if any. Two are the same if they are
/// one object.
#[derive(Debug, Clone, Copy, Default)]
pub struct External(pub Option<&'static dyn ExternalChain>);

impl PartialEq for External {
    fn eq(&self, other: &External) -> bool {
        let place = |of: &External| of.0.map(|chain| std::ptr::from_ref(chain).cast::<()>());
        place(self) == place(other)
    }
}

/// Where the vectors of a point stand, as its first pair says.
pub(super) struct Places {
    chain: &'static dyn ExternalChain,
    lattice: Lattice,
    /// At each vector of the first pair.
    true_px: Vec<[f64; 2]>,
    first: Errors,
}

impl Places {
    /// Of the first pair of a point.
    ///
    /// # Errors
    /// When the program fails on it.
    pub fn new(
        chain: &'static dyn ExternalChain,
        scene: &Scene,
        pair: &Pair,
        stop: &AtomicBool,
    ) -> Result<Places, Failed> {
        let (vectors, _) = thinned(chain.measure(pair, scene.camera.sensor.is_none(), stop)?);
        let lattice = Lattice::of(&vectors.at, chain.window_px());
        let exact = TrueDisplacement::of_pair(scene);
        let inside = |p: &[f64; 2]| (0..2).all(|c| p[c] >= -0.5 && p[c] <= scene.size[c] as f64 - 0.5);
        let within: Vec<[f64; 2]> = vectors.at.iter().copied().filter(inside).collect();
        let mut found = exact.at_all(&within).into_iter();
        let true_px = vectors.at.iter().map(|p| match inside(p) {
            true => found.next().flatten().unwrap_or([f64::NAN; 2]),
            false => [f64::NAN; 2],
        });
        let true_px: Vec<[f64; 2]> = true_px.collect();
        let first = lattice.errors(&differences(&vectors.moved, &true_px));
        Ok(Places {
            chain,
            lattice,
            true_px,
            first,
        })
    }

    /// Columns of cells, and within which lag they share particles.
    pub fn grid(&self) -> (usize, [usize; 2]) {
        (self.lattice.columns, self.lattice.reach)
    }

    /// The truth in the cells; `NaN` in those that hold no vector.
    pub fn truth(&self) -> VectorTruth {
        self.lattice.truth(&self.true_px)
    }

    /// Errors of the first pair.
    pub fn first(&self) -> Errors {
        self.first.clone()
    }

    /// Errors of another pair.
    ///
    /// # Errors
    /// When the program fails, is told to end, or gives vectors at other places.
    pub fn measure(&self, scene: &Scene, pair: &Pair, stop: &AtomicBool) -> Result<Errors, Failed> {
        let (vectors, _) = thinned(self.chain.measure(pair, scene.camera.sensor.is_none(), stop)?);
        let moved = self.lattice.matched(&vectors).ok_or_else(|| {
            Failed::Because(
                "its vectors stand at other places than those of the first pair; interpolate them onto one grid".to_owned(),
            )
        })?;
        Ok(self.lattice.errors(&differences(&moved, &self.true_px)))
    }
}

/// Errors of a pair whose vectors are all lost.
pub(super) fn lost(cells: usize) -> Errors {
    Errors {
        point_px: vec![[f64::NAN; 2]; cells],
        window_px: vec![[f64::NAN; 2]; cells],
        detected: vec![false; cells],
    }
}

fn differences(moved: &[[f64; 2]], true_px: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let pairs = moved.iter().zip(true_px);
    pairs.map(|(m, t)| [m[0] - t[0], m[1] - t[1]]).collect()
}
