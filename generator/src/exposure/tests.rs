use super::*;

/// The quintic reproduces a path of fifth degree in time exactly.
#[test]
fn quintic_reproduces_degree_five() {
    let place = |s: f64| [1.0 - 2.0 * s + s.powi(5), s * s - 0.3 * s.powi(4), s.powi(3)];
    let speed = |s: f64| [-2.0 + 5.0 * s.powi(4), 2.0 * s - 1.2 * s.powi(3), 3.0 * s * s];
    let nodes = [-1.0, 0.0, 1.0];
    let arc = Arc {
        at: nodes.map(place),
        velocity: nodes.map(speed),
    };
    for s in [-1.0, -0.7, -0.2, 0.0, 0.4, 0.9, 1.0] {
        for i in 0..3 {
            assert!((arc.place(&HermiteWeights::at(s))[i] - place(s)[i]).abs() < 1e-14);
        }
    }
}
