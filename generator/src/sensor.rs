//! The camera: EMVA 1288 linear model (release 4.0 Linear; equations from memory, checked in the tests by their moments).
//!
//! Photo-electrons arrive by a Poisson law about the expected number, and so do the electrons of the dark current; the readout
//! adds normal dark noise; the overall system gain K turns electrons into grey levels above the black level; the
//! converter rounds and clips: y = round(K (n + d) + black), μ_y = K (μ_e + μ_dark) + black, σ_y² = K² σ_d² + K² (μ_e + μ_dark) + 1/12.
//!
//! Pixels differ: each has its own offset (standard deviation DSNU, electrons) and its own response (standard deviation
//! PRNU, relative), both normal and without pattern from pixel to pixel; a few are hot (they gather a large dark signal) or
//! dead (they answer to nothing). These belong to the camera: they are drawn from the study's seed alone and stay the same in
//! every frame of every pair. Crosstalk: a share of each pixel's light reaches its four neighbours in equal parts before it becomes
//! charge (at the border the missing neighbour is taken to look like the pixel itself); since the parts of a Poisson number are
//! Poisson numbers, it acts on the expected light.

use multiversion::multiversion;
use ndarray::Array2;
use rand::Rng;
use rayon::prelude::*;

use crate::pair::shared;
use crate::poisson::shoot;
use crate::random::{Purpose, Seed, normal, stream};
use crate::scene::{SceneError, SceneField, check, number};

/// A camera by its EMVA 1288 figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sensor {
    /// Bits of a grey level, 1 to 16.
    pub bits: u32,
    /// Overall system gain K, grey levels (DN) per electron.
    pub gain_dn_per_e: f64,
    /// Electrons at which a pixel is full.
    pub full_well_e: f64,
    /// Temporal dark noise σ_d without the dark current's, electrons.
    pub dark_noise_e: f64,
    /// Mean grey level of a dark pixel without dark current, DN.
    pub black_level_dn: f64,
    /// Electrons that the dark current gathers in frame A and in frame B (current × exposure).
    pub dark_current_e: [f64; 2],
    /// Dark signal non-uniformity: standard deviation of the pixels' offsets, electrons.
    pub dsnu_e: f64,
    /// Photo response non-uniformity: relative standard deviation of the pixels' response.
    pub prnu: f64,
    /// Share of pixels that are hot.
    pub hot_pixels: f64,
    /// Dark signal of a hot pixel, electrons.
    pub hot_level_e: f64,
    /// Share of pixels that are dead.
    pub dead_pixels: f64,
    /// Share of a pixel's light that goes to its four neighbours.
    pub crosstalk: f64,
}

impl Default for Sensor {
    /// A common industrial 12-bit camera without flaws: full well 12 000 e, dark noise 5 e; its gain and black level use the
    /// range of grey levels.
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
        }
    }
}

impl Sensor {
    /// Largest grey level.
    pub fn white_dn(&self) -> f64 {
        f64::from((1u32 << self.bits) - 1)
    }

    /// The gain at which the full well, above a black level of five dark-noise deviations, just reaches the largest grey level.
    pub fn usual_gain_dn_per_e(bits: u32, full_well_e: f64, dark_noise_e: f64) -> f64 {
        f64::from((1u32 << bits) - 1) / (full_well_e + 5.0 * dark_noise_e)
    }

    /// The black level at which 5 standard deviations of the dark noise stay above zero, so that a dark picture's mean is not
    /// clipped upward (5 K σ_d, rounded up, at least 1 DN).
    pub fn usual_black_level_dn(gain_dn_per_e: f64, dark_noise_e: f64) -> f64 {
        (5.0 * gain_dn_per_e * dark_noise_e).ceil().max(1.0)
    }

    pub(crate) fn validate(&self) -> Result<(), SceneError> {
        let share = |s: f64| (0.0..=1.0).contains(&s);
        let dark_current = |e: f64| {
            let good = (0.0..=1e9).contains(&e);
            number(SceneField::DarkCurrent, e, "e", good, "0 to 1e9 e in each frame")
        };
        check([
            number(
                SceneField::Bits,
                f64::from(self.bits),
                "",
                (1..=16).contains(&self.bits),
                "1 to 16",
            ),
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
            number(
                SceneField::DarkNoise,
                self.dark_noise_e,
                "e",
                (0.0..=1e6).contains(&self.dark_noise_e),
                "0 to 1e6 e",
            ),
            number(
                SceneField::BlackLevel,
                self.black_level_dn,
                "DN",
                (0.0..65_536.0).contains(&self.black_level_dn),
                "0 to the largest grey level",
            ),
            dark_current(self.dark_current_e[0]),
            dark_current(self.dark_current_e[1]),
            number(
                SceneField::Dsnu,
                self.dsnu_e,
                "e",
                (0.0..=1e6).contains(&self.dsnu_e),
                "0 to 1e6 e",
            ),
            number(
                SceneField::Prnu,
                self.prnu,
                "",
                (0.0..=0.5).contains(&self.prnu),
                "0 to 0.5",
            ),
            number(
                SceneField::HotPixels,
                self.hot_pixels,
                "",
                share(self.hot_pixels),
                "0 to 1",
            ),
            number(
                SceneField::HotLevel,
                self.hot_level_e,
                "e",
                (0.0..=1e9).contains(&self.hot_level_e),
                "0 to 1e9 e",
            ),
            number(
                SceneField::DeadPixels,
                self.dead_pixels,
                "",
                share(self.dead_pixels) && self.hot_pixels + self.dead_pixels <= 1.0,
                "0 to 1, together with the hot ones",
            ),
            number(
                SceneField::Crosstalk,
                self.crosstalk,
                "",
                (0.0..=0.8).contains(&self.crosstalk),
                "0 to 0.8 (at which all five pixels get the same)",
            ),
        ])
    }

    /// Turns the expected photo-electrons of a pair's frame A (0) or B (1) into the charge that pixels without flaws would gather on
    /// average, e: light as the pixels share it, and the dark current.
    pub fn charge(&self, image: &mut Array2<f32>, frame: u32) {
        if self.crosstalk > 0.0 {
            self.mix(image);
        }
        *image += self.dark_current_e[frame.min(1) as usize] as f32;
    }

    /// Charge above which a pixel says no more: it is full, or its grey level the largest, e.
    pub fn saturation_e(&self) -> f64 {
        let largest = (self.white_dn() - self.black_level_dn) / self.gain_dn_per_e;
        self.full_well_e.min(largest)
    }

    /// Variance of a pixel's reading without light and dark current, e²: dark noise and the rounding to grey levels.
    pub fn floor_e2(&self) -> f64 {
        self.dark_noise_e.powi(2) + 1.0 / (12.0 * self.gain_dn_per_e.powi(2))
    }

    /// Turns the expected photo-electrons of a pair's frame A (0) or B (1) into grey levels in place.
    pub fn read(&self, image: &mut Array2<f32>, seed: Seed, frame: u32) {
        self.expose(image, seed, frame, self.dark_current_e[frame.min(1) as usize]);
    }

    /// The same for frame `frame` of a time series, whose exposures are all like frame A's.
    pub fn read_series(&self, image: &mut Array2<f32>, seed: Seed, frame: u32) {
        self.expose(image, seed, frame, self.dark_current_e[0]);
    }

    /// Row by row, each row with its own random stream.
    fn expose(&self, image: &mut Array2<f32>, seed: Seed, frame: u32, dark_current_e: f64) {
        if self.crosstalk > 0.0 {
            self.mix(image);
        }
        let (height, width) = image.dim();
        let band = |(k, pixels): (usize, &mut [f32])| {
            let mut row = Row::new(width);
            for (y, pixels) in (k * BAND..).zip(pixels.chunks_mut(width)) {
                self.read_row(pixels, &mut row, seed, frame, y as u64, dark_current_e as f32);
            }
        };
        let pixels = image.as_slice_mut().expect("an image in standard layout");
        if shared([width, height]) {
            pixels.par_chunks_mut(BAND * width).enumerate().for_each(band);
        } else {
            pixels.chunks_mut(BAND * width).enumerate().for_each(band);
        }
    }

    fn read_row(
        &self,
        pixels: &mut [f32],
        row: &mut Row,
        seed: Seed,
        frame: u32,
        y: u64,
        dark_current_e: f32,
    ) {
        if self.dsnu_e > 0.0 || self.prnu > 0.0 || self.hot_pixels > 0.0 || self.dead_pixels > 0.0 {
            row.draw(seed.of_study(), Purpose::Camera, y);
            self.light_flawed(pixels, dark_current_e, row);
        } else {
            pixels.iter_mut().for_each(|pixel| *pixel += dark_current_e);
        }
        row.draw(seed, Purpose::Noise, u64::from(frame) << 32 | y);
        let [first, second, _] = &mut row.words;
        shoot(pixels, first, second, self.full_well_e as f32);
        self.convert(pixels, row);
    }

    /// Each pixel keeps 1 − c of its light and gets c/4 of each neighbour's.
    fn mix(&self, image: &mut Array2<f32>) {
        let light = image.clone();
        let (height, width) = light.dim();
        let (keep, give) = (1.0 - self.crosstalk as f32, 0.25 * self.crosstalk as f32);
        for y in 0..height {
            let (above, below) = (y.saturating_sub(1), (y + 1).min(height - 1));
            for x in 0..width {
                let (left, right) = (x.saturating_sub(1), (x + 1).min(width - 1));
                let around = (light[[above, x]] + light[[below, x]]) + (light[[y, left]] + light[[y, right]]);
                image[[y, x]] = keep * light[[y, x]] + give * around;
            }
        }
    }

    /// Expected charge of a row of pixels that are not alike; leaves their offsets in `row`.
    fn light_flawed(&self, pixels: &mut [f32], dark_current_e: f32, row: &mut Row) {
        let (dsnu, prnu) = (self.dsnu_e as f32, self.prnu as f32);
        let [offsets, responses, flaws] = &row.words;
        for (k, pixel) in pixels.iter_mut().enumerate() {
            let mut charge = *pixel * (1.0 + prnu * normal(responses[k])).max(0.0) + dark_current_e;
            row.offset[k] = dsnu * normal(offsets[k]);
            let flaw = f64::from(flaws[k]) / 4_294_967_296.0;
            if flaw < self.hot_pixels {
                charge += self.hot_level_e as f32;
            } else if flaw < self.hot_pixels + self.dead_pixels {
                (charge, row.offset[k]) = (0.0, 0.0);
            }
            *pixel = charge;
        }
    }

    /// Numbers of electrons to grey levels.
    fn convert(&self, pixels: &mut [f32], row: &Row) {
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

/// Rows that a thread reads at a time.
const BAND: usize = 64;

/// Random words of a row of pixels, three a pixel, and the pixels' offsets, electrons.
struct Row {
    bytes: Vec<u8>,
    words: [Vec<u32>; 3],
    offset: Vec<f32>,
}

impl Row {
    fn new(width: usize) -> Row {
        Row {
            bytes: vec![0; 4 * width],
            words: std::array::from_fn(|_| vec![0; width]),
            offset: vec![0.0; width],
        }
    }

    fn draw(&mut self, seed: Seed, purpose: Purpose, place: u64) {
        let mut rng = stream(seed, purpose, place);
        for words in &mut self.words {
            rng.fill_bytes(&mut self.bytes);
            for (word, bytes) in words.iter_mut().zip(self.bytes.as_chunks::<4>().0) {
                *word = u32::from_le_bytes(*bytes);
            }
        }
    }
}

#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
fn convert(pixels: &mut [f32], words: &[u32], offsets: &[f32], [dark_noise, gain, black, white]: [f64; 4]) {
    for ((pixel, &word), &offset) in pixels.iter_mut().zip(words).zip(offsets) {
        let dark = dark_noise * f64::from(normal(word)) + f64::from(offset);
        let grey = gain * (f64::from(*pixel) + dark) + black;
        *pixel = (grey + 0.5).floor().clamp(0.0, white) as f32;
    }
}
