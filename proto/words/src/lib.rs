//! Every sentence a person can meet, rendered from a key and its arguments.
//!
//! The cores decide and emit a [`Key`] with arguments; this crate only says it, in English, from the Fluent files in
//! `en/`.
//! It opens no file at run time, reads no clock and touches no disk.

mod domain;
mod key;
#[cfg(feature = "clap")]
mod typed;

use std::fmt;

use fluent_bundle::concurrent::FluentBundle;
use fluent_bundle::{FluentArgs, FluentResource, FluentValue};

pub use key::Key;

/// One language.
pub struct Words {
    bundle: FluentBundle<FluentResource>,
}

/// What fills a place in a sentence.
#[derive(Clone, Debug, PartialEq)]
pub enum Arg {
    /// Finished text.
    Text(String),
    /// A number that a sentence may count with.
    Count(u64),
}

impl From<&str> for Arg {
    fn from(text: &str) -> Self {
        Self::Text(text.to_owned())
    }
}

impl From<String> for Arg {
    fn from(text: String) -> Self {
        Self::Text(text)
    }
}

impl From<usize> for Arg {
    fn from(count: usize) -> Self {
        Self::Count(count as u64)
    }
}

impl From<u32> for Arg {
    fn from(count: u32) -> Self {
        Self::Count(u64::from(count))
    }
}

impl From<u64> for Arg {
    fn from(count: u64) -> Self {
        Self::Count(count)
    }
}

/// The English sentences, by area.
const ENGLISH: [&str; 9] = [
    include_str!("../en/guidance.ftl"),
    include_str!("../en/held.ftl"),
    include_str!("../en/listening.ftl"),
    include_str!("../en/standing.ftl"),
    include_str!("../en/board.ftl"),
    include_str!("../en/link.ftl"),
    include_str!("../en/problem.ftl"),
    include_str!("../en/record.ftl"),
    include_str!("../en/terminal.ftl"),
];

impl Words {
    /// The English words.
    pub fn english() -> Self {
        let english = "en".parse().unwrap_or_default();
        let mut bundle = FluentBundle::new_concurrent(vec![english]);
        // The sentences go to terminals and machine lines too, where invisible direction marks would be read as text.
        bundle.set_use_isolating(false);
        for text in ENGLISH {
            // The files are part of this crate and a test parses each: what cannot be read here is shown by its key.
            let resource = FluentResource::try_new(text.to_owned()).unwrap_or_else(|(resource, _)| resource);
            bundle.add_resource_overriding(resource);
        }
        Self { bundle }
    }

    /// The sentence of `key` with `args` in their places.
    ///
    /// A missing argument shows as its name in braces, a missing sentence as its key: both are caught by tests.
    pub fn say(&self, key: Key, args: &[(&str, Arg)]) -> String {
        let Some(pattern) = self.bundle.get_message(key.id()).and_then(|message| message.value()) else {
            return key.id().to_owned();
        };
        let mut fluent = FluentArgs::with_capacity(args.len());
        for (name, arg) in args {
            fluent.set(
                (*name).to_owned(),
                match arg {
                    Arg::Text(text) => FluentValue::from(text.as_str()),
                    Arg::Count(count) => FluentValue::from(*count),
                },
            );
        }
        let mut missing = Vec::new();
        self.bundle
            .format_pattern(pattern, Some(&fluent), &mut missing)
            .into_owned()
    }
}

impl Default for Words {
    fn default() -> Self {
        Self::english()
    }
}

impl fmt::Debug for Words {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Words(en)")
    }
}
