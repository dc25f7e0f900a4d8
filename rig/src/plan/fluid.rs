//! `[fluid]` at its temperature and the light's wavelength.

use crate::keys;
use crate::medium::Medium;
use crate::setup::{Setup, SetupError};

/// The fluid, where the setup names one.
pub(super) fn medium(setup: &Setup) -> Result<Option<Medium>, SetupError> {
    let Some((fluid, temperature_k)) = setup.fluid else {
        return Ok(None);
    };
    let wavelength_m = setup.light.wavelength_m.unwrap_or(532e-9);
    fluid.at(temperature_k, wavelength_m).map(Some).map_err(|e| {
        setup.error(
            if e.what == "wavelength" {
                keys::light::WAVELENGTH
            } else {
                keys::fluid::TEMPERATURE
            },
            e,
        )
    })
}
