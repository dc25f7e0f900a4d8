//! The fluid's own properties.

use motefield_rig::medium::Fluid;
use motefield_rig::quantity::Dimension;

use super::{Figures, Measure, Request, exactly};

/// Density, viscosity, refractive index.
pub const FLUID: Measure = Measure {
    name: "fluid",
    about: "density, dynamic viscosity and refractive index of \"water\" or \"air\" at a temperature and a wavelength in vacuum",
    arguments: &["fluid", "temperature", "wavelength"],
    figures: &["density_kg_m3", "viscosity_pa_s", "refractive_index"],
    pictures: false,
    statistical: false,
    run,
};

fn run(request: &Request) -> Result<Figures, String> {
    let a = &request.arguments;
    let fluid = match a.word("fluid")? {
        "water" => Fluid::Water,
        "air" => Fluid::Air,
        other => return Err(format!("fluid = \"{other}\" is neither \"water\" nor \"air\"")),
    };
    let temperature_k = a.quantity("temperature", Dimension::Temperature)?;
    let medium = fluid
        .at(temperature_k, a.quantity("wavelength", Dimension::Length)?)
        .map_err(|e| e.to_string())?;
    Ok(exactly([
        ("density_kg_m3", medium.density_kg_m3),
        ("viscosity_pa_s", medium.viscosity_pa_s),
        ("refractive_index", medium.refractive_index),
    ]))
}
