//! The lens against the table of diffraction and depth of field, closed forms, and an independent
//! diffraction integral's figures.

use std::f64::consts::PI;

use motefield_rig::optics::{Lens, field_m, in_quadrature, magnification, photon_energy_j};

fn near(name: &str, found: f64, expected: f64, relative: f64) {
    let off = (found - expected).abs() / expected.abs();
    assert!(
        off <= relative,
        "{name}: {found} against {expected}, off by {off:.2e}"
    );
}

fn lens(f_number: f64, magnification: f64) -> Lens {
    Lens::new(f_number, magnification, 1.0).unwrap()
}

/// Point particle, λ = 532 nm: diameter of the first dark ring, µm, and depth of field, mm
/// (computed from the handbook's formulas, Raffel et al.; formulas from memory). The requirement is
/// 1 %.
#[test]
fn agrees_with_the_table_of_diffraction_and_depth() {
    let magnifications = [0.1, 0.25, 0.5, 1.0];
    let table = [
        (2.8, [(4.00, 2.46), (4.54, 0.509), (5.45, 0.183), (7.27, 0.081)]),
        (4.0, [(5.71, 5.03), (6.49, 1.04), (7.79, 0.374), (10.38, 0.166)]),
        (5.6, [(8.00, 9.85), (9.09, 2.04), (10.90, 0.733), (14.54, 0.326)]),
        (8.0, [(11.42, 20.1), (12.98, 4.15), (15.58, 1.50), (20.77, 0.665)]),
        (11.0, [(15.71, 38.0), (17.85, 7.85), (21.42, 2.83), (28.56, 1.26)]),
        (16.0, [(22.85, 80.4), (25.96, 16.6), (31.15, 5.98), (41.54, 2.66)]),
        (
            22.0,
            [(31.41, 152.0), (35.70, 31.4), (42.84, 11.3), (57.12, 5.03)],
        ),
    ];
    for (f_number, row) in table {
        for (m, (diameter_um, depth_mm)) in magnifications.into_iter().zip(row) {
            let lens = lens(f_number, m);
            near(
                "first zero",
                lens.first_zero_diameter_m(532e-9),
                diameter_um * 1e-6,
                0.01,
            );
            near("depth", lens.depth_of_field_m(532e-9), depth_mm * 1e-3, 0.01);
        }
    }
}

/// Airy pattern by scipy's Bessel functions: first zero at 1.219 669 891 λN, and the Gaussian of
/// equal peak and light has σ = 0.450 158 158 λN, so the e⁻² diameter is 0.738 of the first zero's.
/// 1e-9: both are closed forms.
#[test]
fn diffraction_follows_the_airy_pattern() {
    for (f_number, m, wavelength) in [(8.0, 0.1, 532e-9), (2.8, 1.0, 445e-9)] {
        let scale = f_number * (1.0 + m) * wavelength;
        let lens = lens(f_number, m);
        near(
            "first zero",
            lens.first_zero_diameter_m(wavelength),
            2.439_339_782_533 * scale,
            1e-9,
        );
        near(
            "e-2 diameter",
            lens.diffraction_diameter_m(wavelength),
            4.0 * 0.450_158_158_078_55 * scale,
            1e-9,
        );
    }
    let ratio = lens(4.0, 0.3).diffraction_diameter_m(5e-7) / lens(4.0, 0.3).first_zero_diameter_m(5e-7);
    near("ratio", ratio, 0.738, 1e-3);
}

/// Derived: at either end of the depth of field the defocus disc is as wide as the first dark ring,
/// whatever the medium.
#[test]
fn depth_of_field_is_where_defocus_equals_diffraction() {
    for index in [1.0, 1.336] {
        let lens = Lens::new(5.6, 0.31, index).unwrap();
        let half = 0.5 * lens.depth_of_field_m(520e-9);
        near(
            "disc",
            lens.defocus_diameter_m(half),
            lens.first_zero_diameter_m(520e-9),
            1e-12,
        );
        assert_eq!(lens.defocus_diameter_m(-half), lens.defocus_diameter_m(half));
    }
}

/// The usual paraxial solid angle π/(4 f#² (1 + 1/M)²), which the full cone exceeds by α²/4; in a
/// medium Abbe's sine condition divides it by n².
#[test]
fn solid_angle_is_the_cone_of_the_sine_condition() {
    for (f_number, m) in [(2.8, 1.0), (4.0, 0.25), (16.0, 0.1)] {
        let paraxial = PI / (4.0 * f_number * f_number * (1.0 + 1.0 / m) * (1.0 + 1.0 / m));
        let air = lens(f_number, m);
        let alpha = air.half_angle_rad();
        near(
            "solid angle",
            air.solid_angle_sr(),
            paraxial * (1.0 + 0.25 * alpha * alpha),
            1e-4,
        );
        near("cone", air.solid_angle_sr(), 2.0 * PI * (1.0 - alpha.cos()), 1e-9);
        let water = Lens::new(f_number, m, 1.336).unwrap();
        near(
            "refraction",
            1.336 * water.half_angle_rad().sin(),
            alpha.sin(),
            1e-12,
        );
        near(
            "in water",
            water.solid_angle_sr() * 1.336 * 1.336,
            air.solid_angle_sr(),
            1e-3,
        );
    }
}

/// hc/λ at 450, 525 and 532 nm, J (recomputed from the SI's constants); half a unit of the last
/// digit.
#[test]
fn photon_energy_agrees_with_printed_values() {
    for (nm, energy) in [(450.0, 4.414e-19), (525.0, 3.784e-19), (532.0, 3.734e-19)] {
        assert!((photon_energy_j(nm * 1e-9) - energy).abs() <= 0.5e-22);
    }
}

/// Widths of convolved images: a disc's variance per axis is D²/16, that of a Gaussian of e⁻²
/// diameter D (closed form), so both add in quadrature.
#[test]
fn diameters_add_by_their_variances() {
    let lens = lens(8.0, 0.5);
    let geometric = lens.geometric_diameter_m(20e-6);
    near("geometric", geometric, 10e-6, 1e-12);
    near("3-4-5", in_quadrature(&[3e-6, 4e-6]), 5e-6, 1e-12);
    // Variance of x over a uniform disc of diameter 1, by rings.
    let rings = 100_000;
    let variance: f64 = (0..rings)
        .map(|k| {
            let r = 0.5 * (f64::from(k) + 0.5) / f64::from(rings);
            0.5 * r * r * (2.0 * r / 0.25) * 0.5 / f64::from(rings)
        })
        .sum();
    near("disc", 16.0 * variance, 1.0, 1e-8);
}

#[test]
fn field_and_magnification_are_inverse() {
    near("magnification", magnification(0.1, 2000.0, 5e-6), 0.1, 1e-12);
    near("field", field_m(0.1, 2000.0, 5e-6), 0.1, 1e-12);
}

#[test]
fn impossible_lenses_are_named() {
    let error = |f, m, n| Lens::new(f, m, n).unwrap_err().to_string();
    assert_eq!(error(0.1, 1.0, 1.0), "f-number is 0.1, but must be 0.5 to 1000");
    assert_eq!(
        error(4.0, f64::NAN, 1.0),
        "magnification is NaN, but must be above 0 and at most 100"
    );
    assert_eq!(
        error(4.0, 1.0, 0.9),
        "refractive index of the medium is 0.9, but must be 1 to 3"
    );
}
