//! Every dependency may be used under a licence that goes with this program's own (MIT or
//! Apache-2.0): permissive, no duties beyond keeping the notice.

use std::process::Command;

use serde_json::Value;

/// Allowed, by their SPDX identifiers.
const ALLOWED: &[&str] = &[
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

/// Whether an SPDX expression can be met by allowed licences alone (SPDX 2.3, annex D: AND binds
/// closer than OR; `/` is Cargo's old word for OR).
fn met(expression: &str) -> bool {
    let expression = expression.replace('/', " OR ").replace(['(', ')'], " ");
    let words = expression.split_whitespace().collect::<Vec<_>>().join(" ");
    // Without brackets: some alternative must consist of allowed licences. Brackets are taken away
    // above, which is right for `A AND (B OR C)` only if every licence in it is allowed.
    let all = |text: &str| text.split(" AND ").all(|licence| ALLOWED.contains(&licence));
    match expression.contains("AND") && expression.contains("OR") {
        true => words.split(" OR ").all(all),
        false => words.split(" OR ").any(all),
    }
}

#[test]
fn expressions_are_read_as_spdx_says() {
    for good in [
        "MIT",
        "MIT OR GPL-3.0",
        "MIT/Apache-2.0",
        "(MIT OR Apache-2.0) AND Unicode-3.0",
    ] {
        assert!(met(good), "{good}");
    }
    for bad in ["GPL-3.0", "MIT AND GPL-3.0", "", "(MIT OR GPL-3.0) AND MPL-2.0"] {
        assert!(!met(bad), "{bad}");
    }
}

/// Of all packages that the lock file names and that are built for this machine.
#[test]
fn every_dependency_has_an_allowed_licence() {
    let version = Command::new("rustc").arg("-vV").output().expect("rustc starts");
    let version = String::from_utf8(version.stdout).unwrap();
    let host = version.lines().find_map(|line| line.strip_prefix("host: "));
    let metadata = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--locked", "--offline"])
        .args(["--filter-platform", host.expect("the machine's name")])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo starts");
    let message = String::from_utf8_lossy(&metadata.stderr);
    assert!(metadata.status.success(), "{message}");
    let metadata: Value = serde_json::from_slice(&metadata.stdout).unwrap();
    let used: Vec<&str> = metadata["resolve"]["nodes"]
        .as_array()
        .expect("nodes")
        .iter()
        .filter_map(|node| node["id"].as_str())
        .collect();
    let packages = metadata["packages"].as_array().expect("packages");
    let packages = packages
        .iter()
        .filter(|p| used.contains(&p["id"].as_str().unwrap()));
    let mut seen = 0;
    for package in packages {
        let licence = package["license"].as_str().unwrap_or_default();
        assert!(
            met(licence),
            "{} {}: {licence:?}",
            package["name"],
            package["version"]
        );
        // From the registry or from this workspace: nothing that can change under its version.
        let source = package["source"].as_str();
        let known =
            source.is_none_or(|s| s.starts_with("registry+https://github.com/rust-lang/crates.io-index"));
        assert!(known, "{}: {source:?}", package["name"]);
        seen += 1;
    }
    assert!(seen > 50, "only {seen} packages were looked at");
}
