//! The light budget anchored to a measurement: what the brightest particles of a recorded picture
//! show fixes the chain's one unknown.
//!
//! The measurement belongs to the rig as the setup file states it; what is changed after that is
//! planned with the factor found there. So a sweep over the aperture or the pulse length sees the
//! light change as it would in the lab.

use motefield_generator::Exposure;

use super::Plan;
use super::budget::LightBudget;
use super::facts::{FactId, Facts, short, show};
use super::peak::{brightest_share, floor_e};
use super::rig::Rig;
use super::source::energy_ratio;
use super::timing::pulse_s;
use crate::keys::{self, Key};
use crate::quantity::Dimension as D;
use crate::setup::{MeasuredBrightness, Setup, SetupError};

/// Photo-electrons of a particle in the middle of the sheet, by the measurement.
pub(super) fn electrons(
    rig: &Rig,
    measured: MeasuredBrightness,
    facts: &mut Facts,
) -> Result<f64, SetupError> {
    let setup = &rig.setup;
    let (then, rig_then) = electrons_then(rig, &setup.as_measured()?, measured)?;
    let at = |pulse: Option<f64>| pulse.map_or(String::new(), |s| format!(" at {}", show(s, D::Time)));
    let (pulse, then_s) = (pulse_s(setup), measured.at_s.or(pulse_s(&rig_then.setup)));
    let chain = |rig: &Rig, pulse_s| LightBudget::of(&rig.setup, rig.lens.as_ref(), pulse_s);
    let expected_then = chain(&rig_then, then_s)?;
    let seen = format!(
        "{} of the brightest particles{}",
        show(measured.grey_dn, D::GreyLevels),
        at(then_s)
    );
    if let (Some(expected), Some(chain)) = (expected_then, chain(rig, pulse)?) {
        let factor = then / expected.electrons();
        chain.tell(facts);
        facts.figure(FactId::MeasuredFactor, factor, "").how(format!(
            "{seen}: {} e per particle measured, {} e by the chain",
            short(then),
            short(expected.electrons())
        ));
        return Ok(chain.electrons() * factor);
    }
    // Without the chain only the pulse length tells how the light changes.
    let grows = setup.light.pulse_energy_j.is_none();
    let ratio = match (grows, pulse, then_s) {
        (true, Some(now), Some(then)) => energy_ratio(&setup.light, Some(then), now / then),
        _ => 1.0,
    };
    facts
        .quantity(FactId::MeasuredElectrons, then, D::Electrons)
        .how(format!("{seen}; the rig says too little for the chain, so nothing but the pulse length changes it (x {})", short(ratio)));
    Ok(then * ratio)
}

/// Photo-electrons of a particle when the picture was recorded, and the rig of that time.
fn electrons_then(now: &Rig, setup: &Setup, measured: MeasuredBrightness) -> Result<(f64, Rig), SetupError> {
    const KEY: &Key = keys::light::MEASURED_GREY;
    let plan = now
        .changed(setup)
        .and_then(|rig| Plan::lit(rig, Some(1.0)))
        .map_err(|e| {
            setup.error(
                KEY,
                format!("belongs to the rig as the file states it, which cannot be planned by itself: {e}"),
            )
        })?;
    let scene = &plan.scene;
    let Some(sensor) = &scene.camera.sensor else {
        return Err(setup.error(KEY, "is a grey level, and camera.ideal has none: leave one out"));
    };
    let (black, white) = (
        sensor.black_level_dn + sensor.gain_dn_per_e * floor_e(scene),
        sensor.white_dn(),
    );
    let full = sensor.black_level_dn + sensor.gain_dn_per_e * sensor.full_well_e;
    let grey = measured.grey_dn;
    if grey >= white.min(full) {
        return Err(setup.error(KEY, format!("is {grey} DN, at which the camera is saturated ({} DN): read it from a picture with a shorter pulse, and say so in light.measured_at", short(white.min(full)))));
    }
    if grey <= black {
        return Err(setup.error(KEY, format!("is {grey} DN, no brighter than the dark and the background ({} DN): check camera.black_level, camera.gain and image.background", short(black))));
    }
    let exposure = match (scene.exposure, measured.at_s, plan.rig.setup.separation_s) {
        (Exposure::Fraction(_), Some(at), Some(separation)) => Exposure::Fraction(at / separation),
        (exposure, _, _) => exposure,
    };
    let share = brightest_share(scene, exposure, plan.rig.speeds.slowest_px);
    Ok(((grey - black) / sensor.gain_dn_per_e / share, plan.rig))
}
