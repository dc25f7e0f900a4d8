//! The turbulence-like field: its statistics against its spectrum, and the spectrum against closed
//! forms.

use motefield_generator::flow::{Flow, Spectrum, Turbulence, Vec3};

const RMS: f64 = 2.0;
const SCALE: f64 = 80.0;
const CUT: f64 = 20.0;

fn spectrum() -> Spectrum {
    Spectrum::new(RMS, SCALE, CUT)
}

/// ∫ E(κ) g(κ) dκ by the midpoint rule in ln κ; 4000 parts leave 1e-7.
fn moment(spectrum: &Spectrum, g: impl Fn(f64) -> f64) -> f64 {
    const PARTS: usize = 4000;
    let [low, high] = spectrum.range();
    let width = (high / low).ln() / PARTS as f64;
    (0..PARTS)
        .map(|k| {
            let wave_number = low * ((k as f64 + 0.5) * width).exp();
            spectrum.energy(wave_number) * g(wave_number) * wave_number * width
        })
        .sum()
}

/// Longitudinal correlation u² f(r) = 2 ∫ E (κr)⁻² (sin κr/κr − cos κr) dκ (Batchelor, *The Theory
/// of Homogeneous Turbulence*, §3.4).
fn longitudinal(spectrum: &Spectrum, r: f64) -> f64 {
    moment(spectrum, |k| {
        let s = k * r;
        2.0 / (s * s) * (s.sin() / s - s.cos())
    })
}

/// ∫E = 3/2 u², the integral of f is the integral scale, and the spectrum rises as κ⁴ and falls as
/// κ^(−5/3) (von Kármán 1948).
#[test]
fn spectrum_has_its_moments_and_slopes() {
    let s = spectrum();
    assert!((moment(&s, |_| 1.0) / (1.5 * RMS * RMS) - 1.0).abs() < 1e-5);
    // f falls faster than any exponential of the scale, except for ripples from the cut: the
    // integral goes to 60 scales in steps of a fiftieth.
    let step = SCALE / 50.0;
    let integral: f64 = (0..3000)
        .map(|k| longitudinal(&s, (f64::from(k) + 0.5) * step) * step)
        .sum();
    assert!((integral / (RMS * RMS) / SCALE - 1.0).abs() < 5e-3, "{integral}");
    let slope = |s: &Spectrum, k: f64| (s.energy(1.01 * k) / s.energy(k)).ln() / 1.01f64.ln();
    let fine = Spectrum::new(RMS, SCALE, 0.01);
    let [low, high] = fine.range();
    // At a tenth of the scale's wave number κ⁴ is off by 17/3 · 0.01.
    assert!((slope(&fine, 1.001 * low) - 4.0).abs() < 0.06);
    assert!((slope(&fine, 0.9 * high) + 5.0 / 3.0).abs() < 1e-4);
    assert_eq!(
        (s.energy(0.99 * s.range()[0]), s.energy(1.01 * s.range()[1])),
        (0.0, 0.0)
    );
}

/// Von Kármán's spectrum without a cut has the energy scale ℓ = 1.339 L (MIL-F-8785C; ESDU 85020).
/// The lowest wave number is 0.1/ℓ. A cut at 1e-4 L leaves out 1.5 (2π · 1.3e4)^(−2/3) = 8e-4 of
/// the energy, and so of the scale.
#[test]
fn integral_scale_is_von_karmans() {
    let fine = Spectrum::new(RMS, SCALE, 1e-4 * SCALE);
    let scale = 0.1 / fine.range()[0];
    assert!((scale / SCALE / 1.339 - 1.0).abs() < 1.5e-3, "{}", scale / SCALE);
}

/// Velocities at places 50 scales and more apart, in many fields, which are practically
/// independent.
fn samples(offset: Vec3, time: f64) -> impl Iterator<Item = (Vec3, Vec3)> {
    let spectrum = spectrum();
    (0..FIELDS).flat_map(move |seed| {
        let field = Turbulence::new(spectrum, seed);
        (0..PLACES).map(move |k| {
            let k = k as f64;
            let at = [
                4000.0 * k,
                4000.0 * (k * 0.618).fract() * 30.0,
                4000.0 * (k * 0.414).fract() * 30.0,
            ];
            let beside = [at[0] + offset[0], at[1] + offset[1], at[2] + offset[2]];
            (field.velocity(at, 0.0), field.velocity(beside, time))
        })
    })
}

const FIELDS: u64 = 300;
const PLACES: usize = 64;
/// Limit of a relative error: four standard errors of a mean square of independent Gaussian
/// samples, √(2/n) each.
const LIMIT: f64 = 4.0 * 0.0102;

/// The mean square of each component is rms², the components are not correlated, the means are
/// zero.
#[test]
fn components_have_the_rms_asked_for() {
    let n = (FIELDS as usize * PLACES) as f64;
    let (mut mean, mut square) = ([0.0; 3], [[0.0; 3]; 3]);
    for (v, _) in samples([0.0; 3], 0.0) {
        for i in 0..3 {
            mean[i] += v[i] / n;
            for j in 0..3 {
                square[i][j] += v[i] * v[j] / n / (RMS * RMS);
            }
        }
    }
    for i in 0..3 {
        assert!((mean[i] / RMS).abs() < LIMIT, "{mean:?}");
        for j in 0..3 {
            let expected = if i == j { 1.0 } else { 0.0 };
            assert!((square[i][j] - expected).abs() < LIMIT, "{square:?}");
        }
    }
}

/// The correlations along and across a distance are those of the spectrum: f, and g = f + ½ r f′
/// (Batchelor §3.4), which holds only for a field free of divergence.
#[test]
fn correlations_are_those_of_the_spectrum() {
    let s = spectrum();
    for r in [8.0, 30.0, 80.0, 160.0] {
        let f = longitudinal(&s, r) / (RMS * RMS);
        let slope = (longitudinal(&s, r * 1.001) - longitudinal(&s, r * 0.999)) / (0.002 * r) / (RMS * RMS);
        let g = f + 0.5 * r * slope;
        let (mut along, mut across) = (0.0, 0.0);
        let n = (FIELDS as usize * PLACES) as f64;
        for (a, b) in samples([r, 0.0, 0.0], 0.0) {
            along += a[0] * b[0] / n / (RMS * RMS);
            across += 0.5 * (a[1] * b[1] + a[2] * b[2]) / n / (RMS * RMS);
        }
        assert!((along - f).abs() < LIMIT, "r = {r}: {along} for {f}");
        assert!((across - g).abs() < LIMIT, "r = {r}: {across} for {g}");
    }
}

/// Each mode oscillates at ½ √(κ³E), so ⟨(u(t) − u(0))²⟩ over the three components is 4 ∫ E (1 −
/// cos ωt) dκ.
#[test]
fn field_changes_at_its_rate() {
    let s = spectrum();
    let time = 20.0;
    let expected = moment(&s, |k| {
        let rate = 0.5 * (k * k * k * s.energy(k)).sqrt();
        4.0 * (1.0 - (rate * time).cos())
    });
    let n = (FIELDS as usize * PLACES) as f64;
    let found: f64 = samples([0.0; 3], time)
        .map(|(a, b)| (0..3).map(|i| (b[i] - a[i]).powi(2)).sum::<f64>() / n)
        .sum();
    assert!((found / expected - 1.0).abs() < LIMIT, "{found} for {expected}");
    assert!(expected > 0.1 * RMS * RMS);
}

/// The fast sum of the velocity against the plain one of the gradient: a difference of the velocity
/// over a short distance is the slope.
#[test]
fn modes_are_summed_alike() {
    let field = Turbulence::new(spectrum(), 3);
    for k in 0..200 {
        let k = f64::from(k);
        let at = [37.0 * k, 1000.0 - 11.0 * k, 0.1 * k];
        let h = 1e-3;
        let (hi, lo) = ([at[0] + h, at[1], at[2]], [at[0] - h, at[1], at[2]]);
        let (hi, lo) = (field.velocity(hi, 0.3), field.velocity(lo, 0.3));
        let slope = field.gradient(at, 0.3);
        for i in 0..3 {
            assert!(((hi[i] - lo[i]) / (2.0 * h) - slope[i][0]).abs() < 1e-7);
        }
    }
}

/// Pinned: a seed always gives the same field.
#[test]
fn seed_7_is_pinned() {
    let v = Turbulence::new(spectrum(), 7).velocity([10.0, 20.0, 3.0], 0.25);
    assert_eq!(v, [-0.008850851686216021, -1.291887467352851, 1.8868410445083803]);
}
