//! Limits in any unit are one limit; values are rounded so that no change is smaller than found;
//! and the key that brings more light is found by what it does to the plan.

use motefield_rig::setup::EMBEDDED;

use super::*;
use crate::decide::trial::tests::two_pairs;

const DIODE: &str = include_str!("../../../../cases/start/diode-water.toml");
const LASER: &str = include_str!("../../../../cases/start/laser-tunnel.toml");
const CHANNEL: &str = include_str!("../../../../cases/start/microchannel.toml");
const LAMP: &str = include_str!("../../../../cases/start/lamp-river.toml");

fn setup(text: &str, changes: &[(&str, &str)]) -> Setup {
    Setup::from_text("rig", text, changes).unwrap()
}

fn levers(text: &str, limit: ErrorLimit, taken: &[&str]) -> Vec<Lever> {
    lever::all(&plan(&setup(text, &[])).unwrap(), limit, taken)
}

fn lever(text: &str, means: Means) -> Lever {
    let all = levers(text, ErrorLimit::Pixels(0.1), &["light.pulse_length"]);
    all.into_iter().find(|lever| lever.means == means).unwrap()
}

/// A small rig of so little light that some vectors are lost.
fn dim() -> MeasuredSetting {
    two_pairs(&[
        ("camera.size", "[96, 80]"),
        ("processing.window", "32"),
        ("light.power", "0.2 W"),
    ])
}

/// A limit in px that is met by a shorter displacement costs the velocity where its interval lies
/// above the error before; a limit of the velocity cannot.
#[test]
fn a_limit_in_pixels_may_cost_velocity() {
    let measured = dim();
    let total = measured.point.score.total_px;
    let lower = total.lo / measured.speeds.mean_px;
    let solution = Sufficient {
        changes: Vec::new(),
        settings: Vec::new(),
        strain: total,
        measured,
    };
    let costs = |velocity_before: f64, of_velocity: bool| {
        let enough = Enough {
            light: LeastLight::Unknown,
            changes: Vec::new(),
            ended_early: false,
            pairs: 0,
            limit: ErrorLimit::Pixels(0.1),
            valid: 0.95,
            of_velocity,
            velocity_before,
        };
        enough.costs_velocity(&solution)
    };
    assert!(costs(0.999 * lower, false));
    assert!(!costs(1.001 * lower, false));
    assert!(!costs(0.999 * lower, true));
}

/// The same limit as pixels, as a share of the mean displacement, and as that share of the mean
/// speed.
#[test]
fn a_limit_in_any_unit_strains_alike() {
    let setting = dim();
    let strain = |limit, valid| {
        let judge = Judge {
            limit,
            of_velocity: false,
            valid,
        };
        judge.strain(&setting).value
    };
    let total_px = setting.point.score.total_px.value;
    let wanted = total_px / 0.05;
    // So few vectors are asked for that their share plays no part.
    for limit in [
        ErrorLimit::Pixels(0.05),
        ErrorLimit::Share(0.05 / setting.speeds.mean_px),
        ErrorLimit::Speed(0.05 / setting.speeds.mean_px * setting.mean_m_s.unwrap()),
    ] {
        assert!((strain(limit, 0.0) / wanted - 1.0).abs() < 1e-9, "{limit}");
    }
    // Where no error is too large, the lost vectors count: over those that may be lost.
    let lost = setting.point.score.outliers.value;
    let found = strain(ErrorLimit::Share(f64::INFINITY), 0.95);
    assert!(lost > 0.0);
    assert!((found - lost / 0.05).abs() < 1e-12, "{found} {lost}");
}

/// Three digits, never less of a change than asked for; windows in steps of 8 px; pairs whole.
#[test]
fn values_are_rounded_outward() {
    let power = lever(EMBEDDED, Means::Light);
    assert_eq!(power.key.path, "light.power");
    assert_eq!(
        (power.present(), power.text(1.0)),
        ("2.5 W".into(), "2.5 W".into())
    );
    // 2.5 W x 1.30043 = 3.251075 W.
    assert_eq!(power.text(1.30043), "3.26 W");
    let aperture = lever(EMBEDDED, Means::Aperture);
    // 4 / 1.3 = 3.0769.
    assert_eq!(aperture.text(1.3), "f/3.07");
    assert!((aperture.most - 4.0 / 1.4).abs() < 1e-12);
    let window = lever(EMBEDDED, Means::Window);
    assert_eq!((window.text(1.01), window.text(1.3)), ("40".into(), "48".into()));
    let ensemble = lever(EMBEDDED, Means::Ensemble);
    assert_eq!((ensemble.text(1.2), ensemble.text(2.0)), ("2".into(), "2".into()));
    // The separation that limits pixels is the shorter one, that which limits the velocity the
    // longer one; and where it is free already it is no change.
    let separation = |limit, taken: &[&str]| {
        let all = levers(EMBEDDED, limit, taken);
        let found = all.into_iter().find(|lever| lever.means == Means::Separation);
        found.map(|lever| lever.text(2.0))
    };
    assert_eq!(
        separation(ErrorLimit::Pixels(0.1), &[]).as_deref(),
        Some("1.2 ms")
    );
    assert_eq!(
        separation(ErrorLimit::Share(0.01), &[]).as_deref(),
        Some("4.8 ms")
    );
    assert_eq!(separation(ErrorLimit::Share(0.01), &["timing.separation"]), None);
    assert_eq!(
        levers(DIODE, ErrorLimit::Share(0.01), &["timing.separation"])
            .iter()
            .filter(|lever| lever.means == Means::Separation)
            .count(),
        0
    );
}

/// Power, energy, electrons, number of sources where the power is a table, and where the light is a
/// measured grey level of a rig that says too little for more, the time in which that is reached.
#[test]
fn the_key_of_the_light_is_the_one_that_acts() {
    for (text, key) in [
        (EMBEDDED, "light.power"),
        (LASER, "light.pulse_energy"),
        (CHANNEL, "image.electrons"),
        (DIODE, "light.sources"),
        (LAMP, "light.measured_at"),
    ] {
        let light = lever(text, Means::Light);
        assert_eq!(light.key.path, key);
        let now = plan(&setup(text, &[])).unwrap().scene.electrons;
        let changed = setup(text, &[]).with(key, light.value(2.0)).unwrap();
        let twice = plan(&changed).unwrap().scene.electrons;
        // The streak that grows in the time of the grey level adds a little.
        assert!((twice / now / 2.0 - 1.0).abs() < 0.15, "{key}: {now} {twice}");
    }
}
