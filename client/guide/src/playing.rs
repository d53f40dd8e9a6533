//! Playing: between strings she plays, and a tool that listens to music then only disturbs.

use std::collections::VecDeque;

use consort_proto::StringNumber;

use crate::attention::PLUCKED_AFTER_S;

/// Tells playing from tuning by the plucks alone: whoever tunes stays on a string, or goes from one to the next at leisure.
#[derive(Clone, Debug, Default)]
pub(crate) struct Playing {
    recent: VecDeque<(f64, StringNumber)>,
    /// Onsets of those that were measured and are hers: others' come and go.
    hers: VecDeque<f64>,
    plays: bool,
}

/// So many different strings within so many seconds are music (assumed; the last check is a run and is asked for).
const STRINGS: usize = 4;
const WITHIN_S: f64 = 2.0;
/// So are so many leaps within so many seconds, among three strings and more: steps on in one direction are none, and who
/// compares a string with its octave leaps between two (assumed).
const LEAPS: usize = 4;
const LEAPS_WITHIN_S: f64 = 4.0;
const LEAPT_STRINGS: usize = 3;
/// Who tunes by intervals goes to and fro between one string and those a fourth, a fifth and an octave from it: so many
/// strings further on.
const COMPARED: [u8; 3] = [3, 4, 7];
/// After a rest of this length, seconds, she is taken to tune again.
pub const REST_S: f64 = 1.0;

impl Playing {
    /// Another sound begins, whose times start over.
    pub(crate) fn begin_sound(&mut self) {
        self.recent.clear();
        self.hers.clear();
        self.plays = false;
    }

    /// What was plucked at `onset_s` was measured, and is hers.
    pub(crate) fn is_hers(&mut self, onset_s: f64) {
        self.hers.push_back(onset_s);
        while self.hers.front().is_some_and(|hers| onset_s - hers > LEAPS_WITHIN_S) {
            self.hers.pop_front();
        }
    }

    /// Takes in a pluck at `onset_s` that is taken for `string`; each pluck counts once. Whether she plays.
    pub(crate) fn pluck(&mut self, onset_s: f64, string: StringNumber) -> bool {
        if let Some(pluck) = self.recent.iter_mut().find(|(onset, _)| *onset == onset_s) {
            // The answer may have changed since.
            pluck.1 = string;
        } else if self.recent.back().is_some_and(|(last, _)| onset_s < *last) {
            // The last word on a pluck before the newest one: it was counted when it came.
            return self.plays;
        } else {
            if self.recent.back().is_some_and(|(last, _)| onset_s - last > REST_S) {
                self.plays = false;
            }
            self.recent.push_back((onset_s, string));
        }
        let newest_s = self.newest_s().unwrap_or(onset_s);
        while self
            .recent
            .front()
            .is_some_and(|(onset, _)| newest_s - onset > LEAPS_WITHIN_S)
        {
            self.recent.pop_front();
        }
        let lately = self.recent.iter().filter(|(onset_s, _)| newest_s - onset_s <= WITHIN_S);
        self.plays |= different(lately) >= STRINGS || self.leaps() >= LEAPS && different(self.hers()) >= LEAPT_STRINGS;
        self.plays
    }

    /// The recent plucks that are hers, and the newest, which is not known yet.
    fn hers(&self) -> impl Iterator<Item = &(f64, StringNumber)> + Clone {
        let newest_s = self.newest_s();
        self.recent
            .iter()
            .filter(move |(onset_s, _)| self.hers.contains(onset_s) || Some(*onset_s) == newest_s)
    }

    /// How many of the recent plucks that are hers are of another string than the one before, and no step on from it, nor one
    /// that is compared with the string that is plucked most.
    fn leaps(&self) -> usize {
        let strings = self.hers().map(|(_, string)| string.get());
        let times = |string: u8| strings.clone().filter(|other| *other == string).count();
        let most = strings.clone().max_by_key(|string| times(*string));
        let (mut leaps, mut way) = (0, 0);
        for (from, to) in strings.clone().zip(strings.clone().skip(1)) {
            let by = i32::from(to) - i32::from(from);
            let step_on = by.abs() == 1 && (way == 0 || way == by);
            let is_compared = COMPARED.contains(&from.abs_diff(to)) && (most == Some(from) || most == Some(to));
            leaps += usize::from(by != 0 && !step_on && !is_compared);
            way = if by.abs() == 1 { by } else { 0 };
        }
        leaps
    }

    /// What was taken for a pluck at `onset_s` was none.
    pub(crate) fn forget(&mut self, onset_s: f64) {
        self.recent.retain(|(onset, _)| *onset != onset_s);
    }

    /// She has rested: what comes now is tuning.
    pub(crate) fn rest(&mut self) {
        // The newest pluck stays, so that the last words on those before it do not count anew.
        let newest = self.recent.pop_back();
        self.recent.clear();
        self.recent.extend(newest);
        self.plays = false;
    }

    /// The newest pluck that counted, seconds of the sound.
    pub(crate) fn newest_s(&self) -> Option<f64> {
        self.recent.back().map(|(onset, _)| *onset)
    }

    /// The sound has come to `time_s`: what only rings on since the last pluck is a rest. Whether she plays.
    pub(crate) fn sounds_until(&mut self, time_s: f64) -> bool {
        if self.plays
            && self
                .newest_s()
                .is_some_and(|newest| time_s - newest > REST_S + PLUCKED_AFTER_S)
        {
            self.rest();
        }
        self.plays
    }

    /// Whether she plays.
    pub(crate) const fn is_on(&self) -> bool {
        self.plays
    }
}

/// How many different strings were plucked.
fn different<'a>(plucks: impl Iterator<Item = &'a (f64, StringNumber)>) -> usize {
    let mut strings: Vec<StringNumber> = plucks.map(|(_, string)| *string).collect();
    strings.sort_unstable();
    strings.dedup();
    strings.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Plucks (seconds, string), and whether she plays after each.
    #[track_caller]
    fn check(plucks: &[(f64, u32, bool)]) {
        let mut playing = Playing::default();
        for &(onset_s, string, plays) in plucks {
            let string = StringNumber::new(string).expect("a string");
            assert_eq!(playing.pluck(onset_s, string), plays, "at {onset_s} s");
            playing.is_hers(onset_s);
        }
    }

    #[test]
    fn four_strings_in_two_seconds_are_music_until_she_rests() {
        check(&[
            (0.0, 20, false),
            (0.3, 21, false),
            (0.6, 22, false),
            (0.9, 23, true),
            (1.2, 20, true),
            (2.1, 20, true),
            (4.2, 20, false),
        ]);
    }

    #[test]
    fn what_rings_on_from_before_a_rest_is_not_played_anew() {
        check(&[
            (0.0, 20, false),
            (0.3, 21, false),
            (0.6, 22, false),
            (0.9, 23, true),
            (3.0, 20, false),
            (0.0, 20, false),
            (0.3, 21, false),
            (0.6, 22, false),
            (0.9, 23, false),
        ]);
    }

    #[test]
    fn strings_that_only_ring_on_are_a_rest() {
        let mut playing = Playing::default();
        let string = |number| StringNumber::new(number).expect("a string");
        for (onset_s, number) in [(0.0, 20), (0.3, 21), (0.6, 22), (0.9, 23)] {
            playing.pluck(onset_s, string(number));
        }
        assert!(playing.sounds_until(1.8));
        assert!(
            playing.sounds_until(2.0),
            "the next pluck may not have sounded for long enough to be one"
        );
        assert!(!playing.sounds_until(2.2), "a second and more since the last pluck");
        for (onset_s, number) in [(0.3, 21), (0.6, 22), (0.9, 23)] {
            assert!(!playing.pluck(onset_s, string(number)), "the last word on {number}");
        }
    }

    #[test]
    fn a_melody_over_few_strings_is_music_and_an_octave_that_is_compared_is_not() {
        check(&[
            (0.0, 20, false),
            (0.7, 22, false),
            (1.4, 20, false),
            (2.1, 18, false),
            (2.8, 20, true),
        ]);
        check(&[
            (0.0, 20, false),
            (0.7, 27, false),
            (1.4, 20, false),
            (2.1, 27, false),
            (2.8, 20, false),
            (3.5, 27, false),
        ]);
        // With its fifth and its fourth as well.
        check(&[
            (0.0, 20, false),
            (0.7, 27, false),
            (1.4, 20, false),
            (2.1, 24, false),
            (2.8, 20, false),
            (3.5, 17, false),
            (4.2, 20, false),
        ]);
        // To and fro over three strings beside each other.
        check(&[
            (0.0, 20, false),
            (0.5, 21, false),
            (1.0, 20, false),
            (1.5, 19, false),
            (2.0, 20, false),
            (2.5, 19, false),
            (3.0, 20, true),
        ]);
    }

    #[test]
    fn what_others_pluck_between_hers_is_no_leap_of_hers() {
        let mut playing = Playing::default();
        let string = |number| StringNumber::new(number).expect("a string");
        for (count, onset_s) in [0.0, 1.3, 2.6, 3.9, 5.2].into_iter().enumerate() {
            assert!(!playing.pluck(onset_s, string(20)));
            playing.is_hers(onset_s);
            // Measured never, or found to be another harp's.
            assert!(!playing.pluck(onset_s + 0.6, string(30 + count as u32)));
        }
    }

    #[test]
    fn an_octave_that_is_compared_beside_a_stranger_is_tuning() {
        let mut playing = Playing::default();
        let string = |number| StringNumber::new(number).expect("a string");
        for (onset_s, number) in [(0.0, 20), (0.7, 27), (1.4, 20), (2.1, 27), (2.8, 20), (3.5, 27)] {
            assert!(!playing.pluck(onset_s, string(number)), "at {onset_s} s");
            playing.is_hers(onset_s);
            if onset_s == 1.4 {
                assert!(!playing.pluck(1.7, string(40)));
            }
        }
    }

    #[test]
    fn one_string_plucked_again_and_again_and_a_calm_walk_are_tuning() {
        check(&[
            (0.0, 20, false),
            (0.4, 20, false),
            (0.8, 20, false),
            (1.2, 20, false),
            (1.6, 21, false),
        ]);
        check(&[
            (0.0, 20, false),
            (0.9, 21, false),
            (1.8, 22, false),
            (2.7, 23, false),
            (3.6, 24, false),
        ]);
        // One pluck whose answer changes on the way is one pluck.
        check(&[(0.0, 20, false), (0.0, 21, false), (0.0, 22, false), (0.0, 23, false)]);
    }
}
