//! One change, or several that go hand in hand, and the place along it where the limit is met.

use motefield_evaluator::statistics::Estimate;

use super::bench::{AtBest, Bench, Tried};
use super::lever::{Lever, Means};
use super::{Change, Sufficient};

/// Levers that are moved together: at 1 each is at its farthest, between in the same share of its
/// logarithm.
#[derive(Debug, Clone)]
pub(super) struct Ray {
    levers: Vec<Lever>,
    /// Logarithm of the farthest factor of each.
    far: Vec<f64>,
}

/// A place on a ray with the free settings at their best.
#[derive(Debug, Clone)]
pub(super) struct PlaceOnRay {
    /// From 0, the rig as it stands, to 1.
    pub share: f64,
    pub at: AtBest,
}

/// How well a solution must be known.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sharpness {
    /// Half the interval over the error.
    pub precision: f64,
    /// Times as many pairs as a point may take.
    pub times: usize,
    /// Upper end of the error over the limit above which no smaller change is tried.
    pub least: f64,
}

/// A place that meets the limit.
pub(super) struct Solution {
    pub share: f64,
    /// Fall of the logarithm of the strain over the share.
    pub slope: f64,
    pub tried: Tried,
}

/// Where the strain is as sought.
struct Root {
    place: PlaceOnRay,
    /// The places last looked at, on either side or one of them at it.
    ends: [PlaceOnRay; 2],
    /// Fall of the logarithm of the strain over the share.
    slope: f64,
}

/// Logarithm of the light over a tenth less.
const TENTH: f64 = 0.105;
/// No error is asked to be known better, half the interval over its value.
const FINEST: f64 = 0.01;
/// Steps of the search for a root, and of its confirmation.
const ROOT_STEPS: usize = 4;
const CONFIRMATIONS: usize = 4;
/// A root is found when the strain is that close to what is sought, as a logarithm.
const CLOSE: f64 = 0.015;
/// Where a confirmed upper end is aimed at.
const AIM: f64 = 0.99;
/// Least fall of the logarithm of the strain along the whole ray that is relied on.
const LEAST_FALL: f64 = 0.05;

impl Ray {
    /// Every lever up to its farthest.
    pub fn new(levers: Vec<Lever>) -> Ray {
        let far = levers.iter().map(|lever| lever.most.ln()).collect();
        Ray { levers, far }
    }

    /// The same levers, the farthest place at a share of this ray's.
    pub fn shortened(&self, share: f64) -> Ray {
        Ray {
            levers: self.levers.clone(),
            far: self.far.iter().map(|far| share * far).collect(),
        }
    }

    /// Levers that are changed.
    pub fn levers(&self) -> &[Lever] {
        &self.levers
    }

    /// How large a change the share is: sum of the logarithms of the factors.
    pub fn size(&self, share: f64) -> f64 {
        self.far.iter().map(|far| share * far).sum()
    }

    fn factor(&self, k: usize, share: f64) -> f64 {
        (share * self.far[k]).exp()
    }

    /// The settings at a share, those alone that differ from the present.
    pub fn changes(&self, share: f64) -> Vec<(String, String)> {
        let one = |(k, lever): (usize, &Lever)| {
            let text = lever.text(self.factor(k, share));
            (text != lever.present()).then(|| (lever.key.path.to_owned(), text))
        };
        self.levers.iter().enumerate().filter_map(one).collect()
    }

    /// The farthest share at which the rules are kept; `None` where no change keeps them.
    pub fn reach(&self, bench: &Bench) -> Option<f64> {
        self.within(bench, 0.0, 1.0).map(|(share, _)| share)
    }

    /// The farthest share between two at which the rules are kept, and whether it is short of the
    /// second; `None` where it is no farther than the first.
    pub fn within(&self, bench: &Bench, from: f64, to: f64) -> Option<(f64, bool)> {
        let present = bench.present();
        let fits = |share: f64| bench.start(&self.changes(share), &present).is_some();
        if fits(to) {
            return Some((to, false));
        }
        let (mut good, mut bad) = (from, to);
        for _ in 0..6 {
            let middle = 0.5 * (good + bad);
            match fits(middle) {
                true => good = middle,
                false => bad = middle,
            }
        }
        (good > from && self.changes(good) != self.changes(from)).then_some((good, true))
    }

    /// The place at a share.
    pub fn place(&self, bench: &Bench, share: f64, from: &[f64]) -> Option<PlaceOnRay> {
        let at = bench.best(&self.changes(share), from)?;
        Some(PlaceOnRay { share, at })
    }

    /// The smallest change between two places, of which the second meets the limit on the few
    /// pairs that all share, that meets it on pairs of its own.
    pub fn solve(
        &self,
        bench: &Bench,
        below: PlaceOnRay,
        above: PlaceOnRay,
        sharpness: Sharpness,
    ) -> Option<Solution> {
        let Root { place, ends, slope } = self.root(bench, [below, above], AIM / (1.0 + sharpness.precision));
        let mut share = place.share;
        let sharpness = self.sharpened(sharpness, slope);
        // Between the places last looked at the times at their best go evenly.
        let free = |share: f64| -> Vec<f64> {
            let [a, b] = &ends;
            let t = (share - a.share) / (b.share - a.share);
            let between = |(a, b): (&f64, &f64)| a * (b / a).powf(t.clamp(-0.5, 1.5));
            let evenly: Vec<f64> = a.at.free.iter().zip(&b.at.free).map(between).collect();
            bench.start_at(&self.changes(share), &evenly).unwrap_or(evenly)
        };
        let confirm = |share: f64, known: &Sharpness| {
            let settings = bench.settings(&self.changes(share), &free(share));
            bench.confirm(&settings, known.precision, known.times)
        };
        // A first confirmation need not be known so well: it tells where to look.
        if sharpness.times > 1 {
            let rough = Sharpness {
                precision: bench.precision(),
                times: 1,
                ..sharpness
            };
            let value = confirm(share, &rough)?.strain.value;
            let by = (value * (1.0 + sharpness.precision) / AIM).ln() / slope;
            share = (share + by).clamp(0.5 * share, 1.0);
        }
        let mut found: Option<Solution> = None;
        // The largest share known not to do.
        let mut too_little = 0.0;
        for _ in 0..CONFIRMATIONS {
            if bench.stopped() {
                return None;
            }
            let tried = confirm(share, &sharpness)?;
            let upper = tried.strain.hi;
            let by = (upper / AIM).max(1e-3).ln() / slope;
            if upper > 1.0 {
                too_little = f64::max(too_little, share);
                if found.is_some() {
                    break;
                }
                share = self.farther(share, by)?;
            } else {
                found = Some(Solution { share, slope, tried });
                let less = share + by;
                let other = less > too_little && self.changes(less) != self.changes(share);
                if upper > sharpness.least || !other {
                    break;
                }
                share = less;
            }
        }
        found
    }

    /// A share farther by about so much at which something changes; `None` past the end.
    fn farther(&self, share: f64, by: f64) -> Option<f64> {
        let now = self.changes(share);
        let mut farther = share + by.clamp(1e-3, 0.5);
        while self.changes(farther) == now && farther < 1.0 {
            farther += 0.01;
        }
        match (share < 1.0, farther > 1.0) {
            (true, true) if self.changes(1.0) != now => Some(1.0),
            (_, true) => None,
            _ => Some(farther),
        }
    }

    /// The place between two where the strain is `wanted`, by false position in logarithms, and the
    /// fall of the strain there.
    fn root(&self, bench: &Bench, [mut below, mut above]: [PlaceOnRay; 2], wanted: f64) -> Root {
        let height = |place: &PlaceOnRay| (place.at.strain / wanted).ln();
        let fall = |below: &PlaceOnRay, above: &PlaceOnRay| {
            let slope = (height(below) - height(above)) / (above.share - below.share);
            slope.max(LEAST_FALL)
        };
        for _ in 0..ROOT_STEPS {
            let [high, low] = [height(&below), height(&above)];
            let t = (high / (high - low)).clamp(0.05, 0.95);
            let share = below.share + t * (above.share - below.share);
            if low > -CLOSE || self.changes(share) == self.changes(above.share) {
                break;
            }
            let between = |(a, b): (&f64, &f64)| a * (b / a).powf(t);
            let from: Vec<f64> = below.at.free.iter().zip(&above.at.free).map(between).collect();
            let Some(place) = self.place(bench, share, &from) else {
                break;
            };
            match height(&place) {
                h if h.abs() < CLOSE => {
                    let slope = fall(&below, &above);
                    return Root {
                        ends: [below, place.clone()],
                        place,
                        slope,
                    };
                }
                h if h > 0.0 => below = place,
                _ => above = place,
            }
        }
        Root {
            slope: fall(&below, &above),
            place: above.clone(),
            ends: [below, above],
        }
    }

    /// Known so well that a tenth less light would show, as far as the pairs allow.
    fn sharpened(&self, sharpness: Sharpness, slope: f64) -> Sharpness {
        if sharpness.times == 1 || self.levers[0].is_whole() {
            return sharpness;
        }
        let of_a_tenth = TENTH * slope / self.far[0];
        let precision = (0.4 * of_a_tenth).clamp(FINEST, sharpness.precision);
        Sharpness {
            precision,
            least: 1.0 - 1.2 * precision,
            ..sharpness
        }
    }

    /// The solution for people and machines.
    pub fn sufficient(&self, solution: &Solution) -> Sufficient {
        let change = |(k, lever): (usize, &Lever)| {
            let factor = self.factor(k, solution.share);
            let values = [lever.present(), lever.text(factor)];
            (values[0] != values[1]).then(|| Change {
                means: lever.means,
                key: lever.key.path.to_owned(),
                values,
                factor: lever.factor(factor),
            })
        };
        Sufficient {
            changes: self.levers.iter().enumerate().filter_map(change).collect(),
            settings: solution.tried.settings.clone(),
            strain: solution.tried.strain,
            measured: solution.tried.measured.clone(),
        }
    }

    /// Each lever, able to go as far as this ray does.
    pub fn at_farthest(&self) -> Vec<Lever> {
        let one = |(lever, far): (&Lever, &f64)| lever.reaching(far.exp());
        self.levers.iter().zip(&self.far).map(one).collect()
    }

    /// Factor by which the first lever is changed at a share, above 1 in either direction.
    pub fn times_at(&self, share: f64) -> f64 {
        let factor = self.levers[0].factor(self.factor(0, share));
        factor.max(1.0 / factor)
    }

    /// Factor of the first lever at a solution, with the interval that the error's leaves: the
    /// factors at which the error, its lower end and its upper end are the limit.
    pub fn times(&self, solution: &Solution) -> Estimate {
        let times = self.times_at(solution.share);
        if self.levers[0].is_whole() {
            return Estimate::exact(times);
        }
        let exponent = self.far[0] / solution.slope;
        solution
            .tried
            .strain
            .map_rising(|strain| times * strain.powf(exponent))
    }
}

/// Whether a ray changes the light alone.
pub(super) fn light_alone(ray: &Ray) -> bool {
    matches!(ray.levers(), [lever] if lever.means == Means::Light)
}
