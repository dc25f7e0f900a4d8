//! The rules of the trade, each with its value, its limit, where the limit comes from, and the one
//! change that would meet it.

mod image;
mod light;
mod motion;
mod source;
mod timing;
mod tracer;

use motefield_generator::Exposure;

use super::Plan;
use super::facts::show;
use super::motion::Motion;
use super::rig::Rig;
use super::source::energy_ratio;
use crate::keys::{self, PRACTICE};
use crate::quantity::{Dimension as D, to_three_digits};
use crate::setup::KeyAt;

/// Which rule of the trade.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum RuleId {
    /// Particle image diameter.
    ParticleImageDiameter,
    /// Longest streak over the image diameter.
    Streak,
    /// Images over a point of the picture (source density).
    Overlap,
    /// Depth of field over the sheet's thickness.
    DepthOfField,
    /// Displacement over the first window.
    QuarterInPlane,
    /// Displacement in depth over the sheet's thickness.
    QuarterOutOfPlane,
    /// Change of the displacement over a first window.
    Gradient,
    /// Particle image pairs that count in a first window.
    PairsFirstWindow,
    /// Particle image pairs that count in a final window.
    PairsFinalWindow,
    /// Brightest particles' share of the camera's range.
    Saturation,
    /// Signal-to-noise ratio of the peaks.
    PeakSnr,
    /// Light measured over light expected.
    MeasuredFactor,
    /// Longer pulse over what the source bears.
    SourceOnTime,
    /// Energy of a pulse over what the source bears.
    SourceEnergy,
    /// Share of the time in light over what the source bears.
    SourceDuty,
    /// Pulses against their exposures.
    Straddling,
    /// A pair against two frame periods.
    FrameRate,
    /// Response of the tracer to the steepest gradient.
    StokesNumber,
    /// Settling of the tracer against the mean speed.
    Settling,
}

impl RuleId {
    /// Its name in JSON files.
    pub fn as_str(self) -> &'static str {
        match self {
            RuleId::ParticleImageDiameter => "particle_image_diameter",
            RuleId::Streak => "streak",
            RuleId::Overlap => "overlap",
            RuleId::DepthOfField => "depth_of_field",
            RuleId::QuarterInPlane => "quarter_in_plane",
            RuleId::QuarterOutOfPlane => "quarter_out_of_plane",
            RuleId::Gradient => "gradient",
            RuleId::PairsFirstWindow => "pairs_first_window",
            RuleId::PairsFinalWindow => "pairs_final_window",
            RuleId::Saturation => "saturation",
            RuleId::PeakSnr => "peak_snr",
            RuleId::MeasuredFactor => "measured_factor",
            RuleId::SourceOnTime => "source_on_time",
            RuleId::SourceEnergy => "source_energy",
            RuleId::SourceDuty => "source_duty",
            RuleId::Straddling => "straddling",
            RuleId::FrameRate => "frame_rate",
            RuleId::StokesNumber => "stokes_number",
            RuleId::Settling => "settling",
        }
    }
}

/// How a rule comes out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Status {
    /// The rule is kept.
    Pass,
    /// The rule is broken, but the experiment may bear it.
    Warn,
    /// The rule is broken.
    Fail,
}

impl Status {
    /// In a word.
    pub fn word(self) -> &'static str {
        match self {
            Status::Pass => "pass",
            Status::Warn => "warn",
            Status::Fail => "fail",
        }
    }

    fn of(good: bool, bearable: bool) -> Status {
        match (good, bearable) {
            (true, _) => Status::Pass,
            (false, true) => Status::Warn,
            (false, false) => Status::Fail,
        }
    }
}

/// The change that would meet a rule, everything else the same.
#[derive(Debug, Clone, PartialEq)]
pub struct Fix {
    /// In words.
    pub words: String,
    /// Key of the setup and its new value, where one key does it.
    pub set: Option<(String, String)>,
}

/// A rule of the trade, applied.
#[derive(Debug, Clone, PartialEq)]
pub struct Rule {
    /// Which rule it is.
    pub id: RuleId,
    /// What is judged.
    pub label: String,
    /// Its value.
    pub value: f64,
    /// Its value for people.
    pub shown: String,
    /// The limit for people.
    pub limit: String,
    /// Smallest and largest value that keep the rule.
    pub within: [f64; 2],
    /// How it comes out.
    pub status: Status,
    /// Where the limit comes from.
    pub source: &'static str,
    /// What would meet it; none where it is met.
    pub fix: Option<Fix>,
}

/// A plan with the motion over its picture: what the rules look at.
pub(super) struct RuleInput<'a> {
    pub(super) plan: &'a Plan,
    pub(super) rig: &'a Rig,
    pub(super) motion: &'a Motion,
}

impl<'a> RuleInput<'a> {
    pub(super) fn new(plan: &'a Plan, motion: &'a Motion) -> RuleInput<'a> {
        RuleInput {
            plan,
            rig: &plan.rig,
            motion,
        }
    }

    /// Every rule to which the setup says enough.
    pub(super) fn rules(&self) -> Vec<Rule> {
        if self.rig.setup.image.flat_field {
            return Vec::new();
        }
        [
            self.motion_rules(),
            self.image_rules(),
            self.light_rules(),
            self.source_rules(),
            self.timing_rules(),
            self.tracer_rules(),
        ]
        .concat()
    }

    /// A pulse separation `factor` times the present one, if the displacement follows it and the
    /// pulses fit it.
    fn separation(&self, factor: f64) -> Option<Fix> {
        let (separation, straddle) = (self.rig.setup.separation_s?, self.rig.straddle?);
        let wanted = down(factor * separation);
        if !self.rig.follows_separation() || wanted < straddle.shortest_separation_s() {
            return None;
        }
        let text = show(wanted, D::Time);
        let words = format!("shorten the pulse separation to {text}");
        Some(match self.rig.setup.displacement_px {
            Some(px) => set(
                words,
                keys::timing::DISPLACEMENT,
                format!("{} px", down(factor * px)),
            ),
            None => set(words, keys::timing::SEPARATION, text),
        })
    }

    /// Pulses `factor` times as long.
    fn pulse(&self, factor: f64) -> Option<Fix> {
        let (pulse, light) = (self.plan.pulse_s?, &self.rig.setup.light);
        if self.rig.setup.image.pulse_fraction.is_some() || self.rig.setup.image.streak_px.is_some() {
            return None;
        }
        let (verb, round): (_, fn(f64) -> f64) = if factor < 1.0 {
            ("shorten", down)
        } else {
            ("lengthen", up)
        };
        let text = show(round(factor * pulse), D::Time);
        Some(if light.continuous {
            set(
                format!("{verb} the exposure to {text}"),
                keys::camera::EXPOSURE,
                text,
            )
        } else {
            set(
                format!("{verb} the pulse to {text}"),
                keys::light::PULSE_LENGTH,
                text,
            )
        })
    }

    /// `factor` times the light of a particle, by the key that sets it.
    fn more_light(&self, factor: f64) -> Option<Fix> {
        let (image, light) = (&self.rig.setup.image, &self.rig.setup.light);
        let keys = [
            (
                keys::image::ELECTRONS,
                image.electrons,
                D::Electrons,
                "the photo-electrons of a particle",
            ),
            (
                keys::image::PEAK_ELECTRONS,
                image.peak_electrons,
                D::Electrons,
                "the photo-electrons of the peak",
            ),
            (
                keys::light::POWER,
                light.power_w,
                D::Power,
                "the power of the source",
            ),
            (
                keys::light::LUMINOUS_FLUX,
                light.luminous_flux_lm,
                D::LuminousFlux,
                "the luminous flux of the source",
            ),
            (
                keys::light::ELECTRICAL_POWER,
                light.electrical.map(|of| of.power_w),
                D::Power,
                "the electrical power of the source",
            ),
            (
                keys::light::PULSE_ENERGY,
                light.pulse_energy_j,
                D::Energy,
                "the energy of a pulse",
            ),
        ];
        let (key, value, dimension, name) = keys
            .into_iter()
            .find_map(|(key, value, dimension, name)| Some((key, value?, dimension, name)))?;
        let (verb, round): (_, fn(f64) -> f64) = if factor < 1.0 {
            ("lower", down)
        } else {
            ("raise", up)
        };
        let text = show(round(factor * value), dimension);
        Some(set(format!("{verb} {name} to {text}"), key, text))
    }

    /// Whether a longer pulse brings more light.
    fn grows(&self) -> bool {
        let (image, light) = (&self.rig.setup.image, &self.rig.setup.light);
        let stated = image.electrons.or(image.peak_electrons).is_some() || light.pulse_energy_j.is_some();
        !stated && (light.greatest_power_w().is_some() || light.measured.is_some())
    }

    /// Light of pulses `factor` times as long, over the present.
    fn light(&self, factor: f64) -> f64 {
        energy_ratio(&self.rig.setup.light, self.plan.pulse_s, factor)
    }

    /// The present streak times `factor`, where the streak follows the pulse.
    fn exposure(&self, factor: f64) -> Exposure {
        match self.plan.scene.exposure {
            Exposure::Fraction(fraction) => Exposure::Fraction(fraction * factor),
            streak => streak,
        }
    }

    /// Another f-number than the present one, by the key that gives it.
    fn aperture(&self, now: f64, f_number: f64) -> Fix {
        let verb = if f_number > now {
            "stop down"
        } else {
            "open the aperture"
        };
        if let Some(aperture) = self.rig.setup.lens.numerical_aperture {
            let text = down(aperture * now / f_number).to_string();
            let words = format!("{verb} to a numerical aperture of {text}");
            return set(words, keys::lens::NUMERICAL_APERTURE, text);
        }
        let text = format!("f/{f_number}");
        set(format!("{verb} to {text}"), keys::lens::APERTURE, text)
    }
}

fn set(words: String, at: impl Into<KeyAt>, value: String) -> Fix {
    Fix {
        words,
        set: Some((at.into().path().to_owned(), value)),
    }
}

fn words(words: &str) -> Fix {
    Fix {
        words: words.to_owned(),
        set: None,
    }
}

fn at_most(value: f64) -> [f64; 2] {
    [f64::NEG_INFINITY, value]
}

fn at_least(value: f64) -> [f64; 2] {
    [value, f64::INFINITY]
}

/// To three digits, away from zero.
pub(super) fn up(value: f64) -> f64 {
    to_three_digits(value, f64::ceil)
}

/// To three digits, toward zero.
pub(super) fn down(value: f64) -> f64 {
    to_three_digits(value, f64::floor)
}

/// Where a rising function passes `wanted`, between `low` and `high`.
fn solve(of: impl Fn(f64) -> f64, wanted: f64, mut low: f64, mut high: f64) -> f64 {
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if of(middle) < wanted {
            low = middle
        } else {
            high = middle
        }
    }
    0.5 * (low + high)
}
