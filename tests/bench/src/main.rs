//! Named measures of hearing, latency and memory, compared with their goals.

fn main() {}
