//! `render`

use std::path::PathBuf;

use crate::exit::{Exit, Failure};
use clap::{Args, ValueEnum};
use motefield_evaluator::Processing;
use motefield_files::{OutputDirectory, npy, picture};
use motefield_generator::pair::{self, shared};
use motefield_generator::truth::TrueDisplacement;
use motefield_generator::{Scene, SceneError, Seed};
use motefield_report::{manifest, setup_json};
use motefield_rig::plan::plan;
use motefield_study::run::{Progress, bound};
use ndarray::Array2;
use rayon::prelude::*;
use serde_json::json;

use crate::arguments::{SetupArguments, print, print_json, use_threads};
use crate::progress::Bar;

#[derive(Args)]
pub struct Render {
    #[command(flatten)]
    setup: SetupArguments,
    /// How many pairs
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=99_999))]
    pairs: u32,
    /// A time series of so many frames, one pulse separation apart, in place of pairs
    #[arg(long, value_name = "FRAMES", conflicts_with = "pairs", value_parser = clap::value_parser!(u32).range(2..=99_999))]
    series: Option<u32>,
    /// Seed: the same seed gives the same bytes
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Directory for pair-NNNNN-a.tif, pair-NNNNN-b.tif, truth-NNNNN.npy and manifest.json (and valid.npy where there are bodies); a fresh one if not given
    #[arg(long)]
    out: Option<PathBuf>,
    /// File format of the pictures
    #[arg(long, value_enum, default_value_t = Format::Tiff)]
    format: Format,
    /// Writes the particles of each frame too: particles-NNNNN-a.csv and -b.csv
    #[arg(long)]
    particles: bool,
    /// Writes the noise-free pictures too, in expected photo-electrons: expected-NNNNN-a.tif and -b.tif
    #[arg(long)]
    expected: bool,
    /// Writes the Cramer-Rao bound of the windows too: bound-NNNNN.npy, float64, 2 x rows x columns, px, of the grid of the
    /// setup's [processing]
    #[arg(long, conflicts_with = "series")]
    bound: bool,
    /// Writes mask.png too: white where there are particles to measure by, black in bodies and unseeded regions
    #[arg(long)]
    mask: bool,
    /// Tells the true displacement at the point X,Y of the picture, px; may be repeated
    #[arg(long, value_name = "X,Y", value_parser = point, allow_hyphen_values = true)]
    truth_at: Vec<[f64; 2]>,
    /// Overwrites what is there
    #[arg(long)]
    force: bool,
    /// Threads; all processors if not given
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
    /// Prints the manifest as JSON
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, PartialEq, ValueEnum)]
enum Format {
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
    render: &'a Render,
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
            Format::Tiff => "tif",
            Format::Png => "png",
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

    /// A frame's picture and what was asked for beside it; `frame` is its number in the pair or series.
    fn write_frame(
        &self,
        [kind, part]: [&str; 2],
        number: u32,
        frame: u32,
        seed: Seed,
        [light, grey]: [&Array2<f32>; 2],
    ) -> Result<(), Failure> {
        let picture = match self.render.format {
            Format::Tiff => picture::tiff(grey, self.scene.camera.sensor.is_none()),
            Format::Png => picture::png_16(grey),
        };
        self.out.write(
            &name(kind, number, &format!("{part}.{}", self.extension())),
            &picture,
        )?;
        if self.render.expected {
            self.out.write(
                &name("expected", number, &format!("{part}.tif")),
                &picture::tiff(light, true),
            )?;
        }
        if self.render.particles {
            let list = pair::shown(self.scene, seed, frame, self.render.series.is_some()).map_err(bad)?;
            let mut text = "id,x_px,y_px,z_px,diameter_px,electrons_e\n".to_owned();
            for p in list {
                text.push_str(&format!(
                    "{},{:.6},{:.6},{:.6},{:.6},{:.6e}\n",
                    p.id, p.x_px, p.y_px, p.z_px, p.diameter_px, p.electrons
                ));
            }
            self.out.write(
                &name("particles", number, &format!("{part}.csv")),
                text.as_bytes(),
            )?;
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
            self.out.write(&name("bound", k, ".npy"), &npy::field(&bound))?;
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
            self.out.write(&name("truth", k, ".npy"), &npy::field(&truth))?;
        }
        Ok(())
    }
}

fn bad(error: SceneError) -> Failure {
    Failure::input(error.to_string())
}

impl Render {
    pub fn run(&self) -> Result<Exit, Failure> {
        use_threads(self.threads)?;
        let setup = self.setup.setup(&[])?;
        let plan = plan(&setup)?;
        let scene = &plan.scene;
        let ideal = scene.camera.sensor.is_none();
        if ideal && self.format == Format::Png {
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
        let mut names: Vec<String> = (0..count).flat_map(|k| job.names(k)).collect();
        names.push("manifest.json".to_owned());
        if self.mask {
            names.push("mask.png".to_owned());
        }
        let truth = TrueDisplacement::of_pair(scene);
        let valid = truth.valid();
        let bodies = valid.iter().any(|v| !v);
        if bodies {
            names.push("valid.npy".to_owned());
        }
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
        // A large picture occupies all threads by itself, and one at a time needs the least memory.
        let rendered: Result<(), Failure> = if shared(scene.size) {
            (0..count).try_for_each(one)
        } else {
            (0..count).into_par_iter().try_for_each(one)
        };
        bar.finish();
        rendered?;
        if bodies {
            out.write("valid.npy", &npy::mask(&valid))?;
        }
        if self.mask {
            let [width, height] = scene.size;
            let white = truth.seeded().iter().map(|s| if *s { 255 } else { 0 }).collect();
            out.write("mask.png", &picture::png(width, height, white))?;
        }
        let points: Vec<_> = self
            .truth_at
            .iter()
            .map(|&[x, y]| match truth.at(x, y) {
                Some([dx, dy]) => json!({ "x_px": x, "y_px": y, "dx_px": dx, "dy_px": dy }),
                None => json!({ "x_px": x, "y_px": y, "dx_px": null, "dy_px": null }),
            })
            .collect();
        let manifest = json!({
            "schema": "motefield-pairs/1",
            "version": env!("CARGO_PKG_VERSION"),
            "setup": setup_json(&setup),
            "seed": self.seed,
            "pairs": if self.series.is_some() { 0 } else { self.pairs },
            "frames_of_series": self.series,
            "size_px": scene.size,
            "pixels": if ideal { "expected photo-electrons, 32-bit float" } else { "grey levels, 16 bit" },
            "truth": "float64, 2 x height x width: dx, dy in px between the middles of the pulses, of what shows at the pixel midway in time; 0 inside bodies, where valid.npy (bool, height x width; written when there are any) is false",
            "bound": self.bound.then_some("float64, 2 x rows x columns: least standard deviation of the displacement along x and y, px, of the windows of the processing's last pass"),
            "truth_at": points,
            "scene": manifest::scene(scene),
            "plan": plan.facts.iter().map(|f| (f.name.to_owned(), json!(f.value))).collect::<serde_json::Map<_, _>>(),
        });
        out.write("manifest.json", format!("{manifest:#}\n"))?;
        if self.json {
            print_json(&manifest);
            return Ok(Exit::Done);
        }
        for &[x, y] in &self.truth_at {
            print(&match truth.at(x, y) {
                Some([dx, dy]) => format!("at ({x}, {y}) px: displacement ({dx:.6}, {dy:.6}) px\n"),
                None => format!("at ({x}, {y}) px: inside a body, no displacement\n"),
            });
        }
        let what = if self.series.is_some() { "frames" } else { "pairs" };
        print(&format!("{count} {what} in {}\n", out.directory().display()));
        Ok(Exit::Done)
    }
}
