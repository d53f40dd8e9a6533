//! Which way and how far the key turns.

use consort_proto::{Cents, Harp, HarpString, Standing, StringNumber};
use consort_words::{Arg, Key};

use crate::Phrase;
use crate::advice::{Action, Advice, Situation, about_next, advice, one_digit, told};
use crate::key::{Far, Turn, cents_per_degree};
use crate::standstill::FAR_OFF;
use crate::step::Step;

/// A string that was not set yet is turned until it is this share of its tolerance near: what is just in tolerance now is
/// out of it once the frame has given or the room has warmed.
const AIM_WITHIN: f64 = 0.6;

/// A string that was set once is turned on unless it is this share of its tolerance near; one that holds is left alone.
pub(crate) const CONFIRM_WITHIN: f64 = 0.8;

/// Beyond these a string is turned in steps, with a look at the pin first.
const STEPS_BELOW: Cents = Cents(-60.0);
const STEPS_ABOVE: Cents = Cents(105.0);
/// Of anything but a touch this share is turned at once.
const SHARE_OF_A_TURN: f64 = 0.8;
/// A neighbour's string would go this far by one turn: two are made before it is noticed where the string is near, one
/// where it is far off.
const NEIGHBOUR_NEAR: Cents = Cents(15.0);
const NEIGHBOUR_FAR: Cents = Cents(30.0);
/// No string is raised past its usual pitch by more than a semitone (common practice: strings break above the pitch that
/// they are made for, wound ones first).
const RISE_MAX: Cents = Cents(100.5);

/// Which way and how far to turn, or to let it ring when it is close enough.
pub(crate) fn turn(situation: &Situation<'_>, number: StringNumber, cents: Cents) -> Advice {
    let Some(string) = situation.harp.string(number) else {
        return about_next(situation);
    };
    let within = situation.tolerance.of(string);
    let aim = match situation.readiness.of(number) {
        Some(Standing::Holds(_)) => 1.0,
        Some(Standing::SetOnce(_)) => CONFIRM_WITHIN,
        _ => AIM_WITHIN,
    };
    if cents.is_within(Cents(within.0 * aim)) {
        let why = told(Key::WhyWithin, one_digit(cents));
        return advice(situation, number, Action::LetRing, Some(cents), None, why);
    }
    let looked_at = situation.ways.looked_at == Some(number);
    if situation.stands_still && !looked_at && !cents.is_within(within) {
        let why = Phrase::plain(Key::WhyStandstill);
        return advice(situation, number, Action::WhichPin, Some(cents), None, why);
    }
    if cents.0 < 0.0
        && let Some(caution) = not_higher(situation, number)
    {
        return caution;
    }
    let is_new = matches!(situation.readiness.of(number), Some(Standing::New(_)));
    let step = if is_new {
        Step::of(cents, situation.ways.taken(number))
    } else {
        Step::LAST
    };
    let up = Cents(step.at.0 - cents.0);
    let turn = how_far(situation, string, cents, up);
    let (action, why) = match (cents.0 < 0.0, turn.far) {
        (true, Far::Steps) if step == Step::LAST => (Action::Tighten, Phrase::plain(Key::WhyFarFlat)),
        (true, Far::Steps) => (Action::Tighten, step.ahead()),
        (true, _) => (Action::Tighten, told(Key::WhyFlat, one_digit(cents))),
        (false, Far::Steps) => (Action::Loosen, Phrase::plain(Key::WhyFarSharp)),
        // The last movement is upward, so that the coils and the pin are taut (common practice, no source).
        (false, Far::Touch) => (Action::Loosen, told(Key::WhySharp, one_digit(cents))),
        (false, _) => (Action::Loosen, told(Key::WhySharpBelow, one_digit(cents))),
    };
    advice(situation, number, action, Some(cents), Some(turn), why)
}

/// How far the key turns to bring a string that is `cents` above its target up by `up`.
fn how_far(situation: &Situation<'_>, string: &HarpString, cents: Cents, up: Cents) -> Turn {
    let whole = up.0.abs() / cents_per_degree(string).0;
    let far = if cents.0 < STEPS_BELOW.0 || cents.0 > STEPS_ABOVE.0 {
        Far::Steps
    } else {
        Far::of_degrees(whole)
    };
    // A string may answer more than its nominal one does, so the last of the way is left for the next turn; and were the
    // key on a neighbour's pin, that string must not go far before it is noticed.
    let most = if cents.is_within(FAR_OFF) {
        NEIGHBOUR_NEAR
    } else {
        NEIGHBOUR_FAR
    };
    let share = if far == Far::Touch { 1.0 } else { SHARE_OF_A_TURN };
    let degrees = (whole * share).min(most.0 / stiffest_beside(situation.harp, string));
    let way = situation.ways.key.map(|way| if up.0 > 0.0 { way } else { way.back() });
    Turn { far, degrees, way }
}

/// Cents for one degree on the stiffest of `string` and its neighbours.
fn stiffest_beside(harp: &Harp, string: &HarpString) -> f64 {
    let beside = |other: &&HarpString| (other.open.steps() - string.open.steps()).abs() <= 1;
    let stiff = harp
        .strings()
        .iter()
        .filter(beside)
        .map(|other| cents_per_degree(other).0);
    stiff.fold(0.1, f64::max)
}

/// The caution in the place of turning upward, where the string's target lies too far above its usual pitch.
fn not_higher(situation: &Situation<'_>, number: StringNumber) -> Option<Advice> {
    let rise = *situation.ways.rises.get(number.index())?;
    (rise.0 > RISE_MAX.0).then(|| {
        let args = vec![("cents", Arg::from(format!("{:.0}", rise.0)))];
        let why = Phrase {
            key: Key::WhyNotHigher,
            args,
        };
        advice(situation, number, Action::NotHigher, None, None, why)
    })
}
