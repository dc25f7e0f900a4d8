//! What is proposed is read back as it is written and planned anew: every rule must then be kept.
//! Where two rules exclude each other, closed forms say why.

use super::*;
use crate::plan::plan;
use crate::setup::{EMBEDDED, Setup};

const LASER: &str = include_str!("../../../../cases/start/laser-tunnel.toml");
const DIODE: &str = include_str!("../../../../cases/start/diode-water.toml");
const LED: &str = include_str!("../../../../cases/start/led-tank.toml");
const LAMP: &str = include_str!("../../../../cases/start/lamp-river.toml");
const CHANNEL: &str = include_str!("../../../../cases/start/microchannel.toml");
const DIM: &str = include_str!("../../../../cases/dim.toml");

fn setup(text: &str, changes: &[(&str, &str)]) -> Setup {
    Setup::from_text("rig", text, changes).unwrap()
}

fn proposal(text: &str, changes: &[(&str, &str)]) -> Option<Proposal> {
    Proposal::of(&plan(&setup(text, changes)).unwrap())
}

/// The changes of a proposal, after which no rule is broken.
fn kept(text: &str, changes: &[(&str, &str)]) -> Vec<ProposedChange> {
    let found = proposal(text, changes);
    let Some(Proposal::Together(proposed)) = found else {
        panic!("{changes:?}: {found:?}");
    };
    let mut all = changes.to_vec();
    all.extend(proposed.iter().map(|c| (c.key.as_str(), c.values[1].as_str())));
    let rules = plan(&setup(text, &all)).unwrap().rules();
    let broken: Vec<_> = rules.iter().filter(|rule| rule.status > Status::Pass).collect();
    assert!(broken.is_empty(), "{changes:?} with {proposed:?}: {broken:#?}");
    proposed
}

#[test]
fn every_rule_is_kept_with_what_is_proposed() {
    let rigs: &[(&str, &[(&str, &str)])] = &[
        (EMBEDDED, &[("light.power", "0.3 W")]),
        (EMBEDDED, &[("timing.separation", "8 ms")]),
        (
            EMBEDDED,
            &[("tracer.concentration", "60 /mm3"), ("lens.aperture", "f/1.4")],
        ),
        (EMBEDDED, &[("sheet.thickness", "8 mm"), ("light.power", "0.5 W")]),
        (
            DIODE,
            &[
                ("light.pulse_length", "1 ms"),
                ("tracer.particles_per_window", "3"),
            ],
        ),
        (DIODE, &[("lens.aperture", "f/22")]),
        (
            LASER,
            &[
                ("light.pulse_energy", "1 mJ"),
                ("lens.aperture", "f/2"),
                ("timing.displacement", "25 px"),
            ],
        ),
        (
            CHANNEL,
            &[("image.electrons", "300 e"), ("sheet.thickness", "100 um")],
        ),
        (
            LAMP,
            &[("camera.exposure", "6 ms"), ("timing.displacement", "30 px")],
        ),
        (LED, &[("sheet.out_of_plane", "0.4")]),
        (
            LED,
            &[("timing.displacement", "24 px"), ("camera.frame_rate", "200 Hz")],
        ),
    ];
    for (text, changes) in rigs {
        let proposed = kept(text, changes);
        assert!(proposed.len() <= 4, "{changes:?}: {proposed:?}");
    }
}

/// Where nothing is broken nothing is proposed; where one setting does, it is one.
#[test]
fn no_more_is_changed_than_needed() {
    assert_eq!(proposal(DIODE, &[]), None);
    let too_strong = kept(LASER, &[("light.pulse_energy", "2000 mJ")]);
    assert_eq!(too_strong.len(), 1, "{too_strong:?}");
    // One f-number keeps both the rule of the image and that of the noise: changed one by one, each
    // names another key.
    let both = kept(DIODE, &[("lens.aperture", "f/22")]);
    assert_eq!(both.len(), 1, "{both:?}");
}

/// With a background b and read noise of variance v the peak p must reach 10 √(p + b + v), hence
/// p ≥ 5 (10 + √(100 + 4 (b + v))), and stay below 0.9 × 10 000 e − b (algebra). At 4000 e both
/// hold from 686 e on; at 8500 e 974 e are needed and 500 e are left; at 9500 e the background
/// alone is too bright.
#[test]
fn rules_that_exclude_each_other_are_named() {
    let rig = |background: &str| {
        let changes = [("camera.full_well", "10000 e"), ("image.background", background)];
        proposal(DIM, &changes)
    };
    let least = |background: f64| 5.0 * (10.0 + (100.0 + 4.0 * (background + 25.0)).sqrt());
    let Some(Proposal::Together(changes)) = rig("4000 e") else {
        panic!("{:?}", rig("4000 e"));
    };
    let [change] = &changes[..] else {
        panic!("{changes:?}");
    };
    assert_eq!(change.key, "image.peak_electrons");
    let found: f64 = change.values[1].trim_end_matches(" e").parse().unwrap();
    assert!(
        (found / least(4000.0) - 1.0).abs() < 0.01,
        "{found} {}",
        least(4000.0)
    );
    assert!(least(8500.0) > 0.9 * 10_000.0 - 8500.0);
    let Some(Proposal::Exclude(rules)) = rig("8500 e") else {
        panic!("{:?}", rig("8500 e"));
    };
    let mut ids = rules.map(|(id, _)| id);
    ids.sort();
    assert_eq!(ids, [RuleId::Saturation, RuleId::PeakSnr]);
    let Some(Proposal::OutOfReach(id, _)) = rig("9500 e") else {
        panic!("{:?}", rig("9500 e"));
    };
    assert_eq!(id, RuleId::Saturation);
}
