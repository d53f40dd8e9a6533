//! Writes a record of the newest layout, for the test that opens those of every layout.
//!
//! `cargo run -p consort-record-store --example fixture -- client/record-store/tests/layout-5.sqlite`, once for a new
//! layout: a file that is there is never written anew.

#[allow(dead_code, reason = "the tests use more of it")]
#[path = "../tests/filled/mod.rs"]
mod filled;

use std::fs;
use std::io;
use std::path::PathBuf;

fn main() -> io::Result<()> {
    let Some(to) = std::env::args().nth(1).map(PathBuf::from) else {
        return Err(io::Error::other("name the file to write"));
    };
    if to.exists() {
        return Err(io::Error::other(format!("{} is there already and stays", to.display())));
    }
    let (_place, mut store, kept) = filled::begun("fixture");
    filled::fill(&mut store, &kept);
    let path = store.path().to_owned();
    drop(store);
    fs::copy(path, to).map(drop)
}
