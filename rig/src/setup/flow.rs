//! `[flow]`: what moves, in lab or in picture units.

mod imported;
mod pattern;

use super::reader::{Reader, SetupError};
use crate::quantity::Dimension;
pub use pattern::{Extent, Imported, Motion, Pattern, Place, Rate, Stands, Vortex};

/// `[flow]`
#[derive(Debug, Clone, PartialEq)]
pub struct FlowSetup {
    /// The pattern.
    pub pattern: Pattern,
    /// Angle by which the pattern is turned, from x toward y, about its centre or else the image's middle.
    pub angle_rad: f64,
    /// Velocity at which the pattern is carried along.
    pub carried: [Motion; 3],
}

const STILL: [Motion; 3] = [Motion::Px(0.0); 3];
const MIDDLE: Extent = Extent::Px(0.0);

impl Extent {
    fn number(self) -> f64 {
        match self {
            Extent::Px(v) | Extent::M(v) => v,
        }
    }
}

pub(super) fn extent(r: &Reader, key: &str) -> Result<Option<Extent>, SetupError> {
    Ok(r.quantity(key, &[Dimension::Length, Dimension::Pixels])?
        .map(|q| match q.dimension {
            Dimension::Pixels => Extent::Px(q.value),
            _ => Extent::M(q.value),
        }))
}

fn motion(r: &Reader, key: &str) -> Result<Option<Motion>, SetupError> {
    Ok(r.quantity(key, &[Dimension::Speed, Dimension::Pixels])?
        .map(|q| match q.dimension {
            Dimension::Pixels => Motion::Px(q.value),
            _ => Motion::MS(q.value),
        }))
}

/// A vector of two or three motions under the first of `keys` that is there.
fn motions(r: &Reader, keys: &[&str]) -> Result<Option<[Motion; 3]>, SetupError> {
    let mut found = None;
    for key in keys {
        let Some(count) = r.list(key, 2..=3)? else {
            continue;
        };
        if found.is_some() {
            return Err(r.error(key, format!("says again what {} says: leave one out", keys[0])));
        }
        let mut all = STILL;
        for (k, part) in all.iter_mut().enumerate().take(count) {
            *part = motion(r, &format!("{key}[{k}]"))?.unwrap_or(*part);
        }
        found = Some(all);
    }
    Ok(found)
}

fn centre(r: &Reader) -> Result<Place, SetupError> {
    let mut all = [MIDDLE; 2];
    if r.list("flow.centre", 2..=2)?.is_some() {
        for (k, part) in all.iter_mut().enumerate() {
            *part = extent(r, &format!("flow.centre[{k}]"))?.unwrap_or(*part);
        }
    }
    Ok(all)
}

fn centre_y(r: &Reader) -> Result<Extent, SetupError> {
    Ok(extent(r, "flow.centre_y")?.unwrap_or(MIDDLE))
}

/// A length above 0, where there is one.
fn perhaps_above_zero(r: &Reader, key: &str) -> Result<Option<Extent>, SetupError> {
    match extent(r, key)? {
        Some(extent) if extent.number() <= 0.0 => Err(r.error(key, "must be above 0")),
        found => Ok(found),
    }
}

fn above_zero(r: &Reader, key: &str) -> Result<Extent, SetupError> {
    needed_extent(r, key, perhaps_above_zero(r, key)?)
}

fn needed_extent(r: &Reader, key: &str, found: Option<Extent>) -> Result<Extent, SetupError> {
    found.ok_or_else(|| {
        r.error(
            key,
            "is missing: this kind of flow needs it, for example \"4 mm\" or \"40 px\"",
        )
    })
}

fn needed_motion(r: &Reader, key: &str) -> Result<Motion, SetupError> {
    motion(r, key)?.ok_or_else(|| {
        r.error(
            key,
            "is missing: this kind of flow needs it, for example \"0.1 m/s\" (or \"6 px\" between the pulses)",
        )
    })
}

fn peak(r: &Reader) -> Result<Motion, SetupError> {
    match (motion(r, "flow.peak_velocity")?, motion(r, "flow.peak_displacement")?) {
        (Some(_), Some(_)) => Err(r.error("flow.peak_displacement", "says again what flow.peak_velocity says: leave one out")),
        (Some(peak), None) | (None, Some(peak)) => Ok(peak),
        (None, None) => Err(r.error("flow.peak_velocity", "is missing: this kind of flow needs it, for example \"0.1 m/s\" (or peak_displacement = \"6 px\")")),
    }
}

fn vortex(r: &Reader) -> Result<Vortex, SetupError> {
    Ok(Vortex {
        centre: centre(r)?,
        peak: peak(r)?,
        core_radius: above_zero(r, "flow.core_radius")?,
    })
}

/// A plain number under `key` or a rate in 1/s under `key`_rate.
fn rate(r: &Reader, key: &str) -> Result<Rate, SetupError> {
    let rate_key = format!("{key}_rate");
    let number = r.number(key, |_| true, "displacement over distance, such as 0.02")?;
    let name = key.trim_start_matches("flow.");
    one_rate(r, key, &rate_key, number).and_then(|found| {
        found.ok_or_else(|| {
            r.error(key, format!("is missing: write for example {name} = 0.02 (px of displacement per px) or {name}_rate = \"20 /s\""))
        })
    })
}

fn one_rate(
    r: &Reader,
    key: &str,
    rate_key: &str,
    per_pair: Option<f64>,
) -> Result<Option<Rate>, SetupError> {
    let per_second = r.quantity(rate_key, &[Dimension::Frequency])?;
    match (per_pair, per_second) {
        (Some(_), Some(_)) => Err(r.error(rate_key, format!("says again what {key} says: leave one out"))),
        (Some(s), None) => Ok(Some(Rate::PerPair(s))),
        (None, Some(q)) => Ok(Some(Rate::PerSecond(q.value))),
        (None, None) => Ok(None),
    }
}

fn rotation(r: &Reader) -> Result<Rate, SetupError> {
    let (key, rate_key) = ("flow.rotation", "flow.angular_velocity");
    let angle = r.quantity(key, &[Dimension::Angle])?.map(|q| q.value);
    one_rate(r, key, rate_key, angle)?.ok_or_else(|| {
        r.error(key, "is missing: write for example rotation = \"5 deg\" (between the pulses) or angular_velocity = \"20 /s\" (rad/s)")
    })
}

fn angle(r: &Reader, key: &str) -> Result<f64, SetupError> {
    Ok(r.quantity(key, &[Dimension::Angle])?.map_or(0.0, |q| q.value))
}

#[derive(Clone, Copy)]
enum Kind {
    Uniform,
    LinearShear,
    SinusoidalShear,
    SolidRotation,
    PlaneStrain,
    Rankine,
    LambOseen,
    TaylorGreen,
    VortexPair,
    VortexStreet,
    VortexRing,
    Channel,
    BlasiusLayer,
    TurbulentLayer,
    Cylinder,
    BickleyJet,
    MixingLayer,
    Turbulence,
    Imported,
}

const KINDS: [(&str, Kind); 19] = [
    ("uniform", Kind::Uniform),
    ("linear-shear", Kind::LinearShear),
    ("sinusoidal-shear", Kind::SinusoidalShear),
    ("solid-rotation", Kind::SolidRotation),
    ("plane-strain", Kind::PlaneStrain),
    ("rankine", Kind::Rankine),
    ("lamb-oseen", Kind::LambOseen),
    ("taylor-green", Kind::TaylorGreen),
    ("vortex-pair", Kind::VortexPair),
    ("vortex-street", Kind::VortexStreet),
    ("vortex-ring", Kind::VortexRing),
    ("channel", Kind::Channel),
    ("blasius-layer", Kind::BlasiusLayer),
    ("turbulent-layer", Kind::TurbulentLayer),
    ("cylinder", Kind::Cylinder),
    ("bickley-jet", Kind::BickleyJet),
    ("mixing-layer", Kind::MixingLayer),
    ("turbulence", Kind::Turbulence),
    ("imported", Kind::Imported),
];

pub(super) fn read(r: &Reader) -> Result<FlowSetup, SetupError> {
    let Some(kind) = r.word("flow.kind", &KINDS)? else {
        return Err(r.error(
            "flow.kind",
            "is missing: write for example kind = \"uniform\" under [flow]",
        ));
    };
    Ok(FlowSetup {
        pattern: pattern(r, kind)?,
        angle_rad: angle(r, "flow.angle")?,
        carried: motions(r, &["flow.carried_by"])?.unwrap_or(STILL),
    })
}

fn pattern(r: &Reader, kind: Kind) -> Result<Pattern, SetupError> {
    let moving = || motions(r, &["flow.velocity", "flow.displacement"]);
    Ok(match kind {
        Kind::Uniform => Pattern::Uniform {
            motion: moving()?.ok_or_else(|| {
                r.error("flow.velocity", "is missing: write for example velocity = [\"0.1 m/s\", \"0 m/s\"] (or displacement = [\"3.3 px\", \"0 px\"])")
            })?,
        },
        Kind::LinearShear => Pattern::LinearShear {
            motion: moving()?.unwrap_or(STILL),
            shear: rate(r, "flow.shear")?,
            centre_y: centre_y(r)?,
        },
        Kind::SinusoidalShear => Pattern::SinusoidalShear {
            motion: moving()?.unwrap_or(STILL),
            amplitude: needed_motion(r, "flow.amplitude")?,
            wavelength: above_zero(r, "flow.wavelength")?,
            centre_y: centre_y(r)?,
            phase_rad: angle(r, "flow.phase")?,
        },
        Kind::SolidRotation => Pattern::SolidRotation {
            centre: centre(r)?,
            rotation: rotation(r)?,
        },
        Kind::PlaneStrain => Pattern::PlaneStrain {
            centre: centre(r)?,
            strain: rate(r, "flow.strain")?,
        },
        Kind::Rankine => Pattern::Rankine(vortex(r)?),
        Kind::LambOseen => Pattern::LambOseen(vortex(r)?),
        Kind::TaylorGreen => Pattern::TaylorGreen {
            centre: centre(r)?,
            peak: peak(r)?,
            wavelength: above_zero(r, "flow.wavelength")?,
        },
        Kind::VortexPair => Pattern::VortexPair {
            vortex: vortex(r)?,
            spacing: above_zero(r, "flow.spacing")?,
        },
        Kind::VortexStreet => Pattern::VortexStreet {
            vortex: vortex(r)?,
            each_row: r.whole("flow.each_row", 1, 20)?.unwrap_or(3),
            spacing: above_zero(r, "flow.spacing")?,
            row_distance: above_zero(r, "flow.row_distance")?,
        },
        Kind::VortexRing => Pattern::VortexRing {
            centre: centre(r)?,
            depth: extent(r, "flow.depth")?.unwrap_or(MIDDLE),
            radius: above_zero(r, "flow.radius")?,
            core_radius: above_zero(r, "flow.core_radius")?,
            centre_motion: needed_motion(r, "flow.centre_velocity")?,
        },
        Kind::Channel => Pattern::Channel {
            centre_y: centre_y(r)?,
            height: above_zero(r, "flow.height")?,
            peak: peak(r)?,
        },
        Kind::BlasiusLayer => Pattern::BlasiusLayer {
            wall_y: needed_extent(r, "flow.wall_y", extent(r, "flow.wall_y")?)?,
            free_stream: needed_motion(r, "flow.free_stream")?,
            thickness: above_zero(r, "flow.thickness")?,
            leading_edge: perhaps_above_zero(r, "flow.leading_edge")?,
        },
        Kind::TurbulentLayer => Pattern::TurbulentLayer {
            wall_y: needed_extent(r, "flow.wall_y", extent(r, "flow.wall_y")?)?,
            free_stream: needed_motion(r, "flow.free_stream")?,
            friction: needed_motion(r, "flow.friction_velocity")?,
            thickness: above_zero(r, "flow.thickness")?,
        },
        Kind::Cylinder => Pattern::Cylinder {
            centre: centre(r)?,
            radius: above_zero(r, "flow.radius")?,
            free_stream: needed_motion(r, "flow.free_stream")?,
        },
        Kind::BickleyJet => Pattern::BickleyJet {
            centre_y: centre_y(r)?,
            peak: peak(r)?,
            half_width: above_zero(r, "flow.half_width")?,
            virtual_origin: perhaps_above_zero(r, "flow.virtual_origin")?,
        },
        Kind::MixingLayer => Pattern::MixingLayer {
            centre_y: centre_y(r)?,
            above: needed_motion(r, "flow.velocity_above")?,
            below: needed_motion(r, "flow.velocity_below")?,
            thickness: above_zero(r, "flow.vorticity_thickness")?,
        },
        Kind::Turbulence => Pattern::Turbulence {
            rms: needed_motion(r, "flow.rms_velocity")?,
            integral_scale: above_zero(r, "flow.integral_scale")?,
            smallest_scale: perhaps_above_zero(r, "flow.smallest_scale")?,
            seed: r.whole("flow.seed", 0, 1 << 53)?.unwrap_or(1) as u64,
        },
        Kind::Imported => Pattern::Imported(imported::read(r)?),
    })
}
