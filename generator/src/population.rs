//! The particle population: distribution of sizes, brightness, clusters, uneven seeding.
//!
//! Diameters are relative to the mean one. Their distribution is normal, log-normal or flat,
//! truncated at two limits. It is drawn by inverting the distribution function, so each particle
//! keeps its rank when the standard deviation changes. Brightness follows from the diameter by a
//! power law (2 for geometric optics, 6 for Rayleigh scattering) or by a table, such as one from
//! Mie theory.
//!
//! Clusters follow Thomas's process (Biometrika 36 (1949) 18): centres by a Poisson law, and about
//! each a Poisson number of particles with mean n at normal distances. The seeding density stays
//! the same; the number of particles in a large window has a variance of 1 + n times its mean.
//!
//! The seeding density may change over the picture by a gradient and by discs of less seeding.
//! There are no particles inside the bodies of a flow.

use std::sync::Arc;

use crate::error::{SceneError, SceneField, failed, in_range, number};
use crate::random::normal_quantile;

/// Distribution of the particle diameters, relative to their mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Diameters {
    /// All particles have the mean diameter.
    Same,
    /// Normal with mean 1 and this standard deviation before truncation, above 0 and at most 2.
    Normal(f64),
    /// Log-normal with mean 1 and this standard deviation before truncation, above 0 and at most 2.
    LogNormal(f64),
    /// All diameters from 1 less this half-width to 1 and it equally likely; above 0 and at most 1.
    Flat(f64),
}

/// Light of a particle over that of one of mean diameter, as it follows from its relative diameter
/// r.
#[derive(Debug, Clone, PartialEq)]
pub enum Brightness {
    /// rᵖ with this exponent p, −10 to 10.
    Power(f64),
    /// Linear interpolation in a table of two or more values of at least 0, on diameters evenly
    /// spaced from the smallest to the largest limit.
    Table(Arc<[f64]>),
}

/// A disc of less seeding.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Region {
    /// Centre, px.
    pub centre_px: [f64; 2],
    /// Radius, px.
    pub radius_px: f64,
    /// Fraction of the seeding that is left in it, 0 to 1.
    pub share: f64,
}

/// Sizes, brightness and arrangement of the particles.
///
/// ```
/// use motefield_generator::Population;
/// use motefield_generator::population::{Brightness, Diameters};
///
/// let population = Population {
///     diameters: Diameters::LogNormal(0.2),
///     brightness: Brightness::Power(2.0),
///     ..Population::default()
/// };
/// // The median of a log-normal distribution with mean 1 is below 1.
/// let median = population.diameter(0.5);
/// assert!((median - 1.0 / (1.0 + 0.2_f64 * 0.2).sqrt()).abs() < 1e-3);
/// assert!((population.brightness(median) - median * median).abs() < 1e-12);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Population {
    /// Distribution of the diameters relative to their mean.
    pub diameters: Diameters,
    /// Smallest and largest relative diameter, where the distribution is truncated: one above 0 and
    /// below 1, and one above 1 and at most 100.
    pub diameter_limits: [f64; 2],
    /// Brightness over diameter.
    pub brightness: Brightness,
    /// Diameter of the geometric image of a particle of mean diameter, px: the part of the particle
    /// image diameter that grows with the particle. Smaller than the scene's particle image
    /// diameter.
    pub geometric_diameter_px: f64,
    /// Mean number of particles per cluster, 0 to 100; 0 for no clusters.
    pub cluster_size: f64,
    /// Standard deviation of the particles' places about the centre of their cluster, along each
    /// axis, px; 0 to 1000.
    pub cluster_radius_px: f64,
    /// Relative change of the seeding density from the middle of the picture to its right edge and
    /// to its lower edge, −1 to 1.
    pub gradient: [f64; 2],
    /// Discs of less seeding, at time 0.
    pub unseeded: Vec<Region>,
    /// Brownian motion: standard deviation of a mean particle's displacement between the pulses
    /// along each axis, px, besides that by the flow; 0 to 100. It falls as one over the root of
    /// the diameter.
    pub brownian_px: f64,
}

impl Default for Population {
    /// Equal particles, evenly seeded.
    fn default() -> Self {
        Population {
            diameters: Diameters::Same,
            diameter_limits: [0.1, 4.0],
            brightness: Brightness::Power(2.0),
            geometric_diameter_px: 0.0,
            cluster_size: 0.0,
            cluster_radius_px: 1.0,
            gradient: [0.0; 2],
            unseeded: Vec::new(),
            brownian_px: 0.0,
        }
    }
}

impl Population {
    /// Smallest and largest relative diameter that occur.
    pub(crate) fn diameter_range(&self) -> [f64; 2] {
        match self.diameters {
            Diameters::Same => [1.0; 2],
            _ => self.diameter_limits,
        }
    }

    /// Relative diameter at the probability `u` in (0, 1): the quantile of the truncated
    /// distribution.
    pub fn diameter(&self, u: f64) -> f64 {
        let [low, high] = self.diameter_limits;
        let cut = |low: f64, high: f64| {
            let p = phi(low) + (phi(high) - phi(low)) * u;
            normal_quantile(p.clamp(1e-300, 1.0 - 1e-16))
        };
        let diameter = match self.diameters {
            Diameters::Same => return 1.0,
            Diameters::Flat(half) => 1.0 + half * (2.0 * u - 1.0),
            Diameters::Normal(sd) => 1.0 + sd * cut((low - 1.0) / sd, (high - 1.0) / sd),
            Diameters::LogNormal(sd) => {
                let s = libm::sqrt(libm::log1p(sd * sd));
                let z = |r: f64| libm::log(r) / s + 0.5 * s;
                libm::exp(s * (cut(z(low), z(high)) - 0.5 * s))
            }
        };
        diameter.clamp(low, high)
    }

    /// Light of a particle of the relative diameter `relative`, over that which gives the scene's
    /// photo-electrons.
    ///
    /// # Panics
    /// When the brightness is a table of fewer than two values.
    pub fn brightness(&self, relative: f64) -> f64 {
        match &self.brightness {
            Brightness::Power(_) if relative == 1.0 => 1.0,
            Brightness::Power(power) => libm::pow(relative, *power),
            Brightness::Table(table) => {
                let [low, high] = self.diameter_limits;
                let last = table.len() - 1;
                let at = ((relative - low) / (high - low) * last as f64).clamp(0.0, last as f64);
                let k = (at as usize).min(last - 1);
                let t = at - k as f64;
                table[k] + t * (table[k + 1] - table[k])
            }
        }
    }

    /// Seeding density over the scene's at the point (x, y); `middle` is the middle of the picture,
    /// px.
    pub(crate) fn density(&self, x_px: f64, y_px: f64, middle: [f64; 2]) -> f64 {
        if self.gradient == [0.0; 2] && self.unseeded.is_empty() {
            return 1.0;
        }
        let slope = |k: usize, at: f64| {
            let off = (at - middle[k]) / (middle[k] + 0.5);
            self.gradient[k] * off.clamp(-1.0, 1.0)
        };
        let plain = 1.0 + slope(0, x_px) + slope(1, y_px);
        let share = self
            .unseeded
            .iter()
            .filter(|r| libm::hypot(x_px - r.centre_px[0], y_px - r.centre_px[1]) <= r.radius_px)
            .fold(1.0, |share, region| share * region.share);
        plain.max(0.0) * share
    }

    /// A bound of [`density`](Population::density) over the whole picture.
    pub(crate) fn largest_density(&self) -> f64 {
        1.0 + self.gradient[0].abs() + self.gradient[1].abs()
    }

    pub(crate) fn faults(&self, diameter_px: f64) -> Vec<SceneError> {
        let [low, high] = self.diameter_limits;
        let sd = match self.diameters {
            Diameters::Same => 0.1,
            Diameters::Normal(sd) | Diameters::LogNormal(sd) => sd,
            // Ends at a diameter of 0.
            Diameters::Flat(half) if half > 1.0 => f64::NAN,
            Diameters::Flat(half) => half,
        };
        let brightness = match &self.brightness {
            Brightness::Power(power) => {
                in_range(SceneField::BrightnessPower, *power, "", -10.0..=10.0, "-10 to 10")
            }
            Brightness::Table(table) => (
                SceneField::BrightnessTable,
                format!("{} numbers", table.len()),
                table.len() >= 2 && table.iter().all(|b| b.is_finite() && *b >= 0.0),
                "two or more numbers of at least 0",
            ),
        };
        let gradient = |field: SceneField, change: f64| in_range(field, change, "", -1.0..=1.0, "-1 to 1");
        let mut faults = failed([
            number(
                SceneField::DiameterSd,
                sd,
                "",
                sd > 0.0 && sd <= 2.0,
                "above 0 and at most 2",
            ),
            (
                SceneField::DiameterLimits,
                format!("{low} to {high}"),
                low > 0.0 && low < 1.0 && high > 1.0 && high <= 100.0,
                "a number above 0 and below 1, and one above 1 and at most 100",
            ),
            brightness,
            number(
                SceneField::GeometricDiameter,
                self.geometric_diameter_px,
                "px",
                self.geometric_diameter_px >= 0.0
                    && (self.geometric_diameter_px < diameter_px || self.geometric_diameter_px == 0.0),
                "at least 0 and smaller than the particle image diameter",
            ),
            in_range(
                SceneField::ClusterSize,
                self.cluster_size,
                "particles",
                0.0..=100.0,
                "0 to 100 particles",
            ),
            in_range(
                SceneField::ClusterRadius,
                self.cluster_radius_px,
                "px",
                0.0..=1000.0,
                "0 to 1000 px",
            ),
            in_range(
                SceneField::Brownian,
                self.brownian_px,
                "px",
                0.0..=100.0,
                "0 to 100 px",
            ),
            gradient(SceneField::GradientX, self.gradient[0]),
            gradient(SceneField::GradientY, self.gradient[1]),
        ]);
        faults.extend(self.unseeded.iter().flat_map(Region::faults));
        faults
    }
}

impl Region {
    fn faults(&self) -> Vec<SceneError> {
        let [x, y] = self.centre_px;
        failed([
            (
                SceneField::UnseededCentre,
                format!("({x}, {y}) px"),
                x.is_finite() && y.is_finite(),
                "finite",
            ),
            number(
                SceneField::UnseededRadius,
                self.radius_px,
                "px",
                self.radius_px >= 0.0,
                "at least 0",
            ),
            in_range(SceneField::UnseededShare, self.share, "", 0.0..=1.0, "0 to 1"),
        ])
    }
}

/// Distribution function of the standard normal distribution.
fn phi(z: f64) -> f64 {
    0.5 * libm::erfc(-z * std::f64::consts::FRAC_1_SQRT_2)
}
