//! `cargo verify`.
fn main() {}
