//! The fluid and how a tracer follows it: water and air at a temperature, response time, settling,
//! Stokes number.

use crate::optics::{OutOfRange, within};

/// Standard acceleration of gravity, m/s² (exact by convention, CGPM 1901).
pub const GRAVITY_M_S2: f64 = 9.806_65;
/// Boltzmann's constant, J/K (exact by definition of the kelvin, SI 2019).
pub const BOLTZMANN_J_K: f64 = 1.380_649e-23;
/// Standard atmosphere, Pa (exact by convention).
const ATMOSPHERE_PA: f64 = 101_325.0;
/// Celsius' zero, K.
const ZERO_CELSIUS_K: f64 = 273.15;

/// A fluid whose properties are known by published correlations.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fluid {
    /// Liquid water at 0.1 MPa, 0 to 100 °C.
    Water,
    /// Dry air at 101325 Pa, −50 to 100 °C.
    Air,
}

/// Why the properties of a fluid are not known.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FluidError {
    /// No correlation holds at its temperature.
    #[error(transparent)]
    Temperature(OutOfRange),
    /// Its index is not known at the wavelength.
    #[error(transparent)]
    Wavelength(OutOfRange),
}

/// What the flow and the light meet. Build one directly for a fluid of your own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Medium {
    /// Density ρ, kg/m³.
    pub density_kg_m3: f64,
    /// Dynamic viscosity µ, Pa s.
    pub viscosity_pa_s: f64,
    /// Refractive index against vacuum at the wavelength in use.
    pub refractive_index: f64,
}

impl Medium {
    /// Kinematic viscosity ν = µ/ρ, m²/s.
    pub fn kinematic_viscosity_m2_s(&self) -> f64 {
        self.viscosity_pa_s / self.density_kg_m3
    }
}

impl Fluid {
    /// The fluid at `temperature_k`, seen with light of the vacuum wavelength `wavelength_m`.
    ///
    /// Sources and their stated uncertainty: water density and viscosity, IAPWS SR6-08 (1e-6 and 1
    /// %); water index, IAPWS R9-97 (6e-5 or better in visible light); air density, ideal gas (0.2
    /// %); air viscosity, Sutherland's law with the constants of the US Standard Atmosphere 1976 (1
    /// %); air index, Peck and Reeder, J. Opt. Soc. Am. 62 (1972) 958, scaled with density (1e-6).
    /// Coefficients of the air formulas from memory, all held by tests.
    ///
    /// # Errors
    /// When the temperature or the wavelength (0.2 to 1.1 µm) is outside the range of the
    /// correlations.
    ///
    /// ```
    /// use motefield_rig::medium::Fluid;
    ///
    /// let water = Fluid::Water.at(293.15, 589.3e-9)?;
    /// assert!((water.kinematic_viscosity_m2_s() - 1.0034e-6).abs() < 1e-9);
    /// assert!((water.refractive_index - 1.333).abs() < 1e-3);
    /// # Ok::<(), motefield_rig::medium::FluidError>(())
    /// ```
    pub fn at(self, temperature_k: f64, wavelength_m: f64) -> Result<Medium, FluidError> {
        let celsius = temperature_k - ZERO_CELSIUS_K;
        let (good, must) = match self {
            Fluid::Water => ((0.0..=100.0).contains(&celsius), "0 to 100 degC for liquid water"),
            Fluid::Air => ((-50.0..=100.0).contains(&celsius), "-50 to 100 degC for air"),
        };
        within("temperature", celsius, "degC", good, must).map_err(FluidError::Temperature)?;
        let micrometres = wavelength_m * 1e6;
        let good = (0.2..=1.1).contains(&micrometres);
        within("wavelength", micrometres, "um", good, "0.2 to 1.1 um").map_err(FluidError::Wavelength)?;
        Ok(match self {
            Fluid::Water => {
                let density = water_density_kg_m3(temperature_k);
                Medium {
                    density_kg_m3: density,
                    viscosity_pa_s: water_viscosity_pa_s(temperature_k),
                    refractive_index: water_index(temperature_k, density, micrometres),
                }
            }
            Fluid::Air => Medium {
                density_kg_m3: ATMOSPHERE_PA / (287.052_87 * temperature_k),
                viscosity_pa_s: 1.458e-6 * temperature_k * libm::sqrt(temperature_k)
                    / (temperature_k + 110.4),
                refractive_index: air_index(temperature_k, micrometres),
            },
        })
    }
}

/// IAPWS SR6-08 (revised 2011), equation for the specific volume at 0.1 MPa.
fn water_density_kg_m3(temperature_k: f64) -> f64 {
    const R_J_KG_K: f64 = 461.518_05;
    const T_R_K: f64 = 10.0;
    const WARM: [(f64, i32); 5] = [
        (6.744_584_46e3, 4),
        (-2.225_216_04e5, 5),
        (1.002_312_47e8, 7),
        (-1.635_521_18e9, 8),
        (8.322_996_58e9, 9),
    ];
    const COLD: [f64; 6] = [
        5.785_452_92e-3,
        -1.531_956_65e-2,
        3.113_378_59e-2,
        -4.235_462_41e-2,
        3.387_135_07e-2,
        -1.199_467_61e-2,
    ];
    let alpha = T_R_K / (593.0 - temperature_k);
    let beta = T_R_K / (temperature_k - 232.0);
    let warm: f64 = WARM.iter().map(|&(a, n)| a * alpha.powi(n)).sum();
    let cold: f64 = COLD.iter().zip(1..).map(|(b, m)| b * beta.powi(m)).sum();
    1e5 / (R_J_KG_K * T_R_K * (1.937_631_57e-2 + warm + cold))
}

/// IAPWS SR6-08, equation for the dynamic viscosity at 0.1 MPa.
fn water_viscosity_pa_s(temperature_k: f64) -> f64 {
    let t = temperature_k / 300.0;
    1e-6 * (280.68 * libm::pow(t, -1.9)
        + 511.45 * libm::pow(t, -7.7)
        + 61.131 * libm::pow(t, -19.6)
        + 0.459_03 * libm::pow(t, -40.0))
}

/// IAPWS R9-97: the molar refraction as a function of temperature, density and wavelength.
fn water_index(temperature_k: f64, density_kg_m3: f64, wavelength_um: f64) -> f64 {
    let t = temperature_k / ZERO_CELSIUS_K;
    let rho = density_kg_m3 / 1000.0;
    let l = wavelength_um / 0.589;
    let l2 = l * l;
    let refraction = rho
        * (0.244_257_733 + 9.746_344_76e-3 * rho - 3.732_349_96e-3 * t
            + 2.686_784_72e-4 * l2 * t
            + 1.589_205_70e-3 / l2
            + 2.459_342_59e-3 / (l2 - 0.229_202_0 * 0.229_202_0)
            + 0.900_704_920 / (l2 - 5.432_937 * 5.432_937)
            - 1.666_262_19e-2 * rho * rho);
    libm::sqrt((1.0 + 2.0 * refraction) / (1.0 - refraction))
}

/// Peck and Reeder 1972 for dry air at 15 °C and 101325 Pa; n − 1 is proportional to density, so to
/// 1/T.
fn air_index(temperature_k: f64, wavelength_um: f64) -> f64 {
    let s2 = 1.0 / (wavelength_um * wavelength_um);
    let at_15 = 8060.51 + 2_480_990.0 / (132.274 - s2) + 17_455.7 / (39.329_57 - s2);
    1.0 + 1e-8 * at_15 * (ZERO_CELSIUS_K + 15.0) / temperature_k
}

/// Tracer particles as the fluid feels them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tracer {
    /// Diameter d, m.
    pub diameter_m: f64,
    /// Density ρ_p, kg/m³.
    pub density_kg_m3: f64,
}

impl Tracer {
    /// Response time τ = ρ_p d²/(18 µ), s: Stokes drag on a small sphere much denser than the fluid
    /// (Tropea, Yarin and Foss, *Springer Handbook of Experimental Fluid Mechanics*, 2007; memory).
    /// Where the fluid's own inertia counts ([`added_mass_counts`](Tracer::added_mass_counts)) it
    /// is an order of magnitude only.
    pub fn response_time_s(&self, medium: &Medium) -> f64 {
        self.density_kg_m3 * self.diameter_m * self.diameter_m / (18.0 * medium.viscosity_pa_s)
    }

    /// Whether the tracer is less than ten times as dense as the fluid, so that added mass and the
    /// fluid's pressure gradient weigh as much as its own inertia and the response time is an order
    /// of magnitude only (any tracer in water).
    pub fn added_mass_counts(&self, medium: &Medium) -> bool {
        self.density_kg_m3 < 10.0 * medium.density_kg_m3
    }

    /// Velocity in still fluid under gravity, m/s, positive downward: d²(ρ_p − ρ) g/(18 µ) (Stokes;
    /// particle Reynolds number far below 1). Holds at any density ratio.
    pub fn settling_velocity_m_s(&self, medium: &Medium) -> f64 {
        let excess = self.density_kg_m3 - medium.density_kg_m3;
        self.diameter_m * self.diameter_m * excess * GRAVITY_M_S2 / (18.0 * medium.viscosity_pa_s)
    }

    /// Stokes number: response time over the flow's time `flow_time_s` (for a sinusoid of angular
    /// frequency ω, 1/ω).
    pub fn stokes_number(&self, medium: &Medium, flow_time_s: f64) -> f64 {
        self.response_time_s(medium) / flow_time_s
    }
}

/// Diffusion coefficient D = k_B T/(3π µ d), m²/s, of a sphere of the diameter `diameter_m` in a
/// fluid of the viscosity µ at rest (Einstein, Ann. Phys. 17 (1905) 549; Stokes drag without slip,
/// so in gases only for spheres far larger than the mean free path).
pub fn diffusion_m2_s(diameter_m: f64, viscosity_pa_s: f64, temperature_k: f64) -> f64 {
    BOLTZMANN_J_K * temperature_k / (3.0 * std::f64::consts::PI * viscosity_pa_s * diameter_m)
}

/// Share of a sinusoidal velocity's amplitude that a tracer of this Stokes number (ω τ) follows:
/// 1/√(1 + St²).
pub fn amplitude_response(stokes_number: f64) -> f64 {
    1.0 / libm::sqrt(1.0 + stokes_number * stokes_number)
}
