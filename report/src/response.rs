//! The spatial response in words and as JSON.

use motefield_evaluator::score::Crossing;
use motefield_rig::quantity::short;
use motefield_study::response::Response;
use serde_json::{Value, json};

use crate::json::Interval;

/// One line per level.
pub fn words(response: &Response) -> String {
    let line = |(_, name, found): &(&str, &str, Crossing)| match found {
        Crossing::Below => format!("{name}: beyond the longest wave of this sweep\n"),
        Crossing::Beyond => format!("{name}: not reached in this sweep\n"),
        Crossing::At(e) => format!(
            "{name}: at a wavelength of {} px ({} to {}), window over wavelength {}\n",
            short(response.window_px / e.value),
            short(response.window_px / e.hi),
            short(response.window_px / e.lo),
            short(e.value),
        ),
    };
    "The amplitude of x, over the true one, falls by\n".to_owned()
        + &response
            .levels
            .iter()
            .map(|level| format!("  {}", line(level)))
            .collect::<String>()
}

/// For study.json: null where a level is not reached or lies beyond the longest wave.
pub fn json(response: &Response) -> Value {
    let mut all = json!({ "window_px": response.window_px });
    for (key, _, found) in &response.levels {
        all[*key] = match found {
            Crossing::At(e) => {
                json!({
                    "window_over_wavelength": Interval::from(*e),
                    "wavelength_px": response.window_px / e.value,
                })
            }
            Crossing::Below | Crossing::Beyond => Value::Null,
        };
    }
    all
}
