//! Particles that do not scatter by Mie's theory: fluorescent ones, and large ones with a dull
//! surface. Their light per solid angle over the light that falls on a unit of area, as Mie's
//! theory gives it for the others.

use std::f64::consts::PI;

/// Fluorescence: radiant energy per solid angle over the fluence, m²/sr, of a sphere of the
/// diameter `diameter_m` that emits `share` of the photons that fall on its cross-section: share π
/// d²/4 / 4π, the same in all directions, times the energies of the photons, emitted over received.
pub fn fluorescent_section_m2_sr(diameter_m: f64, share: f64, photon_ratio: f64) -> f64 {
    share * photon_ratio * diameter_m * diameter_m / 16.0
}

/// Diffuse reflection: the same of a sphere whose surface throws back the share `albedo` by
/// Lambert's law, at the phase angle α between light and lens: A d²/(6π) (sin α + (π − α) cos α).
///
/// Derived: an element of surface sends A/π cos θ cos θ′ of the fluence per solid angle, θ and θ′
/// being the angles of its normal to light and lens; its integral over what is both lit and seen is
/// that of Lambert (Russell, Astrophys. J. 43 (1916) 173; memory). At α = 0 it is ⅔ A times the
/// cross-section over π, and over all directions it adds up to A times the cross-section.
pub fn lambert_section_m2_sr(diameter_m: f64, albedo: f64, phase_rad: f64) -> f64 {
    let (sin, cos) = libm::sincos(phase_rad);
    albedo * diameter_m * diameter_m / (6.0 * PI) * (sin + (PI - phase_rad) * cos)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Over all directions a sphere sends out what falls on it, times its share; the sum over the
    /// sphere of directions by the midpoint rule, whose error at 2000 steps is 1e-6.
    #[test]
    fn all_light_is_accounted_for() {
        const STEPS: usize = 2000;
        let d = 3e-3;
        let over_all = |section: &dyn Fn(f64) -> f64| {
            let step = PI / STEPS as f64;
            let ring = |k: usize| {
                let angle = (k as f64 + 0.5) * step;
                2.0 * PI * angle.sin() * step * section(angle)
            };
            (0..STEPS).map(ring).sum::<f64>()
        };
        let falls = 0.25 * PI * d * d;
        let thrown = over_all(&|angle| lambert_section_m2_sr(d, 0.4, angle));
        assert!((thrown / (0.4 * falls) - 1.0).abs() < 1e-5);
        let emitted = over_all(&|_| fluorescent_section_m2_sr(d, 0.3, 0.9));
        assert!((emitted / (0.3 * 0.9 * falls) - 1.0).abs() < 1e-5);
    }

    /// The surface integral itself, summed over elements of the sphere, in several directions.
    #[test]
    fn lambert_is_the_integral_over_the_surface() {
        const STEPS: usize = 600;
        for phase in [0.0, 0.7, PI / 2.0, 2.4, PI] {
            let to_lens = [phase.sin(), 0.0, phase.cos()];
            let mut sum = 0.0;
            for i in 0..STEPS {
                // Even in the cosine and in the azimuth, so that elements are equal.
                let z = -1.0 + 2.0 * (i as f64 + 0.5) / STEPS as f64;
                for j in 0..STEPS {
                    let azimuth = 2.0 * PI * (j as f64 + 0.5) / STEPS as f64;
                    let level = (1.0 - z * z).sqrt();
                    let seen = level * azimuth.cos() * to_lens[0] + z * to_lens[2];
                    sum += z.max(0.0) * seen.max(0.0);
                }
            }
            let area = 4.0 * PI * 0.25 / (STEPS * STEPS) as f64;
            let expected = 0.5 / PI * sum * area;
            let got = lambert_section_m2_sr(1.0, 0.5, phase);
            assert!((got - expected).abs() < 1e-5, "{phase}: {got} {expected}");
        }
    }
}
