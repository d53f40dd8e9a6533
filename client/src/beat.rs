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
    /// Whether it has been found louder than what was before it.
    louder: bool,
    /// Up to when the sound has been looked at, seconds.
    done_s: f64,
}

/// So much sound after the pluck is looked at, seconds.
const LISTENED_S: f64 = 2.0;
/// What begins later than this after a pluck is no part of it: strings that beat seem to begin anew at every swell.
const TOGETHER_S: f64 = 0.15;
/// A pluck is louder over this time than what was before it, seconds; a hand that stops strings is not.
const LOUDER_S: f64 = 0.25;

impl Beats {
    /// Nothing to listen for yet in a sound of `rate`; what is found goes to `out`.
    pub(crate) const fn new(rate: SampleRate, out: Sender<Fed>) -> Self {
        Self {
            rate,
            out,
            pair: None,
            pluck_s: None,
            louder: false,
            done_s: 0.0,
        }
    }

    /// Listens for `pair` from the next pluck after `last_onset_s` on.
    pub(crate) fn listen_to(&mut self, pair: Option<Together>, last_onset_s: Option<f64>) {
        self.pair = pair;
        self.pluck_s = None;
        self.done_s = last_onset_s.unwrap_or_default();
    }

    /// Looks at the newest pluck once enough of it has sounded.
    pub(crate) fn look(&mut self, tail: &Tail, last_onset_s: Option<f64>) {
        let (Some(pair), Some(onset_s)) = (self.pair, last_onset_s) else {
            return;
        };
        let begun_s = self.pluck_s.unwrap_or(onset_s);
        if onset_s > self.done_s && onset_s - begun_s < TOGETHER_S && self.pluck_s != Some(onset_s) {
            (self.pluck_s, self.louder) = (Some(onset_s), false);
        }
        let Some(pluck_s) = self.pluck_s else { return };
        let rate_hz = f64::from(self.rate.get());
        let piece =
            |from_s: f64, long_s: f64| tail.from((from_s.max(0.0) * rate_hz) as u64, (long_s * rate_hz) as usize);
        if !self.louder {
            let Some(beginning) = piece(pluck_s, LOUDER_S) else {
                return;
            };
            self.louder = piece(pluck_s - LOUDER_S, LOUDER_S).is_none_or(|before| power(&before) < power(&beginning));
            if !self.louder {
                (self.pluck_s, self.done_s) = (None, onset_s);
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
