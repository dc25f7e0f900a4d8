//! Why a study cannot be made.

use motefield_files::FileError;
use motefield_rig::setup::SetupError;

/// Why a study, or a part of it, cannot be made.
#[derive(Debug, thiserror::Error)]
pub enum StudyError {
    /// The setup cannot be used.
    #[error(transparent)]
    Setup(#[from] SetupError),
    /// A file cannot be read or written.
    #[error(transparent)]
    File(#[from] FileError),
    /// What was asked for cannot be done; says what to ask for instead.
    #[error("{0}")]
    Request(String),
    /// A free setting has no range, and the setup no number to lay one around.
    #[error("{key}: {setup} has no number above 0 under this key to start from; give its range")]
    NoRange {
        /// Of the setting.
        key: String,
        /// Name of the setup.
        setup: String,
    },
}

impl StudyError {
    pub(crate) fn request(message: impl Into<String>) -> StudyError {
        StudyError::Request(message.into())
    }
}
