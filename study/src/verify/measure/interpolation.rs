//! How interpolation changes particle images.

use motefield_evaluator::statistics::{jackknife, mean_of_independent};
use motefield_evaluator::{PredictorFilter, Vector, VectorField, VectorStatus, deform};
use motefield_generator::pair::expected_moved;

use super::{Figures, Measure, Request};
use motefield_rig::quantity::Dimension;

/// Error of frames moved by the interpolator.
pub const INTERPOLATION: Measure = Measure {
    name: "interpolation",
    about: "frames moved by `shift` px along x with the processing's interpolator, against the same particles rendered there: root mean square difference of the pixels over their standard deviation, and the displacement that the processing measures between the two",
    arguments: &["shift"],
    figures: &["rms_difference", "bias_px"],
    pictures: true,
    statistical: true,
    run,
};

/// Border left out of the comparison, px: there the deformation reaches beyond the picture.
const BORDER_PX: usize = 16;

fn run(request: &Request) -> Result<Figures, String> {
    let plan = request.plan();
    let shift = request.arguments.quantity("shift", Dimension::Pixels)?;
    let [width, height] = plan.scene.size;
    // Deformation moves frame A back by half the displacement: twice the shift moves it by the
    // shift.
    let corners = [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]];
    let field = VectorField {
        columns: 2,
        rows: 2,
        window: plan.scene.size,
        spacing: [width - 1, height - 1],
        vectors: corners
            .map(|[i, j]| Vector {
                x_px: i * (width as f64 - 1.0),
                y_px: j * (height as f64 - 1.0),
                dx_px: 2.0 * shift,
                dy_px: 0.0,
                peak_ratio: f64::INFINITY,
                status: VectorStatus::Valid,
            })
            .into(),
    };
    let each: Vec<([f64; 4], f64)> = request.each(|seed| {
        let frame = |by: f64| expected_moved(&plan.scene, seed, [by, 0.0]).map(|pair| pair.a);
        let still = frame(0.0).map_err(|e| e.to_string())?;
        let moved = frame(shift).map_err(|e| e.to_string())?;
        let interpolator = plan.processing.interpolator;
        let [deformed, _] = deform(
            still.view(),
            still.view(),
            &field,
            PredictorFilter::None,
            interpolator,
        )
        .map_err(|e| e.to_string())?;
        let mut sums = [0.0; 4];
        for ((y, x), &exact) in moved.indexed_iter() {
            let inside = |at: usize, size: usize| (BORDER_PX..size - BORDER_PX).contains(&at);
            if inside(x, width) && inside(y, height) {
                let [exact, found] = [exact, deformed[[y, x]]].map(f64::from);
                let all = [1.0, exact, exact * exact, (found - exact).powi(2)];
                sums.iter_mut().zip(all).for_each(|(sum, value)| *sum += value);
            }
        }
        let measured = (request.chain.correlate)(moved.view(), deformed.view(), &plan.processing)
            .map_err(|e| e.to_string())?;
        let margin = |at: f64, size: usize| at.min(size as f64 - 1.0 - at);
        let whole: Vec<f64> = measured
            .vectors
            .iter()
            .filter(|v| margin(v.x_px, width) > (BORDER_PX + measured.window[0] / 2) as f64)
            .filter(|v| margin(v.y_px, height) > (BORDER_PX + measured.window[1] / 2) as f64)
            .map(|v| v.dx_px)
            .collect();
        let bias = whole.iter().sum::<f64>() / whole.len() as f64;
        Ok((sums, bias))
    })?;
    let (sums, biases): (Vec<[f64; 4]>, Vec<f64>) = each.into_iter().unzip();
    let rms = jackknife(&sums, request.confidence, |[n, sum, square, error]| {
        (error / (square - sum * sum / n)).sqrt()
    });
    Ok([
        ("rms_difference", rms),
        ("bias_px", mean_of_independent(&biases, request.confidence)),
    ]
    .map(|(name, figure)| (name.to_owned(), figure))
    .into())
}
