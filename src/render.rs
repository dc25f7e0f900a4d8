//! `render`

mod job;

use std::io;
use std::path::PathBuf;

use clap::{Args, ValueEnum};
use motefield_files::{npy, picture, read_text};
use motefield_generator::truth::TrueDisplacement;
use motefield_generator::{Scene, SceneError};
use motefield_report::pairs::{self, PointTruth, Rendered};
use motefield_rig::plan::{Plan, plan};
use motefield_rig::setup::Setup;
use motefield_study::folder::{self, Folder, Start};
use motefield_study::manifest::{self, FileHash, Manifest};
use serde_json::json;

use self::job::{FileNames, RenderJob};
use crate::announce;
use crate::arguments::{FolderArguments, SetupArguments, stopped, use_threads};
use crate::exit::{Exit, Failure};
use crate::output::print;
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

fn bad(error: SceneError) -> Failure {
    Failure::input(error.to_string())
}

impl RenderCommand {
    /// Files of where the truth holds, if there are bodies, and of where there are particles, if
    /// asked for.
    fn masks(&self, scene: &Scene, truth: &TrueDisplacement) -> Vec<(&'static str, Vec<u8>)> {
        let mut files = Vec::new();
        if !truth.is_everywhere() {
            files.push(("valid.npy", npy::mask(&truth.valid())));
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
        let ideal = scene.camera.sensor.is_none();
        if ideal && self.format == PictureFormat::Png {
            return Err(Failure::input("--format png holds grey levels, and camera.ideal = true gives photo-electrons: leave out one of the two".to_owned()));
        }
        announce::render(&setup, scene, self.count());
        let truth = TrueDisplacement::of_pair(scene);
        let truth_at: Vec<_> = self
            .truth_at
            .iter()
            .map(|&[x, y]| ([x, y], truth.at(x, y)))
            .collect();
        let masks = self.masks(scene, &truth);
        let kind = FileNames::of(self);
        let pictures = || -> Box<dyn Iterator<Item = String> + '_> {
            Box::new((0..self.count()).flat_map(move |k| kind.all(k)))
        };
        let at_the_end: Vec<String> = masks.iter().map(|(name, _)| (*name).to_owned()).collect();
        let names = folder::Names {
            at_the_end: &at_the_end,
            on_the_way: Some(&pictures),
        };
        let manifest = self.manifest(&setup, &plan, &truth_at);
        let usual = if self.series.is_some() { "series" } else { "pairs" };
        let out = self.out.as_deref();
        let folder = self.folder.open(out, usual, Start::New, manifest, &names)?;
        let job = RenderJob {
            render: self,
            names: kind,
            scene,
            processing: &plan.processing,
            folder: &folder,
        };
        let rendered = job.all(self.count(), signals::stop())?;
        let mut of_masks = Vec::new();
        for (name, content) in masks {
            // A mask holds for all pairs, and stands also where not all of them do.
            folder.out().write(name, &content)?;
            of_masks.push(FileHash::of(name, content));
        }
        let written = || rendered.files().chain(of_masks.iter().cloned().map(Ok));
        self.end(folder, written, &pairs::words(&truth_at))
    }

    /// Closes the folder and prints what stands there.
    fn end<I: Iterator<Item = io::Result<FileHash>>>(
        &self,
        folder: Folder,
        written: impl Fn() -> I,
        words: &str,
    ) -> Result<Exit, Failure> {
        let directory = folder.directory().to_owned();
        let unfinished = signals::stopped();
        let kept = match unfinished {
            true => stopped(&folder),
            false => Ok(()),
        };
        let manifest = folder.path(manifest::NAME);
        folder.close(written, !unfinished)?;
        kept?;
        if unfinished {
            signals::tell_how_to_go_on();
            return Ok(signals::exit());
        }
        if self.json {
            print(&read_text(&manifest)?)?;
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

    fn manifest(&self, setup: &Setup, plan: &Plan, truth_at: &[PointTruth]) -> Manifest {
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
