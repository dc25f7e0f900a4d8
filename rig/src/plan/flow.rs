//! `[flow]` in px and pulse separations.

mod body;
mod imported;
#[cfg(test)]
mod tests;

use std::fmt::Display;
use std::sync::Arc;

use motefield_generator::flow::{
    BickleyJet, BlasiusLayer, Carried, Channel, Cylinder, Flow, LambOseen, LinearShear, MixingLayer,
    PlaneStrain, Rankine, SinusoidalShear, SolidRotation, Spectrum, TaylorGreen, Turbulence, TurbulentLayer,
    Turned, Uniform, VortexPair, VortexRing, VortexStreet,
};

use crate::keys::{self, Key};
use crate::setup::{Extent, FlowPattern, Motion, PlaceFromMiddle, Rate, Setup, SetupError, Stands, Vortex};

/// Lab units to picture units.
pub(super) struct Scale<'a> {
    pub(super) setup: &'a Setup,
    pub(super) px_per_m: Option<f64>,
    pub(super) separation_s: Option<f64>,
}

impl Scale<'_> {
    fn factor(&self, key: &'static Key, unit: impl Display) -> Result<f64, SetupError> {
        self.px_per_m.ok_or_else(|| {
            self.setup.error(key, format!("is in {unit}, which needs the scale of the picture: give camera.pixel and lens.magnification (or lens.field_width), or write it in px"))
        })
    }

    pub(super) fn extent(&self, extent: Extent, key: &'static Key) -> Result<f64, SetupError> {
        match extent {
            Extent::Px(px) => Ok(px),
            Extent::M(m) => Ok(m * self.factor(key, "lab units")?),
        }
    }

    fn separation(&self, key: &'static Key) -> Result<f64, SetupError> {
        self.separation_s.ok_or_else(|| {
            self.setup.error(
                key,
                "is a velocity, which needs timing.separation: give it, or write a displacement in px",
            )
        })
    }

    fn motion(&self, motion: Motion, key: &'static Key) -> Result<f64, SetupError> {
        match motion {
            Motion::Px(px) => Ok(px),
            Motion::MS(v) => Ok(v * self.factor(key, "m/s")? * self.separation(key)?),
        }
    }

    fn motions(&self, motion: [Motion; 3], key: &'static Key) -> Result<[f64; 3], SetupError> {
        let part = |k: usize| self.motion(motion[k], key);
        Ok([part(0)?, part(1)?, part(2)?])
    }

    fn rate(&self, rate: Rate, key: &'static Key) -> Result<f64, SetupError> {
        match rate {
            Rate::PerPair(rate) => Ok(rate),
            Rate::PerSecond(rate) => Ok(rate * self.separation(key)?),
        }
    }
}

/// A picture in which a flow is to stand.
struct Picture<'a> {
    scale: &'a Scale<'a>,
    size: [usize; 2],
    middle: [f64; 2],
}

/// The flow of a setup, in a picture of the given size (px) and a sheet of the given thickness.
pub(super) fn flow(
    setup: &Setup,
    scale: &Scale,
    size: [usize; 2],
    thickness_px: f64,
) -> Result<Arc<dyn Flow>, SetupError> {
    let picture = Picture {
        scale,
        size,
        middle: size.map(|n| 0.5 * (n as f64 - 1.0)),
    };
    let pattern = &setup.flow.pattern;
    let mut flow = picture.pattern(pattern)?;
    if setup.flow.angle_rad != 0.0 {
        flow = Arc::new(Turned::new(flow, picture.pivot(pattern)?, setup.flow.angle_rad));
    }
    let mut by_px = scale.motions(setup.flow.carried, keys::flow::CARRIED_BY)?;
    by_px[2] += setup.sheet.out_of_plane * thickness_px;
    if by_px != [0.0; 3] {
        flow = Arc::new(Carried { flow, by_px });
    }
    picture.holds(flow.as_ref())?;
    Ok(flow)
}

impl Picture<'_> {
    fn error(&self, key: &'static Key, message: impl Display) -> SetupError {
        self.scale.setup.error(key, message)
    }

    fn extent(&self, extent: Extent, key: &'static Key) -> Result<f64, SetupError> {
        self.scale.extent(extent, key)
    }

    fn motion(&self, motion: Motion, key: &'static Key) -> Result<f64, SetupError> {
        self.scale.motion(motion, key)
    }

    fn place(&self, centre: PlaceFromMiddle) -> Result<[f64; 2], SetupError> {
        let part = |i: usize| Ok(self.middle[i] + self.extent(centre[i], keys::flow::CENTRE)?);
        Ok([part(0)?, part(1)?])
    }

    /// A height in the picture.
    fn level(&self, y: Extent, key: &'static Key) -> Result<f64, SetupError> {
        Ok(self.middle[1] + self.extent(y, key)?)
    }

    /// Centre, largest displacement and core radius.
    fn vortex(&self, vortex: &Vortex) -> Result<([f64; 2], f64, f64), SetupError> {
        Ok((
            self.place(vortex.centre)?,
            self.motion(vortex.peak, keys::flow::PEAK_VELOCITY)?,
            self.extent(vortex.core_radius, keys::flow::CORE_RADIUS)?,
        ))
    }

    /// How far upstream of the picture's middle something begins, which must be outside the
    /// picture.
    fn upstream(&self, distance: Option<Extent>, key: &'static Key) -> Result<Option<f64>, SetupError> {
        let Some(distance) = distance else {
            return Ok(None);
        };
        let (distance, needed) = (self.extent(distance, key)?, 0.5 * self.size[0] as f64);
        if distance <= needed {
            return Err(self.error(key, format!("is {distance:.1} px from the image's middle and so inside the picture, where the flow has no solution: it must be more than {needed} px")));
        }
        Ok(Some(distance))
    }

    /// No particle may cross the whole picture between the pulses: nobody could pair its images,
    /// and rendering would look for particles that far outside.
    fn holds(&self, flow: &dyn Flow) -> Result<(), SetupError> {
        const SIDE: usize = 33;
        let longest = self.size[0].max(self.size[1]) as f64;
        for k in 0..SIDE * SIDE {
            let share = [k % SIDE, k / SIDE].map(|i| i as f64 / (SIDE - 1) as f64);
            let [x, y] = [0, 1].map(|i| 2.0 * self.middle[i] * share[i]);
            let velocity = flow.velocity([x, y, 0.0], 0.0);
            let speed = velocity.iter().map(|v| v * v).sum::<f64>().sqrt();
            if speed.is_nan() || speed > longest {
                return Err(self.error(keys::flow::KIND, format!("gives a displacement of {speed:.3e} px between the pulses at ({x:.0}, {y:.0}) px, more than the longer side of the picture: check the velocities and lengths under [flow], or shorten timing.separation")));
            }
        }
        Ok(())
    }

    /// The point about which a pattern is turned, px: its own centre, or the picture's.
    fn pivot(&self, pattern: &FlowPattern) -> Result<[f64; 2], SetupError> {
        match pattern {
            FlowPattern::Rankine(vortex) | FlowPattern::LambOseen(vortex) => self.place(vortex.centre),
            FlowPattern::VortexPair { vortex, .. } | FlowPattern::VortexStreet { vortex, .. } => {
                self.place(vortex.centre)
            }
            FlowPattern::SolidRotation { centre, .. }
            | FlowPattern::PlaneStrain { centre, .. }
            | FlowPattern::TaylorGreen { centre, .. }
            | FlowPattern::VortexRing { centre, .. }
            | FlowPattern::Cylinder { centre, .. } => self.place(*centre),
            FlowPattern::Imported(field) => match field.stands {
                Stands::Middle(centre) => self.place(centre),
                Stands::Pixels => Ok(self.middle),
            },
            _ => Ok(self.middle),
        }
    }

    /// The field: one arm for each family.
    fn pattern(&self, pattern: &FlowPattern) -> Result<Arc<dyn Flow>, SetupError> {
        Ok(match pattern {
            FlowPattern::Uniform { motion } => Arc::new(Uniform {
                displacement_px: self.scale.motions(*motion, keys::flow::VELOCITY_VECTOR)?,
            }),
            FlowPattern::LinearShear {
                motion,
                shear,
                centre_y,
            } => Arc::new(LinearShear {
                displacement_px: self.scale.motions(*motion, keys::flow::VELOCITY_VECTOR)?,
                shear: self.scale.rate(*shear, keys::flow::SHEAR_RATE)?,
                centre_y_px: self.level(*centre_y, keys::flow::CENTRE_Y)?,
            }),
            FlowPattern::SinusoidalShear {
                motion,
                amplitude,
                wavelength,
                centre_y,
                phase_rad,
            } => Arc::new(SinusoidalShear {
                displacement_px: self.scale.motions(*motion, keys::flow::VELOCITY_VECTOR)?,
                amplitude_px: self.motion(*amplitude, keys::flow::AMPLITUDE)?,
                wavelength_px: self.extent(*wavelength, keys::flow::WAVELENGTH)?,
                centre_y_px: self.level(*centre_y, keys::flow::CENTRE_Y)?,
                phase_rad: *phase_rad,
            }),
            FlowPattern::SolidRotation { centre, rotation } => Arc::new(SolidRotation {
                centre_px: self.place(*centre)?,
                turn_rad: self.scale.rate(*rotation, keys::flow::ANGULAR_VELOCITY)?,
            }),
            FlowPattern::PlaneStrain { centre, strain } => Arc::new(PlaneStrain {
                centre_px: self.place(*centre)?,
                strain: self.scale.rate(*strain, keys::flow::STRAIN_RATE)?,
            }),
            FlowPattern::Rankine(vortex) => {
                let (centre_px, peak_displacement_px, core_radius_px) = self.vortex(vortex)?;
                Arc::new(Rankine {
                    centre_px,
                    peak_displacement_px,
                    core_radius_px,
                })
            }
            FlowPattern::LambOseen(vortex) => {
                let (centre_px, peak_displacement_px, core_radius_px) = self.vortex(vortex)?;
                Arc::new(LambOseen {
                    centre_px,
                    peak_displacement_px,
                    core_radius_px,
                })
            }
            FlowPattern::TaylorGreen {
                centre,
                peak,
                wavelength,
            } => Arc::new(TaylorGreen {
                centre_px: self.place(*centre)?,
                peak_displacement_px: self.motion(*peak, keys::flow::PEAK_VELOCITY)?,
                wavelength_px: self.extent(*wavelength, keys::flow::WAVELENGTH)?,
            }),
            FlowPattern::VortexPair { vortex, spacing } => {
                let (centre, peak, core) = self.vortex(vortex)?;
                let spacing = self.extent(*spacing, keys::flow::SPACING)?;
                Arc::new(VortexPair::new(centre, spacing, peak, core))
            }
            FlowPattern::VortexStreet {
                vortex,
                each_row,
                spacing,
                row_distance,
            } => {
                let (centre, peak, core) = self.vortex(vortex)?;
                let spacing = self.extent(*spacing, keys::flow::SPACING)?;
                let rows = self.extent(*row_distance, keys::flow::ROW_DISTANCE)?;
                Arc::new(VortexStreet::new(centre, *each_row, spacing, rows, peak, core))
            }
            FlowPattern::VortexRing {
                centre,
                depth,
                radius,
                core_radius,
                centre_motion,
            } => Arc::new(self.vortex_ring(*centre, *depth, *radius, *core_radius, *centre_motion)?),
            FlowPattern::Channel {
                centre_y,
                height,
                peak,
            } => Arc::new(Channel {
                centre_y_px: self.level(*centre_y, keys::flow::CENTRE_Y)?,
                height_px: self.extent(*height, keys::flow::HEIGHT)?,
                peak_displacement_px: self.motion(*peak, keys::flow::PEAK_VELOCITY)?,
            }),
            FlowPattern::BlasiusLayer {
                wall_y,
                free_stream,
                thickness,
                leading_edge,
            } => Arc::new(BlasiusLayer {
                wall_y_px: self.level(*wall_y, keys::flow::WALL_Y)?,
                free_stream_px: self.motion(*free_stream, keys::flow::FREE_STREAM)?,
                thickness_px: self.extent(*thickness, keys::flow::THICKNESS)?,
                middle_x_px: self.middle[0],
                leading_edge_px: self.upstream(*leading_edge, keys::flow::LEADING_EDGE)?,
            }),
            FlowPattern::TurbulentLayer {
                wall_y,
                free_stream,
                friction,
                thickness,
            } => Arc::new(self.turbulent_layer(*wall_y, *free_stream, *friction, *thickness)?),
            FlowPattern::Cylinder {
                centre,
                radius,
                free_stream,
            } => Arc::new(Cylinder {
                centre_px: self.place(*centre)?,
                radius_px: self.extent(*radius, keys::flow::RADIUS)?,
                stream_px: self.motion(*free_stream, keys::flow::FREE_STREAM)?,
            }),
            FlowPattern::BickleyJet {
                centre_y,
                peak,
                half_width,
                virtual_origin,
            } => Arc::new(BickleyJet {
                centre_y_px: self.level(*centre_y, keys::flow::CENTRE_Y)?,
                peak_displacement_px: self.motion(*peak, keys::flow::PEAK_VELOCITY)?,
                half_width_px: self.extent(*half_width, keys::flow::HALF_WIDTH)?,
                middle_x_px: self.middle[0],
                virtual_origin_px: self.upstream(*virtual_origin, keys::flow::VIRTUAL_ORIGIN)?,
            }),
            FlowPattern::MixingLayer {
                centre_y,
                above,
                below,
                thickness,
            } => Arc::new(MixingLayer {
                centre_y_px: self.level(*centre_y, keys::flow::CENTRE_Y)?,
                above_px: self.motion(*above, keys::flow::VELOCITY_ABOVE)?,
                below_px: self.motion(*below, keys::flow::VELOCITY_BELOW)?,
                vorticity_thickness_px: self.extent(*thickness, keys::flow::VORTICITY_THICKNESS)?,
            }),
            FlowPattern::Turbulence {
                rms,
                integral_scale,
                smallest_scale,
                seed,
            } => Arc::new(Turbulence::new(
                self.spectrum(*rms, *integral_scale, *smallest_scale)?,
                *seed,
            )),
            FlowPattern::Imported(field) => imported::field(self, field)?,
        })
    }

    fn vortex_ring(
        &self,
        centre: PlaceFromMiddle,
        depth: Extent,
        radius: Extent,
        core_radius: Extent,
        centre_motion: Motion,
    ) -> Result<VortexRing, SetupError> {
        let [x, y] = self.place(centre)?;
        let radius = self.extent(radius, keys::flow::RADIUS)?;
        let core = self.extent(core_radius, keys::flow::CORE_RADIUS)?;
        if core < VortexRing::THINNEST * radius {
            return Err(self.error(
                keys::flow::CORE_RADIUS,
                format!(
                    "is {core:.3} px, but must be at least {} of flow.radius, {radius:.3} px",
                    VortexRing::THINNEST
                ),
            ));
        }
        let depth = self.extent(depth, keys::flow::DEPTH)?;
        let speed = self.motion(centre_motion, keys::flow::CENTRE_VELOCITY)?;
        Ok(VortexRing::new([x, y, depth], radius, core, speed))
    }

    fn turbulent_layer(
        &self,
        wall_y: Extent,
        free_stream: Motion,
        friction: Motion,
        thickness: Extent,
    ) -> Result<TurbulentLayer, SetupError> {
        let wall = self.level(wall_y, keys::flow::WALL_Y)?;
        let stream = self.motion(free_stream, keys::flow::FREE_STREAM)?;
        let friction = self.motion(friction, keys::flow::FRICTION_VELOCITY)?;
        let ratio = stream / friction;
        if !(ratio > 1.0 && ratio <= TurbulentLayer::LARGEST_RATIO) {
            return Err(self.error(
                keys::flow::FRICTION_VELOCITY,
                format!(
                    "is 1/{ratio:.3} of flow.free_stream, but must be between 1/{} and 1 of it: turbulent layers have about 1/25",
                    TurbulentLayer::LARGEST_RATIO
                ),
            ));
        }
        let thickness = self.extent(thickness, keys::flow::THICKNESS)?;
        Ok(TurbulentLayer::new(wall, stream, friction, thickness))
    }

    fn spectrum(
        &self,
        rms: Motion,
        integral_scale: Extent,
        smallest_scale: Option<Extent>,
    ) -> Result<Spectrum, SetupError> {
        let rms = self.motion(rms, keys::flow::RMS_VELOCITY)?;
        let integral = self.extent(integral_scale, keys::flow::INTEGRAL_SCALE)?;
        let smallest = match smallest_scale {
            Some(smallest) => self.extent(smallest, keys::flow::SMALLEST_SCALE)?,
            None => 0.1 * integral,
        };
        if smallest > Spectrum::LARGEST_CUT * integral {
            return Err(self.error(
                keys::flow::SMALLEST_SCALE,
                format!(
                    "is {smallest:.1} px, but must be at most {} of flow.integral_scale, {integral:.1} px",
                    Spectrum::LARGEST_CUT
                ),
            ));
        }
        Ok(Spectrum::new(rms, integral, smallest))
    }
}
