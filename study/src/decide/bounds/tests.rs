//! Bounds against closed forms, in a uniform flow that moves by velocity x magnification / pixel
//! per second.

use super::*;
use motefield_rig::plan::plan;

const RIG: &str = r#"
[light]
pulse_energy = "20 mJ"
pulse_length = "40 us"
[sheet]
thickness = "1 mm"
[lens]
magnification = 0.1
[camera]
size = [256, 256]
pixel = "5 um"
[image]
particle_diameter = "2.5 px"
seeding_density = "0.04 ppp"
electrons = "4000 e"
[flow]
kind = "uniform"
velocity = ["0.2 m/s", "0 m/s"]
[timing]
separation = "1 ms"
[processing]
passes = [{ window = 64 }, { window = 32 }]
"#;

fn bounds(changes: &[(&str, &str)]) -> [Option<Bound>; 2] {
    let setup = Setup::from_text("rig", RIG, changes).unwrap();
    separation(&setup, &plan(&setup).unwrap())
}

fn close(found: Option<Bound>, at_s: f64, wall: SearchEnd) {
    let found = found.unwrap();
    assert_eq!(found.wall, wall);
    // Iterated until six digits stand.
    assert!((found.at_s / at_s - 1.0).abs() < 2e-6, "{} {at_s}", found.at_s);
}

/// Δt = (first window / 4) / v, whatever the present separation.
#[test]
fn the_quarter_rule_ends_a_steady_flow_at_a_quarter_window() {
    for (velocity, window, separation) in [
        ("0.2 m/s", 64.0, "1 ms"),
        ("0.05 m/s", 64.0, "1 ms"),
        ("0.2 m/s", 96.0, "100 us"),
        ("0.4 m/s", 64.0, "7 ms"),
    ] {
        let text = format!("{window}");
        let found = bounds(&[
            ("flow.velocity[0]", velocity),
            ("processing.passes[0].window", text.as_str()),
            ("timing.separation", separation),
        ]);
        let speed_m_s: f64 = velocity.trim_end_matches(" m/s").parse().unwrap();
        let px_per_s = speed_m_s * 0.1 / 5e-6;
        close(found[1], 0.25 * window / px_per_s, SearchEnd::QuarterRule);
    }
}

/// Pulse and dead time below; exposures and frame periods above (derived at [`separation`]).
#[test]
fn pulses_exposures_and_frames_bound_the_separation() {
    let camera = [
        ("camera.dead_time", "100 us"),
        ("camera.exposure", "600 us"),
        ("flow.velocity[0]", "0.01 m/s"),
    ];
    let found = bounds(&camera);
    close(found[0], 140e-6, SearchEnd::Pulses);
    close(found[1], 1300e-6 - 40e-6, SearchEnd::Exposures);
    let rate = ("camera.frame_rate", "400 Hz");
    let found = bounds(&[rate, ("flow.velocity[0]", "0.01 m/s")]);
    close(found[0], 40e-6, SearchEnd::Pulses);
    close(found[1], 5e-3 - 40e-6, SearchEnd::FrameRate);
    // A pulse B of four times the length must be over as well; five standard deviations of jitter
    // stay free on either side.
    let found = bounds(&[("light.length_ratio", "4"), ("light.jitter", "1 us")]);
    close(found[0], 160e-6, SearchEnd::Pulses);
    let found = bounds(&[("light.jitter", "1 us")]);
    close(found[0], 50e-6, SearchEnd::Pulses);
}

/// A flow so slow that it needs hours gets there as well.
#[test]
fn a_creeping_flow_is_bounded_far_away() {
    let found = bounds(&[("flow.velocity[0]", "1e-9 m/s")]);
    close(found[1], 16.0 / (1e-9 * 0.1 / 5e-6), SearchEnd::QuarterRule);
}
