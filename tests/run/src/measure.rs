//! `cargo measure`: builds the programs as they are released, then runs a named measure on a network of its own.

use crate::children::{self, cargo, command, must};
use crate::isolation::Isolation;
use crate::{Problem, packages, say};

pub(crate) fn run(options: &[String]) -> Result<(), Problem> {
    packages::ensure()?;
    say("Building as for a release …");
    cargo(&[
        "build",
        "--quiet",
        "--release",
        "-p",
        "consort-coordinator",
        "-p",
        "consort-station",
        "-p",
        "consort-bench",
    ])?;
    let program = children::target().join("release").join("consort-bench");
    // The measure is started where the person is, so that the files she names are found.
    let here = std::env::current_dir().unwrap_or_else(|_| children::workspace());
    let mut measure = Isolation::find().map_or_else(|| command(&program), |isolation| isolation.command(&program));
    must(measure.args(options).current_dir(here), "consort-bench")
}
