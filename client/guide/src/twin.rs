//! Twins: a string that its pedal or lever holds up a semitone has the pitch of the string above it.

use consort_proto::{Cents, Harp, Hz, Mechanism, Readiness, Standing, StringNumber, Tuning};

/// A disc or a lever raises its string by a semitone, and the string may be this far off besides.
const HELD_UP: Cents = Cents(100.0);
const ABOUT: Cents = Cents(30.0);
/// A string that was last heard nearer than this is not held up.
const FREE_BELOW: Cents = Cents(60.0);
/// Two plucks of one string lie no further apart than this.
const SAME_PLUCK: Cents = Cents(15.0);

/// Tells twins apart, as far as that can be done: by what the desk asked for.
///
/// Pitch cannot tell a B that is left in natural from the C flat above it. When the desk asks for the B and its twin's
/// pitch sounds, the B is meant, and its pedal doubtful. When the same pitch comes once more, the harpist means the other; and
/// when it comes again while the desk still asks for the B, she does mean that one, and in turns.
#[derive(Clone, Copy, Debug, Default)]
pub struct Twins {
    /// The pluck that was last looked at, by its onset in seconds, and the string that it was taken for instead.
    pluck: Option<(f64, Option<StringNumber>)>,
    /// What was taken for `0` sounded like this.
    doubted: Option<(StringNumber, Hz)>,
}

/// A pluck that was heard as one string while another was asked for.
#[derive(Clone, Copy, Debug)]
pub struct Sounding {
    /// When it was plucked, in seconds; tells one pluck from the next.
    pub onset_s: f64,
    /// The string that it is heard as.
    pub heard: StringNumber,
    /// Its pitch.
    pub hz: Hz,
    /// Whether this is the last word on it.
    pub settled: bool,
}

impl Twins {
    /// Another sound begins, whose times start over.
    pub const fn begin_sound(&mut self) {
        self.pluck = None;
    }

    /// The string that `sounding` is to be taken for: the one that was `asked` for, if that may be held up, or the one that
    /// was heard.
    pub fn tell(
        &mut self,
        sounding: Sounding,
        asked: Option<StringNumber>,
        harp: &Harp,
        tuning: &Tuning,
        readiness: &Readiness,
    ) -> StringNumber {
        let Sounding {
            onset_s,
            heard,
            hz,
            settled,
        } = sounding;
        let candidate = asked.filter(|&asked| asked != heard && may_be_held_up(asked, hz, harp, tuning, readiness));
        let again = candidate.is_some_and(|asked| {
            self.doubted
                .is_some_and(|(string, before)| string == asked && hz.cents_above(before).is_within(SAME_PLUCK))
        });
        let instead = match self.pluck {
            Some((onset, instead)) if onset == onset_s => instead,
            _ => candidate.filter(|_| !again),
        };
        self.pluck = Some((onset_s, instead));
        if settled && candidate.is_some() {
            self.doubted = instead.map(|asked| (asked, hz));
        }
        instead.unwrap_or(heard)
    }
}

/// Whether the string may sound like this because its pedal or lever holds it up.
fn may_be_held_up(number: StringNumber, hz: Hz, harp: &Harp, tuning: &Tuning, readiness: &Readiness) -> bool {
    let Some(string) = harp
        .string(number)
        .filter(|string| string.mechanism != Mechanism::Fixed)
    else {
        return false;
    };
    let known_free = match readiness.of(number) {
        Some(Standing::NotHeard) | None => false,
        Some(standing) => standing.cents().is_some_and(|cents| cents.is_within(FREE_BELOW)),
    };
    let above = hz.cents_above(tuning.open_target(string));
    !known_free && (above - HELD_UP).is_within(ABOUT)
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_proto::{Reading, StringStory, Tolerance, harp_file};

    /// Onset, string asked for, string heard, cents above the heard one's target, the string that it is taken for.
    type Step = (f64, u32, u32, f64, u32);

    #[track_caller]
    fn check(heard_before: &[(u32, f64)], steps: &[Step]) {
        let harp = harp_file::preset("pedal-47").expect("a preset");
        let tuning = Tuning::default();
        let number = |number| StringNumber::new(number).expect("a string");
        let at = |string: u32, cents| {
            let target = tuning.open_target(harp.string(number(string)).expect("a string"));
            target.raised_by(Cents(cents))
        };
        let mut stories = vec![StringStory::default(); harp.len()];
        for &(string, cents) in heard_before {
            let reading = Reading::new(number(string), at(string, cents), Cents(0.1)).expect("a reading");
            stories[string as usize - 1].hear(reading);
        }
        let readiness = Readiness::judge(&harp, &stories, &tuning, &Tolerance::default());
        let mut twins = Twins::default();
        for &(onset_s, asked, heard, cents, taken) in steps {
            let sounding = Sounding {
                onset_s,
                heard: number(heard),
                hz: at(heard, cents),
                settled: true,
            };
            let told = twins.tell(sounding, Some(number(asked)), &harp, &tuning, &readiness);
            assert_eq!(told.get(), taken as u8, "at {onset_s} s, {asked} asked, {heard} heard");
        }
    }

    /// String 27 is B flat 3, string 26 the C flat 4 above it: the same key as B natural.
    #[test]
    fn a_string_that_is_asked_for_and_sounds_like_its_neighbour_above_is_held_up() {
        check(&[], &[(1.0, 27, 26, 5.0, 27)]);
        // Nobody asked for it, or the neighbour was asked for.
        check(&[], &[(1.0, 30, 26, 5.0, 26), (2.0, 26, 26, 5.0, 26)]);
        // A whole tone lies between B flat and A flat: no twins.
        check(&[], &[(1.0, 28, 27, 5.0, 27)]);
        // It was heard where it belongs before.
        check(&[(27, -4.0)], &[(1.0, 27, 26, 5.0, 26)]);
    }

    #[test]
    fn the_same_pitch_once_more_means_the_neighbour() {
        check(
            &[],
            &[(1.0, 27, 26, 5.0, 27), (2.0, 27, 26, 6.0, 26), (3.0, 27, 26, 30.0, 27)],
        );
    }

    #[test]
    fn the_same_pitch_a_third_time_means_the_string_that_is_asked_for_still() {
        check(
            &[],
            &[
                (1.0, 27, 26, 5.0, 27),
                (2.0, 27, 26, 6.0, 26),
                (3.0, 27, 26, 5.0, 27),
                (4.0, 27, 26, 5.0, 26),
            ],
        );
    }
}
