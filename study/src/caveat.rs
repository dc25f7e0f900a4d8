//! What must be said beside a figure, lest it be taken for more than it is.
//!
//! A caveat is no error: the figure stands, and whoever reads it in a text, a table, a picture or a
//! JSON file reads the caveat with it.

use std::fmt;

use motefield_evaluator::score::Score;
use motefield_evaluator::statistics::{Estimate, median};
use motefield_evaluator::{VectorField, VectorStatus};
use ndarray::ArrayView2;

/// A caveat, with the number that it rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Caveat {
    /// No window has a truth to compare with: all lie in bodies or under the mask.
    NoTruth,
    /// Not one vector is valid, so nothing is known of the error.
    NoVector,
    /// This share of the vectors are outliers, more than are not: the error is that of the rest.
    MostlyOutliers(f64),
    /// This share of the windows has no truth, and their vectors do not count.
    TruthMissing(f64),
    /// Too few vectors or pairs to know the scatter: the interval of the error is open.
    OpenInterval,
    /// So many particles are in a window on the average, too few.
    FewParticles(f64),
    /// The largest displacement and the largest that the windows of the first pass can tell, px.
    BeyondSearch(f64, f64),
    /// This share of the pixels is full or as white as they get.
    Saturated(f64),
    /// Frame A and frame B are the same picture, bit by bit.
    SameFrames,
    /// A frame of one grey level.
    EmptyFrame,
    /// The median ratio of the highest correlation peak to the next, hardly above that of chance.
    LikeNoise(f64),
    /// Every place moves by these whole numbers of pixels along x and y, or nearly: what pixels add
    /// to the error at displacements between is missing.
    WholePixels([f64; 2]),
}

/// How near to a whole number of pixels every displacement must be for its error to be hardly more
/// than that of whole ones. In a uniform flow of images of 2.1 px the random error along x is
/// 0.0120 px at 14 px, 0.0130 px at 14.1 px, 0.0155 px at 14.2 px and 0.0209 px at 14.5 px (a sweep
/// of `cases/start/laser-tunnel.toml` over `timing.displacement`).
const NEARLY_WHOLE_PX: f64 = 0.1;

/// Fewest particles in a window for which a displacement is found reliably: ten with the usual
/// losses (Keane and Adrian 1992, Appl. Sci. Res. 49, 191; memory), of which half must stay.
const FEWEST_PARTICLES: f64 = 5.0;

/// Share of saturated pixels above which images lose their tops: particle images cover some 5 to 20
/// % of a picture, so this is one in ten of theirs (common practice, no source).
const MOST_SATURATED: f64 = 0.01;

/// Least median of the peak ratio that tells a displacement from chance, which is also what a
/// single vector is commonly asked for (common practice, no source). Of rendered pairs without
/// common particles the median is 1.12 to 1.18 with windows of 32 and 64 px, one pass or four; with
/// windows of 16 px it is 1.3, but more than half of the vectors are outliers.
const LEAST_PEAK_RATIO: f64 = 1.2;

/// Share of windows without truth that goes without saying: a body or a mask covers as much.
const USUAL_WITHOUT_TRUTH: f64 = 0.25;

impl Caveat {
    /// Its name in tables and JSON files, which is stable.
    pub fn id(self) -> &'static str {
        match self {
            Caveat::NoTruth => "no-truth",
            Caveat::NoVector => "no-vector",
            Caveat::MostlyOutliers(_) => "mostly-outliers",
            Caveat::TruthMissing(_) => "truth-missing",
            Caveat::OpenInterval => "open-interval",
            Caveat::FewParticles(_) => "few-particles",
            Caveat::BeyondSearch(..) => "beyond-search-range",
            Caveat::Saturated(_) => "saturated",
            Caveat::SameFrames => "same-frames",
            Caveat::EmptyFrame => "empty-frame",
            Caveat::LikeNoise(_) => "like-noise",
            Caveat::WholePixels(_) => "whole-pixels",
        }
    }

    /// What the score of some vectors says of itself. `windows` counts all, with and without truth.
    pub fn of_score(score: &Score, windows: usize) -> Vec<Caveat> {
        let mut all = Vec::new();
        let without = 1.0 - score.vectors as f64 / windows.max(1) as f64;
        let outliers = score.outliers.value;
        if score.vectors == 0 {
            all.push(Caveat::NoTruth);
        } else if score.total_px.value.is_nan() {
            all.push(Caveat::NoVector);
        } else {
            if outliers > 0.5 {
                all.push(Caveat::MostlyOutliers(outliers));
            }
            if open(score.total_px) {
                all.push(Caveat::OpenInterval);
            }
        }
        if without > USUAL_WITHOUT_TRUTH && score.vectors > 0 {
            all.push(Caveat::TruthMissing(without));
        }
        all
    }

    /// What follows from the particles in a window, the largest displacement, and the largest that
    /// the windows of the first pass can tell, px.
    pub(crate) fn of_windows(particles: f64, largest_px: f64, range_px: f64) -> Vec<Caveat> {
        let mut all = Vec::new();
        if particles < FEWEST_PARTICLES {
            all.push(Caveat::FewParticles(particles));
        }
        if largest_px > range_px {
            all.push(Caveat::BeyondSearch(largest_px, range_px));
        }
        all
    }

    /// That a share of the pixels is saturated, where it matters.
    pub(crate) fn of_saturation(share: f64) -> Option<Caveat> {
        (share > MOST_SATURATED).then_some(Caveat::Saturated(share))
    }

    /// That all these true displacements, px, are the same whole numbers of pixels, or nearly.
    pub(crate) fn of_displacements(truths: &[[f64; 2]]) -> Option<Caveat> {
        let whole = truths.first()?.map(f64::round);
        let near = |truth: &[f64; 2]| (0..2).all(|k| (truth[k] - whole[k]).abs() <= NEARLY_WHOLE_PX);
        // At rest there is nothing between.
        (whole != [0.0; 2] && truths.iter().all(near)).then_some(Caveat::WholePixels(whole))
    }

    /// What the frames of some pairs say of themselves, each height × width.
    pub fn of_frames(pairs: &[[ArrayView2<f32>; 2]]) -> Vec<Caveat> {
        let flat = |frame: &ArrayView2<f32>| frame.iter().all(|v| Some(v) == frame.first());
        let mut all = Vec::new();
        if pairs.iter().any(|[a, b]| a == b) {
            all.push(Caveat::SameFrames);
        }
        if pairs.iter().flatten().any(flat) {
            all.push(Caveat::EmptyFrame);
        }
        all
    }

    /// What a measured field says of itself.
    pub fn of_field(field: &VectorField) -> Vec<Caveat> {
        let mut ratios: Vec<f64> = field.vectors.iter().map(|v| v.peak_ratio).collect();
        let count = field.vectors.len();
        let valid = field
            .vectors
            .iter()
            .filter(|v| v.status == VectorStatus::Valid)
            .count();
        let mut all = Vec::new();
        if valid == 0 {
            all.push(Caveat::NoVector);
        } else if 2 * valid < count {
            all.push(Caveat::MostlyOutliers(1.0 - valid as f64 / count as f64));
        }
        if valid > 0 {
            let ratio = median(&mut ratios);
            if ratio < LEAST_PEAK_RATIO {
                all.push(Caveat::LikeNoise(ratio));
            }
        }
        all
    }
}

/// Whether an interval has no end on one side, although there is a figure.
fn open(e: Estimate) -> bool {
    e.value.is_finite() && !(e.lo.is_finite() && e.hi.is_finite())
}

impl fmt::Display for Caveat {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Caveat::NoTruth => f.write_str("no answer: no window has a truth, all lie in a body or under the mask"),
            Caveat::NoVector => f.write_str("no answer: no vector is valid"),
            Caveat::MostlyOutliers(share) => {
                write!(f, "{:.0} % of the vectors are outliers; the error is that of the rest", 100.0 * share)
            }
            Caveat::TruthMissing(share) => {
                write!(f, "{:.0} % of the windows have no truth and do not count", 100.0 * share)
            }
            Caveat::OpenInterval => f.write_str("too few vectors or pairs: the interval is open"),
            Caveat::FewParticles(particles) => write!(f, "only {particles:.1} particles in a window"),
            Caveat::BeyondSearch(largest, range) => write!(
                f,
                "displacements to {largest:.1} px, beyond the {range} px that the first pass can tell"
            ),
            Caveat::Saturated(share) => write!(f, "{:.1} % of the pixels are saturated", 100.0 * share),
            Caveat::SameFrames => f.write_str("frame A and frame B are the same picture, bit by bit: the displacement is 0 whatever the flow"),
            Caveat::EmptyFrame => f.write_str("a frame has one grey level throughout: nothing can be measured in it"),
            Caveat::LikeNoise(ratio) => write!(
                f,
                "the highest correlation peak is only {ratio:.2} times the next in half of the windows, as in pictures without common particles: valid vectors may be chance"
            ),
            Caveat::WholePixels([x, y]) => write!(
                f,
                "every place moves by {x:.0} px along x and {y:.0} px along y, to a tenth of a pixel: displacements between whole pixels have larger errors, and a real flow has them (let it vary, as by a second [[flow]] of turbulence)"
            ),
        }
    }
}

#[cfg(test)]
mod tests;
