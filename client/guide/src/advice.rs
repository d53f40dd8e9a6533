//! What to do with the string in hand.

use consort_proto::order::QUICK_WITHIN;
use consort_proto::{Cents, Harp, Material, Readiness, Standing, StringNumber, Tolerance};
use consort_words::{Arg, Key};

use crate::Phrase;
use crate::doubt::doubt;
use crate::first::about_opening;
use crate::key::Turn;
use crate::next::next_in_order;
use crate::opening::Check;
use crate::pedals::about_pedals;
use crate::place::place;
use crate::step::Step;
use crate::turn::{CONFIRM_WITHIN, turn};
use crate::ways::Ways;

/// What advice is given from.
#[derive(Clone, Copy, Debug)]
pub struct Situation<'a> {
    /// The harp.
    pub harp: &'a Harp,
    /// How far off a string may be.
    pub tolerance: &'a Tolerance,
    /// What each string is.
    pub readiness: &'a Readiness,
    /// What is heard now, above the pitch that the string is to have as its pedal stands; `None` between strings.
    pub hand: Option<Hand>,
    /// Whether the last plucks of the string in hand have all found it where it is.
    pub stands_still: bool,
    /// The opening check, while there is one.
    pub opening: Option<&'a Check>,
    /// How the harpist wants to be guided.
    pub ways: &'a Ways,
}

/// The string that sounds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hand {
    /// Which string it is taken for.
    pub string: StringNumber,
    /// What is heard of it.
    pub heard: Heard,
}

/// What is heard of a sounding string.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Heard {
    /// Plucked a moment ago: this far above its target, and still finding its pitch.
    Young(Cents),
    /// Followed while it sounds or while the key turns it: this far above its target.
    Live(Cents),
    /// Measured to the end somewhere else: this far above its target by what is heard now, since its key was turned, or since
    /// it strays by itself.
    Moved(Cents),
    /// Measured to the end: this far above its target. The string's standing already counts it.
    Settled(Cents),
    /// Not sure which string it is, or how high.
    Unsure,
    /// Turned while it sounded, and nothing tells where it is now.
    Turned,
    /// Measured, but nobody asked for it: it counts once it is plucked again.
    Waits,
    /// Measured, and plucked much more strongly than she does else.
    Strong,
    /// Measured, and softer than this harp is.
    TooSoft,
}

/// What to do.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Action {
    /// Pluck this string.
    Pluck,
    /// Pluck it again, alone.
    Again,
    /// Raise it.
    Tighten,
    /// Lower it.
    Loosen,
    /// It is close enough: let it ring until it is measured.
    LetRing,
    /// In tune once: pluck it once more.
    OnceMore,
    /// It holds: go on.
    Holds,
    /// It will not hold: leave it.
    LeaveIt,
    /// So far off that the key may be on another pin.
    WhichPin,
    /// So sharp that a disc may hold the string: look at its pedal first.
    PedalUp,
    /// So sharp that its lever may be up: look at it first.
    LeverDown,
    /// What sounds does not fit the harp that is set.
    WhichHarp,
    /// The open strings are not those that are set.
    WhichTuning,
    /// The whole harp is so far below that it must not be brought up in one go.
    WhichPitch,
    /// Its target is more than a semitone above its usual pitch: it is not raised.
    NotHigher,
    /// Near enough for the quick pass: on to the next one.
    NextOne,
    /// The last check: play the strings one after another.
    PlayOn,
    /// As its pedal stands, the string is too low; nothing is turned so.
    StandsFlat,
    /// As its pedal stands, the string is in tune.
    StandsTrue,
    /// As its pedal stands, the string is too high; nothing is turned so.
    StandsSharp,
    /// She plays: nothing is heard, nothing is said.
    Plays,
    /// Nothing is left to do.
    AllSet,
    /// The performance has begun: nothing is judged.
    Rest,
}

/// One piece of advice.
#[derive(Clone, Debug, PartialEq)]
pub struct Advice {
    /// The string it is about; `None` when all is set.
    pub string: Option<StringNumber>,
    /// What to do.
    pub action: Action,
    /// How far the string is above its target, where that is known for sure.
    pub cents: Option<Cents>,
    /// How far to turn; only with [`Action::Tighten`] and [`Action::Loosen`].
    pub turn: Option<Turn>,
    /// Why.
    pub why: Phrase,
    /// Where the pin is.
    pub place: Option<Phrase>,
}

/// A string that was plucked a moment ago wavers by some cents, most of all between C5 and C6: nearer than this it is not
/// turned before it has been measured for a while (measured on recorded plucks).
const FAR_FOR_A_YOUNG_ONE: Cents = Cents(6.0);
/// A wire is stretched most by its pluck, and may stand this sharp for a while (nominal wires, plucked by up to half as
/// strongly again as is usual).
const SHARP_FOR_A_YOUNG_WIRE: Cents = Cents(12.0);
/// The live track of a string that stands still may lie so many times its tolerance beside it (measured on recorded
/// plucks: 3 to 4 cents where 2 are allowed).
const WAVERS_WITHIN: f64 = 2.0;
/// A new string may be left this sharp, since it falls from here (common practice, no source for the figure).
const NEW_SHARP_TO: Cents = Cents(10.0);

/// The advice for `situation`.
///
/// While she plays there is none. Pedals that are declared not to be in flat come first, then a string that was chosen by hand, the opening check, and a last check before single strings. With a string in hand it is about that string; between strings, about the next one in her order that is open.
pub fn advise(situation: &Situation<'_>) -> Advice {
    if situation.ways.plays {
        return Advice {
            string: None,
            action: Action::Plays,
            cents: None,
            turn: None,
            why: Phrase::plain(Key::WhyPlays),
            place: None,
        };
    }
    if let Some(advice) = about_pedals(situation) {
        return advice;
    }
    if let Some(advice) = about_chosen(situation) {
        return advice;
    }
    // What was found before pedals were declared is looked at once they are in flat again.
    if situation.ways.pedals.is_none()
        && let Some(advice) = about_opening(situation).or_else(|| about_last_check(situation))
    {
        return advice;
    }
    match situation.hand {
        Some(hand) => about_hand(situation, hand),
        None => about_next(situation),
    }
}

impl Advice {
    /// What is said from the start of the performance until the leader calls a round.
    pub const fn rest() -> Self {
        Self {
            string: None,
            action: Action::Rest,
            cents: None,
            turn: None,
            why: Phrase::plain(Key::WhyPlaying),
            place: None,
        }
    }
}

impl Action {
    /// The large word on the desk.
    pub const fn key(self) -> Key {
        match self {
            Self::Pluck => Key::GuidePluck,
            Self::Again => Key::GuideAgain,
            Self::Tighten => Key::GuideTighten,
            Self::Loosen => Key::GuideLoosen,
            Self::LetRing => Key::GuideLetRing,
            Self::OnceMore => Key::GuidePluckOnceMore,
            Self::Holds => Key::GuideHolds,
            Self::LeaveIt => Key::GuideLeaveIt,
            Self::WhichPin => Key::GuideWhichPin,
            Self::PedalUp => Key::GuidePedalUp,
            Self::LeverDown => Key::GuideLeverDown,
            Self::WhichHarp => Key::GuideWhichHarp,
            Self::WhichTuning => Key::GuideWhichTuning,
            Self::WhichPitch => Key::GuideWhichPitch,
            Self::NotHigher => Key::GuideNotHigher,
            Self::NextOne => Key::GuideNextOne,
            Self::PlayOn => Key::GuidePlayOn,
            Self::StandsFlat => Key::GuideStandsFlat,
            Self::StandsTrue => Key::GuideStandsTrue,
            Self::StandsSharp => Key::GuideStandsSharp,
            Self::Plays => Key::GuidePlays,
            Self::AllSet => Key::GuideHarpDone,
            Self::Rest => Key::GuideRest,
        }
    }

    /// Whether something has to be looked at first: nothing is drawn then that could be taken for advice.
    pub const fn is_doubt(self) -> bool {
        matches!(
            self,
            Self::WhichPin
                | Self::WhichHarp
                | Self::WhichTuning
                | Self::WhichPitch
                | Self::PedalUp
                | Self::LeverDown
                | Self::NotHigher
        )
    }
}

impl Advice {
    /// Whether the harpist may say that she has looked and wants to go on, or that what was too soft was hers.
    pub const fn can_be_overruled(&self) -> bool {
        self.action.is_doubt() && !matches!(self.action, Action::NotHigher) || self.doubts_whose()
    }

    /// Whether it is doubted that what was plucked is hers.
    pub const fn doubts_whose(&self) -> bool {
        matches!(self.why.key, Key::WhyTooSoft)
    }
}

/// The string that she has chosen by hand; what else sounds is passed over.
fn about_chosen(situation: &Situation<'_>) -> Option<Advice> {
    let chosen = situation.ways.chosen?;
    Some(match situation.hand.filter(|hand| hand.string == chosen) {
        Some(hand) => about_hand(situation, hand),
        None => {
            let why = Phrase::plain(Key::WhyChosen);
            advice(situation, chosen, Action::Pluck, None, None, why)
        }
    })
}

/// The strings of a last check, one after another; nothing is turned before it is over.
fn about_last_check(situation: &Situation<'_>) -> Option<Advice> {
    let check = situation.ways.last_check.as_ref()?;
    let order = situation.ways.order.strings(situation.harp);
    let next = check.next(&order, situation.readiness)?;
    // Strings that are missing are not asked for, and are not counted either.
    let there = |number: &&StringNumber| situation.readiness.of(**number) != Some(Standing::Missing);
    let count = order.iter().filter(there).count();
    let args = vec![("place", Arg::from(check.heard() + 1)), ("of", Arg::from(count))];
    let why = Phrase {
        key: Key::WhyPlayOn,
        args,
    };
    Some(advice(situation, next, Action::PlayOn, None, None, why))
}

fn about_hand(situation: &Situation<'_>, Hand { string, heard }: Hand) -> Advice {
    let standing = situation.readiness.of(string).unwrap_or(Standing::NotHeard);
    let plain = |action, cents, key| advice(situation, string, action, cents, None, Phrase::plain(key));
    if let Heard::Young(cents) | Heard::Live(cents) | Heard::Moved(cents) | Heard::Settled(cents) = heard
        && standing != Standing::Missing
        && let Some(doubt) = doubt(situation, string, standing, cents)
    {
        return doubt;
    }
    match (heard, standing) {
        (Heard::Unsure, _) => plain(Action::Again, None, Key::WhyUnsure),
        (Heard::Turned, _) => plain(Action::Again, None, Key::WhyTurned),
        (Heard::Waits, _) => plain(Action::Again, None, Key::WhyWaits),
        (Heard::Strong, _) => plain(Action::Again, None, Key::WhyStrong),
        (Heard::TooSoft, _) => plain(Action::Again, None, Key::WhyTooSoft),
        (_, Standing::Missing) => plain(Action::Again, None, Key::WhyMissing),
        (Heard::Settled(cents), Standing::New(_)) if may_stay(situation, string, cents) => {
            let why = up(situation, string);
            advice(situation, string, Action::LeaveIt, Some(cents), None, why)
        }
        (Heard::Moved(cents), Standing::New(_)) if Step::of(cents, situation.ways.taken(string)).is_at(cents) => {
            plain(Action::Again, None, Key::WhyTurned)
        }
        (Heard::Young(cents) | Heard::Live(cents) | Heard::Settled(cents), Standing::New(_))
            if Step::of(cents, situation.ways.taken(string)).is_at(cents) =>
        {
            let step = Step::of(cents, situation.ways.taken(string));
            let settled = matches!(heard, Heard::Settled(_));
            let action = if settled { Action::LeaveIt } else { Action::LetRing };
            advice(situation, string, action, Some(cents), None, step.reached())
        }
        (Heard::Live(cents) | Heard::Moved(cents) | Heard::Settled(cents), _)
            if situation.ways.quick.is_some() && cents.is_within(QUICK_WITHIN) && !standing.is_set_aside() =>
        {
            plain(Action::NextOne, Some(cents), Key::WhyQuickNear)
        }
        (Heard::Settled(cents), Standing::WillNotHold(_)) => {
            let times = u64::from(consort_proto::readiness::FALLS_UNTIL_STUBBORN);
            let why = Phrase {
                key: Key::WhyWillNotHold,
                args: vec![("times", Arg::from(times))],
            };
            advice(situation, string, Action::LeaveIt, Some(cents), None, why)
        }
        (Heard::Settled(cents), Standing::Holds(_)) => advice(
            situation,
            string,
            Action::Holds,
            Some(cents),
            None,
            told(Key::WhyHolds, ceiling(cents)),
        ),
        (Heard::Settled(cents), Standing::SetOnce(_)) if is_confirmable(situation, string, cents) => {
            plain(Action::OnceMore, Some(cents), Key::WhyConfirm)
        }
        (Heard::Young(cents), _) if may_be_young(situation, string, cents) => {
            plain(Action::LetRing, Some(cents), Key::WhyYoung)
        }
        // One that was in tune is only turned by what is measured to the end: the live track wavers by as much as it may
        // be off, and a hand that follows that takes it out of tune.
        (Heard::Live(cents), Standing::SetOnce(_) | Standing::Holds(_)) if wavers(situation, string, cents) => {
            plain(Action::LetRing, Some(cents), Key::WhyYoung)
        }
        // Nor by what strays so little once it was measured: the next pluck tells whether it was turned.
        (Heard::Moved(cents), Standing::SetOnce(_) | Standing::Holds(_)) if wavers(situation, string, cents) => {
            plain(Action::Again, None, Key::WhyTurned)
        }
        (Heard::Young(cents) | Heard::Live(cents) | Heard::Moved(cents) | Heard::Settled(cents), _) => {
            turn(situation, string, cents)
        }
    }
}

/// Whether a string that was plucked a moment ago may stand so far off for that reason alone.
fn may_be_young(situation: &Situation<'_>, number: StringNumber, cents: Cents) -> bool {
    let wire = situation.harp.string(number).map(|string| string.material) == Some(Material::Wire);
    cents.is_within(FAR_FOR_A_YOUNG_ONE) || wire && (0.0..=SHARP_FOR_A_YOUNG_WIRE.0).contains(&cents.0)
}

/// Whether the live track of a string that was in tune is as near as it may waver.
fn wavers(situation: &Situation<'_>, number: StringNumber, cents: Cents) -> bool {
    let string = situation.harp.string(number);
    string.is_some_and(|string| cents.is_within(Cents(WAVERS_WITHIN * situation.tolerance.of(string).0)))
}

/// Whether a string that was set once is near enough to be plucked once more, not turned.
fn is_confirmable(situation: &Situation<'_>, number: StringNumber, cents: Cents) -> bool {
    let string = situation.harp.string(number);
    string.is_none_or(|string| cents.is_within(Cents(CONFIRM_WITHIN * situation.tolerance.of(string).0)))
}

/// What is said of a new string that has come up to its pitch: when to tune it again, where that is known.
fn up(situation: &Situation<'_>, string: StringNumber) -> Phrase {
    match situation.ways.follow_up.get(&string) {
        Some(follow_up) => Phrase {
            key: Key::WhyNewUp,
            args: vec![
                ("again", Arg::from(follow_up.again.as_str())),
                ("holds", Arg::from(follow_up.holds.as_str())),
            ],
        },
        None => Phrase::plain(Key::WhyNew),
    }
}

/// Whether a new string may be left where it is: in tune, or a touch sharp since it will fall.
pub(crate) fn may_stay(situation: &Situation<'_>, number: StringNumber, cents: Cents) -> bool {
    situation
        .harp
        .string(number)
        .is_some_and(|string| cents.0 >= -situation.tolerance.of(string).0 && cents.0 <= NEW_SHARP_TO.0)
}

pub(crate) fn about_next(situation: &Situation<'_>) -> Advice {
    let next = next_in_order(situation);
    let Some(next) = next else {
        let aside: Vec<String> = situation
            .readiness
            .set_aside()
            .filter_map(|number| situation.harp.string(number))
            .map(|string| situation.ways.naming.of(string.open))
            .collect();
        let why = if aside.is_empty() {
            Phrase::plain(Key::WhyAllSet)
        } else {
            Phrase {
                key: Key::WhyAllWithinBut,
                args: vec![("strings", Arg::from(aside.join(", ")))],
            }
        };
        return Advice {
            string: None,
            action: Action::AllSet,
            cents: None,
            turn: None,
            why,
            place: None,
        };
    };
    let standing = situation.readiness.of(next).unwrap_or(Standing::NotHeard);
    let key = match standing {
        Standing::SetOnce(_) => Key::WhyConfirm,
        Standing::Moved(_) => Key::WhyMoved,
        Standing::New(_) => Key::WhyNew,
        _ => Key::WhyNotHeard,
    };
    let why = match standing {
        _ if situation.ways.urgent => Phrase::plain(Key::WhyUrgent),
        Standing::NotHeard | Standing::Off(_) if situation.ways.quick.is_some() => Phrase::plain(Key::WhyQuick),
        Standing::Off(cents) if cents.0 < 0.0 => told(Key::WhyFlat, one_digit(cents)),
        Standing::Off(cents) => told(Key::WhySharp, one_digit(cents)),
        _ => Phrase::plain(key),
    };
    advice(situation, next, Action::Pluck, standing.cents(), None, why)
}

pub(crate) fn advice(
    situation: &Situation<'_>,
    string: StringNumber,
    action: Action,
    cents: Option<Cents>,
    turn: Option<Turn>,
    why: Phrase,
) -> Advice {
    Advice {
        string: Some(string),
        action,
        cents,
        turn,
        why,
        place: Some(place(situation.harp, string, situation.ways.naming)),
    }
}

pub(crate) fn told(key: Key, cents: impl Into<Arg>) -> Phrase {
    Phrase {
        key,
        args: vec![("cents", cents.into())],
    }
}

pub(crate) fn one_digit(cents: Cents) -> String {
    format!("{:.1}", cents.0.abs())
}

fn ceiling(cents: Cents) -> u64 {
    cents.0.abs().ceil().max(1.0) as u64
}
