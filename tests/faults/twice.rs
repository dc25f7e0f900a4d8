//! Two processes at a time.

use super::studies::{STUDIES, Study};
use super::{Tally, contents, message, program};

/// Starts study `k` twice at once in the same directory, so many times: one does it, the other is
/// refused or finds it done.
pub fn tries(k: usize, count: usize) -> Tally {
    let study = Study::new("twice", k);
    let mut tally = Tally::default();
    for _ in 0..count {
        study.clear();
        let children = [0, 1].map(|_| program(&study.directory, &study.cut(&[])).spawn().unwrap());
        let done = children.map(|child| child.wait_with_output().unwrap());
        let codes = done.each_ref().map(|done| done.status.code());
        let fair = codes.contains(&Some(0)) && codes.iter().all(|code| matches!(code, Some(0 | 2)));
        if !fair {
            let messages = done.each_ref().map(message);
            eprintln!("{}: {codes:?} {messages:?}", study.name);
        }
        tally.add(fair && study.ends_in_the_same_bytes());
    }
    tally
}

#[test]
fn of_two_in_one_directory_one_does_the_study() {
    for (k, (name, _)) in STUDIES.iter().enumerate() {
        assert_eq!(tries(k, 2).lost(), 0, "{name}");
    }
}

/// Where no directory is chosen each has its own.
#[test]
fn studies_without_a_directory_do_not_meet() {
    const COUNT: usize = 8;
    let study = Study::new("undirected", 0);
    let arguments = [study.arguments, &["--threads", "1"]].concat();
    // So many that several look for a free name at the same moment.
    let children: Vec<_> = (0..COUNT)
        .map(|_| program(&study.directory, &arguments).spawn().unwrap())
        .collect();
    for child in children {
        let done = child.wait_with_output().unwrap();
        assert!(done.status.success(), "{}", message(&done));
    }
    for k in 1..=COUNT {
        let name = if k == 1 {
            "sweep".to_owned()
        } else {
            format!("sweep-{k}")
        };
        assert!(contents(&study.directory.join(&name)) == study.whole, "{name}");
    }
}
