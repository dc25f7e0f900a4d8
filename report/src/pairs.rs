//! What stands beside rendered pairs: `manifest.json` and the lists of particles.

mod scene;

use motefield_files::table::Table;
use motefield_generator::pair::Shown;
use motefield_rig::plan::Plan;
use motefield_rig::setup::Setup;
use serde_json::{Map, Value, json};

use crate::json;

/// A point of the picture and its true displacement, px; none inside a body.
pub type PointTruth = ([f64; 2], Option<[f64; 2]>);

/// What was rendered, from what.
#[derive(Debug, Clone, Copy)]
pub struct Rendered<'a> {
    /// The setup.
    pub setup: &'a Setup,
    /// The scene and the processing that came of it.
    pub plan: &'a Plan,
    /// Seed of the study.
    pub seed: u64,
    /// Number of pairs; 0 where a series was rendered.
    pub pairs: u32,
    /// Number of frames of a series.
    pub frames_of_series: Option<u32>,
    /// Whether the Cramér–Rao bound was written.
    pub bound: bool,
    /// Displacements asked for.
    pub truth_at: &'a [PointTruth],
}

const TRUTH: &str = "float64, 2 x height x width: dx, dy in px between the middles of the pulses, of what shows at the \
                     pixel midway in time; 0 inside bodies, where valid.npy (bool, height x width; written when there \
                     are any) is false";
const BOUND: &str = "float64, 2 x rows x columns: least standard deviation of the displacement along x and y, px, of the \
                     windows of the processing's last pass";

/// `manifest.json`: how the pictures came about, with every parameter of the scene, and what the
/// files hold.
pub fn json(manifest: &Rendered) -> Value {
    let plan = manifest.plan;
    let scene = &plan.scene;
    let pixels = match scene.camera.sensor {
        None => "expected photo-electrons, 32-bit float",
        Some(_) => "grey levels, 16 bit",
    };
    let truth_at = manifest.truth_at.iter().map(|([x, y], truth)| {
        json!({
            "x_px": x,
            "y_px": y,
            "dx_px": truth.map(|t| t[0]),
            "dy_px": truth.map(|t| t[1]),
        })
    });
    let facts = plan
        .facts
        .iter()
        .map(|f| (f.id.as_str().to_owned(), json!(f.value)));
    let fields = json!({
        "setup": json::setup(manifest.setup),
        "seed": manifest.seed,
        "pairs": manifest.pairs,
        "frames_of_series": manifest.frames_of_series,
        "size_px": scene.size,
        "pixels": pixels,
        "truth": TRUTH,
        "bound": manifest.bound.then_some(BOUND),
        "truth_at": truth_at.collect::<Value>(),
        "scene": scene::scene(scene),
        "plan": facts.collect::<Map<_, _>>(),
    });
    json::file("motefield-pairs/2", fields)
}

/// The displacements asked for, in words.
pub fn words(truth_at: &[PointTruth]) -> String {
    let line = |([x, y], truth): &PointTruth| match truth {
        Some([dx, dy]) => format!("at ({x}, {y}) px: displacement ({dx:.6}, {dy:.6}) px\n"),
        None => format!("at ({x}, {y}) px: inside a body, no displacement\n"),
    };
    truth_at.iter().map(line).collect()
}

/// The particles of a frame as CSV, one row per particle: `id, x_px, y_px, z_px, diameter_px,
/// electrons_e`.
pub fn particles(shown: &[Shown]) -> String {
    let mut table = Table::new(["id", "x_px", "y_px", "z_px", "diameter_px", "electrons_e"]);
    table.rows.extend(shown.iter().map(|p| {
        let places = [p.x_px, p.y_px, p.z_px, p.diameter_px].map(|v| format!("{v:.6}"));
        let [x, y, z, diameter] = places;
        vec![
            p.id.to_string(),
            x,
            y,
            z,
            diameter,
            format!("{:.6e}", p.electrons),
        ]
    }));
    table.csv()
}
