//! The pulse separation that a wanted displacement needs.

use std::borrow::Cow;

use super::flow::{Scale, flow};
use super::lens::rig_lens;
use super::timing::Speeds;
use super::{picture_size, thickness_px};
use crate::keys::{self, Key};
use crate::setup::{Setup, SetupError};

/// Close enough: a displacement known to this share of itself.
const CLOSE: f64 = 1e-9;
/// A separation so short that nothing turns meanwhile, s.
const INSTANT_S: f64 = 1e-9;

/// The setup with its pulse separation: its own, or the one in which the fastest fluid in the
/// picture moves by `timing.displacement`.
pub(super) fn with_separation(setup: &Setup) -> Result<Cow<'_, Setup>, SetupError> {
    const KEY: &Key = keys::timing::DISPLACEMENT;
    let Some(wanted_px) = setup.wanted_displacement_px else {
        return Ok(Cow::Borrowed(setup));
    };
    // Along a straight path displacement grows with time; along a curved one a few steps of the
    // secant rule find it.
    let rate = fastest_px(setup, INSTANT_S)? / INSTANT_S;
    let twice = fastest_px(setup, 2.0 * INSTANT_S)? / INSTANT_S;
    if rate == 0.0 || (twice / rate - 2.0).abs() > 0.1 {
        return Err(setup.error(KEY, "needs a flow whose velocities are in the lab's units: give them in m/s, or leave it out and state the displacement in px under [flow]"));
    }
    let mut separation = wanted_px / rate;
    for _ in 0..30 {
        let found = fastest_px(setup, separation)?;
        if (found / wanted_px - 1.0).abs() < CLOSE {
            break;
        }
        separation *= wanted_px / found;
    }
    let mut setup = setup.clone();
    setup.separation_s = Some(separation);
    Ok(Cow::Owned(setup))
}

/// The fastest displacement in the picture when the pulses are `separation_s` apart, px.
pub(super) fn fastest_px(setup: &Setup, separation_s: f64) -> Result<f64, SetupError> {
    let size = picture_size(setup)?;
    let scale = Scale {
        setup,
        px_per_m: rig_lens(setup, size)?.map(|lens| lens.px_per_m),
        separation_s: Some(separation_s),
    };
    let flow = flow(setup, &scale, size, thickness_px(setup, &scale)?)?;
    Ok(Speeds::of(size, flow.as_ref()).fastest_px)
}
