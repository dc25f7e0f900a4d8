//! `[sheet]`: where the light stands.

use motefield_generator::Profile;

use super::flow::{Extent, extent};
use super::light::ratio;
use super::reader::{Reader, SetupError};
use crate::quantity::Dimension as D;

/// `[sheet]`
#[derive(Debug, Clone, PartialEq)]
pub struct SheetSetup {
    /// Fall of the light across the sheet.
    pub profile: Profile,
    /// Thickness Δz₀.
    pub thickness: Option<Extent>,
    /// Height of the sheet.
    pub height: Option<Extent>,
    /// Fall of the light over the height; even if `None`.
    pub height_profile: Option<Profile>,
    /// Displacement in depth over the thickness, besides that of the flow.
    pub out_of_plane: f64,
    /// Tilt about y and about x: depth grows along x and along y, rad.
    pub tilt_rad: [f64; 2],
    /// How much nearer the camera pulse B's sheet stands than pulse A's.
    pub offset: Option<Extent>,
    /// Thickness of pulse B's sheet over that of pulse A's.
    pub thickness_ratio: Option<f64>,
}

fn above_zero(r: &Reader, key: &str) -> Result<Option<Extent>, SetupError> {
    match extent(r, key)? {
        Some(Extent::Px(t) | Extent::M(t)) if t <= 0.0 => Err(r.error(key, "must be above 0")),
        extent => Ok(extent),
    }
}

pub(super) fn sheet(r: &Reader) -> Result<SheetSetup, SetupError> {
    let order = r.number("sheet.order", |n| (1.0..=100.0).contains(&n), "1 to 100")?;
    let super_gaussian = Profile::SuperGaussian(order.unwrap_or(4.0));
    let profile = r.word(
        "sheet.profile",
        &[
            ("gaussian", Profile::Gaussian),
            ("top-hat", Profile::TopHat),
            ("super-gaussian", super_gaussian),
        ],
    )?;
    let height_profile = r.word(
        "sheet.height_profile",
        &[
            ("even", None),
            ("gaussian", Some(Profile::Gaussian)),
            ("top-hat", Some(Profile::TopHat)),
            ("super-gaussian", Some(super_gaussian)),
        ],
    )?;
    let ordered = [profile, height_profile.flatten()].contains(&Some(super_gaussian));
    if order.is_some() && !ordered {
        return Err(r.error(
            "sheet.order",
            "is the order of a super-Gaussian: write profile = \"super-gaussian\", or leave it out",
        ));
    }
    let tilt = |key: &str| -> Result<f64, SetupError> {
        let tilt = r.quantity(key, &[D::Angle])?.map_or(0.0, |q| q.value);
        if tilt.abs() > std::f64::consts::FRAC_PI_4 {
            return Err(r.error(key, "must be -45 to 45 deg"));
        }
        Ok(tilt)
    };
    let sheet = SheetSetup {
        profile: profile.unwrap_or(Profile::Gaussian),
        thickness: above_zero(r, "sheet.thickness")?,
        height: above_zero(r, "sheet.height")?,
        height_profile: height_profile.flatten(),
        out_of_plane: r
            .number(
                "sheet.out_of_plane",
                |n| n.abs() <= 2.0,
                "-2 to 2 sheet thicknesses",
            )?
            .unwrap_or(0.0),
        tilt_rad: [tilt("sheet.tilt_x")?, tilt("sheet.tilt_y")?],
        offset: extent(r, "sheet.offset")?,
        thickness_ratio: ratio(r, "sheet.thickness_ratio")?,
    };
    if sheet.height_profile.is_some() && sheet.height.is_none() {
        return Err(r.error("sheet.height", "is missing, and sheet.height_profile needs it"));
    }
    Ok(sheet)
}
