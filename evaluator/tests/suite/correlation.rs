//! Correlation planes and windows. Chain of evidence: the definition as sums over pixels, written
//! out here in double precision, then the crate's direct summation, then its FFT.

use crate::support::TestScene;
use motefield_evaluator::correlation::find_peaks;
use motefield_evaluator::correlation_plane;
use motefield_evaluator::{Correlation, Grid, Normalise, Processing, Weighting, window_weights};
use ndarray::Array2;
use rand::{RngExt, SeedableRng};

const SHAPES: [[usize; 2]; 5] = [[32, 32], [31, 31], [48, 20], [17, 30], [5, 4]];

fn processing(weighting: Weighting, correlation: Correlation, normalise: Normalise) -> Processing {
    Processing {
        weighting,
        correlation,
        normalise,
        ..Processing::default()
    }
}

fn windows([width, height]: [usize; 2]) -> [Array2<f32>; 2] {
    let scene = TestScene::new(width, height, 0.06, 2.5);
    let [a, b] = scene.uniform(3, [0.6, -0.7]);
    // A background much brighter than the particles, as in a raw image.
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1);
    [a, b].map(|frame| frame.mapv(|v| v + 300.0 + 20.0 * rng.random::<f32>()))
}

/// Sums over the pixels in double precision, directly from the definitions in the crate's
/// documentation.
struct Definition {
    taper: Array2<f64>,
    a: Array2<f64>,
    b: Array2<f64>,
    circular: bool,
}

impl Definition {
    fn new(a: &Array2<f32>, b: &Array2<f32>, weighting: Weighting, circular: bool) -> Self {
        let (height, width) = a.dim();
        let (along_x, along_y) = (weighting.taper(width), weighting.taper(height));
        let taper = Array2::from_shape_fn((height, width), |(y, x)| along_x[x] * along_y[y]);
        let deviation = |frame: &Array2<f32>| {
            let frame = frame.mapv(f64::from);
            let mean = (&frame * &taper).sum() / taper.sum();
            frame - mean
        };
        Self {
            a: deviation(a),
            b: deviation(b),
            taper,
            circular,
        }
    }

    /// Sum of `value(w a, w b, ...)` over the pixels that overlap at the lag.
    fn sum(&self, [i, j]: [isize; 2], value: impl Fn([f64; 2], [f64; 2]) -> f64) -> f64 {
        let (height, width) = self.a.dim();
        let mut sum = 0.0;
        for y in 0..height as isize {
            for x in 0..width as isize {
                let (mut u, mut v) = (x + i, y + j);
                if self.circular {
                    (u, v) = (u.rem_euclid(width as isize), v.rem_euclid(height as isize));
                }
                if (0..width as isize).contains(&u) && (0..height as isize).contains(&v) {
                    let (p, q) = ([y as usize, x as usize], [v as usize, u as usize]);
                    sum += value([self.taper[p], self.taper[q]], [self.a[p], self.b[q]]);
                }
            }
        }
        sum
    }

    /// The value of the plane, and by how much it changes if the sums are off by 1 of their highest
    /// values.
    fn at(&self, lag: [isize; 2], normalise: Normalise) -> (f64, f64) {
        let product = self.sum(lag, |[w, v], [a, b]| w * v * a * b);
        let overlap = self.sum(lag, |[w, v], _| w * v);
        let energy = [0, 1].map(|k| self.sum([0, 0], |[w, v], ab| w * v * ab[k] * ab[k]));
        let highest = (energy[0] * energy[1]).sqrt();
        let whole = self.sum([0, 0], |[w, v], _| w * v);
        match normalise {
            Normalise::None => (product, highest),
            _ if overlap < 0.25 * whole => (0.0, 1.0),
            Normalise::Window => (product / overlap, highest / overlap),
            Normalise::Covariance => {
                let mean = [0, 1].map(|k| self.sum(lag, |[w, v], ab| w * v * ab[k]) / overlap);
                let variance = [0, 1].map(|k| self.sum(lag, |[w, v], ab| w * v * (ab[k] - mean[k]).powi(2)));
                let covariance = self.sum(lag, |[w, v], [a, b]| w * v * (a - mean[0]) * (b - mean[1]));
                let divisor = (variance[0] * variance[1]).sqrt();
                let of_variances = 0.5 * (energy[0] / variance[0] + energy[1] / variance[1]);
                (
                    covariance / divisor,
                    highest / divisor + (covariance / divisor).abs() * of_variances,
                )
            }
        }
    }
}

/// Derived: the formulas are those of the documentation. Tolerance: 1e-5 of the highest sum of
/// products, what single precision leaves of sums over a thousand pixels, carried through the
/// division.
#[test]
fn planes_follow_their_definition() {
    for window in SHAPES {
        let [a, b] = windows(window);
        for &weighting in Weighting::ALL {
            for (correlation, normalise) in [
                (Correlation::Circular, Normalise::None),
                (Correlation::ZeroPadded, Normalise::None),
                (Correlation::Direct, Normalise::None),
                (Correlation::ZeroPadded, Normalise::Window),
                (Correlation::Direct, Normalise::Window),
                (Correlation::ZeroPadded, Normalise::Covariance),
                (Correlation::Direct, Normalise::Covariance),
            ] {
                let expected = Definition::new(&a, &b, weighting, correlation == Correlation::Circular);
                let plane =
                    correlation_plane(a.view(), b.view(), &processing(weighting, correlation, normalise));
                let plane = plane.unwrap().expect("windows with particles are not uniform");
                let [limit_x, limit_y] = plane.limit().map(|l| l as isize);
                // Every lag of a small plane, and every seventh of a large one to save time.
                let lags = (-limit_y..=limit_y).flat_map(|j| (-limit_x..=limit_x).map(move |i| [i, j]));
                for [i, j] in lags.step_by(if limit_x > 5 { 7 } else { 1 }) {
                    let (value, sensitivity) = expected.at([i, j], normalise);
                    let error = (f64::from(plane.at(i, j)) - value).abs() / sensitivity;
                    assert!(
                        error <= 1e-5,
                        "{window:?} {weighting} {correlation} {normalise} lag ({i}, {j}): off by {error:e}"
                    );
                }
            }
        }
    }
}

/// The plane has its peak at the displacement from A to B: a block of pixels that moves 3 px right
/// and 2 px up.
#[test]
fn peak_lies_at_the_displacement_from_a_to_b() {
    let block = |x0: usize, y0: usize| {
        Array2::from_shape_fn((16, 20), |(y, x)| {
            if (x0..x0 + 2).contains(&x) && (y0..y0 + 2).contains(&y) {
                1.0
            } else {
                0.0
            }
        })
    };
    let (a, b) = (block(7, 8), block(10, 6));
    for &correlation in Correlation::ALL {
        let processing = processing(Weighting::TopHat, correlation, Normalise::None);
        let plane = correlation_plane(a.view(), b.view(), &processing)
            .unwrap()
            .unwrap();
        let [first, second] = find_peaks(&plane);
        assert_eq!(first.map(|p| p.lag), Some([3, -2]), "{correlation}");
        assert!(
            second.is_none_or(|p| p.height < 0.1 * first.unwrap().height),
            "{correlation}"
        );
    }
}

#[test]
fn uniform_windows_have_no_plane() {
    for level in [0.0f32, 1000.1, 65535.0] {
        let uniform = Array2::from_elem((32, 32), level);
        let mut textured = uniform.clone();
        textured[[9, 9]] += 1000.0;
        for (a, b) in [(&uniform, &uniform), (&uniform, &textured), (&textured, &uniform)] {
            assert_eq!(
                correlation_plane(a.view(), b.view(), &Processing::default()).unwrap(),
                None,
                "{level}"
            );
        }
        assert!(
            correlation_plane(textured.view(), textured.view(), &Processing::default())
                .unwrap()
                .is_some()
        );
    }
}

/// Derived: in a window over the pixels i to i+D-1 the centre is i+(D-1)/2; spacing round(D (1 -
/// overlap)); equal margins.
#[test]
fn grid_is_centred_and_whole() {
    for (image, window, overlap, expected) in [
        ([128, 96], [32, 32], 0.5, ([7, 5], [16, 16], [15.5, 15.5])),
        ([130, 101], [32, 32], 0.75, ([13, 9], [8, 8], [16.5, 17.5])),
        ([100, 100], [33, 21], 0.0, ([3, 4], [33, 21], [16.0, 18.0])),
        ([40, 40], [32, 32], 0.99, ([9, 9], [1, 1], [15.5, 15.5])),
        ([32, 32], [32, 32], 0.5, ([1, 1], [16, 16], [15.5, 15.5])),
    ] {
        let grid = Grid::new(image[0], image[1], window, overlap);
        assert_eq!(
            ([grid.columns, grid.rows], grid.spacing, grid.centre(0, 0)),
            expected
        );
        let last = grid.corner(grid.columns - 1, grid.rows - 1);
        for k in 0..2 {
            let (before, after) = (grid.origin[k], image[k] - last[k] - window[k]);
            assert!(after - before <= 1, "margins {before} and {after}");
            assert!(after + before < grid.spacing[k], "another window would fit");
        }
    }
    assert!(Grid::new(31, 100, [32, 32], 0.5).is_empty());
}

/// Derived: closed forms of the taper squared. Standard deviations in units of D: 1/sqrt(12) for
/// top-hat; for the triangle (1-|t|)² on -1..1: variance 1/10, so 1/sqrt(40); for the Gaussian
/// exp(-2 t²) cut at 1: 0.2199 (0.8796 of the uncut 1/4, from the truncated normal at two standard
/// deviations, 1 - 2·2·0.05399/0.9545 = 0.7737 in the square).
#[test]
fn weights_are_the_squared_taper_of_sum_one() {
    for (weighting, deviation) in [
        (Weighting::TopHat, 12f64.sqrt().recip()),
        (Weighting::Triangular, 40f64.sqrt().recip()),
        (Weighting::Gaussian, 0.2199),
    ] {
        for length in [31, 64, 257] {
            let weights = window_weights(weighting, length);
            let moment = |k: i32| {
                let centre = (length as f64 - 1.0) / 2.0;
                weights
                    .iter()
                    .enumerate()
                    .map(|(i, w)| w * ((i as f64 - centre) / length as f64).powi(k))
                    .sum::<f64>()
            };
            assert!((moment(0) - 1.0).abs() < 1e-12);
            assert!(moment(1).abs() < 1e-12);
            // Sampling at pixel centres changes the standard deviation by the order of 1/D².
            let error = moment(2).sqrt() / deviation - 1.0;
            assert!(
                error.abs() < 3e-4 + 2.0 / (length * length) as f64,
                "{weighting} {length}: off by {error}"
            );
        }
    }
    let blackman = Weighting::Blackman.taper(255);
    assert!((blackman[127] - 1.0).abs() < 1e-12 && blackman.iter().all(|w| *w > 0.0));
}
