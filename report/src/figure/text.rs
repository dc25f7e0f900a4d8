//! Texts of pictures: their sizes, how wide they are, how they fit, and how they are escaped.

/// Size of a picture's title, px.
pub const TITLE: f64 = 18.0;
/// Size of the titles of axes and panels, px.
pub const HEADING: f64 = 14.0;
/// Size of tick labels, legends and names, px.
pub const LABEL: f64 = 13.0;
/// Size of notes, px.
pub const NOTE: f64 = 12.0;

/// The attribute of bold text.
pub const BOLD: &str = "font-weight=\"bold\"";
/// Bold letters over regular ones in width, at most.
pub const WIDER: f64 = 1.1;

/// Width of a text in regular Helvetica of `size` px (Adobe's font metrics; memory), px, plus 18 %
/// for wider substitutes.
pub fn text_width(text: &str, size: f64) -> f64 {
    let em: u32 = text
        .chars()
        .map(|c| match c {
            'i' | 'j' | 'l' | '\'' => 222,
            ' ' | '!' | ',' | '.' | '/' | ':' | ';' | 'I' | 'f' | 't' | '[' | ']' | '|' => 278,
            '(' | ')' | '-' | 'r' | '`' | '"' => 345,
            'c' | 'k' | 's' | 'v' | 'x' | 'y' | 'z' | 'J' => 500,
            'w' | 'C' | 'D' | 'H' | 'N' | 'R' | 'U' => 722,
            'm' | 'M' => 833,
            'G' | 'O' | 'Q' => 778,
            '%' | 'W' | '@' => 944,
            'A' | 'B' | 'E' | 'F' | 'K' | 'P' | 'S' | 'T' | 'V' | 'X' | 'Y' | 'Z' => 667,
            '\u{2e80}'.. => 1000,
            _ => 560,
        })
        .sum();
    1.18e-3 * f64::from(em) * size
}

/// A text at most `room` px wide, and its size: first smaller, down to 0.7 of `size`, then cut
/// short.
///
/// ```
/// use motefield_report::figure::fitted;
///
/// assert_eq!(fitted("12 us", 13.0, 100.0), ("12 us".to_owned(), 13.0));
/// assert!(fitted("a long title", 13.0, 40.0).0.ends_with('…'));
/// ```
pub fn fitted(text: &str, size: f64, room: f64) -> (String, f64) {
    let fitting = size * (room / text_width(text, size).max(1.0)).clamp(0.7, 1.0);
    if text_width(text, fitting) <= room {
        return (text.to_owned(), fitting);
    }
    let mut kept = text.to_owned();
    while kept.pop().is_some() && text_width(&kept, fitting) + text_width("…", fitting) > room {}
    (kept.trim_end().to_owned() + "…", fitting)
}

/// A text as XML and HTML write it, in elements and in quoted attributes.
///
/// ```
/// use motefield_report::figure::escape;
///
/// assert_eq!(escape("a < b & \"c\""), "a &lt; b &amp; &quot;c&quot;");
/// ```
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            // Characters that XML 1.0 does not allow.
            '\0'..='\u{8}' | '\u{b}' | '\u{c}' | '\u{e}'..='\u{1f}' | '\u{fffe}' | '\u{ffff}' => {
                out.push('\u{fffd}')
            }
            _ => out.push(c),
        }
    }
    out
}
