//! Large pictures by bands of rows, so that no more than a band of them is in memory.

use ndarray::{Array2, Axis, Slice};

use super::draw::Drawing;
use super::with_steady_light;
use crate::error::SceneError;
use crate::flash::Flash;
use crate::random::Seed;
use crate::scene::Scene;
use crate::sensor::ReadRegion;

/// Rows of a band: enough that threads can share it.
const BAND_ROWS: usize = 512;

/// Some rows of the frames of a pair (A, B), or of the one frame of a series.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// Its first row in the picture.
    pub top: usize,
    /// Expected photo-electrons of each frame, rows × width.
    pub expected: Vec<Array2<f32>>,
    /// Grey levels of each frame, rows × width; expected photo-electrons without a sensor.
    pub grey: Vec<Array2<f32>>,
}

/// The bands of a pair or of a frame, from the top down.
pub struct Bands<'a> {
    scene: &'a Scene,
    seed: Seed,
    drawing: Drawing<'a>,
    /// Number of the frame in its time series; `None` for a pair.
    of_series: Option<u32>,
    top: usize,
    /// The last row of the band before, of each frame.
    above: Vec<Array2<f32>>,
}

/// A pair by bands of rows, to the bit what [`expected`](super::expected) and
/// [`render`](super::render) give: for pictures that would fill the memory.
///
/// # Errors
/// When the scene does not [validate](Scene::validate).
///
/// ```
/// use motefield_generator::pair::bands;
/// use motefield_generator::{Scene, Seed, render};
///
/// let scene = Scene { size: [32, 48], ..Scene::default() };
/// let pair = render(&scene, Seed::default())?;
/// let first = bands(&scene, Seed::default())?.next().expect("a band");
/// assert_eq!((first.top, &first.grey[1]), (0, &pair.b));
/// # Ok::<(), motefield_generator::SceneError>(())
/// ```
pub fn bands(scene: &Scene, seed: Seed) -> Result<Bands<'_>, SceneError> {
    Bands::of(scene, seed, &scene.flashes(seed), None)
}

/// Frame `k` of a time series by bands of rows, to the bit what [`frame`](super::frame) gives.
///
/// # Errors
/// When the scene does not [validate](Scene::validate).
pub fn series_bands(scene: &Scene, seed: Seed, k: u32) -> Result<Bands<'_>, SceneError> {
    Bands::of(scene, seed, &[scene.flash(seed, k)], Some(k))
}

impl<'a> Bands<'a> {
    fn of(
        scene: &'a Scene,
        seed: Seed,
        flashes: &[Flash],
        of_series: Option<u32>,
    ) -> Result<Bands<'a>, SceneError> {
        scene.validate()?;
        Ok(Bands {
            scene,
            seed,
            drawing: Drawing::new(scene, seed, flashes, [0.0; 2]),
            of_series,
            top: 0,
            above: Vec::new(),
        })
    }

    /// What the sensor makes of the rows from `top` on; `below` is the row after them, of each
    /// frame.
    fn read(
        &self,
        top: usize,
        expected: &[Array2<f32>],
        below: Option<&Vec<Array2<f32>>>,
    ) -> Vec<Array2<f32>> {
        let Some(sensor) = &self.scene.camera.sensor else {
            return expected.to_vec();
        };
        let read = |(k, light): (usize, &Array2<f32>)| {
            let mut grey = light.clone();
            let part = ReadRegion {
                size: self.scene.size,
                left: 0,
                top,
                above: self.above.get(k),
                below: below.map(|rows| &rows[k]),
            };
            match self.of_series {
                Some(frame) => sensor.read_series(&mut grey, part, self.seed, frame),
                None => sensor.read_part(&mut grey, part, self.seed, k as u32),
            }
            grey
        };
        expected.iter().enumerate().map(read).collect()
    }
}

impl Iterator for Bands<'_> {
    type Item = Band;

    fn next(&mut self) -> Option<Band> {
        let [_, height] = self.scene.size;
        let top = self.top;
        let end = (top + BAND_ROWS).min(height);
        if top == end {
            return None;
        }
        // Crosstalk needs a row on either side.
        let ahead = end < height;
        self.drawing.draw(end + usize::from(ahead));
        let expected = with_steady_light(self.scene, self.drawing.take(end));
        let below = ahead.then(|| with_steady_light(self.scene, self.drawing.next_row()));
        let grey = self.read(top, &expected, below.as_ref());
        let last = |light: &Array2<f32>| light.slice_axis(Axis(0), Slice::from(-1..)).to_owned();
        self.above = expected.iter().map(last).collect();
        self.top = end;
        Some(Band { top, expected, grey })
    }
}
