//! Another program at work: looked for as the system does, started without a shell, with a time
//! limit, and ended with all that it started when the work stops.

use std::io::Read;
use std::path::PathBuf;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use motefield_study::run::Failed;

/// What is kept of a program's messages, bytes.
const MESSAGE: usize = 600;
/// How often it is looked whether a program has ended.
const LOOK: Duration = Duration::from_millis(4);

/// The file of a program: a path as it is, a name looked for where the system looks for programs.
pub fn found(name: &str) -> Option<PathBuf> {
    let path = PathBuf::from(name);
    if name.contains(std::path::MAIN_SEPARATOR) {
        return path.is_file().then_some(path);
    }
    let places = std::env::var_os("PATH")?;
    std::env::split_paths(&places)
        .map(|place| place.join(name))
        .find(|path| path.is_file())
}

/// Programs at work.
static AT_WORK: Mutex<Vec<u32>> = Mutex::new(Vec::new());

/// Ends every program at work, with all that it started.
pub fn end_all() {
    if let Ok(at_work) = AT_WORK.lock() {
        at_work.iter().for_each(|id| end(*id));
    }
}

#[cfg(unix)]
fn end(id: u32) {
    use rustix::process::{Pid, Signal, kill_process_group};
    if let Some(group) = i32::try_from(id).ok().and_then(Pid::from_raw) {
        // A group that has ended already is what is wanted.
        let _ = kill_process_group(group, Signal::KILL);
    }
}

#[cfg(not(unix))]
fn end(_: u32) {}

/// Runs a program to its end, to the limit, or until `stop` is set: how it ended, and the end of
/// its messages.
pub fn run(mut command: Command, limit: Duration, stop: &AtomicBool) -> Result<(ExitStatus, String), Failed> {
    command
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped());
    // A group of its own, so that all that it starts ends with it.
    #[cfg(unix)]
    std::os::unix::process::CommandExt::process_group(&mut command, 0);
    let begun = Instant::now();
    let mut child = {
        let mut at_work = AT_WORK.lock().expect("no thread panics with the lock");
        let child = command
            .spawn()
            .map_err(|e| Failed::Because(format!("cannot be started: {e}")))?;
        at_work.push(child.id());
        child
    };
    let messages = child
        .stderr
        .take()
        .map(|said| std::thread::spawn(move || tail(said)));
    let ended = loop {
        match child.try_wait() {
            Ok(Some(status)) => break Ok(status),
            Ok(None) if stop.load(Ordering::Relaxed) => break Err(Failed::Stopped),
            Ok(None) if begun.elapsed() > limit => {
                break Err(Failed::Because(format!(
                    "took longer than {} s",
                    limit.as_secs_f64()
                )));
            }
            Ok(None) => std::thread::sleep(LOOK),
            Err(e) => break Err(Failed::Because(format!("cannot be waited for: {e}"))),
        }
    };
    finish(&mut child);
    let said = messages.and_then(|thread| thread.join().ok()).unwrap_or_default();
    let said = said.trim();
    Ok((
        ended?,
        if said.is_empty() {
            String::new()
        } else {
            format!(": {said}")
        },
    ))
}

/// Ends what is left of a program and its group.
fn finish(child: &mut Child) {
    end(child.id());
    let _ = child.kill();
    let _ = child.wait();
    AT_WORK
        .lock()
        .expect("no thread panics with the lock")
        .retain(|id| *id != child.id());
}

/// The last of what is read, up to its end, on one line.
fn tail(mut from: impl Read) -> String {
    let (mut kept, mut buffer) = (Vec::new(), [0; 4096]);
    while let Ok(n @ 1..) = from.read(&mut buffer) {
        kept.extend_from_slice(&buffer[..n]);
        let surplus = kept.len().saturating_sub(MESSAGE);
        kept.drain(..surplus);
    }
    let text = String::from_utf8_lossy(&kept);
    text.lines()
        .map(str::trim)
        .filter(|line| !line.is_empty())
        .collect::<Vec<_>>()
        .join(" / ")
}
