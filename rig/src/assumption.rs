//! What a setup leaves open and the plan takes for granted: every key that is not given, whose
//! default says something about the experiment, and that another value of would change it.

use std::fmt;
use std::sync::Arc;

use motefield_generator::Scene;
use motefield_generator::flow::Uniform;
use rayon::prelude::*;

use crate::keys::{self, Key, Kind, Usual};
use crate::plan::{Plan, points};
use crate::setup::{Setup, Value};

/// A default that shapes what the pictures show.
#[derive(Debug, Clone, Copy)]
pub struct Assumption {
    /// The key that is not given.
    pub key: &'static Key,
    /// The value that is usual in the trade, where it is another than the one taken.
    pub usual: Option<Usual>,
}

impl Assumption {
    /// The value taken, as a setup would write it; `None` where it follows from others or the
    /// effect is off.
    pub fn taken(&self) -> Option<String> {
        self.key.absent.value.map(|text| Value::parse(text).to_string())
    }

    /// The usual value as a change of the setup.
    pub fn to_usual(&self) -> Option<(&'static str, Value)> {
        self.usual.map(|usual| (self.key.path, Value::parse(usual.value)))
    }
}

impl fmt::Display for Assumption {
    /// "no motion through the sheet (sheet.out_of_plane = 0)".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let path = self.key.path;
        let setting = match self.taken() {
            Some(value) => format!("{path} = {value}"),
            None => format!("{path} is not given"),
        };
        match (self.key.absent.assumes, self.key.absent.source) {
            ("", source) => write!(f, "{setting} ({source})"),
            (assumes, _) => write!(f, "{assumes} ({setting})"),
        }
    }
}

/// Everything that a planned setup leaves open and that shapes its pictures, in the order of the
/// key table.
///
/// # Examples
/// ```
/// use motefield_rig::assumption::assumptions;
/// use motefield_rig::plan::plan;
/// use motefield_rig::setup::{EMBEDDED, EMBEDDED_NAME, Setup};
///
/// let setup = Setup::from_text::<&str>(EMBEDDED_NAME, EMBEDDED, &[])?;
/// let all = assumptions(&plan(&setup)?);
/// let jitter = all.iter().find(|a| a.key.path == "light.jitter").unwrap();
/// assert_eq!(jitter.to_string(), "no jitter of the pulses (light.jitter = 0 ns)");
/// assert_eq!(jitter.usual.unwrap().value, "\"1 ns\"");
/// // This rig states its motion through the sheet.
/// assert!(all.iter().all(|a| a.key.path != "sheet.out_of_plane"));
/// # Ok::<(), motefield_rig::setup::SetupError>(())
/// ```
pub fn assumptions(plan: &Plan) -> Vec<Assumption> {
    let setup = &plan.rig.setup;
    let shown = ShownValue::of(plan);
    let open = keys::all().filter(|key| says_something(key) && !setup.has(key));
    let shapes = |key: &'static Key| {
        let changed = |value: &Value| changes(plan, &shown, setup, key, value);
        let usual = key.usual.filter(|usual| changed(&Value::parse(usual.value)));
        let others = others(key);
        // A list of tables has no value to try; where it can be given, it counts.
        let counts = usual.is_some()
            || match others.is_empty() {
                true => matches!(key.kind, Kind::Tables { .. }) && !instead(setup, key),
                false => others.iter().any(changed),
            };
        counts.then_some(Assumption { key, usual })
    };
    let open: Vec<&'static Key> = open.collect();
    open.into_par_iter().filter_map(shapes).collect()
}

/// Whether leaving the key out assumes something about the experiment.
fn says_something(key: &Key) -> bool {
    let absent = &key.absent;
    let entry = key.path.contains("[]");
    let own_choice = key.section() == keys::processing::SECTION.name;
    !entry && !own_choice && (!absent.assumes.is_empty() || !absent.source.is_empty())
}

/// Whether the setup gives the key in whose place this one may stand.
fn instead(setup: &Setup, key: &Key) -> bool {
    let other = keys::all().find(|other| other.path == key.instead_of);
    other.is_some_and(|other| setup.has(other))
}

/// Other values of a key than its default, the usual one first.
fn others(key: &Key) -> Vec<Value> {
    let default = key.absent.value.map(Value::parse);
    let usual = key.usual.iter().map(|usual| Value::parse(usual.value));
    let words = match key.kind {
        Kind::Choice(words) => words()
            .into_iter()
            .map(|word| Value::Text(word.to_owned()))
            .collect(),
        Kind::Switch => vec![Value::Switch(true), Value::Switch(false)],
        _ => Vec::new(),
    };
    let ends = key.slider.iter().flat_map(|slider| {
        let [low, high] = slider.range;
        // Of a wide range the middle as well: its ends may be refused.
        let middle = if slider.log {
            (low * high).sqrt()
        } else {
            0.7 * low + 0.3 * high
        };
        [middle, low, high].map(|number| Value::parse(&key.written(number)))
    });
    let all = usual.chain(words).chain(ends);
    all.filter(|value| Some(value) != default.as_ref()).collect()
}

/// Whether another value of a key can be planned and shows something else.
fn changes(now: &Plan, shown: &ShownValue, setup: &Setup, key: &Key, value: &Value) -> bool {
    let changed = setup.with(key.path, value.clone());
    let planned = changed.and_then(|changed| Plan::of(now.rig.changed(&changed)?));
    planned.is_ok_and(|other| ShownValue::of(&other) != *shown || moves_otherwise(now, &other))
}

/// What of a plan the pictures and the choice of the light depend on, but for the flow.
#[derive(PartialEq)]
struct ShownValue {
    scene: String,
    longest_pulse_s: Option<f64>,
}

impl ShownValue {
    fn of(plan: &Plan) -> ShownValue {
        let still = Scene {
            flow: Arc::new(Uniform {
                displacement_px: [0.0; 3],
            }),
            ..plan.scene.clone()
        };
        ShownValue {
            scene: format!("{still:?}"),
            longest_pulse_s: plan.longest_pulse_s,
        }
    }
}

/// One in so many points of the picture tells whether the flow is another one; a prime, so that
/// they do not stand in columns.
const ONE_IN: usize = 37;

/// Whether the velocities midway, px per pulse separation, differ at some points of a picture of
/// the same size.
fn moves_otherwise(one: &Plan, other: &Plan) -> bool {
    let (one, other, size) = (&one.scene.flow, &other.scene.flow, one.scene.size);
    if Arc::ptr_eq(one, other) {
        return false;
    }
    // Where a body is there is no velocity, which is equal to itself only as a number.
    let number = |v: f64| if v.is_finite() { v } else { 0.0 };
    points(size).step_by(ONE_IN).any(|[x, y]| {
        let [one, other] = [one, other].map(|flow| flow.velocity([x, y, 0.0], 0.0).map(number));
        one != other
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::plan;
    use crate::setup::{EMBEDDED, EMBEDDED_NAME};

    fn assumed(text: &str, changes: &[(&str, &str)]) -> Vec<Assumption> {
        let setup = Setup::from_text(EMBEDDED_NAME, text, changes).unwrap();
        assumptions(&plan(&setup).unwrap())
    }

    fn paths(changes: &[(&str, &str)]) -> Vec<&'static str> {
        assumed(EMBEDDED, changes).iter().map(|a| a.key.path).collect()
    }

    /// A default is listed as long as it shapes the pictures, and no longer when the setup states
    /// it or states what would follow from it.
    #[test]
    fn defaults_that_shape_the_pictures_are_listed() {
        let all = paths(&[]);
        for path in [
            "light.jitter",
            "camera.dsnu",
            "camera.prnu",
            "tracer.cluster_size",
        ] {
            assert!(all.contains(&path), "{path} of {all:?}");
        }
        // Without ambient light nothing gathers over the exposures, but it may.
        assert!(all.contains(&"light.ambient"));
        assert!(!all.contains(&"light.delivery"), "stated");
        assert!(!all.contains(&"light.source"), "changes the caution alone");
        let stated = paths(&[("light.jitter", "0 ns")]);
        assert!(!stated.contains(&"light.jitter"));
        // The particles' light is stated: what would arrive in the sheet plays no part.
        let bare = EMBEDDED.replace("delivery = 0.7", "");
        let of = |changes: &[(&str, &str)]| assumed(&bare, changes);
        assert!(of(&[]).iter().any(|a| a.key.path == "light.delivery"));
        let electrons = of(&[("image.electrons", "400 e")]);
        assert!(electrons.iter().all(|a| a.key.path != "light.delivery"));
    }

    /// A usual value is told where it is another than the default, and only there.
    #[test]
    fn usual_values_differ_from_the_default() {
        let bare = EMBEDDED
            .replace("out_of_plane = 0.05", "")
            .replace("dark_noise = \"4 e\"", "");
        let all = assumed(&bare, &[]);
        let usual = |path: &str| all.iter().find(|a| a.key.path == path).unwrap().usual;
        assert_eq!(usual("sheet.out_of_plane").unwrap().value, "0.1");
        // 5 e are taken and usual.
        assert!(usual("camera.dark_noise").is_none());
    }
}
