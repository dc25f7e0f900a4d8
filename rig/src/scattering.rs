//! How much light a tracer particle scatters, and how much of it a lens collects: Mie theory for a
//! homogeneous sphere.
//!
//! Bohren and Huffman, *Absorption and Scattering of Light by Small Particles* (1983), chapter 4,
//! whose conventions hold here: time factor exp(−iωt), so an absorbing index has a positive
//! imaginary part; S₁ is for light polarised perpendicular to the scattering plane, S₂ parallel to
//! it; dC/dΩ = |S|²/k².

use std::f64::consts::PI;

use multiversion::multiversion;
use num_complex::Complex64;
use rayon::prelude::*;

use crate::optics::{OutOfRange, within};

/// Largest size parameter for which the module is held against references.
pub const MAX_SIZE_PARAMETER: f64 = 1e4;

/// The scattering coefficients of one sphere.
///
/// ```
/// use motefield_rig::scattering::Mie;
/// use num_complex::Complex64;
///
/// // Far below the wavelength it scatters as Rayleigh's sphere, 8/3 x⁴ |(m² − 1)/(m² + 2)|².
/// let (x, m) = (0.01_f64, 1.5_f64);
/// let sphere = Mie::new(x, Complex64::new(m, 0.0))?;
/// let rayleigh = 8.0 / 3.0 * x.powi(4) * ((m * m - 1.0) / (m * m + 2.0)).powi(2);
/// assert!((sphere.scattering_efficiency() / rayleigh - 1.0).abs() < 1e-3);
/// # Ok::<(), motefield_rig::optics::OutOfRange>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Mie {
    size_parameter: f64,
    /// (a_n, b_n) for n = 1, 2, …
    coefficients: Vec<[Complex64; 2]>,
}

impl Mie {
    /// A sphere of size parameter x = π d n_medium/λ (λ in vacuum) and refractive index
    /// `relative_index` over the medium's.
    ///
    /// # Errors
    /// When x is not 1e-6 to 1e4, or the index's real part not 0.1 to 10, or its imaginary part not
    /// 0 to 10.
    pub fn new(size_parameter: f64, relative_index: Complex64) -> Result<Mie, OutOfRange> {
        let (x, m) = (size_parameter, relative_index);
        let good = (1e-6..=MAX_SIZE_PARAMETER).contains(&x);
        within("size parameter", x, "", good, "1e-6 to 1e4")?;
        let good = (0.1..=10.0).contains(&m.re);
        within("relative refractive index", m.re, "", good, "0.1 to 10")?;
        let good = (0.0..=10.0).contains(&m.im);
        within(
            "relative absorption index",
            m.im,
            "",
            good,
            "0 to 10 (positive absorbs)",
        )?;

        // Terms beyond Wiscombe's x + 4.05 x^⅓ + 2 (Applied Optics 19 (1980) 1505; memory) are
        // below 1e-14; a few more cost nothing.
        let terms = (x + 4.05 * libm::cbrt(x)) as usize + 10;
        let inner = logarithmic_derivatives(m * x, terms);
        let psi = riccati_psi(x, terms);
        // χ grows with the order, so its upward recurrence is stable. χ₋₁ = −sin x, χ₀ = cos x; ξ =
        // ψ − iχ.
        let (mut chi_before, mut chi) = (-libm::sin(x), libm::cos(x));
        let coefficients = (1..=terms)
            .map(|n| {
                let order = n as f64;
                (chi_before, chi) = (chi, (2.0 * order - 1.0) / x * chi - chi_before);
                let xi_before = Complex64::new(psi[n - 1], -chi_before);
                let xi = Complex64::new(psi[n], -chi);
                let electric = inner[n] / m + order / x;
                let magnetic = inner[n] * m + order / x;
                [
                    (electric * psi[n] - psi[n - 1]) / (electric * xi - xi_before),
                    (magnetic * psi[n] - psi[n - 1]) / (magnetic * xi - xi_before),
                ]
            })
            .collect();
        Ok(Mie {
            size_parameter: x,
            coefficients,
        })
    }

    /// Extinction efficiency Q_ext: extinction cross-section over the sphere's section π d²/4.
    pub fn extinction_efficiency(&self) -> f64 {
        let sum: f64 = self
            .numbered()
            .map(|(n, [a, b])| (2.0 * n + 1.0) * (a.re + b.re))
            .sum();
        2.0 / (self.size_parameter * self.size_parameter) * sum
    }

    /// Scattering efficiency Q_sca: scattering cross-section over the sphere's section.
    pub fn scattering_efficiency(&self) -> f64 {
        let sum: f64 = self
            .numbered()
            .map(|(n, [a, b])| (2.0 * n + 1.0) * (a.norm_sqr() + b.norm_sqr()))
            .sum();
        2.0 / (self.size_parameter * self.size_parameter) * sum
    }

    /// Asymmetry g: the mean cosine of the scattering angle.
    pub fn asymmetry(&self) -> f64 {
        let neighbours: f64 = self
            .numbered()
            .zip(self.coefficients.iter().skip(1))
            .map(|((n, [a, b]), [a1, b1])| n * (n + 2.0) / (n + 1.0) * (a * a1.conj() + b * b1.conj()).re)
            .sum();
        let cross: f64 = self
            .numbered()
            .map(|(n, [a, b])| (2.0 * n + 1.0) / (n * (n + 1.0)) * (a * b.conj()).re)
            .sum();
        4.0 / (self.size_parameter * self.size_parameter) * (neighbours + cross)
            / self.scattering_efficiency()
    }

    /// Amplitudes S₁ (perpendicular) and S₂ (parallel) at a scattering angle, rad (0 is straight
    /// on).
    pub fn amplitudes(&self, angle_rad: f64) -> [Complex64; 2] {
        let amplitudes = amplitudes(&self.coefficients, &[libm::cos(angle_rad)]);
        amplitudes.map(|[re, im]| Complex64::new(re[0], im[0]))
    }

    fn numbered(&self) -> impl Iterator<Item = (f64, [Complex64; 2])> {
        self.coefficients
            .iter()
            .enumerate()
            .map(|(k, &ab)| (k as f64 + 1.0, ab))
    }
}

/// Real and imaginary parts of S₁ and S₂ at scattering angles of these cosines, side by side.
#[inline(always)]
fn amplitudes<const N: usize>(coefficients: &[[Complex64; 2]], cosines: &[f64; N]) -> [[[f64; N]; 2]; 2] {
    let (mut pi_before, mut pi) = ([0.0; N], [1.0; N]);
    let [mut s1, mut s2] = [[[0.0; N]; 2]; 2];
    let mut inverse = 1.0;
    for (k, [a, b]) in coefficients.iter().enumerate() {
        let n = k as f64 + 1.0;
        // (2n + 1)/(n (n + 1)) = 1/n + 1/(n + 1), and 1/n serves the recurrence too: one division a
        // term, off its path.
        let next = 1.0 / (n + 1.0);
        let weight = inverse + next;
        for lane in 0..N {
            let (cosine, before, here) = (cosines[lane], pi_before[lane], pi[lane]);
            let tau = n * cosine * here - (n + 1.0) * before;
            s1[0][lane] += (a.re * here + b.re * tau) * weight;
            s1[1][lane] += (a.im * here + b.im * tau) * weight;
            s2[0][lane] += (a.re * tau + b.re * here) * weight;
            s2[1][lane] += (a.im * tau + b.im * here) * weight;
            pi[lane] = (2.0 + inverse) * cosine * here - (1.0 + inverse) * before;
            pi_before[lane] = here;
        }
        inverse = next;
    }
    [s1, s2]
}

/// The sum over directions, each the cosine of a scattering angle and the weights of |S₁|² and
/// |S₂|².
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
fn scattered(sphere: &Mie, directions: &[(f64, [f64; 2])]) -> f64 {
    const LANES: usize = 8;
    let square = |[re, im]: [f64; 2]| re * re + im * im;
    let mut sum = 0.0;
    let (all, rest) = directions.as_chunks::<LANES>();
    for directions in all {
        let mut cosines = [0.0; LANES];
        for lane in 0..LANES {
            cosines[lane] = directions[lane].0;
        }
        let [s1, s2] = amplitudes(&sphere.coefficients, &cosines);
        for lane in 0..LANES {
            let (_, weights) = directions[lane];
            let squares = [s1, s2].map(|[re, im]| square([re[lane], im[lane]]));
            sum += weights[0] * squares[0] + weights[1] * squares[1];
        }
    }
    for &(cosine, weights) in rest {
        let squares = amplitudes(&sphere.coefficients, &[cosine]).map(|[[re], [im]]| square([re, im]));
        sum += weights[0] * squares[0] + weights[1] * squares[1];
    }
    sum
}

/// ψ'_n(z)/ψ_n(z) for n = 0 to `terms`, by downward recurrence.
///
/// The start value is unknown (0 serves) and its error dies out only once the recurrence has passed
/// the turning point n = |z|, over a stretch that grows as |z|^⅓: a fixed margin is wrong at large
/// sizes. 10 |z|^⅓ + 60 leaves all digits.
fn logarithmic_derivatives(z: Complex64, terms: usize) -> Vec<Complex64> {
    let size = z.norm();
    let start = terms.max(size as usize) + (10.0 * libm::cbrt(size)) as usize + 60;
    let mut derivatives = vec![Complex64::ZERO; terms + 1];
    let mut d = Complex64::ZERO;
    for n in (1..=start).rev() {
        let ratio = n as f64 / z;
        d = ratio - 1.0 / (d + ratio);
        if let Some(kept) = derivatives.get_mut(n - 1) {
            *kept = d;
        }
    }
    derivatives
}

/// Riccati–Bessel functions ψ_n(x) = x j_n(x), n = 0 to `terms`, by downward recurrence (upward it
/// loses all digits beyond n = x), scaled to ψ₀ = sin x and ψ₋₁ = cos x together, since either may
/// vanish.
fn riccati_psi(x: f64, terms: usize) -> Vec<f64> {
    let start = terms + (10.0 * libm::cbrt(x)) as usize + 60;
    let mut psi = vec![0.0; terms + 1];
    let (mut above, mut here) = (0.0, f64::MIN_POSITIVE);
    for n in (0..=start).rev() {
        // `here` is ψ_n, `above` ψ_{n+1}, on a scale of their own.
        if let Some(kept) = psi.get_mut(n) {
            *kept = here;
        }
        if here.abs() > 1e100 {
            above *= 1e-200;
            here *= 1e-200;
            psi.iter_mut().skip(n).for_each(|p| *p *= 1e-200);
        }
        (above, here) = (here, (2.0 * n as f64 + 1.0) / x * here - above);
    }
    let (zeroth, before) = (above, here);
    let norm = libm::hypot(zeroth, before);
    let scale = (zeroth / norm * libm::sin(x) + before / norm * libm::cos(x)) / norm;
    psi.iter_mut().for_each(|p| *p *= scale);
    psi
}

/// How the diameters of the particles scatter about their mean, relative to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// Every diameter within ± this fraction is as likely; 0 for equal particles. At most 0.9.
    Flat(f64),
    /// Normal with this relative standard deviation, cut at three of them. At most 0.3.
    Normal(f64),
}

/// Direction of the light's electric field, relative to the plane through the light's direction and
/// the lens's axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Polarisation {
    /// Normal to that plane (S₁ on the lens's axis): in the plane of the sheet, for a lens that
    /// looks at it squarely.
    Perpendicular,
    /// In that plane (S₂ on the lens's axis).
    Parallel,
    /// Unpolarised, or unknown: the mean of the two.
    Unpolarised,
}

/// Particles that scatter light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatterer {
    /// Mean diameter, m.
    pub diameter_m: f64,
    /// Spread of the diameters.
    pub spread: Spread,
    /// Refractive index against vacuum; a positive imaginary part absorbs.
    pub index: Complex64,
}

/// The cone of light that a lens collects.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cone {
    /// Angle between the light's direction and the lens's axis, rad: π/2 for a lens that looks
    /// squarely at the sheet.
    pub scattering_angle_rad: f64,
    /// Half angle in the medium, rad
    /// ([`Lens::half_angle_rad`](crate::optics::Lens::half_angle_rad)).
    pub half_angle_rad: f64,
    /// The light's polarisation.
    pub polarisation: Polarisation,
}

/// Differential scattering cross-section dC/dΩ, m²/sr, of one particle: its mean over the cone's
/// solid angle and over the particles' diameters (by number). Light of fluence F (J/m²) sends F ·
/// dC/dΩ · Ω into the cone.
///
/// `wavelength_m` is the vacuum's; in the medium it is shorter by `medium_index`, and the
/// particle's index counts relative to it. Over the cone the plane of scattering turns, so that
/// each polarisation meets a little of the other amplitude. The diameters are sampled evenly,
/// densely enough for the ripples of |S|² over size to average out (0.5 %).
///
/// # Errors
/// When a number is out of its range: diameters beyond size parameter 1e-6 to 1e4, a spread too
/// wide, or a cone that contains the light's own direction or its opposite.
pub fn collected_cross_section_m2_sr(
    particle: &Scatterer,
    medium_index: f64,
    wavelength_m: f64,
    cone: &Cone,
) -> Result<f64, OutOfRange> {
    let good = wavelength_m > 0.0 && wavelength_m.is_finite();
    within("wavelength", wavelength_m, "m", good, "above 0 and finite")?;
    let good = (1.0..=3.0).contains(&medium_index);
    within("refractive index of the medium", medium_index, "", good, "1 to 3")?;
    let (half_width, is_normal) = match particle.spread {
        Spread::Flat(half) => {
            within(
                "spread of diameters",
                half,
                "",
                (0.0..=0.9).contains(&half),
                "0 to 0.9",
            )?;
            (half, false)
        }
        Spread::Normal(sd) => {
            within(
                "spread of diameters",
                sd,
                "",
                (0.0..=0.3).contains(&sd),
                "0 to 0.3",
            )?;
            (3.0 * sd, true)
        }
    };
    let wave_number = 2.0 * PI * medium_index / wavelength_m;
    let mean_size = 0.5 * wave_number * particle.diameter_m;
    let directions = directions(cone, mean_size * (1.0 + half_width))?;
    let samples = match half_width {
        0.0 => 1,
        _ => ((32.0 * half_width * mean_size) as usize).clamp(64, 1024),
    };
    let sample = |k: usize| {
        let place = (2.0 * k as f64 + 1.0) / samples as f64 - 1.0;
        let weight = if is_normal {
            libm::exp(-4.5 * place * place)
        } else {
            1.0
        };
        let size = mean_size * (1.0 + half_width * place);
        let sphere = Mie::new(size, particle.index / medium_index)?;
        Ok((weight * scattered(&sphere, &directions), weight))
    };
    let found: Vec<(f64, f64)> = (0..samples)
        .into_par_iter()
        .map(sample)
        .collect::<Result<_, OutOfRange>>()?;
    let (sum, weights) = (found.iter()).fold((0.0, 0.0), |(sum, weights), (s, w)| (sum + s, weights + w));
    Ok(sum / weights / (wave_number * wave_number))
}

/// Cosines of scattering angles in the cone with the weights of |S₁|² and |S₂|² in its mean, for
/// spheres up to `size_parameter`.
///
/// In polar coordinates about the light's direction, the cone of half angle α about the angle θ₀
/// holds at the angle θ the azimuths |φ| ≤ Φ, sin²(Φ/2) = sin((α + δ)/2) sin((α − δ)/2)/(sin θ sin
/// θ₀), δ = θ − θ₀. The scattering plane at φ is turned by φ, so a field normal to the middle plane
/// gives |S₁|² cos²φ + |S₂|² sin²φ: ∫dφ = Φ ± sin Φ cos Φ (derived). With θ = θ₀ + α sin t the
/// integrand is a smooth periodic function of t, for which the midpoint rule converges
/// exponentially once it resolves the lobes of |S|².
fn directions(cone: &Cone, size_parameter: f64) -> Result<Vec<(f64, [f64; 2])>, OutOfRange> {
    let (middle, half) = (cone.scattering_angle_rad, cone.half_angle_rad);
    let good = half > 0.0 && half < 0.5 * PI;
    within(
        "half angle of the lens's cone",
        half.to_degrees(),
        "deg",
        good,
        "above 0 and below 90 deg",
    )?;
    let good = middle - half > 0.0 && middle + half < PI;
    let must = "such that the lens's cone does not contain the light's own direction (0 deg) or its opposite (180 deg)";
    within("scattering angle", middle.to_degrees(), "deg", good, must)?;

    let turned = match cone.polarisation {
        Polarisation::Perpendicular => 1.0,
        Polarisation::Parallel => -1.0,
        Polarisation::Unpolarised => 0.0,
    };
    let count = (size_parameter.min(MAX_SIZE_PARAMETER) * half) as usize + 32;
    let solid_angle = 4.0 * PI * libm::pow(libm::sin(0.5 * half), 2.0);
    Ok((0..count)
        .map(|k| {
            let t = PI * ((k as f64 + 0.5) / count as f64 - 0.5);
            let offset = half * libm::sin(t);
            let angle = middle + offset;
            let square = libm::sin(0.5 * (half + offset)) * libm::sin(0.5 * (half - offset))
                / (libm::sin(angle) * libm::sin(middle));
            let azimuth = 2.0 * libm::asin(libm::sqrt(square.clamp(0.0, 1.0)));
            let weight = libm::sin(angle) * half * libm::cos(t) * PI / count as f64 / solid_angle;
            let mixing = turned * libm::sin(azimuth) * libm::cos(azimuth);
            let weights = [weight * (azimuth + mixing), weight * (azimuth - mixing)];
            (libm::cos(angle), weights)
        })
        .collect())
}
