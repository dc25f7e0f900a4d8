//! What the plan tells.

use crate::quantity::{self, Dimension};

/// One figure of the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Fact {
    /// Heading under which it stands.
    pub part: &'static str,
    /// Name for machines, with its SI unit at the end.
    pub name: &'static str,
    /// Name for people.
    pub label: &'static str,
    /// Value in SI, or px and electrons.
    pub value: f64,
    /// Value for people.
    pub text: String,
}

#[derive(Default)]
pub(super) struct Facts(pub(super) Vec<Fact>);

impl Facts {
    pub(super) fn quantity(
        &mut self,
        part: &'static str,
        name: &'static str,
        label: &'static str,
        value: f64,
        dimension: Dimension,
    ) {
        self.0.push(Fact {
            part,
            name,
            label,
            value,
            text: quantity::format(value, dimension),
        });
    }

    pub(super) fn figure(
        &mut self,
        part: &'static str,
        name: &'static str,
        label: &'static str,
        value: f64,
        unit: &str,
    ) {
        let text = format!("{} {unit}", short(value)).trim_end().to_owned();
        self.0.push(Fact {
            part,
            name,
            label,
            value,
            text,
        });
    }
}

/// Three significant digits, or all before the point.
pub fn short(value: f64) -> String {
    let magnitude = value.abs();
    match magnitude {
        m if m == 0.0 || !m.is_finite() => format!("{value}"),
        m if !(1e-4..1e6).contains(&m) => format!("{value:.2e}"),
        m => format!("{value:.*}", (2 - m.log10().floor() as i32).max(0) as usize),
    }
}
