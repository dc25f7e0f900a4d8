//! The image of one particle on the pixels.
//!
//! An [`ImageShape`], integrated over square pixels.

use std::f64::consts::{FRAC_1_SQRT_2, TAU};

use multiversion::multiversion;
use statrs::function::erf::erf;

use super::image_shape::ImageShape;

/// Pixels that are computed side by side.
pub(crate) const LANES: usize = 8;

/// A value at each of [`LANES`] pixels of a row.
pub(crate) type Lanes = [f64; LANES];

/// The pixels of an image of brightness 1: a rectangle whose rows are [`UnitImages::chunks`] times
/// [`LANES`] pixels long, those beyond the reach of the image being as good as zero.
#[derive(Clone, Default)]
pub(crate) struct UnitImage {
    /// Column and row of the first pixel in the frame.
    pub first: [isize; 2],
    /// The fraction of the light, and its slopes with the image's position along x and y, per px,
    /// each row by row and chunk by chunk.
    pub parts: [Vec<Lanes>; 3],
    /// Fraction, slope and half the curvature along x and along y of one point's light.
    along: [Vec<[Lanes; 3]>; 2],
}

/// Makes the images of one shape.
///
/// The light that falls on a pixel from a point at the distance u along an axis is tabulated for
/// whole pixels and [`UnitImages::nodes`] fractions of one, each with the terms of its Taylor
/// series in u, so that a row of pixels is a few polynomials of the same argument.
pub(crate) struct UnitImages {
    /// Whole pixels from the position of an image, rounded, to its first pixel.
    reach: [isize; 2],
    /// Chunks of a row, and rows, of an image.
    pub chunks: usize,
    pub rows: usize,
    /// Points of light, as positions relative to that of the image, and the share of each.
    points: Vec<[f64; 2]>,
    share: f64,
    /// Where each node is from the middle of its pixel, px.
    nodes: Vec<f64>,
    /// Number of pixels in the table, and the one in which the point lies.
    length: usize,
    middle: isize,
    /// By node, term and pixel.
    table: Vec<f64>,
}

/// Nodes of the table per standard deviation, and terms of the series about each: at most 1/32 of a
/// standard deviation from a node, the first term left out is 2e-12 of the light.
const NODES: f64 = 16.0;
const TERMS: usize = 7;

impl UnitImages {
    /// For images of `shape`.
    pub fn new(shape: &ImageShape) -> Self {
        let reach = shape.reach().map(|r| r.ceil() as isize);
        let side = |reach: isize| (2 * reach + 1) as usize;
        let longest = side(reach[0].max(reach[1])).next_multiple_of(LANES);
        let points: Vec<[f64; 2]> = shape.points().collect();
        let farthest = points
            .as_flattened()
            .iter()
            .fold(0.0, |far: f64, p| far.max(p.abs()));
        let shift = farthest.ceil() as isize + 1;
        let middle = reach[0].max(reach[1]) + shift;
        let length = longest + (2 * shift + (reach[0] - reach[1]).abs()) as usize;
        let nodes = (NODES / shape.width).ceil().max(NODES) as usize;
        // From the edge of a pixel.
        let of_node = |node: usize| (node as f64 + 0.5) / nodes as f64;
        let mut table = vec![0.0; nodes * TERMS * length];
        for (node, table) in table.chunks_exact_mut(TERMS * length).enumerate() {
            let place = middle as f64 + of_node(node) - 0.5;
            let edge = |pixel: usize| edge_series(pixel as f64 - 0.5 - place, shape.width);
            let mut before = edge(0);
            for pixel in 0..length {
                let after = edge(pixel + 1);
                for term in 0..TERMS {
                    table[term * length + pixel] = after[term] - before[term];
                }
                before = after;
            }
        }
        Self {
            reach,
            chunks: side(reach[0]).div_ceil(LANES),
            rows: side(reach[1]),
            share: 1.0 / points.len() as f64,
            points,
            nodes: (0..nodes).map(|node| of_node(node) - 0.5).collect(),
            length,
            middle,
            table,
        }
    }

    /// Pixels of a row of an image.
    pub fn columns(&self) -> usize {
        self.chunks * LANES
    }

    /// Columns and rows of an image.
    pub fn extent(&self) -> [usize; 2] {
        [self.columns(), self.rows]
    }

    /// The correlation of an image with the 3 x 3 pixels around its position: the lesser of that
    /// in the middle of a pixel and at its corner.
    pub fn likeness_to_square(&self) -> f64 {
        let mut image = UnitImage::default();
        let alike = [0.0, 0.5].map(|offset| {
            let place = self.reach.map(|reach| reach as f64 + offset);
            self.draw(place, self.extent().map(|side| side + 1), &mut image);
            let shares = image.parts[0].as_flattened();
            let near = |n: &usize| {
                let [x, y] = [n % self.columns(), n / self.columns()].map(|n| n as isize);
                x.abs_diff(self.reach[0]) <= 1 && y.abs_diff(self.reach[1]) <= 1
            };
            let square: f64 = (0..shares.len()).filter(near).map(|n| shares[n]).sum();
            let energy: f64 = shares.iter().map(|share| share * share).sum();
            square / (3.0 * energy.sqrt())
        });
        alike[0].min(alike[1])
    }

    /// Makes the image at a position, px. Pixels outside the rectangle of `size` pixels that starts
    /// at 0 are zero; false, with nothing made, if all of them lie outside.
    pub fn draw(&self, place: [f64; 2], size: [usize; 2], image: &mut UnitImage) -> bool {
        self.begin(place, size, image) && {
            draw_slopes(self, place, size, image);
            true
        }
    }

    /// As [`UnitImages::draw`], but in place of fraction and slopes the changes with xx, xy and yy
    /// of the covariance, px⁻²: half the second derivatives along an axis, the whole of the mixed
    /// one (by the heat equation; exact for a Gaussian that widens).
    pub fn draw_widening(&self, place: [f64; 2], size: [usize; 2], image: &mut UnitImage) -> bool {
        self.begin(place, size, image) && {
            draw_widening(self, place, size, image);
            true
        }
    }

    fn begin(&self, place: [f64; 2], size: [usize; 2], image: &mut UnitImage) -> bool {
        let extent = self.extent();
        let touches = (0..2).all(|k| {
            let first = place[k] - self.reach[k] as f64;
            // Not where the position is not a number.
            first > -(extent[k] as f64) && first < size[k] as f64
        });
        if touches {
            image.first = [0, 1].map(|k| nearest(place[k]) as isize - self.reach[k]);
            for part in &mut image.parts {
                part.resize(self.chunks * self.rows, [0.0; LANES]);
            }
            image.along[0].resize(self.chunks, [[0.0; LANES]; 3]);
            image.along[1].resize(self.rows.div_ceil(LANES), [[0.0; LANES]; 3]);
        }
        touches
    }

    /// Fraction, slope and half the curvature with the position of the light of a point that lies
    /// at `u` from the first of the pixels along an axis, of which those in `inside` are not zero.
    #[inline(always)]
    fn profile<const CURVED: bool>(&self, u: f64, inside: std::ops::Range<isize>, pixels: &mut [[Lanes; 3]]) {
        let whole = nearest(u);
        let nodes = &self.nodes[..];
        let node = (((u - whole + 0.5) * nodes.len() as f64) as usize).min(nodes.len() - 1);
        let d = u - whole - nodes[node];
        let series = &self.table[node * TERMS * self.length..][..TERMS * self.length];
        let start = (self.middle - whole as isize) as usize;
        for (chunk, pixels) in pixels.iter_mut().enumerate() {
            let from = chunk * LANES;
            let [mut value, mut slope, mut curvature] = [[0.0; LANES]; 3];
            for term in (0..TERMS).rev() {
                let terms = &series[term * self.length + start + from..].as_chunks::<LANES>().0[0];
                if CURVED {
                    for lane in 0..LANES {
                        curvature[lane] = curvature[lane] * d + slope[lane];
                    }
                }
                for lane in 0..LANES {
                    slope[lane] = slope[lane] * d + value[lane];
                    value[lane] = value[lane] * d + terms[lane];
                }
            }
            *pixels = [value, slope, curvature];
            let from = from as isize;
            if inside.start > from || inside.end < from + LANES as isize {
                for (lane, pixel) in (from..).take(LANES).enumerate() {
                    if !inside.contains(&pixel) {
                        pixels.iter_mut().for_each(|values| values[lane] = 0.0);
                    }
                }
            }
        }
    }

    /// Sets the parts of an image, each the sum over the points of the products of two parts of the
    /// profiles along x and y.
    #[inline(always)]
    fn add_points<const CURVED: bool>(
        &self,
        place: [f64; 2],
        size: [usize; 2],
        image: &mut UnitImage,
        factors: [[usize; 2]; 3],
    ) {
        let UnitImage { first, parts, along } = image;
        for (number, point) in self.points.iter().enumerate() {
            for (k, along) in along.iter_mut().enumerate() {
                let inside = -first[k]..size[k] as isize - first[k];
                self.profile::<CURVED>(place[k] + point[k] - first[k] as f64, inside, along);
            }
            for (part, [of_x, of_y]) in parts.iter_mut().zip(factors) {
                for (row, pixels) in part.chunks_exact_mut(self.chunks).enumerate() {
                    let y = self.share * along[1][row / LANES][of_y][row % LANES];
                    for (pixels, x) in pixels.iter_mut().zip(&along[0]) {
                        // All is read before any is written, so that lanes can be written at once.
                        let (before, x) = (*pixels, x[of_x]);
                        *pixels = match number {
                            0 => x.map(|x| x * y),
                            _ => std::array::from_fn(|lane| before[lane] + x[lane] * y),
                        };
                    }
                }
            }
        }
    }
}

#[multiversion(targets("x86_64+avx2", "aarch64+neon"))]
fn draw_slopes(images: &UnitImages, place: [f64; 2], size: [usize; 2], image: &mut UnitImage) {
    images.add_points::<false>(place, size, image, [[0, 0], [1, 0], [0, 1]]);
}

#[multiversion(targets("x86_64+avx2", "aarch64+neon"))]
fn draw_widening(images: &UnitImages, place: [f64; 2], size: [usize; 2], image: &mut UnitImage) {
    images.add_points::<true>(place, size, image, [[2, 0], [1, 1], [0, 2]]);
}

/// The nearest whole number.
#[inline(always)]
fn nearest(value: f64) -> f64 {
    (value + 0.5).floor()
}

/// Taylor series, in the position of a Gaussian, of the fraction of its light that lies before an
/// edge at the distance `t` px from it, less ½.
fn edge_series(t: f64, width: f64) -> [f64; TERMS] {
    let t = t / width;
    let density = (-0.5 * t * t).exp() / TAU.sqrt();
    let mut terms = [0.0; TERMS];
    terms[0] = 0.5 * erf(t * FRAC_1_SQRT_2);
    // Derivatives of the density by the recurrence of Hermite's polynomials.
    let (mut before, mut here, mut factor) = (0.0, density, 1.0);
    for (n, term) in terms.iter_mut().enumerate().skip(1) {
        factor *= -1.0 / (n as f64 * width);
        *term = here * factor;
        (before, here) = (here, -t * here - (n - 1) as f64 * before);
    }
    terms
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The place and the three values of each pixel of an image.
    fn pixels(
        shape: &ImageShape,
        place: [f64; 2],
        draw: impl Fn(&UnitImages, [f64; 2], [usize; 2], &mut UnitImage) -> bool,
    ) -> Vec<([isize; 2], [f64; 3])> {
        let images = UnitImages::new(shape);
        let mut image = UnitImage::default();
        assert!(draw(&images, place, [100, 100], &mut image));
        let columns = images.columns();
        let at = |n: usize| [n % columns, n / columns].map(|n| n as isize);
        (0..columns * images.rows)
            .map(|n| {
                let values = image.parts.each_ref().map(|part| part[n / LANES][n % LANES]);
                ([0, 1].map(|k| image.first[k] + at(n)[k]), values)
            })
            .collect()
    }

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
            let mut total = 0.0;
            for (at, pixel) in pixels(&shape, place, UnitImages::draw) {
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

    /// Closed form: a round image and a square of 3 x 3 pixels are both products of an x and a y
    /// part, so their correlation is the square of that along one axis, from the error function of
    /// `libm`; in the middle of a pixel nothing of a small image is outside, at its corner half a
    /// pixel more. Tolerance 1e-3: of the light 5e-4 is cut off.
    #[test]
    fn likeness_to_a_square_is_that_of_the_error_function() {
        for s in [0.4, 0.625, 1.2, 3.0] {
            let along = |centre: f64, pixel: i32| {
                let edge = |x: f64| 0.5 * libm::erf((x - centre) / (s * std::f64::consts::SQRT_2));
                edge(f64::from(pixel) + 0.5) - edge(f64::from(pixel) - 0.5)
            };
            let alike = |centre: f64, middle: i32| {
                let near: f64 = (middle - 1..=middle + 1).map(|pixel| along(centre, pixel)).sum();
                let energy: f64 = (-20..=20).map(|pixel| along(centre, pixel).powi(2)).sum();
                near * near / (3.0 * energy)
            };
            let expected = alike(0.0, 0).min(alike(0.5, 1));
            let found = UnitImages::new(&ImageShape::new([s * s, 0.0, s * s])).likeness_to_square();
            assert!((found - expected).abs() < 1e-3, "{s}: {found} {expected}");
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
        let values = |all: Vec<([isize; 2], [f64; 3])>| -> Vec<[f64; 3]> {
            all.into_iter().map(|(_, values)| values).collect()
        };
        let at = |shape: &ImageShape, place| values(pixels(shape, place, UnitImages::draw));
        let image = at(&shape, place);
        let moved = [[H, 0.0], [0.0, H]]
            .map(|[x, y]| [1.0, -1.0].map(|sign| at(&shape, [place[0] + sign * x, place[1] + sign * y])));
        let wider = [H, -H].map(|h| at(&ImageShape::new([0.5 + h, 0.0, 0.5 + h]), place));
        let widening = values(pixels(&shape, place, UnitImages::draw_widening));
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

    /// What an image loses at the border of a frame: the pixels outside are zero, those inside are
    /// as without a border, and an image that is wholly outside, or nowhere, is not made.
    #[test]
    fn images_are_cut_by_the_frame() {
        let images = UnitImages::new(&ImageShape::new([0.4, 0.3, 2.4]));
        let (mut whole, mut cut) = (UnitImage::default(), UnitImage::default());
        assert!(images.draw([20.4, 30.6], [100, 100], &mut whole));
        // The same place, seen from a corner of the image.
        assert!(images.draw([0.4, 1.6], [4, 5], &mut cut));
        assert_eq!([0, 1].map(|k| whole.first[k] - [20, 29][k]), cut.first);
        for n in 0..images.columns() * images.rows {
            let at = [n % images.columns(), n / images.columns()];
            let at = [0, 1].map(|k| cut.first[k] + at[k] as isize);
            let inside = (0..4).contains(&at[0]) && (0..5).contains(&at[1]);
            for (whole, cut) in whole.parts.iter().zip(&cut.parts) {
                let [whole, cut] = [whole, cut].map(|part| part.as_flattened()[n]);
                let expected = if inside { whole } else { 0.0 };
                assert!((cut - expected).abs() < 1e-12, "{at:?}");
            }
        }
        for outside in [[-40.0, 2.0], [2.0, 40.0], [f64::NAN, 2.0], [2.0, f64::INFINITY]] {
            assert!(!images.draw(outside, [4, 5], &mut cut), "{outside:?}");
        }
    }
}
