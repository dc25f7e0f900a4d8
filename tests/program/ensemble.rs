//! Ensemble correlation, in a study and from files.

use super::{empty, figure, motefield, table};

/// Dim, but bright enough that a single pair loses few vectors.
const DIM: &str = r#"
[image]
size = [256, 256]
particle_diameter = "2.5 px"
seeding_density = "0.03 ppp"
electrons = "300 e"
background = "20 e"
[sheet]
profile = "top-hat"
[flow]
kind = "uniform"
displacement = ["3.3 px", "1.6 px"]
[camera]
dark_noise = "5 e"
"#;

/// Derived: the planes of N pairs are added, so the noise of the sum falls against its peak by the
/// square root of N, and so does the random error. The two intervals (95 %) must meet at that
/// ratio, and the pairs are all counted.
#[test]
fn ten_pairs_have_the_error_of_one_over_the_root_of_ten() {
    let directory = empty("ensemble");
    std::fs::write(directory.join("dim.toml"), DIM).unwrap();
    let rows = table(
        &directory,
        &[
            "dim.toml",
            "--vary",
            "processing.ensemble=1,10",
            "--most-pairs",
            "40",
            "--precision",
            "0.01",
        ],
    );
    for row in &rows {
        assert_eq!(row["pairs"], "40");
        assert!(figure(row, "outliers")[0] < 0.02, "{row:?}");
    }
    for name in ["random_x_px", "random_y_px"] {
        let [one, ten] = [&rows[0], &rows[1]].map(|row| figure(row, name));
        let [_, lo, hi] = ten.map(|v| v * 10f64.sqrt());
        assert!(
            lo < one[2] && one[1] < hi,
            "{name}: {one:?} alone, {ten:?} together"
        );
        assert!(one[0] > 0.02, "{name}: {one:?} is not dim");
    }
}

/// All pairs named are measured together; what does not fit is named.
#[test]
fn several_pairs_from_files() {
    let directory = empty("ensemble_files");
    std::fs::write(directory.join("dim.toml"), DIM.replace("300 e", "60 e")).unwrap();
    let render = ["render", "dim.toml", "--pairs", "12", "--out", "pairs"];
    assert!(motefield(&directory, &render).status.success());
    let names: Vec<String> = (0..12)
        .flat_map(|k| ["a", "b"].map(|frame| format!("pairs/pair-{k:05}-{frame}.tif")))
        .collect();
    let correlate = |frames: &[String], more: &[&str]| {
        let frames: Vec<&str> = frames.iter().map(String::as_str).collect();
        let arguments = [
            &["correlate"],
            &frames[..],
            &["--out", "v.csv", "--force", "--setup", "dim.toml"],
            more,
        ];
        let done = motefield(&directory, &arguments.concat());
        (
            done.status.code(),
            String::from_utf8_lossy(&done.stderr).into_owned(),
        )
    };
    let total = |frames: &[String]| {
        assert_eq!(correlate(frames, &[]).0, Some(0));
        let score = motefield(
            &directory,
            &[
                "score", "v.csv", "--truth", "pairs", "--setup", "dim.toml", "--json",
            ],
        );
        let score: serde_json::Value = serde_json::from_slice(&score.stdout).unwrap();
        [&score["total_px"]["value"], &score["outliers"]["value"]].map(|v| v.as_f64().unwrap())
    };
    let (alone, together) = (total(&names[..2]), total(&names));
    assert!(
        together[0] < 0.5 * alone[0] && together[1] < alone[1],
        "{alone:?} {together:?}"
    );
    for (frames, more, words) in [
        (&names[..3], &[][..], &["3 pictures", "frame B"][..]),
        (
            &names[..4],
            &["--set", "processing.ensemble=3"],
            &["processing.ensemble is 3", "2 pairs"],
        ),
        (
            &names[..2],
            &["--set", "processing.background=minimum"],
            &["background", "several pairs"],
        ),
    ] {
        let (code, message) = correlate(frames, more);
        assert_eq!(code, Some(2), "{message}");
        assert!(words.iter().all(|word| message.contains(word)), "{message}");
    }
}
