//! The ways in which the harpist wants to be guided, and how far she has come in them.

use std::collections::{BTreeMap, BTreeSet};

use consort_proto::order::{Order, QUICK_FROM, QUICK_WITHIN};
use consort_proto::{Cents, Harp, Naming, Readiness, Standing, StringNumber};

use crate::key::Way;
use crate::pedals::Pedals;

/// What the harpist has chosen, and what the guide remembers from one string to the next.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Ways {
    /// In which order she tunes.
    pub order: Order,
    /// How far she has come in it: the last string that was measured in its turn.
    pub reached: Option<StringNumber>,
    /// Which way the handle of the key goes to tighten; `None` until she has said it.
    pub key: Option<Way>,
    /// The quick pass, while there is one.
    pub quick: Option<Quick>,
    /// The start is so near that the most audible faults come first.
    pub urgent: bool,
    /// The string that she has chosen by hand: nothing is said of another one until it is done.
    pub chosen: Option<StringNumber>,
    /// The string whose pin, pedal or lever she has looked at and found in order.
    pub looked_at: Option<StringNumber>,
    /// How many of their steps new strings have taken.
    pub steps: BTreeMap<StringNumber, usize>,
    /// When new strings are to be tuned again, and by when each should hold.
    pub follow_up: BTreeMap<StringNumber, FollowUp>,
    /// The last check, while it is played.
    pub last_check: Option<LastCheck>,
    /// She plays, and is not to be disturbed.
    pub plays: bool,
    /// How far each string's target lies above its usual pitch, from the top; empty where none does.
    pub rises: Vec<Cents>,
    /// How strings are named.
    pub naming: Naming,
    /// Where the pedals or levers stand, while she says that they are not all open.
    pub pedals: Option<Pedals>,
}

/// What is to be done with a new string in the days to come; days as people read them.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct FollowUp {
    /// The next day on which it is to be tuned.
    pub again: String,
    /// The day by which it should hold.
    pub holds: String,
}

/// A first pass over a harp that is off as a whole: each string to within some cents, without waiting for it to hold.
///
/// Raising some strings lowers the others, since the frame gives: the fine pass would be in vain before.
#[derive(Clone, Debug, Default, Eq, PartialEq)]
pub struct Quick {
    near: BTreeSet<StringNumber>,
}

/// Every string played once more, one after another: those that have moved since are found.
#[derive(Clone, Debug, Default, Eq, PartialEq)]
pub struct LastCheck {
    heard: BTreeSet<StringNumber>,
}

impl Ways {
    /// Ends a quick pass or a last check that is over, and a quick pass when the start is near. What comes next begins at the
    /// beginning of her order, and so it does on a harp that is ready, or of which nothing was heard yet.
    pub fn end_passes(&mut self, harp: &Harp, readiness: &Readiness) {
        let order = self.order.strings(harp);
        let urgent = self.urgent;
        let is_over = |quick: &mut Quick| urgent || quick.next(&order, readiness).is_none();
        let quick = self.quick.take_if(is_over);
        let check = self.last_check.take_if(|check| check.next(&order, readiness).is_none());
        let is_heard = readiness.standings().iter().any(|standing| standing.cents().is_some());
        if quick.is_some() || check.is_some() || readiness.is_ready() || !is_heard {
            self.reached = None;
        }
    }

    /// She begins or ends a quick pass by her own wish.
    pub fn set_quick(&mut self, quick: Option<Quick>) {
        (self.quick, self.reached) = (quick, None);
    }

    /// She begins or ends a last check by her own wish.
    pub fn set_last_check(&mut self, check: Option<LastCheck>) {
        (self.last_check, self.reached) = (check, None);
    }

    /// The pitches that are wanted have moved: no string is known to be near any more.
    pub fn judge_anew(&mut self) {
        if let Some(quick) = &mut self.quick {
            *quick = Quick::default();
        }
    }
}

impl Quick {
    /// A quick pass for a harp that stands `mean` above its targets, where it needs one.
    pub fn for_mean(mean: Cents) -> Option<Self> {
        (!mean.is_within(QUICK_FROM)).then(Self::default)
    }

    /// Takes in that `string` was heard so far above its target; whether it is near enough to go on.
    pub fn hear(&mut self, string: StringNumber, cents: Cents) -> bool {
        cents.is_within(QUICK_WITHIN) && self.near.insert(string)
    }

    /// Whether `string` was near once.
    pub(crate) fn is_near(&self, string: StringNumber) -> bool {
        self.near.contains(&string)
    }

    /// The next string of `order` that is not near yet; the pass is over when there is none.
    pub fn next(&self, order: &[StringNumber], readiness: &Readiness) -> Option<StringNumber> {
        let open = |number: &&StringNumber| {
            let standing = readiness.of(**number);
            let done = standing.is_none_or(Standing::lets_the_harp_be_ready);
            let is_near = standing
                .and_then(Standing::cents)
                .is_some_and(|cents| cents.is_within(QUICK_WITHIN));
            !(done || is_near || self.near.contains(number))
        };
        order.iter().find(open).copied()
    }
}

impl LastCheck {
    /// Takes in that `string` was heard.
    pub fn hear(&mut self, string: StringNumber) {
        self.heard.insert(string);
    }

    /// How many were heard.
    pub fn heard(&self) -> usize {
        self.heard.len()
    }

    /// The next string of `order` that is to be played; the check is over when there is none.
    pub fn next(&self, order: &[StringNumber], readiness: &Readiness) -> Option<StringNumber> {
        let there = |number: &&StringNumber| readiness.of(**number) != Some(Standing::Missing);
        order
            .iter()
            .filter(there)
            .find(|number| !self.heard.contains(number))
            .copied()
    }
}
