//! Parts of large pictures, rendered without the rest.
//!
//! A part shows what the whole picture shows there: the middle of the picture, about which the lens
//! and the sheet are placed, stays that of the whole, particles belong to the cells of the seeding
//! and draw their numbers there, and a pixel's noise stands at a place of its row's stream that its
//! column fixes. So a part takes as long as it is large, whatever the picture's size.
//!
//! Two things may differ, both by less than what is left out of any particle image. Where an image
//! is cut off depends by one pixel on what else is drawn beside it, as at the edge of a picture: a
//! millionth of its light. And the depth up to which particles are drawn follows the fastest
//! particle, which is looked for at fewer points: those between give less than 10⁻⁵ of the light of
//! one in the middle of the sheet.

use ndarray::{Array2, Axis, Slice};

use super::draw::Drawing;
use super::{Pair, with_steady_light};
use crate::crop::Crop;
use crate::error::{SceneError, SceneField};
use crate::flow::Vec3;
use crate::random::Seed;
use crate::scene::Scene;
use crate::seeding::{Volume, fastest_of_crops};
use crate::sensor::ReadRegion;

/// Parts of the pictures of a scene.
#[derive(Debug, Clone)]
pub struct Crops<'a> {
    scene: &'a Scene,
    crops: Vec<Crop>,
    /// Largest velocity that matters for each.
    fastest: Vec<Vec3>,
}

impl<'a> Crops<'a> {
    /// Prepares rendering these parts of a scene's pictures.
    ///
    /// # Errors
    /// When the scene does not [validate](Scene::validate), or a part is empty or reaches beyond
    /// the picture.
    ///
    /// ```
    /// use motefield_generator::pair::Crops;
    /// use motefield_generator::{Crop, Scene, Seed, render};
    ///
    /// let scene = Scene { size: [96, 64], ..Scene::default() };
    /// let crop = Crop { origin: [32, 16], size: [24, 32] };
    /// let part = Crops::of(&scene, vec![crop])?.render(0, Seed::default());
    /// let whole = render(&scene, Seed::default())?;
    /// assert!((part.a[[5, 7]] - whole.a[[16 + 5, 32 + 7]]).abs() < 0.01);
    /// # Ok::<(), motefield_generator::SceneError>(())
    /// ```
    pub fn of(scene: &'a Scene, crops: Vec<Crop>) -> Result<Crops<'a>, SceneError> {
        scene.validate()?;
        let inside = |crop: &&Crop| (0..2).all(|k| crop.size[k] > 0 && crop.end(k) <= scene.size[k]);
        if let Some(crop) = crops.iter().find(|crop| !inside(crop)) {
            return Err(SceneError {
                field: SceneField::ImageSize,
                value: format!(
                    "{} x {} px, which has no part {crop:?}",
                    scene.size[0], scene.size[1]
                ),
                must: "as large as its parts",
            });
        }
        // Jitter shifts the times at which a flow is looked at by a part of a pulse separation.
        let fastest = fastest_of_crops(scene, &scene.flashes(Seed::default()), &crops);
        Ok(Crops {
            scene,
            crops,
            fastest,
        })
    }

    /// The parts, as they were given.
    pub fn crops(&self) -> &[Crop] {
        &self.crops
    }

    /// Part number `k` of [`render`](crate::render)'s pair.
    ///
    /// # Panics
    /// Without such a part.
    pub fn render(&self, k: usize, seed: Seed) -> Pair {
        let Some(sensor) = &self.scene.camera.sensor else {
            return self.expected(k, seed);
        };
        // Crosstalk brings light from one pixel farther.
        let crop = self.crops[k];
        let wide = crop.widened(1, self.scene.size);
        let Pair { mut a, mut b } = self.light(k, wide, seed);
        let part = ReadRegion {
            size: self.scene.size,
            left: wide.origin[0],
            top: wide.origin[1],
            above: None,
            below: None,
        };
        sensor.read_part(&mut a, part, seed, 0);
        sensor.read_part(&mut b, part, seed, 1);
        let [left, top] = [0, 1].map(|i| crop.origin[i] - wide.origin[i]);
        let [width, height] = crop.size;
        let cut = |frame: Array2<f32>| {
            let rows = frame.slice_axis(Axis(0), Slice::from(top..top + height));
            rows.slice_axis(Axis(1), Slice::from(left..left + width))
                .to_owned()
        };
        Pair { a: cut(a), b: cut(b) }
    }

    /// Part number `k` of [`expected`](super::expected)'s pair: expected photo-electrons.
    ///
    /// # Panics
    /// Without such a part.
    pub fn expected(&self, k: usize, seed: Seed) -> Pair {
        self.light(k, self.crops[k], seed)
    }

    /// The light in a crop, with the velocities of part number `k`.
    fn light(&self, k: usize, crop: Crop, seed: Seed) -> Pair {
        let (scene, flashes) = (self.scene, self.scene.flashes(seed));
        let volume = || Volume::of_crop(scene, &flashes, self.fastest[k], crop);
        let mut drawing = Drawing::of(scene, seed, &flashes, [0.0; 2], crop, volume);
        let height = crop.size[1];
        drawing.draw(height);
        let mut frames = with_steady_light(scene, drawing.take(height)).into_iter();
        let [a, b] = [(); 2].map(|()| frames.next().expect("two frames"));
        Pair { a, b }
    }
}
