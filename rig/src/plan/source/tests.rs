//! Energies, centroids and limits of pulses in closed form, worked out beside each check.

use super::*;
use crate::plan::{FactId, Plan, RuleId, Status, plan};

const RIG: &str = include_str!("../../../../cases/flume.toml");

/// The embedded rig with other lines in place of its power and pulse length.
fn with(light: &str, changes: &[(&str, &str)]) -> Result<Plan, String> {
    let text = RIG
        .replace("power = \"2.5 W\"\n", light)
        .replace("pulse_length = \"200 us\"\n", "");
    let changes: Vec<(String, String)> = changes
        .iter()
        .map(|(key, value)| ((*key).to_owned(), (*value).to_owned()))
        .collect();
    let setup = Setup::from_text("rig.toml", &text, &changes).map_err(|e| e.to_string())?;
    plan(&setup).map_err(|e| e.to_string())
}

fn planned(light: &str, pulse: &str) -> Plan {
    with(light, &[("light.pulse_length", pulse)]).unwrap()
}

fn energy(light: &str, pulse: &str) -> f64 {
    planned(light, pulse).figure(FactId::PulseEnergy).unwrap()
}

#[track_caller]
fn near(got: f64, expected: f64) {
    assert!((got / expected - 1.0).abs() < 1e-12, "{got} for {expected}");
}

const TABLE: &str =
    "peak_power = [{ length = \"10 us\", power = \"40 W\" }, { length = \"1 ms\", power = \"4 W\" }]\n";

/// Over two decades of length the power falls by one: P = 40 W (T/10 us)^(−1/2), so that E grows
/// with the root of the length. At 10 us 400 uJ, at 40 us 40/2 W × 40 us = 800 uJ, at 1 ms 4 mJ;
/// at 5 us the power of 10 us.
#[test]
fn a_table_is_straight_over_the_logarithms() {
    near(energy(TABLE, "10 us"), 400e-6);
    near(energy(TABLE, "40 us"), 800e-6);
    near(energy(TABLE, "1 ms"), 4e-3);
    near(energy(TABLE, "5 us"), 200e-6);
    let error = with(TABLE, &[("light.pulse_length", "1.1 ms")]).unwrap_err();
    assert!(error.contains("line 7: light.peak_power ends at 1 ms"), "{error}");
    // Pulse B, four times as long as pulse A, has half its power: twice its energy.
    let plan = with(
        TABLE,
        &[("light.pulse_length", "20 us"), ("light.length_ratio", "4")],
    )
    .unwrap();
    near(plan.scene.light.pulses[1].energy_ratio, 2.0);
    assert!(
        with(
            TABLE,
            &[("light.pulse_length", "300 us"), ("light.length_ratio", "4")]
        )
        .is_err()
    );
    let error = with(
        "peak_power = [{ length = \"1 ms\", power = \"4 W\" }, { length = \"10 us\", power = \"4 W\" }]\n",
        &[],
    )
    .unwrap_err();
    assert!(
        error.contains("light.peak_power[1].length must be longer"),
        "{error}"
    );
}

/// Ramps of 8 and 4 us from 10 % to 90 % last 10 and 5 us in full. A pulse of 100 us has its half
/// powers 100 us apart, the energy P × 100 us, and the centroid of its three parts. One of 3 us is
/// a triangle of the same slopes: its half powers 3 us apart, its base 6 us, its power 3/7.5 of the
/// full one, its ramps 4 and 2 us, its centroid a third of base + rise.
#[test]
fn ramps_are_a_trapezoid_or_a_triangle() {
    let ramps = "power = \"2 W\"\nrise_time = \"8 us\"\nfall_time = \"4 us\"\n";
    near(energy(ramps, "100 us"), 200e-6);
    let shape = &planned(ramps, "100 us").scene.light.pulse_shapes[0];
    let (rising, flat, falling) = (5.0, 92.5, 2.5);
    let moment = rising * (-5.0 + 20.0 / 3.0) + flat * (5.0 + 46.25) + falling * (97.5 + 5.0 / 3.0);
    near(shape.centroid(), moment / 100.0 / 100.0);
    near(energy(ramps, "3 us"), 2.0 * (3.0 / 7.5) * 3e-6);
    let shape = &planned(ramps, "3 us").scene.light.pulse_shapes[0];
    // The foot of the triangle lies half its rise before the first half power.
    near(shape.centroid(), ((6.0 + 4.0) / 3.0 - 2.0) / 3.0);
    // Half a pulse gives a quarter of the light there.
    near(energy(ramps, "3 us") / energy(ramps, "1.5 us"), 4.0);
    for (rise, fall) in [("0 us", "4 us"), ("8 us", "0 us")] {
        let text = format!("power = \"2 W\"\nrise_time = \"{rise}\"\nfall_time = \"{fall}\"\n");
        near(energy(&text, "100 us"), 200e-6);
        assert!(matches!(
            planned(&text, "100 us").scene.light.pulse_shapes[0],
            PulseShape::Linear(_)
        ));
    }
    let none = planned("power = \"2 W\"\nrise_time = \"0 us\"\n", "100 us");
    assert_eq!(none.scene.light.pulse_shapes[0], PulseShape::Rectangular);
}

/// A pulse from a file is the pulse length where none is stated, and is stretched where one is.
#[test]
fn a_pulse_from_a_file_is_stretched() {
    use std::sync::Arc;

    use crate::setup::{Document, Referenced};
    use motefield_files::Memory;

    let text = RIG
        .replace("pulse_length = \"200 us\"", "pulse_file = \"lab/led.csv\"")
        .replace("power = \"2.5 W\"", "power = \"2 W\"");
    // A saw-tooth of 200 us: half powers at 0 and 100 us, energy P × 100 us, centroid at 200/3 us.
    let files = Memory::new([(
        "rigs/lab/led.csv".into(),
        b"time [us],power\n0,5\n200,0\n".to_vec(),
    )]);
    let referenced = Referenced::new(Arc::new(files));
    let document = Document::parse("rigs/rig.toml", &text).unwrap();
    let setup = Setup::read(document.clone(), Arc::clone(&referenced)).unwrap();
    let plan = crate::plan::plan(&setup).unwrap();
    near(plan.pulse_s.unwrap(), 100e-6);
    near(plan.figure(FactId::PulseEnergy).unwrap(), 200e-6);
    near(plan.scene.light.pulse_shapes[0].centroid(), 2.0 / 3.0);
    let longer = setup
        .with("light.pulse_length", Setup::quantity(300e-6, D::Time))
        .unwrap();
    let plan = crate::plan::plan(&longer).unwrap();
    near(plan.figure(FactId::PulseEnergy).unwrap(), 600e-6);
    near(plan.scene.light.pulse_shapes[0].centroid(), 2.0 / 3.0);
    let missing = Setup::read(document, Referenced::new(Arc::new(Memory::default()))).unwrap_err();
    assert!(
        missing
            .to_string()
            .contains("line 8: light.pulse_file cannot be used"),
        "{missing}"
    );
}

/// Each limit alone: its rule at, just within and just beyond the limit, and the longest pulse.
/// On-time: as stated. Energy of 2 W: limit/2 W; of the table 800 uJ at 40 us; of ramps (see above)
/// that of the triangle, 2 W/7.5 us × T². Duty: a pair takes two frames, so that two pulses of T
/// are T × rate of the time.
#[test]
fn limits_are_rules_and_end_the_search() {
    let ramps = "rise_time = \"8 us\"\nfall_time = \"4 us\"\n";
    for (light, id, longest_s) in [
        (
            "power = \"2 W\"\non_time_limit = \"150 us\"\n".to_owned(),
            RuleId::SourceOnTime,
            150e-6,
        ),
        (
            "power = \"2 W\"\nenergy_limit = \"0.3 mJ\"\n".to_owned(),
            RuleId::SourceEnergy,
            150e-6,
        ),
        (
            format!("{TABLE}energy_limit = \"800 uJ\"\n"),
            RuleId::SourceEnergy,
            40e-6,
        ),
        (
            format!("{TABLE}energy_limit = \"200 uJ\"\n"),
            RuleId::SourceEnergy,
            5e-6,
        ),
        (
            format!("power = \"2 W\"\n{ramps}energy_limit = \"2.4 uJ\"\n"),
            RuleId::SourceEnergy,
            3e-6,
        ),
        (
            format!("power = \"2 W\"\n{ramps}energy_limit = \"40 uJ\"\n"),
            RuleId::SourceEnergy,
            20e-6,
        ),
        (
            "power = \"2 W\"\nduty_limit = \"1 %\"\n".to_owned(),
            RuleId::SourceDuty,
            1e-3,
        ),
    ] {
        for (factor, status) in [(0.999, Status::Pass), (1.0, Status::Pass), (1.001, Status::Fail)] {
            let pulse = format!("{:e} s", factor * longest_s);
            let changes = [
                ("light.pulse_length", pulse.as_str()),
                ("camera.frame_rate", "10 Hz"),
            ];
            let plan = with(&light, &changes).unwrap();
            near(plan.longest_pulse_s.unwrap(), longest_s);
            let rule = plan.rules().into_iter().find(|rule| rule.id == id).unwrap();
            assert_eq!(rule.status, status, "{light} {factor}: {rule:?}");
            assert_eq!(rule.fix.is_some(), status == Status::Fail);
            if let Some((key, value)) = rule.fix.and_then(|fix| fix.set) {
                let fixed = plan
                    .rig
                    .setup
                    .with(&key, crate::setup::Value::parse(&value))
                    .unwrap();
                let rules = crate::plan::plan(&fixed).unwrap().rules();
                let rule = rules.into_iter().find(|rule| rule.id == id).unwrap();
                assert_eq!(rule.status, Status::Pass, "{key} = {value}: {rule:?}");
            }
        }
    }
    // Of a source with a table that says no more, the table's end; pulse B is twice as long.
    let table = with(
        TABLE,
        &[("light.pulse_length", "20 us"), ("light.length_ratio", "2")],
    )
    .unwrap();
    near(table.longest_pulse_s.unwrap(), 0.5e-3);
    // Without a limit the exposures alone, and no rule.
    let free = planned("power = \"2 W\"\n", "100 us");
    near(free.longest_pulse_s.unwrap(), 2.2e-3);
    assert!(
        free.rules()
            .iter()
            .all(|rule| !rule.id.as_str().starts_with("source_"))
    );
}

#[test]
fn what_cannot_stand_together_is_refused() {
    for (light, words) in [
        (
            format!("power = \"2 W\"\n{TABLE}"),
            "light.peak_power and light.power both state",
        ),
        (
            format!("pulse_energy = \"2 mJ\"\n{TABLE}"),
            "light.pulse_energy and light.peak_power exclude",
        ),
        (
            "power = \"2 W\"\npulse_shape = \"gaussian\"\nrise_time = \"1 us\"\n".to_owned(),
            "light.rise_time is for a pulse of constant power",
        ),
        (
            "power = \"2 W\"\npulse_file = \"a.csv\"\nfall_time = \"1 us\"\n".to_owned(),
            "light.fall_time and light.pulse_file both state",
        ),
        (
            "power = \"2 W\"\nduty_limit = 0\n".to_owned(),
            "light.duty_limit is 0",
        ),
        (
            "power = \"2 W\"\ncontinuous = true\non_time_limit = \"1 us\"\n".to_owned(),
            "light.on_time_limit has no meaning for continuous light",
        ),
        (
            "peak_power = [{ length = \"10 us\" }]\n".to_owned(),
            "light.peak_power[0] is incomplete",
        ),
    ] {
        let error = with(&light, &[]).unwrap_err();
        assert!(error.contains(words), "{words}: {error}");
    }
}

/// 683 lm at 555 nm are 1 W by the definition of the lumen (CGPM 1979); at 450 nm V is 0.038 (CIE
/// 1924), and 683 lm are 1/0.038 W. 10 W of electrical power at 35 % are 3.5 W of light; two
/// sources give twice the light of one, and each bears what it bore.
#[test]
fn power_by_lumens_by_watts_of_current_and_by_sources() {
    let lumens = |wavelength: &str| {
        let changes = [("light.pulse_length", "100 us"), ("light.wavelength", wavelength)];
        let plan = with("luminous_flux = \"683 lm\"\n", &changes).unwrap();
        plan.figure(FactId::PulseEnergy).unwrap()
    };
    near(lumens("555 nm"), 100e-6);
    near(lumens("450 nm"), 100e-6 / 0.038);
    near(
        energy("electrical_power = \"10 W\"\nefficiency = 0.35\n", "100 us"),
        350e-6,
    );
    let two = planned(
        "power = \"2 W\"\nsources = 2\nenergy_limit = \"0.3 mJ\"\n",
        "100 us",
    );
    near(two.figure(FactId::PulseEnergy).unwrap(), 400e-6);
    near(two.longest_pulse_s.unwrap(), 150e-6);
    let rule = two
        .rules()
        .into_iter()
        .find(|rule| rule.id == RuleId::SourceEnergy)
        .unwrap();
    near(rule.value, 200.0 / 300.0);
    near(energy("pulse_energy = \"2 mJ\"\nsources = 3\n", "100 us"), 6e-3);
}

/// A spectrum is the sum of its lines: each line alone, with the fluid, the scattering and the
/// quantum efficiency of its wavelength, weighted by its share of the power. To rounding.
#[test]
fn a_spectrum_is_the_sum_of_its_lines() {
    let efficiency =
        "quantum_efficiency = [{ at = \"400 nm\", share = 0.3 }, { at = \"700 nm\", share = 0.6 }]";
    let planned = |light: &str| {
        let text = RIG
            .replace("quantum_efficiency = 0.55", efficiency)
            .replace("wavelength = \"450 nm\"\n", light);
        plan(&Setup::from_text::<&str>("rig.toml", &text, &[]).unwrap()).unwrap()
    };
    let electrons = |light: &str| planned(light).scene.electrons;
    let [blue, green, red] =
        ["450 nm", "530 nm", "640 nm"].map(|line| electrons(&format!("wavelength = \"{line}\"\n")));
    let one = "spectrum = [{ at = \"450 nm\", weight = 7 }]\n";
    assert_eq!(electrons(one), blue);
    let three = "spectrum = [{ at = \"450 nm\", weight = 2 }, { at = \"530 nm\", weight = 5 }, { at = \"640 nm\", weight = 3 }]\n";
    near(electrons(three), 0.2 * blue + 0.5 * green + 0.3 * red);
    // The links of the chain still multiply to the electrons: fluence x cross-section x solid angle
    // x transmission / photon x quantum efficiency.
    let plan = planned(three);
    let figure = |id| plan.figure(id).unwrap();
    let collected = figure(FactId::Fluence) * figure(FactId::CrossSection) * figure(FactId::SolidAngle);
    near(figure(FactId::CollectedEnergy), collected);
    near(figure(FactId::ExpectedElectrons), plan.scene.electrons);
    // Mie's brightness over the diameters is that of the lines together.
    let mie = "spectrum = [{ at = \"450 nm\", weight = 1 }, { at = \"450 nm\", weight = 1 }]\n";
    let with_mie = |light: &str| {
        let text = RIG.replace("wavelength = \"450 nm\"\n", light);
        let changes = [("tracer.diameter_sd", "0.2"), ("tracer.brightness", "mie")];
        plan_of(&text, &changes).scene.population
    };
    let (twice, once) = (with_mie(mie), with_mie("wavelength = \"450 nm\"\n"));
    for diameter in [0.6, 1.0, 1.3] {
        near(twice.brightness(diameter), once.brightness(diameter));
    }
}

fn plan_of(text: &str, changes: &[(&str, &str)]) -> Plan {
    let changes: Vec<(String, String)> = changes
        .iter()
        .map(|(key, value)| ((*key).to_owned(), (*value).to_owned()))
        .collect();
    plan(&Setup::from_text("rig.toml", text, &changes).unwrap()).unwrap()
}

#[test]
fn power_that_cannot_be_known_is_refused() {
    for (light, words) in [
        (
            "luminous_flux = \"900 lm\"\npower = \"1 W\"\n",
            "light.luminous_flux and light.power both",
        ),
        ("electrical_power = \"9 W\"\n", "light.efficiency is missing"),
        (
            "efficiency = 0.3\npower = \"1 W\"\n",
            "light.efficiency is radiant power over",
        ),
        (
            "luminous_flux = \"900 lm\"\nspectrum = [{ at = \"450 nm\", weight = 1 }]\n",
            "light.spectrum and light.wavelength both",
        ),
    ] {
        let error = with(light, &[]).unwrap_err();
        assert!(error.contains(words), "{words}: {error}");
    }
    let dark = with("luminous_flux = \"900 lm\"\n", &[("light.wavelength", "905 nm")]).unwrap_err();
    assert!(dark.contains("which sees none of these wavelengths"), "{dark}");
    let text = "[light]\nluminous_flux = \"900 lm\"\n[flow]\nkind = \"uniform\"\ndisplacement = [\"3 px\", \"0 px\"]\n";
    let blind = Setup::from_text::<&str>("rig.toml", text, &[])
        .unwrap_err()
        .to_string();
    assert!(
        blind.contains("line 2: light.luminous_flux is light as the eye sees it, which needs"),
        "{blind}"
    );
}

/// The caution stays with the source, however its power is stated.
#[test]
fn every_way_to_state_a_power_keeps_its_caution() {
    let caution = |light: &str| {
        let text = RIG
            .replace("source = \"laser\"", "")
            .replace("hazard_class = \"4\"", "")
            .replace("power = \"2.5 W\"\n", light);
        let setup = Setup::from_text::<&str>("rig.toml", &text, &[]).unwrap();
        crate::caution::of_setup(&setup).unwrap_or_default()
    };
    let table = TABLE.replace("\n", "\nsource = \"laser\"\n");
    for class_4 in [
        table.as_str(),
        "luminous_flux = \"900 lm\"\n",
        "electrical_power = \"9 W\"\nefficiency = 0.3\n",
    ] {
        assert!(caution(class_4).contains("laser of class 4"), "{class_4}");
    }
    // 0.3 W each is class 3B; two of them are not.
    assert!(caution("power = \"0.3 W\"\n").contains("laser of class 3B"));
    assert!(caution("power = \"0.3 W\"\nsources = 2\n").contains("laser of class 4"));
    assert!(
        caution("source = \"led\"\nluminous_flux = \"900 lm\"\n").contains("LED source. Its photobiological")
    );
    assert!(caution("source = \"lamp\"\nluminous_flux = \"900 lm\"\n").contains("lamp. Its photobiological"));
    let two_lines = RIG.replace(
        "wavelength = \"450 nm\"",
        "spectrum = [{ at = \"450 nm\", weight = 1 }, { at = \"640 nm\", weight = 1 }]",
    );
    let setup = Setup::from_text::<&str>("rig.toml", &two_lines, &[]).unwrap();
    assert!(
        crate::caution::of_setup(&setup)
            .unwrap()
            .contains("rated for all its wavelengths")
    );
}
