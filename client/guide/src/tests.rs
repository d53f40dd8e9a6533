//! Advice as a harpist would check it.

use consort_proto::harp_file::preset;
use consort_proto::{Cents, Mark, Readiness, Reading, StringNumber, StringStory, Tolerance, Tuning};
use consort_words::Words;

use crate::{Action, Far, Hand, Heard, Situation, Ways, advise};

/// The string, what to do, and how far to turn.
type Expected = (Option<u32>, Action, Option<Far>);

/// Hears `plucks` (string, cents) on a concert harp, then asks for advice with `hand` in hand.
#[track_caller]
fn check(plucks: &[(u32, f64)], hand: Option<(u32, Heard)>, expected: Expected) -> String {
    check_on("pedal-47", &[], plucks, hand, expected)
}

/// The same on the harp called `preset_name`, where the strings in `marks` are marked.
#[track_caller]
fn check_on(
    preset_name: &str,
    marks: &[(u32, Mark)],
    plucks: &[(u32, f64)],
    hand: Option<(u32, Heard)>,
    expected: Expected,
) -> String {
    let harp = preset(preset_name).expect("a preset");
    let (tuning, tolerance) = (Tuning::default(), Tolerance::default());
    let mut stories = vec![StringStory::default(); harp.len()];
    for &(number, cents) in plucks {
        let number = StringNumber::new(number).expect("a string");
        let target = tuning.open_target(harp.string(number).expect("a string"));
        let reading = Reading::new(number, target.raised_by(Cents(cents)), Cents(0.1)).expect("a reading");
        stories[number.index()].hear(reading);
    }
    for &(number, mark) in marks {
        stories[StringNumber::new(number).expect("a string").index()].set_mark(Some(mark));
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
        stands_still: false,
        opening: None,
        ways: &Ways::default(),
    });
    let string = advice.string.map(|number| u32::from(number.get()));
    assert_eq!((string, advice.action, advice.turn.map(|turn| turn.far)), expected);
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
    for (heard, begins) in [
        (Heard::Unsure, "The string could not be told"),
        (Heard::Turned, "It has moved while it sounded"),
        (Heard::Waits, "Not taken down yet"),
        (Heard::TooSoft, "Softer than your harp"),
    ] {
        let why = check_on("pedal-47", &[], &[], Some((26, heard)), (Some(26), Action::Again, None));
        assert!(why.starts_with(begins), "{why}");
    }
    check(
        &[],
        Some((26, Heard::Live(Cents(-160.0)))),
        (Some(26), Action::WhichPin, None),
    );
    check(
        &[],
        Some((47, Heard::Settled(Cents(130.0)))),
        (Some(47), Action::WhichPin, None),
    );
    let why = check_on(
        "pedal-47",
        &[(26, Mark::Missing)],
        &[],
        Some((26, Heard::Live(Cents(-30.0)))),
        (Some(26), Action::Again, None),
    );
    assert_eq!(why, "Marked as missing.");
}

/// A hand that follows a wavering track takes a string that was in tune out of tune again.
#[test]
fn a_string_that_was_in_tune_is_turned_by_what_is_measured_and_not_by_what_wavers() {
    let live = |cents| Some((26, Heard::Live(Cents(cents))));
    let settled = |cents| Some((26, Heard::Settled(Cents(cents))));
    let moved = |cents| Some((26, Heard::Moved(Cents(cents))));
    let rings = (Some(26), Action::LetRing, None);
    let tighten = (Some(26), Action::Tighten, Some(Far::Touch));
    check(&[], live(-3.0), tighten);
    check(&[(26, 0.5)], live(-3.0), rings);
    check(&[(26, 0.5), (26, 0.4)], live(-3.0), rings);
    // Twice its tolerance of 2 cents is more than wavering.
    check(&[(26, 0.5)], live(-4.5), (Some(26), Action::Tighten, Some(Far::Little)));
    check(&[(26, 0.5), (26, -3.0)], settled(-3.0), tighten);
    check(&[(26, 0.5), (26, -3.0)], live(-3.0), tighten);
    // Once it was measured, waiting tells no more.
    check(&[(26, 0.5)], moved(-3.0), (Some(26), Action::Again, None));
    check(
        &[(26, 0.5)],
        moved(-4.5),
        (Some(26), Action::Tighten, Some(Far::Little)),
    );
    // One that was never in tune is plucked once more when it has rung, and says so.
    check(&[(26, -3.0)], moved(-0.5), rings);
}

#[test]
fn a_string_that_stands_still_under_the_key_makes_its_pin_doubtful_unless_it_is_in_tune() {
    let harp = preset("pedal-47").expect("a preset");
    let readiness = Readiness::judge(
        &harp,
        &vec![StringStory::default(); harp.len()],
        &Tuning::default(),
        &Tolerance::default(),
    );
    let advised = |cents| {
        advise(&Situation {
            harp: &harp,
            tolerance: &Tolerance::default(),
            readiness: &readiness,
            hand: Some(Hand {
                string: StringNumber::new(26).expect("a string"),
                heard: Heard::Settled(Cents(cents)),
            }),
            stands_still: true,
            opening: None,
            ways: &Ways::default(),
        })
        .action
    };
    assert_eq!(advised(-2.5), Action::WhichPin);
    assert_eq!(advised(2.5), Action::WhichPin);
    assert_eq!(advised(-1.8), Action::Tighten);
    assert_eq!(advised(0.5), Action::LetRing);
}

/// A disc or a lever makes a semitone, so a string that sounds about one high is not turned before it was looked at.
#[test]
fn a_string_a_semitone_high_asks_for_its_pedal_or_its_lever_first() {
    #[rustfmt::skip]
    let table = [
        // harp       string cents   what
        ("pedal-47",  26,    70.0, Action::Loosen),
        ("pedal-47",  26,    80.0, Action::PedalUp),
        ("pedal-47",  26,   100.0, Action::PedalUp),
        ("pedal-47",  26,   203.0, Action::PedalUp),
        ("lever-34",  20,   100.0, Action::LeverDown),
        // The lowest string of a concert harp has no discs.
        ("pedal-47",  47,    90.0, Action::Loosen),
        ("pedal-47",  47,   110.0, Action::WhichPin),
        // No mechanism lowers a string.
        ("pedal-47",  26,  -100.0, Action::Tighten),
        ("pedal-47",  26,  -110.0, Action::WhichPin),
    ];
    for (harp, string, cents, action) in table {
        let far = match action {
            Action::Loosen => Some(Far::Good),
            Action::Tighten => Some(Far::Steps),
            _ => None,
        };
        for heard in [Heard::Live(Cents(cents)), Heard::Settled(Cents(cents))] {
            check_on(harp, &[], &[], Some((string, heard)), (Some(string), action, far));
        }
    }
    let why = check(
        &[],
        Some((26, Heard::Live(Cents(100.0)))),
        (Some(26), Action::PedalUp, None),
    );
    assert_eq!(
        why,
        "4C sounds about a semitone high or more. Is the C pedal all the way up? If it is, look at the pin, then loosen \
         the string."
    );
}

#[test]
fn a_new_string_is_brought_up_in_steps_comes_last_and_may_stay_a_touch_sharp() {
    let new = [(26, Mark::New)];
    #[rustfmt::skip]
    let in_hand = [
        // cents  what               how far
        (-150.0, Action::Tighten, Some(Far::Steps)),
        (  -9.0, Action::Tighten, Some(Far::Little)),
        (  -1.0, Action::LeaveIt, None),
        (   8.0, Action::LeaveIt, None),
        (  12.0, Action::Loosen,  Some(Far::Little)),
    ];
    for (cents, action, far) in in_hand {
        let hand = Some((26, Heard::Settled(Cents(cents))));
        check_on("pedal-47", &new, &[(26, cents)], hand, (Some(26), action, far));
    }
    // Middle C is first in the usual order, but not while it is new.
    let why = check_on("pedal-47", &new, &[], None, (Some(27), Action::Pluck, None));
    assert_eq!(why, "Not heard in this round yet.");
    let mut others: Vec<(u32, f64)> = (1..=47)
        .filter(|&string| string != 26)
        .map(|string| (string, 0.0))
        .collect();
    others.extend(others.clone());
    let why = check_on("pedal-47", &new, &others, None, (Some(26), Action::Pluck, None));
    assert_eq!(why, "New strings come last and may stay a touch sharp.");
    for (cents, next) in [
        (-30.0, (Some(26), Action::Pluck, None)),
        (6.0, (None, Action::AllSet, None)),
    ] {
        others.push((26, cents));
        check_on("pedal-47", &new, &others, None, next);
    }
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
    let held = [(26, 0.0), (26, 0.1), (26, -9.0)];
    let plucks = [held, held, held].concat();
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
