//! The truth, written beside what is heard: what was done, what the station said, and every string as it truly is.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::Path;

use serde::Serialize;

use crate::harp::TrueString;

/// A file of one line of JSON for each deed, each line of the station and each look at all strings; or none.
#[derive(Debug, Default)]
pub struct Truth(Option<BufWriter<File>>);

/// What the station said, as it said it.
#[derive(Serialize)]
struct Said<'a> {
    time_s: f64,
    said: &'a str,
}

/// Every string as it truly is.
#[derive(Serialize)]
struct Standing<'a> {
    time_s: f64,
    standing: &'a [TrueString],
}

impl Truth {
    /// Writes to `path`, which is emptied first, or nowhere; a file that cannot be written comes back as one sentence.
    pub fn new(path: Option<&Path>) -> Result<Self, String> {
        let file =
            path.map(|path| File::create(path).map_err(|why| format!("{} cannot be written: {why}", path.display())));
        Ok(Self(file.transpose()?.map(BufWriter::new)))
    }

    /// Writes what was done.
    pub fn line(&mut self, line: &impl Serialize) -> Result<(), String> {
        let Some(file) = &mut self.0 else { return Ok(()) };
        let line = serde_json::to_string(line).map_err(|why| why.to_string())?;
        writeln!(file, "{line}").map_err(|why| format!("the truth cannot be written: {why}"))
    }

    /// Writes every string as it truly is after `time_s` seconds of sound.
    pub fn standing(&mut self, time_s: f64, standing: &[TrueString]) -> Result<(), String> {
        self.line(&Standing { time_s, standing })
    }

    /// Writes what the station said after `time_s` seconds of sound.
    pub fn said(&mut self, time_s: f64, line: &str) -> Result<(), String> {
        self.line(&Said { time_s, said: line })
    }
}
