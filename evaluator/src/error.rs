//! What can be wrong with images or processing; each error names the field at fault and the remedy.

/// Why a pair cannot be correlated as asked.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ProcessingError {
    /// A name that stands for none of the choices.
    #[error("`{name}` is not a choice here; use one of: {}", choices.join(", "))]
    UnknownName {
        /// The name given.
        name: String,
        /// The names understood.
        choices: &'static [&'static str],
    },
    /// Frame A and frame B differ in size.
    #[error("frame B is {}x{} px but frame A is {}x{} px; give two frames of the same size", b[0], b[1], a[0], a[1])]
    FrameSizes {
        /// Width and height of frame A, px.
        a: [usize; 2],
        /// Width and height of frame B, px.
        b: [usize; 2],
    },
    /// The frames are not of the size the correlator was made for.
    #[error("the frames are {}x{} px but the correlator was made for {}x{} px; make one for this size", found[0], found[1], expected[0], expected[1])]
    CorrelatorSize {
        /// Width and height of the frames, px.
        found: [usize; 2],
        /// Width and height the correlator was made for, px.
        expected: [usize; 2],
    },
    /// A pixel that is not a finite number.
    #[error(
        "pixel ({x}, {y}) of frame {frame} is {value}; replace values that are not finite before correlating"
    )]
    NotFinite {
        /// `'A'` or `'B'`.
        frame: char,
        /// Column of the pixel.
        x: usize,
        /// Row of the pixel.
        y: usize,
        /// The value found, as text (so that errors can be compared).
        value: String,
    },
    /// A background of no frames.
    #[error("no frame is given to make a background of; give at least one")]
    NoFrames,
    /// A background to be made of the one frame that it is to be subtracted from.
    #[error(
        "background: made of a single frame it is the frame itself; measure several pairs together, or give the background as a picture"
    )]
    LoneFrame,
    /// A frame, background or mask whose shape differs from that of the others.
    #[error(
        "{what} is {}x{} px but should be {}x{} px; give one of the frames' size",
        found[0], found[1], expected[0], expected[1]
    )]
    Shape {
        /// What is at fault.
        what: &'static str,
        /// Its width and height, px.
        found: [usize; 2],
        /// The width and height it should have, px.
        expected: [usize; 2],
    },
    /// An ensemble of no pairs.
    #[error("no pair is given; give at least one")]
    NoPairs,
    /// No pass is given.
    #[error("passes: no pass is given; give at least one window size and overlap")]
    NoPasses,
    /// A window too small to have a peak with its neighbours.
    #[error("passes[{pass}].window: {}x{} px is below {minimum} px on each side; use a larger window", window[0], window[1])]
    WindowTooSmall {
        /// Index of the pass.
        pass: usize,
        /// Width and height of the window, px.
        window: [usize; 2],
        /// The least side, px.
        minimum: usize,
    },
    /// A window that does not fit into the image.
    #[error(
        "passes[{pass}].window: {}x{} px does not fit into an image of {}x{} px; use a smaller window or a larger image",
        window[0], window[1], image[0], image[1]
    )]
    WindowTooLarge {
        /// Index of the pass.
        pass: usize,
        /// Width and height of the window, px.
        window: [usize; 2],
        /// Width and height of the image, px.
        image: [usize; 2],
    },
    /// An overlap that is not in 0 (touching windows) to below 1.
    #[error("passes[{pass}].overlap: {overlap} is not in 0 <= overlap < 1; use for example 0.5 or 0.75")]
    Overlap {
        /// Index of the pass.
        pass: usize,
        /// The overlap given, as text.
        overlap: String,
    },
    /// A number outside its range.
    #[error("{field}: {value} is not {range}; {remedy}")]
    Range {
        /// The field of `Processing`.
        field: &'static str,
        /// The value given, as text.
        value: String,
        /// What is allowed.
        range: &'static str,
        /// What to do.
        remedy: &'static str,
    },
    /// Two choices that exclude each other.
    #[error("{field}: {choice} cannot be used with {other}; {remedy}")]
    Incompatible {
        /// The field at fault.
        field: &'static str,
        /// Its value.
        choice: &'static str,
        /// The field and value it excludes.
        other: &'static str,
        /// What to do.
        remedy: &'static str,
    },
    /// A field, given as the first predictor, that does not fit the images.
    #[error("predictor: {what}; give the vector field of an earlier correlation of images of this size")]
    Predictor {
        /// What is wrong with it.
        what: String,
    },
}
