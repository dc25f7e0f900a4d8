//! How a sphere scatters light.

use motefield_rig::scattering::{Cone, Mie, Polarisation, Scatterer, Spread, collected_cross_section_m2_sr};
use num_complex::Complex64;

use super::{Figures, Measure, Request, exactly};
use motefield_rig::quantity::Dimension;

/// Efficiencies and the pattern of scattering.
pub const SPHERE: Measure = Measure {
    name: "sphere",
    about: "Mie scattering by a sphere of size parameter pi d n/wavelength: efficiencies, asymmetry, and at a scattering angle S11 over its value straight on and the polarisation -S12/S11",
    arguments: &["size_parameter", "index", "absorption", "angle"],
    figures: &[
        "q_ext",
        "q_sca",
        "q_back",
        "asymmetry",
        "s11",
        "s11_over_forward",
        "polarisation",
    ],
    pictures: false,
    statistical: false,
    run: sphere,
};

fn sphere(request: &Request) -> Result<Figures, String> {
    let a = &request.arguments;
    let size = a.number("size_parameter")?;
    let index = Complex64::new(a.number("index")?, a.number("absorption")?);
    let mie = Mie::new(size, index).map_err(|e| e.to_string())?;
    // Elements of the scattering matrix for one angle, as Bohren and Huffman define them.
    let elements = |angle: f64| {
        let [s1, s2] = mie.amplitudes(angle).map(|s| s.norm_sqr());
        [0.5 * (s2 + s1), 0.5 * (s2 - s1)]
    };
    let [s11, s12] = elements(a.quantity("angle", Dimension::Angle)?);
    let [forward, _] = elements(0.0);
    let [back, _] = elements(std::f64::consts::PI);
    Ok(exactly([
        ("q_ext", mie.extinction_efficiency()),
        ("q_sca", mie.scattering_efficiency()),
        ("q_back", 4.0 * back / (size * size)),
        ("asymmetry", mie.asymmetry()),
        ("s11", s11),
        ("s11_over_forward", s11 / forward),
        ("polarisation", -s12 / s11),
    ]))
}

/// Light that a tracer scatters into a cone around 90 degrees.
pub const SCATTERED_LIGHT: Measure = Measure {
    name: "scattered light",
    about: "differential scattering cross-section of a tracer, averaged over a cone around 90 degrees and over diameters within a relative spread",
    arguments: &[
        "diameter",
        "index",
        "medium_index",
        "wavelength",
        "half_angle",
        "spread",
    ],
    figures: &["perpendicular_m2_sr", "parallel_m2_sr", "unpolarised_m2_sr"],
    pictures: false,
    statistical: false,
    run: scattered_light,
};

fn scattered_light(request: &Request) -> Result<Figures, String> {
    let a = &request.arguments;
    let particle = Scatterer {
        diameter_m: a.quantity("diameter", Dimension::Length)?,
        spread: Spread::Flat(a.number("spread")?),
        index: Complex64::new(a.number("index")?, 0.0),
    };
    let medium_index = a.number("medium_index")?;
    let wavelength = a.quantity("wavelength", Dimension::Length)?;
    let half_angle_rad = a.quantity("half_angle", Dimension::Angle)?;
    let section = |polarisation| {
        let cone = Cone {
            scattering_angle_rad: std::f64::consts::FRAC_PI_2,
            half_angle_rad,
            polarisation,
        };
        collected_cross_section_m2_sr(&particle, medium_index, wavelength, &cone).map_err(|e| e.to_string())
    };
    Ok(exactly([
        ("perpendicular_m2_sr", section(Polarisation::Perpendicular)?),
        ("parallel_m2_sr", section(Polarisation::Parallel)?),
        ("unpolarised_m2_sr", section(Polarisation::Unpolarised)?),
    ]))
}
