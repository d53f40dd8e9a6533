//! The rehearsal that `cargo demo` plays: two stations hear recorded harps, one coordinator shows who is in tune.

use std::process::ExitCode;

use consort_tests::process::say;
use consort_tests::rehearsal::{Options, play};

fn main() -> ExitCode {
    let options = match Options::parse(std::env::args().skip(1)) {
        Ok(options) => options,
        Err(why) => {
            say(&why);
            return ExitCode::from(2);
        }
    };
    match play(&options) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(why) => {
            say(&format!("The rehearsal broke off: {why}"));
            ExitCode::FAILURE
        }
    }
}
