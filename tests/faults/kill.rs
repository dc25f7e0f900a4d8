//! Killed (SIGKILL) at random times, once or several times in a row: no chance to tidy up.

use super::studies::{STUDIES, Study};
use super::{Draw, Tally, program};

/// Kills study `k` so many times from its beginning.
pub fn tries(k: usize, count: usize) -> Tally {
    let study = Study::new("kill", k);
    let mut draw = Draw(0xfa11 + k as u64);
    let mut tally = Tally::default();
    for _ in 0..count {
        study.clear();
        for _ in 0..1 + draw.next() % 3 {
            let arguments = study.cut(study.resume());
            let mut child = program(&study.directory, &arguments).spawn().unwrap();
            std::thread::sleep(study.moment(&mut draw));
            child.kill().unwrap();
            let done = child.wait().unwrap();
            if done.success() {
                break;
            }
        }
        tally.add(study.ends_in_the_same_bytes());
    }
    tally
}

#[test]
fn a_killed_study_ends_in_the_same_bytes() {
    for (k, (name, _)) in STUDIES.iter().enumerate() {
        assert_eq!(tries(k, 3).lost(), 0, "{name}");
    }
}
