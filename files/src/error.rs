//! Why a file cannot be used.

use std::io;
use std::path::{Path, PathBuf};

/// A file that cannot be read, written or understood.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// Nothing stands under the path.
    #[error("{path}: there is no such file or directory; check the path", path = path.display())]
    Missing {
        /// The path.
        path: PathBuf,
    },
    /// The path or the content is not what was asked for.
    #[error("{path}: {message}", path = path.display())]
    Unusable {
        /// The path.
        path: PathBuf,
        /// What is wrong, and what would do.
        message: String,
    },
    /// A picture in colour of which no channel is named.
    #[error("{path}: {message}", path = path.display())]
    NoChannel {
        /// The path.
        path: PathBuf,
        /// What is wrong, and what would do.
        message: String,
    },
    /// The file is there and would be overwritten.
    #[error("{path}: exists already and is not overwritten", path = path.display())]
    Exists {
        /// The path.
        path: PathBuf,
    },
    /// Another process is at work with the file.
    #[error("{path}: another process is at work here; wait until it has ended", path = path.display())]
    Busy {
        /// The path.
        path: PathBuf,
    },
    /// The system failed: a disk that is full, a permission that is missing.
    #[error("{path}: cannot {action}: {error}", path = path.display())]
    System {
        /// The path.
        path: PathBuf,
        /// What was tried: "read", "write".
        action: &'static str,
        /// What the system says.
        error: io::Error,
    },
}

impl FileError {
    /// From what the system says of `path`.
    pub(crate) fn of(path: &Path, action: &'static str, error: io::Error) -> FileError {
        use io::ErrorKind as Kind;
        let path = path.to_owned();
        match error.kind() {
            Kind::NotFound => FileError::Missing { path },
            Kind::IsADirectory | Kind::NotADirectory => FileError::Unusable {
                path,
                message: format!("cannot {action}: {error}"),
            },
            _ => FileError::System { path, action, error },
        }
    }

    pub(crate) fn unusable(path: &Path, message: impl Into<String>) -> FileError {
        FileError::Unusable {
            path: path.to_owned(),
            message: message.into(),
        }
    }

    /// Whether the system failed, rather than the path or the content being wrong.
    pub fn is_system(&self) -> bool {
        matches!(self, FileError::System { .. })
    }
}
