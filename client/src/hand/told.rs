//! What the answers to a sounding pluck tell beside its track: which string it is, and whether its key is turned.
//!
//! An answer foretells the mean of a whole pluck. While the key turns it lags behind, and what it says then is a word about
//! a string that stands elsewhere by now.

use std::collections::VecDeque;

use consort_proto::{Cents, Hz, StringNumber};

/// What was told of the newest plucks.
#[derive(Clone, Debug, Default)]
pub(super) struct Told {
    plucks: VecDeque<Pluck>,
}

#[derive(Clone, Copy, Debug)]
struct Pluck {
    onset_s: f64,
    /// The string that it is taken for, and since when, seconds.
    string: StringNumber,
    since_s: f64,
    /// Where the answers see it; `None` before there is one that is not vague.
    answer: Option<Hz>,
    /// Whether there were answers, vague or not.
    answered: bool,
    /// How far the answers have wandered once the pluck was no longer young.
    lowest: Option<Hz>,
    highest: Option<Hz>,
    /// How often in a row the calmed track was heard away from them.
    away: u32,
    /// When it was tracked last, seconds.
    tracked_s: f64,
    wanders: bool,
    turned: bool,
}

/// So many plucks are remembered: those of two seconds of a run, which still get answers while the next ones sound.
const REMEMBERED: usize = 12;
/// Until a pluck is this old, seconds, its string is still finding its pitch.
const YOUNG_S: f64 = 0.75;
/// The answers to a pluck of a string that is not turned wander no further than this, cents (measured on recorded plucks:
/// 2.2 at most), and its calmed track is not heard this far from them so often in a row. Half as far they are not shown any
/// more, until more is known.
const WANDER_CENTS: f64 = 2.5;
const AWAY_CENTS: f64 = 3.0;
const AWAY_HEARD: u32 = 6;
/// What was not tracked for so long, seconds, is followed by nothing but its answers.
const UNTRACKED_S: f64 = 0.25;

impl Told {
    /// Another sound begins, whose times start over.
    pub(super) fn begin_sound(&mut self) {
        self.plucks.clear();
    }

    /// An answer, vague or not, that is not the last one.
    pub(super) fn answer(&mut self, onset_s: f64, time_s: f64, string: StringNumber, hz: Hz, vague: bool) {
        let pluck = self.pluck(onset_s, time_s, string);
        pluck.answered = true;
        if vague {
            return;
        }
        if pluck.answer.is_none() {
            // What the track alone was taken for counts for less than this.
            (pluck.string, pluck.since_s) = (string, onset_s);
        } else if pluck.string != string {
            *pluck = Pluck {
                string,
                since_s: time_s,
                answer: None,
                lowest: None,
                highest: None,
                away: 0,
                wanders: false,
                turned: false,
                ..*pluck
            };
        }
        pluck.answer = Some(hz);
        if time_s - onset_s < YOUNG_S {
            return;
        }
        let lowest = pluck.lowest.filter(|lowest| lowest.get() <= hz.get()).unwrap_or(hz);
        let highest = pluck.highest.filter(|highest| highest.get() >= hz.get()).unwrap_or(hz);
        (pluck.lowest, pluck.highest) = (Some(lowest), Some(highest));
        let wander = highest.cents_above(lowest);
        pluck.wanders |= !wander.is_within(Cents(0.5 * WANDER_CENTS));
        pluck.turned |= !wander.is_within(Cents(WANDER_CENTS));
    }

    /// The track, calmed.
    pub(super) fn track(&mut self, onset_s: f64, time_s: f64, string: StringNumber, hz: Hz) {
        let pluck = self.pluck(onset_s, time_s, string);
        pluck.tracked_s = time_s;
        if !pluck.answered && pluck.string != string {
            (pluck.string, pluck.since_s) = (string, time_s);
        }
        let away = time_s - onset_s > YOUNG_S
            && pluck.string == string
            && pluck.answer.is_some_and(|answer| is_away(hz, answer));
        pluck.away = if away { pluck.away + 1 } else { 0 };
        pluck.turned |= pluck.away >= AWAY_HEARD;
    }

    /// Since when the pluck is taken for `string`, seconds; `None` while it is taken for another one, or for none yet.
    pub(super) fn is_since(&self, onset_s: f64, string: StringNumber) -> Option<f64> {
        let pluck = self.of(onset_s)?;
        let known = pluck.string == string && (pluck.answer.is_some() || !pluck.answered);
        known.then_some(pluck.since_s)
    }

    /// Whether `hz` lies away from where the answers see the string of this pluck.
    pub(super) fn is_away(&self, onset_s: f64, hz: Hz) -> bool {
        let answer = self.of(onset_s).and_then(|pluck| pluck.answer);
        answer.is_some_and(|answer| is_away(hz, answer))
    }

    /// Whether `string` was plucked again since: what is still found out of the older pluck is where it was.
    pub(super) fn is_over(&self, onset_s: f64, string: StringNumber) -> bool {
        let again = |pluck: &Pluck| pluck.onset_s > onset_s && pluck.string == string && pluck.answer.is_some();
        self.plucks.iter().any(again)
    }

    /// Whether its answers wander, so that they may say where it was.
    pub(super) fn wanders(&self, onset_s: f64) -> bool {
        self.of(onset_s).is_some_and(|pluck| pluck.wanders)
    }

    /// Whether its key was turned since it was plucked.
    pub(super) fn is_turned(&self, onset_s: f64) -> bool {
        self.of(onset_s).is_some_and(|pluck| pluck.turned)
    }

    /// Whether a track follows it at `time_s`.
    pub(super) fn is_tracked(&self, onset_s: f64, time_s: f64) -> bool {
        self.of(onset_s)
            .is_some_and(|pluck| time_s - pluck.tracked_s <= UNTRACKED_S)
    }

    fn of(&self, onset_s: f64) -> Option<&Pluck> {
        self.plucks.iter().find(|pluck| pluck.onset_s == onset_s)
    }

    fn pluck(&mut self, onset_s: f64, time_s: f64, string: StringNumber) -> &mut Pluck {
        let at = self.plucks.iter().position(|pluck| pluck.onset_s == onset_s);
        let at = at.unwrap_or_else(|| {
            if self.plucks.len() == REMEMBERED {
                self.plucks.pop_front();
            }
            self.plucks.push_back(Pluck {
                onset_s,
                string,
                since_s: onset_s.min(time_s),
                answer: None,
                answered: false,
                lowest: None,
                highest: None,
                away: 0,
                tracked_s: f64::NEG_INFINITY,
                wanders: false,
                turned: false,
            });
            self.plucks.len() - 1
        });
        &mut self.plucks[at]
    }
}

fn is_away(hz: Hz, from: Hz) -> bool {
    !hz.cents_above(from).is_within(Cents(AWAY_CENTS))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Onset of the pluck that is looked at, seconds.
    const ONSET_S: f64 = 1.0;

    fn string(number: u32) -> StringNumber {
        StringNumber::new(number).expect("a string")
    }

    fn hz(cents: f64) -> Hz {
        Hz::new(100.0).expect("hertz").raised_by(Cents(cents))
    }

    /// The answers and tracks of a pluck, every 40 ms up to two seconds, each where it says; whether it was turned.
    fn turned(answers: impl Fn(f64) -> f64, tracks: impl Fn(f64) -> Option<f64>) -> bool {
        let mut told = Told::default();
        for at in 2..50 {
            let since_s = 0.04 * f64::from(at);
            told.answer(ONSET_S, ONSET_S + since_s, string(40), hz(answers(since_s)), false);
            if let Some(cents) = tracks(since_s) {
                told.track(ONSET_S, ONSET_S + since_s, string(40), hz(cents));
            }
        }
        told.is_turned(ONSET_S)
    }

    #[test]
    fn a_string_that_is_not_turned_wavers_and_finds_its_pitch() {
        assert!(!turned(|_| 0.0, |since_s| Some(2.9 * (20.0 * since_s).sin())));
        assert!(
            !turned(|since_s| if since_s < 0.7 { 20.0 } else { 1.0 }, |_| None),
            "it was young"
        );
        assert!(!turned(|since_s| 1.2 * since_s, |_| None), "it glides");
    }

    #[test]
    fn a_turned_one_is_told_by_its_track_or_by_answers_that_wander() {
        assert!(turned(|_| 10.0, |since_s| Some(if since_s < 1.2 { 10.0 } else { 2.0 })));
        assert!(turned(|since_s| 10.0 - 4.0 * (since_s - 1.0).max(0.0), |_| None));
    }

    #[test]
    fn a_pluck_is_taken_for_a_string_since_its_answers_say_so() {
        let mut told = Told::default();
        told.answer(ONSET_S, 1.1, string(2), hz(0.0), false);
        assert_eq!(told.is_since(ONSET_S, string(2)), Some(ONSET_S));
        told.answer(ONSET_S, 1.3, string(8), hz(0.0), false);
        assert_eq!(told.is_since(ONSET_S, string(8)), Some(1.3));
        assert_eq!(told.is_since(ONSET_S, string(2)), None);
        // Neither a track nor a vague answer names another one.
        told.track(ONSET_S, 1.4, string(9), hz(0.0));
        told.answer(ONSET_S, 1.4, string(9), hz(0.0), true);
        assert_eq!(told.is_since(ONSET_S, string(8)), Some(1.3));
        assert!(!told.is_over(ONSET_S, string(8)));
        told.answer(2.0, 2.1, string(8), hz(0.0), false);
        assert!(told.is_over(ONSET_S, string(8)), "it was plucked again");
        assert!(!told.is_over(ONSET_S, string(2)));
        // What has vague answers only is no string yet.
        told.answer(3.0, 3.1, string(5), hz(0.0), true);
        told.track(3.0, 3.4, string(5), hz(0.0));
        assert_eq!(told.is_since(3.0, string(5)), None);
    }
}
