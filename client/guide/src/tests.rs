//! Advice as a harpist would check it.

use consort_proto::harp_file::preset;
use consort_proto::{Cents, Readiness, Reading, StringNumber, StringStory, Tolerance, Tuning};
use consort_words::Words;

use crate::{Action, Far, Hand, Heard, Situation, advise};

/// Hears `plucks` (string, cents) on a concert harp, then asks for advice with `hand` in hand.
#[track_caller]
fn check(plucks: &[(u32, f64)], hand: Option<(u32, Heard)>, expected: (Option<u32>, Action, Option<Far>)) -> String {
    let harp = preset("pedal-47").expect("a preset");
    let (tuning, tolerance) = (Tuning::default(), Tolerance::default());
    let mut stories = vec![StringStory::default(); harp.len()];
    for &(number, cents) in plucks {
        let number = StringNumber::new(number).expect("a string");
        let target = tuning.open_target(harp.string(number).expect("a string"));
        let reading = Reading::new(number, target.raised_by(Cents(cents)), Cents(0.1)).expect("a reading");
        stories[number.index()].hear(reading);
    }
    let readiness = Readiness::judge(&harp, &stories, &tuning, &tolerance);
    let hand = hand.map(|(string, heard)| Hand {
        string: StringNumber::new(string).expect("a string"),
        heard,
    });
    let advice = advise(&Situation {
        harp: &harp,
        tolerance: &tolerance,
        readiness: &readiness,
        hand,
    });
    let string = advice.string.map(|number| u32::from(number.get()));
    assert_eq!((string, advice.action, advice.far), expected);
    advice.why.say(&Words::english())
}

#[test]
fn a_flat_string_is_tightened_and_a_sharp_one_loosened_as_far_as_the_key_asks() {
    let live = |string, cents| Some((string, Heard::Live(Cents(cents))));
    #[rustfmt::skip]
    let table = [
        // string cents    what             how far
        (26,     -3.0, Action::Tighten, Far::Touch),
        (26,    -12.0, Action::Tighten, Far::Little),
        (26,     30.0, Action::Loosen,  Far::Good),
        // One degree of the key moves a top string five times as far.
        ( 5,    -12.0, Action::Tighten, Far::Touch),
        ( 5,     30.0, Action::Loosen,  Far::Little),
        (26,    -80.0, Action::Tighten, Far::Steps),
    ];
    for (string, cents, action, far) in table {
        check(&[], live(string, cents), (Some(string), action, Some(far)));
    }
}

#[test]
fn there_is_no_turning_advice_in_doubt() {
    check(&[], Some((26, Heard::Unsure)), (Some(26), Action::Again, None));
    check(
        &[],
        Some((26, Heard::Live(Cents(-160.0)))),
        (Some(26), Action::WhichPin, None),
    );
    check(
        &[],
        Some((26, Heard::Settled(Cents(130.0)))),
        (Some(26), Action::WhichPin, None),
    );
}

#[test]
fn a_string_is_let_ring_then_plucked_once_more_then_holds() {
    check(
        &[],
        Some((26, Heard::Live(Cents(1.2)))),
        (Some(26), Action::LetRing, None),
    );
    check(
        &[(26, 1.2)],
        Some((26, Heard::Settled(Cents(1.2)))),
        (Some(26), Action::OnceMore, None),
    );
    let why = check(
        &[(26, 1.2), (26, 0.4)],
        Some((26, Heard::Settled(Cents(0.4)))),
        (Some(26), Action::Holds, None),
    );
    assert_eq!(why, "Holds within 1 cent. Go on.");
}

#[test]
fn a_string_that_falls_away_each_time_is_left() {
    let plucks = [(26, 0.0), (26, -9.0), (26, 0.5), (26, -8.0), (26, 0.2), (26, -9.0)];
    let why = check(
        &plucks,
        Some((26, Heard::Settled(Cents(-9.0)))),
        (Some(26), Action::LeaveIt, None),
    );
    assert_eq!(
        why,
        "Set 3 times and fell away each time. Leave it and go on; have the pin and the string looked at."
    );
}

#[test]
fn between_strings_the_next_one_in_the_usual_order_is_asked_for() {
    check(&[], None, (Some(26), Action::Pluck, None));
    check(&[(26, 0.0), (26, 0.1)], None, (Some(27), Action::Pluck, None));
    let why = check(
        &[(26, 0.0), (26, 0.1), (27, -7.0)],
        None,
        (Some(27), Action::Pluck, None),
    );
    assert_eq!(why, "7.0 cents flat.");
    let all: Vec<(u32, f64)> = (1..=47).flat_map(|string| [(string, 0.0), (string, 0.3)]).collect();
    check(&all, None, (None, Action::AllSet, None));
}
