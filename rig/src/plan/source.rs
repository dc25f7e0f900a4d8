//! What a source gives in a pulse of any length: power, energy, power over time, and how long a
//! pulse it bears.

use motefield_generator::{LinearPulse, PulseShape};

use super::facts::{short, show};
use crate::keys::{self, Key};
use crate::quantity::Dimension as D;
use crate::setup::{LightSetup, PulseCourse, Setup, SetupError};

/// A straight ramp takes this much of its time from 10 % to 90 %.
const RAMP_SHARE: f64 = 0.8;

/// The longest pulse that a source bears, s, and the key that says so.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bearable {
    pub(super) pulse_s: f64,
    pub(super) key: &'static Key,
}

/// Energy of a pulse of all sources, J, and how it follows from the rig; `None` where the rig says
/// too little.
pub(super) fn energy_j(setup: &Setup, pulse_s: Option<f64>) -> Result<Option<(f64, String)>, SetupError> {
    let light = &setup.light;
    if let Some(energy) = light.pulse_energy_j {
        let how = format!("as stated, whatever the pulse length{}", of_sources(light));
        return Ok(Some((energy * light.sources as f64, how)));
    }
    let Some(pulse) = pulse_s else { return Ok(None) };
    let Some(power) = power_w(light, pulse) else {
        return Ok(None);
    };
    within_table(setup, pulse)?;
    let (share, of_share) = match &light.pulse_shape {
        PulseCourse::Gaussian => (1.0, String::new()),
        PulseCourse::Measured(measured) => (
            measured.fill,
            "mean power of the measured pulse over its largest".to_owned(),
        ),
        PulseCourse::Ramps { .. } => (
            peak_share(light, pulse),
            "what the power reaches before the pulse is over".to_owned(),
        ),
    };
    let of_share = match share {
        1.0 => String::new(),
        _ => format!(" x {}, {of_share}", short(share)),
    };
    let how = format!(
        "power {}{} x pulse length {}{of_share}{}",
        show(power, D::Power),
        of_power(light, power),
        show(pulse, D::Time),
        of_sources(light)
    );
    Ok(Some((power * pulse * share * light.sources as f64, how)))
}

/// Where the power comes from, if it is not stated as such.
fn of_power(light: &LightSetup, power_w: f64) -> String {
    match (
        light.peak_power.is_empty(),
        light.luminous_flux_lm,
        light.electrical,
    ) {
        (false, ..) => " at this length".to_owned(),
        (true, Some(flux_lm), _) => format!(
            " ({} at {} lm/W)",
            show(flux_lm, D::LuminousFlux),
            short(flux_lm / power_w)
        ),
        (true, None, Some(of)) => format!(" ({} x {})", show(of.power_w, D::Power), short(of.efficiency)),
        (true, None, None) => String::new(),
    }
}

/// How the number of sources enters, where there are several.
fn of_sources(light: &LightSetup) -> String {
    match light.sources {
        1 => String::new(),
        several => format!(" x {several} sources"),
    }
}

/// Energy of a pulse `ratio` times as long as one of `pulse_s`, over that one's, of a source that
/// is limited by its power: `ratio` where the power is the same in a pulse of any length.
pub(super) fn energy_ratio(light: &LightSetup, pulse_s: Option<f64>, ratio: f64) -> f64 {
    let same = light.peak_power.is_empty() && ramps_s(light) == 0.0;
    match pulse_s {
        Some(pulse) if !same => {
            let power = |pulse: f64| power_w(light, pulse).unwrap_or(1.0) * peak_share(light, pulse);
            ratio * power(ratio * pulse) / power(pulse)
        }
        _ => ratio,
    }
}

/// The largest power of one source in a pulse, W: between the entries of a table the straight line
/// over the logarithms, below its shortest length and beyond its longest that of the entry there.
fn power_w(light: &LightSetup, pulse_s: f64) -> Option<f64> {
    let table = &light.peak_power;
    let (Some(first), Some(last)) = (table.first(), table.last()) else {
        return light.radiant_power_w();
    };
    let between = table
        .windows(2)
        .find(|ends| (ends[0][0]..ends[1][0]).contains(&pulse_s));
    Some(match between {
        Some(ends) => {
            let ([from, low], [to, high]) = (ends[0], ends[1]);
            low * libm::pow(pulse_s / from, libm::log(high / low) / libm::log(to / from))
        }
        None if pulse_s < first[0] => first[1],
        None => last[1],
    })
}

/// An error where a pulse is longer than the table of powers reaches.
fn within_table(setup: &Setup, pulse_s: f64) -> Result<(), SetupError> {
    let Some([longest, _]) = setup.light.peak_power.last() else {
        return Ok(());
    };
    let longer = pulse_s * setup.light.length_ratio.unwrap_or(1.0).max(1.0);
    if longer <= longest * (1.0 + 1e-9) {
        return Ok(());
    }
    Err(setup.error(
        keys::light::PEAK_POWER,
        format!(
            "ends at {}, and a pulse lasts {}: shorten light.pulse_length, or add what the source gives in so long a pulse",
            show(*longest, D::Time),
            show(longer, D::Time)
        ),
    ))
}

/// Time between the half powers of a pulse of two ramps and nothing between them, s.
fn ramps_s(light: &LightSetup) -> f64 {
    match light.pulse_shape {
        PulseCourse::Ramps { rise_s, fall_s } => 0.5 * (rise_s + fall_s) / RAMP_SHARE,
        PulseCourse::Gaussian | PulseCourse::Measured(_) => 0.0,
    }
}

/// Power that a pulse reaches, over the full one. Its ramps keep their slopes, so that a pulse too
/// short for them is a triangle, whose height grows with its length.
fn peak_share(light: &LightSetup, pulse_s: f64) -> f64 {
    let ramps = ramps_s(light);
    if pulse_s < ramps { pulse_s / ramps } else { 1.0 }
}

/// Power over time of a pulse of `pulse_s`.
pub(super) fn shape(setup: &Setup, pulse_s: Option<f64>) -> Result<PulseShape, SetupError> {
    let light = &setup.light;
    let linear = |points: &[[f64; 2]], key| {
        LinearPulse::new(points)
            .map(PulseShape::Linear)
            .map_err(|e| setup.error(key, format!("cannot be used: {e}")))
    };
    match &light.pulse_shape {
        PulseCourse::Gaussian => Ok(PulseShape::Gaussian),
        PulseCourse::Measured(measured) => linear(&measured.points, keys::light::PULSE_FILE),
        PulseCourse::Ramps { .. } if ramps_s(light) == 0.0 => Ok(PulseShape::Rectangular),
        PulseCourse::Ramps { rise_s, fall_s } => {
            let pulse = pulse_s.ok_or_else(|| {
                setup.error(
                    keys::light::RISE_TIME,
                    "and light.fall_time are times, which need light.pulse_length: give it, or leave them out",
                )
            })?;
            // Half of each ramp lies within the half powers, half outside.
            let share = 0.5 * peak_share(light, pulse) / (RAMP_SHARE * pulse);
            linear(&trapezoid(share * rise_s, share * fall_s), keys::light::RISE_TIME)
        }
    }
}

/// A pulse of length 1 whose ramps reach `rise` and `fall` to either side of its half powers.
fn trapezoid(rise: f64, fall: f64) -> Vec<[f64; 2]> {
    let corners = [[-rise, 0.0], [rise, 1.0], [1.0 - fall, 1.0], [1.0 + fall, 0.0]];
    let mut points: Vec<[f64; 2]> = Vec::new();
    for (k, corner) in corners.into_iter().enumerate() {
        match points.last() {
            // A ramp of no length is a jump: its outer end falls away.
            Some(last) if corner[0] - last[0] < 1e-12 => match k {
                1 => points = vec![corner],
                _ => continue,
            },
            _ => points.push(corner),
        }
    }
    points
}

/// The longest pulse A that the source bears, where it states a limit.
pub(super) fn longest(setup: &Setup) -> Option<Bearable> {
    let light = &setup.light;
    let ratio = light.length_ratio.unwrap_or(1.0);
    let longer = ratio.max(1.0);
    let bearable = |key, pulse_s: Option<f64>| pulse_s.map(|pulse_s| Bearable { pulse_s, key });
    let duty = light.limits.duty.zip(setup.camera.frame_rate_hz);
    [
        bearable(
            keys::light::PEAK_POWER,
            light.peak_power.last().map(|[s, _]| s / longer),
        ),
        bearable(
            keys::light::ON_TIME_LIMIT,
            light.limits.on_time_s.map(|s| s / longer),
        ),
        bearable(
            keys::light::ENERGY_LIMIT,
            light.limits.energy_j.and_then(|limit| match light.energy_ratio {
                Some(of_b) => within_energy_s(light, limit / of_b.max(1.0)),
                None => within_energy_s(light, limit).map(|s| s / longer),
            }),
        ),
        bearable(
            keys::light::DUTY_LIMIT,
            duty.map(|(duty, rate)| 2.0 * duty / (rate * (1.0 + ratio))),
        ),
    ]
    .into_iter()
    .flatten()
    .min_by(|a, b| a.pulse_s.total_cmp(&b.pulse_s))
}

/// The longest pulse up to which all have at most that energy; `None` where a longer pulse has no
/// more energy, or where power and limit do not meet within the table.
///
/// Between the lengths at which a law changes (the table's entries, the end of the ramps) the
/// energy is a power of the length, so that each part is solved in closed form.
fn within_energy_s(light: &LightSetup, limit_j: f64) -> Option<f64> {
    if light.pulse_energy_j.is_some() {
        return None;
    }
    let share = match &light.pulse_shape {
        PulseCourse::Measured(measured) => measured.fill,
        PulseCourse::Gaussian | PulseCourse::Ramps { .. } => 1.0,
    };
    let energy = |s: f64| Some(share * power_w(light, s)? * peak_share(light, s) * s);
    let ramps = ramps_s(light);
    let mut changes: Vec<f64> = light.peak_power.iter().map(|[s, _]| *s).collect();
    changes.extend((ramps > 0.0).then_some(ramps));
    changes.sort_by(f64::total_cmp);
    let mut before: Option<f64> = None;
    for at in changes {
        let there = energy(at)?;
        if there > limit_j {
            let power = match before {
                Some(before) => libm::log(there / energy(before)?) / libm::log(at / before),
                None if at <= ramps => 2.0,
                None => 1.0,
            };
            return Some(at * libm::pow(limit_j / there, 1.0 / power));
        }
        before = Some(at);
    }
    match (light.peak_power.is_empty(), light.radiant_power_w()) {
        (true, Some(power)) => Some(limit_j / (share * power)),
        _ => None,
    }
}

#[cfg(test)]
mod tests;
