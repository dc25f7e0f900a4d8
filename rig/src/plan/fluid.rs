//! `[fluid]` at its temperature and the light's wavelength.

use crate::keys;
use crate::medium::{FluidError, Medium};
use crate::setup::{Setup, SetupError};

/// Where no wavelength is stated, m.
const USUAL_WAVELENGTH_M: f64 = 532e-9;

/// The fluid, where the setup names one, at the mean wavelength of the light that the
/// lens collects.
pub(super) fn medium(setup: &Setup) -> Result<Option<Medium>, SetupError> {
    medium_at(setup, setup.seen_wavelength_m().unwrap_or(USUAL_WAVELENGTH_M))
}

/// The fluid as light of one wavelength sees it.
pub(super) fn medium_at(setup: &Setup, wavelength_m: f64) -> Result<Option<Medium>, SetupError> {
    let Some((fluid, temperature_k)) = setup.fluid else {
        return Ok(None);
    };
    fluid.at(temperature_k, wavelength_m).map(Some).map_err(|e| {
        setup.error(
            match &e {
                FluidError::Temperature(_) => keys::fluid::TEMPERATURE,
                FluidError::Wavelength(_) if setup.light.lines.len() > 1 => keys::light::SPECTRUM,
                FluidError::Wavelength(_) if setup.tracer.fluorescence.is_some() => keys::tracer::EMISSION,
                FluidError::Wavelength(_) => keys::light::WAVELENGTH,
            },
            e,
        )
    })
}
