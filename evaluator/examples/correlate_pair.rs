//! Correlates a pair of synthetic frames and prints the displacement vectors.

use motefield_evaluator::{Pass, Processing, ProcessingError, correlate};
use ndarray::Array2;
use rand::{RngExt, SeedableRng};

const SIDE: usize = 96;

fn main() -> Result<(), ProcessingError> {
    // Particles at random positions midway in time, in a shear flow: dx rises with y.
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1);
    let mut position = || rng.random_range(0.0..SIDE as f32);
    let places: Vec<[f32; 2]> = (0..300).map(|_| [position(), position()]).collect();
    let displacement = |y: f32| [1.0 + 0.005 * y, -0.5];

    // Gaussian particle images, moved half of the displacement back and forth.
    let [a, b] = [-0.5, 0.5].map(|half| {
        let mut frame = Array2::<f32>::zeros((SIDE, SIDE));
        for &[x, y] in &places {
            let [dx, dy] = displacement(y);
            let [x, y] = [x + half * dx, y + half * dy];
            for ((j, i), pixel) in frame.indexed_iter_mut() {
                let square = (i as f32 - x).powi(2) + (j as f32 - y).powi(2);
                *pixel += 1000.0 * (-0.8 * square).exp();
            }
        }
        frame
    });

    let passes = vec![Pass::square(32, 0.5); 3];
    let processing = Processing {
        passes,
        ..Processing::default()
    };
    for v in correlate(a.view(), b.view(), &processing)?.vectors {
        let [dx, dy] = displacement(v.y_px as f32);
        println!(
            "({:4.1}, {:4.1}) px: measured {:6.3} {:6.3} px, true {dx:6.3} {dy:6.3} px, {}",
            v.x_px, v.y_px, v.dx_px, v.dy_px, v.status
        );
    }
    Ok(())
}
