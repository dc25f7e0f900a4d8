//! The usual caution about light sources that can harm.
//!
//! The program computes no exposure limit and gives no approval; it only says where the responsibility lies.

use crate::setup::{HazardClass, Light};

/// Classes of IEC 60825-1 by power of visible continuous light: above 5 mW 3B, above 0.5 W 4. Rough where a pulse is concerned, and
/// meant only to decide whether to show a caution when the setup does not state the class.
fn assumed_class(light: &Light) -> HazardClass {
    let power_w = match (light.power_w, light.pulse_energy_j) {
        (Some(power), _) => power,
        // A fixed pulse energy means a pulsed laser; those that light a sheet are class 4 without exception known to us.
        (None, Some(_)) => f64::INFINITY,
        (None, None) => 0.0,
    };
    match power_w {
        p if p > 0.5 => HazardClass::Four,
        p if p > 0.005 => HazardClass::ThreeB,
        _ => HazardClass::Two,
    }
}

/// The caution for this source, or `None` for one that is harmless to the eye (class 1 or 2).
pub fn text(light: &Light) -> Option<String> {
    let stated = light.hazard_class;
    let class = stated.unwrap_or_else(|| assumed_class(light));
    if class < HazardClass::ThreeR {
        return None;
    }
    let name = match class {
        HazardClass::Four => "4 (hazardous to eye and skin, also by diffuse reflection)",
        HazardClass::ThreeB => "3B (hazardous to the eye)",
        _ => "3R (a risk to the eye)",
    };
    let by = if stated.is_some() {
        "stated in the setup"
    } else {
        "assumed from the power; the maker's label decides"
    };
    let led = if light.laser == Some(false) {
        " For LEDs see IEC 62471 as well."
    } else {
        ""
    };
    Some(format!(
        "Caution: light source of hazard class {name}, {by} (IEC 60825-1).{led} Enclose beam and sheet, interlock the access, wear eyewear rated for the wavelength, keep \
         reflecting things out of the beam. The local laser-safety officer, the law and the source's own manual decide; this program gives no safety approval."
    ))
}
