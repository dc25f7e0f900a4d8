use std::sync::Arc;

use super::*;
use crate::flow::Uniform;
use crate::pair::shown;
use crate::{Profile, Seed, Sheet, truth};

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

/// Distortion k moves the corner outward by the fraction k, and the inverse of the projection
/// undoes it. Small displacements are stretched by 1 + 3kρ² along the radius and 1 + kρ² across,
/// the derivatives of r(1 + kρ²), to within the square of the displacement over the radius.
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

/// The inverse of the projection leads to the plane that is asked for, however tilted, and projects
/// back to where it came from, to rounding.
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

/// The whole picture is seeded when the lens contracts it: a strip along the border has the
/// expected number of particles, to four standard deviations of the Poisson law.
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
    // Expected number: the density times the area of the sheet that shows in each strip.
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

/// d² = d_τ² + (δ (z − z_f))², then times 1 + a ρ²: 2.5 px with δ = 0.2 at z − z_f = 5 px gives
/// √7.25, and the corner has ρ = 1.
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
