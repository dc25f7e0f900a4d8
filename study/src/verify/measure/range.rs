//! The range of velocities and of lengths that a measurement covers.

use motefield_evaluator::score::dynamic_range;
use motefield_evaluator::statistics::Estimate;

use super::{Figures, Measure, Request};
use motefield_rig::quantity::Dimension;

/// Dynamic velocity range, dynamic spatial range and their product.
pub const RANGE: Measure = Measure {
    name: "dynamic range",
    about: "dynamic velocity and spatial range of a field of given width, largest displacement and random error",
    arguments: &["field", "largest_displacement", "random_error"],
    figures: &["velocity", "spatial", "product"],
    pictures: false,
    statistical: false,
    run,
};

fn run(request: &Request) -> Result<Figures, String> {
    let px = |name| request.arguments.quantity(name, Dimension::Pixels);
    let random = Estimate::exact(px("random_error")?);
    let range = dynamic_range(px("largest_displacement")?, px("field")?, random);
    Ok([
        ("velocity", range.velocity),
        ("spatial", Estimate::exact(range.spatial)),
        ("product", range.product),
    ]
    .map(|(name, figure)| (name.to_owned(), figure))
    .into())
}
