//! The facts of a plan: what a person or a program reads of it.

pub use crate::quantity::short;
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
    /// How it follows from what stands above it, in words; empty where the label says enough.
    pub how: String,
}

impl Fact {
    /// Says how the figure follows from others.
    pub(super) fn how(&mut self, how: impl Into<String>) {
        self.how = how.into();
    }
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
    ) -> &mut Fact {
        self.told(part, name, label, value, show(value, dimension))
    }

    pub(super) fn figure(
        &mut self,
        part: &'static str,
        name: &'static str,
        label: &'static str,
        value: f64,
        unit: &str,
    ) -> &mut Fact {
        let text = format!("{} {unit}", short(value)).trim_end().to_owned();
        self.told(part, name, label, value, text)
    }

    pub(super) fn told(
        &mut self,
        part: &'static str,
        name: &'static str,
        label: &'static str,
        value: f64,
        text: String,
    ) -> &mut Fact {
        self.0.push(Fact {
            part,
            name,
            label,
            value,
            text,
            how: String::new(),
        });
        self.0.last_mut().expect("just pushed")
    }
}

/// A quantity for people, to three or four digits, in the unit that keeps it short.
pub(super) fn show(value: f64, dimension: Dimension) -> String {
    quantity::format(value, dimension)
}
