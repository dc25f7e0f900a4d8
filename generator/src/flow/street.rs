//! A vortex street.

use super::along::Along;
use super::series::PathSeries;
use super::vortex::pathlines::{self, AlongVortices};
use super::{Flow, LambOseen, Vec3, add, add_gradients};

/// Two rows of Lamb–Oseen vortices along x, of opposite sense, as in the wake of a bar across the
/// stream (von Kármán's vortex street). The field is the sum of the vortices' fields. It is at
/// rest; let it drift downstream with [`Carried`](super::Carried).
#[derive(Debug, Clone, PartialEq)]
pub struct VortexStreet {
    vortices: Vec<LambOseen>,
}

impl VortexStreet {
    /// A street of two rows of `each_row` vortices with its middle at `centre_px`. The vortices of
    /// a row are `spacing_px` apart, those of the other row stand halfway between them; the rows
    /// are `row_distance_px` apart. Kármán's stable ratio of row distance to spacing is 0.281
    /// (Lamb, *Hydrodynamics*, §156). Each vortex alone has the largest displacement
    /// `peak_displacement_px` at `core_radius_px` from its centre. The sign is the sense of the
    /// upper row, at smaller y; positive turns x into y.
    pub fn new(
        centre_px: [f64; 2],
        each_row: usize,
        spacing_px: f64,
        row_distance_px: f64,
        peak_displacement_px: f64,
        core_radius_px: f64,
    ) -> Self {
        let count = 2 * each_row;
        let vortices = (0..count)
            .map(|k| {
                let side = if k % 2 == 0 { 1.0 } else { -1.0 };
                LambOseen {
                    centre_px: [
                        centre_px[0] + 0.5 * spacing_px * (k as f64 - 0.5 * (count as f64 - 1.0)),
                        centre_px[1] - 0.5 * side * row_distance_px,
                    ],
                    peak_displacement_px: side * peak_displacement_px,
                    core_radius_px,
                }
            })
            .collect();
        VortexStreet { vortices }
    }
}

impl Flow for VortexStreet {
    fn velocity(&self, at: Vec3, time: f64) -> Vec3 {
        self.vortices
            .iter()
            .fold([0.0; 3], |sum, v| add(sum, v.velocity(at, time)))
    }
    fn gradient(&self, at: Vec3, time: f64) -> [Vec3; 3] {
        self.vortices
            .iter()
            .fold([[0.0; 3]; 3], |sum, v| add_gradients(sum, v.gradient(at, time)))
    }
    fn series(&self, from: [&[f64]; 3], _: f64, reach: f64) -> Option<PathSeries> {
        Some(pathlines::series(&self.vortices, [0.0; 3], from, reach))
    }
    fn along(&self, _: f64) -> Option<Box<dyn Along + '_>> {
        Some(Box::new(AlongVortices::new(&self.vortices, [0.0; 3])))
    }
}
