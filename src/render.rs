//! `render`

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};

use crate::exit::{Exit, Failure};
use clap::{Args, ValueEnum};
use motefield_evaluator::Processing;
use motefield_files::{npy, picture, sha256};
use motefield_generator::pair::{self, shared};
use motefield_generator::truth::TrueDisplacement;
use motefield_generator::{Scene, SceneError, Seed};
use motefield_report::pairs::{self, Rendered, TruthAt};
use motefield_rig::plan::{Plan, plan};
use motefield_rig::setup::Setup;
use motefield_study::folder::{self, Folder, Start};
use motefield_study::manifest::{FileHash, Manifest};
use motefield_study::run::{Progress, bound};
use ndarray::Array2;
use rayon::prelude::*;
use serde_json::json;

use crate::arguments::{FolderArguments, SetupArguments, announce, stopped, use_threads};
use crate::output::{print, print_json, say};
use crate::progress::Bar;
use crate::signals;

#[derive(Args)]
pub struct RenderCommand {
    #[command(flatten)]
    setup: SetupArguments,
    /// Number of pairs
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=99_999))]
    pairs: u32,
    /// Renders a time series of this many frames, one pulse separation apart, instead of pairs
    #[arg(long, value_name = "FRAMES", conflicts_with = "pairs", value_parser = clap::value_parser!(u32).range(2..=99_999))]
    series: Option<u32>,
    /// Seed: the same seed gives the same bytes
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Directory for pair-NNNNN-a.tif, pair-NNNNN-b.tif, truth-NNNNN.npy and manifest.json (and
    /// valid.npy where there are bodies); a new one by default
    #[arg(long)]
    out: Option<PathBuf>,
    /// File format of the pictures
    #[arg(long, value_enum, default_value_t = PictureFormat::Tiff)]
    format: PictureFormat,
    /// Also writes the particles of each frame: particles-NNNNN-a.csv and -b.csv
    #[arg(long)]
    particles: bool,
    /// Also writes the noise-free pictures, in expected photo-electrons: expected-NNNNN-a.tif and
    /// -b.tif
    #[arg(long)]
    expected: bool,
    /// Also writes the Cramér-Rao bound of the windows: bound-NNNNN.npy, float64, 2 x rows x
    /// columns, px, of the grid of the setup's `[processing]`
    #[arg(long, conflicts_with = "series")]
    bound: bool,
    /// Also writes mask.png: white where there are particles, black in bodies and unseeded regions
    #[arg(long)]
    mask: bool,
    /// Prints the true displacement at the point X,Y of the picture, px; may be repeated
    #[arg(long, value_name = "X,Y", value_parser = point, allow_hyphen_values = true)]
    truth_at: Vec<[f64; 2]>,
    #[command(flatten)]
    folder: FolderArguments,
    /// Number of threads; all processors by default
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
    /// Prints the manifest as JSON
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, PartialEq, ValueEnum)]
enum PictureFormat {
    /// 16-bit TIFF; 32-bit floating point for an ideal camera
    Tiff,
    /// 16-bit PNG
    Png,
}

fn point(text: &str) -> Result<[f64; 2], String> {
    text.split_once(',')
        .and_then(|(x, y)| Some([x.trim().parse().ok()?, y.trim().parse().ok()?]))
        .filter(|p: &[f64; 2]| p.iter().all(|v| v.is_finite()))
        .ok_or_else(|| "must be two numbers such as 120.5,64".to_owned())
}

impl PictureFormat {
    fn extension(self) -> &'static str {
        match self {
            PictureFormat::Tiff => "tif",
            PictureFormat::Png => "png",
        }
    }
}

fn name(kind: &str, k: u32, rest: &str) -> String {
    format!("{kind}-{k:05}{rest}")
}

/// What the files are called.
#[derive(Clone, Copy)]
struct FileNames<'a>(&'a RenderCommand);

impl FileNames<'_> {
    fn of(render: &RenderCommand) -> FileNames<'_> {
        FileNames(render)
    }

    /// The files of pair, or of series frame, number `k`, and those of the truth from it on.
    fn all(self, k: u32) -> Vec<String> {
        let FileNames(render) = self;
        let (kind, parts): (_, &[&str]) = match render.series {
            Some(_) => ("frame", &[""]),
            None => ("pair", &["-a", "-b"]),
        };
        let mut names = Vec::new();
        for part in parts {
            names.push(name(kind, k, &format!("{part}.{}", render.format.extension())));
            if render.expected {
                names.push(name("expected", k, &format!("{part}.tif")));
            }
            if render.particles {
                names.push(name("particles", k, &format!("{part}.csv")));
            }
        }
        if render.series.is_none_or(|frames| k + 1 < frames) {
            names.push(name("truth", k, ".npy"));
        }
        if render.bound {
            names.push(name("bound", k, ".npy"));
        }
        names
    }
}

/// What is to be done for the frames of one seed.
struct Job<'a> {
    render: &'a RenderCommand,
    names: FileNames<'a>,
    scene: &'a Scene,
    processing: &'a Processing,
    folder: &'a Folder,
    /// The truth of every pair: none of the flow fields knows the pair's number. None for a series.
    truth_of_pair: Option<Vec<u8>>,
}

impl Job<'_> {
    /// Renders all that the journal does not hold, until `stop` is set: the files that stand there
    /// then.
    fn all(&self, count: u32, stop: &AtomicBool) -> Result<Vec<FileHash>, Failure> {
        let mut kept = self.kept();
        if !kept.is_empty() {
            say(&format!("Continuing with {} done before.", kept.len()));
        }
        let bar = Bar::new();
        bar.expect(count as usize);
        let one = |k: u32| -> Result<(u32, Vec<FileHash>), Failure> {
            let mut files = Vec::new();
            if !stop.load(Ordering::Relaxed) {
                files = match &self.truth_of_pair {
                    Some(truth) => self.pair(k, truth)?,
                    None => self.frame(k, count)?,
                };
                self.folder
                    .journal()
                    .add(json!([k, files]).to_string().as_bytes());
                bar.done();
            }
            Ok((k, files))
        };
        let rest: Vec<u32> = (0..count).filter(|k| !kept.contains_key(k)).collect();
        (0..kept.len()).for_each(|_| bar.done());
        // A large picture uses all threads, and one at a time needs the least memory.
        let rendered: Result<Vec<_>, Failure> = if shared(self.scene.size) {
            rest.into_iter().map(one).collect()
        } else {
            rest.into_par_iter().map(one).collect()
        };
        bar.finish();
        kept.extend(rendered?);
        Ok(kept.into_values().flatten().collect())
    }

    /// What the journal holds and the folder still has: the files of each pair or frame.
    fn kept(&self) -> BTreeMap<u32, Vec<FileHash>> {
        let records = self.folder.records().iter();
        let read = records.filter_map(|r| serde_json::from_slice::<(u32, Vec<FileHash>)>(r).ok());
        let whole = |(k, files): &(u32, Vec<FileHash>)| {
            let names: Vec<&str> = files.iter().map(|file| file.path.as_str()).collect();
            let mut asked = self.names.all(*k);
            asked.retain(|name| !names.contains(&name.as_str()));
            asked.is_empty() && files.iter().all(|file| self.stands(file))
        };
        read.filter(whole).collect()
    }

    fn stands(&self, file: &FileHash) -> bool {
        sha256(&self.folder.path(&file.path)).as_ref() == Some(&file.sha256)
    }

    fn write(&self, name: String, bytes: Vec<u8>) -> Result<FileHash, Failure> {
        self.folder.out().write(&name, &bytes)?;
        Ok(FileHash::of(name, bytes))
    }

    /// A frame's picture and what was asked for beside it; `frame` is its number in the pair or
    /// series.
    fn write_frame(
        &self,
        [kind, part]: [&str; 2],
        number: u32,
        frame: u32,
        seed: Seed,
        [light, grey]: [&Array2<f32>; 2],
    ) -> Result<Vec<FileHash>, Failure> {
        let picture = match self.render.format {
            PictureFormat::Tiff => picture::tiff(grey, self.scene.camera.sensor.is_none()),
            PictureFormat::Png => picture::png_16(grey),
        };
        let extension = self.render.format.extension();
        let mut files = vec![self.write(name(kind, number, &format!("{part}.{extension}")), picture)?];
        if self.render.expected {
            let name = name("expected", number, &format!("{part}.tif"));
            files.push(self.write(name, picture::tiff(light, true))?);
        }
        if self.render.particles {
            let list = pair::shown(self.scene, seed, frame, self.render.series.is_some()).map_err(bad)?;
            let name = name("particles", number, &format!("{part}.csv"));
            files.push(self.write(name, pairs::particles(&list).into_bytes())?);
        }
        Ok(files)
    }

    fn pair(&self, k: u32, truth: &[u8]) -> Result<Vec<FileHash>, Failure> {
        let seed = Seed {
            study: self.render.seed,
            point: 0,
            realisation: k.into(),
        };
        let light = pair::expected(self.scene, seed).map_err(bad)?;
        let grey = light.clone().read(self.scene, seed);
        let mut files = self.write_frame(["pair", "-a"], k, 0, seed, [&light.a, &grey.a])?;
        files.extend(self.write_frame(["pair", "-b"], k, 1, seed, [&light.b, &grey.b])?);
        if self.render.bound {
            let bound = bound::field(self.scene, self.processing, seed);
            files.push(self.write(name("bound", k, ".npy"), npy::field(&bound))?);
        }
        files.push(self.write(name("truth", k, ".npy"), truth.to_vec())?);
        Ok(files)
    }

    fn frame(&self, k: u32, frames: u32) -> Result<Vec<FileHash>, Failure> {
        let seed = Seed {
            study: self.render.seed,
            ..Seed::default()
        };
        let [light, grey] = pair::frame(self.scene, seed, k).map_err(bad)?;
        let mut files = self.write_frame(["frame", ""], k, k, seed, [&light, &grey])?;
        if k + 1 < frames {
            let truth = TrueDisplacement::of_series(self.scene, k).dense();
            files.push(self.write(name("truth", k, ".npy"), npy::field(&truth))?);
        }
        Ok(files)
    }
}

fn bad(error: SceneError) -> Failure {
    Failure::input(error.to_string())
}

impl RenderCommand {
    /// Files of where the truth holds, if there are bodies, and of where there are particles, if
    /// asked for.
    fn masks(&self, scene: &Scene, truth: &TrueDisplacement) -> Vec<(&'static str, Vec<u8>)> {
        let mut files = Vec::new();
        let valid = truth.valid();
        if valid.iter().any(|v| !v) {
            files.push(("valid.npy", npy::mask(&valid)));
        }
        if self.mask {
            let [width, height] = scene.size;
            let seeded = truth.seeded();
            let white = seeded.iter().map(|s| if *s { 255 } else { 0 });
            files.push(("mask.png", picture::png(width, height, white.collect())));
        }
        files
    }

    pub fn run(&self) -> Result<Exit, Failure> {
        use_threads(self.threads)?;
        let setup = self.setup.read(&[])?;
        let plan = plan(&setup)?;
        let scene = &plan.scene;
        announce(scene);
        let ideal = scene.camera.sensor.is_none();
        if ideal && self.format == PictureFormat::Png {
            return Err(Failure::input("--format png holds grey levels, and camera.ideal = true gives photo-electrons: leave out one of the two".to_owned()));
        }
        let truth = TrueDisplacement::of_pair(scene);
        let truth_at: Vec<_> = self
            .truth_at
            .iter()
            .map(|&[x, y]| ([x, y], truth.at(x, y)))
            .collect();
        let masks = self.masks(scene, &truth);
        let kind = FileNames::of(self);
        let pictures: Vec<String> = (0..self.count()).flat_map(|k| kind.all(k)).collect();
        let at_the_end: Vec<String> = masks.iter().map(|(name, _)| (*name).to_owned()).collect();
        let names = folder::Names {
            at_the_end: &at_the_end,
            on_the_way: &pictures,
        };
        let manifest = self.manifest(&setup, &plan, &truth_at);
        let usual = if self.series.is_some() { "series" } else { "pairs" };
        let out = self.out.as_deref();
        let folder = self.folder.open(out, usual, Start::New, manifest, &names)?;
        let job = Job {
            render: self,
            names: kind,
            scene,
            processing: &plan.processing,
            folder: &folder,
            truth_of_pair: self.series.is_none().then(|| npy::field(&truth.dense())),
        };
        let mut written = job.all(self.count(), signals::stop())?;
        for (name, content) in &masks {
            // A mask holds for all pairs, and stands also where not all of them do.
            folder.out().write(name, content)?;
            written.push(FileHash::of(*name, content.clone()));
        }
        self.end(folder, written, &pairs::words(&truth_at))
    }

    /// Closes the folder and prints what stands there.
    fn end(&self, folder: Folder, written: Vec<FileHash>, words: &str) -> Result<Exit, Failure> {
        let directory = folder.directory().to_owned();
        let unfinished = signals::stopped();
        let kept = match unfinished {
            true => stopped(&folder),
            false => Ok(()),
        };
        let manifest = folder.close(written, !unfinished)?;
        kept?;
        if unfinished {
            signals::tell_how_to_go_on();
            return Ok(signals::exit());
        }
        if self.json {
            print_json(&json!(manifest))?;
            return Ok(Exit::Done);
        }
        print(words)?;
        let what = if self.series.is_some() { "frames" } else { "pairs" };
        print(&format!("{} {what} in {}\n", self.count(), directory.display()))?;
        Ok(Exit::Done)
    }

    /// Pairs, or frames of a series.
    fn count(&self) -> u32 {
        self.series.unwrap_or(self.pairs)
    }

    fn manifest(&self, setup: &Setup, plan: &Plan, truth_at: &[TruthAt]) -> Manifest {
        let about = pairs::json(&Rendered {
            setup,
            plan,
            seed: self.seed,
            pairs: if self.series.is_some() { 0 } else { self.pairs },
            frames_of_series: self.series,
            bound: self.bound,
            truth_at,
        });
        let asked = json!({
            "pairs": self.series.is_none().then_some(self.pairs),
            "frames": self.series,
            "format": self.format.extension(),
            "particles": self.particles,
            "expected": self.expected,
            "bound": self.bound,
            "mask": self.mask,
        });
        let mut manifest = self.setup.described(Manifest::new("render", asked), setup);
        manifest.seed = Some(self.seed);
        manifest.describe(about);
        manifest
    }
}
