//! Dynamic ranges against the example of the literature.

use motefield_evaluator::score::dynamic_range;
use motefield_evaluator::statistics::Estimate;

/// Derived from Adrian's (1997) formulas, DVR = Δx/(c d), DSR = L/Δx: 2000 px, images of 2.5 px, c
/// = 0.05 and a largest displacement of 8 px give 64, 250 and 16,000.
#[test]
fn ranges_of_a_usual_rig() {
    let random = Estimate {
        value: 0.05 * 2.5,
        lo: 0.1,
        hi: 0.16,
    };
    let got = dynamic_range(8.0, 2000.0, random);
    assert!((got.velocity.value - 64.0).abs() < 1e-9, "{got:?}");
    assert!((got.spatial - 250.0).abs() < 1e-9, "{got:?}");
    assert!((got.product.value - 16_000.0).abs() < 1e-9, "{got:?}");
    assert!(
        (got.velocity.lo - 50.0).abs() < 1e-9 && (got.velocity.hi - 80.0).abs() < 1e-9,
        "{got:?}"
    );
    assert!((got.product.lo - 12_500.0).abs() < 1e-9 && (got.product.hi - 20_000.0).abs() < 1e-9);
    let unknown = dynamic_range(8.0, 2000.0, Estimate::unknown(0.0, f64::INFINITY));
    assert!(
        unknown.velocity.value.is_nan() && unknown.velocity.lo == 0.0 && unknown.velocity.hi == f64::INFINITY
    );
}
