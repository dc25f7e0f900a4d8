//! Exit codes, and how a failure becomes one of them.

use std::process::ExitCode;

use motefield_files::FileError;
use motefield_generator::SceneError;
use motefield_rig::setup::SetupError;
use motefield_study::StudyError;

/// How the program ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
pub enum Exit {
    /// The command did what it was asked.
    Done = 0,
    /// The answer is no: no setting meets the limit, a reference figure is missed, a rule fails.
    No = 1,
    /// Bad input.
    Input = 2,
    /// Input or output failed.
    System = 3,
    /// The reference figures cannot all be told, though measured with all their pairs.
    Open = 4,
    /// Ended by SIGHUP; completed work is kept.
    HungUp = 129,
    /// Stopped by Ctrl-C; completed work is kept.
    Interrupted = 130,
    /// Ended by SIGTERM; completed work is kept.
    Terminated = 143,
}

/// Every exit code in a sentence, for the help.
pub const CODES: &str = "Exit codes: 0 done; 1 the answer is no (no setting meets the limit, or a reference figure is missed); 2 bad input; 3 input or output failed; 4 some reference figures cannot be told at full depth; 129, 130, 143 ended by SIGHUP, Ctrl-C, SIGTERM; completed work is kept.";

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> ExitCode {
        ExitCode::from(exit as u8)
    }
}

/// Why a command ends without its result: a message for the user and an exit code.
#[derive(Debug)]
pub struct Failure {
    pub exit: Exit,
    pub message: String,
}

impl Failure {
    /// Something the user can put right.
    pub fn input(message: impl Into<String>) -> Failure {
        Failure {
            exit: Exit::Input,
            message: message.into(),
        }
    }
}

impl Failure {
    /// The failure of what was asked for by an option.
    pub fn about(option: &str, error: StudyError) -> Failure {
        match error {
            StudyError::Request(message) => Failure::input(format!("{option} {message}")),
            StudyError::NoRange { ref key, .. } => {
                Failure::input(format!("{option} {error}, as --range {key}=FROM..TO"))
            }
            other => other.into(),
        }
    }
}

impl From<FileError> for Failure {
    fn from(error: FileError) -> Failure {
        let remedy = match error {
            FileError::Exists { .. } => "; choose another --out, or use --force",
            _ => "",
        };
        Failure {
            exit: match error.is_system() {
                true => Exit::System,
                false => Exit::Input,
            },
            message: format!("{error}{remedy}"),
        }
    }
}

impl From<SetupError> for Failure {
    fn from(error: SetupError) -> Failure {
        Failure::input(error.to_string())
    }
}

impl From<SceneError> for Failure {
    fn from(error: SceneError) -> Failure {
        Failure::input(error.to_string())
    }
}

impl From<StudyError> for Failure {
    fn from(error: StudyError) -> Failure {
        match error {
            StudyError::Setup(error) => error.into(),
            StudyError::File(error) => error.into(),
            StudyError::Request(_) | StudyError::NoRange { .. } => Failure::input(error.to_string()),
            StudyError::Unfinished { .. } => Failure::input(format!(
                "{error}; use --resume to continue it, or --fresh to start over"
            )),
            StudyError::OtherStudy { .. } => Failure::input(format!(
                "{error}\ncontinue it with what it was begun with, or use --fresh to start over"
            )),
            StudyError::NothingToResume { .. } => Failure::input(format!("{error}; leave --resume out")),
        }
    }
}
