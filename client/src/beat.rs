//! Beats at an input: two seconds after each pluck, on a thread of their own, so that hearing never waits for them.

use std::thread;

use consort_analysis::{NoBeat, Together, beating};
use consort_proto::SampleRate;
use tokio::sync::mpsc::Sender;

use crate::feed::Fed;
use crate::wrong::Tail;

/// Listens for two strings that are plucked together.
#[derive(Debug)]
pub(crate) struct Beats {
    rate: SampleRate,
    out: Sender<Fed>,
    pair: Option<Together>,
    /// The pluck that is listened to, seconds from the start of the sound.
    pluck_s: Option<f64>,
    /// Whether it has been found louder than what was before it, and no knock.
    sounds: bool,
    /// Up to when the sound has been looked at, seconds.
    done_s: f64,
}

/// So much sound after the pluck is looked at, seconds.
const LISTENED_S: f64 = 2.0;
/// What begins later than this after a pluck is no part of it: strings that beat seem to begin anew at every swell.
const TOGETHER_S: f64 = 0.15;
/// A pluck is louder over this time than what was before it, seconds; a hand that stops strings is not.
const LOOKED_S: f64 = 0.25;
/// So long after it, seconds, a pluck still has this share of its power; a knock dies within hundredths of a second, and
/// the shortest strings that are listened to lose 10 dB.
const GOES_ON_S: f64 = 0.3;
const GOES_ON: f64 = 1e-3;

impl Beats {
    /// Nothing to listen for yet in a sound of `rate`; what is found goes to `out`.
    pub(crate) const fn new(rate: SampleRate, out: Sender<Fed>) -> Self {
        Self {
            rate,
            out,
            pair: None,
            pluck_s: None,
            sounds: false,
            done_s: 0.0,
        }
    }

    /// Listens for `pair` from the next pluck after `last_onset_s` on.
    pub(crate) fn listen_to(&mut self, pair: Option<Together>, last_onset_s: Option<f64>) {
        self.pair = pair;
        self.pluck_s = None;
        self.done_s = last_onset_s.unwrap_or_default();
    }

    /// What began at `onset_s` was no string, but talk or a knock: what was told before it stands.
    pub(crate) fn forget(&mut self, onset_s: f64) {
        if self
            .pluck_s
            .is_some_and(|pluck_s| (onset_s - pluck_s).abs() < TOGETHER_S)
        {
            (self.pluck_s, self.done_s) = (None, onset_s);
        }
    }

    /// Looks at the newest pluck once enough of it has sounded.
    pub(crate) fn look(&mut self, tail: &Tail, last_onset_s: Option<f64>) {
        let (Some(pair), Some(onset_s)) = (self.pair, last_onset_s) else {
            return;
        };
        let begun_s = self.pluck_s.unwrap_or(onset_s);
        if onset_s > self.done_s && onset_s - begun_s < TOGETHER_S && self.pluck_s != Some(onset_s) {
            (self.pluck_s, self.sounds) = (Some(onset_s), false);
        }
        let Some(pluck_s) = self.pluck_s else { return };
        let rate_hz = f64::from(self.rate.get());
        let piece =
            |from_s: f64, long_s: f64| tail.from((from_s.max(0.0) * rate_hz) as u64, (long_s * rate_hz) as usize);
        if !self.sounds {
            let (Some(begins), Some(goes_on)) = (piece(pluck_s, LOOKED_S), piece(pluck_s + GOES_ON_S, LOOKED_S)) else {
                return;
            };
            let begins = power(&begins);
            let is_louder = piece(pluck_s - LOOKED_S, LOOKED_S).is_none_or(|before| power(&before) < begins);
            self.sounds = is_louder && power(&goes_on) > GOES_ON * begins;
            if !self.sounds {
                (self.pluck_s, self.done_s) = (None, pluck_s);
                return;
            }
        }
        let Some(sound) = piece(pluck_s, LISTENED_S) else {
            return;
        };
        (self.pluck_s, self.done_s) = (None, pluck_s + LISTENED_S);
        let (rate, out) = (self.rate, self.out.clone());
        let look = move || {
            // The station may have ended meanwhile.
            let _ = out.blocking_send(Fed::Beats(beating(&sound, rate, pair)));
        };
        if thread::Builder::new().name("beats".to_owned()).spawn(look).is_err() {
            let _ = self.out.blocking_send(Fed::Beats(Err(NoBeat::TooShort)));
        }
    }
}

fn power(sound: &[f32]) -> f64 {
    sound.iter().map(|sample| f64::from(*sample).powi(2)).sum::<f64>() / sound.len().max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_proto::Hz;
    use consort_proto::beats::Interval;
    use tokio::sync::mpsc::{Receiver, channel};

    const RATE: u32 = 16_000;

    struct Listened {
        beats: Beats,
        tail: Tail,
        told: Receiver<Fed>,
    }

    impl Listened {
        /// Listens for an octave on 220 Hz.
        fn to_an_octave() -> Self {
            let rate = SampleRate::new(RATE).expect("a rate");
            let (out, told) = channel(8);
            let mut beats = Beats::new(rate, out);
            let hz = |hz| Hz::new(hz).expect("a frequency");
            let pair = Together {
                lower: hz(220.0),
                higher: hz(440.0),
                interval: Interval::OCTAVE,
            };
            beats.listen_to(Some(pair), None);
            Self {
                beats,
                tail: Tail::new(rate),
                told,
            }
        }

        /// Half a second of silence, then three in which something sounds; looked at every hundredth of a second.
        /// `knocked` says that it was refused.
        fn sounds(&mut self, what: impl Fn(f64) -> f64, knocked: bool) {
            let begins = self.tail.count() + u64::from(RATE) / 2;
            let onset_s = begins as f64 / f64::from(RATE);
            for step in 0..350_u32 {
                let sample = |n: u32| {
                    let t = f64::from(step * RATE / 100 + n) / f64::from(RATE) - 0.5;
                    if t < 0.0 { 0.0 } else { what(t) as f32 }
                };
                let piece: Vec<f32> = (0..RATE / 100).map(sample).collect();
                self.tail.push(&piece);
                let heard = (step >= 55).then_some(onset_s);
                if knocked && step == 80 {
                    self.beats.forget(onset_s);
                }
                self.beats.look(&self.tail, heard);
            }
        }
    }

    fn octave(t: f64) -> f64 {
        let line = |hz: f64| (std::f64::consts::TAU * hz * t).sin() * (-t).exp();
        (1..=6)
            .map(f64::from)
            .map(|n| (line(220.0 * n) + line(441.0 * n)) / n)
            .sum::<f64>()
            * 0.1
    }

    #[test]
    fn what_is_refused_is_not_looked_at_and_the_next_pluck_is() {
        let mut listened = Listened::to_an_octave();
        listened.sounds(octave, false);
        let Some(Fed::Beats(Ok(beating))) = listened.told.blocking_recv() else {
            panic!("two strings sound");
        };
        assert!((beating.beats_per_second - 1.0).abs() < 0.05, "{beating:?}");
        // Somebody talks.
        listened.sounds(|t| (std::f64::consts::TAU * 330.0 * t).sin() * (-t).exp(), true);
        assert!(listened.told.try_recv().is_err());
        listened.sounds(octave, false);
        assert!(matches!(listened.told.blocking_recv(), Some(Fed::Beats(Ok(_)))));
    }

    #[test]
    fn a_knock_that_nobody_refused_is_known_by_its_end() {
        let mut listened = Listened::to_an_octave();
        listened.sounds(|t| (t * 9_000.0).sin() * (-t / 0.01).exp(), false);
        assert!(listened.told.try_recv().is_err());
        listened.sounds(octave, false);
        assert!(matches!(listened.told.blocking_recv(), Some(Fed::Beats(Ok(_)))));
    }

    #[test]
    fn another_string_is_looked_at_and_said_to_be_something_else() {
        let mut listened = Listened::to_an_octave();
        listened.sounds(|t| (std::f64::consts::TAU * 330.0 * t).sin() * (-t).exp(), false);
        assert!(matches!(listened.told.blocking_recv(), Some(Fed::Beats(Err(_)))));
    }
}
