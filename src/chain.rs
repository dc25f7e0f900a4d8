//! Another program as the processing of a study: started once a pair, without a shell, with a time
//! limit, its files in a directory of their own that is gone afterwards.

use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, OnceLock};
use std::time::{Duration, Instant};

use clap::Args;
use motefield_evaluator::conventions::PlacedVectors;
use motefield_files::{Disk, FileSource, Scratch, picture};
use motefield_generator::Pair;
use motefield_rig::quantity::{Dimension, parse_as};
use motefield_study::manifest::FileHash;
use motefield_study::own_vectors::{self, Reading};
use motefield_study::run::{External, ExternalChain, Failed};
use serde_json::{Value, json};

use crate::exit::Failure;
use crate::own_vectors::VectorArguments;

/// Largest file of vectors that is read of a program, bytes.
const MOST_BYTES: u64 = 256 << 20;
/// What is kept of a program's messages, bytes.
const MESSAGE: usize = 600;
/// How often it is looked whether a program has ended.
const LOOK: Duration = Duration::from_millis(4);

/// Another program in place of the setup's processing.
#[derive(Args)]
pub struct ChainArguments {
    /// Another program that measures the pairs: its arguments with {a}, {b} for the pictures
    /// (16-bit TIFF) and {out} for the file of vectors that it shall write; started once a pair,
    /// without a shell
    #[arg(long, value_name = "COMMAND")]
    pub chain: Vec<String>,
    /// Version of the program, if its file and those named do not tell it
    #[arg(long, value_name = "TEXT", requires = "chain")]
    chain_version: Option<String>,
    /// Longest time for a pair
    #[arg(long, value_name = "TIME", default_value = "60 s")]
    chain_limit: String,
    #[command(flatten)]
    written: VectorArguments,
    /// The only program, once it was asked for.
    #[arg(skip)]
    only: OnceLock<Option<&'static CommandChain>>,
}

/// The word for the setup's own processing among programs.
pub const SETUP: &str = "setup";

/// A program as a study takes it.
pub fn external(program: Option<&'static CommandChain>) -> External {
    External(program.map(|program| program as &dyn ExternalChain))
}

/// A command line that measures a pair.
#[derive(Debug)]
pub struct CommandChain {
    /// As it was given.
    text: String,
    program: PathBuf,
    arguments: Vec<String>,
    limit: Duration,
    reading: Reading,
    window_px: Option<f64>,
}

impl ChainArguments {
    /// The programs that were named, in their order; `None` for the setup's own processing. They
    /// stay for the whole run.
    pub fn all(&self) -> Result<Vec<Option<&'static CommandChain>>, Failure> {
        if self.chain.is_empty() && self.written.any() {
            return Err(Failure::input(
                "how vectors are written is said, but no program that writes them; name it with --chain",
            ));
        }
        let one = |text: &String| match text.as_str() {
            SETUP => Ok(None),
            text => Ok(Some(&*Box::leak(Box::new(self.program(text)?)))),
        };
        self.chain.iter().map(one).collect()
    }

    fn program(&self, text: &str) -> Result<CommandChain, Failure> {
        let bad = |why: &str| Failure::input(format!("--chain '{text}': {why}"));
        let limit = &self.chain_limit;
        let limit_s = parse_as(limit, Dimension::Time)
            .ok()
            .filter(|s| *s > 0.0 && *s < 1e6);
        let limit_s = limit_s.ok_or_else(|| {
            Failure::input(format!("--chain-limit {limit}: must be a time, such as \"60 s\""))
        })?;
        let mut arguments = shlex::split(text).ok_or_else(|| bad("a quotation mark is not closed"))?;
        let lacks = |word: &&str| !arguments.iter().any(|a| a.contains(word));
        if let Some(word) = ["{a}", "{b}", "{out}"].into_iter().find(lacks) {
            return Err(bad(&format!(
                "{word} is missing; write for example --chain 'python3 chain.py {{a}} {{b}} {{out}}'"
            )));
        }
        let program =
            found(&arguments.remove(0)).ok_or_else(|| bad("there is no such program; give its path"))?;
        Ok(CommandChain {
            text: text.to_owned(),
            program,
            arguments,
            limit: Duration::from_secs_f64(limit_s),
            reading: self.written.reading()?,
            window_px: self.written.window_px(),
        })
    }

    /// The only program; none where none was named.
    pub fn one(&self) -> Result<Option<&'static CommandChain>, Failure> {
        if let Some(only) = self.only.get() {
            return Ok(*only);
        }
        let only = match self.all()?[..] {
            [] => None,
            [one] => one,
            _ => {
                return Err(Failure::input(
                    "--chain: name one program; `sweep` compares several",
                ));
            }
        };
        Ok(*self.only.get_or_init(|| only))
    }

    /// What decides the values, for a manifest.
    pub fn asked(&self, commands: &[&str]) -> Result<Value, Failure> {
        Ok(json!({
            "commands": commands,
            "version": self.chain_version,
            "limit": self.chain_limit,
            "written": self.written.asked()?,
        }))
    }
}

/// The file of a program: a path as it is, a name looked for where the system looks for programs.
fn found(name: &str) -> Option<PathBuf> {
    let path = PathBuf::from(name);
    if name.contains(std::path::MAIN_SEPARATOR) {
        return path.is_file().then_some(path);
    }
    let places = std::env::var_os("PATH")?;
    std::env::split_paths(&places)
        .map(|place| place.join(name))
        .find(|path| path.is_file())
}

impl CommandChain {
    /// As it was given.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// What tables and pictures call it: its first argument that is a file, else its program.
    pub fn name(&self) -> String {
        let script = self
            .scripts()
            .into_iter()
            .next()
            .unwrap_or_else(|| self.program.clone());
        script
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned()
    }

    /// Its arguments that are files.
    fn scripts(&self) -> Vec<PathBuf> {
        self.arguments
            .iter()
            .map(PathBuf::from)
            .filter(|path| path.is_file())
            .collect()
    }

    /// The program and the files that it is given, with the hashes of their contents.
    pub fn files(&self) -> Result<Vec<FileHash>, Failure> {
        let all = std::iter::once(self.program.clone()).chain(self.scripts());
        all.map(|path| {
            Ok(FileHash {
                path: path.display().to_string(),
                sha256: Disk::default().content(&path)?.sha256.clone(),
            })
        })
        .collect()
    }

    fn run(&self, pair: &Pair, float: bool, stop: &AtomicBool) -> Result<PlacedVectors, Failed> {
        let because = |why: String| Failed::Because(why);
        let scratch = Scratch::new().map_err(|e| because(e.to_string()))?;
        let [a, b, out] = ["a.tif", "b.tif", "vectors"].map(|name| scratch.path(name));
        for (path, frame) in [(&a, &pair.a), (&b, &pair.b)] {
            motefield_files::write(path, &picture::tiff(frame, float)).map_err(|e| because(e.to_string()))?;
        }
        let filled = |argument: &String| {
            let names = [("{a}", &a), ("{b}", &b), ("{out}", &out)];
            names.into_iter().fold(argument.clone(), |text, (word, path)| {
                text.replace(word, &path.display().to_string())
            })
        };
        // Without an ending the file is a table.
        let ending = |argument: &String| Some(argument.split_once("{out}")?.1.to_owned());
        let ending = self.arguments.iter().find_map(ending).unwrap_or_default();
        let mut command = Command::new(&self.program);
        command
            .args(self.arguments.iter().map(filled))
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::piped());
        let status = watched(command, self.limit, stop)?;
        let (status, said) = status;
        if !status.success() {
            return Err(because(format!("ended with {status}{said}")));
        }
        let file = PathBuf::from(format!("{}{ending}", out.display()));
        self.read(&file, pair.a.nrows(), &said).map_err(because)
    }

    fn read(&self, file: &Path, height_px: usize, said: &str) -> Result<PlacedVectors, String> {
        let about = std::fs::metadata(file).map_err(|_| format!("ended without writing {{out}}{said}"))?;
        if !about.is_file() || about.len() > MOST_BYTES {
            return Err(format!("wrote no file of at most {} MB", MOST_BYTES >> 20));
        }
        let content = Disk::default().content(file).map_err(|e| e.to_string())?;
        let read = own_vectors::read(file, &content.bytes, &self.reading, height_px);
        // The place in the scratch directory means nothing to anybody afterwards.
        read.map_err(|e| e.to_string().replace(&file.display().to_string(), "its vectors"))
    }
}

impl ExternalChain for CommandChain {
    fn measure(&self, pair: &Pair, float: bool, stop: &AtomicBool) -> Result<PlacedVectors, Failed> {
        self.run(pair, float, stop)
    }

    fn window_px(&self) -> Option<f64> {
        self.window_px
    }
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
fn watched(mut command: Command, limit: Duration, stop: &AtomicBool) -> Result<(ExitStatus, String), Failed> {
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
