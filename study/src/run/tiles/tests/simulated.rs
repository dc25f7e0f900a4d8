//! Coverage of the intervals of a picture's figures that tiles give, on fields of errors whose
//! parts are known at every vector of the picture.

use motefield_evaluator::score::{ErrorSample, Errors, Score, Truths};
use motefield_evaluator::statistics::{Confidence, Estimate};
use motefield_generator::Flow;
use motefield_generator::flow::TurbulentLayer;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::*;

const SIZE: [usize; 2] = [2560, 2048];
const PAIRS: usize = 4;
const SEEDS: u64 = 1000;

/// Bias, what a place repeats, and scatter at a place, px, along x and y, from the gradient of the
/// flow there and the place over the picture.
type PartsOf = fn([[f64; 3]; 3], [f64; 2]) -> [[f64; 2]; 2];

/// Errors alike all over the picture; errors that follow the gradient of a turbulent flow, as those
/// of windows too large do; the same in a boundary layer, where few blocks have most of it; and
/// errors that come and go over the picture as nothing that is known of the flow does.
const FIELDS: [(&str, bool, PartsOf); 4] = [
    ("even", false, |_, [x, y]| {
        let fine = (900.0 * x).sin() * (700.0 * y).cos();
        [[0.002 + 0.01 * fine, 0.02], [0.01 * fine - 0.001, 0.02]]
    }),
    ("gradients", false, of_gradient),
    ("boundary layer", true, of_gradient),
    ("waves", false, |_, [x, y]| {
        let wave = (40.0 * x).sin() * (33.0 * y).cos();
        [[0.02 * wave, 0.02 + 0.01 * wave], [0.01 * wave, 0.02]]
    }),
];

fn of_gradient(g: [[f64; 3]; 3], [x, y]: [f64; 2]) -> [[f64; 2]; 2] {
    let steep = (g[0][0].powi(2) + g[0][1].powi(2) + g[1][0].powi(2) + g[1][1].powi(2)).sqrt();
    let scatter = 0.01 + 0.3 * steep;
    let fine = 0.003 * (900.0 * x).sin() * (700.0 * y).cos();
    [
        [0.003 + 0.3 * g[0][1] + fine, scatter],
        [0.3 * g[1][0] + fine, scatter],
    ]
}

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    let (u, v): (f64, f64) = (1.0 - rng.random::<f64>(), rng.random());
    (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}

/// Bias, local bias, random and total error of both components, and total error of the vector.
fn parts_of(all: &[[[f64; 2]; 2]]) -> [f64; 9] {
    let n = all.len() as f64;
    let mean = |of: &dyn Fn(&[[f64; 2]; 2]) -> f64| all.iter().map(of).sum::<f64>() / n;
    let mut found = [0.0; 9];
    for c in 0..2 {
        let bias = mean(&|at| at[c][0]);
        let local = mean(&|at| (at[c][0] - bias).powi(2));
        let random = mean(&|at| at[c][1].powi(2));
        let squares = [local, random, bias * bias + local + random];
        found[4 * c] = bias;
        (0..3).for_each(|k| found[4 * c + 1 + k] = squares[k].sqrt());
    }
    found[8] = found[3].hypot(found[7]);
    found
}

fn estimates(score: &Score) -> [Estimate; 9] {
    let [x, y] = score.point.map(|c| {
        let local = c.local_px.expect("repeated pairs");
        [c.bias_px, local, c.random_px, c.total_px]
    });
    [x[0], x[1], x[2], x[3], y[0], y[1], y[2], y[3], score.total_px]
}

/// Errors of one pair: windows that overlap by half share a quarter of their noise with each
/// neighbour.
fn pair(tiling: &Tiling, known: &[Option<[[f64; 2]; 2]>], rng: &mut ChaCha8Rng) -> Errors {
    let wide = tiling.columns + 1;
    let high = tiling.rows * tiling.blocks.len() + 1;
    let mut noise = || -> Vec<f64> { (0..wide * high).map(|_| normal(rng)).collect() };
    let both = [noise(), noise()];
    let smooth = |c: usize, k: usize| {
        let (x, y) = (k % tiling.columns, k / tiling.columns);
        let at = |i: usize, j: usize| both[c][(y + j) * wide + x + i];
        0.5 * (at(0, 0) + at(1, 0) + at(0, 1) + at(1, 1))
    };
    let one = |(k, known): (usize, &Option<[[f64; 2]; 2]>)| match known {
        Some(parts) => [0, 1].map(|c| parts[c][0] + parts[c][1] * smooth(c, k)),
        None => [f64::NAN; 2],
    };
    let point_px: Vec<[f64; 2]> = known.iter().enumerate().map(one).collect();
    Errors {
        detected: vec![true; point_px.len()],
        window_px: point_px.clone(),
        point_px,
    }
}

/// Of how many seeds the interval of each part holds the truth.
fn covered(parts: PartsOf, scene: &Scene, processing: &Processing) -> [u64; 9] {
    let last = processing.passes.last().unwrap();
    let whole = Grid::new(SIZE[0], SIZE[1], last.window, last.overlap);
    let at = |[x, y]: [f64; 2]| {
        let gradient = scene.flow.gradient([x, y, 0.0], 0.0);
        parts(gradient, [x / SIZE[0] as f64, y / SIZE[1] as f64])
    };
    let centre = |k: usize| whole.centre(k % whole.columns, k / whole.columns);
    let everywhere: Vec<[[f64; 2]; 2]> = (0..whole.len()).map(|k| at(centre(k))).collect();
    let truth = parts_of(&everywhere);
    let divided = Divided::of(scene, processing).unwrap();
    let mut held = [0; 9];
    for seed in 0..SEEDS {
        let tiling = divided.choose(processing, seed);
        let mut known = vec![None; tiling.len()];
        for (t, [i, j], place) in tiling.places() {
            known[place] = Some(at(tiling.blocks[t].grid.centre(i, j)));
        }
        let mut rng = ChaCha8Rng::seed_from_u64(1000 + seed);
        let errors: Vec<Errors> = (0..PAIRS).map(|_| pair(&tiling, &known, &mut rng)).collect();
        let counts: Vec<bool> = known.iter().map(Option::is_some).collect();
        let score = ErrorSample {
            columns: tiling.columns,
            reach: tiling.reach,
            pairs: &errors,
            truths: Truths::Repeat,
            part: Some(&counts),
            confidence: Confidence::USUAL,
        }
        .score_of_tiles(&tiling.tiles);
        for (k, found) in estimates(&score).iter().enumerate() {
            held[k] += u64::from(found.lo <= truth[k] && truth[k] <= found.hi);
        }
    }
    held
}

/// 95 % intervals hold the truth in 91 to 98 % of the seeds, those of every part. (A thousand of
/// them: of 200 the share is itself only known to 3 %.)
#[test]
fn intervals_hold_the_figures_of_the_whole_picture() {
    let flows: [Arc<dyn Flow>; 2] = [
        Arc::clone(&turbulent(SIZE).flow),
        Arc::new(TurbulentLayer::new(2040.0, 10.0, 0.4, 900.0)),
    ];
    let processing = Processing {
        passes: vec![Pass::square(64, 0.5), Pass::square(32, 0.5)],
        ..Processing::default()
    };
    for (name, wall, parts) in FIELDS {
        let scene = Scene {
            size: SIZE,
            flow: Arc::clone(&flows[usize::from(wall)]),
            ..Scene::default()
        };
        let held = covered(parts, &scene, &processing);
        let shares = held.map(|n| 100.0 * n as f64 / SEEDS as f64);
        println!("{name}: {shares:?}");
        let within = shares.iter().all(|share| (91.0..=98.0).contains(share));
        assert!(within, "{name}: {shares:?}");
    }
}
