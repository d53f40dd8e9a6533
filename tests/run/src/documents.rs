//! The documents of the code, which are written while the tests run.

use crate::Problem;
use crate::meanwhile::{Meanwhile, patient};

/// The writing of the documents; a link that leads nowhere fails it.
#[derive(Debug, Default)]
pub(crate) struct Documents(Option<Meanwhile>);

impl Documents {
    /// Begins to write them.
    ///
    /// Cargo builds one thing at a time in a folder: whoever begins while something is built there makes one of both wait.
    pub(crate) fn begin(&mut self) {
        let mut write = patient("cargo");
        write
            .args([
                "doc",
                "--quiet",
                "--workspace",
                "--no-deps",
                "--locked",
                "--document-private-items",
            ])
            .env("RUSTDOCFLAGS", "-D warnings");
        self.0 = Meanwhile::begin(&mut write).ok();
    }

    /// Whether they could be written, once they are.
    pub(crate) fn check(&mut self) -> Result<(), Problem> {
        if self.0.is_none() {
            self.begin();
        }
        let written = match self.0.take() {
            Some(writing) => writing.finish(),
            None => Err(std::io::Error::other("cargo is not there")),
        };
        match written {
            Ok(output) if output.status.success() => Ok(()),
            Ok(output) => Err(format!(
                "the documents of the code have faults:\n{}",
                String::from_utf8_lossy(&output.stderr)
            )),
            Err(error) => Err(format!("`cargo doc` cannot be started: {error}")),
        }
    }
}
