//! The string in hand: what the desk follows while a string sounds and its pin turns.

mod strays;
mod told;
mod trail;

use consort_analysis::{Doubt, Refusal};
use consort_guide::{Hand, Heard};
use consort_proto::{Cents, Hz, StringNumber, Tuning};

use self::strays::Strays;
use self::told::Told;
use self::trail::Trail;
use crate::ear::{Answer, Sensed, Verdict};

/// Follows the string that sounds, calmly enough to be read.
#[derive(Clone, Debug, Default)]
pub(crate) struct Follower {
    held: Option<Held>,
    /// Onset of the pluck that was let go of, in seconds from the start of its sound: it is not taken up again.
    let_go_s: Option<f64>,
    /// Onset of the pluck that was measured elsewhere than where it is heard.
    moved_s: Option<f64>,
    /// Onset of the newest pluck of music: none of it is taken up once she rests.
    played_s: Option<f64>,
    /// Where the string was last heard after a leap that is not believed yet, and how often it was heard there.
    leapt: Option<(Hz, u32)>,
    /// The live track, smoothed: its pluck and where it stands.
    track: Option<(f64, Hz)>,
    trail: Trail,
    told: Told,
    strays: Strays,
}

/// What is known of the string in hand; kept in hertz, so that a new agreement judges it anew.
#[derive(Clone, Copy, Debug)]
struct Held {
    onset_s: f64,
    /// When it last changed, in seconds of the sound.
    shown_s: f64,
    string: StringNumber,
    state: State,
}

#[derive(Clone, Copy, Debug)]
enum State {
    Live(Hz),
    Settled(Hz),
    Unsure,
    /// Turned while it sounded, and nothing tells where it is now.
    Turned,
    /// Measured, but it does not count yet.
    Waits(Hz),
    /// Measured, and plucked too strongly to count.
    Strong,
    /// Measured, and too soft for this harp.
    TooSoft,
}

/// Before a pluck is taken for one string for so long, seconds, that may still change: no advice is given on it.
const SURE_AFTER_S: f64 = 0.3;
/// Until it is this old, seconds, a pluck is young: near its mark it may still waver to the other side.
const YOUNG_S: f64 = 0.75;
/// Figures change at most this often, seconds, and by no less than this, cents: faster ones cannot be read.
const FIGURES_EVERY_S: f64 = 0.25;
const FIGURES_STEP_CENTS: f64 = 0.7;
/// A leap of more than this, cents, counts once it is heard so often in a row, each time no further from the time before:
/// a finger on the string, or another string's pluck, is heard for a moment only.
const LEAP_CENTS: f64 = 6.0;
const LEAP_HEARD: u32 = 3;
/// A settled string that is heard this far, cents, from where it settled, so often in a row, is being turned; less is its
/// dying away, or a leap and what the calmed track keeps of it.
const TURNED_CENTS: f64 = 3.0;
const TURNED_HEARD: u32 = 6;
/// The share of each new track in the smoothed one, 25 times a second.
const TRACK_SHARE: f64 = 0.4;
/// What is known no better than this, cents, is not shown while a string sounds.
const VAGUE_CENTS: f64 = 4.0;

impl Follower {
    /// Takes in what the ear sensed; whether the hand has changed.
    pub(crate) fn follow(&mut self, sensed: &Sensed) -> bool {
        if let Sensed::Answer(Answer { onset_s, .. }) | Sensed::Track { onset_s, .. } = *sensed
            && self.played_s.is_some_and(|played_s| onset_s <= played_s)
        {
            return false;
        }
        match *sensed {
            Sensed::Answer(answer) => self.answer(&answer),
            Sensed::Track {
                onset_s,
                time_s,
                string,
                hz,
                sigma,
            } => {
                let hz = self.smoothed(onset_s, hz);
                if sigma.0 <= VAGUE_CENTS {
                    self.strays.heard(string, onset_s, hz);
                    self.told.track(onset_s, time_s, string, hz);
                }
                self.live(onset_s, time_s, string, hz, sigma)
            }
            Sensed::Refused { onset_s, why } => self.refused(onset_s, why),
            Sensed::Input(_) => false,
        }
    }

    /// Another sound begins, whose times start over; what was heard stays in hand.
    pub(crate) fn begin_sound(&mut self) {
        (self.let_go_s, self.moved_s, self.played_s) = (None, None, None);
        self.track = None;
        self.trail.begin_sound();
        self.told.begin_sound();
        self.strays.begin_sound();
        // What did not count in the sound before does not do so in this one.
        if self.is_left() {
            self.held = None;
        }
        if let Some(held) = &mut self.held {
            held.onset_s = f64::NEG_INFINITY;
            held.shown_s = f64::NEG_INFINITY;
        }
    }

    /// The last word on a pluck that counts, or may: what its string did since the one before it was its own, or was not.
    pub(crate) fn learn(&mut self, answer: &Answer) {
        let Answer {
            onset_s,
            string,
            hz,
            sigma,
            verdict,
            ..
        } = *answer;
        match verdict {
            Verdict::Provisional => {}
            Verdict::Settled => {
                self.strays.measured(string, onset_s, hz, sigma);
                if let Some((_, now)) = self.track.filter(|(onset, _)| *onset == onset_s) {
                    self.strays.heard(string, onset_s, now);
                }
            }
            Verdict::Unsure(_) => self.strays.forget(string),
        }
    }

    /// The string is done: between strings, nothing is in hand.
    pub(crate) const fn let_go(&mut self) {
        if let Some(held) = self.held.take() {
            self.let_go_s = Some(held.onset_s);
        }
    }

    /// What was plucked at `onset_s` is music.
    pub(crate) fn plays(&mut self, onset_s: f64) {
        self.played_s = Some(self.played_s.map_or(onset_s, |played_s| played_s.max(onset_s)));
    }

    /// The pluck at `onset_s`, if it is in hand, was measured and waits until it counts.
    pub(crate) fn waits(&mut self, onset_s: f64, hz: Hz) {
        self.turn_to(onset_s, State::Waits(hz));
    }

    /// It was measured, and was plucked too strongly to count.
    pub(crate) fn is_strong(&mut self, onset_s: f64) {
        self.turn_to(onset_s, State::Strong);
    }

    /// It was measured, and is too soft for this harp.
    pub(crate) fn is_too_soft(&mut self, onset_s: f64) {
        self.turn_to(onset_s, State::TooSoft);
    }

    /// Whether `string` is in hand and too soft for this harp.
    pub(crate) fn is_soft(&self, string: StringNumber) -> bool {
        self.held
            .is_some_and(|held| held.string == string && matches!(held.state, State::TooSoft))
    }

    /// When what is in hand was plucked, seconds of the sound.
    pub(crate) fn onset_s(&self) -> Option<f64> {
        self.held.map(|held| held.onset_s)
    }

    /// Whether `string` is in hand.
    pub(crate) fn holds(&self, string: StringNumber) -> bool {
        self.held.is_some_and(|held| held.string == string)
    }

    /// It counts after all, with this pitch.
    pub(crate) fn counts(&mut self, onset_s: f64, hz: Hz) {
        self.turn_to(onset_s, State::Settled(hz));
    }

    /// Whether what is in hand was measured and does not count.
    pub(crate) const fn is_left(&self) -> bool {
        matches!(
            self.held,
            Some(Held {
                state: State::Waits(_) | State::Strong | State::TooSoft,
                ..
            })
        )
    }

    /// It is not hers: nothing is in hand, unless something else is by now.
    pub(crate) fn is_not_hers(&mut self, onset_s: f64) {
        if self.held.is_some_and(|held| held.onset_s == onset_s) {
            self.let_go();
        }
    }

    /// What was plucked at `onset_s` was no string: nothing is in hand, unless it is the swell of one that is.
    fn refused(&mut self, onset_s: f64, why: Refusal) -> bool {
        let in_hand = self.held.is_some_and(|held| held.onset_s == onset_s);
        if !in_hand || why == Refusal::NotNew {
            return false;
        }
        self.let_go();
        true
    }

    fn turn_to(&mut self, onset_s: f64, state: State) {
        if let Some(held) = self.held.as_mut().filter(|held| held.onset_s == onset_s) {
            held.state = state;
        }
    }

    /// The hand as it stands under `tuning`.
    pub(crate) fn hand(&self, harp: &consort_proto::Harp, tuning: &Tuning) -> Option<Hand> {
        let held = self.held?;
        let target = tuning.open_target(harp.string(held.string)?);
        let heard = match held.state {
            State::Live(hz) if self.moved_s == Some(held.onset_s) => Heard::Moved(hz.cents_above(target)),
            State::Live(hz) if held.shown_s - held.onset_s < YOUNG_S => Heard::Young(hz.cents_above(target)),
            State::Live(hz) => Heard::Live(hz.cents_above(target)),
            State::Settled(hz) => Heard::Settled(hz.cents_above(target)),
            State::Unsure => Heard::Unsure,
            State::Turned => Heard::Turned,
            State::Waits(_) => Heard::Waits,
            State::Strong => Heard::Strong,
            State::TooSoft => Heard::TooSoft,
        };
        Some(Hand {
            string: held.string,
            heard,
        })
    }

    /// The string in hand and its pitch, where that is known.
    pub(crate) fn sounds(&self) -> Option<(StringNumber, Hz)> {
        let held = self.held?;
        match held.state {
            State::Live(hz) | State::Settled(hz) => Some((held.string, hz)),
            State::Unsure | State::Turned | State::Waits(_) | State::Strong | State::TooSoft => None,
        }
    }

    fn answer(&mut self, answer: &Answer) -> bool {
        let state = match answer.verdict {
            Verdict::Provisional => return self.foretold(answer),
            Verdict::Settled => {
                if self.was_left(answer) {
                    // What is heard since then says where it is; the next pluck tells where it stays.
                    self.moves(answer.onset_s, answer.string);
                    return true;
                }
                self.trail.measured(answer.onset_s, answer.time_s, answer.hz);
                State::Settled(answer.hz)
            }
            Verdict::Unsure(Doubt::Turned)
                if self.told.is_tracked(answer.onset_s, answer.time_s)
                    || self.held.is_some_and(|held| held.onset_s == answer.onset_s) =>
            {
                if !self.lost(answer.onset_s, answer.time_s) {
                    // Its track follows it, and no answer comes any more.
                    self.moves(answer.onset_s, answer.string);
                }
                return true;
            }
            Verdict::Unsure(Doubt::Turned) => State::Turned,
            Verdict::Unsure(Doubt::Soft) => State::TooSoft,
            Verdict::Unsure(_) => State::Unsure,
        };
        // A string that was plucked before the one in hand settles behind its back, and so does one that sounds anew.
        let behind = self.held.is_some_and(|held| held.onset_s > answer.onset_s);
        if behind || self.told.is_over(answer.onset_s, answer.string) {
            return false;
        }
        self.held = Some(Held {
            onset_s: answer.onset_s,
            shown_s: answer.time_s,
            string: answer.string,
            state,
        });
        true
    }

    /// An answer that may still change: where the string stands, as long as its key is not turned.
    fn foretold(&mut self, answer: &Answer) -> bool {
        let Answer {
            onset_s,
            time_s,
            string,
            hz,
            sigma,
            ..
        } = *answer;
        self.told.answer(onset_s, time_s, string, hz, sigma.0 > VAGUE_CENTS);
        if self.told.is_turned(onset_s) {
            return self.lost(onset_s, time_s);
        }
        if self.told.wanders(onset_s) {
            return false;
        }
        self.live(onset_s, time_s, string, hz, sigma)
    }

    /// What was measured of the pluck is not where it is heard: its string was turned, or strays.
    fn moves(&mut self, onset_s: f64, string: StringNumber) {
        self.moved_s = Some(onset_s);
        self.strays.doubt(string, onset_s);
    }

    /// Whether the string in hand was turned while it sounded, and is tracked where its last answer does not see it.
    fn was_left(&self, answer: &Answer) -> bool {
        let Some((_, now)) = self.track.filter(|(onset, _)| *onset == answer.onset_s) else {
            return false;
        };
        let in_hand = self.held.is_some_and(|held| {
            held.onset_s == answer.onset_s && held.string == answer.string && matches!(held.state, State::Live(_))
        });
        let gone = now.cents_above(answer.hz);
        let by_itself = TURNED_CENTS + self.strays.allows(answer.string, gone);
        in_hand
            && self.told.is_turned(answer.onset_s)
            && self.told.is_tracked(answer.onset_s, answer.time_s)
            && !gone.is_within(Cents(by_itself))
    }

    /// The string of that pluck was turned: where nothing tracks it, nothing tells where it is.
    fn lost(&mut self, onset_s: f64, time_s: f64) -> bool {
        if self.told.is_tracked(onset_s, time_s) {
            return false;
        }
        match self.held.as_mut().filter(|held| held.onset_s == onset_s) {
            Some(held) if matches!(held.state, State::Live(_)) => {
                (held.state, held.shown_s) = (State::Turned, time_s);
                true
            }
            _ => false,
        }
    }

    /// The live track, calmed; a leap or another pluck begins it anew.
    fn smoothed(&mut self, onset_s: f64, hz: Hz) -> Hz {
        let before = self.track.filter(|(onset, _)| *onset == onset_s);
        let calmed = before.map_or(hz, |(_, before)| {
            let apart = hz.cents_above(before);
            if apart.is_within(Cents(LEAP_CENTS)) {
                before.raised_by(Cents(TRACK_SHARE * apart.0))
            } else {
                hz
            }
        });
        self.track = Some((onset_s, calmed));
        calmed
    }

    fn live(&mut self, onset_s: f64, time_s: f64, string: StringNumber, hz: Hz, sigma: Cents) -> bool {
        let sure = self
            .told
            .is_since(onset_s, string)
            .is_some_and(|since_s| time_s - since_s >= SURE_AFTER_S);
        if !sure
            || self.told.is_over(onset_s, string)
            || sigma.0 > VAGUE_CENTS
            || self.let_go_s.is_some_and(|let_go| onset_s <= let_go)
        {
            return false;
        }
        if !self.trail.leads_to(onset_s, time_s, hz) {
            return false;
        }
        if let Some(held) = self.held.filter(|held| held.string == string) {
            let gone = |from: Hz| hz.cents_above(from);
            let moved = |from: Hz| gone(from).abs().0;
            let same_pluck = held.onset_s >= onset_s;
            let (still, needed) = match held.state {
                State::Unsure | State::Strong | State::TooSoft => (same_pluck, 1),
                State::Turned => (false, if same_pluck { LEAP_HEARD } else { 1 }),
                State::Settled(settled) | State::Waits(settled) => {
                    let by_itself = TURNED_CENTS + self.strays.allows(string, gone(settled));
                    let rests = same_pluck && moved(settled) < by_itself + 3.0 * sigma.0;
                    (rests, if same_pluck { TURNED_HEARD } else { 1 })
                }
                State::Live(shown) => {
                    let rests = time_s - held.shown_s < FIGURES_EVERY_S || moved(shown) < FIGURES_STEP_CENTS;
                    let far = moved(shown) > LEAP_CENTS;
                    let leaps = same_pluck && (far || self.told.is_away(onset_s, hz));
                    (rests && !(same_pluck && far), if leaps { LEAP_HEARD } else { 1 })
                }
            };
            if still {
                self.leapt = None;
                return false;
            }
            let before = self.leapt.filter(|(leapt, _)| moved(*leapt) <= LEAP_CENTS);
            let heard = before.map_or(1, |(_, heard)| heard + 1);
            if heard < needed {
                self.leapt = Some((hz, heard));
                return false;
            }
            if same_pluck && matches!(held.state, State::Settled(_)) {
                self.moves(onset_s, string);
            }
        } else if self.held.is_some_and(|held| held.onset_s > onset_s) {
            return false;
        }
        self.leapt = None;
        self.held = Some(Held {
            onset_s,
            shown_s: time_s,
            string,
            state: State::Live(hz),
        });
        true
    }
}

#[cfg(test)]
mod tests;
