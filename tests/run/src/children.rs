//! Child processes: cargo and the programs, with an environment that makes no build start over.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::Problem;

/// A command without the variables that cargo adds for this program.
///
/// Left in place they would change the fingerprint of every build script, and each of the two commands would rebuild
/// everything that the other one built.
pub(crate) fn command(program: impl AsRef<OsStr>) -> Command {
    let mut command = Command::new(program);
    for (name, _) in std::env::vars_os() {
        let text = name.to_string_lossy();
        if text.starts_with("CARGO") && text != "CARGO_HOME" && text != "CARGO_TARGET_DIR" {
            command.env_remove(&name);
        }
    }
    if in_ci() {
        // Nobody builds there a second time: what a next build would need is not written.
        command.env("CARGO_INCREMENTAL", "0");
    }
    command.current_dir(workspace());
    command
}

/// Runs cargo with `words`; its output is the person's.
pub(crate) fn cargo(words: &[&str]) -> Result<(), Problem> {
    must(command("cargo").args(words), &format!("cargo {}", words.join(" ")))
}

/// Runs `command`, which people know as `name`, and asks for success.
pub(crate) fn must(command: &mut Command, name: &str) -> Result<(), Problem> {
    match command.status() {
        Ok(status) if status.success() => Ok(()),
        Ok(status) => Err(format!("`{name}` ended with {status}: what it printed above says why")),
        Err(error) => Err(format!("`{name}` cannot be started: {error}")),
    }
}

/// Whether `program` with `words` runs and succeeds; it prints nothing.
pub(crate) fn succeeds(program: impl AsRef<OsStr>, words: &[&str]) -> bool {
    command(program)
        .args(words)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|status| status.success())
}

/// The commit that is checked out, in hexadecimal digits; empty where that cannot be told.
pub(crate) fn commit() -> String {
    let told = command("git")
        .args(["rev-parse", "HEAD"])
        .stderr(Stdio::null())
        .output();
    told.map(|output| String::from_utf8_lossy(&output.stdout).trim().to_owned())
        .unwrap_or_default()
}

/// The workspace's own folder.
pub(crate) fn workspace() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .ancestors()
        .nth(2)
        .map(Path::to_path_buf)
        .unwrap_or_default()
}

/// Where builds go.
pub(crate) fn target() -> PathBuf {
    match std::env::var_os("CARGO_TARGET_DIR") {
        Some(folder) => workspace().join(folder),
        None => workspace().join("target"),
    }
}

/// Whether this runs unattended, where anything left out is a failure.
pub(crate) fn in_ci() -> bool {
    std::env::var_os("CI").is_some_and(|value| !value.is_empty() && value != "false")
}
