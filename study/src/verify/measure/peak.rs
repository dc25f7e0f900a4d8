//! The mean correlation peak of rendered pairs, lowered by the particles that lose their partner.

use motefield_evaluator::SingleWindow;
use motefield_evaluator::statistics::jackknife;
use motefield_generator::truth;
use ndarray::{Array2, ArrayView2, Axis, Slice};

use super::{Figures, Measure, Request};

/// Height of the mean correlation peak over that of the frames' autocorrelations.
pub const PEAK: Measure = Measure {
    name: "correlation peak",
    about: "height, at the displacement of a window's middle rounded to whole px, of the mean correlation plane of whole windows (tiles of the final pass's size), over the mean of the frames' autocorrelations: the product of the fractions F of particles that keep their partner",
    arguments: &[],
    figures: &["peak_height", "peak_width_x_px", "peak_width_y_px"],
    pictures: true,
    statistical: true,
    run,
};

/// Per pair: the sums over planes at and beside the peak, and of the windows' energies.
const SUMS: usize = 6;

fn run(request: &Request) -> Result<Figures, String> {
    let plan = request.plan();
    let window = plan.processing.passes.last().ok_or("needs a pass")?.window;
    let sums: Vec<[f64; SUMS]> = request.each(|seed| {
        let pair = (request.chain.render)(&plan.scene, seed).map_err(|e| e.to_string())?;
        let mut sums = [0.0; SUMS];
        let mut windows = SingleWindow::new(window, &plan.processing).map_err(|e| e.to_string())?;
        let (height, width) = pair.a.dim();
        for y in (0..=height - window[1]).step_by(window[1]) {
            for x in (0..=width - window[0]).step_by(window[0]) {
                let [a, b] = [&pair.a, &pair.b].map(|frame| tile(frame, [x, y], window));
                let mut plane = |a, b| windows.plane(a, b).map_err(|e| e.to_string());
                let (Some(cross), Some(of_a), Some(of_b)) = (plane(a, b)?, plane(a, a)?, plane(b, b)?) else {
                    continue;
                };
                let middle = |from: usize, side: usize| from as f64 + 0.5 * (side as f64 - 1.0);
                let moved = truth::at(&plan.scene, middle(x, window[0]), middle(y, window[1]));
                let [dx, dy] = moved.unwrap_or([0.0; 2]).map(|d| d.round() as isize);
                let at = |i, j| f64::from(cross.at(dx + i, dy + j));
                let own = 0.5 * (f64::from(of_a.at(0, 0)) + f64::from(of_b.at(0, 0)));
                let all = [at(0, 0), at(-1, 0), at(1, 0), at(0, -1), at(0, 1), own];
                for (sum, value) in sums.iter_mut().zip(all) {
                    *sum += value;
                }
            }
        }
        Ok(sums)
    })?;
    // The standard deviation of the Gaussian through three points of the peak, which is centred
    // where the displacement is of whole px.
    let width = |before: usize, after: usize| {
        move |s: &[f64; SUMS]| 1.0 / (2.0 * s[0].ln() - s[before].ln() - s[after].ln()).sqrt()
    };
    Ok([
        (
            "peak_height",
            jackknife(&sums, request.confidence, |s| s[0] / s[5]),
        ),
        (
            "peak_width_x_px",
            jackknife(&sums, request.confidence, width(1, 2)),
        ),
        (
            "peak_width_y_px",
            jackknife(&sums, request.confidence, width(3, 4)),
        ),
    ]
    .map(|(name, e)| (name.to_owned(), e))
    .into())
}

/// The window whose upper-left pixel is (x, y).
pub(super) fn tile(
    frame: &Array2<f32>,
    [x, y]: [usize; 2],
    [width, height]: [usize; 2],
) -> ArrayView2<'_, f32> {
    let mut view = frame.view();
    view.slice_axis_inplace(Axis(0), Slice::from(y..y + height));
    view.slice_axis_inplace(Axis(1), Slice::from(x..x + width));
    view
}
