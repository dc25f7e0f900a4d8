//! Where a setup comes from: a file, or the rig embedded in the program; with what the command line changes in it.

use std::path::Path;

use crate::StudyError;
use motefield_files::read_text;
use motefield_rig::plan::{Plan, plan};
use motefield_rig::setup::Setup;

/// The rig used when no setup is named.
pub const EMBEDDED: &str = include_str!("../../cases/flume.toml");
/// What messages call it.
const EMBEDDED_NAME: &str = "the embedded rig (cases/flume.toml)";

/// A setup's text and the changes to it.
#[derive(Debug, Clone)]
pub struct Source {
    /// What messages call it.
    pub name: String,
    /// TOML.
    pub text: String,
    /// (key, value) pairs in place of the text's own.
    pub changes: Vec<(String, String)>,
}

impl Source {
    /// Opens a file, or the embedded rig, with changes written as `KEY=VALUE`.
    pub fn open(path: Option<&Path>, changes: &[String]) -> Result<Source, StudyError> {
        let (name, text) = match path {
            Some(path) => (path.display().to_string(), read_text(path)?),
            None => (EMBEDDED_NAME.to_owned(), EMBEDDED.to_owned()),
        };
        let split = |change: &String| match change.split_once('=') {
            Some((key, value)) => Ok((key.trim().to_owned(), value.trim().to_owned())),
            None => Err(StudyError::request(format!(
                "--set {change}: there is no `=`; write for example --set light.power=\"8 W\""
            ))),
        };
        Ok(Source {
            name,
            text,
            changes: changes.iter().map(split).collect::<Result<_, _>>()?,
        })
    }

    /// The same with further changes.
    pub fn with(&self, changes: &[(&str, String)]) -> Source {
        let mut source = self.clone();
        source.changes.extend(
            changes
                .iter()
                .map(|(key, value)| ((*key).to_owned(), value.clone())),
        );
        source
    }

    /// Reads the setup.
    pub fn setup(&self) -> Result<Setup, StudyError> {
        Ok(Setup::read(&self.name, &self.text, &self.changes)?)
    }

    /// Reads and plans the setup.
    pub fn plan(&self) -> Result<Plan, StudyError> {
        Ok(plan(&self.setup()?)?)
    }
}
