//! A field that drifts.

use std::sync::Arc;

use super::along::{Along, path};
use super::pathline::along_continued;
use super::series::PathSeries;
use super::{Flow, Vec3, add, along};

/// A field in a frame that moves at a constant velocity U, such as a vortex that drifts downstream:
/// u(x, t) = U + u₀(x − U t, t). At time 0 the field is where it was defined; its bodies stay
/// there.
///
/// The pathline is that of the field at rest, shifted; in closed form if that is.
///
/// ```
/// use std::sync::Arc;
/// use motefield_generator::flow::{Carried, Flow, SolidRotation};
///
/// let rotation = SolidRotation { centre_px: [0.0, 0.0], turn_rad: 0.1 };
/// let drifting = Carried { flow: Arc::new(rotation), by_px: [5.0, 0.0, 0.0] };
/// // Half a pulse separation later the centre of rotation is at x = 2.5 px.
/// assert_eq!(drifting.velocity([2.5, 0.0, 0.0], 0.5), [5.0, 0.0, 0.0]);
/// ```
#[derive(Debug, Clone)]
pub struct Carried {
    /// The field in the moving frame.
    pub flow: Arc<dyn Flow>,
    /// Displacement U of that frame, px per pulse separation.
    pub by_px: Vec3,
}

impl Flow for Carried {
    fn velocity(&self, at: Vec3, time: f64) -> Vec3 {
        add(self.by_px, self.flow.velocity(along(at, self.by_px, -time), time))
    }
    fn gradient(&self, at: Vec3, time: f64) -> [Vec3; 3] {
        self.flow.gradient(along(at, self.by_px, -time), time)
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        along(
            self.flow.path(along(from, self.by_px, -t0), t0, t1),
            self.by_px,
            t1,
        )
    }
    fn solid(&self, at: Vec3) -> bool {
        self.flow.solid(at)
    }
    fn series(&self, from: [&[f64]; 3], time: f64, reach: f64) -> Option<PathSeries> {
        drifting(self.by_px, from, time, |from| self.flow.series(from, time, reach))
    }
    fn along(&self, time: f64) -> Option<Box<dyn Along + '_>> {
        let field = AlongDrifting::new(self.flow.along(time)?, self.by_px, time);
        Some(Box::new(AlongDrifting {
            velocity: self.by_px,
            ..field
        }))
    }
    fn continued(&self, at: Vec3, time: f64) -> Vec3 {
        add(
            self.by_px,
            self.flow.continued(along(at, self.by_px, -time), time),
        )
    }
    fn piece_px(&self) -> Option<f64> {
        self.flow.piece_px()
    }
    fn clearance(&self, at: Vec3) -> Option<(f64, Vec3)> {
        self.flow.clearance(at)
    }
}

/// A pattern that moves at a constant velocity D through fluid that another field, added to it by a
/// [`Sum`](super::Sum), carries along: u(x, t) = u₀(x − D t, t). Turbulence on a stream drifts with
/// the stream's velocity. At time 0 the field is where it was defined; its bodies stay there.
///
/// ```
/// use std::sync::Arc;
/// use motefield_generator::flow::{Drifting, Flow, LinearShear};
///
/// let shear = LinearShear { displacement_px: [0.0; 3], shear: 0.1, centre_y_px: 0.0 };
/// let sinking = Drifting { flow: Arc::new(shear), by_px: [0.0, 4.0, 0.0] };
/// // Half a pulse separation later the line at rest is at y = 2 px.
/// assert_eq!(sinking.velocity([7.0, 2.0, 0.0], 0.5), [0.0; 3]);
/// ```
#[derive(Debug, Clone)]
pub struct Drifting {
    /// The field in the moving frame.
    pub flow: Arc<dyn Flow>,
    /// Displacement D of that frame, px per pulse separation.
    pub by_px: Vec3,
}

impl Flow for Drifting {
    fn velocity(&self, at: Vec3, time: f64) -> Vec3 {
        self.flow.velocity(along(at, self.by_px, -time), time)
    }
    fn gradient(&self, at: Vec3, time: f64) -> [Vec3; 3] {
        self.flow.gradient(along(at, self.by_px, -time), time)
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        match self.solid(from) {
            true => from,
            false => along_continued(self, from, t0, t1),
        }
    }
    fn solid(&self, at: Vec3) -> bool {
        self.flow.solid(at)
    }
    fn series(&self, from: [&[f64]; 3], time: f64, reach: f64) -> Option<PathSeries> {
        Some(path(self.along(time)?.as_mut(), from, reach))
    }
    fn along(&self, time: f64) -> Option<Box<dyn Along + '_>> {
        let field = AlongDrifting::new(self.flow.along(time)?, self.by_px, time);
        Some(Box::new(field))
    }
    fn continued(&self, at: Vec3, time: f64) -> Vec3 {
        self.flow.continued(along(at, self.by_px, -time), time)
    }
    fn piece_px(&self) -> Option<f64> {
        self.flow.piece_px()
    }
    fn clearance(&self, at: Vec3) -> Option<(f64, Vec3)> {
        self.flow.clearance(at)
    }
}

/// The velocity of a field along pathlines, in a frame that moves.
pub(super) struct AlongDrifting<'a> {
    field: Box<dyn Along + 'a>,
    /// Displacement of the frame, px per pulse separation.
    by_px: Vec3,
    /// What is added to the velocity in the frame, px per pulse separation.
    velocity: Vec3,
    /// When the paths start.
    time: f64,
}

impl<'a> AlongDrifting<'a> {
    pub(super) fn new(field: Box<dyn Along + 'a>, by_px: Vec3, time: f64) -> AlongDrifting<'a> {
        AlongDrifting {
            field,
            by_px,
            velocity: [0.0; 3],
            time,
        }
    }
}

impl Along for AlongDrifting<'_> {
    fn add(&mut self, n: usize, place: [&[f64]; 3], mut velocity: [&mut [f64]; 3]) {
        // x − D t has the terms of x, less D t₀ in the first and D in the second.
        let less = match n {
            0 => self.by_px.map(|by| by * self.time),
            1 => self.by_px,
            _ => return self.field.add(n, place, velocity),
        };
        let inner: [Vec<f64>; 3] = std::array::from_fn(|i| place[i].iter().map(|at| at - less[i]).collect());
        if n == 0 {
            for (axis, own) in velocity.iter_mut().zip(self.velocity) {
                axis.iter_mut().for_each(|velocity| *velocity += own);
            }
        }
        self.field.add(n, inner.each_ref().map(Vec::as_slice), velocity);
    }
}

/// The series of the pathlines that start at `from` at `time`, in a field that moves by `by_px`
/// each pulse separation and is in place at time 0; `at_rest` gives those in the field at rest.
pub(super) fn drifting(
    by_px: Vec3,
    from: [&[f64]; 3],
    time: f64,
    at_rest: impl FnOnce([&[f64]; 3]) -> Option<PathSeries>,
) -> Option<PathSeries> {
    let mut shifted = from.map(<[f64]>::to_vec);
    for (axis, by) in shifted.iter_mut().zip(by_px) {
        for at in axis {
            *at -= by * time;
        }
    }
    let mut series = at_rest(shifted.each_ref().map(Vec::as_slice))?;
    series.change(|n, term| {
        for (i, axis) in term.into_iter().enumerate() {
            match n {
                0 => axis.copy_from_slice(from[i]),
                1 => axis.iter_mut().for_each(|velocity| *velocity += by_px[i]),
                _ => (),
            }
        }
    });
    Some(series)
}
