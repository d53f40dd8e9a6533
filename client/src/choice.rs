//! What is chosen by a word on the command line: the harp and the temperament.

use std::fs;
use std::path::{Path, PathBuf};

use consort_proto::Harp;
use consort_proto::harp_file::{self, HarpFileError};
use consort_record_store::RecordError;
use consort_store::Folder;

use crate::config::PROGRAM;
use crate::record;

/// Why a word is not a harp.
#[derive(Debug, thiserror::Error)]
pub enum NotAHarpChoice {
    /// No preset, where only those are printed.
    #[error("there is no usual harp called “{name}” to be printed: choose one of {presets}")]
    NoPreset {
        /// What was typed.
        name: String,
        /// The presets, with commas.
        presets: String,
    },
    /// Neither a preset nor a file.
    #[error(
        "there is no harp called “{name}” here: choose one of {presets}, name a harp file, or a harp of the record as “record harps” lists it"
    )]
    Unknown {
        /// What was typed.
        name: String,
        /// The presets, with commas.
        presets: String,
    },
    /// Perhaps one of the record, which cannot be read.
    #[error("whether a harp of the record is called “{name}” cannot be seen: {cause}")]
    Record {
        /// What was typed.
        name: String,
        /// What is wrong with the record.
        cause: RecordError,
    },
    /// The file cannot be read.
    #[error("the harp file {path} cannot be read ({cause}): look at its name and place")]
    Unreadable {
        /// The file.
        path: String,
        /// What the system said.
        cause: std::io::Error,
    },
    /// The file is read, but does not describe a harp.
    #[error("{path}: {cause}")]
    File {
        /// The file.
        path: String,
        /// What is wrong with it.
        cause: HarpFileError,
    },
}

/// A harp and the harp file that describes it, so that it can be remembered even when the file has gone.
#[derive(Clone, Debug)]
pub struct ChosenHarp {
    /// The harp.
    pub harp: Harp,
    /// Its harp file.
    pub text: String,
    /// What the word was.
    pub by: By,
}

/// What kind of word chose a harp.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum By {
    /// The name of a preset: a size, which one's own harp may have.
    Preset,
    /// The path of a harp file.
    File,
    /// The name of a harp of the record.
    Record,
}

/// The harp of whoever has not chosen one.
pub const USUAL_HARP: &str = "pedal-47";

/// The harp that `word` chooses: the name of a preset, or the path of a harp file; without a word, the usual one.
pub fn harp(word: Option<&str>) -> Result<ChosenHarp, NotAHarpChoice> {
    let word = word.unwrap_or(USUAL_HARP);
    if let (Some(harp), Some(text)) = (harp_file::preset(word), harp_file::preset_text(word)) {
        return Ok(ChosenHarp {
            harp,
            text: text.to_owned(),
            by: By::Preset,
        });
    }
    let path = Path::new(word);
    let is_path = path.extension().is_some_and(|end| end == "toml") || path.components().count() > 1 || path.exists();
    if !is_path {
        return Err(NotAHarpChoice::Unknown {
            name: word.chars().take(60).collect(),
            presets: preset_list(),
        });
    }
    let text = fs::read_to_string(path).map_err(|cause| NotAHarpChoice::Unreadable {
        path: word.to_owned(),
        cause,
    })?;
    match harp_file::parse(&text) {
        Ok(harp) => Ok(ChosenHarp {
            harp,
            text,
            by: By::File,
        }),
        Err(cause) => Err(NotAHarpChoice::File {
            path: word.to_owned(),
            cause,
        }),
    }
}

/// The harp that `word` chooses at a station whose data lies in `data`: first one that its record knows by that name, so
/// that no file or preset stands before it; a word with a slash is a file where there is one.
///
/// # Errors
///
/// As [`harp`], when the record does not know it either.
pub(crate) fn harp_here(word: &str, data: &Path) -> Result<ChosenHarp, NotAHarpChoice> {
    if word.contains(std::path::is_separator) && Path::new(word).exists() {
        return harp(Some(word));
    }
    let called = match record::harp_called(data, word) {
        Ok(called) => called,
        // A preset or a file needs no record.
        Err(cause) => {
            return harp(Some(word)).map_err(|why| match why {
                NotAHarpChoice::Unknown { name, .. } => NotAHarpChoice::Record { name, cause },
                other => other,
            });
        }
    };
    let known = called.and_then(|harp| {
        let text = harp_file::write(&harp).ok()?;
        Some(ChosenHarp {
            harp,
            text,
            by: By::Record,
        })
    });
    known.map_or_else(|| harp(Some(word)), Ok)
}

/// The same for what is printed without a station: in the usual place for its data where none is named.
pub(crate) fn harp_at(word: Option<&str>, data: Option<PathBuf>) -> Result<ChosenHarp, NotAHarpChoice> {
    match (word, data.or_else(|| Folder::usual(PROGRAM).ok())) {
        (Some(word), Some(data)) => harp_here(word, &data),
        (word, _) => harp(word),
    }
}

/// Whether `name` means a preset or a file wherever a harp is chosen, so that none of the record should be called so.
pub(crate) fn is_taken(name: &str) -> bool {
    let is_file = Path::new(name)
        .extension()
        .is_some_and(|end| end.eq_ignore_ascii_case("toml"));
    is_file || harp_file::preset_names().any(|preset| preset.eq_ignore_ascii_case(name))
}

/// The presets' names, with commas.
pub fn preset_list() -> String {
    harp_file::preset_names().collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_harp_is_a_preset_or_a_file() {
        assert!(harp(None).is_ok_and(|chosen| chosen.harp.len() == 47));
        assert!(harp(Some("lever-34")).is_ok_and(|chosen| chosen.harp.len() == 34 && chosen.text.contains("lever")));
        let unknown = harp(Some("pedal-99")).expect_err("no such harp").to_string();
        assert!(
            unknown.contains("lever-34") && unknown.contains("pedal-99"),
            "{unknown}"
        );
        assert!(matches!(
            harp(Some("nowhere/mine.toml")),
            Err(NotAHarpChoice::Unreadable { .. })
        ));
    }
}
