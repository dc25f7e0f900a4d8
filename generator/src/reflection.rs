//! Light that walls, windows and bodies reflect into the picture, the same with every pulse and in
//! proportion to its energy.
//!
//! It has three parts: a picture, such as one recorded without particles; a glare line, as where
//! the sheet grazes a wall; and hot spots at random places, which are the same throughout a study.

use std::ops::{Range, RangeInclusive};
use std::sync::Arc;

use ndarray::{Array2, Axis, Slice};

use crate::error::{SceneError, SceneField, failed, in_range, number};
use crate::random::{Purpose, Seed, open01, stream};
use crate::sheet::Profile;

/// A straight bright line through the whole picture, Gaussian across.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Glare {
    /// Photo-electrons per pixel on the line, 0 to 1e9.
    pub peak_e: f64,
    /// A point on the line, px.
    pub at_px: [f64; 2],
    /// Angle of the line to x, turning toward y, rad.
    pub angle_rad: f64,
    /// e⁻² full width, px; above 0 and at most 1e5.
    pub width_px: f64,
}

/// Gaussian bright spots at random places, drawn from the study's seed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HotSpots {
    /// Number of spots, at most 100 000.
    pub count: usize,
    /// Photo-electrons per pixel in the middle of each, 0 to 1e9.
    pub peak_e: f64,
    /// e⁻² diameter, px; above 0 and at most 1e5.
    pub diameter_px: f64,
}

impl HotSpots {
    /// Adds their light to these columns and rows of a picture of this width and height.
    fn shine(&self, light: &mut Array2<f32>, size: [usize; 2], of: &[Range<usize>; 2], seed: Seed) {
        let [columns, rows] = of;
        let mut rng = stream(seed.of_study(), Purpose::HotSpots, 0);
        for _ in 0..self.count {
            let at = size.map(|n| n as f64 * open01(&mut rng) - 0.5);
            let near = |at: f64, within: Range<usize>| {
                let low = (at - 1.5 * self.diameter_px).ceil().max(within.start as f64);
                let high = (at + 1.5 * self.diameter_px).floor().min(within.end as f64 - 1.0);
                low as usize..(high + 1.0).max(0.0) as usize
            };
            for y in near(at[1], rows.clone()) {
                for x in near(at[0], columns.clone()) {
                    let off = libm::hypot(x as f64 - at[0], y as f64 - at[1]);
                    light[[y - rows.start, x - columns.start]] +=
                        (self.peak_e * Profile::Gaussian.at(off / self.diameter_px)) as f32;
                }
            }
        }
    }
}

/// Reflected light of a pulse whose energy ratio is 1.
///
/// ```
/// use motefield_generator::{Glare, Reflections, Scene, Seed, render};
///
/// let mut scene = Scene { size: [32, 32], seeding_density_ppp: 0.0, ..Scene::default() };
/// scene.light.reflections = Reflections {
///     glare: Some(Glare { peak_e: 300.0, at_px: [0.0, 20.0], angle_rad: 0.0, width_px: 4.0 }),
///     ..Reflections::default()
/// };
/// let pair = render(&scene, Seed::default())?;
/// assert_eq!((pair.a[[20, 7]], pair.a[[5, 7]]), (300.0, 0.0));
/// # Ok::<(), motefield_generator::SceneError>(())
/// ```
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Reflections {
    /// Photo-electrons of each pixel, 0 to 1e9; height × width, the size of the frames.
    pub picture: Option<Arc<Array2<f32>>>,
    /// A glare line.
    pub glare: Option<Glare>,
    /// Hot spots.
    pub hot_spots: Option<HotSpots>,
}

impl Reflections {
    /// Photo-electrons of each pixel in these columns and rows of a picture, rows × columns; `None`
    /// if nothing is reflected. `size` is the width and height of the picture.
    pub(crate) fn part(&self, size: [usize; 2], of: [Range<usize>; 2], seed: Seed) -> Option<Array2<f32>> {
        if self.picture.is_none() && self.glare.is_none() && self.hot_spots.is_none() {
            return None;
        }
        let [columns, rows] = &of;
        let mut light = match &self.picture {
            Some(picture) => {
                let rows = picture.slice_axis(Axis(0), Slice::from(rows.clone()));
                rows.slice_axis(Axis(1), Slice::from(columns.clone())).to_owned()
            }
            None => Array2::zeros((rows.len(), columns.len())),
        };
        if let Some(glare) = self.glare {
            let (sin, cos) = libm::sincos(glare.angle_rad);
            for ((y, x), e) in light.indexed_iter_mut() {
                let (x, y) = ((columns.start + x) as f64, (rows.start + y) as f64);
                let off = cos * (y - glare.at_px[1]) - sin * (x - glare.at_px[0]);
                *e += (glare.peak_e * Profile::Gaussian.at(off / glare.width_px)) as f32;
            }
        }
        if let Some(spots) = self.hot_spots {
            spots.shine(&mut light, size, &of, seed);
        }
        Some(light)
    }

    pub(crate) fn faults(&self, size: [usize; 2]) -> Vec<SceneError> {
        let mut faults = Vec::new();
        const BRIGHTEST_E: RangeInclusive<f64> = 0.0..=1e9;
        let peak = |field: SceneField, e: f64| in_range(field, e, "e", BRIGHTEST_E, "0 to 1e9 e");
        let width = |field: SceneField, px: f64| {
            let good = px > 0.0 && px <= 1e5;
            number(field, px, "px", good, "above 0 and at most 1e5 px")
        };
        if let Some(picture) = &self.picture {
            let (height, width) = picture.dim();
            faults.extend(failed([
                (
                    SceneField::ReflectionPictureSize,
                    format!("{width} x {height} px"),
                    [width, height] == size,
                    "of the size of the image",
                ),
                (
                    SceneField::ReflectionPictureLight,
                    "out of range".to_owned(),
                    picture.iter().all(|e| BRIGHTEST_E.contains(&f64::from(*e))),
                    "0 to 1e9 e in each pixel",
                ),
            ]));
        }
        if let Some(glare) = self.glare {
            let finite = |field: SceneField, value: f64, unit: &str| {
                number(field, value, unit, value.is_finite(), "finite")
            };
            faults.extend(failed([
                peak(SceneField::GlarePeak, glare.peak_e),
                finite(SceneField::GlareX, glare.at_px[0], "px"),
                finite(SceneField::GlareY, glare.at_px[1], "px"),
                finite(SceneField::GlareAngle, glare.angle_rad, "rad"),
                width(SceneField::GlareWidth, glare.width_px),
            ]));
        }
        if let Some(spots) = self.hot_spots {
            let count = spots.count as f64;
            faults.extend(failed([
                peak(SceneField::HotSpotPeak, spots.peak_e),
                in_range(SceneField::HotSpotCount, count, "", 0.0..=1e5, "at most 100000"),
                width(SceneField::HotSpotDiameter, spots.diameter_px),
            ]));
        }
        faults
    }
}
