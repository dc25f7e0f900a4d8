//! The mistake that explains an error, in words and as JSON.

use motefield_evaluator::conventions::{Explanation, Mistake};
use motefield_rig::quantity::short;
use serde_json::{Value, json};

use crate::format::percent;

/// What was done wrong, in words.
pub fn mistake(mistake: &Mistake) -> String {
    let off = |[x, y]: &[f64; 2]| format!("{} px along x and {} px along y", short(-x), short(-y));
    match mistake {
        Mistake::FramesExchanged => {
            "the displacements run backward: frames A and B exchanged, time reversed, or both signs reversed"
                .to_owned()
        }
        Mistake::YReversed => "y runs up, of positions and of displacements".to_owned(),
        Mistake::PositionsReversed => "y of the positions runs up".to_owned(),
        Mistake::DisplacementsReversed => "y of the displacements runs up".to_owned(),
        Mistake::AxesExchanged => "x and y are exchanged".to_owned(),
        Mistake::PositionsExchanged => "x and y of the positions are exchanged".to_owned(),
        Mistake::DisplacementsExchanged => "x and y of the displacements are exchanged".to_owned(),
        Mistake::Doubled => "the displacements are twice as long as the true ones".to_owned(),
        Mistake::Halved => "the displacements are half as long as the true ones".to_owned(),
        Mistake::HalfPixel(shift) => format!(
            "the positions are half a pixel off, a pixel's corner for its centre: {}",
            off(shift)
        ),
        Mistake::OnePixel(shift) => format!(
            "the positions are one pixel off, as if counted from 1: {}",
            off(shift)
        ),
        Mistake::AtStart => "the positions are those in frame A".to_owned(),
        Mistake::AtEnd => "the positions are those in frame B".to_owned(),
        Mistake::ColumnOrder => {
            "positions and displacements stand in different order: one by rows, one by columns".to_owned()
        }
        Mistake::RowOrder => "the displacements stand with the last row first".to_owned(),
        Mistake::WholePixels => "the displacements are rounded to whole pixels".to_owned(),
        Mistake::OtherPair(_) => "the vectors are those of another pair".to_owned(),
        Mistake::DisplacementUnit(px) => {
            format!(
                "the displacements are in another unit, mm or a velocity: 1 of it is {} px",
                short(*px)
            )
        }
        Mistake::Index { spacing_px, .. } => {
            format!(
                "the positions are numbers of columns and rows, {} px apart",
                short(*spacing_px)
            )
        }
        Mistake::Units {
            position_px,
            displacement_px,
        } => format!(
            "the positions are in another unit, 1 of it is {} px; 1 of the displacements' is {} px",
            short(*position_px),
            short(*displacement_px)
        ),
        Mistake::Shift(shift) => format!(
            "the positions are off, as a window's corner for its centre: {}",
            off(shift)
        ),
    }
}

/// A few sentences; `remedy` says what to do about each mistake.
pub fn words(explanation: &Explanation, remedy: &dyn Fn(&Mistake) -> String) -> String {
    let mut text = format!(
        "The error looks like a mistake in the convention: {}.\n  It explains {} of the mean square error (outliers apart): {} px would become {} px.\n  Try: {}\n",
        mistake(&explanation.mistake),
        percent(explanation.share),
        short(explanation.error_px),
        short(explanation.left_px),
        remedy(&explanation.mistake)
    );
    for other in &explanation.alike {
        text += &format!(
            "  The data cannot tell it from this: {}; then: {}\n",
            mistake(other),
            remedy(other)
        );
    }
    text
}

/// `{mistake, says, share, error_px, left_px, remedy, alike}`; null without an explanation.
pub fn json(explanation: Option<&Explanation>, remedy: &dyn Fn(&Mistake) -> String) -> Value {
    let one = |m: &Mistake| json!({ "mistake": m.id(), "says": mistake(m), "remedy": remedy(m) });
    let Some(explanation) = explanation else {
        return Value::Null;
    };
    let mut all = one(&explanation.mistake);
    all["share"] = json!(explanation.share);
    all["error_px"] = json!(explanation.error_px);
    all["left_px"] = json!(explanation.left_px);
    all["alike"] = explanation.alike.iter().map(one).collect();
    all
}
