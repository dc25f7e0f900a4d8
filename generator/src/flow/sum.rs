//! Fields that add.

use std::sync::Arc;

use super::along::{self, Along};
use super::pathline::along_continued;
use super::series::PathSeries;
use super::{Flow, Vec3};

/// The sum of several fields, such as a wake with turbulence on it. What is a body in one of them
/// is a body in the sum.
///
/// Near the walls of one field the others fall to zero: at the distance d from the nearest wall of
/// field j every other field has the share 1 − exp(−ln 100 d/δⱼ) of its velocity, 99 % at d = δⱼ,
/// so that nothing slips along a wall or crosses it. A field that obeys continuity does not do so
/// inside that layer. To bodies in data no distance is known: there the others are cut off, and
/// what they drive into a body stays at its surface.
///
/// Where every field knows its velocity [along](Flow::along) any pathline and there is no wall, or
/// one flat one, the pathlines are [series](Flow::series); else they are integrated.
///
/// ```
/// use std::sync::Arc;
/// use motefield_generator::flow::{Flow, SolidRotation, Sum, Summand, Uniform};
///
/// // Rotation at the rate ω on a stream U turns about the point where U = −ω × r.
/// let turn = SolidRotation { centre_px: [0.0, 0.0], turn_rad: 0.1 };
/// let stream = Uniform { displacement_px: [2.0, 0.0, 0.0] };
/// let sum = Sum::new(vec![Summand::plain(Arc::new(turn)), Summand::plain(Arc::new(stream))]);
/// assert_eq!(sum.velocity([0.0, 20.0, 0.0], 0.3), [0.0; 3]);
/// ```
#[derive(Debug, Clone)]
pub struct Sum {
    fields: Vec<Summand>,
    walled: bool,
}

/// One of the fields that add.
#[derive(Debug, Clone)]
pub struct Summand {
    /// The field.
    pub flow: Arc<dyn Flow>,
    /// Distance δ from its walls, px, above 0, at which the other fields have 99 % of their
    /// velocity; of no account in a field without walls.
    pub layer_px: f64,
}

impl Summand {
    /// A field without walls.
    pub fn plain(flow: Arc<dyn Flow>) -> Summand {
        Summand { flow, layer_px: 1.0 }
    }

    fn along(&self, time: f64) -> Option<Box<dyn Along + '_>> {
        self.flow.along(time)
    }
}

impl Sum {
    /// The sum of some fields.
    pub fn new(fields: Vec<Summand>) -> Sum {
        let walled = fields
            .iter()
            .any(|field| field.flow.clearance([0.0; 3]).is_some());
        Sum { fields, walled }
    }

    /// What the walls of field `j` leave of the others, and its gradient, per px.
    fn left_by(&self, j: usize, at: Vec3) -> (f64, Vec3) {
        let field = &self.fields[j];
        let Some((distance, slope)) = field.flow.clearance(at) else {
            return (1.0, [0.0; 3]);
        };
        let per_px = libm::log(100.0) / field.layer_px;
        // Behind a wall, where a pathline may try points, the velocity goes on smoothly; points far
        // behind it are never evaluated.
        let lost = libm::exp((-per_px * distance).min(1.0));
        (1.0 - lost, slope.map(|s| per_px * lost * s))
    }

    /// What the walls of all other fields leave of field `i`, and its gradient, per px.
    fn left(&self, i: usize, at: Vec3) -> (f64, Vec3) {
        let others = (0..self.fields.len()).filter(|j| *j != i);
        others.fold((1.0, [0.0; 3]), |(all, slope), j| {
            let (one, own) = self.left_by(j, at);
            (all * one, std::array::from_fn(|k| slope[k] * one + all * own[k]))
        })
    }

    /// The field with the only wall, where that is flat, and the exponent −ln 100 d/δ of what it
    /// takes of the others, as its value at the origin and its gradient, per px.
    fn flat_wall(&self) -> Option<(usize, (f64, Vec3))> {
        /// Far beyond the largest picture; there a distance is off by rounding, px.
        const FAR_PX: f64 = 1e5;
        const ROUNDING_PX: f64 = 1e-8;
        let clearance = |at: Vec3| {
            let mut all = self.fields.iter().enumerate();
            all.find_map(|(j, field)| Some((j, field.flow.clearance(at)?)))
        };
        let several = self
            .fields
            .iter()
            .filter(|field| field.flow.clearance([0.0; 3]).is_some());
        let (j, (distance, slope)) = clearance([0.0; 3]).filter(|_| several.count() == 1)?;
        let flat = (0..6).all(|k| {
            let mut at = [0.0; 3];
            at[k / 2] = if k % 2 == 0 { FAR_PX } else { -FAR_PX };
            clearance(at).is_some_and(|(_, (there, _))| {
                (there - distance - at[k / 2] * slope[k / 2]).abs() < ROUNDING_PX
            })
        });
        let per_px = -libm::log(100.0) / self.fields[j].layer_px;
        flat.then(|| (j, (per_px * distance, slope.map(|s| per_px * s))))
    }

    fn sum(&self, at: Vec3, of: impl Fn(&dyn Flow) -> Vec3) -> Vec3 {
        let mut sum = [0.0; 3];
        for (i, field) in self.fields.iter().enumerate() {
            let left = if self.walled { self.left(i, at).0 } else { 1.0 };
            let own = of(field.flow.as_ref());
            for k in 0..3 {
                sum[k] += left * own[k];
            }
        }
        sum
    }
}

impl Flow for Sum {
    fn velocity(&self, at: Vec3, time: f64) -> Vec3 {
        match self.solid(at) {
            true => [0.0; 3],
            false => self.sum(at, |flow| flow.velocity(at, time)),
        }
    }
    fn gradient(&self, at: Vec3, time: f64) -> [Vec3; 3] {
        let mut sum = [[0.0; 3]; 3];
        if self.solid(at) {
            return sum;
        }
        for (i, field) in self.fields.iter().enumerate() {
            let (left, slope) = match self.walled {
                true => self.left(i, at),
                false => (1.0, [0.0; 3]),
            };
            let own = field.flow.gradient(at, time);
            let velocity = match self.walled {
                true => field.flow.velocity(at, time),
                false => [0.0; 3],
            };
            for k in 0..3 {
                for j in 0..3 {
                    sum[k][j] += left * own[k][j] + velocity[k] * slope[j];
                }
            }
        }
        sum
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        match self.solid(from) {
            true => from,
            false => along_continued(self, from, t0, t1),
        }
    }
    fn series(&self, from: [&[f64]; 3], time: f64, reach: f64) -> Option<PathSeries> {
        Some(along::path(self.along(time)?.as_mut(), from, reach))
    }
    fn along(&self, time: f64) -> Option<Box<dyn Along + '_>> {
        if !self.walled {
            return Some(Box::new(AlongAll(
                self.fields
                    .iter()
                    .map(|field| field.along(time))
                    .collect::<Option<_>>()?,
            )));
        }
        let (j, exponent) = self.flat_wall()?;
        let others = self.fields.iter().enumerate().filter(|(i, _)| *i != j);
        let others = others.map(|(_, field)| field.along(time));
        Some(Box::new(AlongWalled {
            own: self.fields[j].along(time)?,
            others: AlongAll(others.collect::<Option<_>>()?),
            exponent,
            exponents: Vec::new(),
            lost: Vec::new(),
            velocities: Vec::new(),
        }))
    }
    fn solid(&self, at: Vec3) -> bool {
        self.fields.iter().any(|field| field.flow.solid(at))
    }
    fn continued(&self, at: Vec3, time: f64) -> Vec3 {
        self.sum(at, |flow| flow.continued(at, time))
    }
    fn piece_px(&self) -> Option<f64> {
        let pieces = self.fields.iter().filter_map(|field| field.flow.piece_px());
        pieces.reduce(f64::min)
    }
    fn clearance(&self, at: Vec3) -> Option<(f64, Vec3)> {
        let all = self.fields.iter().filter_map(|field| field.flow.clearance(at));
        all.min_by(|a, b| a.0.total_cmp(&b.0))
    }
}

/// The velocities of all fields along pathlines.
struct AlongAll<'a>(Vec<Box<dyn Along + 'a>>);

impl Along for AlongAll<'_> {
    fn add(&mut self, n: usize, place: [&[f64]; 3], [u, v, w]: [&mut [f64]; 3]) {
        for field in &mut self.0 {
            field.add(n, place, [&mut *u, &mut *v, &mut *w]);
        }
    }
}

/// The velocities of a field with a flat wall and of those beside it: coefficient n of the product
/// of these with the share 1 − e that the wall leaves is Σ (1 − e)\[m\] u\[n − m\]. With q the
/// exponent, a linear function of the place, n e\[n\] = Σ j q\[j\] e\[n − j\], j from 1 to n.
struct AlongWalled<'a> {
    own: Box<dyn Along + 'a>,
    others: AlongAll<'a>,
    /// Of q, at the origin, and its gradient.
    exponent: (f64, Vec3),
    /// Coefficients of q and e, those of all elements one after another.
    exponents: Vec<f64>,
    lost: Vec<f64>,
    /// Those of the other fields' velocity, x, y and z of all elements.
    velocities: Vec<f64>,
}

impl Along for AlongWalled<'_> {
    fn add(&mut self, n: usize, place: [&[f64]; 3], [u, v, w]: [&mut [f64]; 3]) {
        let [px, py, pz] = place;
        let width = px.len();
        if n == 0 {
            self.exponents.clear();
            self.lost.clear();
            self.velocities.clear();
        }
        let (first, slope) = self.exponent;
        let constant = if n == 0 { first } else { 0.0 };
        let constant_one = |n: usize| if n == 0 { 1.0 } else { 0.0 };
        for (l, ((px, py), pz)) in px.iter().zip(py).zip(pz).enumerate() {
            let q = constant + slope[0] * px + slope[1] * py + slope[2] * pz;
            self.exponents.push(q);
            let e = match n {
                // Nothing moves behind the wall.
                _ if self.exponents[l] > 0.0 => constant_one(n),
                0 => libm::exp(q),
                _ => {
                    let term =
                        |j: usize| j as f64 * self.exponents[j * width + l] * self.lost[(n - j) * width + l];
                    (1..=n).map(term).sum::<f64>() / n as f64
                }
            };
            self.lost.push(e);
        }
        self.velocities.resize(3 * (n + 1) * width, 0.0);
        let [x, y, z] = along::thirds(&mut self.velocities[3 * n * width..]);
        self.others.add(n, place, [x, y, z]);
        self.own.add(n, place, [&mut *u, &mut *v, &mut *w]);
        for (i, axis) in [u, v, w].into_iter().enumerate() {
            for m in 0..=n {
                let all = constant_one(m);
                let own = &self.velocities[(3 * (n - m) + i) * width..][..width];
                let lost = &self.lost[m * width..][..width];
                for ((sum, lost), own) in axis.iter_mut().zip(lost).zip(own) {
                    *sum += (all - lost) * own;
                }
            }
        }
    }
}
