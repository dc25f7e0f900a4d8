//! Formats against files that the libraries behind them wrote (`samples/make.py`): VTK 9.7 and
//! NumPy 2.4.

use std::path::{Path, PathBuf};

use super::*;

/// Decodes a file on disk.
fn read(
    path: &Path,
    format: Format,
    layout: Option<Layout>,
    array: Option<&str>,
) -> Result<Data, ImportError> {
    decode(path, &std::fs::read(path).unwrap(), format, layout, array)
}

fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("src/import/samples")
        .join(name)
}

fn load(name: &str) -> Result<Data, ImportError> {
    let path = sample(name);
    read(&path, Format::of(&path).unwrap(), None, None)
}

/// The samples' velocity (see `samples/make.py`).
fn truth([x, y, z]: [f64; 3]) -> [f64; 3] {
    [10.0 + x + 0.5 * z, 20.0 - 2.0 * y, 0.25 * x * y]
}

/// Every node holds the velocity of its place. The samples' numbers are dyadic fractions: exact in
/// any format.
fn check(name: &str, data: &Data, first: [f64; 3], spacing: [f64; 3], count: [usize; 3], components: usize) {
    let grid = Positions::Grid {
        first,
        spacing,
        count,
    };
    assert_eq!(data.positions, grid, "{name}");
    assert_eq!(data.velocity.len(), count.iter().product::<usize>(), "{name}");
    for (k, found) in data.velocity.iter().enumerate() {
        let index = [k % count[0], k / count[0] % count[1], k / count[0] / count[1]];
        let mut expected =
            truth([0, 1, 2].map(|i| [1.0, -1.0, 2.0][i] + [0.5, 0.25, 1.0][i] * index[i] as f64));
        if components == 2 {
            expected[2] = 0.0;
        }
        assert_eq!(*found, expected, "{name}, node {index:?}");
    }
}

#[test]
fn vtk_files_hold_what_vtk_wrote() {
    let (first, spacing, count) = ([1.0, -1.0, 2.0], [0.5, 0.25, 1.0], [5, 4, 2]);
    for name in [
        "ascii.vtk",
        "binary.vtk",
        "ascii.vti",
        "inline.vti",
        "inline64.vti",
        "appended.vti",
        "raw.vti",
        "compressed.vti",
        "compressed_raw.vti",
        "compressed_inline.vti",
    ] {
        check(name, &load(name).unwrap(), first, spacing, count, 3);
    }
    let plane = [count[0], count[1], 1];
    check(
        "plane.vtr",
        &load("plane.vtr").unwrap(),
        first,
        [0.5, 0.25, 1.0],
        plane,
        3,
    );
}

/// The mesh around a cylinder (`samples/make.py`) in each form that VTK writes: its corners, an
/// area that is that of a polygon of 24 sides less the hole's, and at each corner the velocity u -
/// iv = 1
/// - (10/ζ)². Text has eleven digits.
#[test]
fn meshes_hold_what_vtk_wrote() {
    for name in [
        "cylinder.vtu",
        "cylinder_raw.vtu",
        "cylinder_ascii.vtu",
        "cylinder.vtk",
        "cylinder_binary.vtk",
        "cylinder_42.vtk",
    ] {
        let data = load(name).unwrap_or_else(|e| panic!("{e}"));
        let Positions::Mesh { nodes, triangles } = &data.positions else {
            panic!("{name}: no mesh")
        };
        assert_eq!(
            (nodes.len(), triangles.len(), data.velocity.len()),
            (144, 240, 144),
            "{name}"
        );
        let area = |t: &[usize; 3]| {
            let [a, b, c] = t.map(|k| nodes[k]);
            0.5 * ((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])).abs()
        };
        let all: f64 = triangles.iter().map(area).sum();
        let exact = 12.0 * f64::to_radians(15.0).sin() * (60.0 * 60.0 - 10.0 * 10.0);
        assert!((all / exact - 1.0).abs() < 1e-9, "{name}: {all}, not {exact}");
        for (&[x, y], v) in nodes.iter().zip(&data.velocity) {
            let place = num_complex::Complex64::new(x, y);
            let w = 1.0 - (10.0 / place).powi(2);
            let off = (v[0] - w.re).hypot(v[1] + w.im);
            assert!(off < 1e-9 && v[2] == 0.0, "{name} at ({x}, {y}): {v:?}");
        }
    }
}

/// Cells of a volume, of several planes or of unknown kinds are no plane of a light sheet; points
/// at one place are one.
#[test]
fn meshes_are_plane() {
    let of = |points: &[f64], kind: usize, corners: &[usize]| {
        let cells = mesh::Cells {
            kinds: vec![kind],
            ends: vec![corners.len()],
            points: corners.to_vec(),
        };
        mesh::mesh(points, &cells, &vec![[1.0, 0.0, 0.0]; points.len() / 3])
    };
    let square = [
        0.0, 0.0, 5.0, 1.0, 0.0, 5.0, 1.0, 1.0, 5.0, 0.0, 1.0, 5.0, -0.0, 0.0, 5.0,
    ];
    for (kind, corners) in [
        (9, &[0, 1, 2, 3][..]),
        (8, &[4, 1, 3, 2]),
        (7, &[0, 1, 2, 3, 4]),
        (6, &[0, 1, 3, 2]),
    ] {
        let data = of(&square, kind, corners).unwrap_or_else(|f| panic!("{kind}: {f:?}"));
        let Positions::Mesh { nodes, triangles } = &data.positions else {
            panic!("no mesh")
        };
        assert_eq!((nodes.len(), triangles.len()), (4, 2), "{kind}");
    }
    let mut bent = square;
    bent[5] = 5.1;
    for (points, kind, corners, words) in [
        (&square, 10, &[0, 1, 2, 3][..], "volume"),
        (&square, 99, &[0, 1, 2], "type 99"),
        (&square, 9, &[0, 1, 2], "3 points"),
        (&square, 5, &[0, 1, 7], "point 7"),
        (&square, 3, &[0, 1], "no cells"),
        (&bent, 9, &[0, 1, 2, 3], "more than one z"),
    ] {
        let fault = of(points, kind, corners).unwrap_err();
        assert!(fault.message.contains(words), "{kind}: {}", fault.message);
    }
}

#[test]
fn npy_files_hold_what_numpy_wrote() {
    let (first, spacing) = ([0.0; 3], [1.0; 3]);
    check(
        "depth.npy",
        &load("depth.npy").unwrap(),
        first,
        spacing,
        [5, 4, 2],
        3,
    );
    check(
        "plane.npy",
        &load("plane.npy").unwrap(),
        first,
        spacing,
        [5, 4, 1],
        2,
    );
    check(
        "big_endian.npy",
        &load("big_endian.npy").unwrap(),
        first,
        spacing,
        [5, 4, 1],
        2,
    );
}

fn table(text: &str, layout: Option<Layout>) -> Result<Data, FormatFault> {
    csv::read(text.as_bytes(), layout)
}

/// The same grid in every spelling of a table, its rows in any order.
#[test]
fn tables_on_a_grid() {
    let mut rows: Vec<String> = Vec::new();
    for z in [2.0, 3.0] {
        for j in 0..4 {
            for i in 0..5 {
                let (x, y) = (1.0 + 0.5 * f64::from(i), -1.0 + 0.25 * f64::from(j));
                let [u, v, w] = truth([x, y, z]);
                rows.push(format!("{u},{x},{w},{y},{v},{z},extra"));
            }
        }
    }
    rows.reverse();
    rows.swap(3, 17);
    let names = "u,x,w,y,v,z,note";
    let plain = format!("{names}\n{}\n", rows.join("\n"));
    let spellings = [
        plain.clone(),
        plain.replace(',', ";"),
        plain.replace(',', "\t"),
        plain.replace(',', "  "),
        plain.replace('\n', "\r\n\r\n"),
        format!("\u{feff}# a comment\n# {plain}# the end\n"),
        plain.replace(names, "U (m/s), \"x [mm]\", w, Y, v [m/s], z, note"),
    ];
    for text in &spellings {
        for layout in [None, Some(Layout::Grid)] {
            let data = table(text, layout).unwrap_or_else(|f| panic!("{text}: {f:?}"));
            check("table", &data, [1.0, -1.0, 2.0], [0.5, 0.25, 1.0], [5, 4, 2], 3);
        }
    }
}

#[test]
fn tables_of_scattered_points() {
    let text = "x y u v\n0 0 1 2\n\n1 0.1 3 4\n0.3 1 5 6\n";
    let data = table(text, None).unwrap();
    assert_eq!(
        data.positions,
        Positions::Nodes(vec![[0.0, 0.0], [1.0, 0.1], [0.3, 1.0]])
    );
    assert_eq!(data.velocity, [[1.0, 2.0, 0.0], [3.0, 4.0, 0.0], [5.0, 6.0, 0.0]]);
    assert_eq!(data.name(1), "line 4");
    // A grid may be taken as scattered, and rounded coordinates make a grid.
    let grid =
        "x,y,u,v\n0,0,1,1\n0.333,0,2,2\n0.667,0,3,3\n1,0,4,4\n0,1,5,5\n0.333,1,6,6\n0.667,1,7,7\n1,1,8,8\n";
    assert!(matches!(
        table(grid, None).unwrap().positions,
        Positions::Grid { count: [4, 2, 1], .. }
    ));
    assert!(matches!(
        table(grid, Some(Layout::Scattered)).unwrap().positions,
        Positions::Nodes(_)
    ));
}

#[test]
fn bad_tables_say_where_and_why() {
    for (text, line, words) in [
        ("", None, "column names"),
        ("# only\n# comments", None, "column names"),
        ("x,y,u\n1,2,3", Some(1), "u and v"),
        ("x,y,u,v\n", None, "no points"),
        ("x,y,u,v\n1,2,3,4\n1,2,three,4", Some(3), "u is \"three\""),
        ("x,y,u,v\n1,2,3\n", Some(2), "column 4"),
        ("x;y;u;v\n1;2;0,5;4\n", Some(2), "point"),
        ("x,y,u,v\nnan,2,3,4\n", Some(2), "finite"),
        ("x,y,u,v\n1,2,inf,4\n", Some(2), "finite"),
        ("x,y,z,u,v\n1,2,0,3,4\n2,2,0,3,4\n2,3,1,3,4\n", Some(4), "z"),
    ] {
        let fault = table(text, None).unwrap_err();
        assert_eq!(fault.line, line, "{text}: {}", fault.message);
        assert!(fault.message.contains(words), "{text}: {}", fault.message);
    }
    let off = table(
        "x,y,u,v\n0,0,1,1\n1,0,1,1\n3,0,1,1\n0,1,1,1\n",
        Some(Layout::Grid),
    )
    .unwrap_err();
    assert!(off.message.contains("not a regular grid"), "{}", off.message);
    let twice = "x,y,u,v\n0,0,1,1\n1,0,1,1\n0,1,1,1\n0,1,1,1\n";
    let fault = table(twice, Some(Layout::Grid)).unwrap_err();
    assert!(fault.message.contains("line 5"), "{}", fault.message);
    let latin = csv::read(b"x,y,u,v\n1,2,3,4\n\xe9", None).unwrap_err();
    assert_eq!(latin.line, Some(3));
}

#[test]
fn bad_files_say_what_to_do() {
    for (name, words) in [
        ("lz4.vti", "only zlib"),
        ("fortran.npy", "ascontiguousarray"),
        ("integer.npy", "float32 or float64"),
    ] {
        let message = load(name).unwrap_err().to_string();
        assert!(message.contains(words) && message.contains(name), "{message}");
    }
    for name in ["ascii.vtk", "raw.vti"] {
        let path = sample(name);
        let message = read(&path, Format::of(&path).unwrap(), None, Some("wind"))
            .unwrap_err()
            .to_string();
        assert!(
            message.contains("wind") && message.contains("pressure"),
            "{message}"
        );
    }
}

/// Headers that claim more than the file holds: refused before anything is set aside for it. Each
/// claims 2^60 nodes or more.
#[test]
fn headers_are_not_believed() {
    let npy = |shape: &str| {
        let header = format!("{{'descr': '<f8', 'fortran_order': False, 'shape': {shape}, }}\n");
        let mut bytes = b"\x93NUMPY\x01\x00".to_vec();
        bytes.extend((header.len() as u16).to_le_bytes());
        bytes.extend(header.as_bytes());
        npy::read(&bytes).unwrap_err().message
    };
    assert!(npy("(2, 1073741824, 1073741824)").contains("cut short"));
    assert!(npy("(2, 9223372036854775807, 9223372036854775807)").contains("cut short"));
    assert!(npy("(2, 99999999999999999999, 2)").contains("shape"));
    let vtk = |dimensions: &str| {
        let text = format!(
            "# vtk DataFile Version 3.0\nt\nBINARY\nDATASET STRUCTURED_POINTS\nDIMENSIONS {dimensions}\nPOINT_DATA 4\nVECTORS v float\n"
        );
        vtk::read(text.as_bytes(), None).unwrap_err().message
    };
    assert!(vtk("1073741824 1073741824 1").contains("cut short"));
    assert!(vtk("2 2 1").contains("ends before"));
    let text = std::fs::read_to_string(sample("appended.vti")).unwrap();
    let large = text.replace("0 4 0 3 0 1", "0 1073741823 0 1073741823 0 1");
    assert!(
        xml::read(large.as_bytes(), None)
            .unwrap_err()
            .message
            .contains("cut short")
    );
    let most = text.replace("0 4 0 3 0 1", "-9223372036854775808 9223372036854775807 0 3 0 1");
    assert!(xml::read(most.as_bytes(), None).is_err());
}

/// Cut anywhere, or with any byte changed, a file is read or refused, never a panic.
#[test]
#[ignore = "slow: .ci/run takes it"]
fn damaged_files_are_refused_or_read() {
    type Parse = fn(&[u8]) -> Result<Data, FormatFault>;
    let parsers: [(&str, Parse); 11] = [
        ("depth.npy", |b| npy::read(b)),
        ("ascii.vtk", |b| vtk::read(b, None)),
        ("binary.vtk", |b| vtk::read(b, None)),
        ("ascii.vti", |b| xml::read(b, None)),
        ("inline.vti", |b| xml::read(b, None)),
        ("appended.vti", |b| xml::read(b, None)),
        ("raw.vti", |b| xml::read(b, None)),
        ("make.py", |b| csv::read(b, None)),
        ("compressed_inline.vti", |b| xml::read(b, None)),
        ("cylinder_raw.vtu", |b| xml::read(b, None)),
        ("cylinder_42.vtk", |b| vtk::read(b, None)),
    ];
    for (name, parse) in parsers {
        let bytes = std::fs::read(sample(name)).unwrap();
        for cut in 0..bytes.len() {
            let _ = parse(&bytes[..cut]);
        }
        for place in 0..bytes.len() {
            for change in [0x00, 0xff, b' ', b'\n', b'9', b'-', b'<', b'"', bytes[place] ^ 1] {
                let mut bytes = bytes.clone();
                bytes[place] = change;
                let _ = parse(&bytes);
            }
        }
    }
}
