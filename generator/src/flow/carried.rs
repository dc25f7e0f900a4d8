//! A field that drifts.

use std::sync::Arc;

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
}

/// The series of the pathlines that start at `from` at `time`, in a field that moves by `by_px` each
/// pulse separation and is in place at time 0; `at_rest` gives those in the field at rest.
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
