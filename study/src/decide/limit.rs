//! The largest error allowed, as a person states it: in pixels, as a share of the speed, or as a
//! speed.

use std::fmt;
use std::str::FromStr;

use super::PulseSearch;
use super::trial::MeasuredSetting;
use crate::StudyError;
use motefield_rig::keys;
use motefield_rig::quantity::{self, Dimension};

/// Largest total error allowed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ErrorLimit {
    /// Of the displacement, px.
    Pixels(f64),
    /// Of the velocity, over the mean speed of the field.
    Share(f64),
    /// Of the velocity, m/s.
    Speed(f64),
}

impl ErrorLimit {
    /// The same as an error of the displacement, px: the share times the mean displacement, the
    /// speed times scale and pulse separation.
    ///
    /// # Errors
    /// When a speed is stated and the setup has no lens.
    pub fn px(self, search: &PulseSearch) -> Result<f64, StudyError> {
        match self {
            ErrorLimit::Pixels(px) => Ok(px),
            ErrorLimit::Share(share) => Ok(share * search.speeds.mean_px),
            ErrorLimit::Speed(m_s) => match search.plan.rig.px_per_m() {
                Some(px_per_m) => Ok(m_s * px_per_m * search.separation_s),
                None => Err(search
                    .setup
                    .error(
                        keys::lens::MAGNIFICATION,
                        "is missing, so that a speed has no pixels: give it, or state the limit in px or in % of the mean speed",
                    )
                    .into()),
            },
        }
    }
}

impl ErrorLimit {
    /// The limit at a setting as a speed, m/s; `None` where the setup has no scale.
    pub fn m_s(self, setting: &MeasuredSetting) -> Option<f64> {
        let mean_m_s = setting.mean_m_s?;
        Some(match self {
            ErrorLimit::Pixels(px) => px / setting.speeds.mean_px * mean_m_s,
            ErrorLimit::Share(share) => share * mean_m_s,
            ErrorLimit::Speed(m_s) => m_s,
        })
    }

    /// Whether a setting keeps the limit with its error, to which curved paths add; `None` where a
    /// speed is stated and the setup has no scale.
    pub fn kept_by(self, setting: &MeasuredSetting) -> Option<bool> {
        let relative = setting.relative().value;
        let (error, limit) = match self {
            ErrorLimit::Pixels(px) => (relative * setting.speeds.mean_px, px),
            ErrorLimit::Share(share) => (relative, share),
            ErrorLimit::Speed(m_s) => (relative * setting.mean_m_s?, m_s),
        };
        Some(error <= limit)
    }
}

impl fmt::Display for ErrorLimit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&match *self {
            ErrorLimit::Pixels(px) => quantity::format(px, Dimension::Pixels),
            ErrorLimit::Share(share) => format!("{} %", quantity::short(100.0 * share)),
            ErrorLimit::Speed(m_s) => quantity::format(m_s, Dimension::Speed),
        })
    }
}

impl FromStr for ErrorLimit {
    type Err = String;

    fn from_str(text: &str) -> Result<ErrorLimit, String> {
        let bad = || {
            "must be above 0, in px, in % of the mean speed or in m/s, such as 0.1, 0.1px, 2% or 3mm/s"
                .to_owned()
        };
        let limit = match (text.trim().parse::<f64>(), quantity::parse(text)) {
            (Ok(px), _) => ErrorLimit::Pixels(px),
            (_, Ok(q)) => match q.dimension {
                Dimension::Pixels => ErrorLimit::Pixels(q.value),
                Dimension::Fraction => ErrorLimit::Share(q.value),
                Dimension::Speed => ErrorLimit::Speed(q.value),
                _ => return Err(bad()),
            },
            _ => return Err(bad()),
        };
        let (ErrorLimit::Pixels(value) | ErrorLimit::Share(value) | ErrorLimit::Speed(value)) = limit;
        match value > 0.0 && value.is_finite() {
            true => Ok(limit),
            false => Err(bad()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use motefield_rig::setup::{EMBEDDED, EMBEDDED_NAME, Setup};

    /// Magnification 0.1 on pixels of 5.5 um, 2.4 ms: a millimetre per second is
    /// 1e-3 x 0.1 / 5.5e-6 x 2.4e-3 = 0.043636 px.
    #[test]
    fn a_limit_in_any_unit_is_one_in_pixels() {
        let setup = Setup::from_text::<&str>(EMBEDDED_NAME, EMBEDDED, &[]).unwrap();
        let search = PulseSearch::of(&setup).unwrap();
        let px = |text: &str| text.parse::<ErrorLimit>().unwrap().px(&search).unwrap();
        assert_eq!((px("0.1"), px("0.1px"), px("0.1 px")), (0.1, 0.1, 0.1));
        let millimetre_a_second = 1e-3 * 0.1 / 5.5e-6 * 2.4e-3;
        assert!((px("1 mm/s") / millimetre_a_second - 1.0).abs() < 1e-12);
        assert!((px("2%") / (0.02 * search.speeds.mean_px) - 1.0).abs() < 1e-12);
        for bad in ["-1", "0", "2 s", "px", "-2%", "inf"] {
            let message = bad.parse::<ErrorLimit>().unwrap_err();
            assert!(message.contains("above 0"), "{bad}: {message}");
        }
    }
}
