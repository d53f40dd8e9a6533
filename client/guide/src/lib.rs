//! Guidance: which string, which way, how far, and where its pin is.
//!
//! A pure function of the harp, what each string is, and what is heard of the string in hand.
//! Whenever the string is in doubt there is no turning advice: a broken string costs more than another pluck.

mod advice;
mod attention;
mod awaited;
mod doubt;
mod first;
mod key;
mod levels;
pub mod listening;
mod next;
pub mod opening;
mod passing;
mod pedals;
mod place;
mod playing;
mod standstill;
mod steady;
mod step;
#[cfg(test)]
mod tests;
mod turn;
mod twin;
mod ways;
mod whose;

pub use consort_proto::order::Order;
use consort_words::{Arg, Key, Words};

pub use advice::{Action, Advice, Hand, Heard, Situation, advise};
pub use attention::Attention;
pub use awaited::{Heeded, Plucked, Taken, Wanted};
pub use key::{Far, Turn, Way, cents_per_degree};
pub use next::{asked, following, is_in_turn};
pub use passing::is_elsewhere;
pub use pedals::Pedals;
pub use place::place;
pub use playing::REST_S;
pub use standstill::Standstill;
pub use steady::Steady;
pub use twin::{Sounding, Twins};
pub use ways::{FollowUp, LastCheck, Quick, Ways};

/// A sentence that is not said yet: its key and what fills it.
#[derive(Clone, Debug, PartialEq)]
pub struct Phrase {
    /// Which sentence.
    pub key: Key,
    /// What fills it.
    pub args: Vec<(&'static str, Arg)>,
}

impl Phrase {
    /// A sentence without places to fill.
    pub const fn plain(key: Key) -> Self {
        Self { key, args: Vec::new() }
    }

    /// The sentence in words.
    pub fn say(&self, words: &Words) -> String {
        words.say(self.key, &self.args)
    }
}
