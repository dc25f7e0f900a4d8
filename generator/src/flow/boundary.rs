//! Boundary layers on a wall along x: laminar (Blasius) and turbulent (Spalding's law of the wall).

use std::sync::LazyLock;

use super::{Flow, Vec3, straight};

/// f″(0) of Blasius' function (Howarth 1938 and later computations: 0.332057); the tests check all
/// digits by f′(∞) = 1.
const WALL_CURVATURE: f64 = 0.332_057_336_215_196_3;
/// Terms of each Taylor series. The singularities of f are at least 4.9 from the centres, and a
/// series is used to ½ at most: (½/4.9)¹⁸ is 1e-18.
const TERMS: usize = 19;
/// Distance between the centres of the series, in η.
const SPACING: f64 = 0.5;
/// The η from which on f′ is 1 to within 1e-16.
const OUTER: f64 = 14.0;

/// Taylor series of Blasius' function about 0, ½, 1 …, and the η at which f′ = 0.99.
static BLASIUS: LazyLock<(Vec<[f64; TERMS]>, f64)> = LazyLock::new(|| {
    let mut start = [0.0, 0.0, WALL_CURVATURE];
    let mut all = Vec::new();
    for k in 0..=(OUTER / SPACING) as usize {
        all.push(series(start));
        start = sum(&all[k], SPACING);
    }
    let (mut low, mut high) = (0.0, OUTER);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if blasius_of(&all, middle)[1] < 0.99 {
            low = middle;
        } else {
            high = middle;
        }
    }
    (all, 0.5 * (low + high))
});

/// Taylor coefficients of the solution of 2 f‴ + f f″ = 0 with the given f, f′ and f″ at the
/// centre.
fn series(start: [f64; 3]) -> [f64; TERMS] {
    let mut c = [0.0; TERMS];
    c[..3].copy_from_slice(&[start[0], start[1], 0.5 * start[2]]);
    for n in 0..TERMS - 3 {
        let product: f64 = (0..=n)
            .map(|m| c[m] * ((n - m + 2) * (n - m + 1)) as f64 * c[n - m + 2])
            .sum();
        c[n + 3] = -product / (2 * (n + 3) * (n + 2) * (n + 1)) as f64;
    }
    c
}

/// Value and first two derivatives of a series.
fn sum(c: &[f64; TERMS], t: f64) -> [f64; 3] {
    let horner = |[f, slope, half]: [f64; 3], c: &f64| [f * t + c, slope * t + f, half * t + slope];
    let [f, slope, half] = c.iter().rev().fold([0.0; 3], horner);
    [f, slope, 2.0 * half]
}

/// Blasius' function and its first two derivatives at η ≥ 0, from its series.
fn blasius_of(all: &[[f64; TERMS]], eta: f64) -> [f64; 3] {
    if eta >= OUTER {
        let [f, _, _] = sum(&all[all.len() - 1], 0.0);
        return [f + (eta - OUTER), 1.0, 0.0];
    }
    let k = (eta / SPACING).round();
    sum(&all[k as usize], eta - SPACING * k)
}

/// Blasius' function f and its first two derivatives at η = h √(U/(νx)) ≥ 0.
///
/// ```
/// use motefield_generator::flow::blasius;
///
/// let [_, slope, curvature] = blasius(0.0);
/// assert!(slope == 0.0 && (curvature - 0.332_057).abs() < 1e-6);
/// assert!((blasius(4.91)[1] - 0.99).abs() < 1e-4);
/// ```
pub fn blasius(eta: f64) -> [f64; 3] {
    blasius_of(&BLASIUS.0, eta)
}

/// Laminar boundary layer on a flat plate along x, without pressure gradient (Blasius 1908): u = U
/// f′(η), v = ½ √(νU/x) (η f′ − f) with η = h √(U/(νx)) at the height h above the plate. The fluid
/// is above the wall, at smaller y.
///
/// It is given by its thickness δ₉₉ at one place. With a leading edge the layer grows as √x from
/// there and displaces the fluid upward, and the stream is undisturbed upstream of the edge.
/// Without one the layer is the same everywhere, and the pathline is a straight line in closed
/// form.
#[derive(Debug, Clone, PartialEq)]
pub struct BlasiusLayer {
    /// Position of the wall, px.
    pub wall_y_px: f64,
    /// Displacement of the free stream, px.
    pub free_stream_px: f64,
    /// Height at which the displacement is 99 % of that, at x = `middle_x_px`, px; above 0.
    pub thickness_px: f64,
    /// Where the layer has that thickness, px.
    pub middle_x_px: f64,
    /// Distance from the leading edge to `middle_x_px`, px, above 0; `None` for a layer that does
    /// not grow.
    pub leading_edge_px: Option<f64>,
}

impl BlasiusLayer {
    /// √(νx/U), px, and 1/x, 1/px, with x the distance from the leading edge; `None` upstream of
    /// it.
    fn scales(&self, x: f64) -> Option<(f64, f64)> {
        let length = self.thickness_px / BLASIUS.1;
        let Some(edge) = self.leading_edge_px else {
            return Some((length, 0.0));
        };
        let run = edge + x - self.middle_x_px;
        (run > 0.0).then(|| (length * libm::sqrt(run / edge), 1.0 / run))
    }
}

impl Flow for BlasiusLayer {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        if self.solid(at) {
            return [0.0; 3];
        }
        let Some((length, per_run)) = self.scales(at[0]) else {
            return [self.free_stream_px, 0.0, 0.0];
        };
        let eta = (self.wall_y_px - at[1]) / length;
        let [f, slope, _] = blasius(eta);
        let lift = 0.5 * length * per_run * (eta * slope - f);
        [self.free_stream_px * slope, -self.free_stream_px * lift, 0.0]
    }
    fn gradient(&self, at: Vec3, _: f64) -> [Vec3; 3] {
        let Some((length, per_run)) = self.scales(at[0]).filter(|_| !self.solid(at)) else {
            return [[0.0; 3]; 3];
        };
        let eta = (self.wall_y_px - at[1]) / length;
        let [f, slope, curvature] = blasius(eta);
        let u = self.free_stream_px;
        let stretch = 0.5 * u * per_run * eta * curvature;
        let lift_by_x = -0.25 * u * length * per_run * per_run * (eta * slope - f + eta * eta * curvature);
        [
            [-stretch, -u * curvature / length, 0.0],
            [-lift_by_x, stretch, 0.0],
            [0.0; 3],
        ]
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        match self.leading_edge_px {
            None => straight(self, from, t0, t1),
            Some(_) => super::pathline::integrate(self, from, t0, t1),
        }
    }
    fn solid(&self, at: Vec3) -> bool {
        at[1] > self.wall_y_px
    }
    fn clearance(&self, at: Vec3) -> Option<(f64, Vec3)> {
        Some((self.wall_y_px - at[1], [0.0, -1.0, 0.0]))
    }
}

/// Von Kármán's constant and the additive constant of the logarithmic law, as usual with Spalding's
/// law.
const KAPPA: f64 = 0.41;
const B: f64 = 5.0;

/// Spalding's law of the wall: y⁺ and dy⁺/du⁺ at u⁺ ≥ 0 (Spalding, J. Appl. Mech. 28 (1961) 455,
/// with κ = 0.41 and B = 5.0).
///
/// ```
/// use motefield_generator::flow::spalding;
///
/// // In the viscous sublayer y⁺ = u⁺.
/// let (y, slope) = spalding(1.0);
/// assert!((y - 1.0).abs() < 1e-3 && (slope - 1.0).abs() < 1e-2);
/// ```
pub fn spalding(u: f64) -> (f64, f64) {
    let (k, shift) = (KAPPA * u, libm::exp(-KAPPA * B));
    let cube = k * k * k / 6.0;
    // e^k less its Taylor polynomial of third degree. For small k the difference would cancel, and
    // the remainder of the series is summed instead.
    let rest = if k < 0.5 {
        (5..20)
            .fold((0.25 * k * cube, 0.0), |(term, sum), n| {
                (term * k / f64::from(n), sum + term)
            })
            .1
    } else {
        libm::exp(k) - 1.0 - k - 0.5 * k * k - cube
    };
    (u + shift * rest, 1.0 + shift * KAPPA * (rest + cube))
}

/// Mean profile of a turbulent boundary layer along x: Spalding's law from the wall to the free
/// stream, the same everywhere. The fluid is above the wall, at smaller y. The pathline is a
/// straight line in closed form.
///
/// At its thickness the law has reached the displacement of the free stream, which fixes the
/// viscous length: δ⁺ = y⁺(U/u_τ). There is no wake, so the profile has a slight kink where the
/// layer ends.
#[derive(Debug, Clone, PartialEq)]
pub struct TurbulentLayer {
    wall_y_px: f64,
    free_stream_px: f64,
    friction_px: f64,
    thickness_px: f64,
    viscous_length_px: f64,
}

impl TurbulentLayer {
    /// Largest free-stream displacement over the friction displacement: that of a layer 10⁷ viscous
    /// lengths thick.
    pub const LARGEST_RATIO: f64 = 44.0;

    /// A layer above the wall at `wall_y_px`, `thickness_px` thick, with the displacements of the
    /// free stream, `free_stream_px`, and of the friction velocity, `friction_px`. The first over
    /// the second must be above 1 and at most [`Self::LARGEST_RATIO`].
    pub fn new(wall_y_px: f64, free_stream_px: f64, friction_px: f64, thickness_px: f64) -> Self {
        let (thickness_plus, _) = spalding(free_stream_px / friction_px);
        TurbulentLayer {
            wall_y_px,
            free_stream_px,
            friction_px,
            thickness_px,
            viscous_length_px: thickness_px / thickness_plus,
        }
    }

    /// Viscous length ν/u_τ, px.
    pub fn viscous_length_px(&self) -> f64 {
        self.viscous_length_px
    }

    /// u⁺ and du⁺/dy⁺ at a height inside the layer, by Newton's method on Spalding's law. The law
    /// is convex, so the method converges from a start above the solution.
    fn law(&self, height_px: f64) -> (f64, f64) {
        let y = height_px / self.viscous_length_px;
        let mut u = y.min(libm::log(y.max(1.0)) / KAPPA + B + 0.1);
        for _ in 0..20 {
            let (wanted, slope) = spalding(u);
            let step = (wanted - y) / slope;
            u -= step;
            if step.abs() < 1e-14 * u {
                break;
            }
        }
        (u, 1.0 / spalding(u).1)
    }
}

impl Flow for TurbulentLayer {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        let height = self.wall_y_px - at[1];
        let u = if height <= 0.0 {
            0.0
        } else if height >= self.thickness_px {
            self.free_stream_px
        } else {
            self.friction_px * self.law(height).0
        };
        [u, 0.0, 0.0]
    }
    fn gradient(&self, at: Vec3, _: f64) -> [Vec3; 3] {
        let height = self.wall_y_px - at[1];
        let slope = if height > 0.0 && height < self.thickness_px {
            -self.friction_px / self.viscous_length_px * self.law(height).1
        } else {
            0.0
        };
        [[0.0, slope, 0.0], [0.0; 3], [0.0; 3]]
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        straight(self, from, t0, t1)
    }
    fn solid(&self, at: Vec3) -> bool {
        at[1] > self.wall_y_px
    }
    fn clearance(&self, at: Vec3) -> Option<(f64, Vec3)> {
        Some((self.wall_y_px - at[1], [0.0, -1.0, 0.0]))
    }
}
