//! Settings as the options that apply them, to be copied into a command.

use motefield_rig::plan::Proposal;

/// The options that give these keys these values, on one line.
pub(crate) fn set_options<'a>(settings: impl IntoIterator<Item = (&'a String, &'a String)>) -> String {
    let one = |(key, value): (&String, &String)| match value.contains([' ', '[', ']']) {
        true => format!("--set {key}=\"{value}\""),
        false => format!("--set {key}={value}"),
    };
    settings.into_iter().map(one).collect::<Vec<_>>().join(" ")
}

/// The options that apply a proposal; `None` where there is none.
pub(crate) fn of_proposal(proposal: &Proposal) -> Option<String> {
    let Proposal::Together(changes) = proposal else {
        return None;
    };
    Some(set_options(
        changes.iter().map(|change| (&change.key, &change.values[1])),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A shell would take a value with a space for two words, and brackets for a pattern.
    #[test]
    fn values_are_quoted_where_a_shell_would_change_them() {
        let settings = [
            ("light.power", "3 W"),
            ("lens.f_number", "4"),
            ("camera.size", "[64,48]"),
        ]
        .map(|(key, value)| (key.to_owned(), value.to_owned()));
        assert_eq!(
            set_options(settings.iter().map(|(key, value)| (key, value))),
            "--set light.power=\"3 W\" --set lens.f_number=4 --set camera.size=\"[64,48]\""
        );
    }
}
