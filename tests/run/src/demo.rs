//! `cargo demo`: builds the programs, then plays a rehearsal with them on a network of their own.

use crate::children::{self, cargo, command, must};
use crate::isolation::Isolation;
use crate::{Problem, packages, say};

pub(crate) fn run(options: &[String]) -> Result<(), Problem> {
    check(options)?;
    packages::ensure()?;
    say("Building the coordinator, the station and the rehearsal (a few minutes the first time) …");
    cargo(&[
        "build",
        "--quiet",
        "-p",
        "consort-coordinator",
        "-p",
        "consort-station",
        "-p",
        "consort-tests",
        "--bins",
    ])?;
    let program = children::target().join("debug").join("consort-rehearsal");
    match Isolation::find() {
        Some(isolation) => isolated(isolation, &program, options),
        None => {
            say("No private network can be made here, so the stations join by link and nothing is announced.");
            must(
                command(program).args(options).arg("--no-discovery"),
                "consort-rehearsal",
            )
        }
    }
}

/// What is wrong with the options is said before anything is built.
fn check(options: &[String]) -> Result<(), Problem> {
    let mut words = options.iter();
    while let Some(word) = words.next() {
        match word.as_str() {
            "--fast" | "--stay" | "--mishaps" => {}
            "--truth" if words.next().is_some() => {}
            "--truth" => return Err("--truth needs a folder".to_owned()),
            unknown => {
                return Err(format!(
                    "the demo has no option “{unknown}”: it knows --fast, --stay, --mishaps and --truth FOLDER"
                ));
            }
        }
    }
    Ok(())
}

#[cfg(unix)]
fn isolated(isolation: Isolation, program: &std::path::Path, options: &[String]) -> Result<(), Problem> {
    let socket = std::env::temp_dir().join(format!("consort-board-{}.sock", std::process::id()));
    let port =
        consort_run::forward::to_socket(&socket).map_err(|error| format!("no loopback port for the board: {error}"))?;
    let mut rehearsal = isolation.command(program);
    rehearsal
        .args(options)
        .arg("--board-socket")
        .arg(&socket)
        .arg("--board-shown-at")
        .arg(port.to_string());
    let outcome = must(&mut rehearsal, "consort-rehearsal");
    let _ = std::fs::remove_file(&socket);
    outcome
}

#[cfg(not(unix))]
fn isolated(_: Isolation, program: &std::path::Path, options: &[String]) -> Result<(), Problem> {
    must(
        command(program).args(options).arg("--no-discovery"),
        "consort-rehearsal",
    )
}
