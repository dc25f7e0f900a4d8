//! The same setup and seed give the same bytes whatever the number of threads.

use super::{empty, motefield};

const SCENE: &str = r#"
[image]
size = [160, 128]
particle_diameter = "2.2 px"
seeding_density = "0.03 ppp"
electrons = "900 e"
background = "10 e"
pulse_fraction = 0.2
[flow]
kind = "lamb-oseen"
peak_displacement = "3 px"
core_radius = "30 px"
carried_by = ["4 px", "1 px"]
[processing]
passes = [{ window = 32, overlap = 0.5 }, { window = 24, overlap = 0.5 }]
"#;

#[test]
fn threads_do_not_change_a_byte() {
    let directory = empty("same_bytes");
    std::fs::write(directory.join("scene.toml"), SCENE).unwrap();
    let files = |threads: &str| {
        let (pairs, study) = (format!("pairs-{threads}"), format!("study-{threads}"));
        let render = [
            "render",
            "scene.toml",
            "--pairs",
            "3",
            "--seed",
            "9",
            "--out",
            &pairs,
            "--threads",
            threads,
        ];
        assert!(motefield(&directory, &render).status.success());
        let sweep = [
            "sweep",
            "scene.toml",
            "--vary",
            "image.electrons=100e..900e:log:3",
            "--most-pairs",
            "6",
            "--out",
            &study,
            "--threads",
            threads,
        ];
        assert!(motefield(&directory, &sweep).status.success());
        let mut all = Vec::new();
        for part in [pairs, study] {
            let mut entries: Vec<_> = std::fs::read_dir(directory.join(part))
                .unwrap()
                .map(|e| e.unwrap().path())
                .collect();
            entries.sort();
            all.extend(
                entries
                    .iter()
                    .map(|path| (path.file_name().unwrap().to_owned(), std::fs::read(path).unwrap())),
            );
        }
        all
    };
    let one = files("1");
    // Three files per pair; table, curve, answer and report; the manifest in either folder, the
    // journal.
    assert_eq!(one.len(), 3 * 3 + 4 + 3);
    for threads in ["2", "7"] {
        assert!(
            one == files(threads),
            "{threads} threads give other bytes than one"
        );
    }
}
