//! The image of a point of light, and the light that a lens collects.

use motefield_rig::optics::{Lens, photon_energy_j};

use super::{Figures, Measure, Request, exactly};
use motefield_rig::quantity::Dimension;

/// Diffraction, depth of field, cone of light.
pub const LENS: Measure = Measure {
    name: "lens",
    about: "diffraction image, depth of field and cone of light of a lens; energy of a photon",
    arguments: &["aperture", "magnification", "wavelength", "medium_index"],
    figures: &[
        "first_zero_diameter_m",
        "diffraction_diameter_m",
        "diameter_ratio",
        "depth_of_field_m",
        "solid_angle_sr",
        "photon_energy_j",
    ],
    pictures: false,
    statistical: false,
    run,
};

fn run(request: &Request) -> Result<Figures, String> {
    let a = &request.arguments;
    let wavelength = a.quantity("wavelength", Dimension::Length)?;
    let lens = Lens::new(
        a.quantity("aperture", Dimension::Aperture)?,
        a.number("magnification")?,
        a.number("medium_index")?,
    )
    .map_err(|e| e.to_string())?;
    let [zero, gaussian] = [
        lens.first_zero_diameter_m(wavelength),
        lens.diffraction_diameter_m(wavelength),
    ];
    Ok(exactly([
        ("first_zero_diameter_m", zero),
        ("diffraction_diameter_m", gaussian),
        ("diameter_ratio", gaussian / zero),
        ("depth_of_field_m", lens.depth_of_field_m(wavelength)),
        ("solid_angle_sr", lens.solid_angle_sr()),
        ("photon_energy_j", photon_energy_j(wavelength)),
    ]))
}
