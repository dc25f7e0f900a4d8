//! The setups that a newcomer starts from: each plans as it is written, needs few keys, and is
//! never written over a file that is there.

use super::{empty, motefield};

const STARTS: [&str; 5] = [
    "diode-water",
    "led-tank",
    "laser-tunnel",
    "lamp-river",
    "microchannel",
];

/// Lines of a setup that give a key.
fn keys(text: &str) -> usize {
    let given = |line: &&str| line.contains('=') && !line.starts_with('#');
    text.lines().filter(given).count()
}

/// Each plans without a rule that fails, has at most ten keys, and says what harms.
#[test]
fn five_starting_points_plan() {
    let directory = empty("start");
    for name in STARTS {
        let file = format!("{name}.toml");
        let done = motefield(&directory, &["start", name, &file]);
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        let said = String::from_utf8(done.stdout).unwrap();
        assert!(said.contains(&format!("motefield plan {file}")), "{said}");
        let text = std::fs::read_to_string(directory.join(&file)).unwrap();
        assert!((1..=10).contains(&keys(&text)), "{name}: {} keys", keys(&text));
        assert!(text.lines().all(|line| line.chars().count() <= 140), "{name}");
        let plan = motefield(&directory, &["plan", &file, "--strict"]);
        let [out, err] = [plan.stdout, plan.stderr].map(|bytes| String::from_utf8(bytes).unwrap());
        assert!(plan.status.success(), "{name}: {out}\n{err}");
        let harmful = name != "lamp-river";
        assert!(err.contains("Caution: ") || !harmful, "{name}: {err}");
    }
}

/// The keys that a first plan can do without, one by one put in, plan too.
#[test]
#[ignore = "slow: .ci/run takes it"]
fn keys_for_later_are_right() {
    let directory = empty("start-later");
    for name in STARTS {
        assert!(motefield(&directory, &["start", name, name]).status.success());
        let text = std::fs::read_to_string(directory.join(name)).unwrap();
        let later: Vec<&str> = text
            .lines()
            .filter(|line| line.starts_with('#') && !line.starts_with("# "))
            .collect();
        assert!(later.len() >= 3, "{name}");
        for line in later {
            std::fs::write(directory.join("more.toml"), text.replace(line, &line[1..])).unwrap();
            let plan = motefield(&directory, &["plan", "more.toml"]);
            assert!(
                plan.status.success(),
                "{name}, {line}: {}",
                String::from_utf8_lossy(&plan.stderr)
            );
        }
    }
}

#[test]
fn nothing_is_written_over() {
    let directory = empty("start-again");
    std::fs::write(directory.join("rig.toml"), "mine").unwrap();
    let refused = motefield(&directory, &["start", "led-tank", "rig.toml"]);
    let message = String::from_utf8(refused.stderr).unwrap();
    assert_eq!(refused.status.code(), Some(2));
    assert!(
        message.contains("rig.toml: exists already and is not overwritten; choose another name"),
        "{message}"
    );
    assert_eq!(
        std::fs::read_to_string(directory.join("rig.toml")).unwrap(),
        "mine"
    );
    let nowhere = motefield(&directory, &["start", "led-tank", "no/such/rig.toml"]);
    assert_eq!(nowhere.status.code(), Some(2));
    let unknown = motefield(&directory, &["start", "maser", "other.toml"]);
    assert_eq!(unknown.status.code(), Some(2));
}
