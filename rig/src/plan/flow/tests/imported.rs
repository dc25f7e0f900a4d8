//! Imported fields stand where the setup says, with bodies where nothing flows; and unusable ones
//! say what is wrong.

use std::fs;
use std::path::PathBuf;

use motefield_generator::flow::Flow;

use super::{RIG, velocity_of};
use crate::plan::plan;
use crate::setup::Setup;

/// A directory of its own for the setup and its files.
struct TemporaryFolder(PathBuf);

impl TemporaryFolder {
    fn new(name: &str) -> TemporaryFolder {
        let path = std::env::temp_dir().join(format!("motefield-flow-{}-{name}", std::process::id()));
        fs::create_dir_all(&path).unwrap();
        TemporaryFolder(path)
    }

    fn file(&self, name: &str, bytes: impl AsRef<[u8]>) {
        fs::write(self.0.join(name), bytes).unwrap();
    }

    /// The velocity by a setup that stands in this directory.
    fn velocity(&self, keys: &str, at: [f64; 3]) -> Result<[f64; 3], String> {
        let name = self.0.join("rig.toml").display().to_string();
        velocity_of(&name, &format!("kind = 'imported'\n{keys}"), &[], at).map_err(|e| e.to_string())
    }
}

impl Drop for TemporaryFolder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// u = 0.1 + 0.01 x, v = 0.02 y with x, y in mm from (0, 0) to (8, 6): exact in any interpolation
/// here. Middle at (4, 3) mm.
fn table(scattered: bool) -> String {
    let mut text = "x,y,u,v\n".to_owned();
    for k in 0..63 {
        let (mut x, mut y) = (f64::from(k % 9), f64::from(k / 9));
        if scattered && (1.0..8.0).contains(&x) && (1.0..6.0).contains(&y) {
            (x, y) = (x + 0.3 * y.sin(), y - 0.2 * x.cos());
        }
        text += &format!("{x},{y},{},{}\n", 0.1 + 0.01 * x, 0.02 * y);
    }
    text
}

#[test]
fn tables_stand_where_the_setup_says() {
    let folder = TemporaryFolder::new("tables");
    folder.file("grid.csv", table(false));
    folder.file("nodes.csv", table(true));
    for file in ["grid.csv", "nodes.csv"] {
        let velocity = |more: &str, at| {
            let keys = format!("file = '{file}'\nlength_unit = 'mm'\nvelocity_unit = 'm/s'\n{more}");
            folder.velocity(&keys, at).unwrap_or_else(|e| panic!("{e}"))
        };
        // 20 px per mm, 20 px for 1 m/s; 20 px right of the middle is x = 5 mm, 20 px below it y =
        // 4 mm.
        let at = [83.5, 67.5, 0.0];
        for (more, expected) in [
            ("", [20.0 * 0.15, 20.0 * 0.08]),
            // With y up, below the middle is y = 2 mm, and upward velocities are negative.
            ("y_axis = 'up'", [20.0 * 0.15, -20.0 * 0.04]),
            ("velocity_scale = 0.5", [10.0 * 0.15, 10.0 * 0.08]),
            // Twice as large: 20 px are half a mm.
            ("length_scale = 2", [20.0 * 0.145, 20.0 * 0.07]),
            ("centre = ['20 px', '0 mm']", [20.0 * 0.14, 20.0 * 0.08]),
            // (83.5, 67.5) px are (4.175, 3.375) mm.
            ("align = 'pixels'", [20.0 * 0.14175, 20.0 * 0.0675]),
        ] {
            let [u, v, w] = velocity(more, at);
            assert!(
                (u - expected[0]).abs() < 1e-6 && (v - expected[1]).abs() < 1e-6,
                "{file} {more}: {u} {v}"
            );
            assert_eq!(w, 0.0);
        }
    }
}

#[test]
fn arrays_stand_where_the_setup_says() {
    let folder = TemporaryFolder::new("arrays");
    let samples = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("src/import/samples");
    for name in ["depth.npy", "raw.vti", "binary.vtk"] {
        folder.file(name, fs::read(samples.join(name)).unwrap());
    }
    // u = 10 + x + 0.5 z, v = 20 - 2 y, w = 0.25 x y; middle of the points at (2, -0.625, 2.5).
    for keys in [
        "file = 'raw.vti'\nlength_unit = 'mm'\nlength_scale = 4.5\nvelocity_unit = 'px'",
        "file = 'binary.vtk'\nlength_unit = 'px'\nlength_scale = 90\nvelocity_unit = 'px'\narray = 'velocity'",
    ] {
        let middle = folder
            .velocity(keys, [63.5, 47.5, 0.0])
            .unwrap_or_else(|e| panic!("{e}"));
        for (got, expected) in middle.iter().zip([13.25, 21.25, 0.25 * 2.0 * -0.625]) {
            assert!((got - expected).abs() < 1e-9, "{keys}: {middle:?}");
        }
    }
    // In nodes: the middle of 5 x 4 x 2 is (2, 1.5, 0.5), at x = 2, y = -0.625, z = 2.5 as well;
    // one node up is y - 0.25.
    let keys = "file = 'depth.npy'\nspacing = '1.5 mm'\nvelocity_unit = 'px'";
    let up = folder
        .velocity(keys, [63.5, 47.5 - 30.0, 0.0])
        .unwrap_or_else(|e| panic!("{e}"));
    for (got, expected) in up.iter().zip([13.25, 21.75, 0.25 * 2.0 * -0.875]) {
        assert!((got - expected).abs() < 1e-9, "{up:?}");
    }
}

#[test]
fn unusable_fields_say_file_and_line() {
    let folder = TemporaryFolder::new("unusable");
    folder.file("bad.csv", "x,y,u,v\n0,0,1,1\n1,0,one,1\n");
    folder.file("twice.csv", "x,y,u,v\n0,0,1,1\n\n6,0,1,1\n0,5,1,1\n6,0,2,2\n");
    folder.file("line.csv", "x,y,u,v\n0,0,1,1\n6,0,1,1\n9,0,1,1\n");
    folder.file("grid.csv", table(false));
    fs::create_dir_all(folder.0.join("folder.csv")).unwrap();
    let unit = "velocity_unit = 'm/s'\nlength_unit";
    for (keys, words) in [
        (
            format!("file = 'bad.csv'\n{unit} = 'mm'"),
            vec!["rig.toml, line", "bad.csv, line 3", "\"one\""],
        ),
        (
            format!("file = 'twice.csv'\n{unit} = 'mm'"),
            vec!["twice.csv", "line 4 and line 6"],
        ),
        (
            format!("file = 'line.csv'\n{unit} = 'mm'"),
            vec!["line.csv", "one line"],
        ),
        (
            format!("file = 'folder.csv'\n{unit} = 'mm'"),
            vec!["folder.csv", "not a file"],
        ),
        (
            format!("file = 'grid.csv'\n{unit} = 'um'"),
            vec!["0 %", "flow.length_unit"],
        ),
        (
            format!("file = 'grid.csv'\n{unit} = 'm/s'"),
            vec!["flow.length_unit", "one of m, mm"],
        ),
    ] {
        let message = folder.velocity(&keys, [0.0; 3]).unwrap_err();
        for word in words {
            assert!(message.contains(word), "{keys}: {message}");
        }
    }
}

/// The flow of an imported field, 20 px per unit of length with the middle of its points in the
/// middle of the picture of 128 x 96 px.
fn imported(folder: &TemporaryFolder, file: &str, more: &str) -> Result<std::sync::Arc<dyn Flow>, String> {
    let keys =
        format!("kind = 'imported'\nfile = '{file}'\nlength_unit = 'px'\nvelocity_unit = 'px'\n{more}");
    let text = format!("{RIG}[flow]\n{keys}\n");
    let name = folder.0.join("rig.toml").display().to_string();
    let setup = Setup::from_text::<&str>(&name, &text, &[]).map_err(|e| e.to_string())?;
    Ok(plan(&setup).map_err(|e| e.to_string())?.scene.flow)
}

/// A mesh around a cylinder of 10 px: the hole is a body, not bridged; at its cells' corners the
/// field is that of the potential flow, u - iv = 1 - (10/ζ)² (Lamb, Hydrodynamics, §68).
#[test]
fn the_hole_of_a_mesh_is_a_body() {
    let folder = TemporaryFolder::new("cylinder");
    let samples = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("src/import/samples");
    for name in ["cylinder.vtu", "cylinder_42.vtk"] {
        folder.file(name, fs::read(samples.join(name)).unwrap());
        let flow = imported(&folder, name, "").unwrap_or_else(|e| panic!("{e}"));
        let at = |radius: f64, degrees: f64| {
            let (sine, cosine) = degrees.to_radians().sin_cos();
            [63.5 + radius * cosine, 47.5 + radius * sine, 0.0]
        };
        for degrees in [0.0, 33.0, 90.0, 171.0, 260.0] {
            // A polygon of 24 sides leaves cos 7.5° of the radius in the middle of a side.
            for radius in [0.0, 5.0, 9.9] {
                assert!(
                    flow.solid(at(radius, degrees)),
                    "{name}: {radius} px at {degrees}"
                );
                assert_eq!(flow.velocity(at(radius, degrees), 0.0), [0.0; 3]);
                let here = at(radius, degrees);
                assert_eq!(flow.path(here, -0.5, 0.5), here);
            }
            for radius in [10.1, 12.0, 40.0, 59.0] {
                assert!(
                    !flow.solid(at(radius, degrees)),
                    "{name}: {radius} px at {degrees}"
                );
            }
        }
        let [u, v, _] = flow.velocity(at(15.0, 90.0), 0.0);
        assert!(
            (u - (1.0 + 100.0 / 225.0)).abs() < 1e-6 && v.abs() < 1e-6,
            "{name}: {u} {v}"
        );
        let bridged = imported(&folder, name, "body = 'none'").unwrap();
        assert!(!bridged.solid(at(0.0, 0.0)));
    }
}

/// Velocities that are not known and blocks at rest are bodies, on a grid and between scattered
/// points; a field at rest as a whole is not.
#[test]
fn gaps_and_blocks_at_rest_are_bodies() {
    let folder = TemporaryFolder::new("gaps");
    // Nodes 8 px apart over 128 x 96 px; the four at (56..72, 40..56) px are as told.
    let table = |jitter: f64, inside: &str, outside: &str| {
        let mut text = "x,y,u,v\n".to_owned();
        for k in 0..17 * 13 {
            let (x, y) = (8 * (k % 17), 8 * (k / 17));
            let block = (56..=72).contains(&x) && (40..=56).contains(&y);
            let off = if k == 20 { jitter } else { 0.0 };
            text += &format!(
                "{},{y},{}\n",
                f64::from(x) + off,
                if block { inside } else { outside }
            );
        }
        text
    };
    let solid = |flow: &dyn Flow, x: f64, y: f64| flow.solid([x - 0.5, y - 0.5, 0.0]);
    for (name, jitter) in [("grid.csv", 0.0), ("nodes.csv", 2.0)] {
        for (inside, body, is_body) in [
            ("nan,nan", "found", true),
            ("nan,nan", "gaps", true),
            ("0,0", "found", true),
            ("0,0", "gaps", false),
            ("0,0", "none", false),
        ] {
            folder.file(name, table(jitter, inside, "3,1"));
            let flow = imported(&folder, name, &format!("body = '{body}'")).unwrap_or_else(|e| panic!("{e}"));
            let what = format!("{name} {inside} {body}");
            assert_eq!(solid(flow.as_ref(), 64.0, 48.0), is_body, "{what}");
            assert!(!solid(flow.as_ref(), 30.0, 48.0), "{what}");
            let [u, v, _] = flow.velocity([30.0, 60.0, 0.0], 0.0);
            assert!(
                (u - 3.0).abs() < 1e-9 && (v - 1.0).abs() < 1e-9,
                "{what}: {u} {v}"
            );
            // Beside what is not known the field goes on as it is: nothing of it is zero.
            let [u, _, _] = flow.velocity([46.0, 48.0, 0.0], 0.0);
            assert!(inside == "0,0" || (u - 3.0).abs() < 1e-9, "{what}: {u}");
        }
        folder.file(name, table(jitter, "nan,nan", "3,1"));
        let message = imported(&folder, name, "body = 'none'").unwrap_err();
        assert!(
            message.contains("NaN") && message.contains("flow.body"),
            "{message}"
        );
        folder.file(name, table(jitter, "0,0", "0,0"));
        let still = imported(&folder, name, "").unwrap_or_else(|e| panic!("{e}"));
        assert!(!solid(still.as_ref(), 64.0, 48.0));
        folder.file(name, table(jitter, "nan,nan", "nan,nan"));
        assert!(imported(&folder, name, "").unwrap_err().contains("no fluid"));
    }
}
