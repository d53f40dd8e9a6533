//! What speaks against the reading of a note that has ended.

use crate::heard::Doubt;
use crate::identify::Verdict;

/// The least share of the sound that a string has to explain to be sure.
const SCORE_SURE: f64 = 0.3;
/// A high string has few partials, and shares its short life with whatever else sounds.
const SCORE_SURE_HIGH: f64 = 0.2;
/// Strings above this live shortly, hertz.
pub(super) const SHORT_LIVED_HZ: f64 = 1000.0;
/// When another sound began while a note was measured, an uncertainty beyond this, cents, says that they were mixed up.
const JOINED_SIGMA_MAX_CENTS: f64 = 1.0;
/// Where the partials that a chord above would not have stand less than this above the others, decibels, it is a chord: of
/// single strings of three pedal harps and two lever harps, plucked where their players liked to, one in a hundred stands
/// further below, and 3 in a hundred more than 10 dB. Of chords, 19 in 20 do so by 14 dB, but not with fifths two octaves up.
const CHORD_DB: f64 = -11.0;
/// The same while other strings are plucked.
const CHORD_IN_COMPANY_DB: f64 = -10.0;
/// Least lead over other pitches to be sure, nats.
const LEAD_SURE: f64 = 1.5;
/// The same where no more than so many partials are followed of a string that does not live shortly: they may be every third
/// of one that is lower by a twelfth, and has lost its own in the room.
const LEAD_SURE_OF_FEW: f64 = 4.0;
const FEW_PARTIALS: usize = 4;
/// And where so many partials or more of a string with more than those were measured as its own: of readings that are trusted
/// and lead by less than the former, but by this much, none of 900 in the loudest room was wrong.
const LEAD_SURE_OF_MANY: f64 = 0.5;
const MANY_PARTIALS: usize = 3;
/// Least lead over the octave below to be sure, nats. Strings whose even partials rule, plucked near their middle or weak in their
/// odd ones by themselves, are read an octave too high beside others, and then lead by less: 10 of 11 that were, over two lever
/// harps; of right readings 2 in 100 of those harps lead by less in a room, of the first harp 1 in 200.
const OCTAVE_LEAD_SURE: f64 = 2.1;
/// Least lead over other strings to be sure which one it is, nats.
pub(crate) const WHICH_LEAD: f64 = 0.2;
/// A pitch further than this from its string's target is doubtful, cents.
const FAR_CENTS: f64 = 120.0;
/// Notes shorter than this are not measured with certainty, seconds.
const SHORT_S: f64 = 0.3;
/// A note that has lost this much of its power (50 dB) after a quarter of a second was stopped.
const FADED: f64 = 1e-5;
/// No string glides further than this, cents; a fit that says so followed something else.
const GLIDE_MAX_CENTS: f64 = 30.0;
/// A string that moves further than this while it is measured, cents, is being turned: by themselves strings glide by up
/// to four (measured on recorded plucks of all registers).
/// In noise glides are told no better than the pitch: so many of the pitch's standard deviations are allowed, up to so many
/// cents.
const TURNED_CENTS: f64 = 6.0;
/// One that falls from its pluck on may fall by this much: low strings of a lever harp that were plucked hard fell by 8.
const FALLS_CENTS: f64 = 10.0;
const TURNED_SIGMAS: f64 = 2.0;
const TURNED_MORE_CENTS: f64 = 2.0;

/// What is known of a note at its end.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ending {
    /// The string and pitch most believed, and how far they stand above others.
    pub(super) verdict: Verdict,
    /// How far its pitch went from the first to the second half of its time, cents.
    pub(super) glide_cents: f64,
    /// How far its strongest partials went together, cents, as they began.
    pub(super) together_cents: f64,
    /// Whether it falls from its pluck on, and no faster later.
    pub(super) falls: bool,
    /// Standard deviation of the pitch, cents, and the same as far as the string stands still.
    pub(super) sigma_cents: f64,
    pub(super) still_cents: f64,
    /// The most that the former may be of a reading that is relied on, cents.
    pub(super) sigma_max_cents: f64,
    /// Whether the string, as it sounded last, had moved away from where it was measured.
    pub(super) left_behind: bool,
    /// Whether something else began to sound since its onset.
    pub(super) joined: bool,
    /// How many of its partials were followed, and how many were measured as its own.
    pub(super) followed: usize,
    pub(super) measured: usize,
    /// How far the partials that a chord would not have stand above the others, decibels, where that can be told.
    pub(super) own_above_others_db: Option<f64>,
    /// How many other strings were plucked around then, unless this one was expected.
    pub(super) company: usize,
    /// Log odds that it is a pluck, less what is asked for.
    pub(super) trust: f64,
    /// How far it lies from its string's target, cents, and whether that string was chosen by hand: such a one may lie anywhere.
    pub(super) offset_cents: f64,
    pub(super) chosen: bool,
    /// How long it sounded, seconds, and the share of its power that was left after a quarter of a second.
    pub(super) age_s: f64,
    pub(super) fading: f64,
}

impl Ending {
    /// Why the reading should not be relied on, if it should not; where several things speak against it, what explains most of
    /// them.
    pub(super) fn doubt(&self) -> Option<Doubt> {
        if self.glide_cents.abs() > GLIDE_MAX_CENTS {
            Some(Doubt::Scattered)
        } else if self.is_turned() {
            Some(Doubt::Turned)
        } else if self.sigma_cents > self.sigma_max_cents {
            Some(Doubt::Scattered)
        } else if self.verdict.lead < self.lead_sure() || self.may_be_lower() || self.is_lone() || self.is_mixed() {
            Some(Doubt::NotAlone)
        } else if self.verdict.score < self.score_sure() || self.trust < 0.0 {
            Some(Doubt::Faint)
        } else if self.offset_cents.abs() > FAR_CENTS && !self.chosen {
            Some(Doubt::FarFromAll)
        } else if self.verdict.string_lead < WHICH_LEAD {
            Some(Doubt::Which)
        } else if self.age_s < SHORT_S || self.fading < FADED {
            Some(Doubt::TooShort)
        } else {
            None
        }
    }

    /// Whether the string moved as none does by itself.
    fn is_turned(&self) -> bool {
        let more = (TURNED_SIGMAS * self.still_cents).min(TURNED_MORE_CENTS);
        let falls = |cents: f64| self.falls && cents < 0.0;
        let most = if falls(self.glide_cents) {
            FALLS_CENTS
        } else {
            TURNED_CENTS
        };
        // How far one that falls would have gone as it began, it does not go.
        let together = !falls(self.together_cents) && self.together_cents.abs() > TURNED_CENTS + more;
        self.glide_cents.abs() > most + more || together || self.left_behind
    }

    /// Whether it was measured together with other strings.
    fn is_mixed(&self) -> bool {
        let joined = self.joined && self.sigma_cents > JOINED_SIGMA_MAX_CENTS;
        // What she has in hand is no chord.
        let least = if self.company > 0 {
            CHORD_IN_COMPANY_DB
        } else {
            CHORD_DB
        };
        let chord = !self.chosen && self.own_above_others_db.is_some_and(|above| above < least);
        joined || chord
    }

    /// Whether it may be the string an octave below, of which odd partials are not heard.
    fn may_be_lower(&self) -> bool {
        self.verdict.octave_lead < OCTAVE_LEAD_SURE
    }

    /// Whether few partials are followed of a string that does not live shortly.
    fn has_few(&self) -> bool {
        self.verdict.hz < SHORT_LIVED_HZ && self.followed <= FEW_PARTIALS
    }

    /// Whether a single one of few partials was measured, which may be any partial of any string that is not in hand.
    fn is_lone(&self) -> bool {
        self.has_few() && self.measured < 2 && !self.chosen
    }

    /// The lead over other pitches from which on it is sure, nats.
    fn lead_sure(&self) -> f64 {
        if self.has_few() {
            LEAD_SURE_OF_FEW
        } else if self.followed > FEW_PARTIALS && self.measured >= MANY_PARTIALS {
            LEAD_SURE_OF_MANY
        } else {
            LEAD_SURE
        }
    }

    /// The share of the sound from which on it is sure.
    fn score_sure(&self) -> f64 {
        if self.verdict.hz > SHORT_LIVED_HZ {
            SCORE_SURE_HIGH
        } else {
            SCORE_SURE
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A string in the middle of the harp that nothing speaks against.
    const CLEAR: Ending = Ending {
        verdict: Verdict {
            string: 24,
            hz: 260.0,
            score: 0.8,
            lead: 10.0,
            string_lead: 5.0,
            octave_lead: 10.0,
        },
        glide_cents: 1.0,
        together_cents: 1.0,
        falls: false,
        sigma_cents: 0.2,
        still_cents: 0.2,
        sigma_max_cents: 2.0,
        left_behind: false,
        joined: false,
        followed: 10,
        measured: 8,
        own_above_others_db: Some(0.0),
        company: 0,
        trust: 2.0,
        offset_cents: 5.0,
        chosen: false,
        age_s: 1.5,
        fading: 0.3,
    };

    /// What else is known of [`CLEAR`].
    type Else = fn(&mut Ending);

    #[track_caller]
    fn check(cases: &[(&str, Else, Option<Doubt>)]) {
        for &(what, but, doubt) in cases {
            let mut ending = CLEAR;
            but(&mut ending);
            assert_eq!(ending.doubt(), doubt, "{what}");
        }
    }

    #[test]
    #[rustfmt::skip]
    fn each_thing_that_speaks_against_a_reading_has_its_doubt() {
        check(&[
            ("a clear note",                        |_| {},                                          None),
            ("its pin was turned",                  |end| end.glide_cents = -7.0,                    Some(Doubt::Turned)),
            ("it glides like that in noise",        |end| (end.glide_cents, end.still_cents) = (7.0, 0.8), None),
            ("but not so far",                      |end| (end.glide_cents, end.still_cents) = (9.0, 5.0), Some(Doubt::Turned)),
            ("it was turned at the last moment",    |end| end.left_behind = true,                    Some(Doubt::Turned)),
            ("no string glides so far",             |end| end.glide_cents = 31.0,                    Some(Doubt::Scattered)),
            ("its partials do not agree",           |end| end.sigma_cents = 2.1,                     Some(Doubt::Scattered)),
            ("they hardly do beside another sound", |end| (end.joined, end.sigma_cents) = (true, 1.1), Some(Doubt::NotAlone)),
            ("they do beside it",                   |end| end.joined = true,                         None),
            ("it lacks the partials of one string", |end| end.own_above_others_db = Some(-11.5),     Some(Doubt::NotAlone)),
            ("it has few of them for where it was plucked", |end| end.own_above_others_db = Some(-10.5), None),
            ("in the midst of music that is a chord",   |end| (end.own_above_others_db, end.company) = (Some(-10.5), 2), Some(Doubt::NotAlone)),
            ("it falls by itself",                |end| (end.glide_cents, end.falls) = (-8.0, true), None),
            ("it falls later, or rises",          |end| end.glide_cents = -8.0,                      Some(Doubt::Turned)),
            ("it falls further",                  |end| (end.glide_cents, end.falls) = (-13.0, true), Some(Doubt::Turned)),
            ("it rises after all",                |end| (end.glide_cents, end.falls) = (8.0, true),  Some(Doubt::Turned)),
            ("all partials began to fall",        |end| (end.together_cents, end.falls) = (-13.0, true), None),
            ("all partials rise",                 |end| (end.together_cents, end.falls) = (13.0, true), Some(Doubt::Turned)),
            ("all partials went along",           |end| end.together_cents = 9.0,                    Some(Doubt::Turned)),
            ("nothing tells whether it does",       |end| end.own_above_others_db = None,            None),
            ("it may be an octave lower",           |end| end.verdict.octave_lead = 2.0,             Some(Doubt::NotAlone)),
            ("it hardly may",                       |end| end.verdict.octave_lead = 2.2,             None),
            ("it explains too little",              |end| end.verdict.score = 0.28,                  Some(Doubt::Faint)),
            ("enough for a high one",               |end| (end.verdict.hz, end.verdict.score) = (1500.0, 0.22), None),
            ("too little for that, too",            |end| (end.verdict.hz, end.verdict.score) = (1500.0, 0.18), Some(Doubt::Faint)),
            ("it is like no pluck",                 |end| end.trust = -0.1,                          Some(Doubt::Faint)),
            ("no string is meant to be there",      |end| end.offset_cents = -130.0,                 Some(Doubt::FarFromAll)),
            ("the one that was chosen may be",      |end| (end.offset_cents, end.chosen) = (-130.0, true), None),
            ("its neighbour fits as well",          |end| end.verdict.string_lead = 0.1,             Some(Doubt::Which)),
            ("it was stopped early",                |end| end.age_s = 0.25,                          Some(Doubt::TooShort)),
            ("it was damped",                       |end| end.fading = 1e-6,                         Some(Doubt::TooShort)),
        ]);
    }

    /// The fewer partials tell of a pitch, the further it has to stand above others.
    #[test]
    #[rustfmt::skip]
    fn few_partials_have_to_lead_by_more() {
        for (hz, followed, measured, least) in [
            //  followed  measured  least lead/nats
            ( 260.0, 10,  8, 0.5),
            ( 260.0, 10,  2, 1.5),
            ( 260.0,  4,  3, 4.0),
            (1500.0,  3,  2, 1.5), // A high string has no more.
            (1500.0,  1,  1, 1.5),
        ] {
            let doubt = |lead| {
                let verdict = Verdict { hz, lead, ..CLEAR.verdict };
                Ending { verdict, followed, measured, ..CLEAR }.doubt()
            };
            assert_eq!(doubt(least + 0.1), None, "{measured} of {followed} partials at {hz} Hz");
            assert_eq!(doubt(least - 0.1), Some(Doubt::NotAlone), "{measured} of {followed} partials at {hz} Hz");
        }
        let alone = Ending { followed: 2, measured: 1, ..CLEAR };
        let verdict = Verdict { lead: 1e9, ..CLEAR.verdict };
        assert_eq!(Ending { verdict, ..alone }.doubt(), Some(Doubt::NotAlone), "a single tone may be any partial");
    }

    /// A string that is turned is off, and its partials agree on no pitch: that it was turned explains both.
    #[test]
    fn what_explains_most_is_said() {
        check(&[
            (
                "turned",
                |end| (end.glide_cents, end.sigma_cents, end.offset_cents) = (15.0, 3.0, 150.0),
                Some(Doubt::Turned),
            ),
            (
                "scattered",
                |end| (end.sigma_cents, end.verdict.lead, end.offset_cents) = (3.0, 0.1, 150.0),
                Some(Doubt::Scattered),
            ),
            (
                "not alone",
                |end| (end.verdict.lead, end.verdict.score, end.age_s) = (0.1, 0.1, 0.2),
                Some(Doubt::NotAlone),
            ),
            (
                "faint",
                |end| (end.trust, end.offset_cents, end.age_s) = (-1.0, 150.0, 0.2),
                Some(Doubt::Faint),
            ),
            (
                "far",
                |end| (end.offset_cents, end.verdict.string_lead) = (150.0, 0.1),
                Some(Doubt::FarFromAll),
            ),
            (
                "which",
                |end| (end.verdict.string_lead, end.age_s) = (0.1, 0.2),
                Some(Doubt::Which),
            ),
        ]);
    }
}
