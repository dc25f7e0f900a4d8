//! Strata of blocks that are alike in what errors depend on.
//!
//! Of every block the square of the speed, that of the velocity gradient, the light of the
//! particles and the light without them are known from the scene, each over its mean over the
//! picture, so that they do not change with the separation, the pulse length or the light of a
//! study's settings; and the place in the picture, which counts for what is not known. (Squares, as
//! squared errors follow them.)
//!
//! With as many blocks of each stratum the variance of a mean over the picture is proportional to
//! Σ Nₕ² sₕ², sₕ² being the variance of what is averaged between the Nₕ blocks of a stratum. With
//! the sum of the variances of all that is known for sₕ², blocks are divided where that falls most,
//! again and again, until there are enough strata: few blocks are in a stratum where much differs,
//! as at a wall, and many where little does.

use motefield_generator::Scene;

use super::EACH;
use super::layout::TileLayout;

/// What is known of a block: squares of speed and of gradient, light of particles, light without
/// them, and place along x and y.
type Features = [f64; 6];

/// Points along each side of a block at which the scene is looked at.
const POINTS: usize = 3;
/// Weight of the place, which runs from 0 to 1 over the picture.
const OF_PLACE: f64 = 0.2;
/// Mean squares below which there is no speed and no gradient, px² and px² per px²: the ends of a
/// hundred pixels would move by less than a hundredth of a pixel.
const STILL: [f64; 2] = [1e-8, 1e-8];
/// Light below which there is none, over that in the middle, and e.
const DARK: f64 = 1e-6;

/// So many strata of these blocks.
pub(super) fn of(
    scene: &Scene,
    layout: &TileLayout,
    blocks: &[[usize; 2]],
    strata: usize,
) -> Vec<Vec<[usize; 2]>> {
    let mut features: Vec<Features> = blocks
        .iter()
        .map(|block| features(scene, layout, *block))
        .collect();
    for (k, least) in [STILL[0], STILL[1], DARK, DARK].into_iter().enumerate() {
        let mean = features.iter().map(|f| f[k]).sum::<f64>() / features.len() as f64;
        features
            .iter_mut()
            .for_each(|f| f[k] = if mean > least { f[k] / mean } else { 0.0 });
    }
    divided(&features, strata)
        .into_iter()
        .map(|stratum| stratum.into_iter().map(|n| blocks[n]).collect())
        .collect()
}

/// Numbers of the features in each of so many strata, or of fewer where there are too few.
pub(super) fn divided(features: &[Features], strata: usize) -> Vec<Vec<usize>> {
    let mut all: Vec<Vec<usize>> = vec![(0..features.len()).collect()];
    let mut cuts: Vec<Option<Cut>> = vec![Cut::best(features, &all[0])];
    while all.len() < strata {
        let gain = |h: &usize| cuts[*h].as_ref().map_or(f64::NEG_INFINITY, |cut| cut.gain);
        let most = (0..all.len()).max_by(|a, b| gain(a).total_cmp(&gain(b)));
        let Some((h, cut)) = most.and_then(|h| Some((h, cuts[h].take()?))) else {
            break;
        };
        all[h] = cut.parts[0].clone();
        all.push(cut.parts[1].clone());
        cuts[h] = Cut::best(features, &all[h]);
        cuts.push(Cut::best(features, &all[all.len() - 1]));
    }
    all
}

/// A stratum divided.
struct Cut {
    parts: [Vec<usize>; 2],
    /// By how much N² s² falls.
    gain: f64,
}

impl Cut {
    /// The best division of a stratum by one of the features; `None` where it is too small.
    fn best(features: &[Features], stratum: &[usize]) -> Option<Cut> {
        let one = |k: usize| {
            let mut sorted = stratum.to_vec();
            sorted.sort_by(|a, b| features[*a][k].total_cmp(&features[*b][k]).then(a.cmp(b)));
            let below = weighed(features, sorted.iter());
            let above = weighed(features, sorted.iter().rev());
            let all = *below.last()?;
            let last = sorted.len().checked_sub(EACH)?;
            let left = |n: &usize| below[*n - 1] + above[sorted.len() - *n - 1];
            let n = (EACH..=last).min_by(|a, b| left(a).total_cmp(&left(b)))?;
            let gain = all - left(&n);
            let upper = sorted.split_off(n);
            Some(Cut {
                parts: [sorted, upper],
                gain,
            })
        };
        let cuts = (0..features[0].len()).filter_map(one);
        cuts.max_by(|a, b| a.gain.total_cmp(&b.gain))
    }
}

/// N² s² of the first block, of the first two, and so on.
fn weighed<'a>(features: &[Features], blocks: impl Iterator<Item = &'a usize>) -> Vec<f64> {
    let mut sums = [[0.0; 2]; 6];
    let mut n = 0.0;
    let mut one = |block: &usize| {
        n += 1.0;
        let of = |sums: &mut [f64; 2], f: f64| {
            *sums = [sums[0] + f, sums[1] + f * f];
            n * sums[1] - sums[0] * sums[0]
        };
        let all = sums.iter_mut().zip(&features[*block]);
        all.map(|(sums, f)| of(sums, *f).max(0.0)).sum()
    };
    blocks.map(&mut one).collect()
}

fn features(scene: &Scene, layout: &TileLayout, block: [usize; 2]) -> Features {
    let grid = layout.grid(block);
    let first = grid.corner(0, 0);
    let last = grid.corner(grid.columns - 1, grid.rows - 1);
    let place = |k: usize, n: usize| {
        let share = (2 * n + 1) as f64 / (2 * POINTS) as f64;
        first[k] as f64 + share * (last[k] + grid.window[k] - first[k]) as f64
    };
    let mut sums = [0.0; 4];
    for n in 0..POINTS * POINTS {
        let [x, y] = [place(0, n % POINTS), place(1, n / POINTS)];
        let at = [x, y, 0.0];
        let [u, v, _] = scene.flow.velocity(at, 0.0);
        let gradient = scene.flow.gradient(at, 0.0);
        let steep: f64 = gradient[..2]
            .iter()
            .flat_map(|row| &row[..2])
            .map(|g| g * g)
            .sum();
        let found = [
            u * u + v * v,
            steep,
            scene.particle_light(x, y),
            scene.steady_light_e(x as usize, y as usize),
        ];
        (0..4).for_each(|k| sums[k] += found[k] / (POINTS * POINTS) as f64);
    }
    let at = |k: usize| OF_PLACE * place(k, POINTS / 2) / scene.size[k] as f64;
    [sums[0], sums[1], sums[2], sums[3], at(0), at(1)]
}
