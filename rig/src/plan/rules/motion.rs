//! Displacement, gradient and losses in the interrogation windows.

use motefield_evaluator::Pass;

use super::{Fix, Rule, RuleId, RuleInput, Status, at_least, at_most, down, set, words};
use crate::keys;
use crate::plan::facts::{FactId, short, show};
use crate::plan::motion::Pairs;
use crate::plan::seeding::source_density;
use crate::quantity::Dimension as D;

/// Largest displacement over the window, and in depth over the sheet's thickness.
const QUARTER: f64 = 0.25;
/// Least N_I F_I F_O F_Δ.
const SEVEN: f64 = 7.0;
/// Largest source density (see [`super::image`]).
pub(super) const MOST_OVERLAP: f64 = 0.3;

const KEANE_ADRIAN: &str = "Keane and Adrian 1990, 1992 (memory)";

impl RuleInput<'_> {
    pub(super) fn motion_rules(&self) -> Vec<Rule> {
        let passes = &self.plan.processing.passes;
        let Some(first) = passes.first() else {
            return Vec::new();
        };
        let mut rules = vec![
            self.in_plane(first),
            self.out_of_plane(),
            self.gradient(first),
            self.pairs_rule(0),
        ];
        if passes.len() > 1 {
            rules.push(self.pairs_rule(passes.len() - 1));
        }
        rules
    }

    fn in_plane(&self, first: &Pass) -> Rule {
        let farthest = self.motion.farthest_px();
        let value = (0..2)
            .map(|k| farthest[k] / first.window[k] as f64)
            .fold(0.0, f64::max);
        let fix = || {
            let side = (0..2).map(|k| farthest[k] / QUARTER).fold(0.0, f64::max);
            self.separation(QUARTER / value)
                .or_else(|| self.window(0, |window| window.iter().all(|w| *w as f64 >= side)))
                .unwrap_or_else(|| words("shorten the pulse separation or enlarge the first window"))
        };
        // Rounding aside: what is just at the limit keeps it.
        let status = Status::of(value <= QUARTER * (1.0 + 1e-9), value <= 0.5);
        Rule {
            id: RuleId::QuarterInPlane,
            label: format!("displacement over the first window ({} px)", side(first)),
            value,
            shown: short(value),
            limit: "at most 0.25".to_owned(),
            within: at_most(QUARTER),
            status,
            source: KEANE_ADRIAN,
            fix: (status > Status::Pass).then(fix),
        }
    }

    fn out_of_plane(&self) -> Rule {
        let value = self.motion.deepest();
        let own = self.rig.setup.sheet.out_of_plane;
        let fix = || {
            let key = keys::sheet::OUT_OF_PLANE;
            if own.abs() > QUARTER && (value - own.abs()).abs() < 1e-9 {
                let wanted = QUARTER.copysign(own);
                return set(
                    format!(
                        "turn the sheet along the flow, until {} is at most {QUARTER}",
                        key.path
                    ),
                    key,
                    format!("{wanted}"),
                );
            }
            if own == 0.0
                && let Some(fix) = self.separation(QUARTER / value)
            {
                return fix;
            }
            let thicker = self.rig.px_per_m().zip(self.rig.setup.sheet.thickness);
            match thicker {
                Some((px_per_m, _)) if own == 0.0 => {
                    let thickness = self.plan.scene.sheet.thickness_px * value / QUARTER / px_per_m;
                    let text = show(super::up(thickness), D::Length);
                    set(
                        format!("make the sheet {text} thick"),
                        keys::sheet::THICKNESS,
                        text,
                    )
                }
                _ => words("turn the sheet along the flow, make it thicker, or shorten the pulse separation"),
            }
        };
        let status = Status::of(value <= QUARTER, value <= 0.5);
        Rule {
            id: RuleId::QuarterOutOfPlane,
            label: "displacement in depth over the sheet's thickness".to_owned(),
            value,
            shown: short(value),
            limit: "at most 0.25".to_owned(),
            within: at_most(QUARTER),
            status,
            source: KEANE_ADRIAN,
            fix: (status > Status::Pass).then(fix),
        }
    }

    fn gradient(&self, first: &Pass) -> Rule {
        let diameter = self.plan.scene.particle_diameter_px;
        let widest = first.window[0].max(first.window[1]) as f64;
        let value = self.motion.steepest() * widest / diameter;
        let later = self.plan.processing.deform && self.plan.processing.passes.len() > 1;
        let fix = || {
            let farthest = self.motion.farthest_px();
            let fits = |window: [usize; 2]| {
                let quarter = (0..2).all(|k| farthest[k] <= QUARTER * window[k] as f64);
                quarter && window[0].max(window[1]) as f64 * self.motion.steepest() <= diameter
            };
            let mut fix = self
                .separation(1.0 / value)
                .or_else(|| self.smaller_window(fits))
                .unwrap_or_else(|| words("shorten the pulse separation, and the pulse with it"));
            if later {
                fix.words += ", or trust the later passes, which deform the frames";
            }
            fix
        };
        let status = Status::of(value <= 1.0, later);
        Rule {
            id: RuleId::Gradient,
            label: "change over a first window, over image diameter".to_owned(),
            value,
            shown: short(value),
            limit: "at most 1".to_owned(),
            within: at_most(1.0),
            status,
            source: KEANE_ADRIAN,
            fix: (status > Status::Pass).then(fix),
        }
    }

    /// The factors of pass `k`, with another window and more seeding.
    fn pairs_of(&self, k: usize, window: [usize; 2], more: f64) -> Pairs {
        let follows = k > 0;
        self.motion
            .pairs(window, follows, follows && self.plan.processing.deform, more)
    }

    fn pairs_rule(&self, k: usize) -> Rule {
        let window = self.plan.processing.passes[k].window;
        let [mean, least] = self.pairs_of(k, window, 1.0).effective;
        let fix = || {
            let more = SEVEN / least;
            let after = source_density(&self.plan.scene) * more;
            let seeding = (after <= MOST_OVERLAP).then(|| self.seeding(more)).flatten();
            let enough = |window| self.pairs_of(k, window, 1.0).effective[1] >= SEVEN;
            seeding
                .or_else(|| self.window(k, enough))
                .unwrap_or_else(|| words("add tracer, enlarge the window, or shorten the pulse separation"))
        };
        let status = Status::of(least >= SEVEN, mean >= SEVEN);
        let (id, which) = if k == 0 {
            (RuleId::PairsFirstWindow, "first")
        } else {
            (RuleId::PairsFinalWindow, "final")
        };
        Rule {
            id,
            label: format!(
                "N_I F_I F_O F_Delta, {which} window, least (mean {})",
                short(mean)
            ),
            value: least,
            shown: short(least),
            limit: "at least 7".to_owned(),
            within: at_least(SEVEN),
            status,
            source: "Scharnowski and Kaehler 2016, after Keane and Adrian (published)",
            fix: (status > Status::Pass).then(fix),
        }
    }

    /// `factor` times the seeding, by the key that sets it.
    pub(super) fn seeding(&self, factor: f64) -> Option<Fix> {
        let round = if factor < 1.0 { down } else { super::up };
        let verb = if factor < 1.0 { "dilute" } else { "add tracer" };
        let (image, tracer) = (&self.rig.setup.image, &self.rig.setup.tracer);
        let mass = self
            .plan
            .figure(FactId::TracerMass)
            .map_or(String::new(), |kg_m3| {
                format!(" ({} mg of tracer per litre)", short(1e3 * factor * kg_m3))
            });
        Some(
            match (
                image.seeding_density_ppp,
                tracer.particles_per_window,
                tracer.concentration_m3,
            ) {
                (Some(ppp), _, _) => {
                    let text = format!("{} ppp", round(factor * ppp));
                    set(format!("{verb}: {text}"), keys::image::SEEDING_DENSITY, text)
                }
                (None, Some(count), _) => {
                    let text = format!("{}", round(factor * count));
                    set(
                        format!("{verb}: {text} particles in a final window{mass}"),
                        keys::tracer::PARTICLES_PER_WINDOW,
                        text,
                    )
                }
                (None, None, Some(concentration)) => {
                    let text = show(round(factor * concentration), D::NumberDensity);
                    set(format!("{verb}: {text}{mass}"), keys::tracer::CONCENTRATION, text)
                }
                (None, None, None) => return None,
            },
        )
    }

    /// The smallest larger square window of pass `k` that is good, in steps of 8 px.
    fn window(&self, k: usize, good: impl Fn([usize; 2]) -> bool) -> Option<Fix> {
        let passes = &self.plan.processing.passes;
        let [width, height] = passes[k].window;
        let most = self.plan.scene.size[0].min(self.plan.scene.size[1]);
        let side = (1..)
            .map(|step| (width.max(height) / 8 + step) * 8)
            .take_while(|side| *side <= most)
            .find(|side| good([*side; 2]))?;
        Some(self.set_window(k, side))
    }

    /// The largest smaller square first window that is good, in steps of 8 px, not below 16 px.
    fn smaller_window(&self, good: impl Fn([usize; 2]) -> bool) -> Option<Fix> {
        let [width, height] = self.plan.processing.passes[0].window;
        let side = (2..width.min(height).div_ceil(8))
            .rev()
            .map(|n| 8 * n)
            .find(|side| good([*side; 2]))?;
        Some(self.set_window(0, side))
    }

    fn set_window(&self, k: usize, side: usize) -> Fix {
        let passes = self.plan.processing.passes.len();
        let which = if k + 1 == passes { "final" } else { "first" };
        let text = format!("make the {which} window {side} px");
        // A list of passes that the file does not hold cannot be changed by one of its entries.
        match (k + 1 == passes, self.rig.setup.has(keys::processing::PASSES)) {
            (true, _) => set(text, keys::processing::WINDOW, side.to_string()),
            (false, true) => set(text, keys::processing::PASS_WINDOW.in_table(k), side.to_string()),
            (false, false) => words(&text),
        }
    }
}

fn side(pass: &Pass) -> String {
    match pass.window {
        [w, h] if w == h => format!("{w}"),
        [w, h] => format!("{w} x {h}"),
    }
}
