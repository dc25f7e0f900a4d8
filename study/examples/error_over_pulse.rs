//! The error of the embedded rig over the length of its light pulse, from a few pairs each:
//! `cargo run --release -p motefield-study --example error_over_pulse`.

use std::error::Error;
use std::sync::atomic::AtomicBool;

use motefield_rig::plan::plan;
use motefield_rig::quantity::Dimension;
use motefield_rig::setup::{EMBEDDED, EMBEDDED_NAME, Setup};
use motefield_study::run::{Effort, Experiment, Silent, run};

fn main() -> Result<(), Box<dyn Error>> {
    let setup = Setup::from_text::<&str>(EMBEDDED_NAME, EMBEDDED, &[])?;
    let pulses_s = [50e-6, 200e-6, 800e-6];
    let mut experiments = Vec::new();
    for pulse_s in pulses_s {
        let value = Setup::quantity(pulse_s, Dimension::Time);
        let plan = plan(&setup.with("light.pulse_length", value)?)?;
        experiments.push(Experiment {
            scene: plan.scene,
            processing: plan.processing,
        });
    }
    let effort = Effort {
        most_pairs: 4,
        ..Effort::default()
    };
    let points = run(&experiments, &effort, &Silent, &AtomicBool::new(false));
    for (pulse_s, point) in pulses_s.iter().zip(points.iter().flatten()) {
        let total = point.score.total_px;
        println!(
            "{:4.0} us: {:.4} px ({:.4} to {:.4})",
            1e6 * pulse_s,
            total.value,
            total.lo,
            total.hi
        );
    }
    Ok(())
}
