//! Cross-correlation of interrogation windows.
//!
//! Sign: the plane's value at the lag (i, j) is the sum over pixels of `a(x, y) · b(x + i, y + j)`, so the peak lies at the
//! displacement from frame A to frame B. Both windows are freed of their weighted mean and multiplied by the taper.

use ndarray::ArrayView2;
use rustfft::num_complex::Complex;

use crate::error::ProcessingError;
use crate::frames::{Frame, Frames};
use crate::named::named;
use crate::plane::Plane;
use crate::processing::{Pass, Processing};
use crate::transform::Transform;
use crate::window::Weighting;

named! {
    /// How the correlation of two windows is computed.
    pub enum Correlation {
        /// By FFT of the windows as they are: what is shifted out on one side enters on the other.
        Circular = "circular",
        /// By FFT of windows extended with zeros: the linear correlation.
        ZeroPadded = "zero-padded",
        /// The linear correlation by summation over the pixels in double precision: slow, the reference for the others.
        Direct = "direct",
    }
}

named! {
    /// What the correlation is divided by, lag by lag. Where the weighted overlap of the two windows is below a quarter of that at lag
    /// zero (in the top-hat window that is the rim of the search range), too little is left to be judged by, and the plane is zero.
    pub enum Normalise {
        /// Nothing.
        None = "none",
        /// The autocorrelation of the taper, which is a triangle for a top-hat window: removes the bias toward zero
        /// displacement (Westerweel 1997). Needs a linear correlation.
        Window = "window",
        /// The two standard deviations inside the overlap of the shifted windows, with the means there removed: the
        /// normalised covariance, between -1 and 1, weighted by the product of the tapers. Needs a linear correlation.
        Covariance = "covariance",
    }
}

/// Least share of the overlap that [`Normalise`] divides by.
const LEAST_OVERLAP: f64 = 0.25;

/// Where the two windows of one vector begin in frame A and frame B.
#[derive(Clone, Copy)]
pub(crate) struct Corners {
    pub a: [isize; 2],
    pub b: [isize; 2],
}

/// Correlates windows of one size; all plans, weights and buffers are made once.
pub(crate) struct WindowCorrelator {
    window: [usize; 2],
    normalise: Normalise,
    taper: Vec<f32>,
    taper_sum: f32,
    /// What [`Normalise`] multiplies by: one over the autocorrelation of the taper.
    per_overlap: Plane,
    sums: Sums,
    /// Windows A and B of two vectors.
    pixels: [[Vec<f32>; 2]; 2],
    planes: [Plane; 2],
}

impl WindowCorrelator {
    pub fn new(
        window: [usize; 2],
        weighting: Weighting,
        correlation: Correlation,
        normalise: Normalise,
    ) -> Self {
        let [along_x, along_y] = window.map(|side| weighting.taper(side));
        let taper: Vec<f32> = along_y
            .iter()
            .flat_map(|wy| along_x.iter().map(move |wx| (wx * wy) as f32))
            .collect();
        let overlap = |lag: [isize; 2]| {
            autocorrelation(&along_x, lag[0].unsigned_abs())
                * autocorrelation(&along_y, lag[1].unsigned_abs())
        };
        let least = LEAST_OVERLAP * overlap([0, 0]);
        let per_overlap = Plane::from_fn(window, |i, j| match overlap([i, j]) {
            overlap if overlap >= least => (1.0 / overlap) as f32,
            _ => 0.0,
        });
        let plane = Plane::new(window);
        let pixels = [taper.clone(), taper.clone()];
        Self {
            window,
            normalise,
            taper_sum: taper.iter().sum(),
            taper,
            per_overlap,
            sums: Sums::new(window, correlation),
            pixels: [pixels.clone(), pixels],
            planes: [plane.clone(), plane],
        }
    }

    /// Correlates the windows at each of `corners` and hands their planes to `take` in order.
    pub fn correlate(
        &mut self,
        frames: [Frame; 2],
        corners: &[Corners],
        mut take: impl FnMut(usize, &Plane),
    ) {
        for (first, two) in corners.chunks(2).enumerate().map(|(i, two)| (2 * i, two)) {
            for (pixels, at) in self.pixels.iter_mut().zip(two) {
                for (pixels, (frame, corner)) in pixels.iter_mut().zip(frames.iter().zip([at.a, at.b])) {
                    frame.window(corner, self.window, pixels);
                    let mean = dot(pixels, &self.taper) / self.taper_sum;
                    pixels
                        .iter_mut()
                        .zip(&self.taper)
                        .for_each(|(p, weight)| *p = (*p - mean) * weight);
                }
            }
            match self.normalise {
                Normalise::None => self.plain(),
                Normalise::Window => self.per_overlap(),
                Normalise::Covariance => (0..two.len()).for_each(|k| self.covariance(k)),
            }
            for (k, plane) in self.planes.iter().take(two.len()).enumerate() {
                take(first + k, plane);
            }
        }
    }

    fn plain(&mut self) {
        let [[a, b], [c, d]] = &self.pixels;
        self.sums.correlate([[a, b], [c, d]], &mut self.planes);
    }

    fn per_overlap(&mut self) {
        self.plain();
        for plane in &mut self.planes {
            plane
                .values_mut()
                .iter_mut()
                .zip(self.per_overlap.values())
                .for_each(|(v, factor)| *v *= factor);
        }
    }

    /// With w the taper, v and u the windows' deviations from their means, and E the average over the overlap at a lag, weighted
    /// by the product of the tapers: (E vu - E v E u) / sqrt((E v² - (E v)²) (E u² - (E u)²)).
    fn covariance(&mut self, k: usize) {
        let Self {
            pixels,
            taper,
            per_overlap,
            sums,
            planes,
            ..
        } = self;
        for pixels in &mut pixels[k] {
            // The transforms pack these with the taper, and would lose the smaller of the two in the other's rounding.
            let scale = (pixels.len() as f32 / dot(pixels, pixels).max(f32::MIN_POSITIVE)).sqrt();
            pixels.iter_mut().for_each(|pixel| *pixel *= scale);
        }
        let [a, b] = &pixels[k];
        let squared = |p: &[f32]| -> Vec<f32> { p.iter().zip(&*taper).map(|(p, w)| p * p / w).collect() };
        let (a2, b2) = (squared(a), squared(b));
        let mut moments = [planes.clone(), planes.clone(), planes.clone()];
        sums.correlate([[a, b], [a, taper]], &mut moments[0]);
        sums.correlate([[taper, b], [&a2, taper]], &mut moments[1]);
        sums.correlate([[taper, &b2], [taper, &b2]], &mut moments[2]);
        let [[ab, a], [b, a2], [b2, _]] = &moments;
        for (i, value) in planes[k].values_mut().iter_mut().enumerate() {
            let [ab, a, b, a2, b2] =
                [ab, a, b, a2, b2].map(|plane| plane.values()[i] * per_overlap.values()[i]);
            let variances = [a2 - a * a, b2 - b * b];
            // An overlap that is uniform to rounding has no correlation.
            let varied = variances[0] > 1e-6 * a2 && variances[1] > 1e-6 * b2;
            *value = if varied {
                (ab - a * b) / (variances[0].sqrt() * variances[1].sqrt())
            } else {
                0.0
            };
        }
    }
}

/// Sum of products, in lanes so that the compiler can use vector registers; the order is fixed.
fn dot(a: &[f32], b: &[f32]) -> f32 {
    const LANES: usize = 16;
    let mut sums = [0.0; LANES];
    let (a, a_rest) = a.as_chunks::<LANES>();
    let (b, b_rest) = b.as_chunks::<LANES>();
    for (a, b) in a.iter().zip(b) {
        for k in 0..LANES {
            sums[k] += a[k] * b[k];
        }
    }
    sums.iter().sum::<f32>() + a_rest.iter().zip(b_rest).map(|(a, b)| a * b).sum::<f32>()
}

/// Sum of w(i) w(i + lag).
fn autocorrelation(taper: &[f64], lag: usize) -> f64 {
    taper.iter().zip(taper.iter().skip(lag)).map(|(w, v)| w * v).sum()
}

/// Sums of products a(x, y) b(x + i, y + j) at the lags of a plane, by FFT or directly.
struct Sums {
    window: [usize; 2],
    direct: bool,
    transform: Transform,
    spectra: [Vec<Complex<f32>>; 2],
    product: Vec<Complex<f32>>,
}

impl Sums {
    fn new(window: [usize; 2], correlation: Correlation) -> Self {
        let reach = Plane::new(window).reach();
        let transform = Transform::new(match correlation {
            Correlation::Circular => window,
            // So long that the lags of the plane stay clear of what wraps round.
            Correlation::ZeroPadded => [0, 1].map(|k| fast_length(window[k] + reach[k] as usize)),
            Correlation::Direct => [1, 1],
        });
        let zeros = vec![Complex::default(); transform.len()];
        Self {
            window,
            direct: correlation == Correlation::Direct,
            transform,
            spectra: [zeros.clone(), zeros.clone()],
            product: zeros,
        }
    }

    /// Correlates two pairs of windows at once.
    fn correlate(&mut self, pairs: [[&[f32]; 2]; 2], planes: &mut [Plane; 2]) {
        if self.direct {
            for (pair, plane) in pairs.into_iter().zip(planes) {
                self.by_summation(pair, plane);
            }
        } else {
            self.by_fft(pairs, planes);
        }
    }

    fn by_summation(&self, [a, b]: [&[f32]; 2], plane: &mut Plane) {
        let [width, height] = self.window.map(|side| side as isize);
        for (j, row) in plane.rows_mut() {
            for (i, value) in row {
                let columns = (-i).max(0)..width.min(width - i);
                let sum: f64 = ((-j).max(0)..height.min(height - j))
                    .flat_map(|y| {
                        columns
                            .clone()
                            .map(move |x| (y * width + x, (y + j) * width + x + i))
                    })
                    .map(|(k, m)| f64::from(a[k as usize]) * f64::from(b[m as usize]))
                    .sum();
                *value = sum as f32;
            }
        }
    }

    fn by_fft(&mut self, pairs: [[&[f32]; 2]; 2], planes: &mut [Plane; 2]) {
        let Self {
            window: [window_width, _],
            transform,
            spectra: [one, two],
            product,
            ..
        } = self;
        let size = transform.size;
        for (spectrum, [a, b]) in [&mut *one, &mut *two].into_iter().zip(pairs) {
            let windows = a.chunks_exact(*window_width).zip(b.chunks_exact(*window_width));
            let mut rows = spectrum.chunks_exact_mut(size[0]);
            for ((a, b), row) in windows.zip(&mut rows) {
                let (used, padding) = row.split_at_mut(*window_width);
                for ((z, &a), &b) in used.iter_mut().zip(a).zip(b) {
                    *z = Complex::new(a, b);
                }
                padding.fill(Complex::default());
            }
            rows.for_each(|row| row.fill(Complex::default()));
            transform.forward(spectrum);
        }
        transform.cross_spectra(one, two, product);
        transform.inverse(product);
        let [first, second] = planes;
        let reach = first.reach().map(|reach| reach as usize);
        let columns = 2 * reach[0] + 1;
        let rows = first.values_mut().chunks_exact_mut(columns);
        for (j, (first, second)) in rows
            .zip(second.values_mut().chunks_exact_mut(columns))
            .enumerate()
        {
            let from = &product[(j + size[1] * 2 - reach[1]) % size[1] * size[0]..][..size[0]];
            // From lag -reach on, going round where the lags do.
            let (mut column, mut index) = (0, (2 * size[0] - reach[0]) % size[0]);
            while column < columns {
                let run = (size[0] - index).min(columns - column);
                let first = first[column..column + run].iter_mut();
                let second = second[column..column + run].iter_mut();
                for ((first, second), z) in first.zip(second).zip(&from[index..index + run]) {
                    (*first, *second) = (z.re, z.im);
                }
                (column, index) = (column + run, 0);
            }
        }
    }
}

/// The least length of at least `length` with no prime factor above 3, which transforms fast.
fn fast_length(length: usize) -> usize {
    let without = |n: usize, factor: usize| {
        let mut rest = n;
        while rest.is_multiple_of(factor) {
            rest /= factor;
        }
        rest
    };
    (length..)
        .find(|&n| without(without(n, 2), 3) == 1)
        .unwrap_or(length)
}

/// The correlation plane of two windows, to be looked at; `None` if one of them is uniform.
///
/// `a` and `b` are the windows of frame A and frame B, of the same shape (height, width).
///
/// # Errors
/// If the shapes differ, a side is shorter than 4 px, or the normalisation does not go with the correlation.
pub fn correlation_plane(
    a: ArrayView2<f32>,
    b: ArrayView2<f32>,
    processing: &Processing,
) -> Result<Option<Plane>, ProcessingError> {
    let frames = Frames::new(a, b)?;
    let window = frames.size;
    let pass = Pass { window, overlap: 0.0 };
    let processing = Processing {
        passes: vec![pass],
        ..processing.clone()
    };
    processing.validate(window[0], window[1])?;
    let Processing {
        weighting,
        correlation,
        normalise,
        ..
    } = processing;
    let mut correlator = WindowCorrelator::new(window, weighting, correlation, normalise);
    if frames
        .views()
        .iter()
        .any(|frame| frame.is_uniform([0, 0], window))
    {
        return Ok(None);
    }
    let mut plane = None;
    let corners = [Corners { a: [0, 0], b: [0, 0] }];
    correlator.correlate(frames.views(), &corners, |_, found| plane = Some(found.clone()));
    Ok(plane)
}
