//! The particles as a crowd: how large, how bright, how they stand together.
//!
//! Diameters are stated over the mean one. Normal and log-normal distributions (mean 1 and relative standard deviation before
//! they are cut) are cut at two limits; the draw inverts the cut distribution function, so each particle keeps its rank when the spread
//! changes. Brightness follows the diameter by a power law (2: geometric optics; 6: Rayleigh) or by a table, such as one from Mie theory.
//!
//! Clusters are Thomas's process (Biometrika 36 (1949) 18; memory): parents by a Poisson law, a Poisson number of particles of mean n
//! round each, at normal distances. The seeding density stays the same; the number in a large window has the variance 1 + n times its
//! mean. Density may vary over the picture: by a gradient, by discs with a share of the seeding, and not at all inside a body.

use std::sync::Arc;

use crate::random::normal_quantile;
use crate::scene::{SceneError, SceneField, check, number};

/// Distribution of the particles' diameters over the mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Diameters {
    /// All alike.
    Same,
    /// Normal with mean 1 and this standard deviation.
    Normal(f64),
    /// Log-normal with mean 1 and this standard deviation.
    LogNormal(f64),
}

/// How a particle's light follows from its diameter r over the mean.
#[derive(Debug, Clone, PartialEq)]
pub enum Brightness {
    /// rᵖ.
    Power(f64),
    /// Interpolated on points evenly spaced over the limits of the diameters.
    Table(Arc<[f64]>),
}

/// A disc with less seeding.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Region {
    /// Its centre, px.
    pub centre_px: [f64; 2],
    /// Its radius, px.
    pub radius_px: f64,
    /// Its share of the seeding, 0 to 1.
    pub share: f64,
}

/// The particles as a crowd.
#[derive(Debug, Clone, PartialEq)]
pub struct Population {
    /// Diameters over the mean.
    pub diameters: Diameters,
    /// Smallest and largest diameter over the mean.
    pub diameter_limits: [f64; 2],
    /// Light from diameter.
    pub brightness: Brightness,
    /// Part of the particle image diameter that is the geometric image of the mean particle, px.
    pub geometric_diameter_px: f64,
    /// Mean number of particles in a cluster; 0 for none.
    pub cluster_size: f64,
    /// Standard deviation of a particle's place about its cluster's, in each direction, px.
    pub cluster_radius_px: f64,
    /// Relative change of the seeding density from the picture's middle to its right and lower edge.
    pub gradient: [f64; 2],
    /// Discs with less seeding, at mid-time.
    pub unseeded: Vec<Region>,
}

impl Default for Population {
    /// Particles all alike, evenly seeded.
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
        }
    }
}

impl Population {
    /// Smallest and largest diameter over the mean that occur.
    pub fn diameter_range(&self) -> [f64; 2] {
        match self.diameters {
            Diameters::Same => [1.0; 2],
            _ => self.diameter_limits,
        }
    }

    /// Diameter over the mean at the rank `u` in (0, 1): the quantile of the cut distribution.
    pub fn diameter(&self, u: f64) -> f64 {
        let [low, high] = self.diameter_limits;
        let cut = |low: f64, high: f64| {
            let p = phi(low) + (phi(high) - phi(low)) * u;
            normal_quantile(p.clamp(1e-300, 1.0 - 1e-16))
        };
        let diameter = match self.diameters {
            Diameters::Same => return 1.0,
            Diameters::Normal(sd) => 1.0 + sd * cut((low - 1.0) / sd, (high - 1.0) / sd),
            Diameters::LogNormal(sd) => {
                let s = libm::sqrt(libm::log1p(sd * sd));
                let z = |r: f64| libm::log(r) / s + 0.5 * s;
                libm::exp(s * (cut(z(low), z(high)) - 0.5 * s))
            }
        };
        diameter.clamp(low, high)
    }

    /// Light of a particle of diameter `relative` over that which gives the scene's photo-electrons.
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

    /// Seeding density over the scene's at a point; `middle` is the picture's.
    pub fn density(&self, x_px: f64, y_px: f64, middle: [f64; 2]) -> f64 {
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

    /// The largest [`density`](Population::density) there can be.
    pub fn largest_density(&self) -> f64 {
        1.0 + self.gradient[0].abs() + self.gradient[1].abs()
    }

    pub(crate) fn validate(&self, diameter_px: f64) -> Result<(), SceneError> {
        let [low, high] = self.diameter_limits;
        let sd = match self.diameters {
            Diameters::Same => 0.1,
            Diameters::Normal(sd) | Diameters::LogNormal(sd) => sd,
        };
        let brightness = match &self.brightness {
            Brightness::Power(power) => number(
                SceneField::BrightnessPower,
                *power,
                "",
                (-10.0..=10.0).contains(power),
                "-10 to 10",
            ),
            Brightness::Table(table) => (
                SceneField::BrightnessTable,
                format!("{} numbers", table.len()),
                table.len() >= 2 && table.iter().all(|b| b.is_finite() && *b >= 0.0),
                "two or more numbers of at least 0",
            ),
        };
        let gradient =
            |field: SceneField, change: f64| number(field, change, "", change.abs() <= 1.0, "-1 to 1");
        check([
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
            number(
                SceneField::ClusterSize,
                self.cluster_size,
                "particles",
                (0.0..=100.0).contains(&self.cluster_size),
                "0 to 100 particles",
            ),
            number(
                SceneField::ClusterRadius,
                self.cluster_radius_px,
                "px",
                (0.0..=1000.0).contains(&self.cluster_radius_px),
                "0 to 1000 px",
            ),
            gradient(SceneField::GradientX, self.gradient[0]),
            gradient(SceneField::GradientY, self.gradient[1]),
        ])?;
        for region in &self.unseeded {
            let [x, y] = region.centre_px;
            check([
                (
                    SceneField::UnseededCentre,
                    format!("({x}, {y}) px"),
                    x.is_finite() && y.is_finite(),
                    "finite",
                ),
                number(
                    SceneField::UnseededRadius,
                    region.radius_px,
                    "px",
                    region.radius_px >= 0.0,
                    "at least 0",
                ),
                number(
                    SceneField::UnseededShare,
                    region.share,
                    "",
                    (0.0..=1.0).contains(&region.share),
                    "0 to 1",
                ),
            ])?;
        }
        Ok(())
    }
}

/// Distribution function of the standard normal distribution.
fn phi(z: f64) -> f64 {
    0.5 * libm::erfc(-z * std::f64::consts::FRAC_1_SQRT_2)
}
