//! Uncertainties of vectors, from files and in studies, held against the errors.

use super::{empty, motefield, table};

const NOISY: &str = r#"
[image]
size = [256, 256]
particle_diameter = "2.5 px"
seeding_density = "0.04 ppp"
electrons = "500 e"
background = "20 e"
[sheet]
profile = "top-hat"
[camera]
dark_noise = "5 e"
[flow]
kind = "uniform"
displacement = ["3.3 px", "1.6 px"]
"#;

/// A study of noise: correlation statistics over actual error between 0.85 and 1.15, interval
/// included (required of the noise sweep); names and picture. What coverage is right depends on how
/// much the estimates themselves scatter, so that is counted by hand below.
#[test]
fn study_holds_uncertainties_against_errors() {
    let directory = empty("reliability");
    std::fs::write(directory.join("noisy.toml"), NOISY).unwrap();
    let arguments = [
        "noisy.toml",
        "--vary",
        "image.electrons=500e,2000e",
        "--most-pairs",
        "6",
        "--uncertainty",
    ];
    table(&directory, &arguments);
    let text = std::fs::read_to_string(directory.join("study/reliability.csv")).unwrap();
    let mut lines = text.lines().map(|line| line.split(',').collect::<Vec<_>>());
    let head = lines.next().unwrap();
    assert_eq!(
        head[..8],
        [
            "value",
            "unit",
            "estimator",
            "component",
            "vectors",
            "coverage_1",
            "coverage_1_lo",
            "coverage_1_hi"
        ]
    );
    let rows: Vec<Vec<&str>> = lines.collect();
    // Two values, three estimators, two components.
    assert_eq!(rows.len(), 2 * 3 * 2);
    let at = |row: &[&str], name: &str| -> f64 {
        row[head.iter().position(|h| *h == name).unwrap()]
            .parse()
            .unwrap()
    };
    for row in rows.iter().filter(|row| row[2] == "correlation-statistics") {
        let [value, lo, hi] = ["", "_lo", "_hi"].map(|end| at(row, &format!("ratio{end}")));
        assert!(
            lo < 1.15 && hi > 0.85 && lo < value && value < hi && hi - lo < 0.3,
            "{row:?}"
        );
        assert!(at(row, "coverage_1") < at(row, "coverage_2"), "{row:?}");
    }
    let picture = std::fs::read_to_string(directory.join("study/reliability.svg")).unwrap();
    for word in [
        "correlation-statistics",
        "particle-disparity",
        "peak-ratio",
        "2000 e",
    ] {
        assert!(picture.contains(word), "{word}");
    }
    let refuse = |more: &[&str]| {
        let sweep = [
            "sweep",
            "noisy.toml",
            "--vary",
            "image.electrons=500e",
            "--out",
            "no",
        ];
        let done = motefield(&directory, &[&sweep[..], more].concat());
        assert_eq!(done.status.code(), Some(2));
        String::from_utf8_lossy(&done.stderr).into_owned()
    };
    assert!(refuse(&["--uncertainty=guess"]).contains("particle-disparity"));
    assert!(refuse(&["--uncertainty", "--set", "processing.ensemble=2"]).contains("single pairs"));
}

/// `correlate` writes uncertainties that `score` holds against the errors; vectors without them are
/// scored without.
#[test]
fn vectors_carry_their_uncertainty() {
    let directory = empty("uncertain_vectors");
    std::fs::write(directory.join("noisy.toml"), NOISY).unwrap();
    assert!(
        motefield(&directory, &["render", "noisy.toml", "--out", "pairs"])
            .status
            .success()
    );
    let frames = ["pairs/pair-00000-a.tif", "pairs/pair-00000-b.tif"];
    let correlate = |out: &str, more: &[&str]| {
        let arguments = [&["correlate"], &frames[..], &["--out", out], more].concat();
        let done = motefield(&directory, &arguments);
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        // Where the estimator is known to be wrong stands beside its results, and only there.
        let text = String::from_utf8_lossy(&done.stdout);
        assert_eq!(
            text.contains("Caution: with 10 particles per window"),
            !more.is_empty(),
            "{text}"
        );
        let done = motefield(&directory, &[&arguments[..], &["--force", "--json"]].concat());
        let vectors: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
        assert_eq!(vectors["cautions"].is_array(), !more.is_empty());
        let score = motefield(&directory, &["score", out, "--truth", "pairs", "--json"]);
        assert!(
            score.status.success(),
            "{}",
            String::from_utf8_lossy(&score.stderr)
        );
        serde_json::from_slice::<serde_json::Value>(&score.stdout).unwrap()
    };
    let plain = correlate("plain.csv", &[]);
    let sure = correlate("sure.csv", &["--uncertainty", "correlation-statistics"]);
    let text = std::fs::read_to_string(directory.join("sure.csv")).unwrap();
    assert!(text.starts_with("x_px,y_px,dx_px,dy_px,peak_ratio,status,u_x_px,u_y_px\n"));
    assert_eq!(plain["random_x_px"], sure["random_x_px"]);
    assert!(plain["coverage_1_x"].is_null());
    // Counted by hand: the vectors whose error along y is within twice their uncertainty.
    let rows: Vec<Vec<f64>> = text
        .lines()
        .skip(1)
        .map(|line| {
            line.split(',')
                .map(|field| field.parse().unwrap_or(f64::NAN))
                .collect()
        })
        .collect();
    let within = rows.iter().filter(|v| (v[3] - 1.6).abs() <= 2.0 * v[7]).count();
    let share = within as f64 / rows.len() as f64;
    let found = sure["coverage_2_y"]["value"].as_f64().unwrap();
    assert!(
        (found - share).abs() < 2.0 / rows.len() as f64 && share > 0.5,
        "{found} {share}"
    );
    // The other figures of the score stand there for all vectors, in their order.
    let [p50, p90, p95, p99] =
        [50, 90, 95, 99].map(|p| plain[format!("error_p{p}_px")]["value"].as_f64().unwrap());
    assert!(p50 < p90 && p90 < p95 && p95 < p99, "{plain:#}");
    assert_eq!(plain["valid_detection"]["value"], 1.0);
    // A uniform flow has no wave, and no fractions of all kinds.
    assert!(plain["amplitude_x"]["value"].is_null() && plain["peak_locking_x"]["value"].is_null());
    // Derived: the displacement's length over the larger random error, and 256 px over that length.
    let length = 3.3f64.hypot(1.6);
    let worse = ["x", "y"].map(|axis| plain[format!("random_{axis}_px")]["value"].as_f64().unwrap());
    let range = |name: &str| plain[name]["value"].as_f64().unwrap();
    assert!((range("dynamic_velocity_range") * worse[0].max(worse[1]) / length - 1.0).abs() < 1e-9);
    assert!((range("dynamic_spatial_range") * length / 256.0 - 1.0).abs() < 1e-9);
}
