//! Velocity fields against published figures and closed forms of the flows, one test or more for
//! each.
//!
//! Where no tolerance is explained it is the rounding of the sums and differences taken, at most
//! 1e-9.

use std::f64::consts::PI;
use std::sync::Arc;

use approx::assert_relative_eq;
use motefield_generator::flow::{
    BickleyJet, BlasiusLayer, Carried, Channel, Cylinder, Flow, LambOseen, LinearShear, MixingLayer,
    PlaneStrain, Rankine, SinusoidalShear, SolidRotation, TaylorGreen, TurbulentLayer, Turned, Vec3,
    VortexPair, VortexRing, blasius, spalding,
};

fn u(flow: &impl Flow, x: f64, y: f64) -> f64 {
    flow.velocity([x, y, 0.0], 0.0)[0]
}

/// ∂v/∂x − ∂u/∂y.
fn vorticity(flow: &impl Flow, x: f64, y: f64) -> f64 {
    let g = flow.gradient([x, y, 0.0], 0.0);
    g[1][0] - g[0][1]
}

/// Simpson's rule.
fn integral(from: f64, to: f64, parts: usize, f: impl Fn(f64) -> f64) -> f64 {
    let h = (to - from) / parts as f64;
    let weight = |k: usize| match k {
        0 => 1.0,
        k if k == parts => 1.0,
        k if k % 2 == 1 => 4.0,
        _ => 2.0,
    };
    (0..=parts)
        .map(|k| weight(k) * f(from + k as f64 * h))
        .sum::<f64>()
        * h
        / 3.0
}

/// A quarter turn takes (r, 0) to (0, r) on a screen whose y points down, and the vorticity is
/// twice the angular velocity.
#[test]
fn solid_rotation_turns_x_into_y() {
    let flow = SolidRotation {
        centre_px: [10.0, 20.0],
        turn_rad: 0.5 * PI,
    };
    let to = flow.path([410.0, 20.0, 1.0], -0.5, 0.5);
    for (got, expected) in to.iter().zip([10.0, 420.0, 1.0]) {
        assert!((got - expected).abs() < 1e-9, "{to:?}");
    }
    assert_relative_eq!(vorticity(&flow, 3.0, 4.0), PI, epsilon = 1e-15);
}

/// In the time ln 2/e, lengths along x double and lengths along y halve.
#[test]
fn plane_strain_doubles_and_halves() {
    let flow = PlaneStrain {
        centre_px: [10.0, 20.0],
        strain: std::f64::consts::LN_2,
    };
    let to = flow.path([110.0, -180.0, 0.0], 0.0, 1.0);
    assert_relative_eq!(to[0], 210.0, epsilon = 1e-9);
    assert_relative_eq!(to[1], -80.0, epsilon = 1e-9);
}

/// Crest, trough and zeros of the wave are a quarter of the wavelength apart. Turned by a right
/// angle, the wave varies along x and moves along y.
#[test]
fn sinusoidal_shear_has_its_amplitude_and_wavelength() {
    let flow = SinusoidalShear {
        displacement_px: [2.0, 0.0, 0.0],
        amplitude_px: 1.5,
        wavelength_px: 64.0,
        centre_y_px: 10.0,
        phase_rad: 0.0,
    };
    for (quarter, expected) in [(0.0, 2.0), (1.0, 3.5), (2.0, 2.0), (3.0, 0.5), (4.0, 2.0)] {
        assert_relative_eq!(u(&flow, 7.0, 10.0 + 16.0 * quarter), expected, epsilon = 1e-12);
    }
    let turned = Turned::new(Arc::new(flow), [0.0, 0.0], 0.5 * PI);
    let v = turned.velocity([-26.0, 5.0, 0.0], 0.0);
    assert_relative_eq!(v[0], 0.0, epsilon = 1e-12);
    assert_relative_eq!(v[1], 3.5, epsilon = 1e-12);
}

/// Lamb, *Hydrodynamics*, §159: the circulation is the same around every circle outside the core,
/// and equals the vorticity inside times the area of the core.
#[test]
fn rankine_vortex_keeps_its_circulation() {
    let flow = Rankine {
        centre_px: [0.0, 0.0],
        peak_displacement_px: 5.0,
        core_radius_px: 30.0,
    };
    let circulation = |r: f64| 2.0 * PI * r * flow.velocity([0.0, -r, 0.0], 0.0)[0];
    for r in [30.0, 45.0, 300.0] {
        assert_relative_eq!(circulation(r), 2.0 * PI * 30.0 * 5.0, max_relative = 1e-12);
    }
    assert_relative_eq!(
        vorticity(&flow, 7.0, 20.0) * PI * 900.0,
        circulation(90.0),
        max_relative = 1e-12
    );
    assert_relative_eq!(vorticity(&flow, 70.0, 20.0), 0.0, epsilon = 1e-15);
}

/// The largest speed is at 1.1209 r_c and is 0.638 of Γ/(2πr_c); the vorticity at the centre is
/// Γ/(πr_c²) (Lamb–Oseen vortex; the first figure in Saffman, *Vortex Dynamics*, §13).
#[test]
fn lamb_oseen_vortex_has_its_known_core() {
    let flow = LambOseen {
        centre_px: [0.0, 0.0],
        peak_displacement_px: 6.0,
        core_radius_px: 40.0,
    };
    let circulation = 2.0 * PI * 1e4 * flow.velocity([1e4, 0.0, 0.0], 0.0)[1];
    let viscous_core = 40.0 / 1.1209;
    assert_relative_eq!(
        6.0 / (circulation / (2.0 * PI * viscous_core)),
        0.6382,
        epsilon = 1e-4
    );
    assert_relative_eq!(
        vorticity(&flow, 0.0, 0.0),
        circulation / (PI * viscous_core * viscous_core),
        max_relative = 2e-4
    );
}

/// The vorticity is 2kU cos kx cos ky, and the stream function U/k cos kx cos ky is constant along
/// a pathline, since the flow is steady (Taylor and Green 1937).
#[test]
fn taylor_green_vortices_keep_their_stream_function() {
    let flow = TaylorGreen {
        centre_px: [0.0, 0.0],
        peak_displacement_px: 9.0,
        wavelength_px: 100.0,
    };
    let k = 2.0 * PI / 100.0;
    let stream = |at: Vec3| (k * at[0]).cos() * (k * at[1]).cos();
    for (x, y) in [(0.0, 0.0), (13.0, -4.0), (31.0, 77.0)] {
        assert_relative_eq!(
            vorticity(&flow, x, y),
            2.0 * k * 9.0 * stream([x, y, 0.0]),
            epsilon = 1e-14
        );
        let to = flow.path([x, y, 0.0], 0.0, 20.0);
        assert_relative_eq!(stream(to), stream([x, y, 0.0]), epsilon = 1e-9);
    }
    assert_relative_eq!(flow.velocity([0.0, 25.0, 0.0], 0.0)[0], -9.0, epsilon = 1e-12);
}

/// A pair of thin vortices moves at Γ/(2πb) (Lamb, *Hydrodynamics*, §155), to the right for a
/// positive displacement; midway between them the fluid moves four times as fast. Cores of a tenth
/// of the distance change this by exp(−125).
#[test]
fn vortex_pair_moves_at_its_known_speed() {
    let (b, core) = (80.0, 8.0);
    let pair = VortexPair::new([0.0, 0.0], b, 6.0, core);
    let one = LambOseen {
        centre_px: [0.0, 0.0],
        peak_displacement_px: 6.0,
        core_radius_px: core,
    };
    let circulation = 2.0 * PI * 1e5 * one.velocity([1e5, 0.0, 0.0], 0.0)[1];
    let speed = circulation / (2.0 * PI * b);
    assert_relative_eq!(pair.drift_px()[0], speed, max_relative = 1e-12);
    assert_relative_eq!(pair.drift_px()[1], 0.0, epsilon = 1e-15);
    assert_relative_eq!(u(&pair, 0.0, 0.0), 4.0 * speed, max_relative = 1e-9);
    // A particle in the centre of a core stays there.
    let to = pair.path([-0.5 * speed, 40.0, 0.0], -0.5, 0.5);
    assert_relative_eq!(to[0], 0.5 * speed, epsilon = 1e-9);
    assert_relative_eq!(to[1], 40.0, epsilon = 1e-9);
}

/// The Biot–Savart integral over a ring, point by point in three dimensions.
fn biot_savart(at: Vec3, radius: f64, core: f64, circulation: f64) -> Vec3 {
    const POINTS: usize = 4000;
    let mut sum = [0.0; 3];
    for k in 0..POINTS {
        let (sin, cos) = (2.0 * PI * k as f64 / POINTS as f64).sin_cos();
        let length = 2.0 * PI * radius / POINTS as f64;
        // Around the x axis, from y to z.
        let dl = [0.0, -sin * length, cos * length];
        let r = [at[0], at[1] - radius * cos, at[2] - radius * sin];
        let d = (r.iter().map(|c| c * c).sum::<f64>() + core * core).powf(1.5);
        for (i, part) in sum.iter_mut().enumerate() {
            let (j, k) = ((i + 1) % 3, (i + 2) % 3);
            *part += circulation / (4.0 * PI) * (dl[j] * r[k] - dl[k] * r[j]) / d;
        }
    }
    sum
}

/// Against the plain integral. At the centre of a thin ring the velocity is Γ/(2R), and the ring
/// moves at Γ/(4πR) (ln(8R/a) − 1), to (a/R)² ln(R/a). The velocity integrates along the whole axis
/// to Γ R²/(R² + a²): by Stokes' theorem all the circulation, except what the core spreads across
/// the axis.
#[test]
fn vortex_ring_is_that_of_biot_and_savart() {
    let (radius, core) = (60.0, 3.0);
    let ring = VortexRing::new([0.0; 3], radius, core, 5.0);
    let circulation = ring.circulation_px2();
    for at in [
        [0.0, 0.0, 0.0],
        [10.0, 20.0, -30.0],
        [0.5, 61.0, 0.3],
        [-2.0, -40.0, 45.0],
        [90.0, 5.0, 170.0],
    ] {
        let (got, expected) = (ring.velocity(at, 0.0), biot_savart(at, radius, core, circulation));
        for i in 0..3 {
            assert!(
                (got[i] - expected[i]).abs() < 1e-10,
                "{at:?} {got:?} {expected:?}"
            );
        }
    }
    assert_relative_eq!(u(&ring, 0.0, 0.0), 5.0, max_relative = 1e-12);
    let thin: f64 = core / radius;
    assert_relative_eq!(
        circulation / (2.0 * radius),
        5.0,
        max_relative = 2.0 * thin * thin
    );
    let speed = circulation / (4.0 * PI * radius) * ((8.0 / thin).ln() - 1.0);
    assert_relative_eq!(
        ring.drift_px(),
        speed,
        max_relative = thin * thin * (1.0 / thin).ln()
    );
    // Beyond 100 R the axis adds 1/(2 · 100²) of Γ.
    let along = integral(-100.0 * radius, 100.0 * radius, 20_000, |x| u(&ring, x, 0.0));
    assert_relative_eq!(along, circulation / (1.0 + thin * thin), max_relative = 1e-4);
}

/// Plane Poiseuille flow: the mean is 2/3 of the largest displacement and the walls are at rest.
#[test]
fn channel_has_two_thirds_of_its_peak_on_average() {
    let flow = Channel {
        centre_y_px: 30.0,
        height_px: 100.0,
        peak_displacement_px: 9.0,
    };
    let mean = integral(-20.0, 80.0, 100, |y| u(&flow, 5.0, y)) / 100.0;
    assert_relative_eq!(mean, 6.0, max_relative = 1e-12);
    assert_eq!((u(&flow, 0.0, -20.0), u(&flow, 0.0, 80.0)), (0.0, 0.0));
    assert!(flow.solid([0.0, 80.1, 0.0]) && flow.solid([0.0, -20.1, 0.0]) && !flow.solid([0.0, 79.9, 0.0]));
}

/// Blasius' function by shooting with scipy 1.17 (DOP853, rtol 1e-13, f′(12) = 1), to 1e-9;
/// Howarth's table, Proc. R. Soc. A 164 (1938) 547, agrees to its five digits but for 1 in the
/// last. f″(0) = 0.332057, displacement thickness 1.7208, momentum thickness 0.664 and δ₉₉ at η =
/// 4.910 (Schlichting, *Boundary-Layer Theory*, ch. 7), to the digits printed.
#[test]
fn blasius_function_is_that_of_the_tables() {
    for (eta, f, slope) in [
        (1.0, 0.1655717258, 0.3297800312),
        (2.0, 0.6500243699, 0.6297657365),
        (3.0, 1.3968082309, 0.8460444437),
        (4.0, 2.3057464185, 0.9555182298),
        (5.0, 3.2832736652, 0.9915419002),
        (6.0, 4.2796209225, 0.9989728724),
    ] {
        let [got, got_slope, _] = blasius(eta);
        assert!((got - f).abs() < 1e-9, "f({eta}) = {got}");
        assert!((got_slope - slope).abs() < 1e-9, "f'({eta}) = {got_slope}");
    }
    assert!((blasius(0.0)[2] - 0.332057).abs() < 5e-7);
    assert!((blasius(13.999)[1] - 1.0).abs() < 1e-13, "{:?}", blasius(13.999));
    let displacement = integral(0.0, 14.0, 1400, |eta| 1.0 - blasius(eta)[1]);
    assert!((displacement - 1.7208).abs() < 5e-5, "{displacement}");
    let momentum = integral(0.0, 14.0, 1400, |eta| blasius(eta)[1] * (1.0 - blasius(eta)[1]));
    assert!((momentum - 0.664).abs() < 5e-4, "{momentum}");
    assert!((blasius(4.910)[1] - 0.99).abs() < 1e-5);
    // 2 f‴ + f f″ = 0 by differences, also where two series meet.
    for k in 1..130 {
        let eta = 0.1 * f64::from(k);
        let third = (blasius(eta + 1e-4)[2] - blasius(eta - 1e-4)[2]) / 2e-4;
        let [f, _, second] = blasius(eta);
        assert!((2.0 * third + f * second).abs() < 1e-8, "{eta}");
    }
}

/// The boundary-layer equation u ∂u/∂x + v ∂u/∂y = ν ∂²u/∂y² (Prandtl): the difference of its two
/// sides at several places over the largest value. Differences of 0.01 px leave 1e-8.
fn boundary_layer_holds(flow: &impl Flow, viscosity: f64, places: &[(f64, f64)]) {
    let sides = |x: f64, y: f64| {
        let at = [x, y, 0.0];
        let (v, g) = (flow.velocity(at, 0.0), flow.gradient(at, 0.0));
        let shear = |y: f64| flow.gradient([x, y, 0.0], 0.0)[0][1];
        let friction = viscosity * (shear(y + 0.01) - shear(y - 0.01)) / 0.02;
        (v[0] * g[0][0] + v[1] * g[0][1], friction)
    };
    let largest = places
        .iter()
        .map(|&(x, y)| sides(x, y).1.abs())
        .fold(0.0, f64::max);
    for &(x, y) in places {
        let (inertia, friction) = sides(x, y);
        assert!(
            (inertia - friction).abs() < 1e-6 * largest,
            "({x}, {y}): {inertia} {friction}"
        );
    }
}

/// The layer obeys the boundary-layer equation with ν = U δ²/(4.91² x), and grows as √x.
#[test]
fn blasius_layer_obeys_its_equation() {
    let flow = BlasiusLayer {
        wall_y_px: 100.0,
        free_stream_px: 8.0,
        thickness_px: 60.0,
        middle_x_px: 0.0,
        leading_edge_px: Some(500.0),
    };
    let eta_99 = 4.909_989;
    assert!((blasius(eta_99)[1] - 0.99).abs() < 1e-7);
    let viscosity = 8.0 * (60.0_f64 / eta_99).powi(2) / 500.0;
    let places: Vec<_> = (1..40)
        .map(|k| (f64::from(k * 37 % 300 - 150), 100.0 - 2.0 * f64::from(k)))
        .collect();
    boundary_layer_holds(&flow, viscosity, &places);
    for (x, thickness) in [(0.0, 60.0), (1500.0, 120.0), (-375.0, 30.0)] {
        assert_relative_eq!(u(&flow, x, 100.0 - thickness), 0.99 * 8.0, max_relative = 1e-12);
    }
    assert_eq!(flow.velocity([-501.0, 99.0, 0.0], 0.0), [8.0, 0.0, 0.0]);
    assert!(flow.solid([0.0, 100.1, 0.0]) && !flow.solid([0.0, 99.9, 0.0]));
}

/// Spalding's law tends to u⁺ = y⁺ at the wall, off by e^(−κB) (κu⁺)⁴/24 (Spalding 1961: contact of
/// fourth order), and to the logarithmic law y⁺ = exp(κ(u⁺ − 5.0)), κ = 0.41, beyond y⁺ = 300, to 1
/// % in u⁺.
#[test]
fn spalding_joins_wall_and_logarithm() {
    let (kappa, b) = (0.41_f64, 5.0_f64);
    for u in [0.01, 0.1, 0.3] {
        let expected = (-kappa * b).exp() * (kappa * u).powi(4) / 24.0;
        // The next term is κu/5 of this one; y⁺ itself is rounded to 2e-16 of u.
        assert!(
            (spalding(u).0 - u - expected).abs() < 0.25 * kappa * u * expected + 2e-16 * u,
            "{u}"
        );
    }
    let layer = TurbulentLayer::new(0.0, 27.0, 1.0, 3000.0);
    let unit = layer.viscous_length_px();
    for y in [300.0_f64, 1000.0, 3000.0] {
        let logarithm = y.ln() / kappa + b;
        let found = u(&layer, 0.0, -y * unit);
        assert!(
            (found / logarithm - 1.0).abs() < 0.01,
            "y+ = {y}: {found} {logarithm}"
        );
    }
    // The layer is the inverse of the law, from the wall to the edge, where it meets the free
    // stream.
    for k in 1..270 {
        let wanted = 0.1 * f64::from(k);
        assert_relative_eq!(
            u(&layer, 0.0, -spalding(wanted).0 * unit),
            wanted,
            max_relative = 1e-12
        );
    }
    assert_relative_eq!(u(&layer, 0.0, -3000.0 * (1.0 - 1e-12)), 27.0, max_relative = 1e-9);
    assert_eq!((u(&layer, 0.0, -3001.0), u(&layer, 0.0, 1.0)), (27.0, 0.0));
    // The gradient at the wall is u_τ over the viscous length: τ = ρ u_τ².
    assert_relative_eq!(
        layer.gradient([0.0, -1e-9, 0.0], 0.0)[0][1],
        -1.0 / unit,
        max_relative = 1e-9
    );
}

/// Potential flow around a cylinder: 2U sin θ along the surface, nothing through it, stagnation
/// points fore and aft, and the stream function U y (1 − R²/r²) constant along a pathline (Lamb,
/// *Hydrodynamics*, §68).
#[test]
fn cylinder_has_its_surface_speed() {
    let flow = Cylinder {
        centre_px: [5.0, 6.0],
        radius_px: 40.0,
        stream_px: 7.0,
    };
    for k in 0..24 {
        let (sin, cos) = (PI * f64::from(k) / 12.0 + 0.01).sin_cos();
        let [x, y, _] = flow.velocity(
            [
                5.0 + 40.0 * cos * (1.0 + 1e-14),
                6.0 + 40.0 * sin * (1.0 + 1e-14),
                0.0,
            ],
            0.0,
        );
        assert_relative_eq!(y * cos - x * sin, -14.0 * sin, epsilon = 1e-9);
        assert_relative_eq!(x * cos + y * sin, 0.0, epsilon = 1e-9);
    }
    let stream = |at: Vec3| {
        let (x, y) = (at[0] - 5.0, at[1] - 6.0);
        7.0 * y * (1.0 - 1600.0 / (x * x + y * y))
    };
    for start in [[-70.0, 6.1, 0.0], [-60.0, -30.0, 0.0], [-36.0, 7.0, 0.0]] {
        let to = flow.path(start, 0.0, 12.0);
        assert!((stream(to) - stream(start)).abs() < 1e-8, "{to:?}");
        assert!(!flow.solid(to));
    }
    assert!(flow.solid([5.0, 45.9, 0.0]) && !flow.solid([5.0, 46.1, 0.0]));
    assert_eq!(flow.path([5.0, 6.0, 0.0], 0.0, 1.0), [5.0, 6.0, 0.0]);
}

/// Bickley 1937: ∫u² dy = 4/3 U² b in every section, b = half-width/arcosh √2, and the
/// boundary-layer equation holds with ν = U b²/(6 x₀).
#[test]
fn jet_keeps_its_momentum() {
    let flow = BickleyJet {
        centre_y_px: 10.0,
        peak_displacement_px: 9.0,
        half_width_px: 20.0,
        middle_x_px: 0.0,
        virtual_origin_px: Some(400.0),
    };
    let width = 20.0 / 2f64.sqrt().acosh();
    for x in [-200.0, 0.0, 300.0] {
        let momentum = integral(-990.0, 1010.0, 4000, |y| u(&flow, x, y).powi(2));
        assert_relative_eq!(momentum, 4.0 / 3.0 * 81.0 * width, max_relative = 1e-9);
    }
    assert_relative_eq!(u(&flow, 0.0, 30.0), 4.5, max_relative = 1e-12);
    let places: Vec<_> = (0..40)
        .map(|k| (f64::from(k * 37 % 300 - 150), 10.0 + 3.0 * f64::from(k - 20)))
        .collect();
    boundary_layer_holds(&flow, 9.0 * width * width / 2400.0, &places);
    let straight = BickleyJet {
        virtual_origin_px: None,
        ..flow
    };
    assert_eq!(u(&straight, -300.0, 17.0), u(&straight, 200.0, 17.0));
}

/// The difference of the streams over the largest slope is the vorticity thickness, by definition,
/// and the streams are those given.
#[test]
fn mixing_layer_has_its_vorticity_thickness() {
    let flow = MixingLayer {
        centre_y_px: 10.0,
        above_px: 2.0,
        below_px: 9.0,
        vorticity_thickness_px: 50.0,
    };
    let slope = |y: f64| flow.gradient([0.0, y, 0.0], 0.0)[0][1];
    let steepest = (-500..500).map(|k| slope(0.2 * f64::from(k))).fold(0.0, f64::max);
    assert_relative_eq!(7.0 / steepest, 50.0, max_relative = 1e-12);
    assert_relative_eq!(u(&flow, 0.0, -2000.0), 2.0, max_relative = 1e-12);
    assert_relative_eq!(u(&flow, 0.0, 2000.0), 9.0, max_relative = 1e-12);
    // tanh(1) from Abramowitz and Stegun, Table 4.15: 0.76159416.
    assert_relative_eq!(u(&flow, 0.0, 35.0), 5.5 + 3.5 * 0.761_594_16, epsilon = 1e-7);
}

/// A field that drifts is at time 0 where it was defined, and a turned field has its bodies turned.
#[test]
fn carried_and_turned_fields_keep_their_walls() {
    let channel = Arc::new(Channel {
        centre_y_px: 0.0,
        height_px: 10.0,
        peak_displacement_px: 1.0,
    });
    let upright = Turned::new(channel, [0.0, 0.0], 0.5 * PI);
    let through = Carried {
        flow: Arc::new(upright),
        by_px: [0.0, 0.0, 2.0],
    };
    assert!(through.solid([5.1, 70.0, 3.0]) && !through.solid([4.9, 70.0, 3.0]));
    let to = through.path([0.0, 30.0, 0.0], 0.0, 1.0);
    for (got, expected) in to.iter().zip([0.0, 31.0, 2.0]) {
        assert_relative_eq!(got, &expected, epsilon = 1e-12);
    }
    let shear: Arc<dyn Flow> = Arc::new(LinearShear {
        displacement_px: [0.0; 3],
        shear: 0.1,
        centre_y_px: 0.0,
    });
    // Turned by half a turn, a shear is itself.
    let turned = Turned::new(shear.clone(), [0.0, 0.0], PI);
    let at = [3.0, -8.0, 1.0];
    for (got, expected) in turned.velocity(at, 0.0).iter().zip(shear.velocity(at, 0.0)) {
        assert_relative_eq!(*got, expected, epsilon = 1e-14);
    }
}
