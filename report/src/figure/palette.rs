//! The colours of all pictures: those of Okabe and Ito (2008), distinct to all common kinds of
//! colour vision, and greys.

/// Texts, frames and ticks.
pub const INK: &str = "#222";
/// Texts that matter less.
pub const FAINT: &str = "#666";
/// Base lines and hatching.
pub const GREY: &str = "#bbb";
/// Grounds on which nothing is known.
pub const PALE: &str = "#ececec";
/// Grid lines, also over coloured bands.
pub const GRID: &str = "stroke=\"#000\" stroke-opacity=\"0.1\"";
/// The ground of a picture.
pub const PAPER: &str = "#fff";

/// Okabe and Ito's black.
pub const BLACK: &str = "#000";
/// Okabe and Ito's blue.
pub const BLUE: &str = "#0072b2";
/// Okabe and Ito's vermilion.
pub const VERMILION: &str = "#d55e00";
/// Okabe and Ito's bluish green.
pub const GREEN: &str = "#009e73";
/// Okabe and Ito's reddish purple.
pub const PURPLE: &str = "#cc79a7";
/// Okabe and Ito's orange.
pub const ORANGE: &str = "#e69f00";
/// Okabe and Ito's sky blue.
pub const SKY: &str = "#56b4e9";
/// Okabe and Ito's yellow.
pub const YELLOW: &str = "#f0e442";

/// Colours of the curves of one plot, in their order.
pub const SERIES: [&str; 7] = [BLUE, VERMILION, GREEN, PURPLE, ORANGE, SKY, BLACK];

/// The colour of curve `k`; they repeat after the seventh.
pub fn series(k: usize) -> &'static str {
    SERIES[k % SERIES.len()]
}

/// A colour as red, green and blue from 0 to 255.
pub type Rgb = [f64; 3];

/// For values in their order: dark blue, green, orange.
pub const IN_ORDER: [Rgb; 3] = [[38.0, 60.0, 140.0], [45.0, 150.0, 110.0], [225.0, 120.0, 20.0]];
/// For sizes: light to dark green-blue in equal steps to the eye, so distinct by lightness alone.
pub const BY_SIZE: [Rgb; 2] = [[233.0, 246.0, 231.0], [13.0, 61.0, 82.0]];

/// The colour at `share` of the way along a ramp, from 0 to 1 (beyond: its ends).
///
/// ```
/// use motefield_report::figure::palette::{BY_SIZE, ramp};
///
/// assert_eq!(ramp(&BY_SIZE, 0.0), "#e9f6e7");
/// assert_eq!(ramp(&BY_SIZE, 1.0), "#0d3d52");
/// ```
///
/// # Panics
/// With fewer than two colours.
pub fn ramp(colours: &[Rgb], share: f64) -> String {
    let place = share.clamp(0.0, 1.0) * (colours.len() - 1) as f64;
    let first = (place.floor() as usize).min(colours.len() - 2);
    let [r, g, b] = [0, 1, 2].map(|k| {
        let (from, to) = (colours[first][k], colours[first + 1][k]);
        (from + (place - first as f64) * (to - from)).round() as u8
    });
    format!("#{r:02x}{g:02x}{b:02x}")
}
