//! Outliers planted in pictures, and whether the processing finds them.

use motefield_evaluator::VectorStatus;
use motefield_evaluator::statistics::fraction;
use motefield_generator::Seed;

use super::peak::tile;
use super::{Figures, Measure, Request};

/// Share of planted outliers that are found.
pub const PLANTED: Measure = Measure {
    name: "planted outliers",
    about: "windows (tiles of the final pass's size, without overlap) of frame B, every third along both directions, are replaced by those of an unrelated pair: share of these whose vector is not valid, and of the other windows",
    arguments: &[],
    figures: &["found", "false_alarms"],
    pictures: true,
    statistical: true,
    run,
};

/// Each planted window stands among eight that are not.
const STEP: usize = 3;

fn run(request: &Request) -> Result<Figures, String> {
    let plan = request.plan();
    let window = plan.processing.passes.last().ok_or("needs a pass")?.window;
    let planted = |column: usize, row: usize| column % STEP == 1 && row % STEP == 1;
    // Vectors, and those that are not valid, of planted windows and of the others.
    let counts: Vec<[[u32; 2]; 2]> = request.each(|seed| {
        let render = |seed| (request.chain.render)(&plan.scene, seed).map_err(|e| e.to_string());
        let mut pair = render(seed)?;
        let unrelated = render(Seed {
            point: seed.point + 1,
            ..seed
        })?;
        let (height, width) = pair.b.dim();
        for row in (0..height / window[1]).skip(1).step_by(STEP) {
            for column in (0..width / window[0]).skip(1).step_by(STEP) {
                let [x, y] = [column * window[0], row * window[1]];
                for ((j, i), value) in tile(&unrelated.b, [x, y], window).indexed_iter() {
                    pair.b[[y + j, x + i]] = *value;
                }
            }
        }
        let field = (request.chain.correlate)(pair.a.view(), pair.b.view(), &plan.processing)
            .map_err(|e| e.to_string())?;
        if field.spacing != window {
            return Err("processing.passes: the last pass must have no overlap".into());
        }
        let mut counts = [[0; 2]; 2];
        for (k, vector) in field.vectors.iter().enumerate() {
            let of = &mut counts[usize::from(!planted(k % field.columns, k / field.columns))];
            of[0] += 1;
            of[1] += u32::from(vector.status != VectorStatus::Valid);
        }
        Ok(counts)
    })?;
    let share = |of: usize| {
        let sum = |k: usize| counts.iter().map(|c| f64::from(c[of][k])).sum::<f64>();
        fraction(sum(1) / sum(0), sum(0), request.confidence)
    };
    Ok([("found", share(0)), ("false_alarms", share(1))]
        .map(|(name, figure)| (name.to_owned(), figure))
        .into())
}
