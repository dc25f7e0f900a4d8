//! From keys to fields: every kind in lab and in picture units, and sums of them.

mod imported;

use crate::plan::plan;
use crate::setup::{Setup, SetupError};

/// 20 px per mm and 1 ms between the pulses, so that 1 m/s is 20 px; the image's middle is (63.5,
/// 47.5).
const RIG: &str = r#"
[image]
size = [128, 96]
particle_diameter = "2.5 px"
seeding_density = "0.02 ppp"
electrons = "1000 e"
[camera]
pixel = "5 um"
[lens]
magnification = 0.1
[timing]
separation = "1 ms"
[processing]
passes = [{ window = 32 }]
"#;

fn velocity_of(
    name: &str,
    keys: &str,
    changes: &[(&str, &str)],
    at: [f64; 3],
) -> Result<[f64; 3], SetupError> {
    let text = format!("{RIG}[flow]\n{keys}\n");
    let changes: Vec<_> = changes
        .iter()
        .map(|(k, v)| ((*k).to_owned(), (*v).to_owned()))
        .collect();
    let plan = plan(&Setup::from_text(name, &text, &changes)?)?;
    Ok(plan.scene.flow.velocity(at, 0.0))
}

/// For every kind: keys in px, the same in lab units, a place, and the velocity there (derived from
/// the formulas in the flows' docs).
const KINDS: [(&str, &str, [f64; 3], [f64; 3]); 22] = [
    (
        "kind = 'uniform'\ndisplacement = ['2 px', '4 px', '6 px']",
        "kind = 'uniform'\nvelocity = ['0.1 m/s', '0.2 m/s', '0.3 m/s']",
        [1.0, 2.0, 3.0],
        [2.0, 4.0, 6.0],
    ),
    (
        "kind = 'linear-shear'\ndisplacement = ['2 px', '0 px']\nshear = 0.05\ncentre_y = '20 px'",
        "kind = 'linear-shear'\nvelocity = ['0.1 m/s', '0 m/s']\nshear_rate = '50 /s'\ncentre_y = '1 mm'",
        [1.0, 77.5, 0.0],
        [2.5, 0.0, 0.0],
    ),
    (
        "kind = 'sinusoidal-shear'\namplitude = '2 px'\nwavelength = '40 px'\ncentre_y = '20 px'\nphase = '90 deg'",
        "kind = 'sinusoidal-shear'\namplitude = '0.1 m/s'\nwavelength = '2 mm'\ncentre_y = '1 mm'\nphase = '90 deg'",
        [1.0, 87.5, 0.0],
        [-2.0, 0.0, 0.0],
    ),
    (
        "kind = 'depth-shear'\ndisplacement = ['2 px', '0 px']\ndepth_shear = [0.05, -0.1]\ndepth = '20 px'",
        "kind = 'depth-shear'\nvelocity = ['0.1 m/s', '0 m/s']\ndepth_shear_rate = ['50 /s', '-100 /s']\ndepth = '1 mm'",
        [1.0, 77.5, 30.0],
        [2.5, -1.0, 0.0],
    ),
    (
        "kind = 'wall'\nwall_y = '20 px'\nwall_layer = '10 px'",
        "kind = 'wall'\nwall_y = '1 mm'\nwall_layer = '0.5 mm'",
        [1.0, 20.0, 0.0],
        [0.0; 3],
    ),
    (
        "kind = 'solid-rotation'\nrotation = '0.1 rad'\ncentre = ['20 px', '0 px']",
        "kind = 'solid-rotation'\nangular_velocity = '100 /s'\ncentre = ['1 mm', '0 mm']",
        [93.5, 37.5, 0.0],
        [1.0, 1.0, 0.0],
    ),
    (
        "kind = 'plane-strain'\nstrain = 0.1\ncentre = ['20 px', '0 px']",
        "kind = 'plane-strain'\nstrain_rate = '100 /s'\ncentre = ['1 mm', '0 mm']",
        [93.5, 37.5, 0.0],
        [1.0, 1.0, 0.0],
    ),
    (
        "kind = 'rankine'\npeak_displacement = '4 px'\ncore_radius = '20 px'\ncentre = ['20 px', '0 px']",
        "kind = 'rankine'\npeak_velocity = '0.2 m/s'\ncore_radius = '1 mm'\ncentre = ['1 mm', '0 mm']",
        [83.5, 87.5, 0.0],
        [-2.0, 0.0, 0.0],
    ),
    (
        "kind = 'lamb-oseen'\npeak_displacement = '4 px'\ncore_radius = '20 px'\ncentre = ['20 px', '0 px']",
        "kind = 'lamb-oseen'\npeak_velocity = '0.2 m/s'\ncore_radius = '1 mm'\ncentre = ['1 mm', '0 mm']",
        [83.5, 67.5, 0.0],
        [-4.0, 0.0, 0.0],
    ),
    (
        "kind = 'burgers-vortex'\npeak_displacement = '4 px'\ncore_radius = '20 px'\nstrain = 0.05\ncentre = ['20 px', '0 px']",
        "kind = 'burgers-vortex'\npeak_velocity = '0.2 m/s'\ncore_radius = '1 mm'\nstrain_rate = '50 /s'\ncentre = ['1 mm', '0 mm']",
        // Swirl downward, inflow of half the strain, outflow along the axis.
        [103.5, 47.5, 8.0],
        [-0.5, 4.0, 0.4],
    ),
    (
        "kind = 'taylor-green'\npeak_displacement = '4 px'\nwavelength = '80 px'\ncentre = ['20 px', '0 px']",
        "kind = 'taylor-green'\npeak_velocity = '0.2 m/s'\nwavelength = '4 mm'\ncentre = ['1 mm', '0 mm']",
        [103.5, 47.5, 0.0],
        [0.0, 4.0, 0.0],
    ),
    (
        // Far narrower cores than the distance: Γ/(2πr) of each, four times a tenth of the peak's
        // 1/0.638/1.1209.
        "kind = 'vortex-pair'\npeak_displacement = '4 px'\ncore_radius = '2 px'\nspacing = '40 px'",
        "kind = 'vortex-pair'\npeak_velocity = '0.2 m/s'\ncore_radius = '0.1 mm'\nspacing = '2 mm'",
        [63.5, 47.5, 0.0],
        [0.8 / (0.638_172_686_338_951_5 * 1.120_906_422_778_534), 0.0, 0.0],
    ),
    (
        "kind = 'vortex-street'\npeak_displacement = '4 px'\ncore_radius = '4 px'\nspacing = '40 px'\nrow_distance = '10 px'",
        "kind = 'vortex-street'\npeak_velocity = '0.2 m/s'\ncore_radius = '0.2 mm'\nspacing = '2 mm'\nrow_distance = '0.5 mm'\neach_row = 3",
        // Far above an array that has as many vortices of either sense, nothing moves but for 1/r².
        [63.5, -1e9, 0.0],
        [0.0, 0.0, 0.0],
    ),
    (
        "kind = 'vortex-ring'\nradius = '40 px'\ncore_radius = '8 px'\ncentre_velocity = '4 px'\ndepth = '20 px'\ncentre = ['20 px', '0 px']",
        "kind = 'vortex-ring'\nradius = '2 mm'\ncore_radius = '0.4 mm'\ncentre_velocity = '0.2 m/s'\ndepth = '1 mm'\ncentre = ['1 mm', '0 mm']",
        [83.5, 47.5, 20.0],
        [4.0, 0.0, 0.0],
    ),
    (
        "kind = 'channel'\npeak_displacement = '4 px'\nheight = '80 px'\ncentre_y = '20 px'",
        "kind = 'channel'\npeak_velocity = '0.2 m/s'\nheight = '4 mm'\ncentre_y = '1 mm'",
        [7.0, 87.5, 0.0],
        [3.0, 0.0, 0.0],
    ),
    (
        "kind = 'blasius-layer'\nfree_stream = '4 px'\nthickness = '20 px'\nwall_y = '40 px'\nleading_edge = '200 px'",
        "kind = 'blasius-layer'\nfree_stream = '0.2 m/s'\nthickness = '1 mm'\nwall_y = '2 mm'\nleading_edge = '10 mm'",
        // At δ₉₉; v = ½ U δ/(4.91 x) (η f′ − f) with f = 3.1934 there (scipy, as in the generator's
        // tests).
        [63.5, 67.5, 0.0],
        [3.96, -0.0679, 0.0],
    ),
    (
        "kind = 'turbulent-layer'\nfree_stream = '4 px'\nthickness = '20 px'\nwall_y = '40 px'\nfriction_velocity = '0.2 px'",
        "kind = 'turbulent-layer'\nfree_stream = '0.2 m/s'\nthickness = '1 mm'\nwall_y = '2 mm'\nfriction_velocity = '0.01 m/s'",
        [63.5, 60.0, 0.0],
        [4.0, 0.0, 0.0],
    ),
    (
        "kind = 'cylinder'\nfree_stream = '4 px'\nradius = '10 px'\ncentre = ['20 px', '0 px']",
        "kind = 'cylinder'\nfree_stream = '0.2 m/s'\nradius = '0.5 mm'\ncentre = ['1 mm', '0 mm']",
        [83.5, 67.5, 0.0],
        [5.0, 0.0, 0.0],
    ),
    (
        "kind = 'bickley-jet'\npeak_displacement = '4 px'\nhalf_width = '10 px'\ncentre_y = '20 px'\nvirtual_origin = '100 px'",
        "kind = 'bickley-jet'\npeak_velocity = '0.2 m/s'\nhalf_width = '0.5 mm'\ncentre_y = '1 mm'\nvirtual_origin = '5 mm'",
        [63.5, 67.5, 0.0],
        [4.0, 0.0, 0.0],
    ),
    (
        "kind = 'mixing-layer'\nvelocity_above = '2 px'\nvelocity_below = '6 px'\nvorticity_thickness = '20 px'\ncentre_y = '20 px'",
        "kind = 'mixing-layer'\nvelocity_above = '0.1 m/s'\nvelocity_below = '0.3 m/s'\nvorticity_thickness = '1 mm'\ncentre_y = '1 mm'",
        [63.5, 67.5, 0.0],
        [4.0, 0.0, 0.0],
    ),
    (
        "kind = 'wake'\nfree_stream = '6 px'\ndeficit = '2 px'\nhalf_width = '20 px'\ncentre_y = '20 px'",
        "kind = 'wake'\nfree_stream = '0.3 m/s'\ndeficit = '0.1 m/s'\nhalf_width = '1 mm'\ncentre_y = '1 mm'",
        [63.5, 47.5, 0.0],
        [5.0, 0.0, 0.0],
    ),
    (
        // Pinned.
        "kind = 'turbulence'\nrms_velocity = '2 px'\nintegral_scale = '80 px'\nsmallest_scale = '20 px'\nseed = 7",
        "kind = 'turbulence'\nrms_velocity = '0.1 m/s'\nintegral_scale = '4 mm'\nsmallest_scale = '1 mm'\nseed = 7",
        [10.0, 20.0, 3.0],
        [0.003_594, -1.286_115, 1.883_049],
    ),
];

#[test]
fn every_kind_reads_px_and_lab_units_alike() {
    for (px, lab, at, expected) in KINDS {
        let a = velocity_of("rig.toml", px, &[], at).unwrap_or_else(|e| panic!("{e}"));
        let b = velocity_of("rig.toml", lab, &[], at).unwrap_or_else(|e| panic!("{e}"));
        for i in 0..3 {
            assert!((a[i] - b[i]).abs() < 1e-12, "{px}: {a:?} {b:?}");
            assert!((a[i] - expected[i]).abs() < 1e-3, "{px}: {a:?} {expected:?}");
        }
    }
}

/// Every key these setups use stands in the documentation, as does every kind.
#[test]
fn keys_are_documented() {
    let page = include_str!("../../../../docs/keys.md");
    let words = KINDS
        .iter()
        .flat_map(|(px, lab, ..)| px.lines().chain(lab.lines()));
    for (key, value) in words.filter_map(|line| line.split_once(" = ")) {
        assert!(page.contains(&format!("`{key}`")), "{key}");
        if key == "kind" {
            assert!(
                page.contains(&format!("`{}`", value.trim_matches('\''))),
                "{value}"
            );
        }
    }
}

#[test]
fn patterns_are_turned_and_carried() {
    let keys = "kind = 'mixing-layer'\nvelocity_above = '2 px'\nvelocity_below = '6 px'\nvorticity_thickness = '1 px'\nangle = '90 deg'\ncarried_by = ['0 px', '0.5 px', '1 px']";
    // Turned from x toward y, the stream below lies left and runs down.
    let left = velocity_of("rig.toml", keys, &[], [10.0, 40.0, 0.0]).unwrap();
    for (got, expected) in left.iter().zip([0.0, 6.5, 1.0]) {
        assert!((got - expected).abs() < 1e-12, "{left:?}");
    }
    // Entries of lists that the file does not have, set afterwards.
    let vortex = "kind = 'rankine'\npeak_displacement = '4 px'\ncore_radius = '20 px'";
    let moved = [
        ("flow.centre[0]", "20 px"),
        ("flow.carried_by[0]", "0 px"),
        ("flow.carried_by[1]", "3 px"),
    ];
    assert_eq!(
        velocity_of("rig.toml", vortex, &moved, [83.5, 47.5, 0.0]).unwrap(),
        [0.0, 3.0, 0.0]
    );
}

/// Two fields, by hand: 2 px plus rotation by 0.1 rad, which is 1 px for each 10 px from the
/// middle. The list may be written in either way, and a key of one of them is changed by its
/// number.
#[test]
fn fields_add() {
    let of = |keys: &str, changes: &[(&str, &str)]| {
        let text = format!("{keys}\n{RIG}");
        let changes: Vec<_> = changes
            .iter()
            .map(|(k, v)| ((*k).to_owned(), (*v).to_owned()))
            .collect();
        let plan = plan(&Setup::from_text("rig.toml", &text, &changes)?)?;
        Ok::<_, SetupError>(plan.scene.flow)
    };
    let inline = "flow = [{ kind = 'uniform', velocity = ['0.1 m/s', '0 m/s'] }, { kind = 'solid-rotation', rotation = '0.1 rad' }]";
    let tables = "[[flow]]\nkind = 'uniform'\nvelocity = ['0.1 m/s', '0 m/s']\n[[flow]]\nkind = 'solid-rotation'\nrotation = '0.1 rad'";
    let one = "[flow]\nkind = 'uniform'\nvelocity = ['0.1 m/s', '0 m/s']";
    let second = [
        ("flow[1].kind", "solid-rotation"),
        ("flow[1].rotation", "0.1 rad"),
    ];
    let at = [73.5, 57.5, 0.0];
    for (keys, changes, expected) in [
        (inline, &[][..], [1.0, 1.0, 0.0]),
        (tables, &[], [1.0, 1.0, 0.0]),
        (one, &second, [1.0, 1.0, 0.0]),
        (one, &[("flow[0].velocity[1]", "0.05 m/s")], [2.0, 1.0, 0.0]),
        (inline, &[("flow[1].rotation", "0.2 rad")], [0.0, 2.0, 0.0]),
        (inline, &[("flow[0].velocity[0]", "0.2 m/s")], [3.0, 1.0, 0.0]),
        // Through the sheet of 10 px, for all fields together.
        (inline, &[("sheet.out_of_plane", "0.2")], [1.0, 1.0, 2.0]),
    ] {
        let flow = of(keys, changes).unwrap_or_else(|e| panic!("{e}"));
        let got = flow.velocity(at, 0.0);
        for (got, expected) in got.iter().zip(expected) {
            assert!(
                (got - expected).abs() < 1e-12,
                "{keys} {changes:?}: {got} {expected}"
            );
        }
    }
    // A drift moves the pattern alone: half a separation later the centre of the rotation, at rest
    // but for the stream, is 4 px lower.
    let drifting = of(inline, &[("flow[1].drift", "['0 px', '8 px']")]).unwrap();
    let moved = drifting.velocity([63.5, 51.5, 0.0], 0.5);
    assert!(
        (moved[0] - 2.0).abs() < 1e-12 && moved[1].abs() < 1e-12,
        "{moved:?}"
    );
    // The wall of one stops the other.
    let walled = of(
        inline,
        &[
            ("flow[2].kind", "wall"),
            ("flow[2].wall_y", "1 mm"),
            ("flow[2].wall_layer", "10 px"),
        ],
    );
    let walled = walled.unwrap_or_else(|e| panic!("{e}"));
    assert!(walled.solid([0.0, 67.6, 0.0]) && !walled.solid([0.0, 67.4, 0.0]));
    assert!((walled.velocity([63.5, 57.5, 0.0], 0.0)[0] - 0.99).abs() < 1e-12);
}

/// What is wrong with a field is told with its number and line.
#[test]
fn faults_of_fields_that_add_say_which() {
    const TWO: &str = "[[flow]]\nkind = 'uniform'\ndisplacement = ['2 px', '0 px']\n[[flow]]\n";
    for (keys, changes, words) in [
        (
            format!("{TWO}kind = 'turbulence'\nrms_velocity = '2 px'"),
            &[][..],
            "line 4: flow[1].integral_scale is missing",
        ),
        (
            format!("{TWO}kind = 'wall'\nwall_y = '4 mm'"),
            &[],
            "line 4: flow[1].wall_layer is missing",
        ),
        (
            format!("{TWO}rotation = '3 deg'"),
            &[],
            "line 4: flow[1].kind is missing",
        ),
        (
            format!("{TWO}kind = 'solid-rotation'\nrotation = 3"),
            &[],
            "line 6: `flow[1].rotation = 3` has no unit",
        ),
        (
            format!("{TWO}kind = 'solid-rotation'\nrotatoin = '3 deg'"),
            &[],
            "did you mean flow[1].rotation?",
        ),
        (
            format!("{TWO}kind = 'solid-rotation'\nrotation = '3 deg'\nangular_velocity = '1 /s'"),
            &[],
            "flow[1].angular_velocity and flow[1].rotation say the same twice",
        ),
        (
            format!(
                "{TWO}kind = 'turbulence'\nrms_velocity = '2 px'\nintegral_scale = '80 px'\nsmallest_scale = '60 px'"
            ),
            &[],
            "line 8: flow[1].smallest_scale",
        ),
        (
            format!(
                "{TWO}kind = 'solid-rotation'\nrotation = '3 deg'\ncarried_by = ['1 px', '0 px']\ndrift = ['1 px', '0 px']"
            ),
            &[],
            "both move the pattern",
        ),
        (
            format!("{TWO}kind = 'solid-rotation'\nrotation = '3 deg'"),
            &[("flow.rotation", "1 deg")],
            "flow.rotation does not say which [[flow]] is meant",
        ),
        ("flow = []".to_owned(), &[], "line 1: flow has 0 fields"),
        (
            "flow = ['uniform']".to_owned(),
            &[],
            "line 1: flow[0] must be a table",
        ),
    ] {
        let text = format!("{keys}\n{RIG}");
        let changes: Vec<(&str, &str)> = changes.to_vec();
        let refused =
            Setup::from_text("rig.toml", &text, &changes).and_then(|setup| plan(&setup).map(|_| ()));
        let message = refused.unwrap_err().to_string();
        assert!(
            message.contains(words) && message.contains("rig.toml"),
            "{keys}: {message}"
        );
    }
}

#[test]
fn impossible_flows_say_which_key() {
    for (keys, words) in [
        ("kind = 'swirl'", "flow.kind"),
        ("kind = 'channel'\npeak_velocity = '1 m/s'", "flow.height"),
        (
            "kind = 'channel'\npeak_velocity = '1 m/s'\nheight = '0 mm'",
            "flow.height",
        ),
        ("kind = 'solid-rotation'", "flow.rotation"),
        (
            "kind = 'solid-rotation'\nrotation = '3 deg'\nangular_velocity = '1 /s'",
            "flow.angular_velocity",
        ),
        ("kind = 'plane-strain'\nstrain = 'much'", "flow.strain"),
        (
            "kind = 'blasius-layer'\nfree_stream = '4 px'\nthickness = '20 px'\nwall_y = '40 px'\nleading_edge = '60 px'",
            "flow.leading_edge",
        ),
        (
            "kind = 'turbulent-layer'\nfree_stream = '4 px'\nthickness = '20 px'\nwall_y = '40 px'\nfriction_velocity = '5 px'",
            "flow.friction_velocity",
        ),
        (
            "kind = 'turbulent-layer'\nfree_stream = '4 px'\nthickness = '20 px'\nwall_y = '40 px'\nfriction_velocity = '0 px'",
            "flow.friction_velocity",
        ),
        (
            "kind = 'vortex-ring'\nradius = '40 px'\ncore_radius = '0.1 px'\ncentre_velocity = '4 px'",
            "flow.core_radius",
        ),
        (
            "kind = 'turbulence'\nrms_velocity = '2 px'\nintegral_scale = '80 px'\nsmallest_scale = '60 px'",
            "flow.smallest_scale",
        ),
        (
            "kind = 'uniform'\nvelocity = ['1 m/s', '0 m/s']\nradius = '3 px'",
            "flow.radius",
        ),
        (
            "kind = 'uniform'\ndisplacement = ['1e9 px', '0 px']",
            "timing.separation",
        ),
        (
            "kind = 'sinusoidal-shear'\namplitude = '1 px'\nwavelength = '1e-320 px'",
            "flow.kind",
        ),
        ("kind = 'imported'", "flow.file"),
        ("kind = 'imported'\nfile = 'field.mat'", "flow.file"),
        (
            "kind = 'imported'\nfile = 'field.csv'\nvelocity_unit = 'm/s'",
            "flow.length_unit",
        ),
        (
            "kind = 'imported'\nfile = 'field.csv'\nlength_unit = 'mm'\nvelocity_unit = 'mm'",
            "flow.velocity_unit",
        ),
        (
            "kind = 'imported'\nfile = 'field.npy'\nvelocity_unit = 'm/s'",
            "flow.spacing",
        ),
        (
            "kind = 'imported'\nfile = 'field.csv'\nlength_unit = 'mm'\nvelocity_unit = 'm/s'",
            "no such file",
        ),
        (
            "kind = 'imported'\nfile = 'field.npy'\nspacing = '1 px'\nvelocity_unit = 'px'\nlayout = 'grid'",
            "flow.layout",
        ),
        (
            "kind = 'imported'\nfile = 'field.npy'\nspacing = '1 px'\nvelocity_unit = 'px'\narray = 'v'",
            "flow.array",
        ),
    ] {
        let message = velocity_of("/nowhere/rig.toml", keys, &[], [0.0; 3])
            .unwrap_err()
            .to_string();
        assert!(
            message.to_lowercase().contains(words) && message.contains("/nowhere/rig.toml"),
            "{keys}: {message}"
        );
    }
}
