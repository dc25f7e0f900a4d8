//! `[light]`, `[sheet]` and `[reflections]`: the two pulses, where they shine, and what shines
//! besides.

use std::sync::Arc;

use motefield_generator::{Glare, HotSpots, Light, Pulse, Reflections, Sheet};

use super::flow::Scale;
use super::source::{energy_ratio, shape};
use super::timing::{exposures_s, pulse_s};
use crate::keys::{self, Key};
use crate::setup::{Setup, SetupError};

/// The sheet in px.
pub(super) fn sheet(setup: &Setup, scale: &Scale, thickness_px: f64) -> Result<Sheet, SetupError> {
    let height = match (setup.sheet.height_profile, setup.sheet.height) {
        (Some(profile), Some(height)) => Some((profile, scale.extent(height, keys::sheet::HEIGHT)?)),
        _ => None,
    };
    Ok(Sheet {
        profile: setup.sheet.profile,
        thickness_px,
        slope: setup.sheet.tilt_rad.map(libm::tan),
        height,
    })
}

/// The two pulses and all other light; `size` is the picture's, px.
pub(super) fn light(setup: &Setup, scale: &Scale, size: [usize; 2]) -> Result<Light, SetupError> {
    let source = &setup.light;
    let length = match (source.continuous, exposures_s(setup)) {
        (true, Some([a, b])) => b / a,
        _ => source.length_ratio.unwrap_or(1.0),
    };
    // A source limited by its power gives a longer pulse more energy.
    let usual_energy = match source.greatest_power_w() {
        Some(_) => energy_ratio(source, pulse_s(setup), length),
        None => 1.0,
    };
    let offset_px = match setup.sheet.offset {
        Some(offset) => scale.extent(offset, keys::sheet::OFFSET)?,
        None => 0.0,
    };
    let a = Pulse {
        offset_px: -0.5 * offset_px,
        ..Pulse::default()
    };
    let b = Pulse {
        energy_ratio: source.energy_ratio.unwrap_or(usual_energy),
        length_ratio: length,
        offset_px: 0.5 * offset_px,
        thickness_ratio: setup.sheet.thickness_ratio.unwrap_or(1.0),
    };
    let jitter = match (setup.image.jitter, source.jitter_s) {
        (Some(jitter), _) => jitter,
        (None, Some(jitter)) => {
            let separation = setup.separation_s.ok_or_else(|| {
                setup.error(
                    keys::light::JITTER,
                    "is a time, which needs timing.separation: give it, or write image.jitter, over the pulse separation",
                )
            })?;
            jitter / separation
        }
        (None, None) => 0.0,
    };
    Ok(Light {
        pulses: [a, b],
        pulse_shapes: [
            shape(setup, pulse_s(setup))?,
            shape(setup, pulse_s(setup).map(|pulse| length * pulse))?,
        ],
        jitter,
        ambient_e: gathered(setup, source.ambient_e_s, keys::light::AMBIENT)?,
        reflections: reflections(setup, scale, size)?,
    })
}

/// Background of frame A and of frame B, e.
pub(super) fn background_e(setup: &Setup) -> Result<[f64; 2], SetupError> {
    let a = setup.image.background_e.unwrap_or(0.0);
    let b = setup.image.background_b_e.unwrap_or(a);
    if b < a {
        return Err(setup.error(
            keys::image::BACKGROUND_B,
            "is below image.background: frame B stays open at least as long as frame A",
        ));
    }
    Ok([a, b])
}

/// Electrons that a rate gathers in the two exposures.
pub(super) fn gathered(
    setup: &Setup,
    rate_e_s: Option<f64>,
    key: &'static Key,
) -> Result<[f64; 2], SetupError> {
    match rate_e_s {
        None | Some(0.0) => Ok([0.0; 2]),
        Some(rate) => {
            let exposures = exposures_s(setup).ok_or_else(|| {
                setup.error(
                    key,
                    "gathers during the exposure, which is missing: write for example exposure = \"5 ms\" under [camera]",
                )
            })?;
            Ok(exposures.map(|exposure| rate * exposure))
        }
    }
}

fn reflections(setup: &Setup, scale: &Scale, size: [usize; 2]) -> Result<Reflections, SetupError> {
    let given = &setup.reflections;
    let picture = match &given.picture {
        None => None,
        Some((path, peak_e)) => {
            let picture = setup
                .referenced()
                .picture(path)
                .map_err(|e| setup.error(keys::reflections::PICTURE, format!("cannot be read: {e}")))?;
            let (height, width) = picture.dim();
            let brightest = picture.iter().copied().fold(0.0, f32::max);
            if [width, height] != size || picture.iter().any(|v| *v < 0.0) || brightest == 0.0 {
                let [w, h] = size;
                return Err(setup.error(
                    keys::reflections::PICTURE,
                    format!("is {width} x {height} px, but must be {w} x {h} px like the image, without negative pixels and not all black"),
                ));
            }
            let factor = (*peak_e / f64::from(brightest)) as f32;
            Some(Arc::new(picture.mapv(|v| v * factor)))
        }
    };
    let middle = size.map(|n| 0.5 * (n as f64 - 1.0));
    let glare = match &given.glare {
        None => None,
        Some(glare) => Some(Glare {
            peak_e: glare.peak_e,
            at_px: [
                middle[0] + scale.extent(glare.at[0], keys::reflections::GLARE_X)?,
                middle[1] + scale.extent(glare.at[1], keys::reflections::GLARE_Y)?,
            ],
            angle_rad: glare.angle_rad,
            width_px: scale.extent(glare.width, keys::reflections::GLARE_WIDTH)?,
        }),
    };
    Ok(Reflections {
        picture,
        glare,
        hot_spots: given.hot_spots.map(|(count, peak_e, diameter_px)| HotSpots {
            count,
            peak_e,
            diameter_px,
        }),
    })
}
