//! Pictures from which nothing follows: a row that says so, and the rest of the table stands.

use super::{empty, motefield, table};

const SCENE: &str = r#"
[image]
size = [128, 128]
particle_diameter = "2.5 px"
seeding_density = "0.03 ppp"
electrons = "3000 e"
[camera]
bits = 8
gain = "0.02 DN/e"
full_well = "10000 e"
dark_noise = "8 e"
[flow]
kind = "linear-shear"
displacement = ["3.3 px", "0 px"]
shear = 0.02
[processing]
passes = [{ window = 32, overlap = 0.5 }]
"#;

/// Light of one electron leaves hardly a vector here and there; the point with 3000 stands beside.
#[test]
fn a_point_without_vectors_is_a_row_that_says_so() {
    let directory = empty("no_vectors");
    std::fs::write(directory.join("scene.toml"), SCENE).unwrap();
    let few = ["scene.toml", "--most-pairs", "6"];
    let vary = ["--vary", "image.electrons=1e,30e,60e,100e,3000e"];
    let rows = table(&directory, &[&few[..], &vary].concat());
    assert_eq!(rows.len(), 5);
    assert_eq!(
        (&rows[0]["total_px"][..], &rows[0]["caveats"][..]),
        ("nan", "no-vector")
    );
    assert_eq!(rows[4]["caveats"], "");
    assert!(rows[4]["total_px"].parse::<f64>().unwrap() < 0.2);
    let again = [&["sweep"], &few[..], &vary, &["--out", "study", "--force"]].concat();
    let words = motefield(&directory, &again);
    let words = String::from_utf8_lossy(&words.stdout).into_owned();
    let row = words
        .lines()
        .find(|line| line.trim_start().starts_with("1 e "))
        .expect("a row");
    assert!(row.contains("no answer: no vector is valid"), "{words}");
    assert!(!words.contains("NaN"), "{words}");
}

/// One bit tells a bright particle from the dark, and all black from nothing.
#[test]
fn a_camera_of_one_bit_gives_an_answer_or_says_that_it_has_none() {
    let directory = empty("one_bit");
    std::fs::write(directory.join("scene.toml"), SCENE).unwrap();
    let bit = ["--set", "camera.bits=1", "--set", "camera.gain=0.0005 DN/e"];
    let vary = [
        "scene.toml",
        "--most-pairs",
        "4",
        "--vary",
        "image.electrons=1e,9000e",
    ];
    let rows = table(&directory, &[&vary[..], &bit].concat());
    assert_eq!(
        rows[0]["caveats"].split(' ').next(),
        Some("no-vector"),
        "{rows:?}"
    );
    assert!(rows[1]["total_px"].parse::<f64>().unwrap() < 0.5, "{rows:?}");
}

/// Under a black mask nothing is measured, and a truth that is no number is none.
#[test]
fn nothing_to_compare_with_is_said() {
    let directory = empty("no_truth");
    std::fs::write(directory.join("scene.toml"), SCENE).unwrap();
    let black = image::GrayImage::from_pixel(128, 128, image::Luma([0]));
    black.save(directory.join("black.png")).unwrap();
    let masked = [
        "scene.toml",
        "--most-pairs",
        "4",
        "--set",
        "processing.mask=\"black.png\"",
    ];
    let rows = table(
        &directory,
        &[&masked[..], &["--vary", "image.electrons=3000e"]].concat(),
    );
    assert!(rows[0]["caveats"].starts_with("no-truth"), "{rows:?}");

    let run = |arguments: &[&str]| {
        let done = motefield(&directory, arguments);
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        String::from_utf8_lossy(&done.stdout).into_owned()
    };
    run(&["render", "scene.toml", "--out", "pairs"]);
    let pair = ["pairs/pair-00000-a.tif", "pairs/pair-00000-b.tif"];
    run(&[
        "correlate",
        pair[0],
        pair[1],
        "--setup",
        "scene.toml",
        "--out",
        "v.csv",
    ]);
    // Every number of the truth behind its header becomes NaN.
    let truth = directory.join("pairs/truth-00000.npy");
    let mut bytes = std::fs::read(&truth).unwrap();
    let header = 10 + usize::from(u16::from_le_bytes([bytes[8], bytes[9]]));
    for number in bytes[header..].chunks_exact_mut(8) {
        number.copy_from_slice(&f64::NAN.to_le_bytes());
    }
    let half = header + (bytes.len() - header) / 2;
    std::fs::write(directory.join("nothing.npy"), &bytes).unwrap();
    let score = ["score", "v.csv", "--setup", "scene.toml", "--truth"];
    let words = run(&[&score[..], &["nothing.npy"]].concat());
    assert!(words.contains("no window has a truth"), "{words}");
    let json = run(&[&score[..], &["nothing.npy", "--json"]].concat());
    assert!(json.contains("\"id\": \"no-truth\""), "{json}");
    // Of the lower half alone the truth is missing.
    let mut known = std::fs::read(&truth).unwrap();
    let component = (known.len() - header) / 2;
    for start in [header + component / 2, half + component / 2] {
        known[start..start + component / 2].copy_from_slice(&bytes[header..header + component / 2]);
    }
    std::fs::write(directory.join("part.npy"), &known).unwrap();
    let words = run(&[&score[..], &["part.npy"]].concat());
    assert!(words.contains("have no truth and do not count"), "{words}");
}
