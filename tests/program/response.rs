//! A sweep over the wavelength of a sine flow tells the spatial response.

use super::{empty, figure, motefield, table};

const WAVE: &str = r#"
[image]
size = [256, 320]
particle_diameter = "2.5 px"
seeding_density = "0.08 ppp"
electrons = "5000 e"
[sheet]
profile = "top-hat"
[camera]
ideal = true
[flow]
kind = "sinusoidal-shear"
amplitude = "0.2 px"
wavelength = "64 px"
[processing]
passes = [{ window = 32, overlap = 0.75 }]
weighting = "top-hat"
normalise = "window"
"#;

/// One pass of a top-hat window is a moving average: sinc(D/λ), 0.9 at D/λ = 0.2504 and 1/√2 at
/// 0.4429 (derived; the wavelengths 3.99 and 2.26 windows are the published ones), where the
/// window's bias toward zero is divided out and the gradient is small against the particle image.
/// One pass follows the sinc within 0.01 (required), whose slope there is 0.77 and 1.2, which is
/// 0.013 and 0.008 in D/λ; 0.002 comes from the points' distance, and the interval of the study is
/// added.
#[test]
fn one_pass_has_the_response_of_a_moving_average() {
    let directory = empty("response");
    std::fs::write(directory.join("wave.toml"), WAVE).unwrap();
    let waves = "flow.wavelength=64px,71px,80px,91px,107px,128px,160px";
    let rows = table(&directory, &["wave.toml", "--vary", waves, "--most-pairs", "8"]);
    let study = std::fs::read(directory.join("study/study.json")).unwrap();
    let study: serde_json::Value = serde_json::from_slice(&study).unwrap();
    for (level, expected, tolerance) in [("minus_10_percent", 0.2504, 0.015), ("minus_3_db", 0.4429, 0.010)] {
        let found = &study["spatial_response"][level]["window_over_wavelength"];
        let [value, lo, hi] = ["value", "lo", "hi"].map(|end| found[end].as_f64().unwrap());
        println!("{level}: {value:.4} ({lo:.4} to {hi:.4}) for {expected}");
        assert!(
            lo - tolerance < expected && expected < hi + tolerance && hi - lo < 0.1,
            "{found}"
        );
    }
    // The response rises with the wavelength.
    let amplitudes: Vec<f64> = rows.iter().map(|row| figure(row, "amplitude_x")[0]).collect();
    assert!(amplitudes.is_sorted() && amplitudes[0] < 0.7, "{amplitudes:?}");
    // Nothing is said of waves that were not measured.
    let sweep = [
        "sweep",
        "wave.toml",
        "--vary",
        "flow.wavelength=150px,160px",
        "--most-pairs",
        "2",
        "--out",
        "long",
    ];
    let done = motefield(&directory, &sweep);
    assert!(String::from_utf8_lossy(&done.stdout).contains("-3 dB: not reached"));
}
