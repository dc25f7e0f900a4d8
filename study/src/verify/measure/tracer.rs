//! How a tracer follows the fluid.

use motefield_rig::medium::{Medium, Tracer, amplitude_response};

use super::{Figures, Measure, Request, exactly};
use motefield_rig::quantity::Dimension;

/// Response time, settling, Stokes number, amplitude.
pub const TRACER: Measure = Measure {
    name: "tracer",
    about: "response time, settling velocity and amplitude response of a sphere in a fluid of given density and viscosity",
    arguments: &["diameter", "density", "fluid_density", "viscosity", "frequency"],
    figures: &[
        "response_time_s",
        "settling_m_s",
        "stokes_number",
        "amplitude",
        "frequency_at_stokes_0.1_hz",
    ],
    pictures: false,
    statistical: false,
    run,
};

fn run(request: &Request) -> Result<Figures, String> {
    let a = &request.arguments;
    let tracer = Tracer {
        diameter_m: a.quantity("diameter", Dimension::Length)?,
        density_kg_m3: a.quantity("density", Dimension::Density)?,
    };
    let medium = Medium {
        density_kg_m3: a.quantity("fluid_density", Dimension::Density)?,
        viscosity_pa_s: a.quantity("viscosity", Dimension::Viscosity)?,
        refractive_index: 1.0,
    };
    let frequency = a.quantity("frequency", Dimension::Frequency)?;
    let omega = std::f64::consts::TAU * frequency;
    let stokes = tracer.stokes_number(&medium, 1.0 / omega);
    Ok(exactly([
        ("response_time_s", tracer.response_time_s(&medium)),
        ("settling_m_s", tracer.settling_velocity_m_s(&medium)),
        ("stokes_number", stokes),
        ("amplitude", amplitude_response(stokes)),
        // The Stokes number grows with the frequency.
        ("frequency_at_stokes_0.1_hz", 0.1 * frequency / stokes),
    ]))
}
