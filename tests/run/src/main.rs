//! The two commands: cargo demo, cargo verify.

fn main() {}
