//! What would be enough where nothing meets the limit, in words and as JSON.

use motefield_evaluator::statistics::Estimate;
use motefield_rig::keys::{self, Key};
use motefield_rig::quantity::short;
use motefield_study::decide::enough::{Change, Enough, LeastLight, MOST_SHARE, Means, Sufficient};
use motefield_study::decide::limit::ErrorLimit;
use motefield_study::decide::trial::MeasuredSetting;
use serde_json::{Value, json};

use crate::Apply;
use crate::format::{interval, percent};
use crate::json::Interval;

/// What to do, then how sure.
pub fn words(enough: &Enough, apply: Apply) -> String {
    let mut lines = vec![format!("What would be enough for {}:", aim(enough))];
    for (k, way) in ways(enough).into_iter().enumerate() {
        let lead = ["", "instead of more light: "].get(k).unwrap_or(&"or: ");
        lines.push(format!("  {lead}{}", way.what));
        if let Some(with) = way.with {
            lines.push(format!("    {}", gives(enough, with)));
            lines.extend(cost(enough, with).map(|cost| format!("    {cost}")));
            lines.push(format!("    {}", apply(&with.settings)));
        }
    }
    lines.extend(nothing_else(enough).map(|why| format!("  {why}")));
    lines.into_iter().map(|line| line + "\n").collect()
}

/// The limit, and how what meets it was found.
pub fn aim(enough: &Enough) -> String {
    format!(
        "{}{} of the vectors valid (each measured on pairs of its own; {} pairs in all)",
        limit(enough).map_or(String::new(), |limit| format!("{limit} with ")),
        percent(enough.valid),
        enough.pairs
    )
}

/// A way to meet the limit, or why more light is none.
pub struct Way<'a> {
    /// In words.
    pub what: String,
    /// The settings that do.
    pub with: Option<&'a Sufficient>,
}

/// More light, then the other changes, in the order of the JSON's `solutions`.
pub fn ways(enough: &Enough) -> Vec<Way<'_>> {
    fn other(with: &Sufficient) -> Way<'_> {
        let all: Vec<String> = with.changes.iter().map(change).collect();
        Way {
            what: all.join(", with "),
            with: Some(with),
        }
    }
    std::iter::once(light(enough))
        .chain(enough.changes.iter().map(other))
        .collect()
}

/// What is said where no other change does.
pub fn nothing_else(enough: &Enough) -> Option<String> {
    enough.changes.is_empty().then(|| match enough.ended_early {
        true => format!(
            "no other change was found with {} times the pairs of the study; a wider limit, or more changes by hand, may do",
            short(MOST_SHARE)
        ),
        false => "no other change of the rig within its rules does, alone or with others".to_owned(),
    })
}

/// The limit of the error, where there is one.
fn limit(enough: &Enough) -> Option<String> {
    let stated = !matches!(enough.limit, ErrorLimit::Share(share) if share.is_infinite());
    stated.then(|| enough.limit.to_string())
}

fn light(enough: &Enough) -> Way<'_> {
    let mut found = None;
    let what = match &enough.light {
        LeastLight::Factor { times, with } => {
            found = Some(&**with);
            let factor: f64 = with.changes.iter().map(|change| change.factor).product();
            least_light(factor.max(1.0 / factor), *times)
        }
        LeastLight::Never { measured, .. } => format!(
            "no amount of light is enough: with unlimited light it is still {}",
            error(enough, measured)
        ),
        LeastLight::Ends { times, measured } => format!(
            "more light is not enough: up to {} times the light, the most tried within the rules of the plan (saturation among them), it is still {}",
            short(*times),
            error(enough, measured)
        ),
        LeastLight::NoKey => {
            "how much light would do cannot be told: no key of the setup changes the light".to_owned()
        }
        LeastLight::Unknown => "how much light would do could not be found".to_owned(),
    };
    Way { what, with: found }
}

/// The light of a solution, `set` times the present one, beside that with which the error is at the
/// limit: the solution is a little brighter, so that it keeps the limit for sure.
fn least_light(set: f64, times: Estimate) -> String {
    let much = format!("{} times the light", short(set));
    match times {
        _ if times.lo >= times.hi => format!("the least light: {much}"),
        _ if times.lo <= 1.0 => {
            format!("the present light cannot be told from the least; {much} is enough")
        }
        Estimate { value, lo, hi } => format!(
            "the least light: {much} (the error is at the limit with {}; {} to {})",
            short(value),
            short(lo),
            short(hi)
        ),
    }
}

/// What a solution gives.
pub fn gives(enough: &Enough, with: &Sufficient) -> String {
    format!(
        "{}, {} of the vectors valid",
        error(enough, &with.measured),
        percent(with.measured.valid())
    )
}

/// That a limit in px is met at the expense of the velocity, where it is.
pub fn cost(enough: &Enough, with: &Sufficient) -> Option<String> {
    enough.costs_velocity(with).then(|| {
        format!(
            "caution: the error of the velocity rises, from {} of the mean speed as the rig stands; a limit in % counts that",
            percent(enough.velocity_before)
        )
    })
}

/// The error in px and as a share of the mean speed.
fn error(enough: &Enough, setting: &MeasuredSetting) -> String {
    let px = setting.point.score.total_px;
    let relative = match enough.of_velocity {
        true => setting.relative(),
        false => px.map_rising(|px| px / setting.speeds.mean_px),
    };
    let percents = |e: Estimate| interval(e.map_rising(|share| 100.0 * share), "%");
    match enough.of_velocity {
        true => format!("{} of the mean speed", percents(relative)),
        false => format!(
            "{} = {} of the mean speed",
            interval(px, "px"),
            percent(relative.value)
        ),
    }
}

/// "the aperture from f/4 to f/2.8".
fn change(change: &Change) -> String {
    let is = |key: &Key| change.key == key.path;
    let what = match change.means {
        Means::Light => "the light",
        Means::Aperture => "the aperture",
        Means::Window => "the final window (px)",
        Means::Ensemble => "the pairs per vector (steady flow)",
        Means::TracerDiameter => "the tracer\u{2019}s diameter",
        Means::Seeding => "the seeding",
        Means::Field if is(keys::lens::MAGNIFICATION) => "the magnification",
        Means::Field if is(keys::lens::WORKING_DISTANCE) => "the working distance",
        Means::Field => "the width of the field",
        Means::Separation if is(keys::timing::DISPLACEMENT) => "the displacement",
        Means::Separation => "the pulse separation",
    };
    let [from, to] = &change.values;
    format!("{what} from {from} to {to}")
}

/// For programs; null where the limit is met or nobody asked.
pub fn json(enough: Option<&Enough>) -> Value {
    let Some(enough) = enough else { return Value::Null };
    let light = match &enough.light {
        LeastLight::Factor { times, with } => {
            let mut one = solution(enough, "least-light", with);
            one["times_the_light"] = json!(Interval::from(*times));
            one
        }
        LeastLight::Never { measured, .. } => {
            let mut one = short_of_it(enough, "no-light-is-enough", measured);
            one["with_unlimited_light"] = json!(true);
            one
        }
        LeastLight::Ends { times, measured } => {
            let mut one = short_of_it(enough, "light-ends", measured);
            one["times_the_light"] = json!({ "value": times });
            one
        }
        LeastLight::NoKey => json!({ "kind": "no-key-for-light" }),
        LeastLight::Unknown => json!({ "kind": "least-light-unknown" }),
    };
    let changes = enough.changes.iter().map(|with| solution(enough, "change", with));
    let solutions: Value = std::iter::once(light).chain(changes).collect();
    json!({
        "limit": limit(enough),
        "valid_fraction_asked": enough.valid,
        "pairs": enough.pairs,
        "ended_early": enough.ended_early,
        "ranked_by": "fewest changes, then the smallest sum of the logarithms of their factors",
        "solutions": solutions,
    })
}

fn short_of_it(enough: &Enough, kind: &str, setting: &MeasuredSetting) -> Value {
    let relative = match enough.of_velocity {
        true => setting.relative(),
        false => (setting.point.score.total_px).map_rising(|px| px / setting.speeds.mean_px),
    };
    json!({
        "kind": kind,
        "total_px": Interval::from(setting.point.score.total_px),
        "error_over_mean_speed": Interval::from(relative),
        "valid": setting.valid(),
        "pairs": setting.point.pairs(),
    })
}

fn solution(enough: &Enough, kind: &str, with: &Sufficient) -> Value {
    let mut one = short_of_it(enough, kind, &with.measured);
    let change = |change: &Change| {
        json!({
            "what": change.means.as_str(),
            "key": change.key,
            "from": change.values[0],
            "to": change.values[1],
            "factor": change.factor,
        })
    };
    let setting = |(key, value): &(String, String)| json!({ "key": key, "value": value });
    one["velocity_error_rises"] = json!(enough.costs_velocity(with));
    one["changes"] = with.changes.iter().map(change).collect();
    one["size"] = json!(with.size());
    one["settings"] = with.settings.iter().map(setting).collect();
    one["error_over_limit"] = json!(Interval::from(with.strain));
    one
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is set is never less than the present light, whatever the interval of the least.
    #[test]
    fn the_least_light_is_what_is_set() {
        let known = |value, lo, hi| Estimate { value, lo, hi };
        let more = least_light(1.19, known(1.15, 1.13, 1.18));
        assert_eq!(
            more,
            "the least light: 1.19 times the light (the error is at the limit with 1.15; 1.13 to 1.18)"
        );
        let near = least_light(1.04, known(0.94, 0.895, 0.989));
        assert!(
            near.contains("cannot be told") && near.contains("1.04 times"),
            "{near}"
        );
        assert_eq!(
            least_light(3.0, Estimate::exact(2.4)),
            "the least light: 3.00 times the light"
        );
    }
}
