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
    /// The onset that has been looked at, seconds.
    done_s: Option<f64>,
}

/// So much sound after the pluck is looked at, seconds.
const LISTENED_S: f64 = 2.0;

impl Beats {
    /// Nothing to listen for yet in a sound of `rate`; what is found goes to `out`.
    pub(crate) const fn new(rate: SampleRate, out: Sender<Fed>) -> Self {
        Self {
            rate,
            out,
            pair: None,
            done_s: None,
        }
    }

    /// Listens for `pair` from the next pluck after `last_onset_s` on.
    pub(crate) const fn listen_to(&mut self, pair: Option<Together>, last_onset_s: Option<f64>) {
        self.pair = pair;
        self.done_s = last_onset_s;
    }

    /// Looks at the newest pluck once enough of it has sounded; one that another follows is left.
    pub(crate) fn look(&mut self, tail: &Tail, last_onset_s: Option<f64>) {
        let (Some(pair), Some(onset_s)) = (self.pair, last_onset_s) else {
            return;
        };
        if self.done_s.is_some_and(|done_s| onset_s <= done_s) {
            return;
        }
        let rate = self.rate;
        let rate_hz = f64::from(rate.get());
        let Some(sound) = tail.from((onset_s * rate_hz) as u64, (LISTENED_S * rate_hz) as usize) else {
            return;
        };
        self.done_s = Some(onset_s);
        let out = self.out.clone();
        let look = move || {
            // The station may have ended meanwhile.
            let _ = out.blocking_send(Fed::Beats(beating(&sound, rate, pair)));
        };
        if thread::Builder::new().name("beats".to_owned()).spawn(look).is_err() {
            let _ = self.out.blocking_send(Fed::Beats(Err(NoBeat::TooShort)));
        }
    }
}
