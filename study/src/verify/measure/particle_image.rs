//! The image of one particle.

use motefield_evaluator::bound::{ExpectedImage, PixelNoise, displacement_bound};
use motefield_evaluator::{Grid, Weighting};
use motefield_generator::pair::particle_image;
use motefield_generator::{Exposure, Scene};
use ndarray::Array2;

use super::{Figures, Measure, Request, exactly};
use motefield_rig::plan::Plan;
use motefield_rig::quantity::Dimension;

/// Moments and peak of a particle image, and how well its displacement can be known.
pub const PARTICLE_IMAGE: Measure = Measure {
    name: "particle image",
    about: "pixels of one rendered particle in the middle of the picture, moved by `offset` along x: its light, centroid and variance, its brightest pixel over that of the same particle at rest, and the Cramér-Rao bound of its displacement between two frames with shot noise alone",
    arguments: &["offset"],
    figures: &[
        "light_e",
        "centroid_error_x_px",
        "variance_x_px2",
        "variance_y_px2",
        "peak_over_rest",
        "bound_x_px",
    ],
    pictures: true,
    statistical: false,
    run,
};

/// Step of the particle for the derivative of its image, px.
const STEP_PX: f64 = 0.01;

/// Expected photo-electrons of one particle at `at`, which draws its streak.
fn picture(scene: &Scene, [x, y]: [f64; 2]) -> Result<Array2<f32>, String> {
    particle_image(scene, [x, y, 0.0]).map_err(|e| e.to_string())
}

fn run(request: &Request) -> Result<Figures, String> {
    let plan = request.plan();
    let offset = request.arguments.quantity("offset", Dimension::Pixels)?;
    let [x, y] = plan.scene.size.map(|n| (n / 2) as f64);
    let at = [x + offset, y];
    let image = picture(&plan.scene, at)?;
    let rest = Scene {
        exposure: Exposure::Streak([0.0; 2]),
        ..plan.scene.clone()
    };
    let sum = |of: &dyn Fn(f64, f64) -> f64| -> f64 {
        let pixels = image.indexed_iter();
        pixels
            .map(|((row, column), e)| f64::from(*e) * of(column as f64, row as f64))
            .sum()
    };
    let light = sum(&|_, _| 1.0);
    let centroid = [sum(&|x, _| x) / light, sum(&|_, y| y) / light];
    let brightest = |image: &Array2<f32>| f64::from(image.iter().copied().fold(0.0, f32::max));
    Ok(exactly([
        ("light_e", light),
        ("centroid_error_x_px", centroid[0] - at[0]),
        ("variance_x_px2", sum(&|x, _| (x - centroid[0]).powi(2)) / light),
        ("variance_y_px2", sum(&|_, y| (y - centroid[1]).powi(2)) / light),
        (
            "peak_over_rest",
            brightest(&image) / brightest(&picture(&rest, at)?),
        ),
        ("bound_x_px", bound(plan, at, &image)?),
    ]))
}

/// The smallest standard deviation, px, of the displacement along x between two frames that show
/// the particle at the same place.
fn bound(plan: &Plan, at: [f64; 2], image: &Array2<f32>) -> Result<f64, String> {
    let slope = |[x, y]: [f64; 2]| {
        let moved = |sign: f64| -> Result<_, String> {
            Ok(picture(&plan.scene, [at[0] + sign * x, at[1] + sign * y])?.mapv(f64::from))
        };
        Ok::<_, String>((moved(1.0)? - moved(-1.0)?) / (2.0 * STEP_PX))
    };
    let (signal, along_x, along_y) = (
        image.mapv(f64::from),
        slope([STEP_PX, 0.0])?,
        slope([0.0, STEP_PX])?,
    );
    let pattern = ExpectedImage {
        signal: signal.view(),
        slope_x: along_x.view(),
        slope_y: along_y.view(),
    };
    let [width, height] = plan.scene.size;
    let noise = PixelNoise {
        floor: 0.0,
        per_signal: 1.0,
    };
    let grid = Grid::new(width, height, plan.scene.size, 0.0);
    displacement_bound([pattern; 2], noise, &grid, Weighting::TopHat, |_, _| [0.0; 2])
        .map_err(|e| e.to_string())?
        .first()
        .map(|window| window[0])
        .ok_or_else(|| "the picture holds no window".to_owned())
}
