//! Lens and pixel against closed forms, independent quadrature and outside values (named beside each check).

use std::sync::Arc;

use motefield_generator::airy::Airy;
use motefield_generator::exposure::Spot;
use motefield_generator::flow::Uniform;
use motefield_generator::imaging::View;
use motefield_generator::pair::{render, shown};
use motefield_generator::splat::{self, Brush};
use motefield_generator::{ImagePattern, Imaging, Profile, Scene, Seed, Sensor, Sheet, truth};
use ndarray::Array2;

fn scene(imaging: Imaging, displacement_px: [f64; 3]) -> Scene {
    Scene {
        size: [400, 300],
        sheet: Sheet {
            profile: Profile::TopHat,
            thickness_px: 20.0,
            ..Sheet::default()
        },
        flow: Arc::new(Uniform { displacement_px }),
        imaging,
        ..Scene::default()
    }
}

/// Central projection from the distance D: a particle in the middle plane that moves out of the plane by w is magnified by
/// D/(D − z) about the middle, so its image moves by (x − m) (D/(D − w/2) − D/(D + w/2)) (derived). To rounding.
#[test]
fn perspective_shows_motion_in_depth() {
    let (d, w) = (2000.0, 8.0);
    let scene = scene(
        Imaging {
            distance_px: Some(d),
            ..Imaging::default()
        },
        [3.0, 0.0, w],
    );
    let [dx, dy] = truth::at(&scene, 350.0, 20.0).unwrap();
    let (near, far) = (d / (d - 0.5 * w), d / (d + 0.5 * w));
    let (rx, ry) = (350.0 - 199.5, 20.0 - 149.5);
    assert!(
        (dx - ((rx + 1.5) * near - (rx - 1.5) * far)).abs() < 1e-10,
        "{dx}"
    );
    assert!((dy - ry * (near - far)).abs() < 1e-10, "{dy}");
}

/// Distortion k moves the corner outward by the share k; the view's inverse undoes it; small displacements are stretched by 1 + 3kρ²
/// along the radius and 1 + kρ² across (derivatives of r(1 + kρ²); derived), here within the square of the displacement over the radius.
#[test]
fn distortion_moves_and_stretches() {
    for k in [-0.1, 0.08] {
        let scene = scene(
            Imaging {
                distortion: k,
                ..Imaging::default()
            },
            [0.01, 0.01, 0.0],
        );
        let view = View::of(&scene);
        let corner = view.project([399.5, 299.5, 0.0]);
        assert!((corner[0] - 199.5 - 200.0 * (1.0 + k)).abs() < 1e-9, "{corner:?}");
        let at = view.project([310.0, 149.5, 0.0]);
        let back = view.unproject(at[0], at[1], 0.0, [0.0; 2]);
        assert!((back[0] - 310.0).abs() < 1e-10 && (back[1] - 149.5).abs() < 1e-10);
        let rho2 = (310.0f64 - 199.5).powi(2) / (200.0f64.powi(2) + 150.0f64.powi(2));
        let [dx, dy] = truth::at(&scene, at[0], at[1]).unwrap();
        assert!((dx / 0.01 - (1.0 + 3.0 * k * rho2)).abs() < 1e-6, "{dx}");
        assert!((dy / 0.01 - (1.0 + k * rho2)).abs() < 1e-6, "{dy}");
    }
}

/// The inverse of the projection leads to the plane asked for, however tilted, and back to where it came from (to rounding).
#[test]
fn the_view_is_undone_on_any_plane() {
    let scene = scene(
        Imaging {
            distance_px: Some(900.0),
            distortion: 0.1,
            ..Imaging::default()
        },
        [0.0; 3],
    );
    let view = View::of(&scene);
    for [x, y] in [[0.0, 0.0], [390.0, 20.0], [199.5, 149.5], [100.3, 280.0]] {
        let at = view.unproject(x, y, 5.0, [0.3, -0.2]);
        let depth = 5.0 + 0.3 * (at[0] - 199.5) - 0.2 * (at[1] - 149.5);
        let back = view.project(at);
        assert!((at[2] - depth).abs() < 1e-9);
        assert!(
            (back[0] - x).abs() < 1e-9 && (back[1] - y).abs() < 1e-9,
            "{back:?}"
        );
    }
}

/// Perspective, distortion and a tilted sheet together: particles in a thin sheet move in the pictures as truth says where they are midway
/// (0.005 px: the sheet's 0.1 px depth and the path's curvature leave less).
#[test]
fn particles_move_as_truth_says() {
    let mut scene = scene(
        Imaging {
            distance_px: Some(1500.0),
            distortion: -0.1,
            ..Imaging::default()
        },
        [4.0, -3.0, 0.02],
    );
    scene.sheet.thickness_px = 0.1;
    scene.sheet.slope = [0.004, 0.002];
    // The sheet must stay lit: move along it.
    scene.flow = Arc::new(Uniform {
        displacement_px: [4.0, -3.0, 4.0 * 0.004 - 3.0 * 0.002],
    });
    let [a, b] = [0, 1].map(|k| shown(&scene, Seed::default(), k, false).unwrap());
    let mut pairs = 0;
    for p in &a {
        let Some(q) = b.iter().find(|q| q.id == p.id) else {
            continue;
        };
        let [dx, dy] = truth::at(&scene, 0.5 * (p.x_px + q.x_px), 0.5 * (p.y_px + q.y_px)).unwrap();
        assert!((q.x_px - p.x_px - dx).abs() < 0.005 && (q.y_px - p.y_px - dy).abs() < 0.005);
        pairs += 1;
    }
    assert!(pairs > 1000, "{pairs}");
}

/// The whole picture is seeded when the lens draws it in: the mean light of a strip along the border is that of the middle (Poisson,
/// four standard errors; a barrel shows more of the sheet near the corner, by 1 + 4kρ², so the corner is left out).
#[test]
fn a_barrel_leaves_no_dark_border() {
    let mut scene = scene(
        Imaging {
            distortion: -0.1,
            distance_px: Some(500.0),
            ..Imaging::default()
        },
        [0.0; 3],
    );
    scene.seeding_density_ppp = 0.2;
    let list = shown(&scene, Seed::default(), 0, false).unwrap();
    let view = View::of(&scene);
    // Expected number: the density over the area of the sheet that shows in each strip, by the change of area of a fine grid.
    for (x0, x1) in [(-0.5, 9.5), (389.5, 399.5)] {
        let got = list.iter().filter(|p| p.x_px >= x0 && p.x_px < x1).count() as f64;
        let mut area = 0.0;
        for ky in 0..300 {
            let corners = [[x0, -0.5], [x1, -0.5], [x1, 0.5], [x0, 0.5]]
                .map(|[x, y]| view.unproject(x, f64::from(ky) + y, 0.0, [0.0; 2]));
            for k in 0..4 {
                let (p, q) = (corners[k], corners[(k + 1) % 4]);
                area += 0.5 * (p[0] * q[1] - q[0] * p[1]);
            }
        }
        let expected = 0.2 * area;
        assert!(
            (got - expected).abs() < 4.0 * expected.sqrt(),
            "{got} for {expected}"
        );
    }
}

/// d² = d_τ² + (δ (z − z_f))², then times 1 + a ρ² (the module's formulas, by hand): 2.5 px, δ = 0.2 at z − z_f = 5 px gives √7.25; the corner
/// has ρ = 1.
#[test]
fn diameters_grow_off_focus_and_off_axis() {
    let scene = scene(
        Imaging {
            defocus: 0.2,
            focus_px: -2.0,
            diameter_growth: 0.5,
            ..Imaging::default()
        },
        [0.0; 3],
    );
    let view = View::of(&scene);
    let middle = view.diameter_px(&scene, 1.0, 3.0, [199.5, 149.5]);
    assert!((middle - 7.25f64.sqrt()).abs() < 1e-12, "{middle}");
    let corner = view.diameter_px(&scene, 1.0, -2.0, [399.5, 299.5]);
    assert!((corner - 3.75).abs() < 1e-12, "{corner}");
}

fn one(x_px: f64, y_px: f64, sigma_px: f64, size: usize, brush: &Brush) -> Array2<f32> {
    let mut image = Array2::zeros((size, size));
    let spot = Spot {
        x_px,
        y_px,
        electrons: 1.0,
        sigma_px,
    };
    splat::add(&mut image, &[spot], brush);
    image
}

/// Pixels sensitive in a middle square of the area 0.36: each gets the Gaussian's integral over that square, over 0.36 (libm's error function
/// in double precision). 1e-6 of the light, as for full pixels, over the same 0.36.
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

/// The diffraction pattern over single pixels against scipy 1.17.1 `dblquad` of (2J₁(v)/v)²/(2πσ²), v = √2 r/σ, σ = 0.55 px, at the place
/// (0.23, −0.31) (outside values, error 5e-15). 1e-5 of the light: the requirement of an option beside the Gaussian's 1e-6.
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
    // Light within the square of half-width 16 σ: between the shares in its inner and its outer circle, 1 − J₀² − J₁² at v = 22.6 and 32.
    let image = one(40.0, 40.0, 1.0, 81, &Brush::Airy(Airy::new(1.0)));
    let all: f64 = image.iter().map(|e| f64::from(*e)).sum();
    let share = |v: f64| 1.0 - libm::j0(v).powi(2) - libm::j1(v).powi(2);
    assert!(all > share(22.6) && all < share(32.0), "{all}");
}

/// Every width the pattern allows is tabulated as finely: a pixel's light against the midpoint rule on 400 × 400 points (its own error
/// 1e-6), at a place between the table's.
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

/// A picture large enough to be shared among threads has the same bits on 1, 2 and 7 of them.
#[test]
fn threads_change_no_bit() {
    let mut scene = scene(Imaging::default(), [5.0, 3.0, 1.0]);
    scene.size = [2304, 1900];
    scene.seeding_density_ppp = 0.01;
    scene.camera.sensor = Some(Sensor::default());
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| render(&scene, Seed::default()).unwrap())
    };
    let one = on(1);
    assert!(one == on(2) && one == on(7));
}

#[test]
fn bad_lenses_are_named() {
    let named = |imaging: Imaging, word: &str| {
        let error = scene(imaging, [0.0; 3]).validate().unwrap_err().to_string();
        assert!(error.contains(word), "{error}");
    };
    let plain = Imaging::default();
    let mut empty = scene(plain, [0.0; 3]);
    empty.camera.fill_factor = 0.0;
    let error = empty.validate().unwrap_err().to_string();
    assert!(error.contains("fill factor"), "{error}");
    named(
        Imaging {
            distortion: 0.4,
            ..plain
        },
        "distortion",
    );
    named(
        Imaging {
            distance_px: Some(30.0),
            ..plain
        },
        "camera distance",
    );
    named(
        Imaging {
            defocus: -1.0,
            ..plain
        },
        "defocus",
    );
    named(
        Imaging {
            diameter_growth: f64::NAN,
            ..plain
        },
        "growth",
    );
    named(
        Imaging {
            pattern: ImagePattern::Airy,
            defocus: 0.1,
            ..plain
        },
        "image pattern",
    );
}
