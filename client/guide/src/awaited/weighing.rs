//! How much speaks for a pluck's being hers, and what she says of it herself.

use consort_proto::{Cents, StringNumber};

use super::pluck::BESIDE;
use super::waiting::{Weighed, is_again};
use super::{ASKED_AFTER_S, Awaited, Plucked, WALKS_S, Wanted};
use crate::whose::{Another, Expected};

/// So many nats have to speak for a pluck before it can count, where it is beside what is asked for or in hand, and where
/// nobody asked for it; so many do where she says herself that it is hers (assumed, and tried on generated evenings).
const NEEDED: f64 = 1.5;
const NEEDED_BESIDE: f64 = 2.0;
const NEEDED_UNASKED: f64 = 1.5;
const BY_HAND: f64 = 10.0;
/// That a string that is asked for is plucked again where it was too soft speaks for her by so much: she was told to. She
/// does so within this time, seconds (both assumed).
const AGAIN_NATS: f64 = 2.5;
const AGAIN_WITHIN_S: f64 = 15.0;
/// What she says was hers she plucks again within so many seconds of that pluck, about as many as she is shown that it was
/// too soft and 15 more (assumed), and it stands no further from where it stood, cents.
const SAID_WITHIN_S: f64 = 20.0;
const SAID_WITHIN: Cents = Cents(50.0);

/// A pluck that is louder than usual by so many standard deviations is a strong one: its string is stretched, and stands
/// higher by a share of the square of that until it calms down (Legge & Fletcher, JASA 76, 1984). By so many it is where its
/// pitch falls further than else meanwhile. It counts once it is plucked again as strongly, within so many seconds (all
/// assumed, and tried on generated harps).
const STRONG: f64 = 2.3;
const STRONG_FALLING: f64 = 1.4;
const STRONG_AGAIN_S: f64 = 20.0;
/// Until so many plucks have counted it is not known how strongly she plucks: the first one was another harp's, perhaps
/// (assumed).
const STRONG_KNOWN: usize = 2;

/// How much speaks for a pluck that can count.
#[derive(Clone, Copy, Debug)]
pub(super) struct Weight {
    /// Nats.
    pub(super) nats: f64,
    /// Whether it can for no other reason than that she says that it is hers.
    pub(super) is_said: bool,
}

impl<T> Awaited<T> {
    /// How much speaks for a pluck's being hers; as an error, in nats, where that is too little.
    pub(super) fn weigh(&self, plucked: &Plucked, wanted: Wanted) -> Result<Weight, f64> {
        let expected = self.expected(plucked, wanted);
        let needed = match expected {
            Expected::Asked | Expected::InHand => NEEDED,
            Expected::BesideAsked | Expected::BesideHand => NEEDED_BESIDE,
            Expected::Not => NEEDED_UNASKED,
        };
        let nats = self.whose.weigh(plucked, expected);
        if wanted == Wanted::ByHand {
            return Ok(Weight {
                nats: nats.max(BY_HAND),
                is_said: nats < needed,
            });
        }
        // Who repeats a string that waits or counted is who plucked it before, and who was told to pluck again what is asked
        // for does.
        let before = self.waiting.as_ref().and_then(|waiting| waiting.again(plucked));
        let counted = self
            .counted
            .as_ref()
            .filter(|_| expected == Expected::InHand)
            .and_then(|counted| counted.again(plucked, WALKS_S));
        let doubted = self
            .doubted
            .as_ref()
            .filter(|_| expected == Expected::Asked && !self.whose.is_another_near(plucked.onset_s, plucked.string))
            .and_then(|doubted| doubted.again(plucked, AGAIN_WITHIN_S));
        let nats = [before, counted, doubted.map(|before| before + AGAIN_NATS)]
            .into_iter()
            .flatten()
            .fold(nats, f64::max);
        if nats >= needed || wanted == Wanted::Any {
            Ok(Weight { nats, is_said: false })
        } else {
            Err(nats)
        }
    }

    /// Whether `plucked`, which is refused for its weight of `nats`, may be hers all the same, since it is asked for and nobody
    /// else is near: then it speaks for the next one.
    pub(super) fn doubts(&mut self, plucked: &Plucked, wanted: Wanted, nats: f64) -> bool {
        let Plucked { onset_s, string, .. } = *plucked;
        if self.expected(plucked, wanted) != Expected::Asked || self.whose.is_another_near(onset_s, string) {
            return false;
        }
        // One that is weaker still takes nothing away.
        let stronger = self.doubted.take().filter(|doubted| {
            let since_s = onset_s - doubted.plucked.onset_s;
            doubted.plucked.string == string && since_s <= AGAIN_WITHIN_S && doubted.nats > nats
        });
        let (before, nats) = stronger.map_or((*plucked, nats), |doubted| (doubted.plucked, doubted.nats));
        self.doubted = Some(Weighed {
            plucked: Plucked { onset_s, ..before },
            nats,
            reading: (),
        });
        true
    }

    /// What speaks for a pluck beside what it is itself.
    fn expected(&self, plucked: &Plucked, wanted: Wanted) -> Expected {
        let Plucked { onset_s, string, .. } = *plucked;
        let whatever = matches!(wanted, Wanted::Any | Wanted::ByHand);
        // A string that was plucked before the desk could ask for it was not plucked for that.
        let is_answer = self.hand.is_none_or(|(last_s, hand)| {
            hand.get().abs_diff(string.get()) <= BESIDE || onset_s - last_s >= ASKED_AFTER_S
        });
        let is_asked_for = is_answer && (whatever || wanted.is_for(string) && !self.passing.goes_on_at(onset_s));
        let in_hand = self
            .hand
            .is_some_and(|(last_s, hand)| self.is_next_to(last_s, hand, onset_s, string));
        if is_asked_for && wanted.is_just(string) {
            Expected::Asked
        } else if in_hand && self.hand.is_some_and(|(_, hand)| hand == string) {
            Expected::InHand
        } else if is_asked_for {
            Expected::BesideAsked
        } else if in_hand {
            Expected::BesideHand
        } else {
            Expected::Not
        }
    }

    /// Whether `plucked`, which could count, is too strong for that.
    pub(super) fn is_too_strong(&mut self, plucked: &Plucked, wanted: Wanted) -> bool {
        let whatever = matches!(wanted, Wanted::Any | Wanted::ByHand);
        let is_too_strong = !whatever && self.is_strong(plucked);
        self.strong = is_too_strong.then_some(*plucked);
        is_too_strong
    }

    /// Whether `plucked` is much stronger than her plucks are else; again as strongly, it is how she plucks.
    pub(crate) fn is_strong(&self, plucked: &Plucked) -> bool {
        let is_known = self.whole.plucks() >= STRONG_KNOWN;
        let Some((usual, spread)) = self.whole.usual(plucked.string).filter(|_| is_known) else {
            return false;
        };
        let falls = self.whose.falls_further(plucked);
        let louder = plucked.whole_dbfs - usual > spread * if falls { STRONG_FALLING } else { STRONG };
        let by_whole = |plucked: &Plucked| Plucked {
            level_dbfs: plucked.whole_dbfs,
            ..*plucked
        };
        let again = self
            .strong
            .is_some_and(|before| is_again(&by_whole(&before), &by_whole(plucked), STRONG_AGAIN_S));
        louder && !again
    }

    /// She says that the last pluck that was too soft was hers, if that was `string`: its next one counts, unless it is
    /// softer still. Whether it was.
    pub(crate) fn take_for_hers(&mut self, string: StringNumber) -> bool {
        let soft = self.soft.filter(|soft| soft.string == string);
        self.said = soft.or(self.said);
        soft.is_some()
    }

    /// What she has said does not hold any more.
    pub(crate) fn take_back(&mut self) {
        self.said = None;
    }

    /// Whether the ear's doubt that `plucked` is too soft is nothing here: she has said that it is hers, or that her harp has
    /// become softer than the ear knows it.
    pub(crate) fn is_trusted(&self, plucked: &Plucked) -> bool {
        self.is_softer || self.is_said(plucked)
    }

    /// Whether what she said was hers is plucked again.
    fn is_said(&self, plucked: &Plucked) -> bool {
        self.said.is_some_and(|said| {
            let moved = Cents(plucked.apart.0 - said.apart.0);
            is_again(&said, plucked, SAID_WITHIN_S) && moved.is_within(SAID_WITHIN)
        })
    }

    /// The same for the reading of a pluck, with which that has come to its end.
    pub(super) fn takes_as_said(&mut self, plucked: &Plucked) -> bool {
        let is_said = self.is_said(plucked);
        if is_said {
            self.said = None;
            self.is_softer = true;
        }
        is_said
    }

    /// She says that `plucked` is hers, which it would not have been taken for.
    pub(super) fn turn_to(&mut self, plucked: &Plucked) {
        self.whose.levels.turn_to(plucked.string, plucked.level_dbfs);
        self.whole.turn_to(plucked.string, plucked.whole_dbfs);
        // What was refused before it was no other hand, either.
        self.whose.another = Another::default();
    }
}
