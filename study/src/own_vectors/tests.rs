//! Vectors in files of every kind, written here by hand or byte by byte.

use super::*;

fn read_text(text: &str, reading: &TableReading) -> Result<PlacedVectors, String> {
    read(Path::new("v.txt"), text.as_bytes(), reading, 100).map_err(|e| e.to_string())
}

fn columns(text: &str) -> TableReading {
    TableReading {
        columns: text.parse().unwrap(),
        ..TableReading::default()
    }
}

/// The same two vectors, the second without a displacement.
fn same(found: &PlacedVectors) {
    assert_eq!(found.at, [[1.5, 2.0], [17.5, 2.0]]);
    assert_eq!(found.moved[0], [0.25, -3.0]);
    assert!(found.moved[1].iter().all(|d| d.is_nan()));
}

#[test]
fn separators_names_gaps_and_flags() {
    for text in [
        "1.5,2,0.25,-3\n17.5,2,,\n",
        "x,y,dx,dy\n1.5,2,0.25,-3\n17.5,2,NaN,1\n",
        "x [px];y [px];u;v\n1,5;2;0,25;-3\n17,5;2;-;-\n",
        "# a remark\n# x y u v\n1.5 2 0.25 -3\n17.5 2 nan nan\n",
        "x [mm]  y [mm]  dx (px)  dy (px)\n1.5 2 0.25 -3\n17.5 2 nan nan\n",
        "% x [mm] y [mm] u [m/s] v [m/s] flag\n1.5 2 0.25 -3 7\n17.5 2 - - 7\n",
        "\u{feff}y\tx\tdy\tdx\r\n2\t1.5\t-3\t0.25\r\n2\t17.5\t\t\r\n",
        "x_px,y_px,dx_px,dy_px,peak_ratio,status\n1.5,2,0.25,-3,2,valid\n17.5,2,1,1,2,outlier\n",
    ] {
        same(&read_text(text, &TableReading::default()).unwrap_or_else(|e| panic!("{text}: {e}")));
    }
    let five = "7 1.5 2 0.25 -3 1\n8 17.5 2 9 9 0\n";
    let flagged = TableReading {
        good: vec!["1".to_owned()],
        ..columns("x=2,y=3,dx=4,dy=5,flag=6")
    };
    same(&read_text(five, &flagged).unwrap());
    let named = "id,a,b,c,d\n1,1.5,2,0.25,-3\n1,17.5,2,,\n";
    same(&read_text(named, &columns("x=a,y=b,dx=c,dy=d")).unwrap());
}

#[test]
fn faults_name_the_line_and_the_remedy() {
    let fault = |text: &str, reading: &TableReading| read_text(text, reading).unwrap_err();
    let plain = TableReading::default();
    assert!(fault("1 2 3 4 5\n", &plain).contains("x=1,y=2,dx=3,dy=4"));
    assert!(fault("1 2 3 4\n1 2 three 4\n", &plain).contains("line 2: dx is \"three\""));
    assert!(fault("1 2 3 4\n1 2 3\n", &plain).contains("line 2: has 3 entries"));
    assert!(fault("x,y,dx,dy\n,2,3,4\n", &plain).contains("line 2: a position is missing"));
    assert!(fault("x,y,dx,dy\n1,2,3,4\n", &columns("dx=speed")).contains("no column speed for dx"));
    assert!(fault("x,y,dx,dy\n1,2,inf,4\n", &plain).contains("infinite"));
    assert!(fault("# nothing\n", &plain).contains("no vector"));
    assert!(fault("x,y,dx,dy\n", &plain).contains("no vectors"));
    assert!("x=1,z=2".parse::<Columns>().unwrap_err().contains("z=2"));
    assert!(read(Path::new("v.bin"), &[0xff, 0xfe, 0x00], &plain, 100).is_err());
}

/// An NPY file as numpy.lib.format documents it.
fn npy(kind: &str, shape: &str, fortran: &str, data: &[u8]) -> Vec<u8> {
    let header = format!("{{'descr': '{kind}', 'fortran_order': {fortran}, 'shape': {shape}, }}\n");
    let mut bytes = b"\x93NUMPY\x01\x00".to_vec();
    bytes.extend((header.len() as u16).to_le_bytes());
    bytes.extend(header.bytes());
    bytes.extend(data);
    bytes
}

fn doubles(values: &[f64]) -> Vec<u8> {
    values.iter().flat_map(|v| v.to_le_bytes()).collect()
}

#[test]
fn arrays_of_every_shape() {
    let plain = TableReading::default();
    let of = |bytes: &[u8]| read(Path::new("v.npy"), bytes, &plain, 100).map_err(|e| e.to_string());
    let nan = f64::NAN;
    same(
        &of(&npy(
            "<f8",
            "(2, 4)",
            "False",
            &doubles(&[1.5, 2.0, 0.25, -3.0, 17.5, 2.0, nan, 0.0]),
        ))
        .unwrap(),
    );
    same(
        &of(&npy(
            "<f8",
            "(2, 4)",
            "True",
            &doubles(&[1.5, 17.5, 2.0, 2.0, 0.25, nan, -3.0, 0.0]),
        ))
        .unwrap(),
    );
    same(
        &of(&npy(
            "<f8",
            "(4, 1, 2)",
            "False",
            &doubles(&[1.5, 17.5, 2.0, 2.0, 0.25, nan, -3.0, 0.0]),
        ))
        .unwrap(),
    );
    // Displacements at every row and column.
    let field = of(&npy("<f8", "(2, 2, 1)", "False", &doubles(&[1.0, 2.0, 3.0, 4.0]))).unwrap();
    assert_eq!(
        (field.at, field.moved),
        (vec![[0.0, 0.0], [0.0, 1.0]], vec![[1.0, 3.0], [2.0, 4.0]])
    );
    let last = of(&npy("|u1", "(1, 2, 2)", "False", &[1, 2, 3, 4])).unwrap();
    assert_eq!(
        (last.at, last.moved),
        (vec![[0.0, 0.0], [1.0, 0.0]], vec![[1.0, 2.0], [3.0, 4.0]])
    );
    for (shape, needle) in [
        ("(3,)", "shape"),
        ("(9, 4)", "cut short"),
        ("(99999999999, 99999999999)", "cut short"),
    ] {
        let fault = of(&npy("<f8", shape, "False", &doubles(&[1.0; 3]))).unwrap_err();
        assert!(fault.contains(needle), "{fault}");
    }
}

#[test]
fn cells_of_grids_and_of_clouds() {
    // A grid in any order, with a gap; positions rounded to 0.01 px.
    let at = [[20.33, 5.0], [0.0, 5.0], [10.17, 15.0], [0.0, 15.0], [10.17, 5.0]];
    let lattice = Lattice::of(&at, Some(16.0));
    assert_eq!((lattice.columns, lattice.rows, lattice.reach), (3, 2, [1, 1]));
    assert_eq!(lattice.cell, [2, 0, 4, 3, 1]);
    assert_eq!(lattice.taken(), [true, true, true, true, true, false]);
    // Another order is the same grid; another place is not.
    let mut other = PlacedVectors {
        at: at.iter().rev().copied().collect(),
        moved: (0..5).map(|k| [f64::from(k), 0.0]).collect(),
    };
    let matched: Vec<f64> = lattice.matched(&other).unwrap().iter().map(|d| d[0]).collect();
    assert_eq!(matched, [4.0, 3.0, 2.0, 1.0, 0.0]);
    other.at[0][0] += 1.0;
    assert_eq!(lattice.matched(&other), None);
    // A cloud: every vector has a cell of its own, near where it stands.
    let cloud: Vec<[f64; 2]> = (0..200)
        .map(f64::from)
        .map(|k| [(k * 37.7) % 101.3, (k * 12.9) % 57.1])
        .collect();
    let lattice = Lattice::of(&cloud, None);
    assert_eq!(lattice.taken().iter().filter(|t| **t).count(), 200);
    assert!(lattice.columns * lattice.rows < 2000 && lattice.reach[0] > 3);
    // Dense fields are thinned along both axes.
    let dense = PlacedVectors {
        at: (0..300 * 200)
            .map(|k| [f64::from(k % 300), f64::from(k / 300)])
            .collect(),
        moved: vec![[0.0; 2]; 60_000],
    };
    let (thin, every) = thinned(dense);
    assert_eq!((every, thin.at.len(), thin.at[1]), (2, 150 * 100, [2.0, 0.0]));
}
