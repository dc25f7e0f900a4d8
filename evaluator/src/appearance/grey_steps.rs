//! The grey levels that a recording really uses.

use ndarray::ArrayView2;

/// The grey levels of some frames.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GreySteps {
    /// Smallest and largest grey level.
    pub range: [f64; 2],
    /// Largest number of which all differences of grey levels are multiples: 16 where 12 bits stand
    /// in the upper bits of 16. None where they are no whole numbers.
    pub step: Option<f64>,
    /// Share of the pixels at the largest grey level, where so many are there that the converter or
    /// the pixels must be at their end; else 0.
    pub saturated: f64,
}

/// How many times more pixels stand at a largest grey level that is an end than just below it.
const PILE: f64 = 5.0;

/// The grey levels of frames, each height × width; none without frames.
///
/// ```
/// use motefield_evaluator::appearance::grey_steps::grey_steps;
/// use ndarray::array;
///
/// let frame = array![[32.0_f32, 48.0], [96.0, 32.0]];
/// let found = grey_steps(&[frame.view()]).unwrap();
/// assert_eq!((found.step, found.range), (Some(16.0), [32.0, 96.0]));
/// ```
pub fn grey_steps(frames: &[ArrayView2<f32>]) -> Option<GreySteps> {
    let values = || {
        frames
            .iter()
            .flat_map(|frame| frame.iter().map(|v| f64::from(*v)))
    };
    let low = values().reduce(f64::min)?;
    let high = values().reduce(f64::max)?;
    let whole = values().all(|v| v.fract() == 0.0 && v.abs() < 1e9);
    let step = whole.then(|| values().fold(0u64, |step, v| divisor(step, (v - low) as u64)));
    let step = step.filter(|step| *step > 0).map(|step| step as f64);
    let count = values().count() as f64;
    let at_top = values().filter(|v| *v == high).count() as f64;
    let next = step.map_or(f64::INFINITY, |step| {
        // The mean number of pixels on the levels of the top hundredth of the range.
        let levels = ((high - low) / step / 100.0).ceil().max(1.0);
        let near = values()
            .filter(|v| *v < high && *v >= high - levels * step)
            .count();
        near as f64 / levels
    });
    let piled = high > low && at_top >= 10.0 && at_top > PILE * next;
    Some(GreySteps {
        range: [low, high],
        step,
        saturated: if piled { at_top / count } else { 0.0 },
    })
}

/// Greatest common divisor.
fn divisor(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { divisor(b, a % b) }
}
