//! Fields that add.

use std::sync::Arc;

use super::along::{self, Along};
use super::pathline::along_continued;
use super::series::PathSeries;
use super::{Flow, Vec3};

/// The sum of several fields, such as a wake with turbulence on it. What is a body in one of them is
/// a body in the sum.
///
/// Near the walls of one field the others fall to zero: at the distance d from the nearest wall of
/// field j every other field has the share 1 − exp(−ln 100 d/δⱼ) of its velocity, 99 % at d = δⱼ, so
/// that nothing slips along a wall or crosses it. A field that obeys continuity does not do so inside
/// that layer. To bodies in data no distance is known: there the others are cut off, and what they
/// drive into a body stays at its surface.
///
/// Where every field knows its velocity [along](Flow::along) any pathline and there are no walls, the
/// pathlines are [series](Flow::series); else they are integrated.
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
    /// Distance δ from its walls, px, above 0, at which the other fields have 99 % of their velocity;
    /// of no account in a field without walls.
    pub layer_px: f64,
}

impl Summand {
    /// A field without walls.
    pub fn plain(flow: Arc<dyn Flow>) -> Summand {
        Summand { flow, layer_px: 1.0 }
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
        // Behind a wall, where a pathline may try points, the velocity goes on smoothly; far behind
        // it nobody asks.
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
        if self.walled {
            return None;
        }
        let all = self.fields.iter().map(|field| field.flow.along(time));
        Some(Box::new(AlongAll(all.collect::<Option<_>>()?)))
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
