//! The processing of the recorded pairs, written into the setup of their twin.

use motefield_rig::keys::processing::SECTION;

use crate::StudyError;
use crate::manifest::EffectiveSetup;

/// The `[processing]` of a setup as text, for the setup of a twin; what was changed for one run
/// included.
///
/// # Errors
/// When it stands in a part that the setup includes.
pub fn processing_text(setup: &EffectiveSetup) -> Result<String, StudyError> {
    let own = toml::from_str::<toml::Table>(&setup.text).unwrap_or_default();
    let head = format!("[{}]", SECTION.name);
    let mut section = match own.get(SECTION.name) {
        Some(toml::Value::Table(section)) => section.clone(),
        _ if setup.parts.iter().any(|[_, text]| text.contains(&head)) => {
            return Err(StudyError::request(
                "the processing stands in an included part: write it into the setup itself",
            ));
        }
        _ => toml::Table::new(),
    };
    for [key, value] in &setup.changes {
        if let Some(name) = SECTION.name_in(key) {
            let text = format!("{name} = {value}");
            let parsed = toml::from_str::<toml::Table>(&text).map_err(|_| {
                StudyError::request(format!("{text}: cannot be written into the twin's setup"))
            })?;
            section.extend(parsed);
        }
    }
    let whole = toml::Table::from_iter([(SECTION.name.to_owned(), toml::Value::Table(section.clone()))]);
    Ok(match section.is_empty() {
        true => String::new(),
        false => format!("\n{}", toml::to_string(&whole).unwrap_or_default()),
    })
}
