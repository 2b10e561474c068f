//! fingertape, the program.
fn main() {}
