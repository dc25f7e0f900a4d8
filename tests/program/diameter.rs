//! Random error against particle image diameter.
//!
//! Raffel, Willert, Wereley and Kompenhans, *Particle Image Velocimetry*, chapter on measurement
//! uncertainty (from memory): with a three-point Gaussian fit the error is smallest at a diameter
//! slightly above 2 px. Conditions as there: no noise, top-hat sheet, one plain pass with a top-hat
//! window of 32 px.

use motefield_study::run::Effort;

#[test]
fn error_is_smallest_near_two_pixels() {
    let diameters = [1.0, 1.25, 1.5, 1.75, 2.0, 2.25, 2.5, 3.0, 4.0];
    let changes: Vec<_> = diameters
        .iter()
        .map(|d| vec![("image.particle_diameter", format!("{d} px"))])
        .collect();
    let points = super::points(
        super::PLAIN,
        &changes,
        &Effort {
            first_pairs: 8,
            most_pairs: 8,
            ..Effort::default()
        },
    );
    let random = |k: usize| points[k].score.point.map(|c| c.random_px);
    let norm = |k: usize| random(k).iter().map(|e| e.value * e.value).sum::<f64>().sqrt();
    let best = (0..diameters.len())
        .min_by(|&a, &b| norm(a).total_cmp(&norm(b)))
        .unwrap();
    assert!(
        (1.75..=2.5).contains(&diameters[best]),
        "smallest at {} px",
        diameters[best]
    );
    // Both sides rise beyond doubt: the intervals are apart.
    for side in [0, diameters.len() - 1] {
        for (best, side) in random(best).iter().zip(random(side)) {
            assert!(side.lo > best.hi, "{side:?} {best:?}");
        }
    }
}
