//! What must be said beside a measured field, and pictures that make no pair.

use std::path::{Path, PathBuf};

use super::{empty, motefield};

const SCENE: &str = r#"
[image]
size = [192, 192]
particle_diameter = "2.5 px"
seeding_density = "0.03 ppp"
electrons = "3000 e"
[flow]
kind = "uniform"
displacement = ["3.3 px", "1.2 px"]
[processing]
passes = [{ window = 32, overlap = 0.5 }]
"#;

/// Two rendered pairs in a directory, and the names of the frames A and B of each.
fn rendered(name: &str, more: &[&str]) -> (PathBuf, [String; 4]) {
    let directory = empty(name);
    std::fs::write(directory.join("scene.toml"), SCENE).unwrap();
    let render = ["render", "scene.toml", "--pairs", "2", "--out", "pairs"];
    let done = motefield(&directory, &[&render[..], more].concat());
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let kind = if more.contains(&"png") { "png" } else { "tif" };
    let frames = ["0-a", "0-b", "1-a", "1-b"].map(|frame| format!("pairs/pair-0000{frame}.{kind}"));
    (directory, frames)
}

/// What correlating the frames prints, and its exit code.
fn correlate(directory: &Path, frames: &[&str]) -> (String, Option<i32>) {
    let how = ["--setup", "scene.toml", "--out", "v.csv", "--force"];
    let done = motefield(directory, &[&["correlate"], frames, &how].concat());
    let all = [done.stdout, done.stderr].concat();
    (String::from_utf8_lossy(&all).into_owned(), done.status.code())
}

/// A pair as it should be needs no caution; frame A twice, and frames of different pairs, which
/// share no particle, do. The table that says so can be scored.
#[test]
fn frames_that_show_no_flow_say_so() {
    let (directory, [a, b, _, other]) = rendered("no_flow", &[]);
    let (words, code) = correlate(&directory, &[&a, &b]);
    assert!(code == Some(0) && !words.contains("caution"), "{words}");
    let (words, code) = correlate(&directory, &[&a, &a]);
    assert!(
        code == Some(0) && words.contains("the same picture, bit by bit"),
        "{words}"
    );
    let (words, code) = correlate(&directory, &[&a, &other]);
    assert!(code == Some(0) && words.contains("may be chance"), "{words}");
    let table = std::fs::read_to_string(directory.join("v.csv")).unwrap();
    assert!(
        table.lines().next().unwrap().ends_with("status,caveats"),
        "{table}"
    );
    let score = ["score", "v.csv", "--truth", "pairs", "--setup", "scene.toml"];
    let done = motefield(&directory, &score);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let twice = [
        "score",
        "v.csv",
        "v.csv",
        "--truth",
        "pairs",
        "--setup",
        "scene.toml",
    ];
    let done = motefield(&directory, &twice);
    let message = String::from_utf8_lossy(&done.stderr).into_owned();
    assert!(
        done.status.code() == Some(2) && message.contains("count twice"),
        "{message}"
    );
}

/// A TIFF of two pages is a pair, of three is none; frames of unlike depth and a pair given twice
/// are refused.
#[test]
fn pictures_that_make_no_pair_are_refused() {
    let (directory, [a, b, ..]) = rendered("no_pair", &["--format", "png"]);
    let frames = [&a, &b].map(|name| image::open(directory.join(name)).unwrap().into_luma16());
    let pages = |count: usize, name: &str| {
        let file = std::fs::File::create(directory.join(name)).unwrap();
        let mut encoder = tiff::encoder::TiffEncoder::new(file).unwrap();
        for frame in frames.iter().cycle().take(count) {
            let (width, height) = frame.dimensions();
            encoder
                .write_image::<tiff::encoder::colortype::Gray16>(width, height, frame.as_raw())
                .unwrap();
        }
    };
    let (words, code) = correlate(&directory, &[&a, &b]);
    assert_eq!(code, Some(0), "{words}");
    let apart = std::fs::read(directory.join("v.csv")).unwrap();
    pages(2, "both.tif");
    let (words, code) = correlate(&directory, &["both.tif"]);
    assert_eq!(code, Some(0), "{words}");
    assert_eq!(std::fs::read(directory.join("v.csv")).unwrap(), apart);
    pages(3, "three.tif");
    let (words, code) = correlate(&directory, &["three.tif"]);
    assert!(
        code == Some(2) && words.contains("three.tif holds 3 pictures"),
        "{words}"
    );
    let (words, code) = correlate(&directory, &[&a, "both.tif", &b]);
    assert!(
        code == Some(2) && words.contains("both.tif holds 2 pictures"),
        "{words}"
    );
    let (words, code) = correlate(&directory, &["both.tif", &a, &b]);
    assert!(code == Some(2) && words.contains("count twice"), "{words}");
    let (width, height) = frames[1].dimensions();
    let shallow = image::GrayImage::from_fn(width, height, |x, y| {
        image::Luma([(frames[1].get_pixel(x, y).0[0] >> 4) as u8])
    });
    shallow.save(directory.join("shallow.png")).unwrap();
    let (words, code) = correlate(&directory, &[&a, "shallow.png"]);
    assert!(
        code == Some(2) && words.contains("16 bits") && words.contains("8 bits"),
        "{words}"
    );
}

/// What is to be known of every point stands once, below the table; of one point, in its row. In
/// the file it stands in every row.
#[test]
fn what_holds_everywhere_is_said_once() {
    let directory = empty("said_once");
    std::fs::write(directory.join("scene.toml"), SCENE).unwrap();
    let whole = [
        "--set",
        "flow.displacement[0]=3 px",
        "--set",
        "flow.displacement[1]=0 px",
    ];
    let sweep = |values: &str, out: &str| {
        let vary = format!("image.electrons={values}");
        let arguments = [
            "sweep",
            "scene.toml",
            "--vary",
            &vary,
            "--most-pairs",
            "3",
            "--out",
            out,
        ];
        let done = motefield(&directory, &[&arguments[..], &whole].concat());
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        let rows = std::fs::read_to_string(directory.join(out).join("table.csv")).unwrap();
        (String::from_utf8_lossy(&done.stdout).into_owned(), rows)
    };
    let (words, rows) = sweep("1000e,3000e", "both");
    assert_eq!(words.matches("every place moves by").count(), 1, "{words}");
    assert!(words.contains("Everywhere: every place moves by"), "{words}");
    assert_eq!(rows.matches("whole-pixel").count(), 2, "{rows}");
    let (words, _) = sweep("1000e", "one");
    assert!(
        words.contains("every place moves by") && !words.contains("Everywhere"),
        "{words}"
    );
}
