//! The sensor by the linear model of EMVA 1288 (release 4.0 Linear).
//!
//! The numbers of photo-electrons and of dark-current electrons are Poisson numbers about their
//! means; the readout adds normal dark noise; the overall system gain K turns electrons into grey
//! levels above the black level; the converter rounds and clips. With n electrons and the dark
//! noise d, y = round(K (n + d) + black), so μ_y = K (μ_e + μ_dark) + black and σ_y² = K² σ_d² + K²
//! (μ_e + μ_dark) + 1/12.
//!
//! Pixels differ: each has its own offset (standard deviation DSNU, electrons) and its own response
//! (relative standard deviation PRNU), both normal and independent from pixel to pixel. A few
//! pixels are hot, with a large dark signal, or dead, without any. These belong to the camera: they
//! follow from the study's seed alone and are the same in every frame of every pair.
//!
//! Crosstalk passes a fraction of each pixel's light to its four neighbours in equal parts; beyond
//! the border the pixel itself stands for the missing neighbour. Since the parts of a Poisson
//! number are Poisson numbers, it acts on the expected light.
//!
//! A real response bends: of n electrons n (1 − ν n/n_full) are read, so that a full pixel falls
//! short of the straight line by the fraction ν; from the line nearest to it this parabola is ν/8
//! of the full well away at most.

mod pixels;

use ndarray::Array2;
use rand::Rng;
use rayon::prelude::*;
use serde::Serialize;

use crate::error::{SceneError, SceneField, failed, in_range, number};
use crate::poisson::{needs_second_word, shoot};
use crate::random::{Purpose, Seed, stream};
use crate::threads::shares;
use pixels::{convert, differing};

/// A sensor by its EMVA 1288 figures.
///
/// ```
/// use motefield_generator::{Seed, Sensor};
/// use ndarray::Array2;
///
/// let sensor = Sensor { gain_dn_per_e: 0.2, black_level_dn: 50.0, ..Sensor::default() };
/// let mut frame = Array2::from_elem((64, 64), 1000.0);
/// sensor.read(&mut frame, Seed::default(), 0);
/// let mean = frame.mean().expect("the frame has pixels");
/// assert!((mean - 250.0).abs() < 1.0);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Sensor {
    /// Bits of a grey level, 1 to 16.
    pub bits: u32,
    /// Overall system gain K, DN per electron; above 0.
    pub gain_dn_per_e: f64,
    /// Full-well capacity, electrons; above 0.
    pub full_well_e: f64,
    /// Temporal dark noise σ_d without that of the dark current, electrons.
    pub dark_noise_e: f64,
    /// Mean grey level of a dark pixel without dark current, DN.
    pub black_level_dn: f64,
    /// Mean number of electrons of the dark current in frame A and in frame B: current × exposure.
    pub dark_current_e: [f64; 2],
    /// Dark signal non-uniformity (DSNU): standard deviation of the pixels' offsets, electrons.
    pub dsnu_e: f64,
    /// Photo response non-uniformity (PRNU): relative standard deviation of the pixels' response,
    /// 0 to 0.5.
    pub prnu: f64,
    /// Fraction of pixels that are hot, 0 to 1.
    pub hot_pixels: f64,
    /// Mean dark signal of a hot pixel, electrons.
    pub hot_level_e: f64,
    /// Fraction of pixels that are dead, 0 to 1 together with the hot ones.
    pub dead_pixels: f64,
    /// Fraction of a pixel's light that goes to its four neighbours, 0 to 0.8.
    pub crosstalk: f64,
    /// Fraction by which the reading of a full pixel falls short of a straight line, 0 to 0.3.
    pub nonlinearity: f64,
}

impl Default for Sensor {
    /// A common industrial 12-bit camera without defects: full well 12 000 e, dark noise 5 e, and
    /// the usual gain and black level for these.
    fn default() -> Self {
        let (bits, full_well_e, dark_noise_e) = (12, 12_000.0, 5.0);
        let gain_dn_per_e = Sensor::usual_gain_dn_per_e(bits, full_well_e, dark_noise_e);
        Sensor {
            bits,
            gain_dn_per_e,
            full_well_e,
            dark_noise_e,
            black_level_dn: Sensor::usual_black_level_dn(gain_dn_per_e, dark_noise_e),
            dark_current_e: [0.0; 2],
            dsnu_e: 0.0,
            prnu: 0.0,
            hot_pixels: 0.0,
            hot_level_e: full_well_e,
            dead_pixels: 0.0,
            crosstalk: 0.0,
            nonlinearity: 0.0,
        }
    }
}

impl Sensor {
    /// Largest grey level, 2^bits − 1, DN.
    pub fn white_dn(&self) -> f64 {
        f64::from((1u32 << self.bits) - 1)
    }

    /// Gain at which a full pixel just reaches the largest grey level, with room for a black level
    /// of five standard deviations of the dark noise; DN per electron.
    pub fn usual_gain_dn_per_e(bits: u32, full_well_e: f64, dark_noise_e: f64) -> f64 {
        f64::from((1u32 << bits) - 1) / (full_well_e + 5.0 * dark_noise_e)
    }

    /// Black level that keeps five standard deviations of the dark noise above zero, so that
    /// clipping does not raise the mean of a dark picture: 5 K σ_d, rounded up, at least 1 DN.
    pub fn usual_black_level_dn(gain_dn_per_e: f64, dark_noise_e: f64) -> f64 {
        (5.0 * gain_dn_per_e * dark_noise_e).ceil().max(1.0)
    }

    pub(crate) fn faults(&self) -> Vec<SceneError> {
        let dark_current = |e: f64| {
            in_range(
                SceneField::DarkCurrent,
                e,
                "e",
                0.0..=1e9,
                "0 to 1e9 e in each frame",
            )
        };
        failed([
            in_range(SceneField::Bits, f64::from(self.bits), "", 1.0..=16.0, "1 to 16"),
            number(
                SceneField::Gain,
                self.gain_dn_per_e,
                "DN/e",
                self.gain_dn_per_e > 0.0 && self.gain_dn_per_e <= 1e6,
                "above 0 and at most 1e6 DN/e",
            ),
            number(
                SceneField::FullWell,
                self.full_well_e,
                "e",
                self.full_well_e > 0.0 && self.full_well_e <= 1e9,
                "above 0 and at most 1e9 e",
            ),
            in_range(
                SceneField::DarkNoise,
                self.dark_noise_e,
                "e",
                0.0..=1e6,
                "0 to 1e6 e",
            ),
            number(
                SceneField::BlackLevel,
                self.black_level_dn,
                "DN",
                // Without a grey level above the black one no light shows. Too many bits are told
                // before.
                self.bits > 16 || (0.0..self.white_dn()).contains(&self.black_level_dn),
                "at least 0 and below the largest grey level (2^bits - 1)",
            ),
            dark_current(self.dark_current_e[0]),
            dark_current(self.dark_current_e[1]),
            in_range(SceneField::Dsnu, self.dsnu_e, "e", 0.0..=1e6, "0 to 1e6 e"),
            in_range(SceneField::Prnu, self.prnu, "", 0.0..=0.5, "0 to 0.5"),
            in_range(SceneField::HotPixels, self.hot_pixels, "", 0.0..=1.0, "0 to 1"),
            in_range(
                SceneField::HotLevel,
                self.hot_level_e,
                "e",
                0.0..=1e9,
                "0 to 1e9 e",
            ),
            number(
                SceneField::DeadPixels,
                self.dead_pixels,
                "",
                self.dead_pixels >= 0.0 && self.hot_pixels + self.dead_pixels <= 1.0,
                "0 to 1, together with the hot ones",
            ),
            in_range(
                SceneField::Crosstalk,
                self.crosstalk,
                "",
                0.0..=0.8,
                "0 to 0.8 (at which all five pixels get the same)",
            ),
            in_range(
                SceneField::Nonlinearity,
                self.nonlinearity,
                "",
                0.0..=0.3,
                "0 to 0.3",
            ),
        ])
    }

    /// Turns the expected photo-electrons of frame A (`frame` 0) or B (1) of a pair into the mean
    /// charge, e, of pixels that do not differ: adds crosstalk and dark current. `image` is
    /// height × width.
    pub fn charge(&self, image: &mut Array2<f32>, frame: u32) {
        if self.crosstalk > 0.0 {
            let part = ReadRegion::whole(image);
            self.mix(image, &part);
        }
        *image += self.dark_current_e[frame.min(1) as usize] as f32;
    }

    /// Charge from which on the reading no longer rises, e: the pixel is full, or its grey level
    /// the largest.
    pub fn saturation_e(&self) -> f64 {
        let largest = (self.white_dn() - self.black_level_dn) / self.gain_dn_per_e;
        self.full_well_e.min(largest)
    }

    /// Variance of a pixel's reading without light and dark current, e²: that of the dark noise and
    /// that of rounding to grey levels.
    pub fn floor_e2(&self) -> f64 {
        self.dark_noise_e.powi(2) + 1.0 / (12.0 * self.gain_dn_per_e.powi(2))
    }

    /// Turns the expected photo-electrons of frame A (`frame` 0) or B (1) of a pair into grey
    /// levels, in place. `image` is height × width; the figures of the sensor must be in their
    /// ranges, as [`Scene::validate`](crate::Scene::validate) checks.
    ///
    /// # Panics
    /// When `image` is not in standard (row-major) layout.
    pub fn read(&self, image: &mut Array2<f32>, seed: Seed, frame: u32) {
        let part = ReadRegion::whole(image);
        self.read_part(image, part, seed, frame);
    }

    /// The same for some rows of the picture.
    pub(crate) fn read_part(&self, image: &mut Array2<f32>, part: ReadRegion<'_>, seed: Seed, frame: u32) {
        self.expose(
            image,
            part,
            seed,
            frame,
            self.dark_current_e[frame.min(1) as usize],
        );
    }

    /// The same for frame `frame` of a time series, whose exposures are all like that of frame A.
    pub(crate) fn read_series(&self, image: &mut Array2<f32>, part: ReadRegion<'_>, seed: Seed, frame: u32) {
        self.expose(image, part, seed, frame, self.dark_current_e[0]);
    }

    /// Reads row by row, each with its own random stream, so that threads can share the rows.
    fn expose(
        &self,
        image: &mut Array2<f32>,
        part: ReadRegion<'_>,
        seed: Seed,
        frame: u32,
        dark_current_e: f64,
    ) {
        if self.crosstalk > 0.0 {
            self.mix(image, &part);
        }
        let width = image.ncols();
        let band = |(k, pixels): (usize, &mut [f32])| {
            let mut row = RowDraws::new(width, &part);
            for (y, pixels) in (part.top + k * BAND..).zip(pixels.chunks_mut(width)) {
                self.read_row(pixels, &mut row, seed, frame, y as u64, dark_current_e as f32);
            }
        };
        let pixels = image.as_slice_mut().expect("an image in standard layout");
        if shares(part.size) {
            pixels.par_chunks_mut(BAND * width).enumerate().for_each(band);
        } else {
            pixels.chunks_mut(BAND * width).enumerate().for_each(band);
        }
    }

    /// Reads one row; `dark_current_e` is the mean number of electrons of the dark current.
    fn read_row(
        &self,
        pixels: &mut [f32],
        row: &mut RowDraws,
        seed: Seed,
        frame: u32,
        y: u64,
        dark_current_e: f32,
    ) {
        if self.dsnu_e > 0.0 || self.prnu > 0.0 || self.hot_pixels > 0.0 || self.dead_pixels > 0.0 {
            row.draw(&[0, 1, 2], seed.of_study(), Purpose::Camera, y);
            self.charge_differing(pixels, dark_current_e, row);
        } else {
            pixels.iter_mut().for_each(|pixel| *pixel += dark_current_e);
        }
        let words: &[usize] = match needs_second_word(pixels) {
            true => &[0, 1, 2],
            false => &[0, 2],
        };
        row.draw(words, seed, Purpose::Noise, u64::from(frame) << 32 | y);
        let [first, second, _] = &mut row.words;
        shoot(pixels, first, second, self.full_well_e as f32);
        if self.nonlinearity > 0.0 {
            let bend = (self.nonlinearity / self.full_well_e) as f32;
            pixels.iter_mut().for_each(|n| *n -= bend * *n * *n);
        }
        self.convert(pixels, row);
    }

    /// Each pixel keeps 1 − c of its light and gets c/4 of each neighbour's.
    fn mix(&self, image: &mut Array2<f32>, part: &ReadRegion<'_>) {
        let light = image.clone();
        let (height, width) = light.dim();
        let (keep, give) = (1.0 - self.crosstalk as f32, 0.25 * self.crosstalk as f32);
        for y in 0..height {
            // Beyond the border a pixel has a neighbour like itself.
            let above = match (y, part.above) {
                (0, Some(row)) => row.row(0),
                _ => light.row(y.saturating_sub(1)),
            };
            let below = match part.below {
                Some(row) if y + 1 == height => row.row(0),
                _ => light.row((y + 1).min(height - 1)),
            };
            for x in 0..width {
                let (left, right) = (x.saturating_sub(1), (x + 1).min(width - 1));
                let around = (above[x] + below[x]) + (light[[y, left]] + light[[y, right]]);
                image[[y, x]] = keep * light[[y, x]] + give * around;
            }
        }
    }

    /// Mean charge of a row of pixels that differ; leaves their offsets in `row`.
    fn charge_differing(&self, pixels: &mut [f32], dark_current_e: f32, row: &mut RowDraws) {
        let [offsets, responses, defects] = &row.words;
        let differ = [self.dsnu_e as f32, self.prnu as f32];
        differing(
            pixels,
            &mut row.offset,
            [offsets, responses],
            differ,
            dark_current_e,
        );
        if self.hot_pixels == 0.0 && self.dead_pixels == 0.0 {
            return;
        }
        for ((pixel, offset), defect) in pixels.iter_mut().zip(&mut row.offset).zip(defects) {
            let defect = f64::from(*defect) / 4_294_967_296.0;
            if defect < self.hot_pixels {
                *pixel += self.hot_level_e as f32;
            } else if defect < self.hot_pixels + self.dead_pixels {
                (*pixel, *offset) = (0.0, 0.0);
            }
        }
    }

    /// Turns numbers of electrons into grey levels.
    fn convert(&self, pixels: &mut [f32], row: &RowDraws) {
        convert(
            pixels,
            &row.words[2],
            &row.offset,
            [
                self.dark_noise_e,
                self.gain_dn_per_e,
                self.black_level_dn,
                self.white_dn(),
            ],
        );
    }
}

/// Where in the picture the pixels are that a sensor reads.
#[derive(Clone, Copy)]
pub(crate) struct ReadRegion<'a> {
    /// Width and height of the whole picture.
    pub(crate) size: [usize; 2],
    /// The first column, and the first row.
    pub(crate) left: usize,
    pub(crate) top: usize,
    /// Light on the row above the first, 1 × width, where there is one.
    pub(crate) above: Option<&'a Array2<f32>>,
    /// Light on the row below the last, 1 × width, where there is one.
    pub(crate) below: Option<&'a Array2<f32>>,
}

impl ReadRegion<'_> {
    pub(crate) fn whole(image: &Array2<f32>) -> ReadRegion<'static> {
        let (height, width) = image.dim();
        ReadRegion {
            size: [width, height],
            left: 0,
            top: 0,
            above: None,
            below: None,
        }
    }
}

/// Rows that one thread reads at a time.
const BAND: usize = 64;

/// Three random words per pixel of a row, and the pixels' offsets, electrons.
struct RowDraws {
    bytes: Vec<u8>,
    words: [Vec<u32>; 3],
    offset: Vec<f32>,
    /// Width of the whole picture, and the first column.
    whole: usize,
    left: usize,
}

impl RowDraws {
    fn new(width: usize, part: &ReadRegion<'_>) -> RowDraws {
        RowDraws {
            bytes: vec![0; 4 * width],
            words: std::array::from_fn(|_| vec![0; width]),
            offset: vec![0.0; width],
            whole: part.size[0],
            left: part.left,
        }
    }

    /// Draws those of the three words whose numbers are given; the others stay what they were.
    fn draw(&mut self, numbers: &[usize], seed: Seed, purpose: Purpose, place: u64) {
        let mut rng = stream(seed, purpose, place);
        for &k in numbers {
            let words = &mut self.words[k];
            // A pixel's words stand at the same place of the stream whatever else is read.
            rng.set_word_pos((k * self.whole + self.left) as u128);
            rng.fill_bytes(&mut self.bytes);
            for (word, bytes) in words.iter_mut().zip(self.bytes.as_chunks::<4>().0) {
                *word = u32::from_le_bytes(*bytes);
            }
        }
    }
}
