//! The light sheet: how brightly a particle is lit by where it stands.
//!
//! The sheet runs along x, lies about the plane z = 0 (or one tilted about the picture's middle), and falls off in depth by its
//! profile; over its height, along y, the light is even or falls off too. The super-Gaussian is the usual description of sheets
//! between a laser's Gaussian and a top-hat (common practice, no source); its order is stated.

use crate::flow::Vec3;
use crate::scene::{SceneError, SceneField, check, number};

/// Fall of the light from the middle outward.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Profile {
    /// exp(−8 z²/Δz₀²): Δz₀ is the full thickness between the e⁻² points.
    Gaussian,
    /// 1 inside the thickness, 0 outside.
    TopHat,
    /// exp(−2 |2z/Δz₀|ⁿ) of order n: e⁻² at the same points, flatter in the middle the larger n; 2 is the Gaussian.
    SuperGaussian(f64),
}

/// Light below this fraction of the centre's is left out: a particle there carries less than a photo-electron
/// when one at the centre carries 10⁵.
const FAINTEST: f64 = 1e-5;

impl Profile {
    /// Light over that in the middle, at `u` widths from it.
    pub fn at(self, u: f64) -> f64 {
        match self {
            Profile::Gaussian => libm::exp(-8.0 * u * u),
            Profile::TopHat => f64::from(u.abs() <= 0.5),
            Profile::SuperGaussian(order) => libm::exp(-2.0 * libm::pow(2.0 * u.abs(), order)),
        }
    }

    /// Widths from the middle beyond which there is no light worth rendering.
    fn reach(self) -> f64 {
        let faint = -libm::log(FAINTEST);
        match self {
            Profile::Gaussian => libm::sqrt(faint / 8.0),
            Profile::TopHat => 0.5,
            Profile::SuperGaussian(order) => 0.5 * libm::pow(0.5 * faint, 1.0 / order),
        }
    }

    /// Width of the top-hat that has the same light in its middle and in all, over that of the profile: √(π/8) for the Gaussian,
    /// Γ(1 + 1/n)/2^(1/n) for the super-Gaussian (derived).
    pub fn effective_fraction(self) -> f64 {
        match self {
            Profile::Gaussian => libm::sqrt(std::f64::consts::PI / 8.0),
            Profile::TopHat => 1.0,
            Profile::SuperGaussian(order) => libm::tgamma(1.0 + 1.0 / order) / libm::pow(2.0, 1.0 / order),
        }
    }
}

/// A light sheet about the plane z = 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sheet {
    /// Fall of the light across the sheet.
    pub profile: Profile,
    /// Full thickness Δz₀ (Gaussian: between the e⁻² points), px.
    pub thickness_px: f64,
    /// Slope of the sheet's middle plane: its depth grows by this much a px along x and along y from the picture's middle.
    pub slope: [f64; 2],
    /// Fall of the light over the height, along y about the picture's middle, and the full height, px; even if `None`.
    pub height: Option<(Profile, f64)>,
}

impl Default for Sheet {
    /// A Gaussian sheet 10 px thick, flat and even.
    fn default() -> Self {
        Sheet {
            profile: Profile::Gaussian,
            thickness_px: 10.0,
            slope: [0.0; 2],
            height: None,
        }
    }
}

impl Sheet {
    /// Depth of the middle plane at a point of the picture's plane, px; `middle` is the picture's.
    pub fn plane_px(&self, x_px: f64, y_px: f64, middle: [f64; 2]) -> f64 {
        self.slope[0] * (x_px - middle[0]) + self.slope[1] * (y_px - middle[1])
    }

    /// Distance of a point from the middle plane, px, with the sign of its depth.
    pub fn distance_px(&self, at: Vec3, middle: [f64; 2]) -> f64 {
        if self.slope == [0.0; 2] {
            return at[2];
        }
        let [sx, sy] = self.slope;
        (at[2] - self.plane_px(at[0], at[1], middle)) / libm::sqrt(1.0 + sx * sx + sy * sy)
    }

    /// Light over that in the middle, at `distance_px` from the middle plane, for a sheet `thicker` times as thick.
    pub fn across(&self, distance_px: f64, thicker: f64) -> f64 {
        self.profile.at(distance_px / (self.thickness_px * thicker))
    }

    /// Light over that in the middle at the height y.
    pub fn along(&self, y_px: f64, middle: [f64; 2]) -> f64 {
        self.height
            .map_or(1.0, |(profile, height)| profile.at((y_px - middle[1]) / height))
    }

    /// Distance from the middle plane beyond which no particle is rendered, px.
    pub fn reach_px(&self) -> f64 {
        self.thickness_px * self.profile.reach()
    }

    pub(crate) fn validate(&self) -> Result<(), SceneError> {
        let height = self.height.unwrap_or((self.profile, 1.0));
        let good_order = |profile: Profile| {
            let order = match profile {
                Profile::SuperGaussian(order) => order,
                _ => 2.0,
            };
            number(
                SceneField::SheetOrder,
                order,
                "",
                (1.0..=100.0).contains(&order),
                "1 to 100",
            )
        };
        let tilt = |field: SceneField, slope: f64| {
            let angle = libm::atan(slope).to_degrees();
            number(field, angle, "deg", slope.abs() <= 1.0, "-45 to 45 deg")
        };
        check([
            number(
                SceneField::SheetThickness,
                self.thickness_px,
                "px",
                self.thickness_px > 0.0 && self.thickness_px.is_finite(),
                "above 0 and finite",
            ),
            good_order(self.profile),
            good_order(height.0),
            tilt(SceneField::SheetTiltX, self.slope[0]),
            tilt(SceneField::SheetTiltY, self.slope[1]),
            number(
                SceneField::SheetHeight,
                height.1,
                "px",
                height.1 > 0.0 && height.1.is_finite(),
                "above 0 and finite",
            ),
        ])
    }
}
