//! A core with a logbook beside it: asked like the core alone, and writing everything down.

use std::fmt;
use std::ops::Deref;

use consort_proto::Uptime;
use serde_json::{Value, json};

use crate::VERSION;
use crate::disguise::Disguise;
use crate::written::Written;

/// A core: everything that it does follows from what it was started with and from its events.
pub trait Core: Sized {
    /// What its program is called in the first line.
    const PROGRAM: &'static str;
    /// What it is started with.
    type Start: Written;
    /// What can happen to it.
    type Event: Written;
    /// What it wants done.
    type Effect: fmt::Debug;

    /// Starts it.
    fn start(now: Uptime, start: Self::Start) -> Self;

    /// Tells it what happened.
    fn handle(&mut self, now: Uptime, event: Self::Event);

    /// What it wants done next.
    fn poll_effect(&mut self) -> Option<Self::Effect>;
}

/// Where lines go: each is handed over without its end.
type Lines = Box<dyn FnMut(String) + Send>;

/// A logbook that is being written.
pub struct Logbook {
    lines: Lines,
    disguise: Disguise,
}

/// A core, and its logbook if one is kept.
#[derive(Debug)]
pub struct Logged<C> {
    core: C,
    logbook: Option<Logbook>,
}

/// Longer texts of effects are cut, with a sum of the whole.
const TEXT_MAX: usize = 240;

impl Logbook {
    /// Hands each line to `lines`.
    pub fn new(lines: impl FnMut(String) + Send + 'static) -> Self {
        Self {
            lines: Box::new(lines),
            disguise: Disguise::default(),
        }
    }

    fn line(&mut self, line: &Value) {
        (self.lines)(line.to_string());
    }
}

impl fmt::Debug for Logbook {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Logbook(…)")
    }
}

impl<C: Core> Logged<C> {
    /// Starts the core at `now`, and the logbook with it.
    pub fn start(now: Uptime, start: C::Start, mut logbook: Option<Logbook>) -> Self {
        if let Some(logbook) = &mut logbook {
            let begun = start.write(&mut logbook.disguise);
            let at = now.write(&mut logbook.disguise);
            logbook.line(&json!([
                "start",
                C::PROGRAM,
                VERSION,
                env!("CARGO_PKG_VERSION"),
                at,
                begun
            ]));
        }
        Self {
            core: C::start(now, start),
            logbook,
        }
    }

    /// Takes in what happened at `now`.
    pub fn handle(&mut self, now: Uptime, event: C::Event) {
        if let Some(logbook) = &mut self.logbook {
            let (at, happened) = (now.write(&mut logbook.disguise), event.write(&mut logbook.disguise));
            logbook.line(&json!(["event", at, happened]));
        }
        self.core.handle(now, event);
    }

    /// The next thing to be done; drain it after every [`handle`](Self::handle).
    pub fn poll_effect(&mut self) -> Option<C::Effect> {
        let effect = self.core.poll_effect()?;
        if let Some(logbook) = &mut self.logbook {
            let text = shortened(&logbook.disguise.text(&format!("{effect:?}")));
            logbook.line(&json!(["effect", text]));
        }
        Some(effect)
    }
}

impl<C> Deref for Logged<C> {
    type Target = C;

    fn deref(&self) -> &C {
        &self.core
    }
}

/// The text, or its beginning and what tells the whole of it from any other.
pub(crate) fn shortened(text: &str) -> String {
    if text.len() <= TEXT_MAX {
        return text.to_owned();
    }
    let begin: String = text.chars().take(TEXT_MAX / 2).collect();
    format!("{begin} … {} bytes, sum {:016x}", text.len(), sum(text))
}

/// The 64-bit sum FNV-1a of Fowler, Noll and Vo, with their offset and prime.
fn sum(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |sum, byte| {
        (sum ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sum_is_fnv_1a() {
        // Test vectors of its authors, from memory.
        for (text, expected) in [
            ("", 0xcbf2_9ce4_8422_2325),
            ("a", 0xaf63_dc4c_8601_ec8c),
            ("foobar", 0x8594_4171_f739_67e8),
        ] {
            assert_eq!(sum(text), expected, "{text}");
        }
    }

    #[test]
    fn long_texts_are_told_apart_by_their_ends() {
        let long = "string ".repeat(100);
        let other = format!("{long}, and more");
        assert!(shortened(&long).len() < 200);
        assert_ne!(shortened(&long), shortened(&other));
        assert_eq!(shortened("short"), "short");
    }
}
