//! `render`

use std::path::PathBuf;

use crate::exit::{Exit, Failure};
use clap::{Args, ValueEnum};
use motefield_evaluator::Processing;
use motefield_files::{OutputDirectory, npy, picture};
use motefield_generator::pair::{self, shared};
use motefield_generator::truth::TrueDisplacement;
use motefield_generator::{Scene, SceneError, Seed};
use motefield_report::pairs::{self, Manifest};
use motefield_rig::plan::plan;
use motefield_study::run::{Progress, bound};
use ndarray::Array2;
use rayon::prelude::*;

use crate::arguments::{SetupArguments, announce, print, print_json, use_threads};
use crate::progress::Bar;

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
    /// Overwrites existing files
    #[arg(long)]
    force: bool,
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

/// What is to be done for the frames of one seed.
struct Job<'a> {
    render: &'a RenderCommand,
    scene: &'a Scene,
    processing: &'a Processing,
    out: &'a OutputDirectory,
}

fn name(kind: &str, k: u32, rest: &str) -> String {
    format!("{kind}-{k:05}{rest}")
}

impl Job<'_> {
    fn extension(&self) -> &'static str {
        match self.render.format {
            PictureFormat::Tiff => "tif",
            PictureFormat::Png => "png",
        }
    }

    /// The files of pair, or of series frame, number `k`, and those of the truth from it on.
    fn names(&self, k: u32) -> Vec<String> {
        let parts: &[&str] = if self.render.series.is_some() {
            &[""]
        } else {
            &["-a", "-b"]
        };
        let kind = if self.render.series.is_some() {
            "frame"
        } else {
            "pair"
        };
        let mut names = Vec::new();
        for part in parts {
            names.push(name(kind, k, &format!("{part}.{}", self.extension())));
            if self.render.expected {
                names.push(name("expected", k, &format!("{part}.tif")));
            }
            if self.render.particles {
                names.push(name("particles", k, &format!("{part}.csv")));
            }
        }
        if self.render.series.is_none_or(|frames| k + 1 < frames) {
            names.push(name("truth", k, ".npy"));
        }
        if self.render.bound {
            names.push(name("bound", k, ".npy"));
        }
        names
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
    ) -> Result<(), Failure> {
        let picture = match self.render.format {
            PictureFormat::Tiff => picture::tiff(grey, self.scene.camera.sensor.is_none()),
            PictureFormat::Png => picture::png_16(grey),
        };
        self.out.write(
            &name(kind, number, &format!("{part}.{}", self.extension())),
            &picture,
        )?;
        if self.render.expected {
            self.out.write(
                &name("expected", number, &format!("{part}.tif")),
                picture::tiff(light, true),
            )?;
        }
        if self.render.particles {
            let list = pair::shown(self.scene, seed, frame, self.render.series.is_some()).map_err(bad)?;
            let name = name("particles", number, &format!("{part}.csv"));
            self.out.write(&name, pairs::particles(&list))?;
        }
        Ok(())
    }

    fn pair(&self, k: u32, truth: &[u8]) -> Result<(), Failure> {
        let seed = Seed {
            study: self.render.seed,
            point: 0,
            realisation: k.into(),
        };
        let light = pair::expected(self.scene, seed).map_err(bad)?;
        let grey = light.clone().read(self.scene, seed);
        self.write_frame(["pair", "-a"], k, 0, seed, [&light.a, &grey.a])?;
        self.write_frame(["pair", "-b"], k, 1, seed, [&light.b, &grey.b])?;
        if self.render.bound {
            let bound = bound::field(self.scene, self.processing, seed);
            self.out.write(&name("bound", k, ".npy"), npy::field(&bound))?;
        }
        Ok(self.out.write(&name("truth", k, ".npy"), truth)?)
    }

    fn frame(&self, k: u32, frames: u32) -> Result<(), Failure> {
        let seed = Seed {
            study: self.render.seed,
            ..Seed::default()
        };
        let [light, grey] = pair::frame(self.scene, seed, k).map_err(bad)?;
        self.write_frame(["frame", ""], k, k, seed, [&light, &grey])?;
        if k + 1 < frames {
            let truth = TrueDisplacement::of_series(self.scene, k).dense();
            self.out.write(&name("truth", k, ".npy"), npy::field(&truth))?;
        }
        Ok(())
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
        let out = OutputDirectory::new(
            self.out.as_deref(),
            if self.series.is_some() { "series" } else { "pairs" },
            self.force,
        );
        let job = Job {
            render: self,
            scene,
            processing: &plan.processing,
            out: &out,
        };
        let count = self.series.unwrap_or(self.pairs);
        let truth = TrueDisplacement::of_pair(scene);
        let masks = self.masks(scene, &truth);
        let mut names: Vec<String> = (0..count).flat_map(|k| job.names(k)).collect();
        names.extend(masks.iter().map(|(name, _)| (*name).to_owned()));
        names.push("manifest.json".to_owned());
        out.prepare(&names.iter().map(String::as_str).collect::<Vec<_>>())?;

        // None of the flow fields knows the pair's number, so neither does the truth of a pair.
        let truth_of_pair = self.series.is_none().then(|| npy::field(&truth.dense()));
        let bar = Bar::new();
        bar.expect(count as usize);
        let one = |k: u32| {
            match &truth_of_pair {
                Some(truth) => job.pair(k, truth)?,
                None => job.frame(k, count)?,
            }
            bar.done();
            Ok(())
        };
        // A large picture uses all threads, and one at a time needs the least memory.
        let rendered: Result<(), Failure> = if shared(scene.size) {
            (0..count).try_for_each(one)
        } else {
            (0..count).into_par_iter().try_for_each(one)
        };
        bar.finish();
        rendered?;
        for (name, content) in &masks {
            out.write(name, content)?;
        }
        let truth_at: Vec<_> = self
            .truth_at
            .iter()
            .map(|&[x, y]| ([x, y], truth.at(x, y)))
            .collect();
        let manifest = pairs::json(&Manifest {
            setup: &setup,
            plan: &plan,
            seed: self.seed,
            pairs: if self.series.is_some() { 0 } else { self.pairs },
            frames_of_series: self.series,
            bound: self.bound,
            truth_at: &truth_at,
        });
        out.write("manifest.json", format!("{manifest:#}\n"))?;
        if self.json {
            print_json(&manifest);
            return Ok(Exit::Done);
        }
        print(&pairs::words(&truth_at));
        let what = if self.series.is_some() { "frames" } else { "pairs" };
        print(&format!("{count} {what} in {}\n", out.directory().display()));
        Ok(Exit::Done)
    }
}
