//! The lens as it shows in pairs, against closed forms stated beside each test.

use std::sync::Arc;

use motefield_generator::flow::Uniform;
use motefield_generator::pair::{render, shown};
use motefield_generator::{ImagePattern, Imaging, Profile, Scene, Seed, Sensor, Sheet, truth};

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

/// Central projection from the distance D: a particle in the middle plane that moves by w toward
/// the camera is magnified by D/(D − z) about the middle, so its image moves by (x − m) (D/(D −
/// w/2) − D/(D + w/2)). To rounding.
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

/// Perspective, distortion and a tilted sheet together: particles in a thin sheet move in the
/// pictures by the true displacement where they are midway in time. Within 0.005 px: the 0.1 px
/// depth of the sheet and the curvature of the paths leave less.
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
    // Motion along the sheet keeps the particles lit.
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
