//! Why a command ends without its result, and the exit code that says so to scripts.

use std::fmt;
use std::path::Path;

/// A message for the user with its exit code.
#[derive(Debug)]
pub struct Failure {
    /// 1: the answer is no. 2: bad input. 3: input or output failed.
    pub code: u8,
    message: String,
}

impl Failure {
    /// Something the user can put right: exit code 2.
    pub fn input(message: impl Into<String>) -> Failure {
        Failure {
            code: 2,
            message: message.into(),
        }
    }

    /// The system could not read or write `path`: exit code 3, but 2 where the path itself is wrong.
    pub fn io(path: &Path, action: &str, error: &std::io::Error) -> Failure {
        use std::io::ErrorKind as Kind;
        let path = path.display();
        match error.kind() {
            Kind::NotFound => Failure::input(format!(
                "{path}: there is no such file or directory; check the path"
            )),
            Kind::IsADirectory | Kind::NotADirectory => {
                Failure::input(format!("{path}: cannot {action}: {error}"))
            }
            _ => Failure {
                code: 3,
                message: format!("{path}: cannot {action}: {error}"),
            },
        }
    }
}

impl std::error::Error for Failure {}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl From<crate::setup::SetupError> for Failure {
    fn from(error: crate::setup::SetupError) -> Failure {
        Failure::input(error.to_string())
    }
}
