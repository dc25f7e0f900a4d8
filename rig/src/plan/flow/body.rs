//! Bodies in an imported field: where nothing is known, where nothing moves, where a mesh has no
//! cells.

use std::collections::VecDeque;

use motefield_generator::flow::{DataError, ScatteredField, Vec3};

use crate::keys::choices::Body;

/// Why scattered nodes make no field.
pub(super) enum NodesFault {
    /// The nodes themselves.
    Data(DataError),
    /// What is known at them.
    Gaps(&'static str),
}

const NO_FLUID: &str = "holds no fluid: nothing is known, or nothing moves, between any of its points";
const UNKNOWN: &str = "has velocities that are not known (NaN), and flow.body = \"none\" says that there are no bodies: fill them in, or leave the key out";

fn unknown(v: &Vec3) -> bool {
    v.iter().any(|c| c.is_nan())
}

fn still(v: &Vec3) -> bool {
    *v == [0.0; 3]
}

/// Whether a part of the field between these corners is a body: something is not known there, or,
/// where blocks at rest count, everything is at rest.
fn is_body(corners: &[&Vec3], body: Body) -> bool {
    corners.iter().any(|v| unknown(v)) || (body == Body::Found && corners.iter().all(|v| still(v)))
}

/// Whether blocks at rest can be told from a field that is at rest as a whole.
fn looked_for(values: &[Vec3], body: Body) -> Body {
    match body {
        Body::Found if values.iter().all(|v| still(v) || unknown(v)) => Body::Gaps,
        other => other,
    }
}

/// The values on a grid of `count` nodes, with those that are not known filled from their
/// neighbours, and which of the cells between the nodes are bodies, if any is.
pub(super) fn in_cells(
    values: Vec<Vec3>,
    count: [usize; 3],
    body: Body,
) -> Result<(Vec<Vec3>, Option<Vec<bool>>), String> {
    if body == Body::None {
        return match values.iter().any(unknown) {
            true => Err(UNKNOWN.to_owned()),
            false => Ok((values, None)),
        };
    }
    let body = looked_for(&values, body);
    let cells = count.map(|nodes| (nodes - 1).max(1));
    let along = |axis: usize| if count[axis] > 1 { [0, 1] } else { [0, 0] };
    let solid: Vec<bool> = (0..cells.iter().product())
        .map(|k: usize| {
            let first = [k % cells[0], k / cells[0] % cells[1], k / cells[0] / cells[1]];
            let mut corners = Vec::with_capacity(8);
            for dz in along(2) {
                for dy in along(1) {
                    for dx in along(0) {
                        let node = ((first[2] + dz) * count[1] + first[1] + dy) * count[0] + first[0] + dx;
                        corners.push(&values[node]);
                    }
                }
            }
            is_body(&corners, body)
        })
        .collect();
    if solid.iter().all(|s| *s) {
        return Err(NO_FLUID.to_owned());
    }
    let any = solid.iter().any(|s| *s);
    Ok((filled(values, count), any.then_some(solid)))
}

/// The values with each that is not known replaced by the mean of its neighbours along the axes
/// that are known or were filled before it, outward from the known ones: what the interpolation
/// sees beyond the border of a body.
fn filled(mut values: Vec<Vec3>, count: [usize; 3]) -> Vec<Vec3> {
    let step = [1, count[0], count[0] * count[1]];
    let neighbours = |k: usize| {
        let index = [k % count[0], k / count[0] % count[1], k / count[0] / count[1]];
        (0..3).flat_map(move |axis| {
            let before = (index[axis] > 0).then(|| k - step[axis]);
            let after = (index[axis] + 1 < count[axis]).then(|| k + step[axis]);
            before.into_iter().chain(after)
        })
    };
    let mut round: Vec<usize> = (0..values.len())
        .filter(|&k| unknown(&values[k]) && neighbours(k).any(|n| !unknown(&values[n])))
        .collect();
    let mut next = VecDeque::new();
    while !round.is_empty() {
        let means: Vec<(usize, Vec3)> = round
            .iter()
            .map(|&k| {
                let known: Vec<Vec3> = neighbours(k).map(|n| values[n]).filter(|v| !unknown(v)).collect();
                let mean = |c: usize| known.iter().map(|v| v[c]).sum::<f64>() / known.len() as f64;
                (k, [mean(0), mean(1), mean(2)])
            })
            .collect();
        for (k, mean) in means {
            values[k] = mean;
            next.extend(neighbours(k));
        }
        round = next.drain(..).filter(|&k| unknown(&values[k])).collect();
        round.sort_unstable();
        round.dedup();
    }
    values
}

/// The field through those of the nodes at which the velocity is known, with fluid in the triangles
/// of the `mesh`, or of all nodes where there is no mesh.
pub(super) fn between_nodes(
    at: &[[f64; 2]],
    values: &[Vec3],
    mesh: Option<&[[usize; 3]]>,
    body: Body,
) -> Result<ScatteredField, NodesFault> {
    if body == Body::None {
        return match values.iter().any(unknown) {
            true => Err(NodesFault::Gaps(UNKNOWN)),
            false => ScatteredField::new(at, values).map_err(NodesFault::Data),
        };
    }
    let body = looked_for(values, body);
    let gaps = values.iter().any(unknown);
    // Where something is not known the nodes there still say how far the gap reaches.
    let zero = |v: &Vec3| if unknown(v) { [0.0; 3] } else { *v };
    let all = match (mesh, gaps) {
        (Some(_), true) => None,
        _ => {
            let values: Vec<Vec3> = values.iter().map(zero).collect();
            Some(ScatteredField::new(at, &values).map_err(NodesFault::Data)?)
        }
    };
    let triangles = match (mesh, &all) {
        (Some(mesh), _) => mesh,
        (None, Some(all)) => all.triangles(),
        (None, None) => unreachable!("nodes without a mesh are triangulated"),
    };
    let fluid: Vec<[usize; 3]> = triangles
        .iter()
        .copied()
        .filter(|t| !is_body(&t.map(|k| &values[k]), body))
        .collect();
    if fluid.is_empty() {
        return Err(NodesFault::Gaps(NO_FLUID));
    }
    let whole = mesh.is_none() && fluid.len() == triangles.len();
    let field = match all {
        Some(all) if !gaps => all,
        _ => {
            let known: Vec<usize> = (0..at.len()).filter(|&k| !unknown(&values[k])).collect();
            let at: Vec<[f64; 2]> = known.iter().map(|&k| at[k]).collect();
            let values: Vec<Vec3> = known.iter().map(|&k| values[k]).collect();
            ScatteredField::new(&at, &values).map_err(NodesFault::Data)?
        }
    };
    Ok(match whole {
        true => field,
        false => field.covered_by(at, &fluid),
    })
}
