//! A value as it is stated, apart from its tolerance: `"2.5 W +- 20 %"`.

use crate::keys::{self, Kind};

/// The two ways to write it.
const SIGNS: [&str; 2] = ["+-", "\u{b1}"];

/// The value and what stands behind the sign, in a text that has one, under a key that holds a
/// number.
pub(super) fn parts<'a>(path: &str, text: &'a str) -> Option<(&'a str, &'a str)> {
    let kind = keys::find(path)?.kind;
    if matches!(kind, Kind::File | Kind::Text | Kind::Choice(_) | Kind::Unit(_)) {
        return None;
    }
    let (value, tolerance) = SIGNS.iter().find_map(|sign| text.split_once(sign))?;
    Some((value.trim(), tolerance.trim()))
}
