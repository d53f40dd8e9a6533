//! A held tone: the A that an oboe gives, or a violin, an organ, a piano or a fork, in a room with other sound.
//!
//! Four times a second the last second is looked at (`look.rs`): which tone stands out from all others, in the half octave
//! around the note that is expected, and where each of its partials lies exactly.
//! The looks of the last seconds that are of one tone make the answer together (`weigh.rs`), also of a tone that has died.
//! It is never told of a note of less than a second, and never where it would be doubtful.

mod look;
mod weigh;

use consort_proto::{Cents, Hz, SampleRate};

use self::look::{Look, Looker};
use self::weigh::{LOOKS, LOOKS_PER_S, weigh};

/// Listens for a held tone near one note.
pub struct HeldTone {
    rate: f64,
    expected: Hz,
    /// The newest second, oldest first from `at` on.
    ring: Vec<f32>,
    at: usize,
    until_look: usize,
    /// The newest second in order.
    second: Vec<f32>,
    looker: Looker,
    /// The newest looks, oldest first: what each found, if anything.
    looks: [Option<Look>; LOOKS],
}

impl std::fmt::Debug for HeldTone {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("HeldTone")
            .field("expected", &self.expected)
            .finish_non_exhaustive()
    }
}

/// What is held.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Held {
    /// No tone stands out, it has not been held for long enough, or its pitch is in doubt.
    Nothing,
    /// A tone is held, but it lies further than a quarter tone from the note that was expected.
    Elsewhere(Hz),
    /// The note.
    Tone {
        /// Its pitch over the last seconds: of its first partial, however loud that is.
        hz: Hz,
        /// How uncertain that is, one standard deviation.
        sigma: Cents,
        /// How far single looks lie from it, one standard deviation: how steadily it was held.
        wavers: Cents,
    },
}

/// A look is this long, seconds.
const LOOK_S: f64 = 1.0;
/// A tone that lies further than this from the note is another note, cents.
const THE_NOTE: Cents = Cents(50.0);
/// What is more doubtful than this is not told, cents.
const DOUBTFUL: Cents = Cents(2.0);

impl HeldTone {
    /// Listens at `rate` for a tone near `expected`.
    pub fn new(rate: SampleRate, expected: Hz) -> Self {
        let rate = f64::from(rate.get());
        let length = (LOOK_S * rate) as usize;
        Self {
            rate,
            expected,
            ring: vec![0.0; length],
            at: 0,
            until_look: length,
            second: vec![0.0; length],
            looker: Looker::new(rate, length, expected),
            looks: [None; LOOKS],
        }
    }

    /// Takes in samples; what is no number counts as silence. Never allocates.
    pub fn push(&mut self, samples: &[f32]) {
        for &sample in samples {
            self.ring[self.at] = if sample.is_finite() {
                sample.clamp(-8.0, 8.0)
            } else {
                0.0
            };
            self.at = (self.at + 1) % self.ring.len();
            self.until_look -= 1;
            if self.until_look == 0 {
                self.until_look = (self.rate / LOOKS_PER_S) as usize;
                let (newer, older) = self.ring.split_at(self.at);
                let (first, last) = self.second.split_at_mut(older.len());
                first.copy_from_slice(older);
                last.copy_from_slice(newer);
                self.looks.rotate_left(1);
                self.looks[LOOKS - 1] = self.looker.look(&self.second);
            }
        }
    }

    /// What has been held over the last seconds. Never allocates.
    pub fn held(&self) -> Held {
        let Some(weighed) = weigh(&self.looks).filter(|weighed| weighed.sigma <= DOUBTFUL.0) else {
            return Held::Nothing;
        };
        let hz = self.expected.raised_by(Cents(weighed.cents));
        if !Cents(weighed.cents).is_within(THE_NOTE) {
            return Held::Elsewhere(hz);
        }
        Held::Tone {
            hz,
            sigma: Cents(weighed.sigma),
            wavers: Cents(weighed.wavers),
        }
    }
}
