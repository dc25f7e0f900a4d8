//! Says beforehand what large pictures take.

use std::time::Instant;

use motefield_generator::truth::TrueDisplacement;
use motefield_generator::{Scene, Seed, pair};
use motefield_rig::keys::{camera, image};
use motefield_rig::setup::Setup;

use crate::output::say;

/// Memory and time from which on it is told what rendering or measuring takes.
const MUCH_MEMORY_BYTES: f64 = 1e9;
const LONG_S: f64 = 60.0;
/// Pixels and particles, of all pairs together, that take less than that on any machine.
const FEW: f64 = 1e8;
/// Side of the part of a picture that is rendered to tell how long all of it takes, px.
const TRIAL_PX: usize = 512;

/// What measuring pairs of a scene takes.
pub fn study(scene: &Scene) {
    let cost = scene.cost();
    let bytes = cost.memory_bytes * pairs_at_once(scene) as f64;
    if bytes > MUCH_MEMORY_BYTES {
        say(&format!(
            "The pairs under way take about {:.1} GB of memory together, each with {:.1} million particles. {}",
            bytes / 1e9,
            cost.particles / 1e6,
            "A smaller picture, thinner seeding or fewer threads take less."
        ));
    }
}

/// How many pairs are rendered at a time.
fn pairs_at_once(scene: &Scene) -> usize {
    match pair::shared(scene.size) {
        true => 1,
        false => rayon::current_num_threads(),
    }
}

/// What rendering so many pairs to files takes.
pub fn render(setup: &Setup, scene: &Scene, pairs: u32) {
    let [width, height] = scene.size;
    let pixels = width as f64 * height as f64;
    let particles = scene.cost().particles;
    if (pixels + particles) * f64::from(pairs) < FEW {
        return;
    }
    let Some(trial_s) = trial_s(scene) else {
        return;
    };
    let parts = pixels / scene.size.map(|n| n.min(TRIAL_PX) as f64).iter().product::<f64>();
    let seconds = trial_s * parts * f64::from(pairs) / rayon::current_num_threads() as f64;
    if seconds < LONG_S {
        return;
    }
    let key = if setup.has(image::SIZE) {
        image::SIZE
    } else {
        camera::SIZE
    };
    let [bytes, gigabytes] = [4.0, 16.0].map(|bytes| bytes * pixels * f64::from(pairs) / 1e9);
    say(&format!(
        "This takes about {} and writes {:.1} GB of pictures and {gigabytes:.1} GB of true displacements. A quarter of the pixels (--set '{}=[{}, {}]') takes a quarter of both.",
        words(seconds),
        bytes,
        key.path,
        width / 2,
        height / 2
    ));
}

/// Time that one thread needs for a part of the picture with its truth, s.
fn trial_s(scene: &Scene) -> Option<f64> {
    let part = Scene {
        size: scene.size.map(|n| n.min(TRIAL_PX)),
        ..scene.clone()
    };
    let begun = Instant::now();
    pair::render(&part, Seed::default()).ok()?;
    let truth = TrueDisplacement::of_pair(&part);
    (0..part.size[1]).for_each(|y| drop(truth.row(y)));
    Some(begun.elapsed().as_secs_f64())
}

fn words(seconds: f64) -> String {
    match seconds / 60.0 {
        minutes if minutes < 90.0 => format!("{minutes:.0} min"),
        minutes => format!("{:.0} h", minutes / 60.0),
    }
}

#[cfg(test)]
mod tests {
    use super::words;

    #[test]
    fn times_are_told_in_a_useful_unit() {
        assert_eq!(words(61.0), "1 min");
        assert_eq!(words(40.0 * 60.0), "40 min");
        assert_eq!(words(3.0 * 3600.0), "3 h");
    }
}
