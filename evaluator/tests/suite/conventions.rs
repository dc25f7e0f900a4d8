//! Mistakes in the convention of vectors. Chain of evidence: a flow in closed form → vectors of it
//! on a grid with normal noise and outliers → the same written with each mistake, by formulas of
//! their own → the mistake that is named, its numbers, and what is left of the error.
//!
//! What is asked for: no alarm in 3,000 random scenes whose data are right, and each mistake found
//! in 95 % of the scenes in which it adds more than three times the random error. All scenes are
//! invented.

use motefield_evaluator::conventions::{Claim, Explanation, Mistake, PlacedVectors, diagnose};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

/// A uniform motion, a gradient, and eddies with a Gaussian core.
struct Flow {
    mean: [f64; 2],
    gradient: [[f64; 2]; 2],
    eddies: Vec<([f64; 2], f64, f64)>,
    middle: [f64; 2],
}

impl Flow {
    fn random(random: &mut ChaCha8Rng, size: [usize; 2]) -> Flow {
        let side = size[0].min(size[1]) as f64;
        let strain = random.random_range(0.0..4.0) / side;
        let one = |random: &mut ChaCha8Rng| random.random_range(-1.0..1.0);
        let mean = random.random_range(0.0..8.0);
        Flow {
            mean: [mean * one(random), mean * one(random)],
            gradient: std::array::from_fn(|_| std::array::from_fn(|_| strain * one(random))),
            eddies: (0..random.random_range(1..4))
                .map(|_| {
                    let at = [0, 1].map(|c| random.random_range(0.1..0.9) * size[c] as f64);
                    (at, random.random_range(0.1..0.3) * side, 8.0 * one(random))
                })
                .collect(),
            middle: size.map(|s| 0.5 * s as f64),
        }
    }

    fn at(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let from = [x - self.middle[0], y - self.middle[1]];
        let mut d =
            [0, 1].map(|c| self.mean[c] + self.gradient[c][0] * from[0] + self.gradient[c][1] * from[1]);
        for (at, radius, peak) in &self.eddies {
            let [rx, ry] = [(x - at[0]) / radius, (y - at[1]) / radius];
            let turn = peak * (-0.5 * (rx * rx + ry * ry - 1.0)).exp();
            d = [d[0] - turn * ry, d[1] + turn * rx];
        }
        d
    }
}

struct Scene {
    size: [usize; 2],
    flow: Flow,
    other: Flow,
    columns: usize,
    rows: usize,
    noise: f64,
    /// Window corners lie so far before their centres, px.
    half_window: f64,
    outliers: f64,
    right: PlacedVectors,
}

impl Scene {
    fn random(number: u64) -> Scene {
        let mut random = ChaCha8Rng::seed_from_u64(number);
        let size = [0, 1].map(|_| random.random_range(128..640_usize));
        let flow = Flow::random(&mut random, size);
        let other = Flow::random(&mut random, size);
        let step = [8, 12, 16, 24][random.random_range(0..4_usize)] as f64;
        let side = step * [1.0, 2.0, 4.0][random.random_range(0..3_usize)];
        let side = side.min(64.0);
        let count = size.map(|s| ((s as f64 - side) / step) as usize + 1);
        let first = [0, 1].map(|c| {
            let spare = size[c] as f64 - side - (count[c] - 1) as f64 * step;
            (0.5 * spare).floor() + 0.5 * (side - 1.0)
        });
        let noise = 10f64.powf(random.random_range(-2.5..-0.5));
        let outliers = random.random_range(0.0..0.2);
        let mut right = PlacedVectors::default();
        let normal = Normal::new(0.0, noise).unwrap();
        for k in 0..count[0] * count[1] {
            let at = [
                first[0] + (k % count[0]) as f64 * step,
                first[1] + (k / count[0]) as f64 * step,
            ];
            let d = flow.at(at);
            right.at.push(at);
            right.moved.push(match random.random_bool(outliers) {
                true if random.random_bool(0.3) => [f64::NAN; 2],
                true => [0, 1].map(|_| random.random_range(-16.0..16.0)),
                false => d.map(|d| d + normal.sample(&mut random)),
            });
        }
        Scene {
            size,
            flow,
            other,
            columns: count[0],
            rows: count[1],
            noise,
            half_window: 0.5 * (side - 1.0),
            outliers,
            right,
        }
    }

    fn diagnose(&self, vectors: &PlacedVectors) -> Option<Explanation> {
        let truth = |at: &[[f64; 2]]| at.iter().map(|p| self.flow.at(*p)).collect();
        let other = |at: &[[f64; 2]]| at.iter().map(|p| self.other.at(*p)).collect();
        diagnose(&Claim {
            vectors,
            size_px: self.size,
            truth: &truth,
            others: &[&other],
        })
    }

    /// Root mean square error that a mistake makes of exact vectors, px; a place beyond the picture
    /// has no truth, and all its motion is error.
    fn added(&self, wrong: &dyn Fn(&Scene, &PlacedVectors) -> PlacedVectors) -> f64 {
        let moved = self.right.at.iter().map(|p| self.flow.at(*p)).collect();
        let exact = PlacedVectors {
            at: self.right.at.clone(),
            moved,
        };
        let written = wrong(self, &exact);
        let square = |(at, moved): (&[f64; 2], &[f64; 2])| {
            let beyond = (0..2).any(|c| at[c] < -0.5 || at[c] > self.size[c] as f64 - 0.5);
            let t = if beyond { [0.0; 2] } else { self.flow.at(*at) };
            (moved[0] - t[0]).powi(2) + (moved[1] - t[1]).powi(2)
        };
        let all = written.at.iter().zip(&written.moved).map(square);
        (all.sum::<f64>() / exact.at.len() as f64).sqrt()
    }
}

/// No mistake is named where there is none, whatever noise and outliers do.
#[test]
#[ignore = "slow: .ci/run takes it"]
fn right_data_raise_no_alarm() {
    // The last: halving all displacements made a few outliers smaller, and all other errors larger.
    let alarms: Vec<_> = (0..3000)
        .chain([7_000_612])
        .filter_map(|number| {
            let scene = Scene::random(number);
            Some((number, scene.diagnose(&scene.right)?))
        })
        .collect();
    assert!(
        alarms.is_empty(),
        "{} alarms, the first: {:?}",
        alarms.len(),
        alarms[0]
    );
}

type Wrong = fn(&Scene, &PlacedVectors) -> PlacedVectors;

fn places(v: &PlacedVectors, of: impl Fn([f64; 2]) -> [f64; 2]) -> PlacedVectors {
    PlacedVectors {
        at: v.at.iter().map(|p| of(*p)).collect(),
        moved: v.moved.clone(),
    }
}

fn motions(v: &PlacedVectors, of: impl Fn([f64; 2]) -> [f64; 2]) -> PlacedVectors {
    PlacedVectors {
        at: v.at.clone(),
        moved: v.moved.iter().map(|d| of(*d)).collect(),
    }
}

fn flipped(s: &Scene, v: &PlacedVectors) -> PlacedVectors {
    places(v, |[x, y]| [x, s.size[1] as f64 - 1.0 - y])
}

fn number_of(s: &Scene, v: &PlacedVectors, first: f64) -> PlacedVectors {
    let at = (0..v.at.len()).map(|k| [(k % s.columns) as f64 + first, (k / s.columns) as f64 + first]);
    PlacedVectors {
        at: at.collect(),
        moved: v.moved.clone(),
    }
}

/// Each mistake as somebody makes it, with the name that it must be given.
const MISTAKES: [(&str, Wrong); 24] = [
    ("y-reversed", |s, v| motions(&flipped(s, v), |[dx, dy]| [dx, -dy])),
    ("y-of-positions-reversed", flipped),
    ("y-of-displacements-reversed", |_, v| {
        motions(v, |[dx, dy]| [dx, -dy])
    }),
    ("x-and-y-exchanged", |_, v| {
        places(&motions(v, |[x, y]| [y, x]), |[x, y]| [y, x])
    }),
    ("x-and-y-of-positions-exchanged", |_, v| {
        places(v, |[x, y]| [y, x])
    }),
    ("x-and-y-of-displacements-exchanged", |_, v| {
        motions(v, |[x, y]| [y, x])
    }),
    ("frames-exchanged", |_, v| motions(v, |d| d.map(|d| -d))),
    ("displacements-doubled", |_, v| motions(v, |d| d.map(|d| 2.0 * d))),
    ("displacements-halved", |_, v| motions(v, |d| d.map(|d| 0.5 * d))),
    ("units", |_, v| {
        places(&motions(v, |d| d.map(|d| 0.021 * d)), |p| p.map(|v| 0.021 * v))
    }),
    ("units", |_, v| {
        places(&motions(v, |d| d.map(|d| 3.7 * d)), |p| p.map(|v| 0.0134 * v))
    }),
    ("units", |_, v| places(v, |p| p.map(|v| 20.0 * v))),
    ("unit-of-displacements", |_, v| {
        motions(v, |d| d.map(|d| 0.031 * d))
    }),
    ("unit-of-displacements", |_, v| motions(v, |d| d.map(|d| 7.3 * d))),
    ("half-a-pixel-off", |_, v| places(v, |p| p.map(|v| v + 0.5))),
    ("one-pixel-off", |_, v| places(v, |p| p.map(|v| v + 1.0))),
    ("positions-off", |s, v| {
        places(v, |p| p.map(|v| v - s.half_window))
    }),
    ("index-for-position", |s, v| number_of(s, v, 0.0)),
    ("index-for-position", |s, v| number_of(s, v, 1.0)),
    ("column-order", |s, v| {
        let from = |k: usize| v.moved[k % s.rows * s.columns + k / s.rows];
        PlacedVectors {
            at: v.at.clone(),
            moved: (0..v.moved.len()).map(from).collect(),
        }
    }),
    ("row-order", |s, v| {
        let from = |k: usize| v.moved[(s.rows - 1 - k / s.columns) * s.columns + k % s.columns];
        PlacedVectors {
            at: v.at.clone(),
            moved: (0..v.moved.len()).map(from).collect(),
        }
    }),
    ("whole-pixels", |_, v| motions(v, |d| d.map(f64::round))),
    ("other-pair", |s, v| {
        // The noise of the vectors, about the motion of another pair.
        let moved = v.at.iter().zip(&v.moved).map(|(p, d)| {
            let (own, other) = (s.flow.at(*p), s.other.at(*p));
            [0, 1].map(|c| d[c] - own[c] + other[c])
        });
        PlacedVectors {
            at: v.at.clone(),
            moved: moved.collect(),
        }
    }),
    ("positions-in-frame-a", |s, v| PlacedVectors {
        at: v
            .at
            .iter()
            .map(|p| [0, 1].map(|c| p[c] - 0.5 * s.flow.at(*p)[c]))
            .collect(),
        moved: v.moved.clone(),
    }),
];

/// Scenes in which each mistake is looked for, and those among which they are found.
const SCENES: usize = 300;
const MOST_SCENES: u64 = 6000;

#[test]
#[ignore = "slow: .ci/run takes it"]
fn each_mistake_is_found_where_it_matters() {
    for (kind, (name, wrong)) in MISTAKES.iter().enumerate() {
        let (mut asked, mut found, mut alike, mut missed) = (0_usize, 0_usize, 0, Vec::new());
        for number in 0..MOST_SCENES {
            if asked == SCENES {
                break;
            }
            let scene = Scene::random(10_000 + 10_000 * kind as u64 + number);
            let random = 2f64.sqrt() * scene.noise;
            if scene.added(wrong) <= 3.0 * random {
                continue;
            }
            asked += 1;
            let explanation = scene.diagnose(&wrong(&scene, &scene.right));
            let named = explanation.as_ref().is_some_and(|e| {
                std::iter::once(&e.mistake)
                    .chain(&e.alike)
                    .any(|m| m.id() == *name)
            });
            match named {
                true => {
                    found += 1;
                    alike += explanation.map_or(0, |e| e.alike.len());
                }
                false => missed.push((number, explanation, scene.outliers)),
            }
        }
        println!("{name}: {found} of {asked}, {alike} alike");
        assert!(asked == SCENES, "{name}: only {asked} scenes");
        assert!(
            100 * found >= 95 * asked,
            "{name}: {found} of {asked}; missed first: {:?}",
            &missed[..missed.len().min(3)]
        );
        // A class that holds everything names nothing: most scenes leave one mistake, or two.
        assert!(alike <= found, "{name}: {alike} others in {found} scenes");
    }
}

/// What the correction leaves is the random error, and the numbers found are those of the mistake.
#[test]
fn the_correction_puts_it_right() {
    let scene = Scene::random(7);
    let wrong = places(&motions(&scene.right, |d| d.map(|d| 3.7 * d)), |p| {
        p.map(|v| 0.02 * v)
    });
    let found = scene.diagnose(&wrong).unwrap();
    let Mistake::Units {
        position_px,
        displacement_px,
    } = found.mistake
    else {
        panic!("{found:?}")
    };
    assert!(
        (position_px / 50.0 - 1.0).abs() < 0.01 && (displacement_px * 3.7 - 1.0).abs() < 0.05,
        "{found:?}"
    );
    for wrong in [flipped(&scene, &scene.right), wrong] {
        let found = scene.diagnose(&wrong).unwrap();
        let random = 2f64.sqrt() * scene.noise;
        assert!(
            (found.left_px / random - 1.0).abs() < 0.3,
            "{found:?} against {random}"
        );
        assert!((found.share - (1.0 - (found.left_px / found.error_px).powi(2))).abs() < 1e-12);
        let right = found.mistake.correction().read(&wrong, scene.size[1]);
        assert_eq!(scene.diagnose(&right), None);
    }
}

/// In a uniform flow along x, exchanging the frames and mirroring cannot be told apart from each
/// other by anything but the sign, and no place can be wrong.
#[test]
fn what_data_cannot_tell_apart_is_one_class() {
    let mut random = ChaCha8Rng::seed_from_u64(3);
    let at: Vec<[f64; 2]> = (0..100)
        .map(|k| [(k % 10 * 10) as f64 + 5.0, (k / 10 * 10) as f64 + 5.0])
        .collect();
    let noise = Normal::new(0.0, 0.05).unwrap();
    let mut uniform = |d: [f64; 2]| -> Vec<[f64; 2]> {
        (0..100)
            .map(|_| d.map(|d| d + noise.sample(&mut random as &mut dyn Rng)))
            .collect()
    };
    let truth = |at: &[[f64; 2]]| vec![[3.0, 3.0]; at.len()];
    let mut of = |d| {
        let vectors = PlacedVectors {
            at: at.clone(),
            moved: uniform(d),
        };
        diagnose(&Claim {
            vectors: &vectors,
            size_px: [110, 110],
            truth: &truth,
            others: &[],
        })
    };
    assert_eq!(of([3.0, 3.0]), None);
    let exchanged = of([-3.0, -3.0]).unwrap();
    assert_eq!(
        (exchanged.mistake, exchanged.alike),
        (Mistake::FramesExchanged, vec![])
    );
    // y of the displacements is reversed: of both, or with that of the positions.
    let reversed = of([3.0, -3.0]).unwrap();
    assert_eq!(reversed.mistake, Mistake::YReversed);
    assert_eq!(reversed.alike, [Mistake::DisplacementsReversed]);
}
