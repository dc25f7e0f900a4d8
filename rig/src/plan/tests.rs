//! Keys to scene: each key of light, sheet, tracer, lens, camera and image does what its
//! description says, and bad values name their key. The figures expected are worked out by hand
//! from the formulas named beside them.

use motefield_generator::population::{Brightness, Diameters};
use motefield_generator::{ImagePattern, Profile, PulseShape, Scene};

use super::{Plan, Rig, plan};
use crate::setup::{Setup, Value};

const RIG: &str = include_str!("../../../cases/flume.toml");
const SCENE: &str = "[image]\nsize = [128, 128]\nparticle_diameter = \"2.5 px\"\nseeding_density = \"0.02 ppp\"\nelectrons = \"1000 e\"\n[flow]\nkind = \"uniform\"\ndisplacement = [\"3 px\", \"0 px\"]\n";

fn scene_of(text: &str, changes: &[(&str, &str)]) -> Result<Scene, String> {
    let changes: Vec<(String, String)> = changes
        .iter()
        .map(|(key, value)| ((*key).to_owned(), (*value).to_owned()))
        .collect();
    let setup = Setup::from_text("test", text, &changes).map_err(|e| e.to_string())?;
    plan(&setup).map(|plan| plan.scene).map_err(|e| e.to_string())
}

fn rig(changes: &[(&str, &str)]) -> Scene {
    scene_of(RIG, changes).unwrap()
}

fn near(got: f64, expected: f64) {
    assert!(
        (got - expected).abs() <= 1e-9 * expected.abs().max(1.0),
        "{got} for {expected}"
    );
}

/// What no key asks for is off: the scene is the plain one but for its sheet's thickness.
#[test]
fn effects_are_off_by_default() {
    let (scene, plain) = (scene_of(SCENE, &[]).unwrap(), Scene::default());
    assert_eq!(scene.light, plain.light);
    assert_eq!(scene.population, plain.population);
    assert_eq!(scene.imaging, plain.imaging);
    assert_eq!(scene.sheet, plain.sheet);
    assert_eq!(scene.camera.sensor, Some(motefield_generator::Sensor::default()));
}

/// One pixel in the sheet of the embedded rig is 5.5 µm/0.1 = 55 µm; its separation 2.4 ms.
#[test]
fn light_and_sheet_follow_their_keys() {
    let scene = rig(&[
        ("light.length_ratio", "1.5"),
        ("light.jitter", "2.4 us"),
        ("light.pulse_shape", "gaussian"),
        ("light.ambient", "2000 e/s"),
        ("camera.exposure_b", "20 ms"),
        ("sheet.offset", "0.11 mm"),
        ("sheet.thickness_ratio", "1.2"),
        ("image.background_b", "15 e"),
        ("camera.parasitic_sensitivity", "1 %"),
        ("light.pulse_length", "100 us"),
    ]);
    let light = &scene.light;
    // A laser limited by its power: energy grows with the length. Offset 2 px, half to either side.
    near(light.pulses[1].length_ratio, 1.5);
    near(light.pulses[1].energy_ratio, 1.5);
    near(light.pulses[0].offset_px, -1.0);
    near(light.pulses[1].offset_px, 1.0);
    near(light.pulses[1].thickness_ratio, 1.2);
    near(light.jitter, 1e-3);
    assert_eq!(light.pulse_shapes, [PulseShape::Gaussian, PulseShape::Gaussian]);
    // 2000 e/s over 5 ms and 20 ms.
    near(light.ambient_e[0], 10.0);
    near(light.ambient_e[1], 40.0);
    assert_eq!(scene.background_e, [12.0, 15.0]);
    near(scene.camera.parasitic_sensitivity, 0.01);
    near(
        rig(&[("light.energy_ratio", "0.7")]).light.pulses[1].energy_ratio,
        0.7,
    );

    let sheet = rig(&[
        ("sheet.profile", "super-gaussian"),
        ("sheet.order", "6"),
        ("sheet.tilt_x", "2 deg"),
        ("sheet.height_profile", "gaussian"),
    ])
    .sheet;
    assert_eq!(sheet.profile, Profile::SuperGaussian(6.0));
    near(sheet.slope[0], 2.0f64.to_radians().tan());
    near(sheet.height.unwrap().1, 60e-3 / 55e-6);
}

/// The same pulse spread over a Gaussian height is brighter in the middle by √(8/π), and over a
/// super-Gaussian thickness of order 4 dimmer than over a Gaussian one by √(π/8)/(Γ(5/4)/2^¼) (both
/// by the integral of the profile).
#[test]
fn fluence_follows_the_profiles() {
    let plain = rig(&[]).electrons;
    let pi = std::f64::consts::PI;
    near(
        rig(&[("sheet.height_profile", "gaussian")]).electrons / plain,
        (8.0 / pi).sqrt(),
    );
    let order_4 = rig(&[("sheet.profile", "super-gaussian")]).electrons / plain;
    assert!(
        (order_4 - (pi / 8.0).sqrt() / (0.906_402_477 / 1.189_207_115)).abs() < 1e-8,
        "{order_4}"
    );
}

/// Continuous light of a power P through an exposure t is a pulse of the energy P t: the same as a
/// pulse of that length.
#[test]
fn continuous_light_makes_the_exposure_the_pulse() {
    let text = RIG.replace("pulse_length = \"200 us\"", "continuous = true");
    let continuous = scene_of(
        &text,
        &[("camera.exposure", "0.5 ms"), ("camera.exposure_b", "0.6 ms")],
    )
    .unwrap();
    let pulsed = rig(&[("light.pulse_length", "0.5 ms")]);
    near(continuous.electrons, pulsed.electrons);
    assert_eq!(continuous.exposure, pulsed.exposure);
    near(continuous.light.pulses[1].length_ratio, 1.2);
    near(continuous.light.pulses[1].energy_ratio, 1.2);
}

#[test]
fn tracer_follows_its_keys() {
    let changes = [
        ("tracer.distribution", "normal"),
        ("tracer.diameter_sd", "0.25"),
        ("tracer.diameter_limits[0]", "0.5"),
        ("tracer.diameter_limits[1]", "2"),
        ("tracer.brightness_power", "3"),
        ("tracer.cluster_size", "4"),
        ("tracer.cluster_radius", "110 um"),
        ("tracer.gradient_x", "0.3"),
        ("tracer.unseeded[0].share", "0.25"),
    ];
    let disc = "[tracer]\nunseeded = [{ centre = [\"0.55 mm\", \"-2 px\"], radius = \"5.5 mm\" }]";
    let population = scene_of(&RIG.replace("[tracer]", disc), &changes)
        .unwrap()
        .population;
    near(population.unseeded[0].centre_px[0], 255.5 + 10.0);
    near(population.unseeded[0].centre_px[1], 191.5 - 2.0);
    assert_eq!(population.diameters, Diameters::Normal(0.25));
    assert_eq!(population.diameter_limits, [0.5, 2.0]);
    assert_eq!(population.brightness, Brightness::Power(3.0));
    near(population.cluster_size, 4.0);
    near(population.cluster_radius_px, 2.0);
    near(population.gradient[0], 0.3);
    near(population.unseeded[0].radius_px, 100.0);
    near(population.unseeded[0].share, 0.25);
    // The geometric image of 12 µm at M = 0.1 on 5.5 µm pixels.
    near(population.geometric_diameter_px, 1.2 / 5.5);
}

/// The spread over which the budget averages acts in the pictures too, where it is given: the mean
/// light of the particles there is that of the budget. Tolerance: a thousand ranks and the table's
/// straightened ripples, 1 %.
#[test]
fn the_spread_of_diameters_acts_in_budget_and_pictures_alike() {
    let changes = [("tracer.diameter_spread", "0.2"), ("tracer.brightness", "mie")];
    let population = rig(&changes).population;
    assert_eq!(population.diameters, Diameters::Flat(0.2));
    assert_eq!(population.diameter_limits, [0.8, 1.2]);
    near(population.diameter(0.25), 0.9);
    let light = |k: usize| population.brightness(population.diameter((k as f64 + 0.5) / 1000.0));
    let mean = (0..1000).map(light).sum::<f64>() / 1000.0;
    assert!((mean - 1.0).abs() < 0.01, "{mean}");
    let none = [("tracer.diameter_spread", "0")];
    assert_eq!(rig(&none).population.diameters, Diameters::Same);
}

/// Far below the wavelength light grows with the sixth power of the diameter (Rayleigh): 1 % at x =
/// 0.1, whose square is the next term.
#[test]
fn mie_brightness_has_rayleigh_limit() {
    let population = rig(&[
        ("tracer.diameter", "10 nm"),
        ("tracer.diameter_spread", "0"),
        ("tracer.diameter_sd", "0.2"),
        ("tracer.brightness", "mie"),
    ])
    .population;
    for r in [0.5f64, 1.0, 1.5] {
        assert!((population.brightness(r) / r.powi(6) - 1.0).abs() < 0.01, "{r}");
    }
}

#[test]
fn lens_and_camera_follow_their_keys() {
    let scene = rig(&[
        ("lens.defocus", "true"),
        ("lens.focus", "0.11 mm"),
        ("lens.distance", "0.55 m"),
        ("lens.distortion", "-0.05"),
        ("lens.diameter_growth", "0.4"),
        ("camera.fill_factor", "60 %"),
    ]);
    // δ = M²/(n f# (M + 1)) on the sensor a unit of depth in the lab, over M for px per px; water
    // has n = 1.340 at 436 nm and 1.337 at 486 nm (tables; 1e-3 for what lies between).
    let defocus = 0.1 / (1.3393 * 4.0 * 1.1);
    assert!((scene.imaging.defocus / defocus - 1.0).abs() < 1e-3);
    near(scene.imaging.focus_px, 2.0);
    near(scene.imaging.distance_px.unwrap(), 10_000.0);
    near(scene.imaging.distortion, -0.05);
    near(scene.imaging.diameter_growth, 0.4);
    near(scene.camera.fill_factor, 0.6);
    assert_eq!(
        rig(&[("lens.pattern", "airy"), ("tracer.diameter_spread", "0")])
            .imaging
            .pattern,
        ImagePattern::Airy
    );
    near(
        scene_of(SCENE, &[("image.defocus", "0.1")])
            .unwrap()
            .imaging
            .defocus,
        0.1,
    );

    let sensor = rig(&[
        ("camera.dark_current", "400 e/s"),
        ("camera.exposure_b", "10 ms"),
        ("camera.dsnu", "3 e"),
        ("camera.prnu", "1 %"),
        ("camera.hot_pixels", "0.001"),
        ("camera.hot_level", "5000 e"),
        ("camera.dead_pixels", "0.002"),
        ("camera.crosstalk", "5 %"),
    ])
    .camera
    .sensor
    .unwrap();
    near(sensor.dark_current_e[0], 2.0);
    near(sensor.dark_current_e[1], 4.0);
    near(sensor.dsnu_e, 3.0);
    near(sensor.prnu, 0.01);
    near(sensor.hot_pixels, 0.001);
    near(sensor.hot_level_e, 5000.0);
    near(sensor.dead_pixels, 0.002);
    near(sensor.crosstalk, 0.05);
}

/// Between the entries of a list the quantum efficiency is interpolated at the light's wavelength,
/// 450 nm: 0.3 + (0.7 − 0.3)/4.
#[test]
fn quantum_efficiency_is_read_at_the_wavelength() {
    let list = "quantum_efficiency = [{ at = \"400 nm\", share = 0.3 }, { at = \"600 nm\", share = 0.7 }]";
    let text = RIG.replace("quantum_efficiency = 0.55", list);
    near(
        scene_of(&text, &[]).unwrap().electrons / rig(&[]).electrons,
        0.4 / 0.55,
    );
    let error = scene_of(&text, &[("light.wavelength", "700 nm")]).unwrap_err();
    assert!(
        error.contains("camera.quantum_efficiency does not reach light.wavelength"),
        "{error}"
    );
}

/// A lens by other figures: focal length 50 mm at 550 mm pictures at M = 50/500 = 0.1 (thin lens,
/// 1/f = 1/d + 1/(M d)); f/4 at M = 0.1 has the numerical aperture M/(2 f# (M + 1)) = 0.1/8.8 and
/// the working f-number 4 × 1.1. The plans are those of the same lens as the embedded rig states
/// it.
#[test]
fn a_lens_by_its_focal_length_or_its_numerical_aperture() {
    let plain = rig(&[]);
    let focal = "focal_length = \"50 mm\"\nworking_distance = \"550 mm\"";
    let by_focal = scene_of(&RIG.replace("magnification = 0.1", focal), &[]).unwrap();
    let aperture = format!("numerical_aperture = {}", 0.1 / 8.8);
    let text = RIG.replace("aperture = \"f/4\"", &aperture);
    let by_aperture = scene_of(&text, &[]).unwrap();
    for scene in [&by_focal, &by_aperture] {
        near(scene.electrons / plain.electrons, 1.0);
        near(scene.particle_diameter_px, plain.particle_diameter_px);
    }
    let setup = Setup::from_text::<&str>("test", &text, &[]).unwrap();
    let plan = plan(&setup).unwrap();
    near(plan.figure(crate::plan::FactId::WorkingFNumber).unwrap(), 4.4);
    // A rule's change is written under the key that the setup gives.
    let wide = setup
        .with(
            "lens.blur",
            Setup::quantity(0.0, crate::quantity::Dimension::Length),
        )
        .unwrap();
    let rules = crate::plan::plan(&wide).unwrap().rules();
    let diameter = rules
        .iter()
        .find(|rule| rule.id == crate::plan::RuleId::ParticleImageDiameter)
        .unwrap();
    let (key, value) = diameter.fix.clone().and_then(|fix| fix.set).unwrap();
    assert_eq!(key, "lens.numerical_aperture");
    let fixed = wide.with(&key, crate::setup::Value::parse(&value)).unwrap();
    let fixed = crate::plan::plan(&fixed).unwrap();
    assert!((1.99..2.1).contains(&fixed.scene.particle_diameter_px), "{value}");
    for (from, to, words) in [
        (
            "magnification = 0.1",
            "focal_length = \"50 mm\"",
            "lens.working_distance is missing",
        ),
        (
            "magnification = 0.1",
            "magnification = 0.1\nworking_distance = \"1 m\"",
            "only with lens.focal_length",
        ),
        (
            "magnification = 0.1",
            "focal_length = \"50 mm\"\nworking_distance = \"50 mm\"",
            "is not longer than lens.focal_length",
        ),
        (
            "magnification = 0.1",
            "magnification = 0.1\nfocal_length = \"5 mm\"\nworking_distance = \"1 m\"",
            "say the same",
        ),
        (
            "aperture = \"f/4\"",
            "aperture = \"f/4\"\nnumerical_aperture = 0.1",
            "say the same",
        ),
        (
            "aperture = \"f/4\"",
            "numerical_aperture = 0.3",
            "lens.numerical_aperture f-number is 0.15",
        ),
    ] {
        let error = scene_of(&RIG.replace(from, to), &[]).unwrap_err();
        assert!(error.contains(words), "{words}: {error}");
    }
}

/// A sheet by its angles: a waist of 0.5 mm that widens by 1 deg over 300 mm is √(0.5² + (600 tan
/// 0.5°)²) mm thick; a fan of 20 deg is 2 × 300 mm × tan 10° high. The fluence goes as one over
/// both.
#[test]
fn a_sheet_by_its_angles() {
    let plain = rig(&[]);
    let waist = "thickness = \"0.5 mm\"\ndivergence = \"1 deg\"\ndistance = \"300 mm\"\n";
    let text = RIG
        .replace("thickness = \"1.5 mm\"", waist)
        .replace("height = \"60 mm\"", "fan_angle = \"20 deg\"");
    let scene = scene_of(&text, &[]).unwrap();
    let thickness_mm = 0.5f64.hypot(600.0 * 0.5f64.to_radians().tan());
    let height_mm = 600.0 * 10f64.to_radians().tan();
    near(scene.sheet.thickness_px, thickness_mm * 1e-3 / 55e-6);
    near(
        scene.electrons / plain.electrons,
        1.5 * 60.0 / (thickness_mm * height_mm),
    );
    for (from, to, words) in [
        ("distance = \"300 mm\"\n", "", "sheet.distance is missing"),
        (
            "thickness = \"0.5 mm\"",
            "thickness = \"9 px\"",
            "sheet.thickness must be that of the waist",
        ),
        (
            "fan_angle",
            "height = \"6 mm\"\nfan_angle",
            "sheet.fan_angle and sheet.height both",
        ),
    ] {
        let error = scene_of(&text.replace(from, to), &[]).unwrap_err();
        assert!(error.contains(words), "{words}: {error}");
    }
    let alone = scene_of(&RIG.replace("[sheet]", "[sheet]\ndistance = \"1 m\""), &[]).unwrap_err();
    assert!(alone.contains("sheet.distance is the way over which"), "{alone}");
}

#[test]
fn reflections_follow_their_keys() {
    let reflections = rig(&[
        ("reflections.glare", "500 e"),
        ("reflections.glare_y", "5.5 mm"),
        ("reflections.glare_width", "8 px"),
        ("reflections.hot_spots", "12"),
        ("reflections.hot_spot_peak", "900 e"),
        ("reflections.hot_spot_diameter", "4 px"),
    ])
    .light
    .reflections;
    let glare = reflections.glare.unwrap();
    near(glare.at_px[0], 255.5);
    near(glare.at_px[1], 191.5 + 100.0);
    near(glare.width_px, 8.0);
    assert_eq!(reflections.hot_spots.unwrap().count, 12);
}

/// A flat field needs the background alone; without the switch no seeding stays an error.
#[test]
fn flat_fields_need_no_rig() {
    let flat = "[image]\nsize = [64, 64]\nflat_field = true\nbackground = \"300 e\"\n[flow]\nkind = \"uniform\"\ndisplacement = [\"0 px\", \"0 px\"]\n[processing]\nwindow = 16\n";
    let scene = scene_of(flat, &[]).unwrap();
    assert_eq!((scene.seeding_density_ppp, scene.background_e), (0.0, [300.0; 2]));
    let error = scene_of(SCENE, &[("image.seeding_density", "0 ppp")]).unwrap_err();
    assert!(error.contains("image.seeding_density is 0"), "{error}");
}

/// A changed rig keeps what the change does not touch, and nothing that it touches: its plan is
/// that of the changed setup read alone.
#[test]
fn a_changed_rig_is_that_of_the_changed_setup() {
    let setup = Setup::from_text("rig", RIG, &[("sheet.out_of_plane", "0.2")]).unwrap();
    let rig = Rig::of(&setup).unwrap();
    // What motion and sheets give is remembered from now on.
    Plan::of(rig.clone()).unwrap().rules();
    for (key, value) in [
        ("light.pulse_length", "\"300 us\""),
        ("light.wavelength", "\"532 nm\""),
        ("light.polarisation", "\"parallel\""),
        ("tracer.diameter", "\"20 um\""),
        ("tracer.diameter_spread", "0.05"),
        ("tracer.refractive_index", "1.6"),
        ("fluid.temperature", "\"40 degC\""),
        ("lens.aperture", "\"f/8\""),
        ("lens.magnification", "0.15"),
        ("camera.size", "[640, 384]"),
        ("camera.pixel", "\"3.45 um\""),
        ("sheet.thickness", "\"1 mm\""),
        ("sheet.out_of_plane", "0.1"),
        ("sheet.profile", "\"top-hat\""),
        ("sheet.thickness_ratio", "1.3"),
        ("sheet.offset", "\"0.1 mm\""),
        ("flow.core_radius", "\"3 mm\""),
        ("flow.centre[0]", "\"0 mm\""),
        ("timing.separation", "\"1.2 ms\""),
    ] {
        let value = Value::parse(value);
        let other = setup.with(key, value).unwrap();
        let changed = Plan::of(rig.changed(&other).unwrap()).unwrap();
        let alone = plan(&other).unwrap();
        assert_eq!(format!("{changed:?}"), format!("{alone:?}"), "{key}");
        assert_eq!(changed.rules(), alone.rules(), "{key}");
    }
}

/// Bad values name their key.
#[test]
fn bad_values_name_their_key() {
    for (key, value) in [
        ("light.length_ratio", "0"),
        ("light.length_ratio", "100"),
        ("light.energy_ratio", "-1"),
        ("light.jitter", "-1 us"),
        ("light.jitter", "1 ms"),
        ("light.ambient", "5 e"),
        ("light.pulse_shape", "square"),
        ("reflections.picture", "nowhere.tif"),
        ("reflections.glare", "10 e"),
        ("reflections.hot_spots", "2"),
        ("sheet.order", "4"),
        ("sheet.tilt_x", "60 deg"),
        ("sheet.height_profile", "round"),
        ("sheet.thickness_ratio", "1000"),
        ("tracer.distribution", "normal"),
        ("tracer.diameter_sd", "3"),
        ("tracer.diameter_limits[0]", "2"),
        ("tracer.brightness_power", "20"),
        ("tracer.cluster_size", "-2"),
        ("tracer.cluster_radius", "-2 px"),
        ("tracer.gradient_y", "2"),
        ("tracer.unseeded[0].share", "0.5"),
        ("lens.distance", "10 px"),
        ("lens.distortion", "0.5"),
        ("lens.diameter_growth", "-0.9"),
        ("camera.fill_factor", "0"),
        ("camera.prnu", "90 %"),
        ("camera.crosstalk", "0.9"),
        ("camera.dark_current", "-5 e/s"),
        ("image.background_b", "1 e"),
        ("image.flat_field", "true"),
        ("image.geometric_diameter", "50 px"),
        ("image.defocus", "-1"),
        ("image.jitter", "0.5"),
    ] {
        let error = scene_of(RIG, &[(key, value)])
            .err()
            .or_else(|| scene_of(SCENE, &[(key, value)]).err())
            .unwrap_or_else(|| panic!("{key} = {value} was accepted"));
        // The missing partner of a key names the section it belongs to.
        let section = key.split(['_', '[']).next().unwrap();
        assert!(error.contains(section), "{key} = {value}: {error}");
    }
}
