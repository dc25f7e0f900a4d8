//! Where a field is looked at before any picture is rendered.

/// Points along each side of the picture.
const SIDE: usize = 33;

/// Points of a picture of the given size, px, on a lattice from border to border, row by row.
pub fn points(size: [usize; 2]) -> impl Iterator<Item = [f64; 2]> {
    let step = size.map(|n| (n as f64 - 1.0) / (SIDE as f64 - 1.0));
    (0..SIDE * SIDE).map(move |k| [(k % SIDE) as f64 * step[0], (k / SIDE) as f64 * step[1]])
}
