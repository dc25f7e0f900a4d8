//! The lens: how large a particle's image is, how deep the picture is sharp, how much light it
//! collects.
//!
//! One convention of diameter: the e⁻² diameter of a Gaussian, four standard deviations. The first
//! dark ring of the diffraction pattern is larger by 1/0.738 and has its own function.

use std::f64::consts::PI;

/// Planck's constant, J s (exact in the SI since 2019).
const PLANCK_J_S: f64 = 6.626_070_15e-34;
/// Speed of light in vacuum, m/s (exact).
const LIGHT_SPEED_M_S: f64 = 299_792_458.0;
/// First zero of the Bessel function J₁ (Abramowitz and Stegun, table 9.5).
const J1_FIRST_ZERO: f64 = 3.831_705_970_207_512;

/// A quantity of the lens, the particles or the fluid that is outside the range in which its
/// formula holds.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{what} is {value}, but must be {must}")]
pub struct OutOfRange {
    /// The quantity, in the trade's words.
    pub what: &'static str,
    /// The value it has, with its unit.
    pub value: String,
    /// What it must be.
    pub must: &'static str,
}

/// `Ok` when `good`; the error names the quantity. `value` is formatted with its `unit` (may be
/// empty).
pub(crate) fn within(
    what: &'static str,
    value: f64,
    unit: &str,
    good: bool,
    must: &'static str,
) -> Result<(), OutOfRange> {
    if good {
        return Ok(());
    }
    let value = format!("{value} {unit}").trim_end().to_owned();
    Err(OutOfRange { what, value, must })
}

/// Energy of one photon of the vacuum wavelength `wavelength_m`, J: hc/λ.
pub fn photon_energy_j(wavelength_m: f64) -> f64 {
    PLANCK_J_S * LIGHT_SPEED_M_S / wavelength_m
}

/// A lens that obeys the sine condition, in air, focused on a plane in the medium behind a flat
/// window normal to its axis.
///
/// The window changes neither the magnification (measure it, as experiments do, on a target in the
/// plane) nor the image side; refraction narrows the cone of light that reaches the lens and
/// deepens the sharp zone.
///
/// ```
/// use motefield_rig::optics::Lens;
///
/// let lens = Lens::new(4.0, 0.1, 1.333)?;
/// // Airy's first dark ring: 2.44 f# (M + 1) λ across.
/// let ring_m = lens.first_zero_diameter_m(532e-9);
/// assert!((ring_m - 2.44 * 4.0 * 1.1 * 532e-9).abs() < 2e-9);
/// # Ok::<(), motefield_rig::optics::OutOfRange>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lens {
    f_number: f64,
    magnification: f64,
    medium_index: f64,
}

impl Lens {
    /// A lens of aperture `f_number` that pictures a plane in a medium of refractive index
    /// `medium_index` (1 for air) with `magnification` (image over object).
    ///
    /// # Errors
    /// When the f-number is not 0.5 to 1000 (0.5 is the sine condition's bound), the magnification
    /// not above 0 and at most 100, or the index not 1 to 3, or the object-side aperture is more
    /// than a half space.
    pub fn new(f_number: f64, magnification: f64, medium_index: f64) -> Result<Lens, OutOfRange> {
        let good = (0.5..=1000.0).contains(&f_number);
        within("f-number", f_number, "", good, "0.5 to 1000")?;
        let good = magnification > 0.0 && magnification <= 100.0;
        within(
            "magnification",
            magnification,
            "",
            good,
            "above 0 and at most 100",
        )?;
        let good = (1.0..=3.0).contains(&medium_index);
        within("refractive index of the medium", medium_index, "", good, "1 to 3")?;
        let lens = Lens {
            f_number,
            magnification,
            medium_index,
        };
        let sine = lens.sine();
        within(
            "sine of the lens's half angle",
            sine,
            "",
            sine < 1.0,
            "below 1: use a larger f-number or a smaller magnification",
        )?;
        Ok(lens)
    }

    /// f-number for far objects.
    pub fn f_number(&self) -> f64 {
        self.f_number
    }

    /// Image over object.
    pub fn magnification(&self) -> f64 {
        self.magnification
    }

    /// Refractive index of the medium in front of the lens's window.
    pub fn medium_index(&self) -> f64 {
        self.medium_index
    }

    /// Diameter of the first dark ring of a point's image, m: 2.44 f# (M + 1) λ, with the factor (2
    /// j₁,₁/π) in full; λ is the vacuum wavelength, since the image is formed in air. (Airy; any
    /// optics text, for instance Born and Wolf.)
    pub fn first_zero_diameter_m(&self, wavelength_m: f64) -> f64 {
        2.0 * J1_FIRST_ZERO / PI * self.f_number * (self.magnification + 1.0) * wavelength_m
    }

    /// e⁻² diameter of the Gaussian that has the peak and the light of the diffraction pattern, m:
    /// 1.80 f# (M + 1) λ = 0.738 of the first dark ring's diameter.
    ///
    /// Derived: the pattern (2J₁(v)/v)², v = π r/(f#(M+1)λ), has peak 1 and integral 4π
    /// (f#(M+1)λ/π)²; a Gaussian of peak 1 has 2πσ²; so σ = (√2/π) f#(M+1)λ and d = 4σ. (The same
    /// as β² = 3.67 of Adrian and Yao 1985; memory.)
    pub fn diffraction_diameter_m(&self, wavelength_m: f64) -> f64 {
        4.0 * std::f64::consts::SQRT_2 / PI * self.f_number * (self.magnification + 1.0) * wavelength_m
    }

    /// Diameter of the geometric image of a particle, m: M d_p. A uniform disc of diameter D has
    /// the variance of a Gaussian of e⁻² diameter D (D²/16 per axis), so it goes into
    /// [`in_quadrature`] as it is.
    pub fn geometric_diameter_m(&self, particle_diameter_m: f64) -> f64 {
        self.magnification * particle_diameter_m
    }

    /// Diameter of the uniform disc into which a point `depth_m` off the plane in focus is spread,
    /// m: M² |z| / (n f# (M + 1)). Like the geometric image it goes into [`in_quadrature`] as it
    /// is. Derived: the cone toward the lens has the half angle M/(2 n f# (M + 1)) (small angles),
    /// so its section at z is M|z|/(n f#(M + 1)), which the image magnifies by M.
    pub fn defocus_diameter_m(&self, depth_m: f64) -> f64 {
        let m = self.magnification;
        m * m * libm::fabs(depth_m) / (self.medium_index * self.f_number * (m + 1.0))
    }

    /// Depth of field δz, m: 2 n f# d (M + 1)/M² with d the first dark ring's diameter (Raffel et
    /// al., *Particle Image Velocimetry*, section on particle imaging, for n = 1; memory). At its
    /// ends the defocus disc equals d. The n is derived: a flat window stretches depth by it.
    /// (Adrian and Westerweel's 4 (1 + 1/M)² f#² λ is 0.82 of this.)
    pub fn depth_of_field_m(&self, wavelength_m: f64) -> f64 {
        let m = self.magnification;
        2.0 * self.medium_index * self.f_number * self.first_zero_diameter_m(wavelength_m) * (m + 1.0)
            / (m * m)
    }

    /// Half angle of the cone of light in the medium that reaches the sensor, rad: sin α = M/(2 n
    /// f# (M + 1)).
    ///
    /// Derived: the image side has sin α' = 1/(2 f# (M + 1)) (the working f-number), and Abbe's
    /// sine condition gives n sin α = M sin α'. In air it is the angle of the usual π/(4 f#² (1 +
    /// 1/M)²) to second order.
    pub fn half_angle_rad(&self) -> f64 {
        libm::asin(self.sine())
    }

    /// Solid angle of the cone of light in the medium that reaches the sensor, sr: 2π(1 − cos α),
    /// the cone in full.
    ///
    /// The usual π/(4 f#² (1 + 1/M)²) is its paraxial limit in air, smaller by α²/4 (0.2 % at f/2.8
    /// and M = 1). In water the cone is narrower by refraction and the solid angle smaller by n² =
    /// 1.78, which that formula leaves out.
    pub fn solid_angle_sr(&self) -> f64 {
        // 1 − cos α = 2 sin²(α/2), without the cancellation at small angles.
        let half = libm::sin(0.5 * self.half_angle_rad());
        4.0 * PI * half * half
    }

    fn sine(&self) -> f64 {
        self.magnification / (2.0 * self.medium_index * self.f_number * (self.magnification + 1.0))
    }
}

/// Depth within which images count in a correlation, from one end to the other, in the unit of
/// depth: 2 d/δ √((1 − √ε)/√ε) for images of diameter `d` in focus and √(d² + (δ z)²) at the
/// distance z from there, `growth` being δ. At its ends an image weighs ε of one in focus (usual:
/// 0.01).
///
/// Derived: an image of fixed light has a correlation peak in proportion to 1/d², whose curvature,
/// which holds the peak in its place, falls by another 1/d²; so it weighs 1/d⁴, and (d²/d(z)²)² = ε
/// at the end. The same as of Olsen and Adrian, Exp. Fluids 29 (2000) S166 (memory), whose d is
/// √(M² d_p² + 5.95 (M + 1)² λ² f#²) and δ is M/f#.
pub fn depth_of_correlation(diameter: f64, growth: f64, share: f64) -> f64 {
    let root = libm::sqrt(share);
    2.0 * diameter / growth * libm::sqrt((1.0 - root) / root)
}

/// e⁻² diameter of an image that several causes blur, m: the root of the sum of squares (variances
/// of convolved images add; exact for the variance, and for the shape when all are Gaussian).
pub fn in_quadrature(diameters_m: &[f64]) -> f64 {
    libm::sqrt(diameters_m.iter().map(|d| d * d).sum())
}

/// Image over object when `pixels` of pitch `pixel_pitch_m` picture a field of `field_m`.
pub fn magnification(field_m: f64, pixels: f64, pixel_pitch_m: f64) -> f64 {
    pixels * pixel_pitch_m / field_m
}

/// Width of the field that `pixels` of pitch `pixel_pitch_m` picture with `magnification`, m.
pub fn field_m(magnification: f64, pixels: f64, pixel_pitch_m: f64) -> f64 {
    pixels * pixel_pitch_m / magnification
}
