//! Light as the eye sees it: what a luminous flux is in radiant power.

/// Luminous efficacy where the eye sees best, at 555 nm, lm/W: exact in the SI (2019) for 540 THz,
/// which is 555.017 nm in vacuum; K_m, at the table's 555 nm, is 683.002 (CIE 018).
const LARGEST_LM_W: f64 = 683.0;

/// Wavelength of the first entry, and from entry to entry, nm.
const FIRST_NM: f64 = 360.0;
const STEP_NM: f64 = 5.0;

/// Spectral luminous efficiency for photopic vision V(λ), CIE 1924, in steps of 5 nm from 360 nm to
/// 830 nm (CIE S 010 / ISO 23539; as transcribed in the Python package colour-science 0.4.7).
const PHOTOPIC: [f64; 95] = [
    3.917e-06, 6.965e-06, 1.239e-05, 2.202e-05, 3.9e-05, 6.4e-05, 0.00012, 0.000217, 0.000396, 0.00064,
    0.00121, 0.00218, 0.004, 0.0073, 0.0116, 0.01684, 0.023, 0.0298, 0.038, 0.048, 0.06, 0.0739, 0.09098,
    0.1126, 0.13902, 0.1693, 0.20802, 0.2586, 0.323, 0.4073, 0.503, 0.6082, 0.71, 0.7932, 0.862, 0.91485,
    0.954, 0.9803, 0.99495, 1.0, 0.995, 0.9786, 0.952, 0.9154, 0.87, 0.8163, 0.757, 0.6949, 0.631, 0.5668,
    0.503, 0.4412, 0.381, 0.321, 0.265, 0.217, 0.175, 0.1382, 0.107, 0.0816, 0.061, 0.04458, 0.032, 0.0232,
    0.017, 0.01192, 0.00821, 0.005723, 0.004102, 0.002929, 0.002091, 0.001484, 0.001047, 0.00074, 0.00052,
    0.0003611, 0.0002492, 0.0001719, 0.00012, 8.48e-05, 6e-05, 4.24e-05, 3e-05, 2.12e-05, 1.499e-05,
    1.06e-05, 7.4657e-06, 5.2578e-06, 3.7029e-06, 2.6078e-06, 1.8366e-06, 1.2934e-06, 9.1093e-07, 6.4153e-07,
    4.5181e-07,
];

/// V(λ) at a wavelength in m, between entries in a straight line; 0 outside 360 nm to 830 nm.
///
/// ```
/// use motefield_rig::photometry::photopic;
///
/// assert!((photopic(555e-9) - 1.0).abs() < 1e-12);
/// assert_eq!(photopic(900e-9), 0.0);
/// ```
pub fn photopic(wavelength_m: f64) -> f64 {
    let at = (wavelength_m * 1e9 - FIRST_NM) / STEP_NM;
    // Rounding must not throw an entry of the table out at its ends.
    let last = (PHOTOPIC.len() - 1) as f64;
    if !(-1e-9..=last + 1e-9).contains(&at) {
        return 0.0;
    }
    let at = at.clamp(0.0, last);
    let k = (at as usize).min(PHOTOPIC.len() - 2);
    let t = at - k as f64;
    PHOTOPIC[k] + t * (PHOTOPIC[k + 1] - PHOTOPIC[k])
}

/// Luminous efficacy of radiation of light in lines, lm/W: 683 lm/W × Σ w V(λ) over lines of the
/// wavelengths λ, m, and the shares w of the radiant power.
pub fn efficacy_lm_w(lines: impl IntoIterator<Item = (f64, f64)>) -> f64 {
    let seen = lines
        .into_iter()
        .map(|(wavelength_m, share)| share * photopic(wavelength_m));
    LARGEST_LM_W * seen.sum::<f64>()
}
