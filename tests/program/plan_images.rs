//! A planned rig, rendered: what its pictures show when they are measured pixel by pixel is what
//! the plan says, within the 5 % that the plan is required to hold. Nothing here uses the program's
//! own correlation or fits: blobs, moments, counts and differences only.

use motefield_generator::{Seed, render};
use motefield_rig::plan::{FactId, plan};
use motefield_rig::setup::Setup;
use ndarray::Array2;

/// The embedded rig with a sheet in which all particles shine alike, a whole-pixel displacement
/// along x (so that both frames show the same picture but for noise), few particles, and a bright
/// pulse with a streak.
const CHANGES: &[(&str, &str)] = &[
    ("sheet.profile", "top-hat"),
    ("sheet.out_of_plane", "0"),
    ("tracer.concentration", "0.33 /mm3"),
    ("light.power", "20 W"),
    ("light.pulse_length", "600 us"),
    ("image.size[0]", "1400"),
    ("image.size[1]", "1400"),
    ("image.background", "12 e"),
];
/// 8 px in 2.4 ms at 55 um per pixel.
const FLOW: &str = "[flow]\nkind = \"uniform\"\ndisplacement = [\"8 px\", \"0 px\"]\n";
/// Half the side of the box in which an image's moments are taken, px: 7 standard deviations and
/// half the streak.
const BOX: i64 = 7;

struct Blob {
    /// Centre of light.
    at: [f64; 2],
    /// Variance along x and y.
    variance: [f64; 2],
    peak: (usize, usize),
    alone: bool,
}

/// Connected regions brighter than `level`, each with its moments in a box about its centre.
fn blobs(image: &Array2<f64>, level: f64) -> Vec<Blob> {
    let (height, width) = image.dim();
    let mut seen = Array2::from_elem((height, width), false);
    let mut regions: Vec<Vec<(usize, usize)>> = Vec::new();
    for start in (0..height).flat_map(|y| (0..width).map(move |x| (y, x))) {
        if seen[start] || image[start] < level {
            continue;
        }
        seen[start] = true;
        let (mut region, mut next) = (Vec::new(), vec![start]);
        while let Some((y, x)) = next.pop() {
            region.push((y, x));
            for (v, u) in [
                (y.wrapping_sub(1), x),
                (y + 1, x),
                (y, x.wrapping_sub(1)),
                (y, x + 1),
            ] {
                if v < height && u < width && !seen[(v, u)] && image[(v, u)] >= level {
                    seen[(v, u)] = true;
                    next.push((v, u));
                }
            }
        }
        regions.push(region);
    }
    let centre = |region: &[(usize, usize)]| {
        let sum: f64 = region.iter().map(|p| image[*p]).sum();
        let x = region.iter().map(|p| p.1 as f64 * image[*p]).sum::<f64>() / sum;
        let y = region.iter().map(|p| p.0 as f64 * image[*p]).sum::<f64>() / sum;
        [x, y]
    };
    let centres: Vec<[f64; 2]> = regions.iter().map(|region| centre(region)).collect();
    let inside = |c: &[f64; 2]| {
        let room = BOX as f64 + 1.0;
        c[0] > room && c[1] > room && c[0] < width as f64 - room && c[1] < height as f64 - room
    };
    regions
        .iter()
        .zip(&centres)
        .map(|(region, c)| {
            let near = centres
                .iter()
                .filter(|o| (o[0] - c[0]).abs() < 12.0 && (o[1] - c[1]).abs() < 12.0)
                .count();
            let mut blob = Blob {
                at: *c,
                variance: [0.0; 2],
                peak: region[0],
                alone: near == 1 && inside(c),
            };
            if blob.alone {
                let (x0, y0) = (c[0].round() as i64, c[1].round() as i64);
                let (mut m0, mut m1, mut m2) = (0.0, [0.0; 2], [0.0; 2]);
                for (j, i) in (-BOX..=BOX).flat_map(|j| (-BOX..=BOX).map(move |i| (j, i))) {
                    let v = image[((y0 + j) as usize, (x0 + i) as usize)];
                    m0 += v;
                    for (k, d) in [(0, i as f64), (1, j as f64)] {
                        m1[k] += v * d;
                        m2[k] += v * d * d;
                    }
                }
                blob.variance = [0, 1].map(|k| m2[k] / m0 - (m1[k] / m0).powi(2));
                blob.at = [x0 as f64 + m1[0] / m0, y0 as f64 + m1[1] / m0];
                blob.peak = (blob.at[1].round() as usize, blob.at[0].round() as usize);
            }
            blob
        })
        .collect()
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

#[test]
fn pictures_show_what_was_planned() {
    let rig = include_str!("../../cases/flume.toml");
    let (head, tail) = (rig.find("[flow]").unwrap(), rig.find("[timing]").unwrap());
    let text = format!("{}{FLOW}{}", &rig[..head], &rig[tail..]);
    let plan = plan(&Setup::from_text("test", &text, CHANGES).unwrap()).unwrap();
    let planned = |id: FactId| plan.figure(id).unwrap_or_else(|| panic!("{id:?}"));
    // The camera by its stated figures: 12 bits, full well 10 000 e, dark noise 4 e (EMVA 1288: y =
    // K n + black).
    let gain = 4095.0 / (10_000.0 + 5.0 * 4.0);
    let black = f64::ceil(5.0 * gain * 4.0) + gain * 12.0;
    let electrons = |frame: &Array2<f32>| frame.mapv(|y| (f64::from(y) - black) / gain);

    let (mut count, mut area) = (0.0, 0.0);
    let (mut peaks, mut differences, mut across, mut along) = (vec![], vec![], vec![], vec![]);
    for realisation in 0..5 {
        let seed = Seed {
            study: 11,
            realisation,
            ..Seed::default()
        };
        let pair = render(&plan.scene, seed).unwrap();
        let (a, b) = (electrons(&pair.a), electrons(&pair.b));
        let found = blobs(&a, 0.35 * planned(FactId::PeakElectrons));
        count += found.len() as f64;
        area += (a.nrows() * a.ncols()) as f64;
        for blob in found.iter().filter(|blob| blob.alone) {
            across.push(blob.variance[1]);
            along.push(blob.variance[0] - blob.variance[1]);
            let off = [0, 1].map(|k| (blob.at[k] - blob.at[k].round()).abs());
            let (y, x) = blob.peak;
            // On a pixel's centre: within 0.15 px across the streak and 0.3 px along its plateau,
            // which dims the mean peak by 1.3 %.
            if off[0] < 0.3 && off[1] < 0.15 && x + 8 < a.ncols() {
                peaks.push(a[(y, x)]);
                differences.push(a[(y, x)] - b[(y, x + 8)]);
            }
        }
    }
    let spread = (differences.iter().map(|d| d * d).sum::<f64>() / differences.len() as f64 / 2.0).sqrt();
    let measured = [
        (FactId::PeakElectrons, mean(&peaks)),
        // The two frames differ by the noise of both.
        (FactId::PeakSnr, mean(&peaks) / spread),
        (FactId::SeedingDensity, count / area),
        // Across the streak: four standard deviations of the image as the pixels record it.
        (FactId::RecordedDiameter, 4.0 * mean(&across).sqrt()),
        // A uniform streak of length L adds L²/12 along itself.
        (FactId::LongestStreak, (12.0 * mean(&along)).sqrt()),
    ];
    assert!(
        differences.len() > 1000,
        "{} images on a pixel's centre: 2 % of their noise needs about 1000",
        differences.len()
    );
    for (id, value) in measured {
        assert!(
            (value / planned(id) - 1.0).abs() < 0.05,
            "{id:?}: {value} in the pictures, {} planned",
            planned(id)
        );
    }
}
