//! Steadiness: words that flicker cannot be read, so those that come of a moving string wait until they stay.

use std::time::Duration;

use consort_proto::{Cents, Uptime};

use crate::advice::{Action, Advice};

/// Words on the way from the guide to the screen.
#[derive(Clone, Debug, Default)]
pub struct Steady {
    shown: Option<(Action, Option<consort_proto::StringNumber>)>,
    /// What wants to be said in its place, and since when.
    waits: Option<(Action, Uptime)>,
    last: Option<Advice>,
}

/// A word about a moving string is said once it has been true for so long.
const AFTER: Duration = Duration::from_millis(400);
/// A string that is further from where the shown word was right than this is not kept waiting.
const FAR: Cents = Cents(12.0);

impl Steady {
    /// What to show at `now` of `advice`; `moving` while it comes of a string that is followed, not of one that is measured.
    ///
    /// Only *let it ring*, *again*, *tighten* and *loosen* wait for each other: a doubt, a measured string and another string
    /// are said at once. While a word waits, the figures are those of the word that stands.
    pub fn show(&mut self, advice: Advice, moving: bool, now: Uptime) -> Advice {
        let turns = |action| {
            matches!(
                action,
                Action::LetRing | Action::Again | Action::Tighten | Action::Loosen
            )
        };
        let near = advice.cents.is_none_or(|cents| cents.is_within(FAR));
        let waits = moving
            && near
            && turns(advice.action)
            && self
                .shown
                .is_some_and(|(action, string)| turns(action) && action != advice.action && string == advice.string);
        if waits {
            let since = match self.waits {
                Some((action, since)) if action == advice.action => since,
                _ => now,
            };
            self.waits = Some((advice.action, since));
            if now.0.saturating_sub(since.0) < AFTER
                && let Some(last) = &self.last
            {
                return last.clone();
            }
        }
        self.waits = None;
        self.shown = Some((advice.action, advice.string));
        self.last = Some(advice.clone());
        advice
    }

    /// When to look again, while a word waits.
    pub fn until(&self) -> Option<Uptime> {
        self.waits.map(|(_, since)| Uptime(since.0 + AFTER))
    }
}
