//! `[flow]` in px and pulse separations.

use std::fmt::Display;
use std::sync::Arc;

use motefield_generator::flow::{Carried, Flow, LambOseen, LinearShear, Uniform, VortexStreet};

use crate::setup::{Extent, Motion, Pattern, Setup, SetupError, Shear};

/// Lab units to picture units.
pub(super) struct Scale<'a> {
    pub(super) setup: &'a Setup,
    pub(super) px_per_m: Option<f64>,
    pub(super) separation_s: Option<f64>,
}

impl Scale<'_> {
    fn factor(&self, key: &str, unit: impl Display) -> Result<f64, SetupError> {
        self.px_per_m.ok_or_else(|| {
            self.setup.error(key, format!("is in {unit}, which needs the scale of the picture: give camera.pixel and lens.magnification (or lens.field_width), or write it in px"))
        })
    }

    pub(super) fn extent(&self, extent: Extent, key: &str) -> Result<f64, SetupError> {
        match extent {
            Extent::Px(px) => Ok(px),
            Extent::M(m) => Ok(m * self.factor(key, "lab units")?),
        }
    }

    fn separation(&self, key: &str) -> Result<f64, SetupError> {
        self.separation_s.ok_or_else(|| {
            self.setup.error(
                key,
                "is a velocity, which needs timing.separation: give it, or write a displacement in px",
            )
        })
    }

    fn motion(&self, motion: Motion, key: &str) -> Result<f64, SetupError> {
        match motion {
            Motion::Px(px) => Ok(px),
            Motion::MS(v) => Ok(v * self.factor(key, "m/s")? * self.separation(key)?),
        }
    }

    fn motions(&self, motion: [Motion; 3], key: &str) -> Result<[f64; 3], SetupError> {
        let part = |k: usize| self.motion(motion[k], key);
        Ok([part(0)?, part(1)?, part(2)?])
    }
}

pub(super) fn flow(
    setup: &Setup,
    scale: &Scale,
    size: [usize; 2],
    thickness_px: f64,
) -> Result<Arc<dyn Flow>, SetupError> {
    let middle = size.map(|n| 0.5 * (n as f64 - 1.0));
    let from_middle = |centre: [Extent; 2]| -> Result<[f64; 2], SetupError> {
        Ok([
            middle[0] + scale.extent(centre[0], "flow.centre")?,
            middle[1] + scale.extent(centre[1], "flow.centre")?,
        ])
    };
    let pattern: Arc<dyn Flow> = match &setup.flow.pattern {
        Pattern::Uniform { motion } => Arc::new(Uniform {
            displacement_px: scale.motions(*motion, "flow.velocity")?,
        }),
        Pattern::LinearShear {
            motion,
            shear,
            centre_y,
        } => Arc::new(LinearShear {
            displacement_px: scale.motions(*motion, "flow.velocity")?,
            shear: match shear {
                Shear::PerPair(shear) => *shear,
                Shear::PerSecond(rate) => rate * scale.separation("flow.shear_rate")?,
            },
            centre_y_px: middle[1] + scale.extent(*centre_y, "flow.centre_y")?,
        }),
        Pattern::LambOseen {
            centre,
            peak,
            core_radius,
        } => Arc::new(LambOseen {
            centre_px: from_middle(*centre)?,
            peak_displacement_px: scale.motion(*peak, "flow.peak_velocity")?,
            core_radius_px: scale.extent(*core_radius, "flow.core_radius")?,
        }),
        Pattern::VortexStreet {
            centre,
            each_row,
            spacing,
            row_distance,
            peak,
            core_radius,
        } => Arc::new(VortexStreet::new(
            from_middle(*centre)?,
            *each_row,
            scale.extent(*spacing, "flow.spacing")?,
            scale.extent(*row_distance, "flow.row_distance")?,
            scale.motion(*peak, "flow.peak_velocity")?,
            scale.extent(*core_radius, "flow.core_radius")?,
        )),
    };
    let mut by_px = scale.motions(setup.flow.carried, "flow.carried_by")?;
    by_px[2] += setup.sheet.out_of_plane * thickness_px;
    Ok(if by_px == [0.0; 3] {
        pattern
    } else {
        Arc::new(Carried { flow: pattern, by_px })
    })
}
