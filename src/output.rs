//! What the program prints: results on standard output, messages on standard error.
//!
//! A result that cannot be written is a failure (exit code 3). A reader that went away, as `head`
//! does, has what it wanted: the rest is dropped. Messages that cannot be written are lost, and the
//! result counts.

use std::io::{self, ErrorKind, Write};
use std::sync::atomic::{AtomicBool, Ordering};

use serde_json::Value;

use crate::exit::{Exit, Failure};

/// Whether the reader of standard output went away.
static UNREAD: AtomicBool = AtomicBool::new(false);

/// Whether nobody reads standard output any more.
pub fn is_unread() -> bool {
    UNREAD.load(Ordering::Relaxed)
}

/// Writes to standard output.
pub fn print(text: &str) -> Result<(), Failure> {
    if is_unread() {
        return Ok(());
    }
    let mut out = io::stdout().lock();
    judge(out.write_all(text.as_bytes()).and_then(|()| out.flush()))
}

/// What the outcome of writing to standard output means.
pub fn judge(written: io::Result<()>) -> Result<(), Failure> {
    match written {
        Err(e) if e.kind() == ErrorKind::BrokenPipe => {
            UNREAD.store(true, Ordering::Relaxed);
            Ok(())
        }
        Err(e) => Err(Failure {
            exit: Exit::System,
            message: format!("cannot write to standard output: {e}"),
        }),
        Ok(()) => Ok(()),
    }
}

pub fn print_json(value: &Value) -> Result<(), Failure> {
    print(&format!("{value:#}\n"))
}

/// Writes a message to standard error, on lines of its own.
pub fn say(text: &str) {
    let _ = io::stderr().lock().write_all(format!("{text}\n").as_bytes());
}
