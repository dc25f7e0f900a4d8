//! Reference figures, and whether this version still agrees with them.
//!
//! A [`case`] is a file: where its figures come from, what to measure ([`measure`]) along which
//! sweep, and what is expected of it ([`case::expectation`]). A [`suite`] measures its cases and
//! [`judge`]s each expectation; [`record`] keeps what was found; [`compare`] lists what moved
//! between two versions.
//!
//! # False alarms
//! An expectation fails only when the whole interval of what was measured lies outside the range
//! allowed. The confidence of each interval is 1 - 0.01/n, n being the number of statements about
//! chance in the whole suite (places × curves, pairs of an ordering, slopes), also when only some
//! cases run. By Bonferroni's inequality, which needs no independence, a correct program then fails
//! any of them in less than 1 % of all suites with fresh particles and noise.

pub mod case;
pub mod compare;
pub mod formula;
pub mod judge;
pub mod measure;
pub mod record;
pub mod suite;

/// The cases embedded in the program: names and texts.
pub const EMBEDDED: &[(&str, &str)] = &include!(concat!(env!("OUT_DIR"), "/reference.rs"));
