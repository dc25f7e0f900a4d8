//! Pictures for the eye: a cut of a pair, enlarged.

use motefield_generator::{Pair, Scene};

use motefield_files::picture::png;
use ndarray::Array2;

/// Side of the cut, px.
const CUT: usize = 96;
/// Enlargement.
const TIMES: usize = 4;
/// Between frame A and frame B, px of the enlarged picture.
const GAP: usize = 8;

/// Grey levels from black to white.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tone {
    black: f32,
    white: f32,
}

impl Tone {
    /// From a dark level to the brightest two in a thousand pixels of a frame.
    pub fn from_dark(black: f32, frame: &Array2<f32>) -> Tone {
        let mut values: Vec<f32> = frame.iter().copied().collect();
        values.sort_by(f32::total_cmp);
        let white = values[(values.len() - 1) * 998 / 1000];
        Tone {
            black,
            white: white.max(black + 1.0),
        }
    }

    /// From the scene's mean background to the brightest two in a thousand pixels of the pair.
    pub fn of(pair: &Pair, scene: &Scene) -> Tone {
        let black = scene.camera.sensor.map_or(scene.background_e[0], |s| {
            s.black_level_dn + s.gain_dn_per_e * scene.background_e[0]
        }) as f32;
        Tone::from_dark(black, &pair.a)
    }
}

/// The middle of frame A, left, and frame B, right, enlarged, as PNG. The tone curve is a display's
/// (power 1/2.2), so that dim particles show.
pub fn cut(pair: &Pair, tone: Tone) -> Vec<u8> {
    let (height, width) = pair.a.dim();
    let (cw, ch) = (CUT.min(width), CUT.min(height));
    let (x0, y0) = ((width - cw) / 2, (height - ch) / 2);
    let (pw, ph) = (2 * cw * TIMES + GAP, ch * TIMES);
    let grey = |v: f32| {
        let share = ((v - tone.black) / (tone.white - tone.black)).clamp(0.0, 1.0);
        (255.0 * share.powf(1.0 / 2.2)).round() as u8
    };
    let mut pixels = vec![255; pw * ph];
    for (k, frame) in [&pair.a, &pair.b].into_iter().enumerate() {
        let left = k * (cw * TIMES + GAP);
        for y in 0..ph {
            for x in 0..cw * TIMES {
                pixels[y * pw + left + x] = grey(frame[[y0 + y / TIMES, x0 + x / TIMES]]);
            }
        }
    }
    png(pw, ph, pixels)
}
