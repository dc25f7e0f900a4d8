//! Dynamic ranges of a measurement (Adrian 1997, Meas. Sci. Technol. 8, 1393).

use crate::statistics::Estimate;

/// The ranges of velocity and of scales that a measurement covers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DynamicRange {
    /// Dynamic velocity range: largest displacement over random error.
    pub velocity: Estimate,
    /// Dynamic spatial range: width of the field over largest displacement, which is the smallest
    /// scale along the path of a particle. Both are known, so it has no interval.
    pub spatial: f64,
    /// Their product, width of the field over random error: what a camera and a lens allow, however
    /// the pulses are spaced.
    pub product: Estimate,
}

/// The dynamic ranges of a field of width `field_px` whose largest displacement is `largest_px`,
/// measured with the `random` error, px. The intervals are those of the random error; an error of
/// zero makes the ranges infinite.
///
/// ```
/// use motefield_evaluator::score::dynamic_range;
/// use motefield_evaluator::statistics::Estimate;
///
/// let range = dynamic_range(8.0, 1024.0, Estimate::exact(0.05));
/// assert_eq!((range.velocity.value, range.spatial), (160.0, 128.0));
/// ```
pub fn dynamic_range(largest_px: f64, field_px: f64, random: Estimate) -> DynamicRange {
    let over = |length: f64| random.map_falling(|error| length / error);
    DynamicRange {
        velocity: over(largest_px),
        spatial: field_px / largest_px,
        product: over(field_px),
    }
}
