//! motefield.
fn main() {}
