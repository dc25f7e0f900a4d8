//! Parts of pictures against the same pixels of whole ones.

use std::sync::Arc;

use motefield_generator::flow::{Spectrum, Turbulence, VortexStreet};
use motefield_generator::pair::{Crops, expected};
use motefield_generator::population::{Diameters, Region};
use motefield_generator::{
    Camera, Crop, Exposure, Glare, HotSpots, ImagePattern, Imaging, Pair, Population, Profile, Reflections,
    Scene, Seed, Sensor, Sheet, render,
};
use ndarray::{Array2, Axis, Slice};

const SIZE: [usize; 2] = [420, 300];
/// At two corners, at an edge and inside; larger than a cell of the seeding, and smaller.
const CROPS: [Crop; 4] = [
    Crop {
        origin: [0, 0],
        size: [120, 96],
    },
    Crop {
        origin: [290, 170],
        size: [130, 130],
    },
    Crop {
        origin: [131, 204],
        size: [40, 96],
    },
    Crop {
        origin: [150, 77],
        size: [160, 130],
    },
];

/// A scene in which everything that depends on the place in the picture is at work.
fn uneven() -> Scene {
    let mut scene = Scene {
        size: SIZE,
        seeding_density_ppp: 0.03,
        electrons: 2000.0,
        background_e: [20.0, 30.0],
        sheet: Sheet {
            profile: Profile::Gaussian,
            thickness_px: 24.0,
            slope: [0.02, -0.03],
            height: Some((Profile::Gaussian, 400.0)),
        },
        exposure: Exposure::Fraction(0.2),
        population: Population {
            diameters: Diameters::LogNormal(0.2),
            geometric_diameter_px: 1.0,
            gradient: [0.3, -0.2],
            unseeded: vec![Region {
                centre_px: [200.0, 130.0],
                radius_px: 40.0,
                share: 0.3,
            }],
            brownian_px: 0.7,
            cluster_size: 3.0,
            cluster_radius_px: 4.0,
            ..Population::default()
        },
        imaging: Imaging {
            distance_px: Some(9000.0),
            distortion: -0.03,
            defocus: 0.02,
            diameter_growth: 0.2,
            ..Imaging::default()
        },
        flow: Arc::new(Turbulence::new(Spectrum::new(2.0, 90.0, 20.0), 3)),
        camera: Camera {
            parasitic_sensitivity: 0.01,
            sensor: Some(Sensor {
                dsnu_e: 2.0,
                prnu: 0.02,
                hot_pixels: 0.01,
                dead_pixels: 0.01,
                crosstalk: 0.1,
                ..Sensor::default()
            }),
            ..Camera::default()
        },
        ..Scene::default()
    };
    scene.light.reflections = Reflections {
        picture: Some(Arc::new(Array2::from_shape_fn((SIZE[1], SIZE[0]), |(y, x)| {
            ((7 * x + 13 * y) % 31) as f32
        }))),
        glare: Some(Glare {
            peak_e: 300.0,
            at_px: [100.0, 150.0],
            angle_rad: 0.7,
            width_px: 20.0,
        }),
        hot_spots: Some(HotSpots {
            count: 40,
            peak_e: 500.0,
            diameter_px: 15.0,
        }),
    };
    scene
}

fn cut(frame: &Array2<f32>, crop: Crop) -> Array2<f32> {
    let [columns, rows] = [0, 1].map(|k| crop.origin[k]..crop.end(k));
    let rows = frame.slice_axis(Axis(0), Slice::from(rows));
    rows.slice_axis(Axis(1), Slice::from(columns)).to_owned()
}

fn farthest(a: &Array2<f32>, b: &Array2<f32>) -> f32 {
    assert_eq!(a.dim(), b.dim());
    a.iter().zip(b).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max)
}

/// Largest difference of any pixel of the parts from the same pixel of the whole picture.
fn differences(scene: &Scene, seed: Seed) -> [f32; 2] {
    let whole = |light: bool| match light {
        true => expected(scene, seed).unwrap(),
        false => render(scene, seed).unwrap(),
    };
    let crops = Crops::of(scene, CROPS.to_vec()).unwrap();
    [true, false].map(|light| {
        let Pair { a, b } = whole(light);
        let one = |(k, crop): (usize, &Crop)| {
            let part = match light {
                true => crops.expected(k, seed),
                false => crops.render(k, seed),
            };
            farthest(&part.a, &cut(&a, *crop)).max(farthest(&part.b, &cut(&b, *crop)))
        };
        CROPS.iter().enumerate().map(one).fold(0.0, f32::max)
    })
}

/// The light differs by no more than the faintest particles give, 1e-5 of one in the middle of the
/// sheet, and what is cut off an image; the grey levels by the rounding that these may tip.
#[test]
fn a_part_is_what_the_whole_picture_shows_there() {
    let seed = Seed {
        study: 4,
        point: 0,
        realisation: 9,
    };
    let [light, grey] = differences(&uneven(), seed);
    assert!(light <= 2e-5 * 2000.0, "{light}");
    assert!(grey <= 1.0, "{grey}");
}

/// Bit for bit where no image is cut off beside a part and no particle is faint: equal particles
/// in a top-hat sheet, of a pattern that is drawn without patches.
#[test]
fn bit_for_bit_where_nothing_is_cut_off() {
    let mut scene = uneven();
    scene.sheet.profile = Profile::TopHat;
    scene.population = Population::default();
    scene.imaging = Imaging {
        pattern: ImagePattern::Airy,
        ..Imaging::default()
    };
    scene.flow = Arc::new(VortexStreet::new([200.0, 150.0], 3, 120.0, 40.0, 2.0, 30.0));
    let seed = Seed {
        study: 1,
        point: 0,
        realisation: 2,
    };
    assert_eq!(differences(&scene, seed), [0.0; 2]);
}

/// Parts that are empty or reach beyond the picture are refused.
#[test]
fn parts_lie_inside_the_picture() {
    let scene = Scene {
        size: [64, 64],
        ..Scene::default()
    };
    for (origin, size) in [([0, 0], [65, 10]), ([60, 0], [10, 10]), ([3, 3], [0, 5])] {
        let refused = Crops::of(&scene, vec![Crop { origin, size }]);
        assert!(refused.unwrap_err().to_string().contains("64 x 64 px"));
    }
}
