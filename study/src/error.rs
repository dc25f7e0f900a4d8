//! Why a study cannot be made.

use std::path::PathBuf;

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
    /// A study was begun in the directory and is not finished.
    #[error("{directory}: a study was begun here and not finished", directory = directory.display())]
    Unfinished {
        /// The directory.
        directory: PathBuf,
    },
    /// The study in the directory is another one.
    #[error(
        "{directory}: another study stands here; what differs:\n  {differences}",
        directory = directory.display(),
        differences = differences.join("\n  ")
    )]
    OtherStudy {
        /// The directory.
        directory: PathBuf,
        /// In what, a line each.
        differences: Vec<String>,
    },
    /// There is no study in the directory that could be continued.
    #[error(
        "{directory}: there is no study to continue{why}",
        directory = directory.display(),
        why = if *finished { ": the one that stands here is finished" } else { "" }
    )]
    NothingToResume {
        /// The directory.
        directory: PathBuf,
        /// Whether a finished one stands there.
        finished: bool,
    },
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
