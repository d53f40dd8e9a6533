//! The commands: `cargo demo`, `cargo measure` and `cargo verify`.
//!
//! This package has no dependencies and needs no system library, so that it builds on a machine that has only Rust; it
//! then installs what the rest needs.

mod children;
mod demo;
mod documents;
mod isolation;
mod licences;
mod meanwhile;
mod measure;
mod packages;
mod verify;

use std::process::ExitCode;

/// One sentence that says what went wrong and what to do.
pub(crate) type Problem = String;

const USAGE: &str = "\
cargo demo [OPTIONS]           a rehearsal of four virtual harps: real stations, one coordinator, one board
    --fast            hand the sound over as fast as it can be heard, not at its own pace
    --stay            keep the coordinator and its board open at the end, until Ctrl-C
    --mishaps         kill a station and the coordinator on the way, and start them again
    --truth FOLDER    write for each harpist what she did, what her station said and what was true
cargo measure [NAME]           a named measure of hearing, latency or memory; without a name, which there are
cargo verify                   everything that must hold before a change lands: style, lints, documents, licences, tests";

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let outcome = match words.split_first() {
        Some((command, options)) if command == "demo" => demo::run(options),
        Some((command, options)) if command == "measure" => measure::run(options),
        Some((command, options)) if command == "verify" => verify::run(options),
        Some((command, _)) if command == "help" || command == "--help" => {
            say(USAGE);
            Ok(())
        }
        _ => Err(format!("say what to run:\n{USAGE}")),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(problem) => {
            complain(&problem);
            ExitCode::FAILURE
        }
    }
}

/// Prints one line for the person who started the command.
#[allow(clippy::print_stdout)] // The one place of this program that prints.
pub(crate) fn say(line: &str) {
    use std::io::Write;
    let mut out = std::io::stdout();
    // A reader that went away is no reason to stop a check that is under way.
    let _ = writeln!(out, "{line}").and_then(|()| out.flush());
}

#[allow(clippy::print_stderr)] // The one place of this program that complains.
fn complain(problem: &str) {
    eprintln!("consort: {problem}");
}
