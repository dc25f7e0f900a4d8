//! `[sheet]`: where the light stands.

use motefield_generator::Profile;

use super::flow::{Extent, extent};
use super::reader::Reader;
use crate::keys::choices::{HeightProfile, SheetProfile};
use crate::keys::{sheet as keys, tracer};

/// `[sheet]`
#[derive(Debug, Clone, PartialEq)]
pub struct SheetSetup {
    /// Fall of the light across the sheet.
    pub profile: Profile,
    /// Thickness Δz₀.
    pub thickness: Option<Extent>,
    /// Height of the sheet.
    pub height: Option<Extent>,
    /// Diameter of the lit spot, m, where the light is no sheet.
    pub spot_m: Option<f64>,
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

/// Way of the light to the middle of the picture, m, where a key needs it.
fn distance(r: &Reader) -> f64 {
    let users = [keys::FAN_ANGLE, keys::DIVERGENCE];
    let Some(user) = users.into_iter().find(|key| r.has(*key)) else {
        if r.has(keys::DISTANCE) {
            r.fault(keys::DISTANCE, "is the way over which the light spreads, and neither sheet.divergence nor sheet.fan_angle says how: give one, or leave it out");
        }
        return 0.0;
    };
    let why = format!("{} needs it: write for example distance = \"300 mm\"", user.path);
    r.needed(keys::DISTANCE, r.number(keys::DISTANCE), &why, 1.0)
}

/// The thickness at the middle of the picture: of a Gaussian beam the root of the squares of the
/// waist and of what the divergence makes, 2 d tan(angle/2).
fn thickness(r: &Reader, distance_m: f64) -> Option<Extent> {
    let thickness = extent(r, keys::THICKNESS);
    let Some(angle) = r.number(keys::DIVERGENCE) else {
        return thickness;
    };
    let spread_m = 2.0 * distance_m * libm::tan(0.5 * angle);
    match thickness {
        Some(Extent::M(waist_m)) => Some(Extent::M(libm::hypot(waist_m, spread_m))),
        Some(Extent::Px(_)) | None => {
            r.fault(keys::THICKNESS, "must be that of the waist, in the lab, where sheet.divergence is given: write for example thickness = \"0.5 mm\"");
            thickness
        }
    }
}

/// The height, as stated or by the angle of the fan.
fn height(r: &Reader, distance_m: f64) -> Option<Extent> {
    r.exclude(keys::FAN_ANGLE, keys::HEIGHT, "both state the height");
    let of_fan = |angle: f64| Extent::M(2.0 * distance_m * libm::tan(0.5 * angle));
    extent(r, keys::HEIGHT).or(r.number(keys::FAN_ANGLE).map(of_fan))
}

/// The lit spot, which takes the place of a sheet for particles that shine alike in all directions,
/// or of a stated angle.
fn spot(r: &Reader) -> Option<f64> {
    let other = [keys::HEIGHT, keys::FAN_ANGLE]
        .into_iter()
        .find(|key| r.has(*key));
    if let Some(other) = other {
        r.exclude(keys::SPOT, other, "both say what is lit");
    }
    let glows = r.has(tracer::FLUORESCENCE) || r.has(tracer::ALBEDO);
    if r.has(keys::SPOT) && !glows {
        r.fault(keys::SPOT, "is for particles that fluoresce or have a dull surface, since scattered light is computed at right angles to its way: give tracer.fluorescence or tracer.albedo, or write sheet.height, or state image.electrons");
    }
    r.number(keys::SPOT)
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
    let distance_m = distance(r);
    let sheet = SheetSetup {
        profile: profile.map_or(Profile::Gaussian, of),
        thickness: thickness(r, distance_m),
        height: height(r, distance_m),
        spot_m: spot(r),
        height_profile: over_height.map(of),
        out_of_plane: r.number(keys::OUT_OF_PLANE).unwrap_or(0.0),
        tilt_rad: [keys::TILT_X, keys::TILT_Y].map(|key| r.number(key).unwrap_or(0.0)),
        offset: extent(r, keys::OFFSET),
        thickness_ratio: r.number(keys::THICKNESS_RATIO),
    };
    let given = [keys::HEIGHT, keys::FAN_ANGLE].into_iter().any(|key| r.has(key));
    if sheet.height_profile.is_some() && sheet.height.is_none() && !given {
        r.fault(keys::HEIGHT, "is missing, and sheet.height_profile needs it");
    }
    sheet
}
