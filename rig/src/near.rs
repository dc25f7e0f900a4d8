//! Names that were meant: the edits between a name that is not known and those that are.

/// The edits from a name to a known one, where it is near enough to be meant: one, and one more for
/// every four letters of the longer.
pub(crate) fn edits(name: &str, known: &str) -> Option<usize> {
    let [length, other] = [name, known].map(|text| text.chars().count());
    let most = 1 + length.max(other) / 4;
    // Names that differ more in length than is allowed need not be compared.
    if length.abs_diff(other) > most {
        return None;
    }
    Some(strsim::damerau_levenshtein(name, known)).filter(|edits| *edits <= most)
}

/// The nearest of the known names, if one is near enough; of equally near ones the first by letters.
pub(crate) fn nearest<'a>(name: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let near = known.filter_map(|known| Some((edits(name, known)?, known)));
    near.min().map(|(_, known)| known)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two letters of four or more, one of fewer; the first by letters of equally near ones.
    #[test]
    fn near_names_are_those_with_few_edits() {
        assert_eq!(edits("usec", "us"), Some(2));
        assert_eq!((edits("sec", "s"), edits("sm", "ms")), (None, Some(1)));
        assert_eq!(
            nearest("lenss", ["light", "lens", "less"].into_iter()),
            Some("lens")
        );
        assert_eq!(nearest("lxns", ["lens", "lans"].into_iter()), Some("lans"));
        assert_eq!(nearest("camera", ["lens", "light"].into_iter()), None);
    }
}
