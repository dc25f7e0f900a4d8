use super::{Flow, LambOseen, Vec3, add};

/// A double row of Lamb–Oseen vortices of alternating sense, as shed by a bar standing across a stream (von Kármán's
/// street), in the frame that drifts with it: carry it downstream with [`super::Carried`].
///
/// The street runs along x. Vortices of one row stand `spacing_px` apart, those of the other row halfway between;
/// the rows are `row_distance_px` apart. Kármán's stable ratio of row distance to spacing is 0.281
/// (Lamb, *Hydrodynamics*, §156; memory). The sum of the vortices' fields; no closed pathline.
#[derive(Debug, Clone, PartialEq)]
pub struct VortexStreet {
    vortices: Vec<LambOseen>,
}

impl VortexStreet {
    /// A street of `2 * each_row` vortices with its middle at `centre_px`. The upper row (smaller y) turns with
    /// the sign of `peak_displacement_px`, the lower row against it; each vortex alone has that largest displacement at
    /// `core_radius_px` from its centre.
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
        self.vortices.iter().fold([[0.0; 3]; 3], |sum, v| {
            let g = v.gradient(at, time);
            [add(sum[0], g[0]), add(sum[1], g[1]), add(sum[2], g[2])]
        })
    }
}
