//! Pictures, vectors and correlation planes.

use motefield_evaluator::uncertainty::{Estimator, estimate};
use motefield_evaluator::{Processing, VectorField, correlate, correlation_plane};
use motefield_files::{Content, picture};
use motefield_generator::pair::Crops;
use motefield_generator::{Crop, Scene, Seed, render, truth};
use ndarray::{Array2, s};
use serde_json::{Value, json};

use crate::answer::{Answer, Refusal, seed};
use crate::module::{KeptPair, Module};

fn words(error: impl std::fmt::Display) -> Refusal {
    Refusal::Words(error.to_string())
}

/// Grey levels of a frame, two bytes each, little-endian.
fn levels(frame: &Array2<f32>) -> impl Iterator<Item = u8> + '_ {
    frame
        .iter()
        .flat_map(|v| (v.round().clamp(0.0, 65535.0) as u16).to_le_bytes())
}

/// The part of a picture of `whole` px that a request asks for: a square of `most` px about the
/// place `at`, which is in shares of the picture's width and height; all of it without `most`, or
/// where it has at most twice as many pixels.
fn part(whole: [usize; 2], request: &Value) -> Crop {
    let most = request["most"]
        .as_u64()
        .unwrap_or(u64::MAX)
        .min(Scene::MAX_SIDE as u64) as usize;
    let size = match whole[0] * whole[1] > 2 * most * most {
        true => whole.map(|side| side.min(most.max(1))),
        false => whole,
    };
    let origin = [0, 1].map(|k| {
        let middle = request["at"][k].as_f64().unwrap_or(0.5) * whole[k] as f64;
        let last = (whole[k] - size[k]) as f64;
        (middle - 0.5 * size[k] as f64).round().clamp(0.0, last) as usize
    });
    Crop { origin, size }
}

impl Module {
    /// A pair, as the command line renders it, or a part of one: grey levels of frame A, then of
    /// frame B; with `hash` the hash of frame A's TIFF file.
    pub(crate) fn pair(&mut self, scene: Scene, request: &Value) -> Result<Answer, Refusal> {
        let seed = Seed {
            study: seed(request),
            ..Seed::default()
        };
        let crop = part(scene.size, request);
        let pair = match crop.size == scene.size {
            true => render(&scene, seed),
            false => Crops::of(&scene, vec![crop]).map(|parts| parts.render(0, seed)),
        };
        let pair = pair.map_err(words)?;
        let bytes: Vec<u8> = levels(&pair.a).chain(levels(&pair.b)).collect();
        let mut sorted: Vec<f32> = pair.a.iter().copied().collect();
        let rank = (sorted.len() - 1) * 998 / 1000;
        let (_, white, _) = sorted.select_nth_unstable_by(rank, f32::total_cmp);
        let sensor = scene.camera.sensor;
        let black = sensor.map_or(scene.background_e[0], |s| {
            s.black_level_dn + s.gain_dn_per_e * scene.background_e[0]
        });
        let mut json = json!({
            "size": crop.size,
            "origin": crop.origin,
            "whole": scene.size,
            "black": black,
            "white": white.max(black as f32 + 1.0),
            "most": sensor.map_or(65535.0, |s| 2f64.powi(s.bits as i32) - 1.0),
        });
        if request["hash"] == true {
            json["sha256_a"] = json!(Content::new(picture::tiff(&pair.a, sensor.is_none())).sha256);
        }
        self.pair = Some(KeptPair { scene, crop, pair });
        Ok(Answer { json, bytes })
    }

    fn last(&self) -> Result<&KeptPair, Refusal> {
        self.pair.as_ref().ok_or_else(|| words("there is no pair yet"))
    }

    /// The vectors of the last pair, or of a part of it, with their true errors and estimated
    /// uncertainties, px.
    pub(crate) fn vectors(&self, processing: &Processing, request: &Value) -> Result<Answer, Refusal> {
        let KeptPair { scene, crop, pair } = self.last()?;
        let Crop { origin, size } = part(crop.size, request);
        let [left, top] = origin;
        let [a, b] =
            [&pair.a, &pair.b].map(|frame| frame.slice(s![top..top + size[1], left..left + size[0]]));
        let mut field = correlate(a, b, processing).map_err(words)?;
        let uncertainty = estimate(a, b, &field, processing, Estimator::ALL[0]).ok();
        for vector in &mut field.vectors {
            vector.x_px += left as f64;
            vector.y_px += top as f64;
        }
        let mut json = vectors_json(scene, *crop, &field, uncertainty.as_deref());
        json["origin"] = json!(origin);
        json["size"] = json!(size);
        Ok(json.into())
    }

    /// The correlation plane of the window about a pixel of the last pair.
    pub(crate) fn plane(&self, processing: &Processing, x: f64, y: f64) -> Result<Answer, Refusal> {
        let KeptPair { scene, crop, pair } = self.last()?;
        let Some(last) = processing.passes.last() else {
            return Err(words("there is no pass"));
        };
        let corner = [0, 1].map(|k| {
            let most = crop.size[k].saturating_sub(last.window[k]) as f64;
            ([x, y][k] - 0.5 * last.window[k] as f64).round().clamp(0.0, most) as usize
        });
        let [cut_a, cut_b] = [&pair.a, &pair.b].map(|frame| {
            frame.slice(s![
                corner[1]..(corner[1] + last.window[1]).min(crop.size[1]),
                corner[0]..(corner[0] + last.window[0]).min(crop.size[0])
            ])
        });
        let plane = correlation_plane(cut_a, cut_b, processing).map_err(words)?;
        let at = truth::at(scene, x + crop.origin[0] as f64, y + crop.origin[1] as f64);
        let mut answer = json!({ "corner": corner, "window": last.window, "truth_px": at });
        if let Some(plane) = plane {
            let [reach_x, reach_y] = plane.reach();
            let rows = -reach_y..=reach_y;
            let values: Vec<f32> = rows
                .flat_map(|j| (-reach_x..=reach_x).map(move |i| (i, j)))
                .map(|(i, j)| plane.at(i, j))
                .collect();
            answer["reach"] = json!([reach_x, reach_y]);
            answer["plane"] = json!(values);
        }
        Ok(answer.into())
    }
}

fn vectors_json(
    scene: &Scene,
    crop: Crop,
    field: &VectorField,
    uncertainty_px: Option<&[[f64; 2]]>,
) -> Value {
    let exact = truth::TrueDisplacement::of_pair(scene);
    let [left, top] = crop.origin.map(|n| n as f64);
    let at: Vec<[f64; 2]> = (field.vectors.iter())
        .map(|v| [left + v.x_px, top + v.y_px])
        .collect();
    let truths = exact.at_all(&at);
    let vector = |(k, v): (usize, &motefield_evaluator::Vector)| {
        let error = truths[k].map(|[x, y]| [v.dx_px - x, v.dy_px - y]);
        json!([
            v.x_px,
            v.y_px,
            v.dx_px,
            v.dy_px,
            error,
            uncertainty_px.map(|u| u[k]),
            v.status.as_str()
        ])
    };
    json!({
        "columns": field.columns,
        "rows": field.rows,
        "window": field.window,
        "spacing": field.spacing,
        "vectors": field.vectors.iter().enumerate().map(vector).collect::<Value>(),
    })
}
