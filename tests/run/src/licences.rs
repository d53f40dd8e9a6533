//! Licences, bans, sources and advisories of what is depended on.
//!
//! Their checker takes minutes to build and seconds to run: it is built while the tests run, in what these leave idle.

use std::path::PathBuf;

use crate::children::{self, command, must, succeeds};
use crate::meanwhile::{Meanwhile, patient};
use crate::{Problem, say};

/// The version of the checker that the committed rules are written for.
const VERSION: &str = "0.20.2";

/// The checker, which is there or being built into the target folder.
#[derive(Debug)]
pub(crate) struct Checker {
    binary: PathBuf,
    build: Option<Meanwhile>,
}

impl Checker {
    /// Begins to build it where it is not there yet.
    pub(crate) fn begin() -> Self {
        let root = children::target().join("tools");
        let binary = root.join("bin").join("cargo-deny");
        if succeeds(&binary, &["--version"]) {
            return Self { binary, build: None };
        }
        say("The licence checker is built meanwhile, once.");
        let folder = root.to_string_lossy().into_owned();
        // A folder of its own: two builds in one would wait for each other.
        let aside = root.join("build").to_string_lossy().into_owned();
        let words = [
            "install",
            "--quiet",
            "--locked",
            "--debug",
            "cargo-deny",
            "--version",
            VERSION,
            "--root",
            &folder,
            "--target-dir",
            &aside,
        ];
        let mut build = patient("cargo");
        // It is built to be run once: what helps to look into it would only be built.
        build.args(words).env("CARGO_PROFILE_DEV_DEBUG", "0");
        Self {
            binary,
            build: Meanwhile::begin(&mut build).ok(),
        }
    }

    /// Checks, once it is built.
    pub(crate) fn check(mut self) -> Result<(), Problem> {
        if let Some(build) = self.build.take() {
            // How it ended is seen by whether the checker is there.
            let _ = build.finish();
            // What it was built from is not needed any more, nor missed where it stays.
            let _ = std::fs::remove_dir_all(children::target().join("tools/build"));
        }
        if !succeeds(&self.binary, &["--version"]) {
            return if children::in_ci() {
                Err("the licence checker could not be built, and unattended runs leave nothing out".to_owned())
            } else {
                say("   not checked: the licence checker could not be built here");
                Ok(())
            };
        }
        must(
            &mut self.on(&["bans", "licenses", "sources"]),
            "cargo deny check bans licenses sources",
        )?;
        let output = self
            .on(&["advisories"])
            .output()
            .map_err(|error| format!("the licence checker cannot be started: {error}"))?;
        let text = String::from_utf8_lossy(&output.stderr);
        if output.status.success() {
            Ok(())
        } else if OUT_OF_REACH.iter().any(|reason| text.contains(reason)) {
            say("   advisories: not checked, their database cannot be reached from here");
            Ok(())
        } else {
            Err(format!("an advisory speaks of a dependency:\n{text}"))
        }
    }

    fn on(&self, what: &[&str]) -> std::process::Command {
        let mut run = command(&self.binary);
        run.args([
            "--workspace",
            "--locked",
            "--config",
            ".deny.toml",
            "check",
            "--hide-inclusion-graph",
        ]);
        run.args(what);
        run
    }
}

/// What the checker says where the advisories' database is not to be had.
const OUT_OF_REACH: [&str; 5] = [
    "failed to fetch",
    "unable to fetch",
    "failed to clone",
    "failed to open advisory",
    "resolve host",
];
