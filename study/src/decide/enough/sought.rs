//! The search: light alone, then other changes one by one, then several together.

use super::bench::Bench;
use super::lever::{Lever, Means};
use super::ray::{PlaceOnRay, Ray, Sharpness, light_alone};
use super::{ALTERNATIVES, LeastLight, Sufficient};
use motefield_rig::keys;
use motefield_rig::quantity::Dimension;

/// Beside the least light nothing new is begun once the search has taken so many times the pairs of
/// the study.
pub const MOST_SHARE: f64 = 2.0;
/// Pairs that it may take in any case.
const LEAST_PAIRS: f64 = 200.0;
/// The least light is looked for up to four to this power.
const QUADRUPLINGS: i32 = 5;
/// A change that takes off less, as a logarithm of the error, helps nothing.
const HELPS: f64 = 0.03;
/// Most pairs of changes that are tried.
const MOST_JOINT: usize = 4;
/// Strain on a few pairs from which a solution may be expected.
const PROMISING: f64 = 0.98;

pub(super) struct SoughtChange {
    pub light: LeastLight,
    pub changes: Vec<Sufficient>,
    pub ended_early: bool,
    spent_on_light: usize,
}

/// A change and what a first look says of it.
struct Candidate {
    ray: Ray,
    /// By how much the logarithm of the strain falls at its end.
    gain: f64,
}

pub(super) fn sought(bench: &Bench) -> SoughtChange {
    let levers = bench.levers();
    let mut found = SoughtChange {
        light: LeastLight::Unknown,
        changes: Vec::new(),
        ended_early: false,
        spent_on_light: 0,
    };
    let Some(at) = bench.best(&[], &bench.present()) else {
        return found;
    };
    let standing = PlaceOnRay { share: 0.0, at };
    let light = levers.iter().find(|lever| lever.means == Means::Light);
    found.light = match light {
        Some(lever) => least_light(bench, &standing, lever),
        None => LeastLight::NoKey,
    };
    found.spent_on_light = bench.spent();
    let single = first_looks(bench, &standing, levers);
    let needed = standing.at.strain.ln();
    alone(bench, &standing, needed, &single, &mut found);
    if found.changes.is_empty() {
        together(bench, &standing, needed, &single, &mut found);
    }
    let order = |s: &Sufficient| (s.changes.len(), s.size());
    found.changes.sort_by(|a, b| {
        order(a)
            .partial_cmp(&order(b))
            .unwrap_or(std::cmp::Ordering::Equal)
    });
    found.changes.truncate(ALTERNATIVES);
    found
}

/// Whether enough was spent.
fn is_spent(bench: &Bench, from: usize) -> bool {
    (bench.spent() - from) as f64 > (MOST_SHARE * bench.unmet.pairs as f64).max(LEAST_PAIRS)
}

/// Known twice and a half as well as the points of the study, so that a tenth less light shows.
fn sharply(bench: &Bench) -> Sharpness {
    Sharpness {
        precision: 0.4 * bench.precision(),
        times: 4,
        least: 0.975,
    }
}

/// Known as well as the points of the study.
fn usually(bench: &Bench) -> Sharpness {
    Sharpness {
        precision: bench.precision(),
        times: 1,
        least: 0.9,
    }
}

fn least_light(bench: &Bench, standing: &PlaceOnRay, lever: &Lever) -> LeastLight {
    if let Some(unlimited) = bench.unlimited().filter(|tried| tried.strain.lo > 1.0) {
        return LeastLight::Never {
            strain: unlimited.strain,
            measured: Box::new(unlimited.measured),
        };
    }
    let farthest = 4f64.powi(QUADRUPLINGS);
    let mut levers = vec![lever.reaching(farthest)];
    // A stronger source bears more energy.
    let limit = bench.standing.rig.setup.light.limits.energy_j;
    levers.extend(limit.map(|limit_j| Lever::energy_limit(limit_j, farthest)));
    let ray = Ray::new(levers);
    let mut below = standing.clone();
    for k in 1..=QUADRUPLINGS {
        let share = f64::from(k) / f64::from(QUADRUPLINGS);
        let (share, last) = match ray.within(bench, below.share, share) {
            Some(share) => share,
            None => break,
        };
        let changes = ray.changes(share);
        let Some(place) = bench
            .start(&changes, &bench.present())
            .and_then(|from| ray.place(bench, share, &from))
        else {
            break;
        };
        if place.at.strain <= PROMISING {
            if let Some(solution) = ray.solve(bench, below, place.clone(), sharply(bench)) {
                return LeastLight::Factor {
                    times: ray.times(&solution),
                    with: Box::new(ray.sufficient(&solution)),
                };
            }
            if bench.stopped() || is_spent(bench, 0) {
                return LeastLight::Unknown;
            }
        }
        below = place;
        if last {
            break;
        }
    }
    let settings = bench.settings(&ray.changes(below.share), &below.at.free);
    match bench.confirm(&settings, bench.precision(), 1) {
        Some(tried) => LeastLight::Ends {
            times: ray.times_at(below.share),
            measured: Box::new(tried.measured),
        },
        None => LeastLight::Unknown,
    }
}

/// Each change alone at its farthest.
fn first_looks(bench: &Bench, standing: &PlaceOnRay, levers: Vec<Lever>) -> Vec<Candidate> {
    let look = |lever: Lever| {
        let ray = Ray::new(vec![lever]);
        let ray = ray.shortened(ray.reach(bench)?);
        let strain = bench.glance(&ray.changes(1.0))?.strain;
        let gain = (standing.at.strain / strain).ln();
        (gain > HELPS).then_some(Candidate { ray, gain })
    };
    let looked = levers.into_iter().filter_map(look);
    let mut all: Vec<Candidate> = looked.collect();
    all.sort_by(|a, b| b.gain.total_cmp(&a.gain));
    all
}

/// Solves one change or several together.
fn solved(bench: &Bench, standing: &PlaceOnRay, ray: Ray) -> Option<Sufficient> {
    let ray = ray.shortened(ray.reach(bench)?);
    let from = bench.start(&ray.changes(1.0), &bench.present())?;
    let end = ray.place(bench, 1.0, &from)?;
    if end.at.strain > PROMISING {
        return None;
    }
    let solution = ray.solve(bench, standing.clone(), end, usually(bench))?;
    Some(ray.sufficient(&solution))
}

/// Tries candidates in turn until there are enough solutions, or enough was spent.
fn in_turn(bench: &Bench, standing: &PlaceOnRay, rays: Vec<Ray>, found: &mut SoughtChange) {
    for ray in rays {
        if found.changes.len() == ALTERNATIVES || bench.stopped() {
            return;
        }
        if is_spent(bench, found.spent_on_light) {
            found.ended_early = true;
            return;
        }
        found.changes.extend(solved(bench, standing, ray));
    }
}

/// Changes that do alone, those expected to be smallest first.
fn alone(bench: &Bench, standing: &PlaceOnRay, needed: f64, single: &[Candidate], found: &mut SoughtChange) {
    let share = |one: &Candidate| (needed / one.gain).clamp(0.0, 1.0);
    // A little too little at a first look may do with the times at their best.
    let mut able: Vec<&Candidate> = (single.iter())
        .filter(|one| !light_alone(&one.ray) && one.gain > needed - 0.1)
        .collect();
    able.sort_by(|a, b| a.ray.size(share(a)).total_cmp(&b.ray.size(share(b))));
    in_turn(
        bench,
        standing,
        able.into_iter().map(|one| one.ray.clone()).collect(),
        found,
    );
}

/// Two changes together, then three, then all that help.
fn together(
    bench: &Bench,
    standing: &PlaceOnRay,
    needed: f64,
    single: &[Candidate],
    found: &mut SoughtChange,
) {
    let joined = |all: &[&Candidate]| Ray::new(all.iter().flat_map(|one| one.ray.at_farthest()).collect());
    let mut two: Vec<(f64, Ray)> = Vec::new();
    for (k, one) in single.iter().enumerate() {
        for other in &single[k + 1..] {
            let differ = one.ray.levers()[0].means != other.ray.levers()[0].means;
            let gain = one.gain + other.gain;
            if differ && gain > needed - 0.1 {
                let ray = joined(&[one, other]);
                two.push((ray.size((needed / gain).min(1.0)), ray));
            }
        }
    }
    two.sort_by(|a, b| a.0.total_cmp(&b.0));
    let two = two.into_iter().take(MOST_JOINT).map(|(_, ray)| ray).collect();
    in_turn(bench, standing, two, found);
    if !found.changes.is_empty() {
        return;
    }
    // Of a setting that goes either way the better one.
    let mut best: Vec<&Candidate> = Vec::new();
    for one in single {
        let means = one.ray.levers()[0].means;
        if best.iter().all(|b| b.ray.levers()[0].means != means) {
            best.push(one);
        }
    }
    let sizes = [3, 4, best.len()]
        .into_iter()
        .filter(|n| *n > 2 && *n <= best.len());
    for n in sizes {
        in_turn(bench, standing, vec![joined(&best[..n])], found);
        if !found.changes.is_empty() {
            return;
        }
    }
}

impl Lever {
    /// The energy that a source bears.
    fn energy_limit(limit_j: f64, most: f64) -> Lever {
        Lever::of_quantity(
            Means::Light,
            keys::light::ENERGY_LIMIT,
            limit_j,
            Dimension::Energy,
            most,
        )
    }
}
