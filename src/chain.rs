//! Another program as the processing of a study: started once per pair, without a shell, with a
//! time limit, its files in a directory of their own that is gone afterwards.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use clap::Args;
use motefield_evaluator::conventions::PlacedVectors;
use motefield_files::{Disk, FileSource, Scratch, exists, length, picture};
use motefield_generator::Pair;
use motefield_rig::quantity::{Dimension, parse_as};
use motefield_study::manifest::FileHash;
use motefield_study::own_vectors::{self, TableReading};
use motefield_study::run::{External, ExternalChain, Failed};
use serde_json::{Value, json};

use crate::child;
use crate::exit::Failure;
use crate::own_vectors::VectorArguments;

/// Largest file of vectors that is read of a program, bytes.
const MOST_BYTES: u64 = 256 << 20;

/// Another program in place of the setup's processing.
#[derive(Args)]
pub struct ChainArguments {
    /// Another program that measures the pairs: its arguments with {a}, {b} for the pictures
    /// (16-bit TIFF) and {out} for the file of vectors that it shall write; started once per pair,
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
    reading: TableReading,
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
        let program = child::found(&arguments.remove(0))
            .ok_or_else(|| bad("there is no such program; give its path"))?;
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
        command.args(self.arguments.iter().map(filled));
        let (status, said) = child::run(command, self.limit, stop)?;
        if !status.success() {
            return Err(because(format!("ended with {status}{said}")));
        }
        let file = PathBuf::from(format!("{}{ending}", out.display()));
        self.read(&file, pair.a.nrows(), &said).map_err(because)
    }

    fn read(&self, file: &Path, height_px: usize, said: &str) -> Result<PlacedVectors, String> {
        if !exists(file) {
            return Err(format!("ended without writing {{out}}{said}"));
        }
        if length(file).is_none_or(|bytes| bytes > MOST_BYTES) {
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
