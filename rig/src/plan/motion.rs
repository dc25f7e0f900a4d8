//! What the motion costs a window: particles lost in the plane and out of it, and the spread of
//! displacement inside it.

use std::f64::consts::PI;
use std::sync::{Arc, Mutex, PoisonError};

use motefield_generator::{Flow, Light, Scene, Sheet};

use super::sampling::Moved;

/// The motion at one point of the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
struct MotionAt {
    /// Displacement between the pulses in the plane, px.
    displacement_px: [f64; 2],
    /// Share of the particle images' correlation that out-of-plane motion leaves, F_O.
    kept: f64,
    /// Displacement in depth over the sheet's thickness.
    depth: f64,
    /// Largest change of the displacement per px, in any direction.
    gradient: f64,
}

/// The motion at all points through the sheets seen last: most changes of a setup leave the sheets
/// as they are, and each point takes a sum over their profiles.
#[derive(Default)]
pub(super) struct LitMotion(Mutex<Option<(Sheets, Arc<[MotionAt]>)>>);

/// All of the light that decides what motion costs.
#[derive(Debug, Clone, PartialEq)]
struct Sheets {
    sheet: Sheet,
    /// Thickness, as a ratio, and offset of both pulses, px.
    pulses: [[f64; 2]; 2],
}

/// The motion over the picture, outside bodies.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Motion {
    points: Arc<[MotionAt]>,
    diameter_px: f64,
    seeding_density_ppp: f64,
}

/// A window's share of particle images that count, and its factors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pairs {
    /// N_I F_I F_O F_Δ, mean over the picture and least anywhere.
    pub(super) effective: [f64; 2],
    /// F_I, mean over the picture.
    pub(super) in_plane: f64,
    /// F_O, mean over the picture.
    pub(super) out_of_plane: f64,
    /// F_Δ, mean over the picture.
    pub(super) gradient: f64,
}

impl Motion {
    /// Of a scene in whose flow these places move so; `seen` is what is known of this motion.
    pub(super) fn of(scene: &Scene, flow: &dyn Flow, moved: &[Moved], seen: &LitMotion) -> Motion {
        let sheets = Sheets {
            sheet: scene.sheet,
            pulses: scene
                .light
                .pulses
                .map(|pulse| [pulse.thickness_ratio, pulse.offset_px]),
        };
        let mut last = seen.0.lock().unwrap_or_else(PoisonError::into_inner);
        let points = match &*last {
            Some((of, points)) if *of == sheets => Arc::clone(points),
            _ => {
                let points = Motion::points(scene, flow, moved);
                *last = Some((sheets, Arc::clone(&points)));
                points
            }
        };
        Motion {
            points,
            diameter_px: scene.particle_diameter_px,
            seeding_density_ppp: scene.seeding_density_ppp,
        }
    }

    fn points(scene: &Scene, flow: &dyn Flow, moved: &[Moved]) -> Arc<[MotionAt]> {
        let middle = scene.size.map(|n| 0.5 * (n as f64 - 1.0));
        let mut overlap = SheetOverlap::new(&scene.sheet, &scene.light);
        let point = |moved: &Moved| {
            let Moved { at, ends: [a, b], .. } = *moved;
            let [from, to] = [a, b].map(|place| scene.sheet.distance_px(place, middle));
            let depth_px = to - from;
            let g = flow.gradient(at, 0.0);
            MotionAt {
                displacement_px: [b[0] - a[0], b[1] - a[1]],
                kept: overlap.kept(depth_px),
                depth: depth_px / scene.sheet.thickness_px,
                gradient: spectral_norm([[g[0][0], g[0][1]], [g[1][0], g[1][1]]]),
            }
        };
        moved.iter().filter(|moved| !moved.solid).map(point).collect()
    }

    fn largest(&self, of: impl Fn(&MotionAt) -> f64) -> f64 {
        self.points.iter().map(of).fold(0.0, f64::max)
    }

    fn mean(&self, of: impl Fn(&MotionAt) -> f64) -> f64 {
        self.points.iter().map(of).sum::<f64>() / self.points.len().max(1) as f64
    }

    /// Largest displacement along x and along y, px.
    pub(super) fn farthest_px(&self) -> [f64; 2] {
        [0, 1].map(|axis| self.largest(|p| p.displacement_px[axis].abs()))
    }

    /// Largest displacement in depth over the sheet's thickness.
    pub(super) fn deepest(&self) -> f64 {
        self.largest(|p| p.depth.abs())
    }

    /// Largest change of the displacement per px.
    pub(super) fn steepest(&self) -> f64 {
        self.largest(|p| p.gradient)
    }

    /// Particle images that count in a window: of a first pass, which sees the frames as they are,
    /// or (`follows`) of a later one that follows the displacement, and (`deforms`) its gradient.
    /// `more` times the seeding.
    pub(super) fn pairs(&self, window: [usize; 2], follows: bool, deforms: bool, more: f64) -> Pairs {
        let [width, height] = window.map(|side| side as f64);
        let number = more * self.seeding_density_ppp * width * height;
        let in_plane = |p: &MotionAt| {
            if follows {
                return 1.0;
            }
            let [x, y] = p.displacement_px.map(f64::abs);
            (1.0 - x / width).max(0.0) * (1.0 - y / height).max(0.0)
        };
        let spread = |p: &MotionAt| {
            if deforms {
                1.0
            } else {
                gradient_factor(p.gradient * width.max(height), self.diameter_px)
            }
        };
        let product = |p: &MotionAt| in_plane(p) * p.kept * spread(p);
        let least = self.points.iter().map(product).fold(f64::INFINITY, f64::min);
        Pairs {
            effective: [number * self.mean(product), number * least.min(1.0)],
            in_plane: self.mean(in_plane),
            out_of_plane: self.mean(|p| p.kept),
            gradient: self.mean(spread),
        }
    }
}

/// Largest singular value of a 2 × 2 matrix: the largest stretch of any direction (closed form).
fn spectral_norm([[a, b], [c, d]]: [[f64; 2]; 2]) -> f64 {
    0.5 * ((a + d).hypot(b - c) + (a - d).hypot(b + c))
}

/// F_Δ of a displacement that varies by `variation_px` over a window, for images of e⁻² diameter
/// `diameter_px`: (√π d/2a) erf(a/d). Derived: the correlation of two Gaussian images,
/// exp(−4s²/d²), averaged over displacements spread evenly over a.
pub(super) fn gradient_factor(variation_px: f64, diameter_px: f64) -> f64 {
    let a = variation_px / diameter_px;
    if a < 1e-6 {
        return 1.0;
    }
    0.5 * PI.sqrt() / a * libm::erf(a)
}

/// F_O: the correlation of the light that a particle gets from pulse A and, further in depth, from
/// pulse B, over that of one that stays in equal sheets. For a Gaussian sheet exp(−4Δz²/Δz₀²), for
/// a top-hat 1 − |Δz|/Δz₀ (derived); for all others by the trapezoidal rule.
struct SheetOverlap<'a> {
    sheet: &'a Sheet,
    light: &'a Light,
    /// Distances from the middle of pulse A's sheet, px, and its light there.
    first: Vec<[f64; 2]>,
    /// Root of the product of both pulses' light squared.
    still: f64,
    /// The last answer: particles of a flow in the plane all move alike in depth.
    last: Option<[f64; 2]>,
}

impl<'a> SheetOverlap<'a> {
    fn new(sheet: &'a Sheet, light: &'a Light) -> SheetOverlap<'a> {
        const STEPS: usize = 1000;
        let [a, b] = light.pulses.map(|pulse| pulse.thickness_ratio);
        let reach = a.max(b) * sheet.reach_px();
        let at = |k| (2.0 * k as f64 / STEPS as f64 - 1.0) * reach;
        let first: Vec<[f64; 2]> = (0..=STEPS).map(at).map(|z| [z, sheet.across(z, a)]).collect();
        let squares = |ratio| -> f64 { first.iter().map(|[z, _]| sheet.across(*z, ratio).powi(2)).sum() };
        let still = (squares(a) * squares(b)).sqrt();
        SheetOverlap {
            sheet,
            light,
            first,
            still,
            last: None,
        }
    }

    /// For particles that move `depth_px` in depth between the pulses.
    fn kept(&mut self, depth_px: f64) -> f64 {
        if let Some([of, kept]) = self.last
            && of == depth_px
        {
            return kept;
        }
        let [a, b] = &self.light.pulses;
        let lit = |[z, lit_a]: &[f64; 2]| {
            // From one sheet's middle to the other's.
            let moved = z + depth_px - (b.offset_px - a.offset_px);
            lit_a * self.sheet.across(moved, b.thickness_ratio)
        };
        let both: f64 = self.first.iter().map(lit).sum();
        let kept = (both / self.still).min(1.0);
        self.last = Some([depth_px, kept]);
        kept
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use motefield_generator::Profile;

    /// F_Δ for a/d = 0.25 … 2 (derived values, three digits printed).
    #[test]
    fn gradient_factor_agrees_with_printed_values() {
        for (ratio, factor) in [
            (0.25, 0.980),
            (0.5, 0.923),
            (0.75, 0.840),
            (1.0, 0.747),
            (1.5, 0.571),
            (2.0, 0.441),
        ] {
            assert!(
                (gradient_factor(2.5 * ratio, 2.5) - factor).abs() < 6e-4,
                "{ratio}"
            );
        }
        assert!((gradient_factor(0.0, 2.5) - 1.0).abs() < 1e-12);
    }

    /// Closed forms: exp(−4Δz²/Δz₀²) of a Gaussian sheet (1e-6: the sheet is cut where its light is
    /// 1e-5), 1 − |Δz|/Δz₀ of a top-hat (one step of the rule). Sheets offset by the motion keep
    /// every particle.
    #[test]
    fn overlap_of_the_sheets_has_its_closed_forms() {
        let light = Light::default();
        let sheet = |profile| Sheet {
            profile,
            thickness_px: 10.0,
            ..Sheet::default()
        };
        for share in [0.0f64, 0.1, 0.25, 0.5, -0.5] {
            let dz = 10.0 * share;
            let gaussian = SheetOverlap::new(&sheet(Profile::Gaussian), &light).kept(dz);
            assert!(
                (gaussian - (-4.0 * share * share).exp()).abs() < 1e-6,
                "{share}: {gaussian}"
            );
            let top_hat = SheetOverlap::new(&sheet(Profile::TopHat), &light).kept(dz);
            assert!((top_hat - (1.0 - share.abs())).abs() < 2e-3, "{share}: {top_hat}");
        }
        let mut offset = Light::default();
        offset.pulses[1].offset_px = 3.0;
        let moving = SheetOverlap::new(&sheet(Profile::Gaussian), &offset).kept(3.0);
        assert!((moving - 1.0).abs() < 1e-12);
    }

    /// A shear turns and stretches; its largest stretch is its slope. A rotation stretches all
    /// directions alike.
    #[test]
    fn largest_stretch() {
        assert!((spectral_norm([[0.0, 0.3], [0.0, 0.0]]) - 0.3).abs() < 1e-15);
        assert!((spectral_norm([[0.0, -0.2], [0.2, 0.0]]) - 0.2).abs() < 1e-15);
        assert!((spectral_norm([[0.1, 0.0], [0.0, -0.4]]) - 0.4).abs() < 1e-15);
    }
}
