//! The pulse separation that a wanted displacement needs.

use super::flow::{Scale, flow};
use super::sampling::moved;
use super::timing::Speeds;
use crate::keys::{self, Key};
use crate::setup::SetupError;

/// Close enough: a displacement known to this share of itself.
const CLOSE: f64 = 1e-9;
/// A separation so short that nothing turns meanwhile, s.
const INSTANT_S: f64 = 1e-9;

/// The pulse separation: the setup's own, or the one in which the fastest fluid in the picture
/// moves by `timing.displacement`.
pub(super) fn separation_s(
    scale: &Scale,
    size: [usize; 2],
    thickness_px: f64,
) -> Result<Option<f64>, SetupError> {
    const KEY: &Key = keys::timing::DISPLACEMENT;
    let setup = scale.setup;
    let Some(wanted_px) = setup.displacement_px else {
        return Ok(setup.separation_s);
    };
    let fastest = |separation_s| fastest_px(&scale.at(Some(separation_s)), size, thickness_px);
    // Along a straight path displacement grows with time; along a curved one a few steps of the
    // secant rule find it.
    let rate = fastest(INSTANT_S)? / INSTANT_S;
    let twice = fastest(2.0 * INSTANT_S)? / INSTANT_S;
    if rate == 0.0 || (twice / rate - 2.0).abs() > 0.1 {
        return Err(setup.error(KEY, "needs a flow whose velocities are in the lab's units: give them in m/s, or leave it out and state the displacement in px under [flow]"));
    }
    let mut separation_s = wanted_px / rate;
    for _ in 0..30 {
        let found = fastest(separation_s)?;
        if (found / wanted_px - 1.0).abs() < CLOSE {
            break;
        }
        separation_s *= wanted_px / found;
    }
    Ok(Some(separation_s))
}

/// The fastest displacement in the picture, px.
pub(super) fn fastest_px(scale: &Scale, size: [usize; 2], thickness_px: f64) -> Result<f64, SetupError> {
    let flow = flow(scale, size, thickness_px)?;
    Ok(Speeds::of(&moved(size, flow.as_ref())).fastest_px)
}
