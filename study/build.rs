//! Lists the cases in cases/reference/, so that a new one is embedded in the program without a line
//! of code.

use std::{env, fs, path::Path};

fn main() {
    let directory =
        Path::new(&env::var("CARGO_MANIFEST_DIR").expect("set by cargo")).join("../cases/reference");
    println!("cargo::rerun-if-changed={}", directory.display());
    let mut files: Vec<_> = fs::read_dir(&directory)
        .expect("cases/reference can be listed")
        .map(|entry| entry.expect("cases/reference can be listed").path())
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    let mut list = String::from("[\n");
    for file in &files {
        println!("cargo::rerun-if-changed={}", file.display());
        let name = file.file_stem().expect("a name").to_string_lossy();
        list.push_str(&format!(
            "    ({name:?}, include_str!({:?})),\n",
            file.display().to_string()
        ));
    }
    list.push(']');
    let out = Path::new(&env::var("OUT_DIR").expect("set by cargo")).join("reference.rs");
    fs::write(out, list).expect("the list of cases can be written");
}
