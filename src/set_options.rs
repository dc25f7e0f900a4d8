//! Settings as the options that apply them, to be copied into a command.

/// The options that give these keys these values, on one line.
pub fn set_options(settings: &[(String, String)]) -> String {
    let one = |(key, value): &(String, String)| match value.contains([' ', '[', ']']) {
        true => format!("--set {key}=\"{value}\""),
        false => format!("--set {key}={value}"),
    };
    settings.iter().map(one).collect::<Vec<_>>().join(" ")
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
