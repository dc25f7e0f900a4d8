//! Settings as the options that apply them, to be copied into a command.

use serde_json::{Value, json};

/// The options that give these keys these values, on one line.
pub fn set_options(settings: &[(String, String)]) -> String {
    let one = |(key, value): &(String, String)| match value.contains([' ', '[', ']']) {
        true => format!("--set {key}=\"{value}\""),
        false => format!("--set {key}={value}"),
    };
    settings.iter().map(one).collect::<Vec<_>>().join(" ")
}

/// Adds to each solution of what would be enough the options that apply it, as `set`.
pub fn add_to_solutions(enough: &mut Value) {
    let solutions = enough.get_mut("solutions").and_then(Value::as_array_mut);
    for solution in solutions.into_iter().flatten() {
        let Some(settings) = solution["settings"].as_array() else {
            continue;
        };
        let text = |setting: &Value, name: &str| setting[name].as_str().unwrap_or_default().to_owned();
        let settings: Vec<(String, String)> = settings
            .iter()
            .map(|setting| (text(setting, "key"), text(setting, "value")))
            .collect();
        solution["set"] = json!(set_options(&settings));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A shell would take a value with a space for two words, and brackets for a pattern.
    #[test]
    fn values_are_quoted_where_a_shell_would_change_them() {
        let settings = [
            ("light.power", "3 W"),
            ("lens.aperture", "4"),
            ("camera.size", "[64,48]"),
        ]
        .map(|(key, value)| (key.to_owned(), value.to_owned()));
        assert_eq!(
            set_options(&settings),
            "--set light.power=\"3 W\" --set lens.aperture=4 --set camera.size=\"[64,48]\""
        );
    }
}
