//! Every reader against mutated files: whatever the bytes, an answer or an error that names the
//! file; no panic, no memory taken by what a header claims.
//!
//! Plain mutation of good files with proptest, so that the stable toolchain runs it: bytes are
//! flipped, overwritten by awkward numbers, cut, doubled and moved. A few hundred files a reader
//! with the other tests; `MOTEFIELD_FUZZ_CASES=20000 cargo test --test fuzz` tries more.

mod mutation;

use std::path::{Path, PathBuf};

use motefield_evaluator::statistics::Estimate;
use motefield_files::record::RecordFile;
use motefield_files::table::Table;
use motefield_files::{Memory, npy, picture};
use motefield_rig::import::{Format, decode};
use motefield_rig::quantity;
use motefield_rig::setup::{Document, Referenced, Setup};
use motefield_study::manifest::Manifest;
use motefield_study::vary::Vary;
use motefield_study::verify::case::Case;
use motefield_study::verify::record::{CaseRecord, table};
use motefield_study::verify::suite::Selection;
use motefield_study::verify::{EMBEDDED, compare};
use motefield_study::{vectors, verify::measure::Figures};
use mutation::{mutations, try_all};
use ndarray::{Array2, Array3};

/// An error that a user can act on: it names what was read and is no bare word.
fn named<T, E: std::fmt::Display>(name: &str, result: Result<T, E>) {
    if let Err(error) = result {
        let text = error.to_string();
        assert!(text.contains(name) && text.len() > name.len() + 8, "{text}");
    }
}

/// A path for readers that take files from the disk.
fn scratch(name: &str) -> PathBuf {
    let directory = Path::new(env!("CARGO_TARGET_TMPDIR")).join("fuzz");
    std::fs::create_dir_all(&directory).unwrap();
    directory.join(name)
}

fn image() -> Array2<f32> {
    Array2::from_shape_fn((9, 13), |(y, x)| ((x * 31 + y * 177) % 4096) as f32)
}

#[test]
fn tiff() {
    let seeds = [false, true].map(|float| picture::tiff(&image(), float));
    try_all(&seeds, |bytes| {
        named("a.tif", picture::decode(Path::new("a.tif"), bytes))
    });
}

#[test]
fn png() {
    let seeds = [
        picture::png_16(&image()),
        picture::png(13, 9, image().iter().map(|v| *v as u8).collect()),
    ];
    try_all(&seeds, |bytes| {
        named("a.png", picture::decode(Path::new("a.png"), bytes))
    });
}

#[test]
fn npy_truth() {
    let path = scratch("truth.npy");
    let seeds = [npy::field(&Array3::from_elem((2, 5, 7), 1.5))];
    try_all(&seeds, |bytes| {
        std::fs::write(&path, bytes).unwrap();
        named("truth.npy", npy::read_field(&path));
    });
}

#[test]
fn npy_mask() {
    let path = scratch("valid.npy");
    let seeds = [npy::mask(&Array2::from_elem((5, 7), true))];
    try_all(&seeds, |bytes| {
        std::fs::write(&path, bytes).unwrap();
        named("valid.npy", npy::read_mask(&path));
    });
}

/// Records of a journal: those before the fault come back, and none that was not written.
#[test]
fn journal() {
    let path = scratch("journal");
    let records: [&[u8]; 3] = [b"first", b"", b"the third"];
    let file = RecordFile::begin(&path, "head", true).unwrap();
    assert!(records.iter().all(|record| file.add(record).is_some()));
    drop(file);
    let seeds = [std::fs::read(&path).unwrap()];
    try_all(&seeds, |bytes| {
        std::fs::write(&path, bytes).unwrap();
        let resumed = RecordFile::resume(&path, "head").unwrap();
        if let motefield_files::record::Resumed::Records(file, found) = resumed {
            let found: Vec<_> = found.into_iter().map(|place| file.read(place).unwrap()).collect();
            assert!(
                found.iter().all(|record| records.contains(&record.as_slice())),
                "{found:?}"
            );
        }
    });
}

fn field(name: &str, samples: &[&str]) {
    let seeds: Vec<Vec<u8>> = samples
        .iter()
        .map(|sample| std::fs::read(Path::new("rig/src/import/samples").join(sample)).unwrap())
        .collect();
    let path = Path::new(name);
    let format = Format::of(path).unwrap();
    try_all(&seeds, |bytes| {
        named(name, decode(path, bytes, format, None, None))
    });
}

#[test]
fn npy_velocity() {
    let mut seeds = vec![npy::field(&Array3::from_elem((2, 5, 7), 1.5))];
    seeds.push(npy::field(&Array3::from_elem((3, 4, 4), -2.0)));
    let path = Path::new("field.npy");
    try_all(&seeds, |bytes| {
        named("field.npy", decode(path, bytes, Format::Npy, None, None))
    });
}

#[test]
fn csv_velocity() {
    let rows = |n: usize| -> String {
        (0..n * n)
            .map(|k| format!("{},{},1.5,-2e-3\n", k % n, k / n))
            .collect()
    };
    let seeds = [
        format!("x,y,u,v\n{}", rows(4)).into_bytes(),
        "x y u v\n0.1 0.2 1 2\n3.5 0.7 1 2\n1.2 4.4 1 2\n"
            .as_bytes()
            .to_vec(),
    ];
    let path = Path::new("field.csv");
    try_all(&seeds, |bytes| {
        named("field.csv", decode(path, bytes, Format::Csv, None, None))
    });
}

#[test]
fn vtk_velocity() {
    field("field.vtk", &["ascii.vtk", "binary.vtk"]);
}

#[test]
fn vtk_xml_velocity() {
    field(
        "field.vti",
        &["ascii.vti", "inline.vti", "appended.vti", "raw.vti"],
    );
}

/// A text for readers that take text.
fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

#[test]
fn setup() {
    let seeds = [
        include_bytes!("../../cases/flume.toml").to_vec(),
        include_bytes!("../../cases/dim.toml").to_vec(),
    ];
    try_all(&seeds, |bytes| {
        let files = Referenced::new(std::sync::Arc::new(Memory::default()));
        let read = Document::parse("rig.toml", &text(bytes)).and_then(|d| Setup::read(d, files));
        named("rig.toml", read);
    });
}

#[test]
fn reference_case() {
    let seeds: Vec<Vec<u8>> = EMBEDDED
        .iter()
        .step_by(7)
        .map(|(_, t)| t.as_bytes().to_vec())
        .collect();
    try_all(&seeds, |bytes| {
        named("case small", Case::read("small", &text(bytes)))
    });
}

/// Case and record of `verify`, and its table.
fn verified() -> (Case, CaseRecord) {
    let (name, text) = EMBEDDED
        .iter()
        .find(|(name, _)| *name == "tracer-stokes")
        .unwrap();
    let case = Case::read(name, text).unwrap();
    let quantities = case
        .expectations
        .iter()
        .map(|e| (e.quantity.clone(), Estimate::exact(0.5)));
    let figures: Figures = quantities.collect();
    let figures = vec![vec![figures; case.places.len()]; case.variants.len()];
    let record = CaseRecord::new(&case, 0.999, 1, 1, figures);
    (case, record)
}

#[test]
fn verify_record() {
    let (case, record) = verified();
    let seeds = [record.to_json(&case).to_string().into_bytes()];
    try_all(&seeds, |bytes| {
        if let Ok(value) = serde_json::from_slice(bytes) {
            let _ = CaseRecord::from_json(&value, &case, 0.999, 1, 1);
        }
    });
}

#[test]
fn verify_table() {
    let (case, record) = verified();
    let whole = table(&[(&case, &record)]);
    let seeds = [whole.csv().into_bytes()];
    try_all(&seeds, |bytes| {
        let read = Table::parse(Path::new("table.csv"), &text(bytes));
        if let Ok(earlier) = &read {
            let _ = compare::moved(earlier, &whole, &Selection::default());
            let _ = compare::moved(&whole, earlier, &Selection::default());
            assert!(earlier.rows.iter().all(|row| row.len() == earlier.columns.len()));
        }
        named("table.csv", read);
    });
}

#[test]
fn vectors_table() {
    let path = scratch("vectors.csv");
    let mut rows = "x_px,y_px,dx_px,dy_px,peak_ratio,status\n".to_owned();
    for k in 0..9 {
        let (x, y) = (15.5 + 16.0 * f64::from(k % 3), 15.5 + 16.0 * f64::from(k / 3));
        rows += &format!("{x},{y},1.25,-0.5,3.2,valid\n");
    }
    try_all(&[rows.into_bytes()], |bytes| {
        std::fs::write(&path, bytes).unwrap();
        named("vectors.csv", vectors::read(&path, [32, 32]));
    });
}

#[test]
fn manifest() {
    let manifest = Manifest::new("sweep", serde_json::json!({"vary": "camera.bits"}));
    try_all(&[manifest.text().into_bytes()], |bytes| {
        if let Some(read) = Manifest::parse(&text(bytes)) {
            let _ = (read.differences(&manifest), read.identity());
        }
    });
}

#[test]
fn sweep_values_and_quantities() {
    let seeds = [
        "light.pulse_length=10us..1ms:log:9",
        "lens.aperture=f/2..f/8:lin:3",
        "-2.5e-3 kg/m3",
    ];
    let seeds = seeds.map(|seed| seed.as_bytes().to_vec());
    try_all(&seeds, |bytes| {
        let text = text(bytes);
        let _ = (text.parse::<Vary>(), quantity::parse(&text));
    });
}

/// The mutations do reach beyond a header: of mutated texts some are still read, and most are not.
#[test]
fn mutations_are_neither_harmless_nor_hopeless() {
    let seed = b"x,y,u,v\n0,0,1,2\n1,0,1,2\n0,1,1,2\n1,1,1,2\n".to_vec();
    let (mut good, mut bad) = (0, 0);
    let path = Path::new("field.csv");
    mutations(&[seed], 400, |bytes| {
        match decode(path, bytes, Format::Csv, None, None) {
            Ok(_) => good += 1,
            Err(_) => bad += 1,
        }
    });
    assert!(good >= 5 && bad >= 100, "{good} read, {bad} refused");
}
