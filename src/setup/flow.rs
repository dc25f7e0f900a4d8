//! `[flow]`: what moves, in lab or in picture units.

use super::reader::{Reader, SetupError};
use crate::quantity::Dimension;

/// A length in the lab or in the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Extent {
    /// px.
    Px(f64),
    /// m, in the plane of the sheet.
    M(f64),
}

/// A velocity in the lab, or the displacement it makes between the pulses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Motion {
    /// px per pulse separation.
    Px(f64),
    /// m/s.
    MS(f64),
}

/// The pattern of a flow.
#[derive(Debug, Clone, PartialEq)]
pub enum Pattern {
    /// The same velocity everywhere.
    Uniform {
        /// x, y, z.
        motion: [Motion; 3],
    },
    /// Plane shear.
    LinearShear {
        /// On the line y = centre.
        motion: [Motion; 3],
        /// ∂u/∂y: displacement over distance, or 1/s.
        shear: Shear,
        /// y of that line from the image's middle.
        centre_y: Extent,
    },
    /// A single vortex.
    LambOseen {
        /// From the image's middle.
        centre: [Extent; 2],
        /// Largest speed about the centre.
        peak: Motion,
        /// Where it is reached.
        core_radius: Extent,
    },
    /// A double row of vortices along x.
    VortexStreet {
        /// From the image's middle.
        centre: [Extent; 2],
        /// Vortices in each row.
        each_row: usize,
        /// Between vortices of a row.
        spacing: Extent,
        /// Between the rows.
        row_distance: Extent,
        /// Largest speed of one vortex.
        peak: Motion,
        /// Where it is reached.
        core_radius: Extent,
    },
}

/// A rate of shear.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shear {
    /// Displacement over distance.
    PerPair(f64),
    /// 1/s.
    PerSecond(f64),
}

/// `[flow]`
#[derive(Debug, Clone, PartialEq)]
pub struct FlowSetup {
    /// The pattern.
    pub pattern: Pattern,
    /// Velocity at which the pattern is carried along.
    pub carried: [Motion; 3],
}

const STILL: [Motion; 3] = [Motion::Px(0.0); 3];

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

fn centre(r: &Reader) -> Result<[Extent; 2], SetupError> {
    let mut all = [Extent::Px(0.0); 2];
    if r.list("flow.centre", 2..=2)?.is_some() {
        for (k, part) in all.iter_mut().enumerate() {
            *part = extent(r, &format!("flow.centre[{k}]"))?.unwrap_or(*part);
        }
    }
    Ok(all)
}

fn above_zero(r: &Reader, key: &str) -> Result<Extent, SetupError> {
    match extent(r, key)? {
        Some(Extent::Px(v) | Extent::M(v)) if v <= 0.0 => Err(r.error(key, "must be above 0")),
        Some(extent) => Ok(extent),
        None => Err(r.error(
            key,
            "is missing: this kind of flow needs it, for example \"4 mm\" or \"40 px\"",
        )),
    }
}

fn peak(r: &Reader) -> Result<Motion, SetupError> {
    match (motion(r, "flow.peak_velocity")?, motion(r, "flow.peak_displacement")?) {
        (Some(_), Some(_)) => Err(r.error("flow.peak_displacement", "says again what flow.peak_velocity says: leave one out")),
        (Some(peak), None) | (None, Some(peak)) => Ok(peak),
        (None, None) => Err(r.error("flow.peak_velocity", "is missing: this kind of flow needs it, for example \"0.1 m/s\" (or peak_displacement = \"6 px\")")),
    }
}

pub(super) fn read(r: &Reader) -> Result<FlowSetup, SetupError> {
    #[derive(Clone, Copy)]
    enum Kind {
        Uniform,
        LinearShear,
        LambOseen,
        VortexStreet,
    }
    let kinds = [
        ("uniform", Kind::Uniform),
        ("linear-shear", Kind::LinearShear),
        ("lamb-oseen", Kind::LambOseen),
        ("vortex-street", Kind::VortexStreet),
    ];
    let Some(kind) = r.word("flow.kind", &kinds)? else {
        return Err(r.error(
            "flow.kind",
            "is missing: write for example kind = \"uniform\" under [flow]",
        ));
    };
    let moving = |r: &Reader| motions(r, &["flow.velocity", "flow.displacement"]);
    let pattern = match kind {
        Kind::Uniform => Pattern::Uniform {
            motion: moving(r)?.ok_or_else(|| {
                r.error("flow.velocity", "is missing: write for example velocity = [\"0.1 m/s\", \"0 m/s\"] (or displacement = [\"3.3 px\", \"0 px\"])")
            })?,
        },
        Kind::LinearShear => {
            let shear = match (r.number("flow.shear", |_| true, "displacement over distance, such as 0.02")?, r.quantity("flow.shear_rate", &[Dimension::Frequency])?) {
                (Some(_), Some(_)) => return Err(r.error("flow.shear_rate", "says again what flow.shear says: leave one out")),
                (Some(s), None) => Shear::PerPair(s),
                (None, Some(q)) => Shear::PerSecond(q.value),
                (None, None) => return Err(r.error("flow.shear", "is missing: write for example shear = 0.02 (px of displacement per px) or shear_rate = \"20 /s\"")),
            };
            Pattern::LinearShear {
                motion: moving(r)?.unwrap_or(STILL),
                shear,
                centre_y: extent(r, "flow.centre_y")?.unwrap_or(Extent::Px(0.0)),
            }
        }
        Kind::LambOseen => Pattern::LambOseen { centre: centre(r)?, peak: peak(r)?, core_radius: above_zero(r, "flow.core_radius")? },
        Kind::VortexStreet => Pattern::VortexStreet {
            centre: centre(r)?,
            each_row: r.whole("flow.each_row", 1, 20)?.unwrap_or(3),
            spacing: above_zero(r, "flow.spacing")?,
            row_distance: above_zero(r, "flow.row_distance")?,
            peak: peak(r)?,
            core_radius: above_zero(r, "flow.core_radius")?,
        },
    };
    Ok(FlowSetup {
        pattern,
        carried: motions(r, &["flow.carried_by"])?.unwrap_or(STILL),
    })
}
