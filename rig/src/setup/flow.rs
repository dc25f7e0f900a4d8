//! `[flow]`: what moves, in lab or in picture units.

mod imported;
mod pattern;

use super::reader::{KeyAt, Reader};
use crate::keys::choices::FlowKind;
use crate::keys::{Key, flow as keys};
use crate::quantity::Dimension;
pub use pattern::{Extent, FlowPattern, Imported, Motion, PlaceFromMiddle, Rate, Stands, Vortex};

/// `[flow]`
#[derive(Debug, Clone, PartialEq)]
pub struct FlowSetup {
    /// The pattern.
    pub pattern: FlowPattern,
    /// Angle by which the pattern is turned, from x toward y, about its centre or else the image's
    /// middle.
    pub angle_rad: f64,
    /// Velocity at which the pattern is carried along.
    pub carried: [Motion; 3],
}

const STILL: [Motion; 3] = [Motion::Px(0.0); 3];
const MIDDLE: Extent = Extent::Px(0.0);

/// A length, where there is one.
pub(super) fn extent(r: &Reader, at: impl Into<KeyAt>) -> Option<Extent> {
    let q = r.quantity(at)?;
    Some(match q.dimension {
        Dimension::Pixels => Extent::Px(q.value),
        _ => Extent::M(q.value),
    })
}

fn motion(r: &Reader, at: impl Into<KeyAt>) -> Option<Motion> {
    let q = r.quantity(at)?;
    Some(match q.dimension {
        Dimension::Pixels => Motion::Px(q.value),
        _ => Motion::MS(q.value),
    })
}

/// A vector of two or three motions, where there is one.
fn motions(r: &Reader, key: &'static Key) -> Option<[Motion; 3]> {
    let count = r.list(key)?;
    let mut all = STILL;
    for (k, part) in all.iter_mut().enumerate().take(count) {
        *part = motion(r, key.entry(k)).unwrap_or(*part);
    }
    Some(all)
}

/// A place from the image's middle, the middle itself where none is given.
pub(super) fn place(r: &Reader, at: impl Into<KeyAt>) -> PlaceFromMiddle {
    let at = at.into();
    let mut all = [MIDDLE; 2];
    if r.list(at.clone()).is_some() {
        for (k, part) in all.iter_mut().enumerate() {
            *part = extent(r, at.entry(k)).unwrap_or(*part);
        }
    }
    all
}

/// Reads the keys of one flow.
struct Flow<'a, 'b> {
    r: &'a Reader<'b>,
}

impl Flow<'_, '_> {
    fn centre(&self) -> PlaceFromMiddle {
        place(self.r, keys::CENTRE)
    }

    fn centre_y(&self) -> Extent {
        extent(self.r, keys::CENTRE_Y).unwrap_or(MIDDLE)
    }

    fn length(&self, key: &'static Key) -> Extent {
        let why = "this kind of flow needs it, for example \"4 mm\" or \"40 px\"";
        self.r.needed(key, extent(self.r, key), why, Extent::Px(1.0))
    }

    fn motion(&self, key: &'static Key) -> Motion {
        let why = "this kind of flow needs it, for example \"0.1 m/s\" (or \"6 px\" between the pulses)";
        self.r.needed(key, motion(self.r, key), why, Motion::Px(1.0))
    }

    /// The largest speed, under either of its keys.
    fn peak(&self) -> Motion {
        self.r
            .exclude(keys::PEAK_DISPLACEMENT, keys::PEAK_VELOCITY, "say the same twice");
        let displacement = motion(self.r, keys::PEAK_DISPLACEMENT);
        if displacement.is_some() || self.r.has(keys::PEAK_DISPLACEMENT) {
            return displacement.unwrap_or(Motion::Px(1.0));
        }
        let why = "this kind of flow needs it, for example \"0.1 m/s\" (or peak_displacement = \"6 px\")";
        let velocity = motion(self.r, keys::PEAK_VELOCITY);
        self.r.needed(keys::PEAK_VELOCITY, velocity, why, Motion::Px(1.0))
    }

    fn vortex(&self) -> Vortex {
        Vortex {
            centre: self.centre(),
            peak: self.peak(),
            core_radius: self.length(keys::CORE_RADIUS),
        }
    }

    /// Velocity or displacement of the whole, where one is given.
    fn moving(&self) -> Option<[Motion; 3]> {
        let (velocity, displacement) = (keys::VELOCITY_VECTOR, keys::DISPLACEMENT_VECTOR);
        self.r.exclude(displacement, velocity, "say the same twice");
        motions(self.r, velocity).or_else(|| motions(self.r, displacement))
    }

    /// A number per pair of pulses under `per_pair`, or a rate per second under `per_second`.
    fn rate(&self, per_pair: &'static Key, per_second: &'static Key, example: &str) -> Rate {
        self.r.exclude(per_second, per_pair, "say the same twice");
        let pair = self.r.number(per_pair).map(Rate::PerPair);
        let found = pair.or_else(|| self.r.number(per_second).map(Rate::PerSecond));
        if found.is_none() && self.r.has(per_second) {
            return Rate::PerPair(0.0);
        }
        let why = format!("write for example {example}");
        self.r.needed(per_pair, found, &why, Rate::PerPair(0.0))
    }
}

pub(super) fn flow(r: &Reader) -> FlowSetup {
    let kind = r.choice::<FlowKind>(keys::KIND);
    let why = "write for example kind = \"uniform\" under [flow]";
    let pattern = match r.needed(keys::KIND, kind.map(Some), why, None) {
        Some(kind) => pattern(&Flow { r }, kind),
        None => {
            // Nobody can say which of the flow's keys the missing kind would take.
            crate::keys::flow::SECTION.keys.iter().for_each(|key| {
                r.pass_over(key);
            });
            FlowPattern::Uniform { motion: STILL }
        }
    };
    FlowSetup {
        pattern,
        angle_rad: r.number(keys::ANGLE).unwrap_or(0.0),
        carried: motions(r, keys::CARRIED_BY).unwrap_or(STILL),
    }
}

fn pattern(f: &Flow, kind: FlowKind) -> FlowPattern {
    match kind {
        FlowKind::Uniform => FlowPattern::Uniform {
            motion: f.moving().unwrap_or_else(|| {
                let why = "write for example velocity = [\"0.1 m/s\", \"0 m/s\"] (or displacement = [\"3.3 px\", \"0 px\"])";
                if !f.r.has(keys::DISPLACEMENT_VECTOR) {
                    f.r.needed(keys::VELOCITY_VECTOR, None, why, ());
                }
                STILL
            }),
        },
        FlowKind::LinearShear => FlowPattern::LinearShear {
            motion: f.moving().unwrap_or(STILL),
            shear: f.rate(
                keys::SHEAR,
                keys::SHEAR_RATE,
                "shear = 0.02 (px of displacement per px) or shear_rate = \"20 /s\"",
            ),
            centre_y: f.centre_y(),
        },
        FlowKind::SinusoidalShear => FlowPattern::SinusoidalShear {
            motion: f.moving().unwrap_or(STILL),
            amplitude: f.motion(keys::AMPLITUDE),
            wavelength: f.length(keys::WAVELENGTH),
            centre_y: f.centre_y(),
            phase_rad: f.r.number(keys::PHASE).unwrap_or(0.0),
        },
        FlowKind::SolidRotation => FlowPattern::SolidRotation {
            centre: f.centre(),
            rotation: f.rate(
                keys::ROTATION,
                keys::ANGULAR_VELOCITY,
                "rotation = \"5 deg\" (between the pulses) or angular_velocity = \"20 /s\" (rad/s)",
            ),
        },
        FlowKind::PlaneStrain => FlowPattern::PlaneStrain {
            centre: f.centre(),
            strain: f.rate(
                keys::STRAIN,
                keys::STRAIN_RATE,
                "strain = 0.02 (px of displacement per px) or strain_rate = \"20 /s\"",
            ),
        },
        FlowKind::Rankine => FlowPattern::Rankine(f.vortex()),
        FlowKind::LambOseen => FlowPattern::LambOseen(f.vortex()),
        FlowKind::TaylorGreen => FlowPattern::TaylorGreen {
            centre: f.centre(),
            peak: f.peak(),
            wavelength: f.length(keys::WAVELENGTH),
        },
        FlowKind::VortexPair => FlowPattern::VortexPair {
            vortex: f.vortex(),
            spacing: f.length(keys::SPACING),
        },
        FlowKind::VortexStreet => FlowPattern::VortexStreet {
            vortex: f.vortex(),
            each_row: f.r.whole(keys::EACH_ROW).unwrap_or(3),
            spacing: f.length(keys::SPACING),
            row_distance: f.length(keys::ROW_DISTANCE),
        },
        FlowKind::VortexRing => FlowPattern::VortexRing {
            centre: f.centre(),
            depth: extent(f.r, keys::DEPTH).unwrap_or(MIDDLE),
            radius: f.length(keys::RADIUS),
            core_radius: f.length(keys::CORE_RADIUS),
            centre_motion: f.motion(keys::CENTRE_VELOCITY),
        },
        other => layer_or_field(f, other),
    }
}

/// Flows along walls, jets and layers, and fields that are not simple vortices.
fn layer_or_field(f: &Flow, kind: FlowKind) -> FlowPattern {
    match kind {
        FlowKind::Channel => FlowPattern::Channel {
            centre_y: f.centre_y(),
            height: f.length(keys::HEIGHT),
            peak: f.peak(),
        },
        FlowKind::BlasiusLayer => FlowPattern::BlasiusLayer {
            wall_y: f.length(keys::WALL_Y),
            free_stream: f.motion(keys::FREE_STREAM),
            thickness: f.length(keys::THICKNESS),
            leading_edge: extent(f.r, keys::LEADING_EDGE),
        },
        FlowKind::TurbulentLayer => FlowPattern::TurbulentLayer {
            wall_y: f.length(keys::WALL_Y),
            free_stream: f.motion(keys::FREE_STREAM),
            friction: f.motion(keys::FRICTION_VELOCITY),
            thickness: f.length(keys::THICKNESS),
        },
        FlowKind::Cylinder => FlowPattern::Cylinder {
            centre: f.centre(),
            radius: f.length(keys::RADIUS),
            free_stream: f.motion(keys::FREE_STREAM),
        },
        FlowKind::BickleyJet => FlowPattern::BickleyJet {
            centre_y: f.centre_y(),
            peak: f.peak(),
            half_width: f.length(keys::HALF_WIDTH),
            virtual_origin: extent(f.r, keys::VIRTUAL_ORIGIN),
        },
        FlowKind::MixingLayer => FlowPattern::MixingLayer {
            centre_y: f.centre_y(),
            above: f.motion(keys::VELOCITY_ABOVE),
            below: f.motion(keys::VELOCITY_BELOW),
            thickness: f.length(keys::VORTICITY_THICKNESS),
        },
        FlowKind::Turbulence => FlowPattern::Turbulence {
            rms: f.motion(keys::RMS_VELOCITY),
            integral_scale: f.length(keys::INTEGRAL_SCALE),
            smallest_scale: extent(f.r, keys::SMALLEST_SCALE),
            seed: f.r.whole(keys::SEED).unwrap_or(1) as u64,
        },
        FlowKind::Imported => FlowPattern::Imported(imported::field(f.r)),
        other => unreachable!("{other:?} is read with the vortices and shears"),
    }
}
