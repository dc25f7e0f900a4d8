use super::*;
use crate::splat::Brush;
use crate::splat::tests::one;

/// The diffraction pattern over single pixels against scipy 1.17.1 `dblquad` of (2J₁(v)/v)²/(2πσ²),
/// v = √2 r/σ, with σ = 0.55 px and the middle at (0.23, −0.31); error 5e-15. Within 1e-5 of the
/// light.
#[test]
fn airy_matches_outside_quadrature() {
    let image = one(20.23, 19.69, 0.55, 41, &Brush::Airy(Airy::new(0.55)));
    for (x, y, exact) in [
        (0, 0, 0.328_239_117_803_539_37),
        (1, 0, 0.150_479_055_122_717_34),
        (-1, -1, 0.018_222_752_661_694_767),
        (2, 1, 0.005_156_881_302_364_072),
        (0, -3, 0.001_755_962_378_004_446_1),
        (5, 4, 0.000_107_849_283_898_870_74),
    ] {
        let got = f64::from(image[[(20 + y) as usize, (20 + x) as usize]]);
        assert!((got - exact).abs() < 1e-5, "({x}, {y}): {got} for {exact}");
    }
    // The light in the square of half-width 16 σ is between the fractions in its inner and its
    // outer circle, 1 − J₀² − J₁² at v = 22.6 and 32.
    let image = one(40.0, 40.0, 1.0, 81, &Brush::Airy(Airy::new(1.0)));
    let all: f64 = image.iter().map(|e| f64::from(*e)).sum();
    let share = |v: f64| 1.0 - libm::j0(v).powi(2) - libm::j1(v).powi(2);
    assert!(all > share(22.6) && all < share(32.0), "{all}");
}

/// All widths are tabulated finely enough: the light of a pixel against the midpoint rule on 400 ×
/// 400 points (error 1e-6), at a place between those of the table.
#[test]
fn airy_holds_for_all_widths() {
    for sigma in [0.2, 0.31, 1.0, 2.5] {
        let image = one(40.37, 40.21, sigma, 81, &Brush::Airy(Airy::new(sigma)));
        for (px, py) in [(40, 40), (41, 39), (43, 42)] {
            let n = 400;
            let mut exact = 0.0;
            for j in 0..n {
                for i in 0..n {
                    let at = |k: usize, p: i32, c: f64| {
                        f64::from(p) - 0.5 + (k as f64 + 0.5) / f64::from(n as u32) - c
                    };
                    let v = at(i, px, 40.37).hypot(at(j, py, 40.21)) * std::f64::consts::SQRT_2 / sigma;
                    exact += (2.0 * libm::j1(v) / v).powi(2);
                }
            }
            exact /= (n * n) as f64 * 2.0 * std::f64::consts::PI * sigma * sigma;
            let got = f64::from(image[[py as usize, px as usize]]);
            assert!(
                (got - exact).abs() < 1e-5,
                "σ {sigma} ({px}, {py}): {got} for {exact}"
            );
        }
    }
}
