//! The error of a scene that cannot be rendered: which quantity, its value, its range.

use std::fmt;
use std::ops::RangeInclusive;

/// A quantity of a [`Scene`](crate::Scene) whose range is checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SceneField {
    /// Width and height of the picture.
    ImageSize,
    /// Particle image diameter.
    ParticleDiameter,
    /// Particles per pixel.
    SeedingDensity,
    /// Photo-electrons of a particle.
    Electrons,
    /// Background in frame A.
    BackgroundA,
    /// Background in frame B.
    BackgroundB,
    /// Pulse length over pulse separation.
    PulseFraction,
    /// Length of the streak that every particle draws.
    Streak,
    /// Displacement between the pulses.
    Displacement,
    /// Thickness of the light sheet.
    SheetThickness,
    /// Order of a super-Gaussian, across the sheet or along its height.
    SheetOrder,
    /// Tilt of the sheet along x.
    SheetTiltX,
    /// Tilt of the sheet along y.
    SheetTiltY,
    /// Height of the sheet.
    SheetHeight,
    /// Energy of a pulse over the scene's.
    EnergyRatio,
    /// Length of a pulse over the scene's.
    LengthRatio,
    /// Depth of a pulse's sheet from the scene's.
    SheetOffset,
    /// Thickness of a pulse's sheet over the scene's.
    ThicknessRatio,
    /// Standard deviation of the pulses' times.
    Jitter,
    /// Constant light in each frame.
    AmbientLight,
    /// Size of the reflection picture.
    ReflectionPictureSize,
    /// Light of the reflection picture.
    ReflectionPictureLight,
    /// Light of the glare line.
    GlarePeak,
    /// Place of the glare line along x.
    GlareX,
    /// Place of the glare line along y.
    GlareY,
    /// Angle of the glare line.
    GlareAngle,
    /// Width of the glare line.
    GlareWidth,
    /// Number of hot spots.
    HotSpotCount,
    /// Light of the hot spots.
    HotSpotPeak,
    /// Diameter of the hot spots.
    HotSpotDiameter,
    /// Standard deviation of the particles' diameters.
    DiameterSd,
    /// Smallest and largest diameter of the particles.
    DiameterLimits,
    /// Exponent of the brightness over the diameter.
    BrightnessPower,
    /// Table of the brightness over the diameter.
    BrightnessTable,
    /// Diameter of the geometric image of the mean particle.
    GeometricDiameter,
    /// Particles in a cluster.
    ClusterSize,
    /// Spread of a cluster.
    ClusterRadius,
    /// Displacement by Brownian motion.
    Brownian,
    /// Gradient of the seeding along x.
    GradientX,
    /// Gradient of the seeding along y.
    GradientY,
    /// Centre of a region with less seeding.
    UnseededCentre,
    /// Radius of a region with less seeding.
    UnseededRadius,
    /// Fraction of the seeding that is left in such a region.
    UnseededShare,
    /// Growth of the diameter off the plane in focus.
    Defocus,
    /// Depth of the plane in focus.
    Focus,
    /// Growth of the diameter toward the corners.
    DiameterGrowth,
    /// Distance of the camera.
    CameraDistance,
    /// Radial distortion.
    Distortion,
    /// Shape of the particle images.
    ImagePattern,
    /// Sensitive fraction of a pixel.
    FillFactor,
    /// Fraction of frame A's light that leaks into frame B.
    ParasiticSensitivity,
    /// Bits of a grey level.
    Bits,
    /// Overall system gain.
    Gain,
    /// Full-well capacity.
    FullWell,
    /// Temporal dark noise.
    DarkNoise,
    /// Grey level of a dark pixel.
    BlackLevel,
    /// Electrons of the dark current.
    DarkCurrent,
    /// Dark signal non-uniformity.
    Dsnu,
    /// Photo response non-uniformity.
    Prnu,
    /// Fraction of hot pixels.
    HotPixels,
    /// Dark signal of a hot pixel.
    HotLevel,
    /// Fraction of dead pixels.
    DeadPixels,
    /// Fraction of a pixel's light that goes to its neighbours.
    Crosstalk,
    /// How far the response bends.
    Nonlinearity,
}

impl fmt::Display for SceneField {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(match self {
            SceneField::ImageSize => "image size",
            SceneField::ParticleDiameter => "particle image diameter",
            SceneField::SeedingDensity => "seeding density",
            SceneField::Electrons => "photo-electrons per particle",
            SceneField::BackgroundA => "background of frame A",
            SceneField::BackgroundB => "background of frame B",
            SceneField::PulseFraction => "pulse length over pulse separation",
            SceneField::Streak => "streak length",
            SceneField::Displacement => "displacement",
            SceneField::SheetThickness => "sheet thickness",
            SceneField::SheetOrder => "sheet order",
            SceneField::SheetTiltX => "sheet tilt along x",
            SceneField::SheetTiltY => "sheet tilt along y",
            SceneField::SheetHeight => "sheet height",
            SceneField::EnergyRatio => "energy ratio of the pulses",
            SceneField::LengthRatio => "length ratio of the pulses",
            SceneField::SheetOffset => "offset of the pulses in depth",
            SceneField::ThicknessRatio => "thickness ratio of the pulses",
            SceneField::Jitter => "timing jitter",
            SceneField::AmbientLight => "ambient light",
            SceneField::ReflectionPictureSize => "size of the reflection picture",
            SceneField::ReflectionPictureLight => "light of the reflection picture",
            SceneField::GlarePeak => "light of the glare",
            SceneField::GlareX => "place of the glare along x",
            SceneField::GlareY => "place of the glare along y",
            SceneField::GlareAngle => "angle of the glare",
            SceneField::GlareWidth => "width of the glare",
            SceneField::HotSpotCount => "number of hot spots",
            SceneField::HotSpotPeak => "light of the hot spots",
            SceneField::HotSpotDiameter => "size of the hot spots",
            SceneField::DiameterSd => "spread of the diameters",
            SceneField::DiameterLimits => "limits of the diameters",
            SceneField::BrightnessPower => "power of the brightness",
            SceneField::BrightnessTable => "table of the brightness",
            SceneField::GeometricDiameter => "diameter of the geometric image",
            SceneField::ClusterSize => "cluster size",
            SceneField::ClusterRadius => "cluster radius",
            SceneField::Brownian => "displacement by Brownian motion",
            SceneField::GradientX => "seeding gradient along x",
            SceneField::GradientY => "seeding gradient along y",
            SceneField::UnseededCentre => "centre of an unseeded region",
            SceneField::UnseededRadius => "radius of an unseeded region",
            SceneField::UnseededShare => "share of seeding in an unseeded region",
            SceneField::Defocus => "defocus",
            SceneField::Focus => "depth of the plane in focus",
            SceneField::DiameterGrowth => "growth of the diameter",
            SceneField::CameraDistance => "camera distance",
            SceneField::Distortion => "distortion",
            SceneField::ImagePattern => "image pattern",
            SceneField::FillFactor => "fill factor",
            SceneField::ParasiticSensitivity => "parasitic sensitivity",
            SceneField::Bits => "number of camera bits",
            SceneField::Gain => "camera gain",
            SceneField::FullWell => "full-well capacity",
            SceneField::DarkNoise => "dark noise",
            SceneField::BlackLevel => "black level",
            SceneField::DarkCurrent => "dark signal",
            SceneField::Dsnu => "DSNU",
            SceneField::Prnu => "PRNU",
            SceneField::HotPixels => "share of hot pixels",
            SceneField::HotLevel => "signal of hot pixels",
            SceneField::DeadPixels => "share of dead pixels",
            SceneField::Crosstalk => "crosstalk",
            SceneField::Nonlinearity => "nonlinearity",
        })
    }
}

/// A scene that cannot be rendered.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{field} is {value}, but must be {must}")]
pub struct SceneError {
    /// The quantity that is out of its range.
    pub field: SceneField,
    /// The value it has, with its unit.
    pub value: String,
    /// What it must be.
    pub must: &'static str,
}

/// A quantity, its value in words, whether it is in its range, and the range.
pub(crate) type RangeCheck = (SceneField, String, bool, &'static str);

/// The checks that failed, as errors.
pub(crate) fn failed(checks: impl IntoIterator<Item = RangeCheck>) -> Vec<SceneError> {
    let error = |(field, value, good, must): RangeCheck| (!good).then_some(SceneError { field, value, must });
    checks.into_iter().filter_map(error).collect()
}

/// The check of a number with a unit, which may be empty.
pub(crate) fn number(
    field: SceneField,
    value: f64,
    unit: &str,
    good: bool,
    must: &'static str,
) -> RangeCheck {
    let text = format!("{} {unit}", six_digits(value));
    (field, text.trim_end().to_owned(), good, must)
}

/// A number that was stated or computed, with six digits at most.
fn six_digits(value: f64) -> String {
    let rounded: f64 = format!("{value:.5e}").parse().unwrap_or(value);
    match rounded.abs() {
        size if size.is_finite() && size != 0.0 && !(1e-4..1e7).contains(&size) => format!("{rounded:e}"),
        _ => rounded.to_string(),
    }
}

/// The check that a number is in a range.
pub(crate) fn in_range(
    field: SceneField,
    value: f64,
    unit: &str,
    range: RangeInclusive<f64>,
    must: &'static str,
) -> RangeCheck {
    number(field, value, unit, range.contains(&value), must)
}
