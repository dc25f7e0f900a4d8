//! Every velocity field that there is, for the tests that all of them must pass.

use std::sync::Arc;

use motefield_generator::flow::{
    BickleyJet, BlasiusLayer, BurgersVortex, Carried, Channel, Cylinder, DepthShear, Drifting, Flow,
    GridField, LambOseen, LinearShear, MixingLayer, PlaneStrain, Rankine, ScatteredField, SinusoidalShear,
    SolidRotation, Spectrum, Sum, Summand, TaylorGreen, Turbulence, TurbulentLayer, Turned, Uniform, Vec3,
    VortexPair, VortexRing, VortexStreet, Wake, Wall,
};

/// A named field and the distance of (x, y), px, from where its gradient jumps: there, finite
/// differences see both sides.
pub(super) type Named = (&'static str, Arc<dyn Flow>, fn(Vec3) -> f64);

fn smooth(_: Vec3) -> f64 {
    f64::INFINITY
}

fn to_circle(at: Vec3, radius: f64) -> f64 {
    (at[0].hypot(at[1]) - radius).abs()
}

/// Incompressible fields.
pub(super) fn fields() -> Vec<Named> {
    [simple_flows(), vortices(), layers_and_bodies(), sums()].concat()
}

fn simple_flows() -> Vec<Named> {
    let strain = PlaneStrain {
        centre_px: [5.0, 7.0],
        strain: 0.06,
    };
    vec![
        (
            "uniform",
            Arc::new(Uniform {
                displacement_px: [3.3, -1.2, 0.4],
            }),
            smooth,
        ),
        (
            "linear shear",
            Arc::new(LinearShear {
                displacement_px: [2.0, 1.5, -0.5],
                shear: 0.07,
                centre_y_px: 10.0,
            }),
            smooth,
        ),
        (
            "sinusoidal shear",
            Arc::new(SinusoidalShear {
                displacement_px: [2.0, 1.5, -0.5],
                amplitude_px: 3.0,
                wavelength_px: 70.0,
                centre_y_px: 4.0,
                phase_rad: 0.7,
            }),
            smooth,
        ),
        (
            "sinusoidal shear that stands",
            Arc::new(SinusoidalShear {
                displacement_px: [2.0, 1e-5, 0.0],
                amplitude_px: 3.0,
                wavelength_px: 70.0,
                centre_y_px: 4.0,
                phase_rad: 0.7,
            }),
            smooth,
        ),
        (
            "shear through the depth",
            Arc::new(DepthShear {
                displacement_px: [2.0, 1.5, -0.5],
                shear: [0.07, -0.03],
                depth_px: 1.0,
            }),
            smooth,
        ),
        (
            "solid rotation",
            Arc::new(SolidRotation {
                centre_px: [20.0, -30.0],
                turn_rad: 0.3,
            }),
            smooth,
        ),
        ("plane strain", Arc::new(strain.clone()), smooth),
        (
            "turned strain",
            Arc::new(Turned::new(Arc::new(strain), [40.0, -9.0], 0.6)),
            smooth,
        ),
    ]
}

fn vortices() -> Vec<Named> {
    let vortex: Arc<dyn Flow> = Arc::new(LambOseen {
        centre_px: [3.0, -2.0],
        peak_displacement_px: 6.0,
        core_radius_px: 40.0,
    });
    vec![
        ("vortex", vortex.clone(), smooth),
        (
            "carried vortex",
            Arc::new(Carried {
                flow: vortex,
                by_px: [5.0, 0.5, 1.0],
            }),
            smooth,
        ),
        ("stretched vortex", Arc::new(burgers()), smooth),
        (
            "Rankine vortex",
            Arc::new(Rankine {
                centre_px: [0.0, 0.0],
                peak_displacement_px: -5.0,
                core_radius_px: 50.0,
            }),
            |at| to_circle(at, 50.0),
        ),
        (
            "street",
            Arc::new(VortexStreet::new([0.0, 0.0], 3, 90.0, 25.0, 4.0, 12.0)),
            smooth,
        ),
        (
            "Taylor-Green vortices",
            Arc::new(TaylorGreen {
                centre_px: [11.0, 5.0],
                peak_displacement_px: 5.0,
                wavelength_px: 120.0,
            }),
            smooth,
        ),
        (
            "pair",
            Arc::new(VortexPair::new([1.0, 2.0], 60.0, 5.0, 15.0)),
            smooth,
        ),
        (
            "ring",
            Arc::new(VortexRing::new([1.0, 2.0, 3.0], 60.0, 15.0, 5.0)),
            smooth,
        ),
    ]
}

fn layers_and_bodies() -> Vec<Named> {
    let blasius = |leading_edge_px| BlasiusLayer {
        wall_y_px: 100.0,
        free_stream_px: 8.0,
        thickness_px: 90.0,
        middle_x_px: 0.0,
        leading_edge_px,
    };
    let jet = |virtual_origin_px| BickleyJet {
        centre_y_px: 10.0,
        peak_displacement_px: 9.0,
        half_width_px: 35.0,
        middle_x_px: 0.0,
        virtual_origin_px,
    };
    vec![
        (
            "channel",
            Arc::new(Channel {
                centre_y_px: 20.0,
                height_px: 200.0,
                peak_displacement_px: 8.0,
            }),
            |at| ((at[1] - 20.0).abs() - 100.0).abs(),
        ),
        ("Blasius layer", Arc::new(blasius(None)), |at| {
            (at[1] - 100.0).abs()
        }),
        ("growing Blasius layer", Arc::new(blasius(Some(600.0))), |at| {
            (at[1] - 100.0).abs()
        }),
        (
            "turbulent layer",
            Arc::new(TurbulentLayer::new(100.0, 9.0, 0.5, 180.0)),
            |at| (at[1] - 100.0).abs().min((at[1] + 80.0).abs()),
        ),
        (
            "cylinder",
            Arc::new(Cylinder {
                centre_px: [0.0, 0.0],
                radius_px: 60.0,
                stream_px: 6.0,
            }),
            |at| to_circle(at, 60.0),
        ),
        ("jet", Arc::new(jet(None)), smooth),
        ("spreading jet", Arc::new(jet(Some(400.0))), smooth),
        (
            "mixing layer",
            Arc::new(MixingLayer {
                centre_y_px: -10.0,
                above_px: 2.0,
                below_px: 9.0,
                vorticity_thickness_px: 60.0,
            }),
            smooth,
        ),
        ("wake", Arc::new(wake()), smooth),
        (
            "turbulence",
            Arc::new(Turbulence::new(Spectrum::new(2.0, 80.0, 25.0), 7)),
            smooth,
        ),
    ]
}

/// A field that is one of a sum.
pub(super) fn plain(flow: impl Flow + 'static) -> Summand {
    Summand::plain(Arc::new(flow))
}

pub(super) fn turbulence() -> Turbulence {
    Turbulence::new(Spectrum::new(2.0, 80.0, 25.0), 7)
}

/// Sums whose parts have, between them, every series that there is.
pub(super) fn sums() -> Vec<Named> {
    let street = VortexStreet::new([0.0, 0.0], 3, 90.0, 25.0, 4.0, 12.0);
    let (drift, stream) = (
        [5.0, 0.5, 0.0],
        Uniform {
            displacement_px: [5.0, 0.5, 0.3],
        },
    );
    let swept: Arc<dyn Flow> = Arc::new(Drifting {
        flow: Arc::new(turbulence()),
        by_px: drift,
    });
    let carried = Carried {
        flow: Arc::new(street),
        by_px: drift,
    };
    let wake = Turned::new(Arc::new(wake()), [10.0, 4.0], 0.4);
    let shears = vec![
        plain(SinusoidalShear {
            displacement_px: [2.0, 1.5, -0.5],
            amplitude_px: 3.0,
            wavelength_px: 70.0,
            centre_y_px: 4.0,
            phase_rad: 0.7,
        }),
        plain(MixingLayer {
            centre_y_px: -10.0,
            above_px: 2.0,
            below_px: 7.0,
            vorticity_thickness_px: 60.0,
        }),
        plain(DepthShear {
            displacement_px: [0.0; 3],
            shear: [0.05, -0.04],
            depth_px: 1.0,
        }),
        plain(PlaneStrain {
            centre_px: [5.0, 7.0],
            strain: 0.06,
        }),
    ];
    let vortex = LambOseen {
        centre_px: [3.0, -2.0],
        peak_displacement_px: 4.0,
        core_radius_px: 40.0,
    };
    let pair = VortexPair::new([1.0, 2.0], 60.0, 3.0, 15.0);
    let ring = VortexRing::new([1.0, 2.0, 3.0], 60.0, 15.0, 5.0);
    let sum = |fields| -> Arc<dyn Flow> { Arc::new(Sum::new(fields)) };
    vec![
        (
            "street with turbulence",
            sum(vec![plain(carried), Summand::plain(swept)]),
            smooth,
        ),
        (
            "turned wake with turbulence",
            sum(vec![plain(wake), plain(turbulence())]),
            smooth,
        ),
        ("shears", sum(shears), smooth),
        (
            "vortex and pair on a stream",
            sum(vec![plain(vortex), plain(pair), plain(stream)]),
            smooth,
        ),
        (
            "ring with turbulence",
            sum(vec![plain(ring), plain(turbulence())]),
            smooth,
        ),
    ]
}

/// Sums near walls, which do not obey continuity there.
pub(super) fn walled() -> Vec<Named> {
    let walled = |flow: Arc<dyn Flow>, layer_px| Summand { flow, layer_px };
    let wall = Wall { wall_y_px: 60.0 };
    let channel = Channel {
        centre_y_px: 20.0,
        height_px: 200.0,
        peak_displacement_px: 8.0,
    };
    let cylinder = Cylinder {
        centre_px: [0.0, 0.0],
        radius_px: 60.0,
        stream_px: 6.0,
    };
    vec![
        (
            "turbulence at a wall",
            Arc::new(Sum::new(vec![
                plain(turbulence()),
                walled(Arc::new(Turned::new(Arc::new(wall), [0.0, 60.0], 0.3)), 20.0),
            ])),
            |at| (0.3_f64.cos() * (at[1] - 60.0) - 0.3_f64.sin() * at[0]).abs(),
        ),
        (
            "turbulence in a channel",
            Arc::new(Sum::new(vec![
                walled(Arc::new(channel), 12.0),
                plain(turbulence()),
            ])),
            |at| ((at[1] - 20.0).abs() - 100.0).abs(),
        ),
        (
            "turbulence round a cylinder",
            Arc::new(Sum::new(vec![
                walled(Arc::new(cylinder), 15.0),
                plain(turbulence()),
            ])),
            |at| to_circle(at, 60.0),
        ),
    ]
}

/// Interpolated data of a smooth field, which are compressible.
pub(super) fn data() -> Vec<Named> {
    let sample = |x: f64, y: f64, z: f64| {
        let (p, q) = (0.03 * x - 0.01 * z, 0.02 * y + 0.005 * x);
        [4.0 * p.sin() + q.cos(), 3.0 * (p + q).cos(), 0.5 * q.sin()]
    };
    let grid = |layers: usize| {
        let nodes = (0..layers * 15 * 21).map(|k| {
            let (x, y, z) = (k % 21, k / 21 % 15, k / (21 * 15));
            sample(
                x as f64 * 12.0 - 120.0,
                y as f64 * 16.0 - 112.0,
                z as f64 * 3.0 - 4.0,
            )
        });
        GridField::new(
            [-120.0, -112.0, -4.0],
            [12.0, 16.0, 3.0],
            [21, 15, layers],
            nodes.collect(),
        )
        .unwrap()
    };
    let at: Vec<[f64; 2]> = (0..300)
        .map(|k| {
            // Fibonacci's spiral: dense and nowhere regular.
            let (r, turn) = ((k as f64 + 0.5).sqrt() * 8.0, k as f64 * 2.399_963);
            [r * turn.cos(), r * turn.sin()]
        })
        .collect();
    let values: Vec<Vec3> = at.iter().map(|[x, y]| sample(*x, *y, 0.0)).collect();
    vec![
        ("grid", Arc::new(grid(1)), smooth),
        ("grid in depth", Arc::new(grid(4)), smooth),
        (
            "scattered nodes",
            Arc::new(ScatteredField::new(&at, &values).unwrap()),
            smooth,
        ),
    ]
}

/// Fields within fields.
pub(super) fn drifting() -> Vec<Named> {
    let street = VortexStreet::new([10.0, 0.0], 3, 90.0, 25.0, 4.0, 12.0);
    let carried: Arc<dyn Flow> = Arc::new(Carried {
        flow: Arc::new(street),
        by_px: [7.0, -0.5, 0.2],
    });
    vec![
        ("carried street", carried.clone(), smooth),
        (
            "turned street",
            Arc::new(Turned::new(carried, [30.0, 20.0], -0.7)),
            smooth,
        ),
    ]
}

pub(super) fn burgers() -> BurgersVortex {
    let swirl = LambOseen {
        centre_px: [3.0, -2.0],
        peak_displacement_px: 6.0,
        core_radius_px: 30.0,
    };
    BurgersVortex::new(swirl, 0.08)
}

pub(super) fn wake() -> Wake {
    Wake {
        centre_y_px: 5.0,
        stream_px: 8.0,
        deficit_px: 3.0,
        half_width_px: 25.0,
    }
}
