//! Mutations of bytes.

use std::cell::RefCell;

use proptest::prelude::*;
use proptest::test_runner::{Config, RngSeed, TestRunner};

/// Numbers at which readers stumble, as they stand in texts.
const WORDS: [&str; 12] = [
    "-1",
    "0",
    "NaN",
    "inf",
    "1e999",
    "-1e-999",
    "99999999999999999999",
    "\"",
    "\n",
    "\r\n",
    ",",
    "[[",
];

/// A change at a place, given as a share of the length.
#[derive(Debug, Clone)]
enum Change {
    Flip(u8),
    Byte(u8),
    /// A 32-bit number, of either byte order.
    Number(u32, bool),
    Word(usize),
    Cut,
    Remove(f64),
    Double(f64),
}

fn change() -> impl Strategy<Value = Change> {
    let number = prop_oneof![
        Just(0),
        Just(1),
        Just(0x7fff_ffff),
        Just(0x8000_0000),
        Just(u32::MAX),
        any::<u32>()
    ];
    prop_oneof![
        3 => (0u8..8).prop_map(Change::Flip),
        3 => any::<u8>().prop_map(Change::Byte),
        2 => (number, any::<bool>()).prop_map(|(n, big)| Change::Number(n, big)),
        2 => (0..WORDS.len()).prop_map(Change::Word),
        1 => Just(Change::Cut),
        1 => (0.0..0.3f64).prop_map(Change::Remove),
        1 => (0.0..0.3f64).prop_map(Change::Double),
    ]
}

fn apply(bytes: &mut Vec<u8>, share: f64, change: &Change) {
    if bytes.is_empty() {
        return;
    }
    let at = ((share * bytes.len() as f64) as usize).min(bytes.len() - 1);
    let end = |length: &f64| (at + 1 + (length * bytes.len() as f64) as usize).min(bytes.len());
    match change {
        Change::Flip(bit) => bytes[at] ^= 1 << bit,
        Change::Byte(byte) => bytes[at] = *byte,
        Change::Number(number, big) => {
            let number = match big {
                true => number.to_be_bytes(),
                false => number.to_le_bytes(),
            };
            bytes.iter_mut().skip(at).zip(number).for_each(|(b, n)| *b = n);
        }
        Change::Word(k) => drop(bytes.splice(at..at, WORDS[*k].bytes())),
        Change::Cut => bytes.truncate(at),
        Change::Remove(length) => drop(bytes.drain(at..end(length))),
        Change::Double(length) => {
            let part = bytes[at..end(length)].to_vec();
            drop(bytes.splice(at..at, part));
        }
    }
}

/// Hands `cases` mutations of the seeds to `reader`.
pub fn mutations(seeds: &[Vec<u8>], cases: u32, reader: impl FnMut(&[u8])) {
    let config = Config {
        cases,
        rng_seed: RngSeed::Fixed(0x6d6f_7465),
        failure_persistence: None,
        ..Config::default()
    };
    let reader = RefCell::new(reader);
    let strategy = (
        0..seeds.len(),
        prop::collection::vec((0.0..1.0f64, change()), 1..6),
    );
    let tried = TestRunner::new(config).run(&strategy, |(seed, changes)| {
        let mut bytes = seeds[seed].clone();
        changes
            .iter()
            .for_each(|(at, change)| apply(&mut bytes, *at, change));
        reader.borrow_mut()(&bytes);
        Ok(())
    });
    if let Err(failure) = tried {
        panic!("{failure}");
    }
}

/// Hands as many mutations to a reader as are asked for, after the seeds themselves.
pub fn try_all(seeds: &[Vec<u8>], mut reader: impl FnMut(&[u8])) {
    seeds.iter().for_each(|seed| reader(seed));
    let asked = std::env::var("MOTEFIELD_FUZZ_CASES").ok();
    mutations(seeds, asked.and_then(|n| n.parse().ok()).unwrap_or(300), reader);
}
