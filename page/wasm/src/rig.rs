//! The rig: keys, texts and the plan.

use motefield_rig::keys;
use motefield_rig::plan::{Assessment, Plan};
use motefield_rig::setup::{Document, EMBEDDED, Setup};
use serde_json::{Value, json};

use crate::answer::{NAME, Refusal, text};

/// Rigs to start from: name, what it is, text.
const STARTS: [[&str; 3]; 6] = [
    [
        "flume",
        "A bar's wake in a water flume, lit by a blue diode",
        EMBEDDED,
    ],
    [
        "diode-water",
        "A bar of laser diodes over a water channel",
        include_str!("../../../cases/start/diode-water.toml"),
    ],
    [
        "led-tank",
        "A line of pulsed LEDs on a tank",
        include_str!("../../../cases/start/led-tank.toml"),
    ],
    [
        "laser-tunnel",
        "A double-pulse laser in a wind tunnel",
        include_str!("../../../cases/start/laser-tunnel.toml"),
    ],
    [
        "lamp-river",
        "A lamp over a river, filmed from a bridge",
        include_str!("../../../cases/start/lamp-river.toml"),
    ],
    [
        "microchannel",
        "A small channel under a microscope",
        include_str!("../../../cases/start/microchannel.toml"),
    ],
];

/// The key table and the rigs to start from.
pub(crate) fn keys() -> Value {
    let start = |[name, about, text]: &[&str; 3]| json!({ "name": name, "about": about, "setup": text });
    json!({
        "sections": keys::table::json(),
        "starts": STARTS.iter().map(start).collect::<Value>(),
        "version": env!("CARGO_PKG_VERSION"),
        "results_version": motefield_study::RESULTS_VERSION,
    })
}

/// The setup's text with another value under a key.
pub(crate) fn edit(request: &Value) -> Result<Value, Refusal> {
    let document = Document::parse(NAME, text(request, "setup"))?;
    let edited = document.edited(text(request, "key"), text(request, "value"))?;
    Ok(json!({ "setup": edited }))
}

/// The setup's text with a field of another kind: see [`Document::with_field`].
pub(crate) fn field(request: &Value) -> Result<Value, Refusal> {
    let document = Document::parse(NAME, text(request, "setup"))?;
    let number = request["number"].as_u64().unwrap_or(u64::MAX) as usize;
    Ok(json!({ "setup": document.with_field(number, request["kind"].as_str())? }))
}

/// What the setup states: key and value, those of each of several fields under its number.
fn given(setup: &Setup) -> Value {
    let listed = setup.flow.fields.iter().filter_map(|field| field.place);
    let of_fields = listed.flat_map(|number| {
        let keys = keys::flow::SECTION.keys.iter();
        keys.map(move |key| format!("flow[{number}].{}", key.name()))
    });
    let stated = |path: String| Some(json!([path, setup.written(&path)?]));
    (keys::all().filter(|key| setup.has(key)))
        .map(|key| key.path.to_owned())
        .chain(of_fields)
        .filter_map(stated)
        .collect()
}

/// What a plan takes for granted because its setup leaves it open.
pub(crate) fn assumed(plan: &Plan) -> Result<Value, Refusal> {
    let assessment = Assessment::of_plan(plan).with_assumptions(plan);
    let all = motefield_report::plan::json(&assessment);
    Ok(json!({ "assumed": all["assumed"] }))
}

/// The plan with what the views draw.
pub(crate) fn plan(plan: &Plan) -> Value {
    let assessment = Assessment::of_plan(plan);
    let (scene, setup) = (&plan.scene, &plan.rig.setup);
    let mut all = motefield_report::plan::json(&assessment);
    let facts = assessment.parts.iter().map(|(heading, facts)| {
        let fact = |fact: &motefield_rig::plan::Fact| {
            json!({ "name": fact.id.as_str(), "label": fact.label, "value": fact.value, "shown": fact.text, "how": fact.how })
        };
        json!({ "heading": heading.as_str(), "facts": facts.iter().map(fact).collect::<Value>() })
    });
    all["parts"] = facts.collect();
    all["given"] = given(setup);
    all["verdict"] = json!(assessment.verdict());
    all["size"] = json!(scene.size);
    all["bits"] = json!(scene.camera.sensor.map(|sensor| sensor.bits));
    all["particles_ppp"] = json!(scene.seeding_density_ppp);
    all["diameter_px"] = json!(scene.particle_diameter_px);
    all["px_per_m"] = json!(plan.rig.px_per_m());
    all["pulse"] = json!(plan.pulse_s);
    all["longest_pulse"] = json!(plan.longest_pulse_s);
    all["longest_pulse_by"] = json!(plan.longest_pulse_by.map(|key| key.path));
    all["fast_px"] = json!(plan.rig.speeds.fast_px);
    all["straddle"] = assessment.straddle.as_ref().map_or(Value::Null, |pair| {
        json!({
            "separation_s": pair.separation_s,
            "pulses_s": pair.pulses_s,
            "dead_s": pair.dead_s,
            "exposures_s": pair.exposures_s.map(|s| s.is_finite().then_some(s)),
            "gap_s": pair.gap_s(),
            "margin_s": pair.margin_s(),
            "shortest_separation_s": pair.shortest_separation_s(),
            "longest_separation_s": Some(pair.longest_separation_s()).filter(|s| s.is_finite()),
            "continuous": pair.continuous,
        })
    });
    all
}
