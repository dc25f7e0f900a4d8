//! What the words of a setup stand for.

use motefield_evaluator::prepare::Statistic;
use motefield_evaluator::{
    Correlation, Interpolator, LowValues, Normalise, PeakFit, PredictorFilter, Refinement, Weighting,
};
use motefield_generator::ImagePattern;

use super::kind::Choice;
use crate::medium::Fluid;
use crate::scattering::Polarisation;

/// Makes a choice of an enum that knows all its values and their names.
macro_rules! named {
    ($($Enum:ty),* $(,)?) => {
        $(impl Choice for $Enum {
            fn all() -> Vec<(&'static str, Self)> {
                Self::ALL.iter().map(|choice| (choice.as_str(), *choice)).collect()
            }
        })*
    };
}

/// Makes a choice of an enum by the word of each value.
macro_rules! words {
    ($Enum:ty { $($word:literal => $value:ident),* $(,)? }) => {
        impl Choice for $Enum {
            fn all() -> Vec<(&'static str, Self)> {
                vec![$(($word, <$Enum>::$value)),*]
            }
        }
    };
}

named!(
    Correlation,
    Interpolator,
    LowValues,
    Normalise,
    PeakFit,
    PredictorFilter,
    Refinement,
    Weighting,
);
pub(super) use words;
words!(Polarisation {
    "unpolarised" => Unpolarised,
    "perpendicular" => Perpendicular,
    "parallel" => Parallel,
});
words!(Fluid { "water" => Water, "air" => Air });
words!(ImagePattern { "gaussian" => Gaussian, "airy" => Airy });

/// Power over time of a pulse that a setup names by a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PulseForm {
    /// Constant power.
    Rectangular,
    /// Power that follows a Gaussian.
    Gaussian,
}
words!(PulseForm { "rectangular" => Rectangular, "gaussian" => Gaussian });

/// Whether the length of the light pulse may be chosen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PulseFreedom {
    /// It may.
    Free,
    /// The source gives pulses of one length.
    Fixed,
}
words!(PulseFreedom { "free" => Free, "fixed" => Fixed });

/// Kind of light source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// A laser.
    Laser,
    /// A light-emitting diode.
    Led,
    /// Another lamp.
    Lamp,
}
words!(Source { "laser" => Laser, "led" => Led, "lamp" => Lamp });

/// What counts as a body in an imported field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Body {
    /// Holes of a mesh, velocities that are not known, and blocks at rest.
    Found,
    /// Holes of a mesh and velocities that are not known.
    Gaps,
    /// No part of the field is taken for a body.
    None,
}
words!(Body { "found" => Found, "gaps" => Gaps, "none" => None });

/// Laser hazard classes of IEC 60825-1, from harmless to hazardous.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum HazardClass {
    /// 1, 1M: harmless to the naked eye.
    One,
    /// 2, 2M: the blink reflex protects the eye.
    Two,
    /// 3R: small risk.
    ThreeR,
    /// 3B: hazardous to the eye.
    ThreeB,
    /// 4: hazardous to eye and skin, also by diffuse reflection.
    Four,
}
words!(HazardClass {
    "1" => One,
    "1M" => One,
    "2" => Two,
    "2M" => Two,
    "3R" => ThreeR,
    "3B" => ThreeB,
    "4" => Four,
});

/// Fall of the light across the sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SheetProfile {
    /// exp(−8 z²/Δz₀²).
    Gaussian,
    /// Even inside the thickness, dark outside.
    TopHat,
    /// exp(−2 |2z/Δz₀|ⁿ) of an order n that is stated beside it.
    SuperGaussian,
}
words!(SheetProfile {
    "gaussian" => Gaussian,
    "top-hat" => TopHat,
    "super-gaussian" => SuperGaussian,
});

/// Fall of the light over the sheet's height.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HeightProfile {
    /// None: the picture lies well inside the height.
    Even,
    /// As one of the profiles across the sheet.
    As(SheetProfile),
}

impl Choice for HeightProfile {
    fn all() -> Vec<(&'static str, Self)> {
        let profiles = SheetProfile::all()
            .into_iter()
            .map(|(word, profile)| (word, HeightProfile::As(profile)));
        std::iter::once(("even", HeightProfile::Even))
            .chain(profiles)
            .collect()
    }
}

/// Distribution of the particles' diameters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SizeDistribution {
    /// One size.
    Same,
    /// Normally distributed diameters.
    Normal,
    /// Log-normal.
    LogNormal,
}
words!(SizeDistribution { "same" => Same, "normal" => Normal, "log-normal" => LogNormal });

/// How the light of a particle follows from its diameter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BrightnessLaw {
    /// A power of the diameter.
    Power,
    /// Mie theory, with the rig's light and lens.
    Mie,
}
words!(BrightnessLaw { "power" => Power, "mie" => Mie });

/// Where y points in the file of an imported field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum YAxis {
    /// Down, as in the picture.
    Down,
    /// Up: rows and vertical velocities are mirrored.
    Up,
}
words!(YAxis { "down" => Down, "up" => Up });

/// Where an imported field stands in the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// The middle of its points at the centre that is stated.
    Middle,
    /// Its coordinates are those of the picture, from the centre of the upper-left pixel.
    Pixels,
}
words!(Align { "middle" => Middle, "pixels" => Pixels });

/// How the points of a table are arranged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Layout {
    /// On a regular grid.
    Grid,
    /// Anywhere in the plane.
    Scattered,
}
words!(Layout { "grid" => Grid, "scattered" => Scattered });

/// The background that is subtracted from the frames.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BackgroundChoice {
    /// Nothing is subtracted.
    None,
    /// This statistic of every pixel over many frames.
    Made(Statistic),
}

impl Choice for BackgroundChoice {
    fn all() -> Vec<(&'static str, Self)> {
        let made = Statistic::ALL
            .iter()
            .map(|statistic| (statistic.as_str(), BackgroundChoice::Made(*statistic)));
        std::iter::once(("none", BackgroundChoice::None))
            .chain(made)
            .collect()
    }
}
