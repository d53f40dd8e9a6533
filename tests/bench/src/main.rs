//! Named measures of hearing, latency and memory, compared with their goals.

mod beats;
mod board;
mod capacity;
mod coordinator;
mod desk;
mod ensemble;
mod evening;
mod figures;
mod flood;
mod forecast;
mod hearing;
mod hour;
mod joining;
mod light;
mod network;
mod opening;
mod record;
mod recordings;
mod regulation;
mod runs;
mod script;
mod statistics;
mod tuning;

use std::process::ExitCode;

/// A measure takes the words after its name and prints what it found.
type Measure = fn(&[String]) -> Result<(), String>;

/// Every measure: its name, what it is about, and what runs it.
const MEASURES: &[(&str, &str, Measure)] = &[
    ("hearing", hearing::ABOUT, hearing::run),
    ("evening", evening::ABOUT, evening::run),
    ("ensemble", ensemble::ABOUT, ensemble::run),
    ("desk", desk::ABOUT, desk::run),
    ("tuning", tuning::ABOUT, tuning::run),
    ("hour", hour::ABOUT, hour::run),
    ("joining", joining::ABOUT, joining::run),
    ("record", record::ABOUT, record::run),
    ("beats", beats::ABOUT, beats::run),
    ("regulation", regulation::ABOUT, regulation::run),
    ("opening", opening::ABOUT, opening::run),
    ("flood", flood::ABOUT, flood::run),
    ("network", network::ABOUT, network::run),
    ("capacity", capacity::ABOUT, capacity::run),
    ("serve", capacity::ABOUT_SERVE, capacity::serve),
    ("forecast", forecast::ABOUT, forecast::run),
    ("board", board::ABOUT, board::run),
];

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let name = words.first().map_or("", String::as_str);
    let Some((_, _, measure)) = MEASURES.iter().find(|(known, _, _)| *known == name) else {
        report("measures:");
        for (name, about, _) in MEASURES {
            report(&format!("  {name}  {about}"));
        }
        return if name.is_empty() || name == "--help" {
            ExitCode::SUCCESS
        } else {
            ExitCode::FAILURE
        };
    };
    match measure(&words[1..]) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            report(&format!("{name}: {why}"));
            ExitCode::FAILURE
        }
    }
}

/// Prints one line of a measure's result; nothing else in this program prints.
#[allow(clippy::print_stdout, reason = "the table is what this program is for")]
pub(crate) fn report(line: &str) {
    println!("{line}");
}
