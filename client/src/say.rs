//! The one place that prints: whole lines, at once, to standard output or standard error.

use std::io::{self, Write};

/// Prints `line` to standard output.
///
/// Whoever reads it may have gone: then nobody misses the line.
pub fn line(line: &str) {
    let mut out = io::stdout().lock();
    let _ = writeln!(out, "{line}").and_then(|()| out.flush());
}

/// Prints a sentence for a person, after the program's name, to standard error.
pub fn note(sentence: &str) {
    let _ = writeln!(io::stderr().lock(), "station: {sentence}");
}
