//! Bias of one plain pass: the particles that leave a finite window pull the correlation peak
//! toward zero.
//!
//! Theory (Westerweel 1997, Meas. Sci. Technol. 8, 1379, from memory; derived): the expected
//! correlation is the window's triangle 1 − |s|/D times a Gaussian of variance σ² = d²/8 + 1/6, so
//! its maximum lies σ²/(D − |s|) toward zero. Dividing by the triangle removes it. Held to 10 % or
//! 0.002 px, and to a tenth of the plain bias after division, plus the interval of the measured
//! mean.

use motefield_study::run::Effort;

#[test]
fn bias_is_that_of_the_finite_window() {
    let cases: Vec<(f64, f64)> = [2.0, 2.5, 4.0]
        .into_iter()
        .flat_map(|d| [1.0, 2.5, 10.0].map(|s| (d, s)))
        .collect();
    let measure = |normalise: &str| {
        let changes: Vec<_> = cases
            .iter()
            .map(|(d, s)| {
                vec![
                    ("image.seeding_density", "0.06 ppp".to_owned()),
                    ("flow.displacement[1]", "0 px".to_owned()),
                    ("image.particle_diameter", format!("{d} px")),
                    ("flow.displacement[0]", format!("{s} px")),
                    ("processing.normalise", normalise.to_owned()),
                ]
            })
            .collect();
        super::points(
            super::PLAIN,
            &changes,
            &Effort {
                first_pairs: 12,
                most_pairs: 12,
                ..Effort::default()
            },
        )
    };
    let (plain, divided) = (measure("none"), measure("window"));
    for (k, (d, s)) in cases.iter().enumerate() {
        let theory = -(d * d / 8.0 + 1.0 / 6.0) / (32.0 - s);
        let (plain, divided) = (plain[k].score.point[0].bias_px, divided[k].score.point[0].bias_px);
        assert!(
            (plain.value - theory).abs() < (0.1 * theory.abs()).max(0.002),
            "d = {d} px, s = {s} px: plain {plain:?} for {theory}"
        );
        let spread = 0.5 * (divided.hi - divided.lo);
        assert!(
            divided.value.abs() < 0.1 * theory.abs() + spread,
            "d = {d} px, s = {s} px: divided {divided:?} for a tenth of {theory}"
        );
    }
}
