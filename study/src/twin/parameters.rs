//! The parameters of a twin, and the setup that they make.

use motefield_rig::keys::{Key, camera, flow, image, light, sheet, tracer};

use super::FLOW;

/// Number of parameters.
pub(super) const COUNT: usize = 9;

/// What a twin is fitted by: logarithms of quantities that cannot vanish, and of those that can
/// what the figures change with in proportion (the square of a streak, the gain).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Parameters(pub [f64; COUNT]);

/// Step of each parameter for differences.
pub(super) fn steps(p: &Parameters) -> [f64; COUNT] {
    let d = p.diameter_px();
    [
        0.03,
        0.1,
        0.1,
        0.3 * p.noise_dn(),
        0.08,
        0.3,
        0.05,
        0.04,
        0.1 * d * d,
    ]
}

/// What is known of a parameter without the pictures: usual value and standard deviation. Both are
/// so wide that they matter only where the pictures tell nothing (common practice, no source).
pub(super) fn prior(first: &Parameters) -> [[f64; 2]; COUNT] {
    let p = first.0;
    [
        [p[0], 1.0],
        [p[1], 2.0],
        [p[2], 2.0],
        [p[3], 20.0 * first.noise_dn() + 0.5 * first.light_dn()],
        [p[4], 2.0],
        [p[5], 2.0 * p[5].abs() + 10.0 * first.gain_that_matters()],
        [0.1, 0.3],
        // Spread of diameters of 20 %, as of sieved tracers.
        [0.04, 0.08],
        [0.0, 10.0],
    ]
}

impl Parameters {
    pub fn diameter_px(&self) -> f64 {
        self.0[0].exp().clamp(0.3, 40.0)
    }

    pub fn density_ppp(&self) -> f64 {
        self.0[1].exp().clamp(1e-5, 5.0)
    }

    /// Light of a particle in the middle of the sheet, grey levels.
    pub fn light_dn(&self) -> f64 {
        self.0[2].exp()
    }

    pub fn floor_dn(&self) -> f64 {
        self.0[3]
    }

    /// Standard deviation of the noise at the floor, with that of rounding, grey levels.
    pub fn noise_dn(&self) -> f64 {
        self.0[4].exp()
    }

    /// Grey levels per electron.
    pub fn gain(&self) -> f64 {
        self.0[5].max(0.02 * self.gain_that_matters())
    }

    /// Gain at which a tenth of the light of a particle, as in its bright pixels, has as much shot
    /// noise as half of the noise at the floor: far below it the gain does not show.
    pub fn gain_that_matters(&self) -> f64 {
        0.5 * self.noise_dn().powi(2) / (0.1 * self.light_dn())
    }

    pub fn loss(&self) -> f64 {
        self.0[6].clamp(0.0, 0.98)
    }

    /// Standard deviation of the diameters over their mean.
    pub fn spread(&self) -> f64 {
        self.0[7].max(0.0).sqrt().min(1.5)
    }

    /// Root mean square length of the streaks, px.
    pub fn streak_px(&self) -> f64 {
        self.0[8].max(0.0).sqrt()
    }

    /// Displacement through the sheet over its thickness that brings the loss about: 1 − L = exp(−4
    /// z²) for a Gaussian sheet.
    pub fn out_of_plane(&self) -> f64 {
        (-(1.0 - self.loss()).ln()).sqrt() / 2.0
    }
}

/// What is stated of a recording besides the parameters.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct StatedParameter {
    pub size: [usize; 2],
    pub bits: u32,
    /// Largest grey level that occurs or can.
    pub white_dn: f64,
    /// Light of pulse B over that of pulse A.
    pub energy_ratio: f64,
    /// Background of frame B above that of frame A, grey levels.
    pub more_background_dn: f64,
    /// Root mean square displacement, px.
    pub displacement_px: f64,
    /// Fixed pattern of the offsets, grey levels; 0 where it is not told.
    pub pattern_dn: f64,
}

/// Displacement below which streaks are not told from the diameter, px.
pub(super) const LEAST_DISPLACEMENT_PX: f64 = 0.5;

/// The setup as text; the flow stands in a file beside it.
pub(super) fn setup_text(p: &Parameters, stated: &StatedParameter) -> String {
    let k = p.gain();
    let black = p.floor_dn().clamp(0.0, stated.white_dn - 1.0);
    let dark = (p.noise_dn().powi(2) - 1.0 / 12.0).max(0.0).sqrt() / k;
    let [width, height] = stated.size;
    let mut lines = vec![
        (image::SIZE, format!("[{width}, {height}]")),
        (image::PARTICLE_DIAMETER, format!("\"{:.5} px\"", p.diameter_px())),
        (image::SEEDING_DENSITY, format!("\"{:.6} ppp\"", p.density_ppp())),
        (image::ELECTRONS, format!("\"{:.6} e\"", p.light_dn() / k)),
    ];
    let more = stated.more_background_dn / k;
    if more > 0.0 {
        lines.push((image::BACKGROUND_B, format!("\"{more:.6} e\"")));
    }
    if stated.displacement_px >= LEAST_DISPLACEMENT_PX {
        let fraction = (p.streak_px() / stated.displacement_px).min(1.0);
        lines.push((image::PULSE_FRACTION, format!("{fraction:.6}")));
    }
    if p.spread() > 0.0 {
        lines.push((tracer::DISTRIBUTION, "\"log-normal\"".to_owned()));
        lines.push((tracer::DIAMETER_SD, format!("{:.6}", p.spread().max(1e-3))));
    }
    let full_well = (stated.white_dn - black).max(1.0) / k;
    lines.extend([
        (sheet::OUT_OF_PLANE, format!("{:.6}", p.out_of_plane())),
        (light::ENERGY_RATIO, format!("{:.6}", stated.energy_ratio)),
        (camera::BITS, stated.bits.to_string()),
        (camera::GAIN, format!("\"{k:.8} DN/e\"")),
        (camera::FULL_WELL, format!("\"{full_well:.5} e\"")),
        (camera::DARK_NOISE, format!("\"{dark:.6} e\"")),
        (camera::BLACK_LEVEL, format!("\"{black:.5} DN\"")),
    ]);
    if stated.pattern_dn > 0.0 {
        lines.push((camera::DSNU, format!("\"{:.6} e\"", stated.pattern_dn / k)));
    }
    lines.extend([
        (flow::KIND, "\"imported\"".to_owned()),
        (flow::FILE, format!("\"{FLOW}\"")),
        (flow::VELOCITY_UNIT, "\"px\"".to_owned()),
        (flow::LENGTH_UNIT, "\"px\"".to_owned()),
        (flow::ALIGN, "\"pixels\"".to_owned()),
        (flow::LAYOUT, "\"grid\"".to_owned()),
        (flow::BODY, "\"none\"".to_owned()),
    ]);
    written(&lines)
}

/// Keys with their values as a setup, those of a section one after the other.
fn written(lines: &[(&Key, String)]) -> String {
    let sections = lines.chunk_by(|(a, _), (b, _)| a.section() == b.section());
    let section = |lines: &[(&Key, String)]| {
        let lines_of: String = lines
            .iter()
            .map(|(key, value)| format!("{} = {value}\n", key.name()))
            .collect();
        format!("[{}]\n{lines_of}", lines[0].0.section())
    };
    sections.map(section).collect::<Vec<_>>().join("\n")
}

/// Particles per pixel whose brightest pixel, with the image centred on it, is at least `ratio`
/// standard deviations of the noise at the floor above it; of all in a Gaussian sheet, inside its
/// e⁻² thickness or not.
pub(super) fn density_above(p: &Parameters, ratio: f64) -> f64 {
    let sigma = p.diameter_px() / 4.0;
    let across = libm::erf(0.5 / (sigma * std::f64::consts::SQRT_2));
    // The streak lies along one axis as good as along any other.
    let half = 0.5 * p.streak_px();
    let points = 21;
    let along: f64 = (0..points)
        .map(|k| {
            let at = half * (2.0 * (f64::from(k) + 0.5) / f64::from(points) - 1.0);
            let end = |e: f64| libm::erf((e - at) / (sigma * std::f64::consts::SQRT_2));
            0.5 * (end(0.5) - end(-0.5))
        })
        .sum::<f64>()
        / f64::from(points);
    let needed = ratio * p.noise_dn() / (p.light_dn() * across * along);
    let variance = (1.0 + p.spread().powi(2)).ln();
    // Over the normal law of ln r by its midpoints; |u| ≤ √(ln(r²/needed)/8).
    let (count, mut sum, mut weights) = (41, 0.0, 0.0);
    for k in 0..count {
        let t = 8.0 * ((f64::from(k) + 0.5) / f64::from(count) - 0.5);
        let weight = (-0.5 * t * t).exp();
        let r = (t * variance.sqrt() - 0.5 * variance).exp();
        let excess = (r * r / needed).ln();
        sum += weight * 2.0 * (excess.max(0.0) / 8.0).sqrt();
        weights += weight;
    }
    p.density_ppp() * sum / weights
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parameters() -> Parameters {
        let ln = f64::ln;
        Parameters([
            ln(2.5),
            ln(0.02),
            ln(400.0),
            50.0,
            ln(2.0),
            ln(0.3),
            0.2,
            0.0,
            0.0,
        ])
    }

    /// Without spread the particles brighter than a limit lie within |u| = √(ln(E₀/E)/8) of the
    /// middle.
    #[test]
    fn density_above_a_ratio_is_a_slice_of_the_sheet() {
        let p = parameters();
        let peak = libm::erf(0.5 / (0.625 * std::f64::consts::SQRT_2)).powi(2) * 400.0;
        let expected = 0.02 * 2.0 * ((peak / 6.0f64).ln() / 8.0).sqrt();
        assert!((density_above(&p, 3.0) / expected - 1.0).abs() < 1e-9);
    }

    /// exp(−4 z²) is the share of images that find their partner.
    #[test]
    fn loss_comes_of_motion_through_the_sheet() {
        let z = parameters().out_of_plane();
        assert!(((-4.0 * z * z).exp() - 0.8).abs() < 1e-12);
    }
}
