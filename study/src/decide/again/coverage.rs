//! The interval of an error that is measured again, in pictures of few windows.

use std::sync::atomic::AtomicBool;

use motefield_rig::plan::plan;
use motefield_rig::setup::{EMBEDDED, Setup};

use super::again;
use crate::decide::Wish;
use crate::run::{Effort, Experiment, External, Point, Silent, run};

const SEEDS: u64 = 200;
/// Pairs that tell the error which an interval should hold, ten times better than it does.
const REFERENCE_PAIRS: usize = 3000;

/// A study of this effort that asks for nothing.
pub(super) fn wish(effort: Effort) -> Wish {
    Wish {
        limit_px: f64::INFINITY,
        valid: 0.0,
        external: External::default(),
        effort,
    }
}

fn measured(experiment: &Experiment, pairs: usize) -> Point {
    let effort = Effort {
        precision: 0.0,
        first_pairs: pairs,
        most_pairs: pairs,
        seed: 1_000_000,
        ..Effort::default()
    };
    let stop = AtomicBool::new(false);
    let found = run(std::slice::from_ref(experiment), &effort, &Silent, &stop).pop();
    found.flatten().expect("a point")
}

/// Of 200 intervals 91 to 98 % hold the error (95 %, less and more two and a half binomial standard
/// errors, to a whole per cent).
fn intervals_hold(name: &str, text: &str, changes: &[(&str, &str)]) {
    let setup = Setup::from_text(name, text, changes).unwrap();
    let planned = plan(&setup).unwrap();
    let experiment = Experiment {
        scene: planned.scene,
        processing: planned.processing,
    };
    let truth = measured(&experiment, REFERENCE_PAIRS).score.total_px.value;
    let common = measured(&experiment, 4);
    let (mut below, mut above, mut pairs) = (0, 0, 0);
    for seed in 0..SEEDS {
        let stop = AtomicBool::new(false);
        let wish = wish(Effort {
            seed,
            precision: 0.1,
            ..Effort::default()
        });
        let point = again(&common, experiment.clone(), &wish, None, &Silent, &stop).unwrap();
        let total = point.score.total_px;
        below += u32::from(total.hi < truth);
        above += u32::from(truth < total.lo);
        pairs += point.pairs();
    }
    let each = pairs as f64 / SEEDS as f64;
    println!("{name}: {below} below, {above} above of {SEEDS}, {each:.1} pairs each");
    assert!(
        (4..=18).contains(&(below + above)),
        "{name}: {below} below, {above} above"
    );
}

// Rigs after the embedded one, with a small picture. Invented.
const SMALL: (&str, &str) = ("camera.size", "[160, 128]");

#[test]
#[ignore = "takes some minutes"]
fn intervals_hold_in_a_wake() {
    intervals_hold("wake", EMBEDDED, &[SMALL]);
}

#[test]
#[ignore = "takes some minutes"]
fn intervals_hold_in_a_wake_with_little_light() {
    intervals_hold("little light", EMBEDDED, &[SMALL, ("light.power", "0.4 W")]);
}

#[test]
#[ignore = "takes some minutes"]
fn intervals_hold_in_turbulence() {
    let (before, rest) = EMBEDDED.split_once("[flow]").expect("a flow");
    let (_, after) = rest.split_once("[timing]").expect("a timing");
    let flow = "kind = \"turbulence\"\nrms_velocity = \"0.02 m/s\"\nintegral_scale = \"8 mm\"\n\
        carried_by = [\"0.2 m/s\", \"0 m/s\"]";
    let text = format!("{before}[flow]\n{flow}\n[timing]{after}");
    intervals_hold("turbulence", &text, &[SMALL]);
}
