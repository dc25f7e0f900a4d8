//! The light sheet: how brightly a particle is lit by where it stands in depth.

/// Fall of the light across the sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Profile {
    /// exp(−8 z²/Δz₀²): Δz₀ is the full thickness between the e⁻² points.
    Gaussian,
    /// 1 inside the thickness, 0 outside.
    TopHat,
}

/// A light sheet about the plane z = 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sheet {
    /// Fall of the light across the sheet.
    pub profile: Profile,
    /// Full thickness Δz₀ (Gaussian: between the e⁻² points), px.
    pub thickness_px: f64,
}

/// Light below this fraction of the centre's is left out: a particle there carries less than a photo-electron
/// when one at the centre carries 10⁵.
const FAINTEST: f64 = 1e-5;

impl Sheet {
    /// Light at depth `z_px` over that at the centre.
    pub fn brightness(&self, z_px: f64) -> f64 {
        let u = z_px / self.thickness_px;
        match self.profile {
            Profile::Gaussian => libm::exp(-8.0 * u * u),
            Profile::TopHat => f64::from(u.abs() <= 0.5),
        }
    }

    /// Depth on either side beyond which no particle is rendered, px.
    pub fn reach_px(&self) -> f64 {
        self.thickness_px
            * match self.profile {
                Profile::Gaussian => libm::sqrt(-libm::log(FAINTEST) / 8.0),
                Profile::TopHat => 0.5,
            }
    }

    /// Thickness of the top-hat sheet that has the same light at its centre and in all, over Δz₀: √(π/8) or 1.
    pub fn effective_fraction(profile: Profile) -> f64 {
        match profile {
            Profile::Gaussian => libm::sqrt(std::f64::consts::PI / 8.0),
            Profile::TopHat => 1.0,
        }
    }
}
