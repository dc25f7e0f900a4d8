//! In which convention vectors are written, and which mistake in it explains a large error.
//!
//! Processing chains differ in where the first pixel lies, which way y runs, in units, and in the
//! order of rows and columns. [`Convention`] takes vectors as written to those of this library: px,
//! the centre of the upper-left pixel at (0, 0), y down, displacements from frame A to frame B.
//! [`diagnose`] tries the usual mistakes against the truth and names the one that explains the
//! error.
//!
//! # How a mistake is told from chance
//! With the mistake corrected, the mean square error must fall below [`EXPLAINS`] of what it was. A
//! mistake that adds more than three times the random error leaves less than a tenth, so there is
//! room for its own uncertainty; and no correction of data that are right takes away random errors,
//! which know nothing of it: of N vectors, fitting p numbers takes away p / 2N of their squares.
//! Real outliers have no part in it, as long as they are fewer than half: errors count up to
//! [`FAR`] standard deviations of those that the correction leaves, and what lies beyond with the
//! correction is taken off both sides.
//!
//! Corrections whose errors differ by chance only (paired over the vectors) are one class: the data
//! cannot tell them apart.

mod mistake;
mod search;

pub use mistake::Mistake;

/// Share of the mean square error that may be left by a mistake that explains it.
pub const EXPLAINS: f64 = 0.4;
/// Standard deviations beyond which an error counts as so many: seven, beyond all normal errors
/// (Rayleigh's law), and far enough that a mistake which shows at one place in ten is seen.
pub const FAR: f64 = 7.0;
/// Standard errors by which a correction must lessen the mean square.
const SURE: f64 = 3.0;
/// Fewest vectors by which a mistake is told.
pub const FEWEST: usize = 12;
/// Error that needs no explanation, px: what rounding in files and interpolation of the truth make.
pub const NEGLIGIBLE_PX: f64 = 1e-3;
/// By how much a correction may raise the median error: it magnifies the noise where displacements
/// were written too small, which shows where the flow is at rest.
const MOST_WORSE: f64 = 3.0;
/// Paired differences up to so many standard errors are chance.
const ALIKE: f64 = 4.0;
/// Vectors that are looked at, at most, evenly over all.
const LOOKED_AT: usize = 1500;

/// In which order the displacements stand beside the positions of a grid.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Order {
    /// Each beside its own position.
    #[default]
    AsWritten,
    /// Column by column, while the positions run row by row (or the other way round).
    Columns,
    /// The last row first.
    LastRowFirst,
}

/// Which moment positions belong to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Moment {
    /// Midway between both frames.
    #[default]
    Middle,
    /// Frame A.
    Start,
    /// Frame B.
    End,
}

/// A convention in which vectors are written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Convention {
    /// Order of the displacements.
    pub order: Order,
    /// Whether x and y are exchanged, of positions and of displacements.
    pub exchanged: [bool; 2],
    /// Length of a position's unit, px.
    pub position_px: f64,
    /// Where the centre of the first pixel lies, px, in the direction of the file's axes.
    pub origin_px: [f64; 2],
    /// Whether y runs up, of positions and of displacements.
    pub up: [bool; 2],
    /// Length of a displacement's unit, px; negative from frame B to frame A.
    pub displacement_px: f64,
    /// Which moment the positions belong to.
    pub moment: Moment,
}

impl Default for Convention {
    fn default() -> Self {
        Convention {
            order: Order::AsWritten,
            exchanged: [false; 2],
            position_px: 1.0,
            origin_px: [0.0; 2],
            up: [false; 2],
            displacement_px: 1.0,
            moment: Moment::Middle,
        }
    }
}

/// Vectors at places anywhere in a picture; displacements are `NaN` where there is none.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlacedVectors {
    /// Where they stand (x, y).
    pub at: Vec<[f64; 2]>,
    /// Displacements (dx, dy).
    pub moved: Vec<[f64; 2]>,
}

impl Convention {
    /// Vectors as written, in px and by the conventions of this library, for pictures
    /// `height_px` high. Another [`Order`] than as written is kept where the positions are no whole
    /// grid in rows or columns.
    ///
    /// ```
    /// use motefield_evaluator::conventions::{Convention, PlacedVectors};
    ///
    /// // Origin at the lower left corner of the picture, y up, in units of 2 px.
    /// let convention = Convention {
    ///     up: [true, true],
    ///     origin_px: [0.5, 0.5],
    ///     position_px: 2.0,
    ///     ..Convention::default()
    /// };
    /// let written = PlacedVectors { at: vec![[4.25, 0.25]], moved: vec![[3.0, 1.0]] };
    /// let read = convention.read(&written, 100);
    /// assert_eq!((read.at[0], read.moved[0]), ([8.0, 99.0], [3.0, -1.0]));
    /// ```
    pub fn read(&self, written: &PlacedVectors, height_px: usize) -> PlacedVectors {
        let exchange = |yes: bool, [x, y]: [f64; 2]| if yes { [y, x] } else { [x, y] };
        let place = |at: &[f64; 2]| {
            let [x, y] = exchange(self.exchanged[0], *at);
            let x = x * self.position_px - self.origin_px[0];
            let y = y * self.position_px - self.origin_px[1];
            [x, if self.up[0] { height_px as f64 - 1.0 - y } else { y }]
        };
        let displacement = |moved: &[f64; 2]| {
            let [dx, dy] = exchange(self.exchanged[1], *moved).map(|d| d * self.displacement_px);
            [dx, if self.up[1] { -dy } else { dy }]
        };
        let mut read = PlacedVectors {
            at: written.at.iter().map(place).collect(),
            moved: written.moved.iter().map(displacement).collect(),
        };
        if let Some(from) = reordered(self.order, &written.at) {
            read.moved = from.into_iter().map(|k| read.moved[k]).collect();
        }
        let share = match self.moment {
            Moment::Middle => return read,
            Moment::Start => 0.5,
            Moment::End => -0.5,
        };
        let known = |moved: &[f64; 2]| moved.iter().all(|d| d.is_finite());
        for (at, moved) in read
            .at
            .iter_mut()
            .zip(&read.moved)
            .filter(|(_, moved)| known(moved))
        {
            *at = [0, 1].map(|c| at[c] + share * moved[c]);
        }
        read
    }
}

/// From which place in the file each position takes its displacement; `None` where it is its own,
/// or the positions are no whole grid.
fn reordered(order: Order, at: &[[f64; 2]]) -> Option<Vec<usize>> {
    let (inner, outer) = runs(at)?;
    let from = |k: usize| match order {
        Order::AsWritten => k,
        Order::Columns => k % inner * outer + k / inner,
        // In a file by columns, the rows run within each.
        Order::LastRowFirst if at[0][1] == at[1][1] => (outer - 1 - k / inner) * inner + k % inner,
        Order::LastRowFirst => k / inner * inner + (inner - 1 - k % inner),
    };
    (order != Order::AsWritten).then(|| (0..at.len()).map(from).collect())
}

/// Positions in a row (or column) and number of these, where they are a whole grid.
fn runs(at: &[[f64; 2]]) -> Option<(usize, usize)> {
    let first = at.first()?;
    let constant = [0, 1]
        .into_iter()
        .find(|&c| at.get(1).is_some_and(|next| next[c] == first[c]))?;
    let inner = at.iter().take_while(|p| p[constant] == first[constant]).count();
    let whole = at.len().is_multiple_of(inner) && inner > 1 && at.len() > inner;
    let stands = |(k, p): (usize, &[f64; 2])| {
        p[1 - constant] == at[k % inner][1 - constant] && p[constant] == at[k / inner * inner][constant]
    };
    (whole && at.iter().enumerate().all(stands)).then(|| (inner, at.len() / inner))
}

/// The true displacements (dx, dy), px, at places (x, y), px; `NaN` where there is none.
pub type TruthAt<'a> = dyn Fn(&[[f64; 2]]) -> Vec<[f64; 2]> + 'a;

/// What is said to be measured, and what is true.
#[derive(Clone, Copy)]
pub struct Claim<'a> {
    /// The vectors as they are understood, px, in the order of their file.
    pub vectors: &'a PlacedVectors,
    /// Width and height of the picture, px.
    pub size_px: [usize; 2],
    /// The true displacement; beyond the picture it is not asked for.
    pub truth: &'a TruthAt<'a>,
    /// Those of other pairs, with which this one may have been confused.
    pub others: &'a [&'a TruthAt<'a>],
}

/// A mistake that explains an error.
#[derive(Debug, Clone, PartialEq)]
pub struct Explanation {
    /// The mistake: of those that the data cannot tell apart, the most usual.
    pub mistake: Mistake,
    /// Others that explain as much: the data cannot tell them from the first.
    pub alike: Vec<Mistake>,
    /// Share of the mean square error that it explains, outliers apart.
    pub share: f64,
    /// Root mean square length of the error vector as it is, outliers apart, px.
    pub error_px: f64,
    /// What is left of it with the mistake put right, px.
    pub left_px: f64,
}

/// A correction that was tried.
struct TriedMistake {
    mistake: Mistake,
    /// Errors of the vectors looked at, px; `NaN` where the corrected place has no truth.
    errors: Vec<[f64; 2]>,
    verdict: MistakeVerdict,
}

/// What a correction makes of the error.
#[derive(Clone, Copy)]
struct MistakeVerdict {
    /// Mean squares by which it is decided: far errors count no more than those at the limit.
    before2: f64,
    after2: f64,
    /// Mean square of the error as it is, without that limit.
    error2: f64,
    /// Standard deviation of a component of the corrected errors by their median, px.
    scatter: f64,
}

/// Finds the mistake that explains the error of vectors; `None` where none does, or the error is
/// negligible. Mistakes with continuous parameters (units, shifts) are searched for within what
/// keeps the vectors inside the picture.
pub fn diagnose(claim: &Claim) -> Option<Explanation> {
    let looked = Looked::of(claim)?;
    let before = looked.errors(claim, &Convention::default(), claim.truth);
    let mut tried: Vec<TriedMistake> = Vec::new();
    for (mistake, correction) in candidates(claim, &looked) {
        let truth = match mistake {
            Mistake::OtherPair(k) => claim.others[k],
            _ => claim.truth,
        };
        let errors = looked.errors(claim, &correction, truth);
        tried.extend(judge(&before, errors, mistake));
    }
    tried.extend(whole_pixels(claim, &looked, &before));
    let scatter = tried
        .iter()
        .map(|t| t.verdict.scatter)
        .fold(f64::INFINITY, f64::min);
    let most2 = (FAR * scatter).powi(2).max(NEGLIGIBLE_PX.powi(2));
    let costs = |t: &TriedMistake| -> Vec<f64> {
        let cost = |e: &[f64; 2]| square(e).min(most2);
        t.errors
            .iter()
            .map(|e| if e[0].is_nan() { most2 } else { cost(e) })
            .collect()
    };
    let all: Vec<Vec<f64>> = tried.iter().map(costs).collect();
    let sum = |k: &usize| all[*k].iter().sum::<f64>();
    let best = (0..tried.len()).min_by(|a, b| sum(a).total_cmp(&sum(b)))?;
    let mut alike = (0..tried.len()).filter(|&k| k == best || is_alike(&all[k], &all[best]));
    let first = alike.next()?;
    let MistakeVerdict { error2, after2, .. } = tried[first].verdict;
    Some(Explanation {
        mistake: tried[first].mistake,
        alike: alike.map(|k| tried[k].mistake).collect(),
        share: 1.0 - after2 / error2,
        error_px: error2.sqrt(),
        left_px: after2.sqrt(),
    })
}

/// Every correction worth trying, the most usual mistakes first.
fn candidates(claim: &Claim, looked: &Looked) -> Vec<(Mistake, Convention)> {
    let mut all: Vec<(Mistake, Convention)> = Vec::new();
    let fixed = Mistake::fixed().into_iter();
    all.extend(fixed.map(|mistake| (mistake, mistake.correction())));
    all.extend((0..claim.others.len()).map(|k| (Mistake::OtherPair(k), Convention::default())));
    let searched = [
        search::displacement_unit(claim, looked),
        search::index(claim, looked),
        search::units(claim, looked),
        search::shift(claim, looked),
    ];
    let searched = searched.into_iter().flatten();
    all.extend(searched.map(|mistake| (mistake, mistake.correction())));
    // Displacements in another order need a grid to be in order.
    let grid = runs(&claim.vectors.at).is_some();
    all.retain(|(_, correction)| grid || correction.order == Order::AsWritten);
    all
}

/// The correction with its errors, if it explains what was `before`.
fn judge(before: &[[f64; 2]], errors: Vec<[f64; 2]>, mistake: Mistake) -> Option<TriedMistake> {
    let verdict = compare(before, &errors)?;
    let explains = verdict.before2 > NEGLIGIBLE_PX.powi(2) && verdict.after2 < EXPLAINS * verdict.before2;
    explains.then_some(TriedMistake {
        mistake,
        errors,
        verdict,
    })
}

/// Mean squares of both, with real outliers out of both: each error counts up to [`FAR`] standard
/// deviations, and what the vectors beyond them with the correction make is taken off both.
fn compare(before: &[[f64; 2]], after: &[[f64; 2]]) -> Option<MistakeVerdict> {
    let was = scatter(before);
    let scatter = scatter(after)?;
    // What makes most vectors far worse, and only some outliers smaller, puts nothing right.
    if was.is_some_and(|was| scatter > MOST_WORSE * was) {
        return None;
    }
    let most2 = (FAR * scatter).powi(2).max(1e-18);
    let near: Vec<&[f64; 2]> = after.iter().filter(|e| square(e) <= most2).collect();
    let (n, count) = (after.len() as f64, near.len() as f64);
    if count < 0.5 * n || near.len() < FEWEST {
        return None;
    }
    let differences = before.iter().zip(after).map(|(b, a)| {
        let after2 = square(a);
        square(b).min(most2) - if after2 <= most2 { after2 } else { most2 }
    });
    let differences: Vec<f64> = differences.collect();
    let mean = differences.iter().sum::<f64>() / n;
    let variance = differences.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / (n - 1.0);
    let after2 = near.iter().map(|e| square(e)).sum::<f64>() / count;
    // A place beyond the picture has no error: it counts as one at the limit.
    let whole = before.iter().zip(after).filter(|(_, a)| square(a) <= most2);
    let whole = whole.map(|(b, _)| if b[0].is_nan() { most2 } else { square(b) });
    let error2 = whole.sum::<f64>() / count;
    let above_chance = mean > SURE * (variance / n).sqrt();
    above_chance.then(|| MistakeVerdict {
        before2: after2 + mean * n / count,
        after2,
        error2,
        scatter,
    })
}

/// Standard deviation of a component by the median length, which is 1.1774 of it (Rayleigh's law).
fn scatter(errors: &[[f64; 2]]) -> Option<f64> {
    // What has no truth is farther than all that have.
    let mut lengths: Vec<f64> = errors
        .iter()
        .map(square)
        .map(|s| if s.is_nan() { f64::INFINITY } else { s })
        .collect();
    let middle = lengths.len() / 2;
    let (_, median, _) = lengths.select_nth_unstable_by(middle, f64::total_cmp);
    median
        .is_finite()
        .then(|| median.sqrt() / (2.0 * 2f64.ln()).sqrt())
}

fn square([x, y]: &[f64; 2]) -> f64 {
    x * x + y * y
}

/// Whether costs exceed others, vector by vector, by chance only.
fn is_alike(costs: &[f64], best: &[f64]) -> bool {
    let n = costs.len() as f64;
    let differences = || costs.iter().zip(best).map(|(a, b)| a - b);
    let mean = differences().sum::<f64>() / n;
    let variance = differences().map(|d| (d - mean).powi(2)).sum::<f64>() / (n - 1.0);
    mean <= ALIKE * (variance / n).sqrt() && mean <= best.iter().sum::<f64>() / n + NEGLIGIBLE_PX.powi(2)
}

/// Whether the displacements are whole numbers and their rounding is most of the error.
fn whole_pixels(claim: &Claim, looked: &Looked, before: &[[f64; 2]]) -> Option<TriedMistake> {
    let moved: Vec<[f64; 2]> = looked.vectors.iter().map(|&k| claim.vectors.moved[k]).collect();
    let whole = moved
        .iter()
        .filter(|m| m.iter().all(|d| d.fract() == 0.0))
        .count();
    if (whole as f64) < 0.98 * moved.len() as f64 {
        return None;
    }
    // What is more than the rounding off, by far, is no rounded truth.
    let rounding: Vec<[f64; 2]> = moved
        .iter()
        .zip(before)
        .map(|(m, e)| [0, 1].map(|c| m[c] - e[c]))
        .map(|t| t.map(|d| d.round() - d))
        .collect();
    let near = || before.iter().zip(&rounding).filter(|(e, _)| square(e) < 2.25);
    let count = near().count();
    let (all, rounded) = near().fold((0.0, 0.0), |(b, r), (error, rounding)| {
        (b + square(error), r + square(rounding))
    });
    let [before2, rounded2] = [all, rounded].map(|sum| sum / count as f64);
    let after2 = (before2 - rounded2).max(0.0);
    let explains =
        2 * count >= before.len() && before2 > NEGLIGIBLE_PX.powi(2) && after2 < EXPLAINS * before2;
    let left = (0.5 * after2).sqrt();
    explains.then(|| TriedMistake {
        mistake: Mistake::WholePixels,
        errors: vec![[left, left]; before.len()],
        verdict: MistakeVerdict {
            before2,
            after2,
            error2: before2,
            scatter: left.max(NEGLIGIBLE_PX),
        },
    })
}

/// The vectors that are looked at: with a displacement, and evenly over all.
struct Looked {
    vectors: Vec<usize>,
}

impl Looked {
    fn of(claim: &Claim) -> Option<Looked> {
        let finite = |k: &usize| {
            let numbers = [claim.vectors.at[*k], claim.vectors.moved[*k]];
            numbers.iter().flatten().all(|v| v.is_finite())
        };
        let all: Vec<usize> = (0..claim.vectors.at.len()).filter(finite).collect();
        let vectors = every(&all, LOOKED_AT);
        (vectors.len() >= FEWEST).then_some(Looked { vectors })
    }

    /// Measured minus true with a correction; of places beyond the picture, where the truth is
    /// taken as no motion, the whole displacement without a correction, and none with one.
    fn errors(&self, claim: &Claim, correction: &Convention, truth: &TruthAt) -> Vec<[f64; 2]> {
        let corrected = if correction.order == Order::AsWritten {
            let some = |all: &[[f64; 2]]| self.vectors.iter().map(|&k| all[k]).collect();
            let some = PlacedVectors {
                at: some(&claim.vectors.at),
                moved: some(&claim.vectors.moved),
            };
            correction.read(&some, claim.size_px[1])
        } else {
            let all = correction.read(claim.vectors, claim.size_px[1]);
            let some = |all: &[[f64; 2]]| self.vectors.iter().map(|&k| all[k]).collect();
            PlacedVectors {
                at: some(&all.at),
                moved: some(&all.moved),
            }
        };
        let beyond = match *correction == Convention::default() {
            true => [0.0; 2],
            false => [f64::NAN; 2],
        };
        let true_px = inside(claim, truth, &corrected.at, beyond);
        let pairs = corrected.moved.iter().zip(&true_px);
        pairs.map(|(m, t)| [m[0] - t[0], m[1] - t[1]]).collect()
    }
}

/// The truth at places, and `beyond` outside the picture.
fn inside(claim: &Claim, truth: &TruthAt, at: &[[f64; 2]], beyond: [f64; 2]) -> Vec<[f64; 2]> {
    let holds = |p: &[f64; 2]| (0..2).all(|c| p[c] >= -0.5 && p[c] <= claim.size_px[c] as f64 - 0.5);
    let within: Vec<[f64; 2]> = at.iter().copied().filter(holds).collect();
    let mut found = truth(&within).into_iter();
    at.iter()
        .map(|p| {
            if holds(p) {
                found.next().unwrap_or(beyond)
            } else {
                beyond
            }
        })
        .collect()
}

/// At most so many of all, evenly.
fn every(all: &[usize], most: usize) -> Vec<usize> {
    let count = all.len().min(most);
    (0..count).map(|k| all[k * all.len() / count]).collect()
}
