//! The particle images: size, streak, depth of field, overlap.

use motefield_generator::Exposure;

use super::motion::MOST_OVERLAP;
use super::{Fix, PRACTICE, Rule, RuleId, RuleInput, Status, at_least, at_most, down, set, up, words};
use crate::keys;
use crate::plan::facts::{short, show};
use crate::plan::seeding::source_density;
use crate::quantity::Dimension as D;

/// Particle image diameters that are measured best, px.
const GOOD_PX: [f64; 2] = [2.0, 4.0];
const BEARABLE_PX: [f64; 2] = [1.5, 6.0];

impl RuleInput<'_> {
    pub(super) fn image_rules(&self) -> Vec<Rule> {
        let mut rules = vec![self.diameter(), self.streak(), self.overlap()];
        rules.extend(self.depth_of_field());
        rules
    }

    fn diameter(&self) -> Rule {
        let value = self.plan.scene.particle_diameter_px;
        let within = |[low, high]: [f64; 2]| (low..=high).contains(&value);
        let status = Status::of(within(GOOD_PX), within(BEARABLE_PX));
        let target = if value < GOOD_PX[0] {
            GOOD_PX[0]
        } else {
            GOOD_PX[1]
        };
        let fix = || {
            let stated = self.rig.setup.image.particle_diameter_px.is_some();
            let (Some(image), false) = (&self.rig.image, stated) else {
                let text = format!("{target} px");
                return set(
                    format!("make the particle images {text}"),
                    keys::image::PARTICLE_DIAMETER,
                    text,
                );
            };
            // What one part must become when the others stay.
            let square = |m: f64| m * m;
            let left =
                |others: [f64; 2]| square(target * image.pixel_m) - square(others[0]) - square(others[1]);
            let round = if value < target { up } else { down };
            let for_diffraction = left([image.geometric_m, image.blur_m]);
            let for_blur = left([image.geometric_m, image.diffraction_m]);
            if for_diffraction > 0.0 {
                let now = image.optics.f_number();
                let f_number = round(now * for_diffraction.sqrt() / image.diffraction_m);
                if (0.7..=64.0).contains(&f_number) {
                    return self.aperture(now, f_number);
                }
            }
            if for_blur > 0.0 {
                let text = show(round(for_blur.sqrt()), D::Length);
                return set(
                    format!("focus to a blur of {text} on the sensor"),
                    keys::lens::BLUR,
                    text,
                );
            }
            words("choose another magnification")
        };
        Rule {
            id: RuleId::ParticleImageDiameter,
            label: "particle image diameter (e^-2)".to_owned(),
            value,
            shown: format!("{} px", short(value)),
            limit: "2 to 4 px".to_owned(),
            within: GOOD_PX,
            status,
            source: "2: Westerweel 1997 (memory); 4: common practice, no source",
            fix: (status > Status::Pass).then(fix),
        }
    }

    /// The longer of the two pulses' longest streaks, px.
    fn longest_streak_px(&self) -> f64 {
        match self.plan.scene.exposure {
            Exposure::Streak([x, y]) => x.hypot(y),
            Exposure::Fraction(fraction) => {
                let longer = self.plan.scene.light.pulses.map(|pulse| pulse.length_ratio);
                fraction * self.rig.speeds.fastest_px * longer[0].max(longer[1])
            }
        }
    }

    fn streak(&self) -> Rule {
        let streak = self.longest_streak_px();
        let value = streak / self.plan.scene.particle_diameter_px;
        let status = Status::of(value <= 0.5, value <= 2.0);
        let image = &self.rig.setup.image;
        let fix = || {
            let factor = 0.5 / value;
            match (image.streak_px, image.pulse_fraction) {
                (Some([_, 0.0]), _) => {
                    let text = format!("{} px", down(factor * streak));
                    set(
                        format!("shorten the streak to {text}"),
                        keys::image::STREAK.entry(0),
                        text,
                    )
                }
                (None, Some(fraction)) => {
                    let text = format!("{}", down(factor * fraction));
                    set(
                        format!("shorten the pulses to {text} of their separation"),
                        keys::image::PULSE_FRACTION,
                        text,
                    )
                }
                _ => self.pulse(factor).unwrap_or_else(|| words("shorten the pulse")),
            }
        };
        Rule {
            id: RuleId::Streak,
            label: format!("longest streak ({} px) over image diameter", short(streak)),
            value,
            shown: short(value),
            limit: "at most 0.5".to_owned(),
            within: at_most(0.5),
            status,
            source: PRACTICE,
            fix: (status > Status::Pass).then(fix).map(|fix| Fix {
                words: format!(
                    "{} (a rule of thumb: where light is short, a longer streak may cost less than the light; a decision measures both)",
                    fix.words
                ),
                ..fix
            }),
        }
    }

    fn overlap(&self) -> Rule {
        let value = source_density(&self.plan.scene);
        let status = Status::of(value <= MOST_OVERLAP, value <= 1.0);
        Rule {
            id: RuleId::Overlap,
            label: "source density: images over a point".to_owned(),
            value,
            shown: short(value),
            limit: "at most 0.3".to_owned(),
            within: at_most(MOST_OVERLAP),
            status,
            source: "Adrian 1984 (memory); its 0.3: common practice, no source",
            fix: (status > Status::Pass).then(|| {
                self.seeding(MOST_OVERLAP / value)
                    .unwrap_or_else(|| words("dilute"))
            }),
        }
    }

    fn depth_of_field(&self) -> Option<Rule> {
        let (image, px_per_m) = (self.rig.image.as_ref()?, self.rig.px_per_m()?);
        self.rig.setup.sheet.thickness?;
        // Where all of the depth is lit, images out of focus are meant: the depth of correlation
        // says what counts.
        let all_lit = self.rig.setup.sheet.spot_m.is_some() && self.plan.scene.imaging.defocus > 0.0;
        if all_lit {
            return None;
        }
        let thickness = self.plan.scene.sheet.thickness_px / px_per_m;
        // Out of the middle of the sheet the plane in focus leaves less of the depth on one side.
        let needed = thickness + 2.0 * self.plan.scene.imaging.focus_px.abs() / px_per_m;
        let depth = image.depth_of_field_m();
        let value = depth / needed;
        let status = Status::of(value >= 1.0, value >= 0.5);
        let f_number = image.optics.f_number();
        Some(Rule {
            id: RuleId::DepthOfField,
            label: format!(
                "depth of field ({}) over the sheet's ({})",
                show(depth, D::Length),
                show(needed, D::Length)
            ),
            value,
            shown: short(value),
            limit: "at least 1".to_owned(),
            within: at_least(1.0),
            status,
            source: PRACTICE,
            // The depth grows with the square of the f-number.
            fix: (status > Status::Pass).then(|| self.aperture(f_number, up(f_number / value.sqrt()))),
        })
    }
}
