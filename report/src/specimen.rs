//! Pictures for the eye: a cut of a pair, enlarged.

use motefield_generator::{Pair, Scene};

use motefield_files::picture::png;
use ndarray::Array2;

use crate::figure::palette::{FAINT, INK};
use crate::figure::{Anchor, Area, BOLD, HEADING, NOTE, Svg, TITLE, fill, stroke};
use crate::format::typeset_all;
use motefield_rig::quantity::short;

/// Side of the cut, px.
const CUT: usize = 96;
/// How many times the cut is enlarged.
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
        let place = (values.len() - 1) * 998 / 1000;
        let (_, &mut white, _) = values.select_nth_unstable_by(place, f32::total_cmp);
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
        for y in 0..ch {
            let greys = (0..cw).map(|x| grey(frame[[y0 + y, x0 + x]]));
            let row: Vec<u8> = greys.flat_map(|grey| [grey; TIMES]).collect();
            for shown in TIMES * y..TIMES * (y + 1) {
                pixels[shown * pw + left..][..row.len()].copy_from_slice(&row);
            }
        }
    }
    png(pw, ph, pixels)
}

/// A pair to show, and what it is.
#[derive(Debug, Clone, Copy)]
pub struct Specimen<'a> {
    /// What it is: "best, 260 us".
    pub name: &'a str,
    /// The pair.
    pub pair: &'a Pair,
    /// What it shows.
    pub scene: &'a Scene,
}

/// Width and height of a cut, the space between them and above each, px of the picture.
const SHOWN: [f64; 2] = [392.0, 192.0];
const BETWEEN: f64 = 24.0;
const HEAD: f64 = 40.0;
const TOP: f64 = 64.0;
/// Length of the scale bar, px of the camera.
const BAR_PX: f64 = 20.0;

/// Pictures of pairs below each other as the content of an SVG file: left each at its own grey
/// scale, right all at the same, with scale bars and the ranges of grey.
pub fn pictures(specimens: &[Specimen]) -> String {
    let tones: Vec<Tone> = specimens.iter().map(|s| Tone::of(s.pair, s.scene)).collect();
    let same = Tone {
        black: tones.iter().map(|t| t.black).fold(f32::INFINITY, f32::min),
        white: tones.iter().map(|t| t.white).fold(f32::NEG_INFINITY, f32::max),
    };
    let size = [
        2.0 * SHOWN[0] + 3.0 * BETWEEN,
        TOP + (HEAD + SHOWN[1]) * specimens.len() as f64 + 40.0,
    ];
    let title = "Pictures of a pair";
    let about = "Frame A left, frame B right; the middle of the frames, enlarged.";
    let mut svg = Svg::new(size, title, about);
    svg.text(title, TITLE, [BETWEEN, 30.0], Anchor::Start, BOLD);
    svg.text(about, NOTE, [BETWEEN, 50.0], Anchor::Start, &fill(FAINT));
    for (k, (specimen, own)) in specimens.iter().zip(&tones).enumerate() {
        let top = TOP + (HEAD + SHOWN[1]) * k as f64;
        svg.text(
            &typeset_all(specimen.name),
            HEADING,
            [BETWEEN, top + 14.0],
            Anchor::Start,
            BOLD,
        );
        for (column, tone, words) in [(0.0, *own, "own grey scale"), (1.0, same, "same grey scale")] {
            let left = BETWEEN + column * (SHOWN[0] + BETWEEN);
            let area = Area {
                x: [left, left + SHOWN[0]],
                y: [top + HEAD - 8.0, top + HEAD - 8.0 + SHOWN[1]],
            };
            let unit = if specimen.scene.camera.sensor.is_some() {
                "DN"
            } else {
                "e"
            };
            let [black, white] = [tone.black, tone.white].map(|v| short(f64::from(v)));
            let range = format!("{words}: black {black}, white {white} {unit}");
            svg.text(&range, NOTE, [area.x[1], top + 14.0], Anchor::End, &fill(FAINT));
            svg.png(
                area,
                &cut(specimen.pair, tone),
                &format!("{}, {range}", specimen.name),
            );
        }
    }
    scale_bar(&mut svg, [BETWEEN, size[1] - 28.0], specimens);
    svg.finish()
}

/// A bar as long as so many pixels of the camera.
fn scale_bar(svg: &mut Svg, [left, y]: [f64; 2], specimens: &[Specimen]) {
    let Some(first) = specimens.first() else {
        return;
    };
    let across = CUT.min(first.pair.a.dim().1) as f64;
    let per_px = SHOWN[0] / (2.0 * across + GAP as f64 / TIMES as f64);
    svg.line([left, y], [left + BAR_PX * per_px, y], &stroke(INK, 4.0));
    let words = format!("{BAR_PX} px");
    svg.text(
        &words,
        NOTE,
        [left + BAR_PX * per_px + 8.0, y + 4.0],
        Anchor::Start,
        "",
    );
}
