use ndarray::Array2;

use super::*;

/// Against the double-precision error function of `libm`. 5e-7, because a pixel's fraction is half
/// a difference of two values and must be right to 1e-6.
#[test]
fn erf_agrees_with_libm() {
    let worst = (-60_000..=60_000)
        .map(|k| k as f32 * 1e-4)
        .map(|x| (f64::from(erf(x)) - libm::erf(f64::from(x))).abs())
        .fold(0.0, f64::max);
    assert!(worst < 5e-7, "{worst:e}");
    assert_eq!(erf(-0.3), -erf(0.3));
}

/// The picture, a square of `size` px, of one point of light of 1 e.
pub(crate) fn one(x_px: f64, y_px: f64, sigma_px: f64, size: usize, brush: &Brush) -> Array2<f32> {
    let mut raster = Raster::dark([size, size], Vec::new());
    let spot = Spot {
        x_px,
        y_px,
        electrons: 1.0,
        sigma_px,
    };
    add(&mut raster, &[spot], brush);
    raster.picture()
}

/// Pixels sensitive in a middle square of area 0.36 get the Gaussian's integral over that square,
/// over 0.36 (by the error function of `libm`). Within 1e-6 of the light, as for full pixels, over
/// 0.36.
#[test]
fn sparse_pixels_integrate_their_square() {
    let (x0, y0, sigma, side) = (20.3, 19.8, 0.5, 0.6);
    let image = one(x0, y0, sigma, 41, &Brush::Gaussian(side));
    let line = |k: usize, at: f64| {
        let edge = |e: f64| libm::erf((k as f64 + e - at) / (sigma * std::f64::consts::SQRT_2));
        0.5 * (edge(0.5 * side) - edge(-0.5 * side))
    };
    for ((y, x), e) in image.indexed_iter() {
        let exact = line(x, x0) * line(y, y0) / (side * side);
        assert!(
            (f64::from(*e) - exact).abs() < 1e-6 / 0.36,
            "({x}, {y}): {e} for {exact}"
        );
    }
}

/// Spots of all widths, inside, across the borders and outside: drawn at once they leave the same
/// bits as drawn one after another.
#[test]
fn many_spots_are_drawn_as_one_after_another() {
    let spots: Vec<Spot> = (0..400)
        .map(|k| Spot {
            x_px: f64::from(k * 3 % 91) * 0.83 - 6.0,
            y_px: f64::from(k * 2 % 97) * 0.71 - 5.0,
            electrons: 100.0 + (k % 7) as f32,
            sigma_px: [0.3, 0.55, 1.2, 2.5][k as usize * 11 % 13 % 4],
        })
        .collect();
    for brush in [Brush::Gaussian(1.0), Brush::Gaussian(0.7)] {
        let [mut at_once, mut in_turn] = [(); 2].map(|()| Raster::dark([64, 60], Vec::new()));
        add(&mut at_once, &spots, &brush);
        for spot in &spots {
            add(&mut in_turn, &[*spot], &brush);
        }
        assert!(at_once.picture().sum() > 20_000.0);
        assert_eq!(at_once.picture(), in_turn.picture(), "{brush:?}");
    }
}
