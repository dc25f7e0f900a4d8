//! Parts of the usual kinds that the program brings along: `include = ["usual:camera-small"]`.
//! Their texts are those in `cases/parts/`.

use crate::near;

/// What a name begins with that means one of these parts.
pub(super) const PREFIX: &str = "usual:";

macro_rules! parts {
    ($($name:literal),* $(,)?) => {
        /// Names and texts.
        const PARTS: &[(&str, &str)] = &[
            $(($name, include_str!(concat!("../../../../cases/parts/", $name, ".toml")))),*
        ];
    };
}

parts!(
    "camera-double-frame",
    "camera-high-speed",
    "camera-large",
    "camera-medium",
    "camera-small",
    "lens-100mm-macro",
    "lens-12mm",
    "lens-35mm",
    "lens-objective-4x",
    "light-diode-bar-blue",
    "light-diode-bar-infrared",
    "light-double-pulse-laser",
    "light-lamp",
    "light-led-green",
    "light-led-white",
    "tracer-alumina",
    "tracer-dehs",
    "tracer-hollow-glass",
    "tracer-olive-oil",
    "tracer-polyamide",
    "tracer-polystyrene",
    "tracer-titanium-dioxide",
);

/// The text of a part.
pub(super) fn text(name: &str) -> Option<&'static str> {
    let found = PARTS.iter().find(|(known, _)| *known == name);
    found.map(|(_, text)| *text)
}

/// The names of all parts.
pub fn names() -> impl Iterator<Item = &'static str> {
    PARTS.iter().map(|(name, _)| *name)
}

/// The name that is meant by one that is not known.
pub(super) fn nearest(name: &str) -> Option<&'static str> {
    near::nearest(name, names())
}
