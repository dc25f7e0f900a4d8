//! The shape that all particle images of a pair have.
//!
//! A round Gaussian image, elongated along the streak that the particle travels during the pulse.
//! Its covariance is s² 1 + l lᵀ/12, with s the standard deviation of the Gaussian and l the streak,
//! px. Conversely every covariance belongs to one such shape; that is how the shape of a pair is
//! found from its frames, by second moments.

/// Standard deviations of the Gaussian at which an image ends: 5e-4 of its light lie beyond.
const REACH: f64 = 3.5;

/// Shortest streak, in standard deviations, that is distinguished from a round image of the same
/// mean width: of these, for a streak l, the light in a pixel differs by l²/65 of the brightest at
/// most, 0.25 %, a third of the photon noise of 20,000 electrons.
const SHORTEST: f64 = 0.4;

/// Least standard deviation, px: a quarter of the pixel's own.
const SHARPEST_PX: f64 = 0.07;

/// Greatest length of a streak, px.
const LONGEST_PX: f64 = 24.0;

/// The shape that all images of a pair have.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ImageShape {
    /// Standard deviation of the round image, px.
    pub(super) width: f64,
    /// Streak along x and y, px.
    streak: [f64; 2],
}

impl ImageShape {
    /// The shape with a covariance, px²: xx, xy, yy, without the pixel's own 1/12.
    pub fn new([xx, xy, yy]: [f64; 3]) -> Self {
        let (mean, difference) = (0.5 * (xx + yy), 0.5 * (xx - yy));
        let radius = difference.hypot(xy);
        let minor = (mean - radius).max(SHARPEST_PX * SHARPEST_PX);
        let length = (24.0 * radius).sqrt().min(LONGEST_PX);
        if length < SHORTEST * minor.sqrt() {
            let width = mean.max(SHARPEST_PX * SHARPEST_PX).sqrt();
            return Self {
                width,
                streak: [0.0; 2],
            };
        }
        let angle = 0.5 * xy.atan2(difference);
        Self {
            width: minor.sqrt(),
            streak: [length * angle.cos(), length * angle.sin()],
        }
    }

    /// xx, xy, yy, px².
    pub fn covariance(&self) -> [f64; 3] {
        let ([x, y], round) = (self.streak, self.width * self.width);
        [round + x * x / 12.0, x * y / 12.0, round + y * y / 12.0]
    }

    /// Distance along x and y from the position of an image beyond which it contributes to no
    /// pixel.
    pub fn reach(&self) -> [f64; 2] {
        self.streak.map(|l| REACH * self.width + 0.5 * l.abs() + 0.5)
    }

    /// The points of light along the streak, as positions relative to its middle: close enough that
    /// their images merge into one, spread so that they have the variance of the streak.
    pub(super) fn points(&self) -> impl Iterator<Item = [f64; 2]> + use<> {
        let length = self.streak[0].hypot(self.streak[1]);
        let (count, spread) = match length {
            0.0 => (1.0, 0.0),
            _ => {
                let count = 1.0 + (1.2 * length / self.width).ceil();
                (count, (count * count / (count * count - 1.0)).sqrt())
            }
        };
        let streak = self.streak;
        (0..count as usize).map(move |i| {
            let t = spread * ((i as f64 + 0.5) / count - 0.5);
            streak.map(|l| t * l)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: a shape has the covariance it was made from.
    #[test]
    fn shape_keeps_its_covariance() {
        for covariance in [
            [0.5, 0.0, 0.5],
            [2.0, 0.7, 0.9],
            [0.6, -0.3, 1.5],
            [0.4, 0.0, 2.4],
        ] {
            let found = ImageShape::new(covariance).covariance();
            for k in 0..3 {
                assert!(
                    (found[k] - covariance[k]).abs() < 1e-12,
                    "{found:?}, {covariance:?}"
                );
            }
        }
    }
}
