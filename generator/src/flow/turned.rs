//! A field turned in the plane of the picture.

use std::sync::Arc;

use super::along::{Along, thirds};
use super::series::PathSeries;
use super::{Flow, Vec3};

/// A field turned about a point in the plane of the picture. A positive angle turns x into y,
/// clockwise on the screen. The pathline is that of the field, turned; in closed form if that is.
///
/// ```
/// use std::sync::Arc;
/// use motefield_generator::flow::{Flow, Turned, Uniform};
///
/// let right = Uniform { displacement_px: [3.0, 0.0, 0.0] };
/// let down = Turned::new(Arc::new(right), [0.0, 0.0], std::f64::consts::FRAC_PI_2);
/// let [u, v, _] = down.velocity([8.0, 9.0, 0.0], 0.0);
/// assert!(u.abs() < 1e-12 && (v - 3.0).abs() < 1e-12);
/// ```
#[derive(Debug, Clone)]
pub struct Turned {
    /// The field before the turn.
    pub flow: Arc<dyn Flow>,
    about_px: [f64; 2],
    sin: f64,
    cos: f64,
}

impl Turned {
    /// The field `flow` turned by `angle_rad` about the point `about_px`.
    pub fn new(flow: Arc<dyn Flow>, about_px: [f64; 2], angle_rad: f64) -> Self {
        let (sin, cos) = libm::sincos(angle_rad);
        Turned {
            flow,
            about_px,
            sin,
            cos,
        }
    }

    /// A vector, turned.
    fn forth(&self, v: Vec3) -> Vec3 {
        [
            self.cos * v[0] - self.sin * v[1],
            self.sin * v[0] + self.cos * v[1],
            v[2],
        ]
    }

    /// A vector, turned back.
    fn back(&self, v: Vec3) -> Vec3 {
        [
            self.cos * v[0] + self.sin * v[1],
            self.cos * v[1] - self.sin * v[0],
            v[2],
        ]
    }

    /// A point, turned back.
    fn inner(&self, at: Vec3) -> Vec3 {
        let [x, y] = self.about_px;
        let v = self.back([at[0] - x, at[1] - y, at[2]]);
        [x + v[0], y + v[1], v[2]]
    }

    /// A point, turned.
    fn outer(&self, at: Vec3) -> Vec3 {
        let [x, y] = self.about_px;
        let v = self.forth([at[0] - x, at[1] - y, at[2]]);
        [x + v[0], y + v[1], v[2]]
    }
}

impl Flow for Turned {
    fn velocity(&self, at: Vec3, time: f64) -> Vec3 {
        self.forth(self.flow.velocity(self.inner(at), time))
    }
    fn gradient(&self, at: Vec3, time: f64) -> [Vec3; 3] {
        // R G Rᵀ: turn the rows of G like vectors, then its columns.
        let g = self
            .flow
            .gradient(self.inner(at), time)
            .map(|row| self.forth(row));
        let column = |j: usize| self.forth([g[0][j], g[1][j], g[2][j]]);
        let columns = [column(0), column(1), column(2)];
        std::array::from_fn(|i| std::array::from_fn(|j| columns[j][i]))
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        self.outer(self.flow.path(self.inner(from), t0, t1))
    }
    fn solid(&self, at: Vec3) -> bool {
        self.flow.solid(self.inner(at))
    }
    fn series(&self, from: [&[f64]; 3], time: f64, reach: f64) -> Option<PathSeries> {
        let mut inner = from.map(<[f64]>::to_vec);
        each(inner.each_mut().map(Vec::as_mut_slice), |at| self.inner(at));
        let mut series = self
            .flow
            .series(inner.each_ref().map(Vec::as_slice), time, reach)?;
        series.change(|n, term| match n {
            0 => term
                .into_iter()
                .zip(from)
                .for_each(|(axis, from)| axis.copy_from_slice(from)),
            _ => each(term, |v| self.forth(v)),
        });
        Some(series)
    }
    fn along(&self, time: f64) -> Option<Box<dyn Along + '_>> {
        let field = self.flow.along(time)?;
        Some(Box::new(AlongTurned { turned: self, field }))
    }
    fn continued(&self, at: Vec3, time: f64) -> Vec3 {
        self.forth(self.flow.continued(self.inner(at), time))
    }
    fn piece_px(&self) -> Option<f64> {
        self.flow.piece_px()
    }
    fn clearance(&self, at: Vec3) -> Option<(f64, Vec3)> {
        let (distance, slope) = self.flow.clearance(self.inner(at))?;
        Some((distance, self.forth(slope)))
    }
}

/// The velocity of the turned field along pathlines.
struct AlongTurned<'a> {
    turned: &'a Turned,
    field: Box<dyn Along + 'a>,
}

impl Along for AlongTurned<'_> {
    fn add(&mut self, n: usize, place: [&[f64]; 3], velocity: [&mut [f64]; 3]) {
        let mut inner = place.map(<[f64]>::to_vec);
        each(inner.each_mut().map(Vec::as_mut_slice), |at| match n {
            0 => self.turned.inner(at),
            _ => self.turned.back(at),
        });
        let mut own = vec![0.0; 3 * place[0].len()];
        let [u, v, w] = thirds(&mut own);
        let inner = inner.each_ref().map(Vec::as_slice);
        self.field.add(n, inner, [&mut *u, &mut *v, &mut *w]);
        each([&mut *u, &mut *v, &mut *w], |v| self.turned.forth(v));
        for (sum, own) in velocity.into_iter().zip([u, v, w]) {
            sum.iter_mut().zip(own).for_each(|(sum, own)| *sum += *own);
        }
    }
}

/// Changes each of the vectors whose components stand side by side.
fn each([x, y, z]: [&mut [f64]; 3], change: impl Fn(Vec3) -> Vec3) {
    for ((x, y), z) in x.iter_mut().zip(y).zip(z) {
        [*x, *y, *z] = change([*x, *y, *z]);
    }
}
