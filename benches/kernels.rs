//! One stage at a time, alone on one thread: `kernels NAME SECONDS` repeats it for so long and
//! prints the processor time of one run in seconds; with 0 seconds it runs once more after the
//! first, for counting its instructions (those of `counted`). `kernels` alone lists the names.
//!
//! What a stage takes is the same wherever it is measured: scene, seed and frames are fixed.

use std::error::Error;
use std::hint::black_box;
use std::sync::Arc;
use std::time::Instant;

use motefield_evaluator::{Correlation, Correlator, Interpolator, Pass, Processing, Refinement, Weighting};
use motefield_generator::flow::{Flow, Spectrum, Turbulence, Uniform, VortexStreet};
use motefield_generator::pair::expected;
use motefield_generator::truth::{self, TrueDisplacement};
use motefield_generator::{Camera, Exposure, Pair, Profile, Scene, Seed, Sensor, Sheet, render};
use ndarray::Array2;

/// A stage, made ready to run.
type Stage = Box<dyn FnMut()>;

/// Name of a stage, and what makes it ready.
type Named = (&'static str, fn() -> Stage);

/// All stages.
const STAGES: [Named; 17] = [
    ("light", || light(0.0)),
    ("light-streak", || light(2.0)),
    ("sensor-20", || sensor(20.0)),
    ("sensor-500", || sensor(500.0)),
    ("displacement-street", || displacement(street())),
    ("displacement-turbulence", || displacement(turbulence())),
    ("displacement-street-integrated", || integrated(street())),
    ("displacement-turbulence-integrated", || integrated(turbulence())),
    ("truth-uniform", truth_uniform),
    ("correlate-16", || windows(16, Correlation::Circular)),
    ("correlate-32", || windows(32, Correlation::Circular)),
    ("correlate-64", || windows(64, Correlation::Circular)),
    ("correlate-32-padded", || windows(32, Correlation::ZeroPadded)),
    ("passes-256", || passes(256)),
    ("passes-2048", || passes(2048)),
    ("particle-fit-64", || particle_fit(64)),
    ("particle-fit-256", || particle_fit(256)),
];

fn scene(size: usize, streak_px: f64, flow: Arc<dyn Flow>) -> Scene {
    Scene {
        size: [size, size],
        particle_diameter_px: 2.2,
        seeding_density_ppp: 0.05,
        electrons: 5000.0,
        background_e: [20.0; 2],
        sheet: Sheet {
            profile: Profile::Gaussian,
            thickness_px: 20.0,
            ..Sheet::default()
        },
        exposure: Exposure::Streak([streak_px, 0.0]),
        flow,
        camera: Camera {
            sensor: Some(Sensor::default()),
            ..Camera::default()
        },
        ..Scene::default()
    }
}

fn uniform() -> Arc<dyn Flow> {
    Arc::new(Uniform {
        displacement_px: [3.3, 1.2, 0.0],
    })
}

/// Six vortices.
fn street() -> Arc<dyn Flow> {
    Arc::new(VortexStreet::new([512.0, 512.0], 3, 400.0, 113.0, 2.6, 44.0))
}

fn turbulence() -> Arc<dyn Flow> {
    Arc::new(Turbulence::new(Spectrum::new(2.0, 80.0, 20.0), 7))
}

/// Noise-free light of a pair of 1024 × 1024 px.
fn light(streak_px: f64) -> Stage {
    let scene = scene(1024, streak_px, uniform());
    Box::new(move || {
        black_box(expected(&scene, Seed::default()).expect("a valid scene"));
    })
}

/// Noise of one frame of 1024 × 1024 px. A sixteenth of an electron is added so that the means do
/// not stand in the tables of the distribution, as those of a picture seldom do.
fn sensor(mean_e: f32) -> Stage {
    let mean_e = mean_e + 1.0 / 16.0;
    let mut image = Array2::from_elem((1024, 1024), mean_e);
    Box::new(move || {
        image.fill(mean_e);
        Sensor::default().read(&mut image, Seed::default(), 0);
        black_box(&image);
    })
}

fn points() -> Vec<[f64; 2]> {
    (0..16_384)
        .map(|k| [f64::from(k % 128) * 8.0, f64::from(k / 128) * 8.0])
        .collect()
}

/// True displacements at 16,384 points at once.
fn displacement(flow: Arc<dyn Flow>) -> Stage {
    let scene = scene(1024, 0.0, flow);
    Box::new(move || {
        black_box(TrueDisplacement::of_pair(&scene).at_all(&points()));
    })
}

/// The same by integrating each path to 1e-9 px, the reference.
fn integrated(flow: Arc<dyn Flow>) -> Stage {
    Box::new(move || {
        for [x, y] in points() {
            black_box(truth::displacement(flow.as_ref(), x, y));
        }
    })
}

/// The displacement at every pixel of 1024 × 1024 px in a flow with a closed path.
fn truth_uniform() -> Stage {
    let scene = scene(1024, 0.0, uniform());
    Box::new(move || {
        black_box(truth::dense(&scene));
    })
}

fn rendered(size: usize, flow: Arc<dyn Flow>) -> Pair {
    render(&scene(size, 0.0, flow), Seed::default()).expect("a valid scene")
}

fn correlated(size: usize, processing: Processing) -> Stage {
    let Pair { a, b } = rendered(size, uniform());
    let mut correlator = Correlator::new(size, size, &processing).expect("valid processing");
    Box::new(move || {
        black_box(correlator.correlate(a.view(), b.view()).expect("valid frames"));
    })
}

/// One pass of 961 windows of 32 × 32 px, or of 225 of 64 × 64 px, over 512 × 512 px at half
/// overlap.
fn windows(side: usize, correlation: Correlation) -> Stage {
    let passes = vec![Pass::square(side, 0.5)];
    correlated(
        512,
        Processing {
            passes,
            weighting: Weighting::Gaussian,
            correlation,
            ..Processing::default()
        },
    )
}

/// Windows of 64 and then 32 px at an overlap of 0.75 over `size` × `size` px, with deformation.
fn passes(size: usize) -> Stage {
    let passes = vec![Pass::square(64, 0.75), Pass::square(32, 0.75)];
    correlated(
        size,
        Processing {
            passes,
            interpolator: Interpolator::Cubic,
            ..Processing::default()
        },
    )
}

/// Fit of all particles of a pair of `size` × `size` px with 0.03 particles per pixel.
fn particle_fit(size: usize) -> Stage {
    let scene = Scene {
        seeding_density_ppp: 0.03,
        ..scene(size, 0.0, uniform())
    };
    let Pair { a, b } = render(&scene, Seed::default()).expect("a valid scene");
    let processing = Processing {
        refinement: Refinement::ParticleFit,
        ..Processing::default()
    };
    let mut correlator = Correlator::new(size, size, &processing).expect("valid processing");
    Box::new(move || {
        black_box(correlator.correlate(a.view(), b.view()).expect("valid frames"));
    })
}

/// Processor time of this process so far, s, where the system tells it; else the time of day.
fn processor_time_s(begun: Instant) -> f64 {
    std::fs::read_to_string("/proc/self/schedstat")
        .ok()
        .and_then(|text| text.split(' ').next()?.parse::<f64>().ok())
        .map_or_else(|| begun.elapsed().as_secs_f64(), |ns| 1e-9 * ns)
}

/// Runs a stage. A function of its own, so that only its instructions are counted.
#[inline(never)]
fn counted(stage: &mut Stage) {
    stage();
}

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [name, seconds] = arguments.as_slice() else {
        STAGES.iter().for_each(|(name, _)| println!("{name}"));
        return Ok(());
    };
    let found = STAGES.iter().find(|(known, _)| known == name);
    let (_, ready) = found.ok_or_else(|| format!("no stage is called {name}"))?;
    let seconds: f64 = seconds.parse()?;
    rayon::ThreadPoolBuilder::new().num_threads(1).build_global()?;
    let mut stage = ready();
    // The first time also fills tables that are made once.
    stage();
    let begun = Instant::now();
    let before = processor_time_s(begun);
    // The system may tell the processor time in steps of some milliseconds, so a single run is no
    // measure.
    let mut runs = 0.0;
    loop {
        counted(&mut stage);
        runs += 1.0;
        let taken = processor_time_s(begun) - before;
        if taken >= seconds {
            println!("{:.9}", taken / runs);
            return Ok(());
        }
    }
}
