//! Luminous flux against figures that do not come from the table itself.

use std::f64::consts::PI;

use motefield_rig::photometry::{efficacy_lm_w, photopic};

/// Values of CIE 1924 V(λ) by its own table at whole tens of nanometres (CIE S 010 / ISO 23539;
/// checked with colour-science 0.4.7, attribute SDS_LEFS), and its largest, 1 at 555 nm.
#[test]
fn the_curve_has_the_values_of_the_standard() {
    for (nm, value) in [
        (380.0, 3.9e-5),
        (450.0, 0.038),
        (500.0, 0.323),
        (510.0, 0.503),
        (550.0, 0.99495),
        (555.0, 1.0),
        (560.0, 0.995),
        (610.0, 0.503),
        (650.0, 0.107),
        (700.0, 0.004_102),
        (780.0, 1.499e-5),
    ] {
        let found = photopic(nm * 1e-9);
        assert!((found / value - 1.0).abs() < 1e-9, "{nm} nm: {found} for {value}");
    }
    assert_eq!(photopic(359e-9) + photopic(831e-9), 0.0);
    assert!((efficacy_lm_w([(555e-9, 1.0)]) - 683.0).abs() < 1e-9);
    // Half the power in blue, half in red: 683 x (0.038 + 0.107)/2.
    let lines = [(450e-9, 0.5), (650e-9, 0.5)];
    assert!((efficacy_lm_w(lines) - 683.0 * 0.0725).abs() < 1e-9);
}

/// The former definition of the candela (CGPM 1948 and 1967): a black body at the temperature of
/// freezing platinum, 2042 K, has the luminance 60 cd/cm². By Planck's law the luminance is 683 ∫ V
/// L_λ dλ. Within 1 %: the freezing point was known to 1 K, which is 0.6 % of the light at 555 nm
/// (c₂/(λ T²)), and 683 was rounded so that the old and the new candela agree.
#[test]
fn a_black_body_at_freezing_platinum_has_sixty_candela_a_square_centimetre() {
    const C1L: f64 = 1.191_042_972e-16; // 2 h c², W m²/sr (CODATA 2018)
    const C2: f64 = 1.438_776_877e-2; // h c/k, m K
    let temperature_k = 2042.0;
    let radiance = |m: f64| C1L / m.powi(5) / ((C2 / (m * temperature_k)).exp() - 1.0);
    let step_m = 1e-9;
    let luminance: f64 = (360..=830)
        .map(|nm| f64::from(nm) * 1e-9)
        .map(|m| efficacy_lm_w([(m, 1.0)]) * radiance(m) * step_m)
        .sum();
    assert!((luminance / 60e4 - 1.0).abs() < 0.01, "{luminance} cd/m2");
    // Over all directions and wavelengths Stefan and Boltzmann's law bounds the efficacy.
    let exitance = PI * luminance / (5.670_374e-8 * temperature_k.powi(4));
    assert!(exitance < 2.5, "{exitance} lm/W");
}
