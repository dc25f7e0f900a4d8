//! The light sheet: how brightly it lights a particle at a given place.
//!
//! The middle plane of the sheet is z = 0, or a plane tilted about the middle of the picture.
//! Across the sheet, in depth, the light falls off by a profile. The light travels along x; over
//! the height of the sheet, along y, it is even or falls off by a profile too. A super-Gaussian is
//! the usual description of sheets between a laser's Gaussian and a top-hat.

use crate::elementary::{exp, exp_all};
use crate::error::{SceneError, SceneField, failed, in_range, number};
use crate::flow::Vec3;

/// Fall of the light from the middle outward, on a width between the e⁻² points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Profile {
    /// exp(−8 z²/Δz₀²), Δz₀ being the full width between the e⁻² points.
    Gaussian,
    /// 1 inside the width, 0 outside.
    TopHat,
    /// exp(−2 |2z/Δz₀|ⁿ) of order n, 1 to 100: e⁻² at the same points and flatter in the middle the
    /// larger n is; order 2 is the Gaussian.
    SuperGaussian(f64),
}

/// Particles in less light than this fraction of the middle's are left out: where a particle in the
/// middle gives 10⁵ photo-electrons, one there gives less than one.
const FAINTEST: f64 = 1e-5;

impl Profile {
    /// Light over that in the middle, at `u` widths from it.
    ///
    /// ```
    /// use motefield_generator::Profile;
    ///
    /// // Half a width from the middle the Gaussian has fallen to e⁻².
    /// assert!((Profile::Gaussian.at(0.5) - (-2.0_f64).exp()).abs() < 1e-15);
    /// assert_eq!(Profile::TopHat.at(0.4), 1.0);
    /// ```
    pub fn at(self, u: f64) -> f64 {
        match self {
            Profile::Gaussian => exp(-8.0 * u * u),
            Profile::TopHat => f64::from(u.abs() <= 0.5),
            Profile::SuperGaussian(order) => libm::exp(-2.0 * libm::pow(2.0 * u.abs(), order)),
        }
    }

    /// [`at`](Profile::at) each of some distances, in place.
    fn at_all(self, distances: &mut [f64]) {
        match self {
            Profile::Gaussian => {
                distances.iter_mut().for_each(|u| *u = -8.0 * *u * *u);
                exp_all(distances);
            }
            _ => distances.iter_mut().for_each(|u| *u = self.at(*u)),
        }
    }

    /// Distance from the middle, in widths, beyond which particles are left out.
    fn reach(self) -> f64 {
        let faint = -libm::log(FAINTEST);
        match self {
            Profile::Gaussian => libm::sqrt(faint / 8.0),
            Profile::TopHat => 0.5,
            Profile::SuperGaussian(order) => 0.5 * libm::pow(0.5 * faint, 1.0 / order),
        }
    }

    /// Width of the top-hat with the same light in its middle and in total, over the width of the
    /// profile: √(π/8) for the Gaussian, Γ(1 + 1/n)/2^(1/n) for the super-Gaussian (the integral of
    /// the profile).
    pub fn effective_fraction(self) -> f64 {
        match self {
            Profile::Gaussian => libm::sqrt(std::f64::consts::PI / 8.0),
            Profile::TopHat => 1.0,
            Profile::SuperGaussian(order) => libm::tgamma(1.0 + 1.0 / order) / libm::pow(2.0, 1.0 / order),
        }
    }
}

/// A light sheet about the plane z = 0, or a plane tilted about the middle of the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sheet {
    /// Fall of the light across the sheet.
    pub profile: Profile,
    /// Full thickness Δz₀ between the e⁻² points, px; above 0.
    pub thickness_px: f64,
    /// Slope of the middle plane along x and along y, px of depth per px; −1 to 1 each.
    pub slope: [f64; 2],
    /// Profile of the light over the height, along y about the middle of the picture, and the full
    /// height, px; `None` for even light.
    pub height: Option<(Profile, f64)>,
}

impl Default for Sheet {
    /// A Gaussian sheet 10 px thick, not tilted, of even light over its height.
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
    /// Depth of the middle plane at the point (x, y), px; `middle` is the middle of the picture,
    /// px.
    pub(crate) fn plane_px(&self, x_px: f64, y_px: f64, middle: [f64; 2]) -> f64 {
        self.slope[0] * (x_px - middle[0]) + self.slope[1] * (y_px - middle[1])
    }

    /// Distance of a point from the middle plane, px; positive toward the camera. `middle` is the
    /// middle of the picture, px, about which the sheet is tilted.
    pub fn distance_px(&self, at: Vec3, middle: [f64; 2]) -> f64 {
        if self.slope == [0.0; 2] {
            return at[2];
        }
        let [sx, sy] = self.slope;
        (at[2] - self.plane_px(at[0], at[1], middle)) / libm::sqrt(1.0 + sx * sx + sy * sy)
    }

    /// Light over that in the middle, at `distance_px` from the middle plane of a sheet whose
    /// thickness is `thickness_ratio` times this one's.
    pub fn across(&self, distance_px: f64, thickness_ratio: f64) -> f64 {
        self.profile
            .at(distance_px / (self.thickness_px * thickness_ratio))
    }

    /// [`across`](Sheet::across) at each of some distances, in place.
    pub(crate) fn across_all(&self, distances_px: &mut [f64], thickness_ratio: f64) {
        let thickness = self.thickness_px * thickness_ratio;
        distances_px
            .iter_mut()
            .for_each(|distance| *distance /= thickness);
        self.profile.at_all(distances_px);
    }

    /// Light over that in the middle, at the height y.
    pub(crate) fn along(&self, y_px: f64, middle: [f64; 2]) -> f64 {
        self.height
            .map_or(1.0, |(profile, height)| profile.at((y_px - middle[1]) / height))
    }

    /// [`along`](Sheet::along) at each of some heights, in place.
    pub(crate) fn along_all(&self, heights_px: &mut [f64], middle: [f64; 2]) {
        let Some((profile, height)) = self.height else {
            return heights_px.fill(1.0);
        };
        heights_px.iter_mut().for_each(|y| *y = (*y - middle[1]) / height);
        profile.at_all(heights_px);
    }

    /// Distance from the middle plane beyond which no particle is rendered, px: the light there is
    /// below 1e-5 of that in the middle.
    pub fn reach_px(&self) -> f64 {
        self.thickness_px * self.profile.reach()
    }

    pub(crate) fn faults(&self) -> Vec<SceneError> {
        let height = self.height.unwrap_or((self.profile, 1.0));
        let good_order = |profile: Profile| {
            let order = match profile {
                Profile::SuperGaussian(order) => order,
                _ => 2.0,
            };
            in_range(SceneField::SheetOrder, order, "", 1.0..=100.0, "1 to 100")
        };
        let tilt = |field: SceneField, slope: f64| {
            let angle = libm::atan(slope).to_degrees();
            number(field, angle, "deg", slope.abs() <= 1.0, "-45 to 45 deg")
        };
        failed([
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
