//! The image of one particle on the pixels.
//!
//! A round Gaussian image, elongated along the streak that the particle travels during the pulse
//! and integrated over square pixels. Its covariance is s² 1 + l lᵀ/12, with s the standard
//! deviation of the Gaussian and l the streak, px. Conversely every covariance belongs to one such
//! image; that is how the image shape of a pair is found from its frames, by second moments.

use std::f64::consts::{FRAC_1_SQRT_2, TAU};
use std::sync::LazyLock;

use statrs::function::erf::erf;

/// Standard deviations of the Gaussian at which an image ends: 5e-4 of its light lie beyond.
const REACH: f64 = 3.5;

/// Shortest streak, in standard deviations, that is distinguished from a round image of the same
/// mean width.
const SHORTEST: f64 = 0.2;

/// Least standard deviation, px: a quarter of the pixel's own.
const SHARPEST_PX: f64 = 0.07;

/// Greatest length of a streak, px.
const LONGEST_PX: f64 = 24.0;

/// The shape that all images of a pair have.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ImageShape {
    /// Standard deviation of the round image, px.
    width: f64,
    /// Streak along x and y, px.
    streak: [f64; 2],
}

impl ImageShape {
    /// The shape with a covariance, px²: xx, xy, yy, without the pixel's own 1/12.
    pub fn new([xx, xy, yy]: [f64; 3]) -> Self {
        let (mean, difference) = (0.5 * (xx + yy), 0.5 * (xx - yy));
        let radius = difference.hypot(xy);
        let minor = (mean - radius).max(SHARPEST_PX * SHARPEST_PX);
        let length = (24.0 * radius).sqrt().min(LONGEST_PX);
        if length < SHORTEST * minor.sqrt() {
            let width = mean.max(SHARPEST_PX * SHARPEST_PX).sqrt();
            return Self {
                width,
                streak: [0.0; 2],
            };
        }
        let angle = 0.5 * xy.atan2(difference);
        Self {
            width: minor.sqrt(),
            streak: [length * angle.cos(), length * angle.sin()],
        }
    }

    /// xx, xy, yy, px².
    pub fn covariance(&self) -> [f64; 3] {
        let ([x, y], round) = (self.streak, self.width * self.width);
        [round + x * x / 12.0, x * y / 12.0, round + y * y / 12.0]
    }

    /// Distance along x and y from the position of an image beyond which it contributes to no
    /// pixel.
    pub fn reach(&self) -> [f64; 2] {
        self.streak.map(|l| REACH * self.width + 0.5 * l.abs() + 0.5)
    }

    /// The points of light along the streak, as positions relative to its middle: close enough that
    /// their images merge into one, spread so that they have the variance of the streak.
    fn points(&self) -> impl Iterator<Item = [f64; 2]> + use<> {
        let length = self.streak[0].hypot(self.streak[1]);
        let (count, spread) = match length {
            0.0 => (1.0, 0.0),
            _ => {
                let count = 1.0 + (1.2 * length / self.width).ceil();
                (count, (count * count / (count * count - 1.0)).sqrt())
            }
        };
        let streak = self.streak;
        (0..count as usize).map(move |i| {
            let t = spread * ((i as f64 + 0.5) / count - 0.5);
            streak.map(|l| t * l)
        })
    }
}

/// The pixels of an image of brightness 1.
pub(crate) struct UnitImage {
    /// Column and row of the first pixel.
    pub first: [isize; 2],
    /// Number of columns.
    pub columns: usize,
    /// Row by row: the fraction of the light, and its slopes with the image's position along x and
    /// y, per px.
    pub pixels: Vec<[f64; 3]>,
}

impl UnitImage {
    /// The image at a position, px.
    pub fn new(shape: &ImageShape, place: [f64; 2]) -> Self {
        Self::of(shape, place, |[x, y]| [x[0] * y[0], x[1] * y[0], x[0] * y[1]])
    }

    /// In place of fraction and slopes, the changes with xx, xy and yy of the covariance, px⁻²:
    /// half the second derivatives along an axis, the whole of the mixed one (by the heat equation;
    /// exact for a Gaussian that widens).
    pub fn widening(shape: &ImageShape, place: [f64; 2]) -> Self {
        Self::of(shape, place, |[x, y]| {
            [0.5 * x[2] * y[0], x[1] * y[1], 0.5 * x[0] * y[2]]
        })
    }

    fn of(shape: &ImageShape, place: [f64; 2], terms: impl Fn([&[f64; 3]; 2]) -> [f64; 3]) -> Self {
        let reach = shape.reach().map(|r| r.ceil() as isize);
        let first = [0, 1].map(|k| place[k].round() as isize - reach[k]);
        let [columns, rows] = reach.map(|r| (2 * r + 1) as usize);
        let mut pixels = vec![[0.0; 3]; columns * rows];
        let points = shape.points();
        let share = 1.0 / shape.points().count() as f64;
        let (mut along_x, mut along_y) = (vec![[0.0; 3]; columns], vec![[0.0; 3]; rows]);
        for point in points {
            for (k, along) in [&mut along_x, &mut along_y].into_iter().enumerate() {
                profile(shape.width, place[k] + point[k], first[k], along);
            }
            for (row, y) in pixels.chunks_exact_mut(columns).zip(&along_y) {
                for (pixel, x) in row.iter_mut().zip(&along_x) {
                    for (value, term) in pixel.iter_mut().zip(terms([x, y])) {
                        *value += share * term;
                    }
                }
            }
        }
        Self {
            first,
            columns,
            pixels,
        }
    }

    /// The pixels inside a rectangle of `size` pixels starting at `corner`: their numbers, row by
    /// row, and values.
    pub fn inside(&self, corner: [isize; 2], size: [usize; 2]) -> impl Iterator<Item = (usize, [f64; 3])> {
        let [x0, y0] = [0, 1].map(|k| self.first[k] - corner[k]);
        let [width, height] = size.map(|side| side as isize);
        let rows = (y0..)
            .zip(self.pixels.chunks_exact(self.columns))
            .filter(move |(y, _)| (0..height).contains(y));
        rows.flat_map(move |(y, row)| {
            let inner = (x0..).zip(row).filter(move |(x, _)| (0..width).contains(x));
            inner.map(move |(x, values)| ((y * width + x) as usize, *values))
        })
    }
}

/// Fraction, slope and curvature with the position of a Gaussian's integral over each of the pixels
/// along an axis.
fn profile(width: f64, place: f64, first: isize, pixels: &mut [[f64; 3]]) {
    let (normal, per_width) = (&*NORMAL, 1.0 / width);
    let edge = |pixel: usize| {
        let t = (first as f64 + pixel as f64 - 0.5 - place) * per_width;
        let [below, density] = normal.at(t);
        let density = density * per_width;
        [below, -density, -t * density * per_width]
    };
    let mut before = edge(0);
    for (pixel, difference) in pixels.iter_mut().enumerate() {
        let after = edge(pixel + 1);
        *difference = [0, 1, 2].map(|k| after[k] - before[k]);
        before = after;
    }
}

/// The standard normal distribution, tabulated.
struct Normal {
    /// For each node the terms of the distribution function's Taylor series about it.
    series: Vec<[f64; 7]>,
}

/// Nodes of the table per standard deviation, and the largest argument: 1e-11 lies beyond.
const NODES: f64 = 16.0;
const FARTHEST: f64 = 6.7;

static NORMAL: LazyLock<Normal> = LazyLock::new(|| {
    let count = 2 * (FARTHEST * NODES).ceil() as usize + 1;
    let node = |k: usize| (k as f64 - (count / 2) as f64) / NODES;
    let series = |k: usize| {
        let t = node(k);
        let density = (-0.5 * t * t).exp() / TAU.sqrt();
        // Derivatives of the density by the recurrence of Hermite's polynomials.
        let (mut before, mut here) = (0.0, density);
        let mut terms = [0.5 * erf(t * FRAC_1_SQRT_2), 0.0, 0.0, 0.0, 0.0, 0.0, 0.0];
        let mut factorial = 1.0;
        for (n, term) in terms.iter_mut().enumerate().skip(1) {
            factorial *= n as f64;
            *term = here / factorial;
            (before, here) = (here, -t * here - (n - 1) as f64 * before);
        }
        terms
    };
    Normal {
        series: (0..count).map(series).collect(),
    }
});

impl Normal {
    /// The distribution function at `t`, less ½, and its density. At most 1/32 from a node, the
    /// first term left out is 2e-12 of the distribution function and 5e-10 of the density.
    #[inline(always)]
    fn at(&self, t: f64) -> [f64; 2] {
        let t = t.clamp(-FARTHEST, FARTHEST);
        let middle = (self.series.len() / 2) as f64;
        let k = (t * NODES + middle + 0.5) as usize;
        let d = t - (k as f64 - middle) / NODES;
        let (mut below, mut density) = (0.0, 0.0);
        for term in self.series[k].iter().rev() {
            density = density * d + below;
            below = below * d + term;
        }
        [below, density]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: a round image is a product of differences of the error function, here from
    /// `libm` (1e-9 of the light is above the 5e-11 of statrs); a streak is the mean of a thousand
    /// such images along it. Between the streak and the few points that represent it 2e-3 of the
    /// light are allowed in any pixel: a third of the photon noise of 20,000 electrons.
    #[test]
    fn images_are_those_of_the_error_function() {
        let place = [11.3, 12.8];
        let round = |s: f64, [x, y]: [f64; 2], at: [isize; 2]| {
            let share = |k: usize, centre: f64| {
                let edge = |half: f64| {
                    0.5 * libm::erf((at[k] as f64 + half - centre) / (s * std::f64::consts::SQRT_2))
                };
                edge(0.5) - edge(-0.5)
            };
            share(0, x) * share(1, y)
        };
        for (s, streak, tolerance) in [
            (0.625, [0.0, 0.0], 1e-9),
            (1.2, [0.0, 0.0], 1e-9),
            (0.625, [2.5, 0.0], 2e-3),
            (0.625, [-3.0, 4.0], 2e-3),
            (0.8, [1.0, 1.0], 2e-3),
        ] {
            let [x, y]: [f64; 2] = streak;
            let shape = ImageShape::new([s * s + x * x / 12.0, x * y / 12.0, s * s + y * y / 12.0]);
            let image = UnitImage::new(&shape, place);
            let mut total = 0.0;
            for (n, pixel) in image.pixels.iter().enumerate() {
                let at = [n % image.columns, n / image.columns].map(|n| n as isize);
                let at = [0, 1].map(|k| image.first[k] + at[k]);
                let expected = (0..1000)
                    .map(|i| (f64::from(i) + 0.5) / 1000.0 - 0.5)
                    .map(|t| round(s, [place[0] + t * x, place[1] + t * y], at))
                    .sum::<f64>()
                    / 1000.0;
                assert!(
                    (pixel[0] - expected).abs() < tolerance,
                    "{streak:?} at {at:?}: {} {expected}",
                    pixel[0]
                );
                total += pixel[0];
            }
            assert!((total - 1.0).abs() < 2e-3, "{streak:?}: {total}");
        }
    }

    /// Derived: slopes are differences of images moved by a small step; changes with the covariance
    /// are differences of images of another covariance, exact for round ones that widen equally
    /// along both axes (their sum is tested). Tolerance: the square of the step over the variance
    /// of the image.
    #[test]
    fn slopes_and_widening_are_differences() {
        const H: f64 = 1e-3;
        const TOLERANCE: f64 = (H / 0.5) * (H / 0.5);
        let shape = ImageShape::new([0.5, 0.0, 0.5]);
        let place = [10.2, 9.9];
        let at = |shape: &ImageShape, place| UnitImage::new(shape, place).pixels;
        let image = at(&shape, place);
        let moved = [[H, 0.0], [0.0, H]]
            .map(|[x, y]| [1.0, -1.0].map(|sign| at(&shape, [place[0] + sign * x, place[1] + sign * y])));
        let wider = [H, -H].map(|h| at(&ImageShape::new([0.5 + h, 0.0, 0.5 + h]), place));
        let widening = UnitImage::widening(&shape, place).pixels;
        for n in 0..image.len() {
            for k in 0..2 {
                let slope = (moved[k][0][n][0] - moved[k][1][n][0]) / (2.0 * H);
                assert!(
                    (image[n][1 + k] - slope).abs() < TOLERANCE,
                    "{} {slope}",
                    image[n][1 + k]
                );
            }
            let change = (wider[0][n][0] - wider[1][n][0]) / (2.0 * H);
            assert!(
                (widening[n][0] + widening[n][2] - change).abs() < TOLERANCE,
                "{} {change}",
                widening[n][0] + widening[n][2]
            );
        }
    }

    /// Against the error function of `libm` and the exponential: a fifteenth of what the images may
    /// be off, 1e-9. Beyond the table the distribution stays as at its end, where 1e-11 is left.
    #[test]
    fn tabulated_normal_distribution() {
        for k in -90_000..=90_000 {
            let t = f64::from(k) * 1e-4;
            let [below, density] = NORMAL.at(t);
            let exact = 0.5 * libm::erf(t * FRAC_1_SQRT_2);
            assert!((below - exact).abs() < 5e-11 + 1e-11, "{t}: {below} {exact}");
            let exact = libm::exp(-0.5 * t * t) / TAU.sqrt();
            assert!((density - exact).abs() < 1e-9, "{t}: {density} {exact}");
        }
    }

    /// Closed form: a shape has the covariance it was made from.
    #[test]
    fn shape_keeps_its_covariance() {
        for covariance in [
            [0.5, 0.0, 0.5],
            [2.0, 0.7, 0.9],
            [0.6, -0.3, 1.5],
            [0.4, 0.0, 2.4],
        ] {
            let found = ImageShape::new(covariance).covariance();
            for k in 0..3 {
                assert!(
                    (found[k] - covariance[k]).abs() < 1e-12,
                    "{found:?}, {covariance:?}"
                );
            }
        }
    }
}
