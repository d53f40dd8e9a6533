//! What is paid attention to: plucks of somebody who tunes, and not the music between them.

use consort_proto::StringNumber;

use crate::awaited::{Awaited, Heeded, Plucked, Taken, Wanted};
use crate::playing::Playing;

/// What sounds for less than this, seconds, was a noise that was taken for a pluck at first; music plucks no faster.
pub(crate) const PLUCKED_AFTER_S: f64 = 0.2;

/// Tells from the plucks alone whether she plays, and which readings `T` count.
#[derive(Clone, Debug)]
pub struct Attention<T> {
    playing: Playing,
    awaited: Awaited<T>,
}

impl<T> Default for Attention<T> {
    fn default() -> Self {
        Self {
            playing: Playing::default(),
            awaited: Awaited::default(),
        }
    }
}

impl<T> Attention<T> {
    /// Another sound begins, whose times start over.
    pub fn begin_sound(&mut self) {
        self.playing.begin_sound();
        self.awaited.begin_sound();
    }

    /// At `time_s`, what was plucked at `onset_s`, both seconds of the sound, is taken for `string`; `is_last` is the last
    /// word on it. Whether she plays; a run that is `asked_for` is no playing.
    pub fn pluck(&mut self, onset_s: f64, time_s: f64, string: StringNumber, is_last: bool, asked_for: bool) -> bool {
        if is_last || time_s - onset_s >= PLUCKED_AFTER_S {
            self.awaited.pluck(onset_s, string);
            self.playing.pluck(onset_s, string);
            self.playing.sounds_until(time_s);
        }
        let plays = self.playing.is_on() && !asked_for;
        if plays {
            self.awaited.plays(self.playing.newest_s().unwrap_or(onset_s));
        }
        plays
    }

    /// What was plucked at `onset_s`, seconds of the sound, was no pluck, or none of hers: it stands between nothing.
    pub fn forget(&mut self, onset_s: f64) {
        self.awaited.pass_by(onset_s);
        self.playing.forget(onset_s);
    }

    /// Takes in the `reading` of a pluck: what becomes of it.
    pub fn take(&mut self, plucked: Plucked, wanted: Wanted, reading: T) -> Taken<T> {
        let onset_s = plucked.onset_s;
        let taken = self.awaited.take(plucked, wanted, reading);
        match taken {
            Taken::NotHers | Taken::TooSoft => self.playing.forget(onset_s),
            Taken::Counts(_) | Taken::Waits | Taken::Strong => self.playing.is_hers(onset_s),
        }
        taken
    }

    /// Whether a pluck of `string` that began at `level_dbfs`, decibels below full scale, is so much softer than this harp that
    /// it is not followed while it sounds: it counts at most once it is plucked again, or where she says that it is hers.
    pub fn is_too_soft(&self, string: StringNumber, level_dbfs: f64) -> bool {
        self.awaited.is_too_soft(string, level_dbfs)
    }

    /// When a reading that waits has stood alone for long enough, unless something is plucked until then, seconds.
    pub fn alone_at(&self) -> Option<f64> {
        self.awaited.alone_at()
    }

    /// What waits and has stood alone, now that it is `time_s` or the sound has ended: it counts.
    pub fn stood_alone(&mut self, time_s: f64) -> Vec<T> {
        self.awaited.stood_alone(time_s)
    }

    /// What was plucked was told as a string that stands elsewhere, as [`is_elsewhere`](crate::is_elsewhere) says: where two do,
    /// the pedals do not stand in flat, or levers are up, and others may sound like open strings that are none.
    pub fn stands_elsewhere(&mut self, plucked: Plucked, wanted: Wanted) {
        self.awaited.stands_elsewhere(plucked, wanted);
    }

    /// What was plucked at `onset_s`, seconds of the sound, is far too soft to be hers.
    pub fn hears_another(&mut self, onset_s: f64) {
        self.awaited.hears_another(onset_s);
        self.playing.forget(onset_s);
    }

    /// What becomes of a pluck that is no reading; what is not heeded and `is_soft` is another harp's.
    pub fn heeds(&mut self, plucked: &Plucked, wanted: Wanted, is_soft: bool) -> Heeded {
        let heeded = self.awaited.heeds(plucked, wanted, is_soft);
        if heeded != Heeded::Yes && is_soft {
            self.playing.forget(plucked.onset_s);
        }
        heeded
    }

    /// She says that the last pluck that was too soft was hers, if that was `string`: the next one of it that comes soon and
    /// is no softer counts. Whether it was.
    pub fn take_for_hers(&mut self, string: StringNumber) -> bool {
        self.awaited.take_for_hers(string)
    }

    /// What she said was hers is not waited for any more.
    pub fn take_back(&mut self) {
        self.awaited.take_back();
    }

    /// Whether a pluck that the ear doubts because it is soft is taken like any other, as she has said.
    pub fn is_trusted(&self, plucked: &Plucked) -> bool {
        self.awaited.is_trusted(plucked)
    }

    /// The targets have moved: where strings stood says nothing any more.
    pub fn forget_places(&mut self) {
        self.awaited.forget_places();
    }

    /// She says how the pedals or levers stand: what was plucked before says nothing of that any more.
    pub fn forget_passing(&mut self) {
        self.awaited.forget_passing();
    }

    /// Whether a pluck is much stronger than hers are else, as far as that can be told while it sounds.
    pub fn is_strong(&self, plucked: &Plucked) -> bool {
        self.awaited.is_strong(plucked)
    }

    /// She has rested from playing.
    pub fn rest(&mut self) {
        self.playing.rest();
    }

    /// The newest pluck that may belong to playing, seconds of the sound.
    pub fn newest_s(&self) -> Option<f64> {
        self.playing.newest_s()
    }
}

#[cfg(test)]
mod tests {
    use consort_proto::Cents;

    use super::*;

    fn string(number: u32) -> StringNumber {
        StringNumber::new(number).expect("a string")
    }

    /// Whether four strings, one each 0.4 s, that each sound for `lasts_s` are taken for playing.
    fn plays(lasts_s: f64, asked_for: bool) -> bool {
        let mut attention = Attention::<()>::default();
        (0..4_u32).any(|count| {
            let onset_s = 0.4 * f64::from(count);
            attention.pluck(onset_s, onset_s + lasts_s, string(20 + count), false, asked_for)
        })
    }

    #[test]
    fn what_was_taken_for_a_pluck_for_a_moment_is_no_music_nor_is_a_run_that_is_asked_for() {
        assert!(!plays(0.15, false));
        assert!(plays(0.25, false));
        assert!(!plays(0.25, true));
    }

    #[test]
    fn what_waits_when_music_begins_does_not_count_afterwards() {
        let mut attention = Attention::default();
        for (onset_s, number) in [(0.0, 30), (0.3, 20), (0.6, 22), (0.9, 24)] {
            attention.pluck(onset_s, onset_s + 0.25, string(number), false, false);
        }
        attention.rest();
        let plucked = |onset_s| Plucked {
            onset_s,
            string: string(30),
            apart: Cents(-3.0),
            glide: Cents(0.0),
            level_dbfs: -20.0,
            whole_dbfs: -20.0,
            stiffness: 0.0,
        };
        let asked = Wanted::Near(string(30));
        // The last word on the first note comes when she has rested.
        assert_eq!(attention.take(plucked(0.0), asked, 0), Taken::Waits);
        assert_eq!(attention.take(plucked(3.0), asked, 1), Taken::Waits);
        assert_eq!(attention.take(plucked(5.0), asked, 2), Taken::Counts(vec![1, 2]));
    }
}
