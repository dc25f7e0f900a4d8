//! What the motion and the arrangement of pulses and exposures amount to, told as figures.

use super::arrangement::{Arrangement, arrangements, fastest_velocity_m_s};
use super::facts::{Facts, short};
use super::motion::Motion;
use super::rules::Rig;
use super::straddle::Straddle;
use super::{FLOW, TIMING};
use crate::quantity::Dimension as D;

/// Share of the particle image diameter to which a displacement is known, in the literature's
/// dynamic range (Adrian 1997: 1 to 10 %, usually 5; memory).
const RESOLVED: f64 = 0.05;

/// Displacement that the experimenter allows: the one wanted, or a quarter of the first window.
pub(super) fn allowed_px(rig: &Rig) -> f64 {
    let quarter = || {
        let first = rig.plan.processing.passes.first();
        first.map_or(8.0, |pass| 0.25 * pass.window[0].min(pass.window[1]) as f64)
    };
    rig.setup.wanted_displacement_px.unwrap_or_else(quarter)
}

/// Tells how pulses and exposures fit together, and the arrangements side by side.
pub(super) fn timing_facts(rig: &Rig, facts: &mut Facts) -> Vec<Arrangement> {
    let allowed = allowed_px(rig);
    facts
        .figure(
            TIMING,
            "allowed_displacement_px",
            "displacement allowed",
            allowed,
            "px",
        )
        .how(if rig.setup.wanted_displacement_px.is_some() {
            "as wanted"
        } else {
            "a quarter of the first window"
        });
    let fastest = rig.speeds.fastest_px;
    if let (Some(separation), Some(px_per_m)) = (rig.plan.separation_s, rig.plan.px_per_m) {
        if fastest > 0.0 {
            facts
                .quantity(
                    TIMING,
                    "separation_for_allowed_s",
                    "pulse separation for it",
                    separation * allowed / fastest,
                    D::Time,
                )
                .how("pulse separation x displacement allowed / fastest displacement");
        }
        facts
            .quantity(
                TIMING,
                "fastest_measurable_m_s",
                "fastest velocity measurable as planned",
                fastest_velocity_m_s(allowed, px_per_m, separation),
                D::Speed,
            )
            .how("displacement allowed / pulse separation");
    }
    if let Some(hz) = rig.setup.camera.frame_rate_hz {
        facts.quantity(TIMING, "frame_rate_hz", "frame rate", hz, D::Frequency);
        facts
            .told(
                TIMING,
                "pair_rate_hz",
                "pair rate",
                0.5 * hz,
                format!("{} pairs/s", short(0.5 * hz)),
            )
            .how("two frames a pair");
    }
    let Some(straddle) = &rig.straddle else {
        return Vec::new();
    };
    straddle_facts(straddle, facts);
    arrangements(rig.setup, straddle, rig.plan.px_per_m, allowed)
}

/// Tells the margin of the pulses in their exposures, and the separations that fit them.
fn straddle_facts(straddle: &Straddle, facts: &mut Facts) {
    let mut time = |name, label, value: f64, how: &str| {
        if value.is_finite() {
            facts.quantity(TIMING, name, label, value, D::Time).how(how);
        }
    };
    time(
        "straddling_margin_s",
        if straddle.continuous {
            "time left between the exposures"
        } else {
            "margin of the pulses in their exposures"
        },
        straddle.margin_s(),
        if straddle.continuous {
            "beyond the dead time"
        } else {
            "least time between an edge of a pulse and that of its exposure"
        },
    );
    time(
        "shortest_separation_s",
        "shortest pulse separation possible",
        straddle.shortest_separation_s(),
        "pulse + dead time + ten standard deviations of the jitter",
    );
    time(
        "longest_separation_s",
        "longest pulse separation possible",
        straddle.longest_separation_s(),
        "both exposures and the dead time, less pulse B",
    );
}

/// Tells what the motion costs, and the dynamic ranges.
pub(super) fn flow_facts(rig: &Rig, motion: &Motion, facts: &mut Facts) {
    let mut figure = |name, label, value: f64, how: &str| {
        facts.figure(FLOW, name, label, value, "").how(how);
    };
    figure(
        "out_of_plane_share",
        "largest displacement in depth over thickness",
        motion.deepest(),
        "",
    );
    figure(
        "gradient_px_px",
        "largest gradient, px per px",
        motion.steepest(),
        "largest stretch of the displacement in any direction",
    );
    pair_facts(rig, motion, facts);
    let mut figure = |name, label, value: f64, how: &str| {
        facts.figure(FLOW, name, label, value, "").how(how);
    };
    if let Some(stokes) = rig.stokes_number() {
        figure(
            "stokes_number",
            "Stokes number",
            stokes,
            "response time x largest gradient",
        );
        figure(
            "amplitude_followed",
            "share of such a motion that the tracer follows",
            crate::medium::amplitude_response(stokes),
            "1/root(1 + St^2)",
        );
    }
    // Adrian 1997 (memory): u_max/σ_u and field over largest displacement.
    let farthest = rig.speeds.fastest_px;
    if farthest > 0.0 {
        let resolved = RESOLVED * rig.plan.scene.particle_diameter_px;
        let side = rig.plan.scene.size[0] as f64;
        figure(
            "dynamic_velocity_range",
            "dynamic velocity range, DVR",
            farthest / resolved,
            "fastest displacement / (0.05 x particle image diameter), Adrian 1997",
        );
        figure(
            "dynamic_spatial_range",
            "dynamic spatial range, DSR",
            side / farthest,
            "width of the picture / fastest displacement",
        );
    }
}

/// Tells how many particle pairs the windows hold, and what the motion leaves of them.
fn pair_facts(rig: &Rig, motion: &Motion, facts: &mut Facts) {
    let mut figure = |name, label, value: f64, how: &str| {
        facts.figure(FLOW, name, label, value, "").how(how);
    };
    let passes = &rig.plan.processing.passes;
    if let Some(first) = passes.first() {
        let pairs = motion.pairs(first.window, false, false, 1.0);
        figure(
            "in_plane_factor",
            "F_I, pairs kept in a first window in plane",
            pairs.in_plane,
            "(1 - |dx|/W) (1 - |dy|/H), mean over the picture",
        );
        figure(
            "out_of_plane_factor",
            "F_O, kept out of plane",
            pairs.out_of_plane,
            "correlation of the two sheets, exp(-4 (dz/thickness)^2) if Gaussian, 1 - |dz|/thickness if top-hat; mean",
        );
        figure(
            "gradient_factor",
            "F_Delta, kept of the peak in the gradient",
            pairs.gradient,
            "root(pi) d/(2a) erf(a/d), a the change over a first window; mean",
        );
        let [mean, least] = pairs.effective;
        figure(
            "pairs_first_window",
            "N_I F_I F_O F_Delta in a first window, mean",
            mean,
            "the literature asks for 7",
        );
        figure(
            "pairs_first_window_least",
            "the least of it in the picture",
            least,
            "",
        );
    }
    if passes.len() > 1
        && let Some(last) = passes.last()
    {
        let pairs = motion.pairs(last.window, true, rig.plan.processing.deform, 1.0);
        figure(
            "pairs_final_window",
            "N_I F_O in a final window, mean",
            pairs.effective[0],
            "it follows the displacement, so F_I = 1, and if the frames are deformed F_Delta = 1",
        );
        figure(
            "pairs_final_window_least",
            "the least of it in the picture",
            pairs.effective[1],
            "",
        );
    }
}
