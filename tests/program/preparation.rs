//! Preparation of frames as keys of the setup, which a study sweeps.

use super::{empty, figure, motefield, table};

/// Particles among bright spots on the wall, the same in every frame.
const SPOTTED: &str = r#"
[image]
size = [192, 192]
particle_diameter = "2.5 px"
seeding_density = "0.03 ppp"
electrons = "2000 e"
[reflections]
hot_spots = 60
hot_spot_peak = "4000 e"
hot_spot_diameter = "4 px"
[flow]
kind = "uniform"
displacement = ["4.3 px", "1.6 px"]
[processing]
passes = [{ window = 32, overlap = 0.5 }, { window = 32, overlap = 0.5 }]
"#;

fn sweep(name: &str, arguments: &[&str]) -> Vec<[f64; 3]> {
    let directory = empty(name);
    std::fs::write(directory.join("spotted.toml"), SPOTTED).unwrap();
    let rows = table(
        &directory,
        &[&["spotted.toml", "--most-pairs", "4"], arguments].concat(),
    );
    rows.iter().map(|row| figure(row, "outliers")).collect()
}

/// What stands still pulls displacements to zero (common practice, no source): taken off as a
/// background of its own series, or of the frames of the ensemble, it does not.
#[test]
fn background_takes_off_what_stands_still() {
    let series = [
        "--vary",
        "processing.background=none,minimum,mean",
        "--set",
        "processing.background_frames=12",
    ];
    let outliers = sweep("background", &series);
    assert!(outliers[0][1] > 0.1, "{outliers:?}");
    for made in &outliers[1..] {
        assert!(made[2] < 0.5 * outliers[0][1], "{outliers:?}");
    }
    let of_ensemble = [
        "--vary",
        "processing.background=none,minimum",
        "--set",
        "processing.ensemble=4",
    ];
    let outliers = sweep("ensemble_background", &of_ensemble);
    assert!(outliers[1][2] < outliers[0][1], "{outliers:?}");
}

/// Each of the others changes what is measured, and lessens what uneven bright spots do; a mask
/// takes windows out of the count.
#[test]
fn every_step_can_be_swept() {
    for (key, values) in [
        ("intensity_cap", "2,100"),
        ("high_pass", "7,191"),
        ("local_normalisation", "15,191"),
    ] {
        let outliers = sweep(key, &["--vary", &format!("processing.{key}={values}")]);
        assert!(outliers[0][0] != outliers[1][0], "{key}: {outliers:?}");
    }
    let directory = empty("mask");
    std::fs::write(directory.join("spotted.toml"), SPOTTED).unwrap();
    // A body in the flow is black in the mask: half of the picture here.
    let half: Vec<u8> = (0..192 * 192)
        .map(|k| if k % 192 < 96 { 0 } else { 255 })
        .collect();
    std::fs::write(
        directory.join("mask.png"),
        motefield_files::picture::png(192, 192, half),
    )
    .unwrap();
    let vectors = |more: &[&str]| {
        let rows = table(
            &directory,
            &[
                &[
                    "spotted.toml",
                    "--most-pairs",
                    "2",
                    "--vary",
                    "image.electrons=2000e",
                ],
                more,
            ]
            .concat(),
        );
        rows[0]["vectors"].parse::<usize>().unwrap()
    };
    // Windows of 32 px every 16 px: 11 columns, with centres from 15.5 to 175.5, of which six lie
    // at 95.5 and above.
    assert_eq!(vectors(&[]), 2 * 11 * 11);
    assert_eq!(vectors(&["--set", "processing.mask=mask.png"]), 2 * 6 * 11);
}

/// Wrong keys are named, with the remedy, before anything is rendered.
#[test]
fn wrong_keys_are_named() {
    let directory = empty("wrong_preparation");
    std::fs::write(directory.join("spotted.toml"), SPOTTED).unwrap();
    std::fs::write(
        directory.join("small.png"),
        motefield_files::picture::png(9, 9, vec![1; 81]),
    )
    .unwrap();
    for (sets, words) in [
        (
            &["background=minimum"][..],
            &["processing.background ", "background_frames = 20"][..],
        ),
        (
            &["background=darkest"],
            &["processing.background ", "\"minimum\", \"mean\""],
        ),
        (
            &["background=mean", "background_picture=small.png"],
            &["processing.background_picture", "give either"],
        ),
        (
            &["background_picture=small.png"],
            &["processing.background_picture", "9x9 px", "192x192 px"],
        ),
        (
            &["background_picture=absent.png"],
            &["processing.background_picture", "absent.png", "no such file"],
        ),
        (
            &["background_picture=small.png", "background_frames=9"],
            &["processing.background_frames", "either"],
        ),
        (&["mask=small.png"], &["processing.mask", "192x192"]),
        (&["high_pass=8"], &["processing.high_pass", "odd", "write 9"]),
        (
            &["local_normalisation=1"],
            &["processing.local_normalisation", "3 to"],
        ),
        (&["intensity_cap=0"], &["processing.intensity_cap", "above 0"]),
        (&["ensemble=0"], &["processing.ensemble", "1 to 1000"]),
    ] {
        let mut arguments = vec!["plan".to_owned(), "spotted.toml".to_owned()];
        arguments.extend(
            sets.iter()
                .flat_map(|s| ["--set".to_owned(), format!("processing.{s}")]),
        );
        let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
        let done = motefield(&directory, &arguments);
        let message = String::from_utf8_lossy(&done.stderr).into_owned();
        assert_eq!(done.status.code(), Some(2), "{sets:?}: {message}");
        assert!(
            words.iter().all(|word| message.contains(word)),
            "{sets:?}: {message}"
        );
    }
}
