//! `[processing]`

use motefield_evaluator::{
    Correlation, Interpolator, LowValues, Normalise, PeakFit, PredictorFilter, Processing, Refinement,
    Weighting,
};

use super::choices::BackgroundChoice;
use super::{Key, Kind, NEEDED, PRACTICE, Range, section};
use crate::quantity::Dimension as D;

/// Largest side of a window, px.
const LARGEST: usize = 4096;
/// Most pairs of an ensemble: all of them are in memory at once.
const MOST_TOGETHER: usize = 1000;

const SIDE: Kind = Kind::Whole {
    low: Processing::MIN_WINDOW_PX as u64,
    high: LARGEST as u64,
    odd: false,
};

/// Where the settings come from that this program takes.
const EXPERIMENT: &str = "chosen by experiment on rendered pairs";
const MEDIAN_TEST: &str = "Westerweel and Scarano 2005 (memory)";

section! {
    "processing", "how the pairs are correlated", scene: false;

    PASSES = Key::tables("processing.passes", [1, 64])
        .about("the passes in their order, such as `[{ window = 64, overlap = 0.5 }, { window = 32 \
                }]`")
        .default(
            "[{ window = 64, overlap = 0.5 }, { window = 32, overlap = 0.5 }, \
             { window = 32, overlap = 0.75 }, { window = 32, overlap = 0.75 }]",
            "",
        )
        .default_source(EXPERIMENT);

    PASS_WINDOW = Key::either(
            "processing.passes[].window",
            &SIDE,
            &Kind::List { of: &SIDE, least: 2, most: 2 },
        )
        .about("side of the square interrogation window, px, or [width, height]")
        .otherwise(NEEDED, "")
        .usual("32", PRACTICE)
        .log_slider(8.0, 128.0);

    PASS_OVERLAP = Key::share("processing.passes[].overlap")
        .about("share of a window that its neighbour covers too; below 1")
        .default("0.5", "")
        .usual("0.5", PRACTICE)
        .slider(0.0, 0.9);

    WINDOW = Key::whole("processing.window", Processing::MIN_WINDOW_PX as u64, LARGEST as u64)
        .about("side of the windows of the last pass, px, in place of that in processing.passes; \
                earlier passes take no smaller windows (for sweeps)")
        .otherwise("from processing.passes", "")
        .usual("32", PRACTICE)
        .log_slider(8.0, 128.0);

    OVERLAP = Key::share("processing.overlap")
        .about("overlap of the last pass, in place of that in processing.passes (for sweeps); \
                below 1")
        .otherwise("from processing.passes", "")
        .usual("0.5", PRACTICE)
        .slider(0.0, 0.9);

    WEIGHTING = Key::choice::<Weighting>("processing.weighting")
        .about("weight of the pixels within a window")
        .default("\"gaussian\"", "")
        .default_source(EXPERIMENT);

    CORRELATION = Key::choice::<Correlation>("processing.correlation")
        .about("how two windows are correlated: by FFT as they are, by FFT with zeros around them \
                (linear correlation), or by direct summation (linear, slow); processing.normalise \
                needs a linear one")
        .default("\"circular\"", "");

    NORMALISE = Key::choice::<Normalise>("processing.normalise")
        .about("what the correlation is divided by: nothing, the window's own correlation, or the \
                standard deviations in the overlap of the windows; the last two take the \
                zero-padded correlation where none is named")
        .default("\"none\"", "");

    PEAK_FIT = Key::choice::<PeakFit>("processing.peak_fit")
        .about("how the place of the correlation peak is found between the pixels")
        .default("\"gaussian3\"", "")
        .usual("\"gaussian3\"", "Willert and Gharib 1991 (memory)");

    LOW_VALUES = Key::choice::<LowValues>("processing.low_values")
        .about("what the Gaussian fits do where a value beside the peak is not positive and so has \
                no logarithm, as with particle images below 1 px")
        .default("\"least\"", "")
        .default_source(EXPERIMENT);

    DEFORM = Key::switch("processing.deform")
        .about("whether later passes deform the frames, or shift whole windows by whole pixels")
        .default("true", "")
        .usual("true", PRACTICE);

    INTERPOLATOR = Key::choice::<Interpolator>("processing.interpolator")
        .about("how the frames are interpolated where they are deformed: linear, B-splines of \
                degree 3, 5 and 7, or windowed sinc on 6 x 6 and 8 x 8 pixels")
        .default("\"septic\"", "")
        .default_source(EXPERIMENT);

    REFINEMENT = Key::choice::<Refinement>("processing.refinement")
        .about("a last fit of the two windows to each other by least squares, or of all particle \
                images in both windows; the latter is little affected by particles that leave \
                the sheet and, in bright pictures (500 e and more in a particle's brightest pixel) \
                without long streaks, nearest to the physical limit, as in very dim ones (30 e); \
                from 60 to 240 e its total error is that of no refinement to 8 % less, with streaks \
                of 2 to 7 px 4 to 8 % less, and with 10 px 7 % more; slow: 0.2 s for a pair of \
                256 x 256 px, three to four times that with streaks of 4 px")
        .default("\"none\"", "");

    PREDICTOR_FILTER = Key::choice::<PredictorFilter>("processing.predictor_filter")
        .about("how the vectors of a pass are smoothed before the next one takes them as predictor")
        .default("\"regression\"", "")
        .default_source("Schrijer and Scarano 2008 (memory), confirmed by experiment on rendered pairs");

    OUTLIER_THRESHOLD = Key::number("processing.outlier_threshold", Range::AboveZero)
        .about("threshold of the normalised median test")
        .default("2", "")
        .default_source(MEDIAN_TEST)
        .usual("2", MEDIAN_TEST)
        .slider(1.0, 10.0);

    OUTLIER_EPSILON =
        Key::quantity("processing.outlier_epsilon", &[D::Pixels], Range::AboveZero, "px")
            .about("noise level of the normalised median test")
            .default("\"0.1 px\"", "")
            .default_source(MEDIAN_TEST)
            .usual("\"0.1 px\"", MEDIAN_TEST)
            .slider(0.01, 1.0);

    MIN_PEAK_RATIO = Key::number("processing.min_peak_ratio", Range::AtLeast(1.0))
        .about("least ratio of the highest correlation peak to the second highest")
        .otherwise("none", "")
        .usual("1.2", PRACTICE)
        .slider(1.0, 3.0);

    MAX_DISPLACEMENT =
        Key::quantity("processing.max_displacement", &[D::Pixels], Range::AboveZero, "px")
            .about("longest displacement accepted")
            .otherwise("none", "")
            .slider(1.0, 50.0);

    BACKGROUND = Key::choice::<BackgroundChoice>("processing.background")
        .about("background subtracted from the frames: the minimum or the mean of every pixel over \
                the frames A, and over the frames B, of the pairs that are measured together")
        .default("\"none\"", "");

    BACKGROUND_FRAMES = Key::whole("processing.background_frames", 2, 100_000)
        .about("in a study, number of frames of each pulse from which the background is made, in a \
                series of its own")
        .otherwise("the pairs that are measured together", "")
        .log_slider(2.0, 1000.0);

    BACKGROUND_PICTURE = Key::file("processing.background_picture")
        .about("in place of processing.background, picture to subtract from the frames A")
        .otherwise("none", "");

    BACKGROUND_PICTURE_B = Key::file("processing.background_picture_b")
        .about("picture to subtract from the frames B")
        .otherwise("processing.background_picture", "");

    INTENSITY_CAP = Key::number("processing.intensity_cap", Range::AboveZero)
        .about("grey levels that exceed the median by more than this number of standard deviations \
                are set to that limit")
        .otherwise("none", "")
        .usual("2", "Shavit, Lowe and Steinbuck 2007 (memory)")
        .slider(0.5, 10.0);

    HIGH_PASS = Key::odd("processing.high_pass", 3, 4095)
        .about("side, px, of the square whose mean is subtracted from its middle pixel")
        .otherwise("none", "")
        .slider(3.0, 51.0);

    LOCAL_NORMALISATION = Key::odd("processing.local_normalisation", 3, 4095)
        .about("side, px, of the square whose mean is subtracted from its middle pixel, which is \
                then divided by the square's standard deviation")
        .otherwise("none", "")
        .slider(3.0, 51.0);

    MASK = Key::file("processing.mask")
        .about("picture that is black where nothing is to be measured, such as \
                rendered bodies give; averages leave those pixels out, and scores the windows whose centre lies \
                there")
        .otherwise("none", "");

    ENSEMBLE = Key::whole("processing.ensemble", 1, MOST_TOGETHER as u64)
        .about("number of pairs of a steady flow that are measured together by the sum of their \
                correlation planes")
        .default("1", "")
        .log_slider(1.0, 1000.0);
}
