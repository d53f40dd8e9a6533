//! Playing a logbook again.

use consort_proto::Uptime;
use serde_json::Value;

use crate::VERSION;
use crate::logged::{Core, shortened};
use crate::written::{Unread, Written};

/// What was played.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct Replayed {
    /// How often the program was started.
    pub lives: usize,
    /// What happened to it.
    pub events: usize,
    /// What it wanted done; each of it was wanted again.
    pub effects: usize,
}

/// Why a logbook was not played to its end.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ReplayError {
    /// A line is none of a logbook.
    #[error("line {line} is none of a logbook ({why}): was the file edited or cut in two?")]
    NotALine {
        /// Counted from 1.
        line: usize,
        /// What is wrong with it.
        why: Unread,
    },
    /// The file does not begin as a logbook.
    #[error("this is no logbook: it does not begin with a start")]
    NoStart,
    /// It is another program's.
    #[error("this is a logbook of the {found}, not of the {wanted}: replay it with that program")]
    OtherProgram {
        /// Whose it is.
        found: String,
        /// Whose it should be.
        wanted: &'static str,
    },
    /// It is of a newer version.
    #[error("this logbook is of version {0}, this program reads version {VERSION}: use a newer one")]
    Newer(u64),
    /// The core wants something else than was written down.
    #[error("line {line} differs: written down is “{written}”, and this program wants “{wanted}”")]
    Differs {
        /// Counted from 1.
        line: usize,
        /// What was wanted then.
        written: String,
        /// What is wanted now, whole.
        wanted: String,
    },
}

/// Starts the core as it was started, tells it everything again, and compares everything that it wants done.
///
/// A last line that was cut, since the program was killed while it wrote it, is left out.
pub fn replay<C: Core>(text: &str) -> Result<Replayed, ReplayError> {
    let mut replayed = Replayed::default();
    let mut core: Option<C> = None;
    let whole = text.rfind('\n').map_or("", |end| &text[..end]);
    for (line, text) in (1..).zip(whole.lines()) {
        let not_a_line = |why: Unread| ReplayError::NotALine { line, why };
        let value: Value = serde_json::from_str(text).map_err(|why| not_a_line(Unread(why.to_string())))?;
        let fields = value.as_array().map(Vec::as_slice).unwrap_or_default();
        match (fields, &mut core) {
            ([word, program, version, _, at, begun], core) if word == "start" => {
                let found = program.as_str().unwrap_or_default();
                if found != C::PROGRAM {
                    return Err(ReplayError::OtherProgram {
                        found: found.to_owned(),
                        wanted: C::PROGRAM,
                    });
                }
                let version = u64::read(version).map_err(not_a_line)?;
                if version > VERSION {
                    return Err(ReplayError::Newer(version));
                }
                let at = Uptime::read(at).map_err(not_a_line)?;
                *core = Some(C::start(at, Written::read(begun).map_err(not_a_line)?));
                replayed.lives += 1;
            }
            ([word, at, happened], Some(core)) if word == "event" => {
                let at = Uptime::read(at).map_err(not_a_line)?;
                core.handle(at, Written::read(happened).map_err(not_a_line)?);
                replayed.events += 1;
            }
            ([word, written], Some(core)) if word == "effect" => {
                let wanted = core
                    .poll_effect()
                    .map_or("nothing".to_owned(), |effect| format!("{effect:?}"));
                if written.as_str() != Some(shortened(&wanted).as_str()) {
                    return Err(ReplayError::Differs {
                        line,
                        written: written.as_str().unwrap_or_default().to_owned(),
                        wanted,
                    });
                }
                replayed.effects += 1;
            }
            (_, None) => return Err(ReplayError::NoStart),
            _ => return Err(not_a_line(Unread::not("start, event or effect", &value))),
        }
    }
    if core.is_none() {
        return Err(ReplayError::NoStart);
    }
    Ok(replayed)
}
