//! The condition of an input: what the listener, the room, the treatment and the name say together.

use consort_analysis::Health;
use consort_proto::SampleRate;

use crate::sound::kind::Kind;
use crate::sound::room::Room;
use crate::sound::treatment::Treatment;
use crate::sound::trouble::Trouble;

/// Watches one input for as long as it is heard.
pub(crate) struct Condition {
    kind: Kind,
    health: Health,
    room: Room,
    treatment: Treatment,
    trouble: Option<Trouble>,
}

impl Condition {
    /// An input of `rate` and `kind` of which nothing has been heard yet.
    pub(crate) fn new(rate: SampleRate, kind: Kind) -> Self {
        Self {
            kind,
            health: Health::Good,
            room: Room::new(rate),
            treatment: Treatment::new(rate),
            trouble: None,
        }
    }

    /// Takes the next samples.
    pub(crate) fn push(&mut self, samples: &[f32]) {
        self.room.push(samples);
        self.treatment.push(samples);
    }

    /// The listener has judged the input.
    pub(crate) const fn judged(&mut self, health: Health) {
        self.health = health;
    }

    /// Something began to sound at `onset_s`, in seconds from the start of the sound.
    pub(crate) fn onset(&mut self, onset_s: f64) {
        self.treatment.onset(onset_s);
        self.room.onset(onset_s);
    }

    /// A string was plucked at `onset_s`, had this level over its first tenth of a second, and was heard until `until_s`.
    pub(crate) fn pluck(&mut self, onset_s: f64, until_s: f64, level_dbfs: f64) {
        self.room.pluck(onset_s, until_s, level_dbfs);
    }

    /// The gravest trouble, if that has changed; `Some(None)` when there is none any more.
    pub(crate) fn changed(&mut self) -> Option<Option<Trouble>> {
        let now = self.gravest();
        let changed = now != self.trouble;
        self.trouble = now;
        changed.then_some(now)
    }

    fn gravest(&mut self) -> Option<Trouble> {
        let heard = match self.health {
            Health::Silent => Some(Trouble::Silent),
            Health::Clipped => Some(Trouble::Clipped),
            Health::Humming(hz) => Some(Trouble::Humming(hz)),
            _ => None,
        };
        let named = match self.kind {
            Kind::Plain => None,
            Kind::BuiltIn => Some(Trouble::BuiltIn),
            Kind::Headset => Some(Trouble::Headset),
            Kind::Playback => Some(Trouble::Playback),
        };
        let loud = self.room.is_loud();
        [
            heard,
            named,
            self.treatment.suppresses().then_some(Trouble::Suppressed),
            // In a loud room it is the room that keeps its level.
            (self.treatment.levels() && !loud).then_some(Trouble::Levelled),
            loud.then_some(Trouble::LoudRoom),
        ]
        .into_iter()
        .flatten()
        .min()
    }
}
