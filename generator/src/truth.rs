//! The displacement, known exactly.
//!
//! Truth at a point is the displacement, between the middles of the two pulses, of the fluid element that is at that point,
//! in the sheet's middle plane, midway in time.

use ndarray::Array3;

use crate::flow::Flow;
use crate::scene::Scene;

/// True displacement (dx, dy) at the point (x, y), px.
pub fn displacement(flow: &dyn Flow, x_px: f64, y_px: f64) -> [f64; 2] {
    let middle = [x_px, y_px, 0.0];
    let (a, b) = (flow.path(middle, 0.0, -0.5), flow.path(middle, 0.0, 0.5));
    [b[0] - a[0], b[1] - a[1]]
}

/// True displacement at the centre of every pixel, px; shape 2 × height × width: dx, dy.
pub fn dense(scene: &Scene) -> Array3<f64> {
    let [width, height] = scene.size;
    let mut field = Array3::zeros((2, height, width));
    for y in 0..height {
        for x in 0..width {
            let [dx, dy] = displacement(scene.flow.as_ref(), x as f64, y as f64);
            field[[0, y, x]] = dx;
            field[[1, y, x]] = dy;
        }
    }
    field
}
