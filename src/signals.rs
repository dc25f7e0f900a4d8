//! Ctrl-C (SIGINT), SIGTERM and SIGHUP: the program ends in order, with what was finished kept.
//!
//! A command that keeps finished work is told to stop and ends by itself. One that takes longer
//! than [`PATIENCE`] for it (a large picture under way), one that keeps nothing, and one that is
//! told twice is ended from here: its half-written files are taken away; its journal holds what was
//! finished. The exit code is 128 and the number of the signal.

use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU8, Ordering};
use std::time::Duration;

use crate::exit::Exit;
use crate::output::say;

/// Longest wait for a command to end by itself: with what ending it takes, two seconds.
const PATIENCE: Duration = Duration::from_millis(1500);

/// Set once a signal came: what is under way shall stop.
static STOP: AtomicBool = AtomicBool::new(false);
/// The signal that came first.
static SIGNAL: AtomicU8 = AtomicU8::new(0);
/// What the user is told at the end, by a command that keeps its work; none by others.
static GO_ON: Mutex<Option<String>> = Mutex::new(None);

/// Lets the command end by itself once [`stop`] is set. `go_on` tells the user at the end how to
/// continue.
pub fn end_by_itself(go_on: &str) {
    *go_on_words() = Some(go_on.to_owned());
}

/// The flag that is set once a signal came.
pub fn stop() -> &'static AtomicBool {
    &STOP
}

fn go_on_words() -> std::sync::MutexGuard<'static, Option<String>> {
    GO_ON.lock().expect("no thread panics with the lock")
}

/// Whether a signal came.
pub fn stopped() -> bool {
    STOP.load(Ordering::Relaxed)
}

/// The exit of a command that was stopped.
pub fn exit() -> Exit {
    match SIGNAL.load(Ordering::Relaxed) {
        1 => Exit::HungUp,
        15 => Exit::Terminated,
        _ => Exit::Interrupted,
    }
}

/// Tells the user how to continue what was stopped; once.
pub fn tell_how_to_go_on() {
    if let Some(go_on) = go_on_words().take() {
        say(&format!("Stopped. {go_on}"));
    }
}

/// What a signal does, in a thread of its own.
fn came(signal: u8) {
    if SIGNAL
        .compare_exchange(0, signal, Ordering::Relaxed, Ordering::Relaxed)
        .is_err()
        || go_on_words().is_none()
    {
        end();
    }
    STOP.store(true, Ordering::Relaxed);
    say("\nStopping after the pairs under way; once more to quit at once.");
    std::thread::spawn(|| {
        std::thread::sleep(PATIENCE);
        end();
    });
}

fn end() -> ! {
    crate::child::end_all();
    motefield_files::abandon_parts();
    tell_how_to_go_on();
    std::process::exit(i32::from(exit() as u8));
}

/// Begins to watch for signals. SIGHUP stays ignored where the program's caller ignores it: that is
/// how `nohup` lets a study outlive its terminal.
#[cfg(unix)]
pub fn watch() {
    let watched: &[i32] = match hang_up_is_ignored() {
        true => &[2, 15],
        false => &[1, 2, 15],
    };
    // Without handlers a signal ends the program as usual.
    if let Ok(mut signals) = signal_hook::iterator::Signals::new(watched) {
        std::thread::spawn(move || signals.forever().for_each(|signal| came(signal as u8)));
    }
}

/// Whether the caller ignores SIGHUP, the lowest bit of `SigIgn` in proc(5); not known, and taken
/// as no, on other systems than Linux.
#[cfg(unix)]
fn hang_up_is_ignored() -> bool {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
    line.and_then(|bits| u64::from_str_radix(bits.trim(), 16).ok())
        .is_some_and(|bits| bits & 1 == 1)
}

/// Begins to watch for Ctrl-C.
#[cfg(not(unix))]
pub fn watch() {
    // Without a handler Ctrl-C ends the program as usual.
    let _ = ctrlc::set_handler(|| came(2));
}
