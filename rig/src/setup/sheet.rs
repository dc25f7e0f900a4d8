//! `[sheet]`: where the light stands.

use motefield_generator::Profile;

use super::flow::{Extent, extent};
use super::reader::Reader;
use crate::keys::choices::{HeightProfile, SheetProfile};
use crate::keys::sheet as keys;

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

pub(super) fn sheet(r: &Reader) -> SheetSetup {
    let order = r.number(keys::ORDER);
    let of = |profile: SheetProfile| match profile {
        SheetProfile::Gaussian => Profile::Gaussian,
        SheetProfile::TopHat => Profile::TopHat,
        SheetProfile::SuperGaussian => Profile::SuperGaussian(order.unwrap_or(4.0)),
    };
    let profile = r.choice::<SheetProfile>(keys::PROFILE);
    let over_height = match r.choice::<HeightProfile>(keys::HEIGHT_PROFILE) {
        Some(HeightProfile::As(profile)) => Some(profile),
        Some(HeightProfile::Even) | None => None,
    };
    if order.is_some() && ![profile, over_height].contains(&Some(SheetProfile::SuperGaussian)) {
        r.fault(
            keys::ORDER,
            "is the order of a super-Gaussian: write profile = \"super-gaussian\", or leave it out",
        );
    }
    let sheet = SheetSetup {
        profile: profile.map_or(Profile::Gaussian, of),
        thickness: extent(r, keys::THICKNESS),
        height: extent(r, keys::HEIGHT),
        height_profile: over_height.map(of),
        out_of_plane: r.number(keys::OUT_OF_PLANE).unwrap_or(0.0),
        tilt_rad: [keys::TILT_X, keys::TILT_Y].map(|key| r.number(key).unwrap_or(0.0)),
        offset: extent(r, keys::OFFSET),
        thickness_ratio: r.number(keys::THICKNESS_RATIO),
    };
    if sheet.height_profile.is_some() && sheet.height.is_none() && !r.has(keys::HEIGHT) {
        r.fault(keys::HEIGHT, "is missing, and sheet.height_profile needs it");
    }
    sheet
}
