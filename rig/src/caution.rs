//! The usual caution about light sources that can harm.
//!
//! The program computes no exposure limit and gives no approval; it only says where the
//! responsibility lies.

use crate::medium::Fluid;

use crate::keys::choices::{HazardClass, Source};
use crate::quantity::{self, Dimension};
use crate::setup::{LightSetup, Setup};

/// Classes of IEC 60825-1 by power of visible continuous light: above 5 mW 3B, above 0.5 W 4. Rough
/// where a pulse is concerned, and meant only to decide whether to show a caution when the setup
/// does not state the class.
fn assumed_class(light: &LightSetup) -> HazardClass {
    let power_w = match (light.greatest_power_w(), light.pulse_energy_j) {
        (Some(power), _) => power,
        // A fixed pulse energy means a pulsed laser; those that light a sheet are class 4 without
        // exception known to us.
        (None, Some(_)) => f64::INFINITY,
        // A laser of unknown power that lights a sheet may well be one.
        (None, None) if light.source == Some(Source::Laser) => f64::INFINITY,
        (None, None) => 0.0,
    };
    match power_w {
        p if p > 0.5 => HazardClass::Four,
        p if p > 0.005 => HazardClass::ThreeB,
        _ => HazardClass::Two,
    }
}

/// Who decides.
const DECIDE: &str = "The local laser-safety officer, the law and the source's own manual decide; this program gives no safety approval and computes no exposure limit.";

/// The caution for this source, or `None` for one that is harmless to the eye (class 1 or 2).
pub fn text(light: &LightSetup) -> Option<String> {
    match light.source {
        Some(Source::Led) => return lamp(light, "LED source"),
        Some(Source::Lamp) => return lamp(light, "lamp"),
        Some(Source::Laser) | None => {}
    }
    let stated = light.hazard_class;
    let class = stated.unwrap_or_else(|| assumed_class(light));
    if class < HazardClass::ThreeR {
        return None;
    }
    let name = match class {
        HazardClass::Four => {
            "4 (above 0.5 W visible: beam and sheet are hazardous to eye and skin, also by diffuse reflection, and may set things on fire)"
        }
        HazardClass::ThreeB => "3B (hazardous to the eye)",
        _ => "3R (a risk to the eye)",
    };
    let by = if stated.is_some() {
        "stated in the setup"
    } else {
        "assumed from what the setup says; the maker's label decides"
    };
    let rated = match light.wavelength_m {
        Some(_) if light.lines.len() > 1 => "rated for all its wavelengths".to_owned(),
        Some(wavelength) => format!("rated for {}", quantity::format(wavelength, Dimension::Length)),
        None => "rated for the wavelength".to_owned(),
    };
    Some(format!(
        "Caution: laser of class {name}, {by} (IEC 60825-1). Enclose beam and sheet, interlock the access, wear eyewear {rated}, keep reflecting things out of the beam. {DECIDE}"
    ))
}

/// LEDs and lamps are no lasers: their risk groups are those of IEC 62471.
fn lamp(light: &LightSetup, what: &str) -> Option<String> {
    light.greatest_power_w().or(light.pulse_energy_j)?;
    Some(format!(
        "Caution: {what}. Its photobiological safety is a matter of IEC 62471 (risk groups; blue light harms the retina): look up the maker's risk group, do not look into the source or its optics, shield it from view. {DECIDE}"
    ))
}

/// The caution for a whole rig: that for its source, and for particles in the air.
pub fn of_setup(setup: &Setup) -> Option<String> {
    let source = text(&setup.light)?;
    let airborne = matches!(setup.fluid, Some((Fluid::Air, _)));
    let breathing = " Keep the tracer out of the breathing air: seed a closed or exhausted flow, and heed the tracer's safety data sheet.";
    Some(format!("{source}{}", if airborne { breathing } else { "" }))
}
