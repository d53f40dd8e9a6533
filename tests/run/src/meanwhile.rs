//! Work at the lowest priority while something else runs, in what that leaves idle.

use std::ffi::OsStr;
use std::process::{Child, Command, Output, Stdio};

use crate::children::{command, succeeds};

/// A command whose turn comes where nothing else has work to do.
pub(crate) fn patient(program: impl AsRef<OsStr>) -> Command {
    if !succeeds("nice", &["true"]) {
        return command(program);
    }
    let mut patient = command("nice");
    patient.args(["-n", "19"]).arg(program);
    patient
}

/// A command that runs beside others; what fails before it was waited for ends it.
#[derive(Debug)]
pub(crate) struct Meanwhile(Option<Child>);

impl Meanwhile {
    /// Starts it; what it prints is kept for [`Meanwhile::finish`].
    pub(crate) fn begin(command: &mut Command) -> std::io::Result<Self> {
        let child = command
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()?;
        Ok(Self(Some(child)))
    }

    /// Waits for its end; its complaints are what it printed.
    pub(crate) fn finish(mut self) -> std::io::Result<Output> {
        match self.0.take() {
            Some(child) => child.wait_with_output(),
            None => Err(std::io::Error::other("it was waited for before")),
        }
    }
}

impl Drop for Meanwhile {
    fn drop(&mut self) {
        if let Some(child) = &mut self.0 {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_runs_beside_others_tells_its_end_and_its_complaints() -> std::io::Result<()> {
        let run = Meanwhile::begin(patient("sh").args(["-c", "echo a link is broken >&2; exit 3"]))?;
        let output = run.finish()?;
        assert_eq!(output.status.code(), Some(3));
        assert_eq!(output.stderr, b"a link is broken\n");
        Ok(())
    }

    #[test]
    fn what_nobody_waits_for_ends_with_its_handle() -> std::io::Result<()> {
        let run = Meanwhile::begin(patient("sleep").arg("600"))?;
        let id = run.0.as_ref().map(Child::id).expect("it runs").to_string();
        let is_there = || succeeds("kill", &["-0", &id]);
        assert!(is_there());
        drop(run);
        assert!(!is_there(), "process {id} goes on");
        Ok(())
    }
}
