//! The Cramér–Rao bound of rendered windows, and the efficiency beside the error.

use motefield_generator::{Seed, pair};
use motefield_rig::plan::plan;
use motefield_rig::setup::Setup;
use motefield_study::run::bound;

use super::{empty, figure, motefield, table};

/// Sparse bright particles that move by whole pixels to either side, so that both frames show the
/// same; hardly any noise but the light's.
const SPARSE: &str = r#"
[image]
size = [1024, 1024]
particle_diameter = "5 px"
seeding_density = "0.0005 ppp"
electrons = "1000000 e"
[sheet]
profile = "top-hat"
[camera]
bits = 16
full_well = "1000000 e"
dark_noise = "0.1 e"
[flow]
kind = "uniform"
displacement = ["4 px", "2 px"]
[processing]
passes = [{ window = 64, overlap = 0 }]
weighting = "top-hat"
"#;

/// Closed form: N electrons of a particle image of standard deviation s tell its place to (s² +
/// 1/12)/N (Thompson, Larson & Webb 2002, first term; from memory), so the information of all
/// windows together is that of all electrons shown, halved as both frames are noisy. 3 %: the
/// formula's own (below 1 % at s = 1.25 px), images that overlap (density 0.0005 over 4 π s², 1 %)
/// and those that the border cuts.
#[test]
fn sparse_windows_hold_the_information_of_their_electrons() {
    let plan = plan(&Setup::from_text::<&str>("test", SPARSE, &[]).unwrap()).unwrap();
    let seed = Seed {
        study: 3,
        ..Seed::default()
    };
    let shown = pair::shown(&plan.scene, seed, 0, false).unwrap();
    let electrons: f64 = shown.iter().map(|p| p.electrons).sum();
    let expected = electrons / (2.0 * (1.25f64.powi(2) + 1.0 / 12.0));
    let bound = bound::of(&plan.scene, &plan.processing, seed);
    assert_eq!(bound.len(), 16 * 16);
    for c in 0..2 {
        let information: f64 = bound.iter().map(|b| b[c].powi(-2)).sum();
        let ratio = information / expected;
        println!("information over that of all electrons: {ratio:.4}");
        assert!((ratio - 1.0).abs() < 0.03, "{ratio}");
    }
}

/// The table has bound and efficiency with their intervals; an ensemble of four knows the
/// displacement twice as well (derived: information adds up; 5 % for the windows that differ); no
/// setting is better than its bound beyond its interval; and `render --bound` writes what the table
/// sums up.
#[test]
fn bound_and_efficiency_stand_beside_the_error() {
    let directory = empty("bound");
    let scene = SPARSE
        .replace("0.0005 ppp", "0.03 ppp")
        .replace("1000000 e", "8000 e")
        .replace("[1024, 1024]", "[256, 256]")
        .replace(
            "window = 64, overlap = 0",
            "window = 32, overlap = 0.5 }, { window = 32, overlap = 0.5",
        );
    std::fs::write(directory.join("scene.toml"), scene).unwrap();
    let vary = ["scene.toml", "--bound", "--most-pairs", "8", "--vary"];
    let rows = table(&directory, &[&vary[..], &["processing.ensemble=1,4"]].concat());
    for axis in ["x", "y"] {
        let [one, four] = [&rows[0], &rows[1]].map(|row| figure(row, &format!("bound_{axis}_px")));
        assert!((one[0] / four[0] / 2.0 - 1.0).abs() < 0.05, "{one:?} {four:?}");
        for row in &rows {
            let [efficiency, lo, hi] = figure(row, &format!("efficiency_{axis}"));
            assert!(lo < efficiency && efficiency < hi && lo < 1.0, "{row:?}");
            let ratio =
                figure(row, &format!("bound_{axis}_px"))[0] / figure(row, &format!("random_{axis}_px"))[0];
            assert!((efficiency / ratio - 1.0).abs() < 1e-4);
        }
    }
    let done = motefield(
        &directory,
        &[
            "render",
            "scene.toml",
            "--pairs",
            "2",
            "--bound",
            "--out",
            "pairs",
        ],
    );
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let squares: Vec<f64> = (0..2)
        .flat_map(|k| {
            let field =
                motefield_files::npy::read_field(&directory.join(format!("pairs/bound-{k:05}.npy"))).unwrap();
            assert_eq!(field.dim(), (2, 15, 15));
            field
                .index_axis(ndarray::Axis(0), 0)
                .iter()
                .map(|b| b * b)
                .collect::<Vec<_>>()
        })
        .collect();
    let rms = (squares.iter().sum::<f64>() / squares.len() as f64).sqrt();
    // Six digits in the table; an outlier or two would be left out there, but there are none.
    assert!(
        (rms / figure(&rows[0], "bound_x_px")[0] - 1.0).abs() < 1e-5,
        "{rms} {rows:?}"
    );
}
