//! The true displacement.
//!
//! The true displacement at a point of the picture is the displacement in the picture, between the
//! middles of the two pulses, of the fluid element that shows at that point midway in time and lies
//! in the middle plane of the scene's sheet. It contains perspective and distortion. It does not
//! contain timing jitter, which is an error of the experiment.

use ndarray::{Array2, Array3};
use rayon::prelude::*;

use crate::flow::{Flow, Vec3};
use crate::motion::places;
use crate::scene::Scene;
use crate::view::View;

/// Displacement (dx, dy), px, between the times −½ and ½ of the fluid element that is at (x, y) in
/// the plane z = 0 at time 0: the true displacement of a scene with equal pulses, a sheet that is
/// not tilted and a lens without perspective and distortion.
///
/// ```
/// use motefield_generator::flow::SolidRotation;
/// use motefield_generator::truth::displacement;
///
/// let rotation = SolidRotation { centre_px: [0.0, 0.0], turn_rad: 0.1 };
/// let [dx, dy] = displacement(&rotation, 30.0, 0.0);
/// assert!(dx.abs() < 1e-12 && (dy - 60.0 * 0.05_f64.sin()).abs() < 1e-12);
/// ```
pub fn displacement(flow: &dyn Flow, x_px: f64, y_px: f64) -> [f64; 2] {
    let middle = [x_px, y_px, 0.0];
    let (a, b) = (flow.path(middle, 0.0, -0.5), flow.path(middle, 0.0, 0.5));
    [b[0] - a[0], b[1] - a[1]]
}

/// True displacement (dx, dy) of a pair at the point (x, y) of the picture, px; `None` inside a
/// body.
pub fn at(scene: &Scene, x_px: f64, y_px: f64) -> Option<[f64; 2]> {
    TrueDisplacement::of_pair(scene).at(x_px, y_px)
}

/// The true displacement between the frames of a pair, or between two frames of a time series.
///
/// ```
/// use std::sync::Arc;
/// use motefield_generator::Scene;
/// use motefield_generator::flow::Channel;
/// use motefield_generator::truth::TrueDisplacement;
///
/// let scene = Scene {
///     size: [32, 48],
///     flow: Arc::new(Channel { centre_y_px: 23.5, height_px: 40.0, peak_displacement_px: 5.0 }),
///     ..Scene::default()
/// };
/// let truth = TrueDisplacement::of_pair(&scene);
/// assert_eq!(truth.at(10.0, 23.5), Some([5.0, 0.0]));
/// assert_eq!(truth.at(10.0, 1.0), None); // in the wall
/// assert_eq!(truth.dense().dim(), (2, 48, 32));
/// assert!(!truth.valid()[[1, 10]] && truth.valid()[[23, 10]]);
/// ```
#[derive(Debug)]
pub struct TrueDisplacement<'a> {
    scene: &'a Scene,
    view: View,
    times: [f64; 2],
}

impl<'a> TrueDisplacement<'a> {
    /// Between frames A and B of a pair.
    pub fn of_pair(scene: &'a Scene) -> Self {
        TrueDisplacement {
            scene,
            view: View::of(scene),
            times: scene.light.middles(scene.exposure),
        }
    }

    /// Between the frames `k` and `k` + 1 of a time series.
    pub fn of_series(scene: &'a Scene, k: u32) -> Self {
        TrueDisplacement {
            scene,
            view: View::of(scene),
            times: [f64::from(k) - 0.5, f64::from(k) + 0.5],
        }
    }

    /// Width and height of the picture, px.
    pub fn size(&self) -> [usize; 2] {
        self.scene.size
    }

    /// Where the fluid element is, midway in time, that shows at the point (x, y) of the picture.
    fn element(&self, x_px: f64, y_px: f64) -> Vec3 {
        let slope = self.scene.sheet.slope;
        self.view.unproject(x_px, y_px, 0.0, slope)
    }

    /// True displacement (dx, dy) at the point (x, y) of the picture, px; `None` inside a body.
    pub fn at(&self, x_px: f64, y_px: f64) -> Option<[f64; 2]> {
        self.at_all(&[[x_px, y_px]])[0]
    }

    /// True displacements (dx, dy) at points (x, y) of the picture, px; `None` inside a body. The
    /// same as one by one, but sooner found where the field gives its pathlines as series.
    ///
    /// ```
    /// use motefield_generator::Scene;
    /// use motefield_generator::truth::TrueDisplacement;
    ///
    /// let scene = Scene::default();
    /// let truth = TrueDisplacement::of_pair(&scene);
    /// assert_eq!(truth.at_all(&[[1.0, 2.0], [3.0, 4.0]]), [Some([0.0, 0.0]); 2]);
    /// ```
    pub fn at_all(&self, points_px: &[[f64; 2]]) -> Vec<Option<[f64; 2]>> {
        // So many at a time that what is found on the way stays in the fast memory.
        const FEW: usize = 512;
        let few = points_px.chunks(FEW).map(|points| self.at_few(points));
        let mut all = Vec::with_capacity(points_px.len());
        few.for_each(|found| all.extend(found));
        all
    }

    fn at_few(&self, points_px: &[[f64; 2]]) -> Vec<Option<[f64; 2]>> {
        let fluid = |[x, y]: &[f64; 2]| {
            let element = self.element(*x, *y);
            (!self.scene.flow.solid(element)).then_some(element)
        };
        let elements: Vec<Option<Vec3>> = points_px.iter().map(fluid).collect();
        let in_fluid: Vec<Vec3> = elements.iter().flatten().copied().collect();
        let mut found = self.of_elements(&in_fluid).into_iter();
        elements
            .iter()
            .map(|element| element.and_then(|_| found.next()))
            .collect()
    }

    /// True displacements (dx, dy), px, of elements that are at these places midway in time, none
    /// of them inside a body.
    fn of_elements(&self, elements: &[Vec3]) -> Vec<[f64; 2]> {
        let midway = 0.5 * (self.times[0] + self.times[1]);
        places(self.scene.flow.as_ref(), elements, midway, self.times)
            .into_iter()
            .map(|ends| {
                let [a, b] = ends.map(|at| self.view.project(at));
                [b[0] - a[0], b[1] - a[1]]
            })
            .collect()
    }

    /// True displacement (dx, dy) at the centres of the pixels of a row, px; 0 inside a body.
    pub fn row(&self, y: usize) -> Vec<[f64; 2]> {
        let [width, _] = self.scene.size;
        let points: Vec<[f64; 2]> = (0..width).map(|x| [x as f64, y as f64]).collect();
        let found = self.at_all(&points);
        found.into_iter().map(|truth| truth.unwrap_or([0.0; 2])).collect()
    }

    /// True displacement at the centre of every pixel, px, as 2 × height × width: dx and dy. 0
    /// inside a body.
    pub fn dense(&self) -> Array3<f64> {
        let [width, height] = self.scene.size;
        let rows: Vec<Vec<[f64; 2]>> = (0..height).into_par_iter().map(|y| self.row(y)).collect();
        Array3::from_shape_fn((2, height, width), |(k, y, x)| rows[y][x][k])
    }

    /// Whether the true displacement is defined in the whole picture.
    pub fn is_everywhere(&self) -> bool {
        let [width, height] = self.scene.size;
        let solid = |y: usize, x: usize| self.scene.flow.solid(self.element(x as f64, y as f64));
        !(0..height).any(|y| (0..width).any(|x| solid(y, x)))
    }

    /// Where the true displacement is defined: true outside bodies, height × width.
    pub fn valid(&self) -> Array2<bool> {
        let [width, height] = self.scene.size;
        Array2::from_shape_fn((height, width), |(y, x)| {
            !self.scene.flow.solid(self.element(x as f64, y as f64))
        })
    }

    /// Where there are particles to measure by: true where the true displacement is defined and the
    /// seeding density above 0, height × width.
    pub fn seeded(&self) -> Array2<bool> {
        let [width, height] = self.scene.size;
        Array2::from_shape_fn((height, width), |(y, x)| {
            let at = self.element(x as f64, y as f64);
            let density = self.scene.population.density(at[0], at[1], self.view.middle);
            !self.scene.flow.solid(at) && density > 0.0 && self.scene.seeding_density_ppp > 0.0
        })
    }
}

/// True displacement of a pair at the centre of every pixel, px, as 2 × height × width: dx and dy.
/// 0 inside a body.
pub fn dense(scene: &Scene) -> Array3<f64> {
    TrueDisplacement::of_pair(scene).dense()
}
