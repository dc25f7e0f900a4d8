//! How many pixels of a pair are full, or as white as they get.

use motefield_generator::{Pair, Sensor};
use ndarray::Array2;

/// Share of the pixels of both frames, given as expected photo-electrons, whose mean charge is
/// full.
pub(super) fn full_share(Pair { a, b }: Pair, sensor: &Sensor) -> f64 {
    let share = |mut frame: Array2<f32>, number: u32| {
        sensor.charge(&mut frame, number);
        let full = frame
            .iter()
            .filter(|e| f64::from(**e) >= sensor.saturation_e())
            .count();
        full as f64 / frame.len() as f64
    };
    0.5 * (share(a, 0) + share(b, 1))
}

/// Whether there may be such pixels in a pair as it was recorded: of those every other one reads
/// more than its mean, which nonlinearity lowers by 0.3 at most. So where there are enough to speak
/// of, one at least reads half of what a full pixel does.
pub(super) fn may_be_full(pair: &Pair, sensor: &Sensor) -> bool {
    let half_dn = sensor.black_level_dn + 0.5 * sensor.gain_dn_per_e * sensor.saturation_e();
    let bright = |frame: &Array2<f32>| frame.iter().any(|dn| f64::from(*dn) >= half_dn);
    bright(&pair.a) || bright(&pair.b)
}
