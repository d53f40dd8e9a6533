//! Sentences about the domain: standings, harps, agreements, refusals.

use std::time::Duration;

use consort_proto::message::Refusal;
use consort_proto::{
    Agreement, Cents, Harp, Naming, Readiness, Scheme, Setting, Standing, StringNumber, Temperament, Tuning,
};

use crate::{Arg, Key, Words};

impl Words {
    /// What one string is: `holds`, `12 cents flat`.
    pub fn standing(&self, standing: Standing) -> String {
        match standing {
            Standing::NotHeard => self.say(Key::StandingNotHeard, &[]),
            Standing::Off(cents) if cents.0 < 0.0 => self.say(Key::StandingOffFlat, &[("cents", whole(cents))]),
            Standing::Off(cents) => self.say(Key::StandingOffSharp, &[("cents", whole(cents))]),
            Standing::SetOnce(_) => self.say(Key::StandingSetOnce, &[]),
            Standing::Holds(_) => self.say(Key::StandingHolds, &[]),
            Standing::Moved(cents) => self.say(Key::StandingMoved, &[("cents", signed(cents))]),
            Standing::WillNotHold(_) => self.say(Key::StandingWillNotHold, &[]),
            Standing::New(_) => self.say(Key::StandingNew, &[]),
            Standing::Missing => self.say(Key::StandingMissing, &[]),
        }
    }

    /// What a harp is: `ready`, `ready but for 3G`, `12 strings left`.
    pub fn readiness(&self, harp: &Harp, readiness: &Readiness) -> String {
        self.readiness_in(harp, readiness, Naming::Harp)
    }

    /// The same with strings named in this way.
    pub fn readiness_in(&self, harp: &Harp, readiness: &Readiness, naming: Naming) -> String {
        let left = readiness.left();
        if left == harp.len() {
            return self.say(Key::HarpLeftAll, &[]);
        }
        if left > 0 {
            return self.say(Key::HarpLeft, &[("count", Arg::from(left))]);
        }
        let aside: Vec<StringNumber> = readiness.set_aside().collect();
        if aside.is_empty() {
            self.say(Key::HarpReady, &[])
        } else {
            self.say(
                Key::HarpReadyButFor,
                &[("strings", Arg::from(string_names(harp, &aside, naming)))],
            )
        }
    }

    /// What everyone tunes to: `A = 442 · Vallotti · C major`.
    pub fn agreement(&self, agreement: &Agreement) -> String {
        self.tuning(&agreement.tuning)
    }

    /// What is tuned to, alone or together: `A = 442 · Vallotti · C major`.
    pub fn tuning(&self, tuning: &Tuning) -> String {
        self.say(
            Key::AgreementLine,
            &[
                ("pitch", Arg::from(plain_number(tuning.a4.hz().get()))),
                ("temperament", Arg::from(self.temperament(&tuning.temperament))),
                ("setting", Arg::from(setting_name(tuning.setting))),
            ],
        )
    }

    /// The name of a temperament.
    pub fn temperament(&self, temperament: &Temperament) -> String {
        self.say(temperament.scheme().map_or(Key::TemperamentOwn, temperament_key), &[])
    }

    /// A pedal setting as people call it: the major key where it is one, else all seven pedals.
    pub fn setting(&self, setting: Setting) -> String {
        setting_name(setting)
    }

    /// Why a station is turned away, and what to do.
    pub fn refusal(&self, refusal: Refusal) -> String {
        let key = match refusal {
            Refusal::NotInvited => Key::RefusalNotInvited,
            Refusal::JoiningClosed => Key::RefusalJoiningClosed,
            Refusal::Removed => Key::RefusalRemoved,
            Refusal::Superseded => Key::RefusalSuperseded,
            Refusal::Full => Key::RefusalFull,
            Refusal::Misspoke => Key::RefusalMisspoke,
            Refusal::WrongCode => Key::RefusalWrongCode,
            Refusal::Resting { left } => {
                // Whoever waits as long as it says must not be too early.
                let left = self.time(left + Duration::from_millis(999));
                return self.say(Key::RefusalResting, &[("time", Arg::from(left))]);
            }
            Refusal::NotNow => Key::RefusalNotNow,
            Refusal::Asked => Key::RefusalAsked,
            Refusal::Declined => Key::RefusalDeclined,
            Refusal::Copied => Key::RefusalCopied,
            Refusal::SeatTaken => Key::RefusalSeatTaken,
        };
        self.say(key, &[])
    }

    /// A length of time as people say it: seconds up to a minute and a half, then minutes.
    pub fn time(&self, time: Duration) -> String {
        let seconds = time.as_secs();
        if seconds < 90 {
            self.say(Key::TimeSeconds, &[("count", Arg::from(seconds))])
        } else {
            self.say(Key::TimeMinutes, &[("count", Arg::from((seconds + 30) / 60))])
        }
    }

    /// A moment so far ahead, for those who have no clock at hand: `9 min from now`.
    pub fn in_time(&self, left: Duration) -> String {
        self.say(Key::TimeFromNow, &[("time", Arg::from(self.time(left)))])
    }

    /// An interval in whole cents with its direction: `+3`, `−12`.
    pub fn signed(&self, cents: Cents) -> String {
        signed_text(cents)
    }

    /// How far something stands from what is agreed: `3.2 cents flat`.
    pub fn cents_apart(&self, cents: Cents) -> String {
        let key = if cents.0 < 0.0 {
            Key::StandingOffFlat
        } else {
            Key::StandingOffSharp
        };
        self.say(key, &[("cents", Arg::from(format!("{:.1}", cents.0.abs())))])
    }

    /// The board's headline: what there is to decide.
    pub fn headline(&self, ready: usize, tuning: usize, silent: usize) -> String {
        match (ready, tuning, silent) {
            (0, 0, 0) => self.say(Key::BoardNobody, &[]),
            (ready, 0, 0) => self.say(Key::BoardAllReady, &[("count", Arg::from(ready))]),
            (_, tuning, 0) => self.say(Key::BoardStillTuning, &[("count", Arg::from(tuning))]),
            (_, 0, silent) => self.say(Key::BoardSilent, &[("count", Arg::from(silent))]),
            (_, tuning, silent) => self.say(
                Key::BoardTuningAndSilent,
                &[("tuning", Arg::from(tuning)), ("silent", Arg::from(silent))],
            ),
        }
    }

    /// What a change of tuning does to strings that were in tune before, over the strings of `harp`.
    pub fn consequence(&self, harp: &Harp, before: &Tuning, after: &Tuning) -> String {
        let moves: Vec<f64> = harp
            .strings()
            .iter()
            .map(|s| before.open_target(s).cents_above(after.open_target(s)).0)
            .collect();
        let (low, high) = moves
            .iter()
            .fold((f64::MAX, f64::MIN), |(low, high), &m| (low.min(m), high.max(m)));
        let text = |cents: f64| Arg::from(format!("{:.1}", cents.abs()));
        if high.abs().max(low.abs()) < 0.05 {
            self.say(Key::ConsequenceNone, &[])
        } else if high - low < 0.05 && low < 0.0 {
            self.say(Key::ConsequenceAllFlat, &[("cents", text(low))])
        } else if high - low < 0.05 {
            self.say(Key::ConsequenceAllSharp, &[("cents", text(high))])
        } else {
            self.say(Key::ConsequenceSome, &[("cents", text(low.abs().max(high.abs())))])
        }
    }
}

/// The key of a temperament's name.
const fn temperament_key(scheme: Scheme) -> Key {
    match scheme {
        Scheme::Equal => Key::TemperamentEqual,
        Scheme::Pythagorean => Key::TemperamentPythagorean,
        Scheme::QuarterCommaMeantone => Key::TemperamentQuarterCommaMeantone,
        Scheme::FifthCommaMeantone => Key::TemperamentFifthCommaMeantone,
        Scheme::SixthCommaMeantone => Key::TemperamentSixthCommaMeantone,
        Scheme::SixthPythagoreanMeantone => Key::TemperamentSixthPythagoreanMeantone,
        Scheme::WerckmeisterThree => Key::TemperamentWerckmeisterThree,
        Scheme::KirnbergerTwo => Key::TemperamentKirnbergerTwo,
        Scheme::KirnbergerThree => Key::TemperamentKirnbergerThree,
        Scheme::Vallotti => Key::TemperamentVallotti,
        Scheme::YoungTwo => Key::TemperamentYoungTwo,
        Scheme::Kellner => Key::TemperamentKellner,
        Scheme::JustOnC => Key::TemperamentJustOnC,
    }
}

/// The harpist's names of strings, with commas: `3G, 1C`.
pub(crate) fn string_names(harp: &Harp, numbers: &[StringNumber], naming: Naming) -> String {
    let names: Vec<String> = numbers
        .iter()
        .filter_map(|&number| harp.string(number))
        .map(|string| naming.of(string.open))
        .collect();
    names.join(", ")
}

/// The size of an interval in whole cents, without its direction.
fn whole(cents: Cents) -> Arg {
    Arg::from(format!("{:.0}", cents.0.abs()))
}

/// An interval in whole cents with its direction: `+3`, `−12`.
fn signed(cents: Cents) -> Arg {
    Arg::from(signed_text(cents))
}

fn signed_text(cents: Cents) -> String {
    let rounded = cents.0.abs().round();
    let sign = if rounded == 0.0 {
        ""
    } else if cents.0 < 0.0 {
        "−"
    } else {
        "+"
    };
    format!("{sign}{rounded:.0}")
}

/// A number without needless digits: 442, 440.5.
fn plain_number(number: f64) -> String {
    let text = format!("{number:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A setting as people call it: the major key where it is one, else all seven pedals.
fn setting_name(setting: Setting) -> String {
    const KEYS: [&str; 15] = [
        "C♭", "G♭", "D♭", "A♭", "E♭", "B♭", "F", "C", "G", "D", "A", "E", "B", "F♯", "C♯",
    ];
    let key = (-7..=7).find(|&sharps| Setting::major(sharps) == Some(setting));
    match key
        .and_then(|sharps| usize::try_from(sharps + 7).ok())
        .and_then(|place| KEYS.get(place))
    {
        Some(name) => format!("{name} major"),
        None => setting.to_string(),
    }
}
