//! `[flow]` in px and pulse separations.

mod body;
mod imported;
#[cfg(test)]
mod tests;

use std::fmt::Display;
use std::sync::Arc;

use motefield_generator::flow::{
    BickleyJet, BlasiusLayer, BurgersVortex, Carried, Channel, Cylinder, DepthShear, Drifting, Flow,
    LambOseen, LinearShear, MixingLayer, PlaneStrain, Rankine, SinusoidalShear, SolidRotation, Spectrum, Sum,
    Summand, TaylorGreen, Turbulence, TurbulentLayer, Turned, Uniform, VortexPair, VortexRing, VortexStreet,
    Wake, Wall,
};

use super::sampling::points;
use crate::keys::flow::{self as key, FlowKind};
use crate::keys::timing::SEPARATION;
use crate::keys::{Choice, Key};
use crate::quantity::Dimension;
use crate::setup::{Extent, FieldSetup, KeyAt, PlaceFromMiddle, Setup, SetupError, Stands, Stated, Velocity};

/// Lab units to picture units.
#[derive(Clone, Copy)]
pub(super) struct Scale<'a> {
    pub(super) setup: &'a Setup,
    pub(super) px_per_m: Option<f64>,
    pub(super) separation_s: Option<f64>,
    /// Which of several fields that add is in hand, for errors about its keys.
    pub(super) field: Option<usize>,
}

impl Scale<'_> {
    /// The same with another pulse separation.
    pub(super) fn at(self, separation_s: Option<f64>) -> Self {
        Scale { separation_s, ..self }
    }

    fn error(&self, key: &'static Key, message: impl Display) -> SetupError {
        let at = KeyAt::from(key).in_field(self.field);
        self.setup.error(at, message)
    }

    fn factor(&self, key: &'static Key, unit: impl Display) -> Result<f64, SetupError> {
        self.px_per_m.ok_or_else(|| {
            self.error(key, format!("is in {unit}, which needs the scale of the picture: give camera.pixel and lens.magnification (or lens.field_width), or write it in px"))
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
                SEPARATION,
                format!(
                    "is missing: {} is a velocity or a rate; write for example separation = \"2 ms\", or state the displacement between the pulses in px",
                    key.path
                ),
            )
        })
    }

    /// A velocity as displacement between the pulses.
    fn motion(&self, motion: Velocity, key: &'static Key) -> Result<f64, SetupError> {
        match motion {
            Velocity::Px(px) => Ok(px),
            Velocity::MS(v) => Ok(v * self.factor(key, "m/s")? * self.separation(key)?),
        }
    }

    /// A length in px, a velocity as displacement, a rate per pulse separation.
    fn in_picture(&self, stated: Stated, key: &'static Key) -> Result<f64, SetupError> {
        match (stated.dimension, stated.value) {
            (Some(Dimension::Length), m) => self.extent(Extent::M(m), key),
            (Some(Dimension::Speed), v) => self.motion(Velocity::MS(v), key),
            (Some(Dimension::Frequency), rate) => Ok(rate * self.separation(key)?),
            (_, value) => Ok(value),
        }
    }
}

/// A picture in which a flow is to stand.
struct Picture<'a> {
    scale: Scale<'a>,
    field: &'a FieldSetup,
    size: [usize; 2],
    middle: [f64; 2],
}

/// The flow of a setup, in a picture of the given size (px) and a sheet of the given thickness.
pub(super) fn flow(scale: &Scale, size: [usize; 2], thickness_px: f64) -> Result<Arc<dyn Flow>, SetupError> {
    let through_px = scale.setup.sheet.out_of_plane * thickness_px;
    let pictures = scale.setup.flow.fields.iter().map(|field| Picture {
        scale: Scale {
            field: field.place,
            ..*scale
        },
        field,
        size,
        middle: size.map(|n| 0.5 * (n as f64 - 1.0)),
    });
    let pictures: Vec<Picture> = pictures.collect();
    let flow = match &pictures[..] {
        [alone] => alone.moving(through_px)?,
        several => {
            let summand = |picture: &Picture| {
                Ok(Summand {
                    flow: picture.moving(0.0)?,
                    layer_px: picture.layer_px()?,
                })
            };
            let fields = several.iter().map(summand).collect::<Result<_, SetupError>>()?;
            carried(Arc::new(Sum::new(fields)), [0.0, 0.0, through_px])
        }
    };
    pictures[0].holds(flow.as_ref())?;
    Ok(flow)
}

/// The field carried along, if it is.
fn carried(flow: Arc<dyn Flow>, by_px: [f64; 3]) -> Arc<dyn Flow> {
    match by_px == [0.0; 3] {
        true => flow,
        false => Arc::new(Carried { flow, by_px }),
    }
}

impl Picture<'_> {
    fn error(&self, key: &'static Key, message: impl Display) -> SetupError {
        self.scale.error(key, message)
    }

    /// The field, turned, moving, and carried through the sheet.
    fn moving(&self, through_px: f64) -> Result<Arc<dyn Flow>, SetupError> {
        let mut flow = self.field()?;
        let angle_rad = self.value(key::ANGLE)?;
        if angle_rad != 0.0 {
            flow = Arc::new(Turned::new(flow, self.pivot()?, angle_rad));
        }
        let drift_px = self.vector(key::DRIFT)?;
        if drift_px != [0.0; 3] {
            let by_px = drift_px;
            flow = Arc::new(Drifting { flow, by_px });
        }
        let mut by_px = self.vector(key::CARRIED_BY)?;
        by_px[2] += through_px;
        Ok(carried(flow, by_px))
    }

    /// Distance from this field's walls, px, at which those beside it have 99 % of their velocity.
    fn layer_px(&self) -> Result<f64, SetupError> {
        if let Some(layer_px) = self.entry(key::WALL_LAYER, 0)? {
            return Ok(layer_px);
        }
        match self.field.kind {
            FlowKind::BlasiusLayer | FlowKind::TurbulentLayer => self.value(key::THICKNESS),
            FlowKind::Channel => Ok(0.1 * self.value(key::HEIGHT)?),
            FlowKind::Cylinder => Ok(0.1 * self.value(key::RADIUS)?),
            _ => Ok(1.0),
        }
    }

    /// Entry `k` of what the setup states under a key, in px and pulse separations.
    fn entry(&self, key: &'static Key, k: usize) -> Result<Option<f64>, SetupError> {
        let given = self.field.given(key, k);
        given
            .map(|(key, stated)| self.scale.in_picture(stated, key))
            .transpose()
    }

    /// What the setup states under a key, in px and pulse separations.
    fn value(&self, key: &'static Key) -> Result<f64, SetupError> {
        self.entry(key, 0)?
            .ok_or_else(|| self.error(key, "is missing: this kind of flow needs it"))
    }

    /// A velocity as displacement; 0 where the setup states none.
    fn vector(&self, key: &'static Key) -> Result<[f64; 3], SetupError> {
        let part = |k| Ok(self.entry(key, k)?.unwrap_or(0.0));
        Ok([part(0)?, part(1)?, part(2)?])
    }

    /// The flow's centre in the picture.
    fn centre(&self) -> Result<[f64; 2], SetupError> {
        let part = |k: usize| Ok(self.middle[k] + self.entry(key::CENTRE, k)?.unwrap_or(0.0));
        Ok([part(0)?, part(1)?])
    }

    /// A height in the picture.
    fn level(&self, key: &'static Key) -> Result<f64, SetupError> {
        Ok(self.middle[1] + self.value(key)?)
    }

    /// How far upstream of the picture's middle something begins, which must be outside the
    /// picture.
    fn upstream(&self, key: &'static Key) -> Result<Option<f64>, SetupError> {
        let (distance, needed) = (self.entry(key, 0)?, 0.5 * self.size[0] as f64);
        match distance {
            Some(distance) if distance <= needed => Err(self.error(key, format!("is {distance:.1} px from the image's middle and so inside the picture, where the flow has no solution: it must be more than {needed} px"))),
            distance => Ok(distance),
        }
    }

    /// No particle may cross the whole picture between the pulses: nobody could pair its images,
    /// and rendering would look for particles that far outside.
    fn holds(&self, flow: &dyn Flow) -> Result<(), SetupError> {
        let longest = self.size[0].max(self.size[1]) as f64;
        for [x, y] in points(self.size) {
            let velocity = flow.velocity([x, y, 0.0], 0.0);
            let speed = velocity.iter().map(|v| v * v).sum::<f64>().sqrt();
            if speed.is_nan() || speed > longest {
                return Err(self.error(key::KIND, format!("gives a displacement of {speed:.3e} px between the pulses at ({x:.0}, {y:.0}) px, more than the longer side of the picture: check the velocities and lengths of the flow, or shorten timing.separation")));
            }
        }
        Ok(())
    }

    /// The point about which the field is turned, px: its own centre, or the picture's.
    fn pivot(&self) -> Result<[f64; 2], SetupError> {
        let setup = self.field;
        match &setup.imported {
            Some(field) => match field.stands {
                Stands::Middle(centre) => self.place(centre),
                Stands::Pixels => Ok(self.middle),
            },
            None if key::CENTRE.flows.contains(&setup.kind.word()) => self.centre(),
            None => Ok(self.middle),
        }
    }

    /// A place from the middle of the picture.
    fn place(&self, from_middle: PlaceFromMiddle) -> Result<[f64; 2], SetupError> {
        let part = |i: usize| Ok(self.middle[i] + self.scale.extent(from_middle[i], key::CENTRE)?);
        Ok([part(0)?, part(1)?])
    }

    fn field(&self) -> Result<Arc<dyn Flow>, SetupError> {
        let setup = self.field;
        Ok(match setup.kind {
            FlowKind::Uniform => Arc::new(Uniform {
                displacement_px: self.vector(key::VELOCITY_VECTOR)?,
            }),
            FlowKind::LinearShear => Arc::new(LinearShear {
                displacement_px: self.vector(key::VELOCITY_VECTOR)?,
                shear: self.value(key::SHEAR)?,
                centre_y_px: self.level(key::CENTRE_Y)?,
            }),
            FlowKind::SinusoidalShear => Arc::new(self.sinusoidal_shear()?),
            FlowKind::DepthShear => Arc::new(self.depth_shear()?),
            FlowKind::Wall => Arc::new(Wall {
                wall_y_px: self.level(key::WALL_Y)?,
            }),
            FlowKind::SolidRotation => Arc::new(SolidRotation {
                centre_px: self.centre()?,
                turn_rad: self.value(key::ROTATION)?,
            }),
            FlowKind::PlaneStrain => Arc::new(PlaneStrain {
                centre_px: self.centre()?,
                strain: self.value(key::STRAIN)?,
            }),
            FlowKind::Rankine => Arc::new(Rankine {
                centre_px: self.centre()?,
                peak_displacement_px: self.value(key::PEAK_VELOCITY)?,
                core_radius_px: self.value(key::CORE_RADIUS)?,
            }),
            FlowKind::LambOseen => Arc::new(self.lamb_oseen()?),
            FlowKind::BurgersVortex => {
                Arc::new(BurgersVortex::new(self.lamb_oseen()?, self.value(key::STRAIN)?))
            }
            FlowKind::TaylorGreen => Arc::new(TaylorGreen {
                centre_px: self.centre()?,
                peak_displacement_px: self.value(key::PEAK_VELOCITY)?,
                wavelength_px: self.value(key::WAVELENGTH)?,
            }),
            FlowKind::VortexPair => Arc::new(self.vortex_pair()?),
            FlowKind::VortexStreet => Arc::new(self.vortex_street()?),
            FlowKind::VortexRing => Arc::new(self.vortex_ring()?),
            FlowKind::Channel => Arc::new(Channel {
                centre_y_px: self.level(key::CENTRE_Y)?,
                height_px: self.value(key::HEIGHT)?,
                peak_displacement_px: self.value(key::PEAK_VELOCITY)?,
            }),
            FlowKind::BlasiusLayer => Arc::new(self.blasius_layer()?),
            FlowKind::TurbulentLayer => Arc::new(self.turbulent_layer()?),
            FlowKind::Cylinder => Arc::new(Cylinder {
                centre_px: self.centre()?,
                radius_px: self.value(key::RADIUS)?,
                stream_px: self.value(key::FREE_STREAM)?,
            }),
            FlowKind::BickleyJet => Arc::new(self.bickley_jet()?),
            FlowKind::MixingLayer => Arc::new(self.mixing_layer()?),
            FlowKind::Wake => Arc::new(Wake {
                centre_y_px: self.level(key::CENTRE_Y)?,
                stream_px: self.value(key::FREE_STREAM)?,
                deficit_px: self.value(key::DEFICIT)?,
                half_width_px: self.value(key::HALF_WIDTH)?,
            }),
            FlowKind::Turbulence => {
                Arc::new(Turbulence::new(self.spectrum()?, self.value(key::SEED)? as u64))
            }
            FlowKind::Imported => match &setup.imported {
                Some(file) => imported::field(self, file)?,
                None => return Err(self.error(key::FILE, "is missing: name the file that holds the field")),
            },
        })
    }

    fn sinusoidal_shear(&self) -> Result<SinusoidalShear, SetupError> {
        Ok(SinusoidalShear {
            displacement_px: self.vector(key::VELOCITY_VECTOR)?,
            amplitude_px: self.value(key::AMPLITUDE)?,
            wavelength_px: self.value(key::WAVELENGTH)?,
            centre_y_px: self.level(key::CENTRE_Y)?,
            phase_rad: self.value(key::PHASE)?,
        })
    }

    fn depth_shear(&self) -> Result<DepthShear, SetupError> {
        let [g, h, _] = self.vector(key::DEPTH_SHEAR)?;
        Ok(DepthShear {
            displacement_px: self.vector(key::VELOCITY_VECTOR)?,
            shear: [g, h],
            depth_px: self.value(key::DEPTH)?,
        })
    }

    fn lamb_oseen(&self) -> Result<LambOseen, SetupError> {
        Ok(LambOseen {
            centre_px: self.centre()?,
            peak_displacement_px: self.value(key::PEAK_VELOCITY)?,
            core_radius_px: self.value(key::CORE_RADIUS)?,
        })
    }

    fn vortex_pair(&self) -> Result<VortexPair, SetupError> {
        Ok(VortexPair::new(
            self.centre()?,
            self.value(key::SPACING)?,
            self.value(key::PEAK_VELOCITY)?,
            self.value(key::CORE_RADIUS)?,
        ))
    }

    fn vortex_street(&self) -> Result<VortexStreet, SetupError> {
        Ok(VortexStreet::new(
            self.centre()?,
            self.value(key::EACH_ROW)? as usize,
            self.value(key::SPACING)?,
            self.value(key::ROW_DISTANCE)?,
            self.value(key::PEAK_VELOCITY)?,
            self.value(key::CORE_RADIUS)?,
        ))
    }

    fn vortex_ring(&self) -> Result<VortexRing, SetupError> {
        let [x, y] = self.centre()?;
        let (radius, core) = (self.value(key::RADIUS)?, self.value(key::CORE_RADIUS)?);
        if core < VortexRing::THINNEST * radius {
            return Err(self.error(
                key::CORE_RADIUS,
                format!(
                    "is {core:.3} px, but must be at least {} of flow.radius, {radius:.3} px",
                    VortexRing::THINNEST
                ),
            ));
        }
        let (depth, speed) = (self.value(key::DEPTH)?, self.value(key::CENTRE_VELOCITY)?);
        Ok(VortexRing::new([x, y, depth], radius, core, speed))
    }

    fn blasius_layer(&self) -> Result<BlasiusLayer, SetupError> {
        Ok(BlasiusLayer {
            wall_y_px: self.level(key::WALL_Y)?,
            free_stream_px: self.value(key::FREE_STREAM)?,
            thickness_px: self.value(key::THICKNESS)?,
            middle_x_px: self.middle[0],
            leading_edge_px: self.upstream(key::LEADING_EDGE)?,
        })
    }

    fn turbulent_layer(&self) -> Result<TurbulentLayer, SetupError> {
        let wall = self.level(key::WALL_Y)?;
        let (stream, friction) = (self.value(key::FREE_STREAM)?, self.value(key::FRICTION_VELOCITY)?);
        let ratio = stream / friction;
        if !(ratio > 1.0 && ratio <= TurbulentLayer::LARGEST_RATIO) {
            return Err(self.error(
                key::FRICTION_VELOCITY,
                format!(
                    "is 1/{ratio:.3} of flow.free_stream, but must be between 1/{} and 1 of it: turbulent layers have about 1/25",
                    TurbulentLayer::LARGEST_RATIO
                ),
            ));
        }
        Ok(TurbulentLayer::new(
            wall,
            stream,
            friction,
            self.value(key::THICKNESS)?,
        ))
    }

    fn bickley_jet(&self) -> Result<BickleyJet, SetupError> {
        Ok(BickleyJet {
            centre_y_px: self.level(key::CENTRE_Y)?,
            peak_displacement_px: self.value(key::PEAK_VELOCITY)?,
            half_width_px: self.value(key::HALF_WIDTH)?,
            middle_x_px: self.middle[0],
            virtual_origin_px: self.upstream(key::VIRTUAL_ORIGIN)?,
        })
    }

    fn mixing_layer(&self) -> Result<MixingLayer, SetupError> {
        Ok(MixingLayer {
            centre_y_px: self.level(key::CENTRE_Y)?,
            above_px: self.value(key::VELOCITY_ABOVE)?,
            below_px: self.value(key::VELOCITY_BELOW)?,
            vorticity_thickness_px: self.value(key::VORTICITY_THICKNESS)?,
        })
    }

    fn spectrum(&self) -> Result<Spectrum, SetupError> {
        let (rms, integral) = (self.value(key::RMS_VELOCITY)?, self.value(key::INTEGRAL_SCALE)?);
        let smallest = self.entry(key::SMALLEST_SCALE, 0)?.unwrap_or(0.1 * integral);
        if smallest > Spectrum::LARGEST_CUT * integral {
            return Err(self.error(
                key::SMALLEST_SCALE,
                format!(
                    "is {smallest:.1} px, but must be at most {} of flow.integral_scale, {integral:.1} px",
                    Spectrum::LARGEST_CUT
                ),
            ));
        }
        Ok(Spectrum::new(rms, integral, smallest))
    }
}
