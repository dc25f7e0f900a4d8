//! What the motion and the arrangement of pulses and exposures amount to, told as figures.

use super::arrangement::{Arrangement, arrangements, fastest_velocity_m_s};
use super::facts::{FactId, Facts, short};
use super::rules::RuleInput;
use super::straddle::Straddle;
use crate::quantity::Dimension as D;

/// Share of the particle image diameter to which a displacement is known, in the literature's
/// dynamic range (Adrian 1997: 1 to 10 %, usually 5; memory).
const RESOLVED: f64 = 0.05;

/// Displacement that the experimenter allows: the one wanted, or a quarter of the first window.
pub(super) fn allowed_px(planned: &RuleInput) -> f64 {
    let quarter = || {
        let first = planned.plan.processing.passes.first();
        first.map_or(8.0, |pass| 0.25 * pass.window[0].min(pass.window[1]) as f64)
    };
    planned.rig.setup.displacement_px.unwrap_or_else(quarter)
}

/// Tells how pulses and exposures fit together, and the arrangements side by side.
pub(super) fn timing_facts(planned: &RuleInput, facts: &mut Facts) -> Vec<Arrangement> {
    let allowed = allowed_px(planned);
    facts.figure(FactId::AllowedDisplacement, allowed, "px").how(
        if planned.rig.setup.displacement_px.is_some() {
            "as wanted"
        } else {
            "a quarter of the first window"
        },
    );
    let fastest = planned.rig.speeds.fastest_px;
    if let (Some(separation), Some(px_per_m)) = (planned.rig.setup.separation_s, planned.rig.px_per_m()) {
        if fastest > 0.0 {
            facts
                .quantity(
                    FactId::SeparationForAllowed,
                    separation * allowed / fastest,
                    D::Time,
                )
                .how("pulse separation x displacement allowed / fastest displacement");
        }
        facts
            .quantity(
                FactId::FastestMeasurable,
                fastest_velocity_m_s(allowed, px_per_m, separation),
                D::Speed,
            )
            .how("displacement allowed / pulse separation");
    }
    if let Some(hz) = planned.rig.setup.camera.frame_rate_hz {
        facts.quantity(FactId::FrameRate, hz, D::Frequency);
        facts
            .told(FactId::PairRate, 0.5 * hz, format!("{} pairs/s", short(0.5 * hz)))
            .how("two frames per pair");
    }
    let Some(straddle) = &planned.rig.straddle else {
        return Vec::new();
    };
    straddle_facts(straddle, facts);
    arrangements(&planned.rig.setup, straddle, planned.rig.px_per_m(), allowed)
}

/// Tells the margin of the pulses in their exposures, and the separations that fit them.
fn straddle_facts(straddle: &Straddle, facts: &mut Facts) {
    let mut time = |id, value: f64, how: &str| {
        if value.is_finite() {
            facts.quantity(id, value, D::Time).how(how);
        }
    };
    time(
        FactId::StraddlingMargin,
        straddle.margin_s(),
        if straddle.continuous {
            "beyond the dead time"
        } else {
            "least time between an edge of a pulse and that of its exposure"
        },
    );
    time(
        FactId::ShortestSeparation,
        straddle.shortest_separation_s(),
        "pulse + dead time + ten standard deviations of the jitter",
    );
    time(
        FactId::LongestSeparation,
        straddle.longest_separation_s(),
        "both exposures and the dead time, less pulse B",
    );
}

/// Tells what the motion costs, and the dynamic ranges.
pub(super) fn flow_facts(planned: &RuleInput, facts: &mut Facts) {
    let mut figure = |id, value: f64, how: &str| {
        facts.figure(id, value, "").how(how);
    };
    figure(FactId::OutOfPlaneShare, planned.motion.deepest(), "");
    figure(
        FactId::Gradient,
        planned.motion.steepest(),
        "largest stretch of the displacement in any direction",
    );
    pair_facts(planned, facts);
    let mut figure = |id, value: f64, how: &str| {
        facts.figure(id, value, "").how(how);
    };
    if let Some(stokes) = planned.stokes_number() {
        figure(FactId::StokesNumber, stokes, "response time x largest gradient");
        figure(
            FactId::AmplitudeFollowed,
            crate::medium::amplitude_response(stokes),
            "1/root(1 + St^2)",
        );
    }
    // Adrian 1997 (memory): u_max/σ_u and field over largest displacement.
    let farthest = planned.rig.speeds.fastest_px;
    if farthest > 0.0 {
        let resolved = RESOLVED * planned.plan.scene.particle_diameter_px;
        let side = planned.plan.scene.size[0] as f64;
        figure(
            FactId::DynamicVelocityRange,
            farthest / resolved,
            "fastest displacement / (0.05 x particle image diameter), Adrian 1997",
        );
        figure(
            FactId::DynamicSpatialRange,
            side / farthest,
            "width of the picture / fastest displacement",
        );
    }
}

/// Tells how many particle pairs the windows hold, and what the motion leaves of them.
fn pair_facts(planned: &RuleInput, facts: &mut Facts) {
    let mut figure = |id, value: f64, how: &str| {
        facts.figure(id, value, "").how(how);
    };
    let passes = &planned.plan.processing.passes;
    if let Some(first) = passes.first() {
        let pairs = planned.motion.pairs(first.window, false, false, 1.0);
        figure(
            FactId::InPlaneFactor,
            pairs.in_plane,
            "(1 - |dx|/W) (1 - |dy|/H), mean over the picture",
        );
        figure(
            FactId::OutOfPlaneFactor,
            pairs.out_of_plane,
            "correlation of the two sheets, exp(-4 (dz/thickness)^2) if Gaussian, 1 - |dz|/thickness if top-hat; mean",
        );
        figure(
            FactId::GradientFactor,
            pairs.gradient,
            "root(pi) d/(2a) erf(a/d), a the change over a first window; mean",
        );
        let [mean, least] = pairs.effective;
        figure(FactId::PairsFirstWindow, mean, "the literature asks for 7");
        figure(FactId::PairsFirstWindowLeast, least, "");
    }
    if passes.len() > 1
        && let Some(last) = passes.last()
    {
        let pairs = planned
            .motion
            .pairs(last.window, true, planned.plan.processing.deform, 1.0);
        figure(
            FactId::PairsFinalWindow,
            pairs.effective[0],
            "it follows the displacement, so F_I = 1, and if the frames are deformed F_Delta = 1",
        );
        figure(FactId::PairsFinalWindowLeast, pairs.effective[1], "");
    }
}
