//! What the ear senses, made into what it most likely is: the string in hand, and what the plucks before it tell of it.

use std::sync::Arc;

use consort_guide::opening::Check;
use consort_guide::{Advice, Situation, Sounding, Standstill, Twins};
use consort_link::Link;
use consort_proto::{Harp, Readiness, Reading, StringNumber};

use crate::ear::{Sensed, Verdict};
use crate::hand::Follower;

/// What is remembered from one pluck to the next.
#[derive(Debug)]
pub(crate) struct Hearing {
    /// The file whose sound is heard.
    file: Arc<str>,
    follower: Follower,
    twins: Twins,
    standstill: Standstill,
    opening: Check,
}

impl Hearing {
    /// Nothing heard yet; the tuning opens with `opening`.
    pub(crate) fn new(opening: Check) -> Self {
        Self {
            file: "".into(),
            follower: Follower::default(),
            twins: Twins::default(),
            standstill: Standstill::default(),
            opening,
        }
    }

    /// The file whose sound is heard.
    pub(crate) fn file(&self) -> Arc<str> {
        self.file.clone()
    }

    /// What comes now is of that file; another one is another sound.
    pub(crate) fn turn_to(&mut self, file: Arc<str>) {
        if self.file != file {
            self.file = file;
            self.begin_sound();
        }
    }

    /// Another sound begins, whose times start over.
    pub(crate) const fn begin_sound(&mut self) {
        self.follower.begin_sound();
        self.twins.begin_sound();
        self.opening.begin_sound();
    }

    /// What was sensed, as the string that it is more likely to be, knowing that the desk shows advice about `shown`.
    pub(crate) fn told_apart(
        &mut self,
        mut sensed: Sensed,
        harp: &Harp,
        link: &Link,
        shown: Option<StringNumber>,
    ) -> Sensed {
        let (onset_s, string, hz, settled) = match &mut sensed {
            Sensed::Answer(answer) => {
                let settled = answer.verdict == Verdict::Settled;
                (answer.onset_s, &mut answer.string, answer.hz, settled)
            }
            Sensed::Track {
                onset_s, string, hz, ..
            } => (*onset_s, string, *hz, false),
            Sensed::Refused { .. } | Sensed::Input(_) => return sensed,
        };
        if let Some(asked) = self.opening.takes(harp, link.tuning(), onset_s, hz) {
            *string = asked;
            return sensed;
        }
        let sounding = Sounding {
            onset_s,
            heard: *string,
            hz,
            settled,
        };
        let readiness = link.readiness();
        let asked = consort_guide::asked(&self.situation(harp, link, &readiness), shown);
        *string = self.twins.tell(sounding, asked, harp, link.tuning(), &readiness);
        sensed
    }

    /// Follows the string that sounds; whether the hand has changed.
    pub(crate) fn follow(&mut self, sensed: &Sensed) -> bool {
        self.follower.follow(sensed)
    }

    /// The string is done: between strings, nothing is in hand.
    pub(crate) const fn let_go(&mut self) {
        self.follower.let_go();
    }

    /// Takes in the reading of a pluck that was measured to its end.
    pub(crate) fn settled(&mut self, onset_s: f64, reading: &Reading, harp: &Harp, link: &Link) {
        let off = harp.string(reading.string).is_some_and(|string| {
            let cents = reading.hz.cents_above(link.tuning().open_target(string));
            !cents.is_within(link.tolerance().of(string))
        });
        self.standstill.hear(reading, off);
        self.opening
            .hear(harp, link.tuning(), onset_s, reading.string, reading.hz);
    }

    /// What to do now.
    pub(crate) fn advice(&self, harp: &Harp, link: &Link, readiness: &Readiness) -> Advice {
        consort_guide::advise(&self.situation(harp, link, readiness))
    }

    fn situation<'a>(&'a self, harp: &'a Harp, link: &'a Link, readiness: &'a Readiness) -> Situation<'a> {
        Situation {
            harp,
            tolerance: link.tolerance(),
            readiness,
            hand: self.follower.hand(harp, link.tuning()),
            stands_still: self
                .follower
                .sounds()
                .is_some_and(|(string, hz)| self.standstill.holds(string, hz)),
            opening: Some(&self.opening),
        }
    }
}
