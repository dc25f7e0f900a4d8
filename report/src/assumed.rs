//! What a setup leaves open, in words and as JSON.

use motefield_rig::assumption::Assumption;
use motefield_rig::setup::Value as SetupValue;
use serde_json::{Value, json};

/// "usual: 0.1 (common practice, no source)", where another value than the one taken is usual.
pub(crate) fn usual(assumption: &Assumption) -> Option<String> {
    let usual = assumption.usual?;
    let value = SetupValue::parse(usual.value);
    Some(format!("usual: {value} ({})", usual.source))
}

/// For programs: key, value taken (null where the effect is off or follows from other keys), what
/// it assumes, and the usual value with its source (null where it is the one taken or none is
/// known).
pub(crate) fn json(all: &[Assumption]) -> Value {
    all.iter().map(one).collect()
}

/// One assumption.
pub(crate) fn one(assumption: &Assumption) -> Value {
    let usual = assumption
        .usual
        .map(|usual| json!({ "value": SetupValue::parse(usual.value).to_string(), "source": usual.source }));
    json!({
        "key": assumption.key.path,
        "taken": assumption.taken(),
        "assumes": assumption.key.absent.assumes,
        "usual": usual,
        "says": assumption.to_string(),
    })
}
