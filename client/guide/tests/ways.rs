//! The ways of guiding beside the string in hand: orders, quick pass, last check, the near start, steadiness, cautions.

use std::time::Duration;

use consort_guide::opening::Check;
use consort_guide::{
    Action, Advice, Far, FollowUp, Hand, Heard, LastCheck, Order, Pedals, Quick, Situation, Steady, Way, Ways, advise,
    asked, following, is_in_turn,
};
use consort_proto::harp_file::preset;
use consort_proto::{
    Cents, Harp, Mark, Naming, Readiness, Reading, StringNumber, StringStory, Tolerance, Tuning, Uptime,
};
use consort_words::Words;
use proptest::prelude::*;

fn number(number: u32) -> StringNumber {
    StringNumber::new(number).expect("a string")
}

struct Desk {
    harp: Harp,
    stories: Vec<StringStory>,
    ways: Ways,
    opening: Option<Check>,
}

impl Desk {
    fn new() -> Self {
        let harp = preset("pedal-47").expect("a preset");
        Self {
            stories: vec![StringStory::default(); harp.len()],
            harp,
            ways: Ways::default(),
            opening: None,
        }
    }

    fn pluck(&mut self, string: u32, cents: f64) {
        let target = Tuning::default().open_target(self.harp.string(number(string)).expect("a string"));
        let reading = Reading::new(number(string), target.raised_by(Cents(cents)), Cents(0.1)).expect("a reading");
        self.stories[number(string).index()].hear(reading);
    }

    fn readiness(&self) -> Readiness {
        Readiness::judge(&self.harp, &self.stories, &Tuning::default(), &Tolerance::default())
    }

    fn advice(&self, hand: Option<(u32, Heard)>) -> Advice {
        self.with(hand, advise)
    }

    fn with<T>(&self, hand: Option<(u32, Heard)>, ask: impl FnOnce(&Situation<'_>) -> T) -> T {
        ask(&Situation {
            harp: &self.harp,
            tolerance: &Tolerance::default(),
            readiness: &self.readiness(),
            hand: hand.map(|(string, heard)| Hand {
                string: number(string),
                heard,
            }),
            stands_still: false,
            opening: self.opening.as_ref(),
            ways: &self.ways,
        })
    }
}

fn said(advice: &Advice) -> String {
    advice.why.say(&Words::english())
}

#[test]
fn every_order_asks_for_every_string_once() {
    for name in consort_proto::harp_file::preset_names() {
        let harp = preset(name).expect("a preset");
        for order in Order::ALL {
            assert_eq!(Order::from_word(order.word()), Some(order));
            let mut strings = order.strings(&harp);
            strings.sort();
            assert!(
                strings.iter().map(|string| string.index()).eq(0..harp.len()),
                "{name}, {order:?}"
            );
        }
    }
    let harp = preset("pedal-47").expect("a preset");
    let first = |order: Order| {
        order.strings(&harp)[..3]
            .iter()
            .map(|string| string.get())
            .collect::<Vec<_>>()
    };
    assert_eq!(first(Order::Up), [47, 46, 45]);
    assert_eq!(first(Order::Down), [1, 2, 3]);
    assert_eq!(first(Order::Octaves), [47, 40, 33], "C by C");
}

#[test]
fn a_harp_that_is_off_as_a_whole_gets_a_quick_pass_and_then_the_fine_one() {
    assert!(Quick::for_mean(Cents(-7.5)).is_none() && Quick::for_mean(Cents(8.5)).is_some());
    let mut desk = Desk::new();
    desk.ways.quick = Quick::for_mean(Cents(-12.0));
    assert!(said(&desk.advice(None)).contains("within 5 cents"));
    assert_eq!(
        desk.advice(Some((26, Heard::Live(Cents(-12.0))))).action,
        Action::Tighten
    );
    assert_eq!(
        desk.advice(Some((26, Heard::Live(Cents(-4.0))))).action,
        Action::NextOne
    );
    let quick = desk.ways.quick.as_mut().expect("a quick pass");
    assert!(quick.hear(number(26), Cents(-4.0)) && !quick.hear(number(27), Cents(-5.5)));
    assert_eq!(desk.advice(None).string, Some(number(27)));
    for string in 1..=47 {
        desk.ways
            .quick
            .as_mut()
            .expect("a quick pass")
            .hear(number(string), Cents(3.0));
    }
    let order = Order::Usual.strings(&desk.harp);
    assert_eq!(
        desk.ways
            .quick
            .as_ref()
            .and_then(|quick| quick.next(&order, &desk.readiness())),
        None
    );
    assert_eq!(desk.advice(None).string, Some(number(26)), "now finely");
}

#[test]
fn near_the_start_what_is_heard_most_comes_first() {
    let mut desk = Desk::new();
    for (string, cents) in [(26, 0.1), (26, 0.0), (30, -6.0), (3, -9.0), (20, 7.0)] {
        desk.pluck(string, cents);
    }
    assert_eq!(desk.advice(None).string, Some(number(27)));
    desk.ways.urgent = true;
    let advice = desk.advice(None);
    assert_eq!(
        advice.string,
        Some(number(20)),
        "7 cents in the middle are heard more than 9 at the top"
    );
    assert_eq!(said(&advice), "The start is near: what is heard most comes first.");
}

#[test]
fn the_last_check_is_a_run_in_which_nothing_is_turned() {
    let mut desk = Desk::new();
    for string in 1..=47 {
        desk.pluck(string, 0.2);
        desk.pluck(string, 0.1);
    }
    assert_eq!(desk.advice(None).action, Action::AllSet);
    desk.ways.last_check = Some(LastCheck::default());
    let order = Order::Usual.strings(&desk.harp);
    for (place, string) in order.iter().enumerate() {
        let advice = desk.advice(Some((u32::from(string.get()), Heard::Live(Cents(-9.0)))));
        assert_eq!(
            (advice.action, advice.string, advice.cents, advice.turn),
            (Action::PlayOn, Some(*string), None, None)
        );
        assert!(said(&advice).starts_with(&format!("{} of 47", place + 1)));
        desk.pluck(u32::from(string.get()), if string.get() == 9 { -9.0 } else { 0.0 });
        desk.ways.last_check.as_mut().expect("a check").hear(*string);
    }
    let advice = desk.advice(None);
    assert_eq!(
        (advice.action, advice.string),
        (Action::Pluck, Some(number(9))),
        "it has moved"
    );
}

/// A string that was put on is brought up by hand: nothing else that sounds takes its place, and it needs no mark.
#[test]
fn a_string_that_was_chosen_by_hand_is_followed_alone_until_she_lets_it_go() {
    let mut desk = Desk::new();
    desk.ways.chosen = Some(number(30));
    let about = |desk: &Desk, hand| {
        let advice = desk.advice(hand);
        (advice.string.map(StringNumber::get), advice.action)
    };
    assert_eq!(about(&desk, None), (Some(30), Action::Pluck));
    assert_eq!(
        about(&desk, Some((12, Heard::Live(Cents(-20.0))))),
        (Some(30), Action::Pluck)
    );
    for cents in [-1_200.0, -700.0, -110.0, -20.0] {
        let heard = Heard::Live(Cents(cents));
        assert_eq!(about(&desk, Some((30, heard))), (Some(30), Action::Tighten), "{cents}");
    }
    // Above its target the usual doubts hold, and so does the limit of what it is made for.
    assert_eq!(
        about(&desk, Some((30, Heard::Live(Cents(130.0))))),
        (Some(30), Action::PedalUp)
    );
    desk.ways.rises = vec![Cents(101.0); 47];
    assert_eq!(
        about(&desk, Some((30, Heard::Live(Cents(-20.0))))),
        (Some(30), Action::NotHigher)
    );
    desk.ways = Ways::default();
    let heard = Heard::Live(Cents(-700.0));
    assert_eq!(
        about(&desk, Some((30, heard))),
        (Some(30), Action::WhichPin),
        "nobody has chosen it"
    );
}

#[test]
fn the_last_check_counts_no_string_that_is_missing() {
    let mut desk = Desk::new();
    desk.stories[46].set_mark(Some(Mark::Missing));
    desk.ways.last_check = Some(LastCheck::default());
    assert!(
        said(&desk.advice(None)).starts_with("1 of 46"),
        "{}",
        said(&desk.advice(None))
    );
}

#[test]
fn while_she_plays_there_is_no_advice_at_all() {
    let mut desk = Desk::new();
    desk.ways.plays = true;
    let advice = desk.advice(Some((26, Heard::Live(Cents(-30.0)))));
    assert_eq!(
        (advice.action, advice.string, advice.cents, advice.turn),
        (Action::Plays, None, None, None)
    );
}

#[test]
fn what_was_looked_at_is_turned_in_steps_and_only_that_string() {
    let mut desk = Desk::new();
    for (cents, doubt, then) in [
        (120.0, Action::PedalUp, Action::Loosen),
        (-150.0, Action::WhichPin, Action::Tighten),
    ] {
        let hand = Some((26, Heard::Settled(Cents(cents))));
        desk.ways.looked_at = None;
        assert!(desk.advice(hand).action == doubt && desk.advice(hand).can_be_overruled());
        desk.ways.looked_at = Some(number(25));
        assert_eq!(desk.advice(hand).action, doubt);
        desk.ways.looked_at = Some(number(26));
        let advice = desk.advice(hand);
        assert_eq!(
            (advice.action, advice.turn.map(|turn| turn.far)),
            (then, Some(Far::Steps))
        );
    }
}

#[test]
fn no_string_is_raised_more_than_a_semitone_above_its_usual_pitch_whatever_was_looked_at() {
    let mut desk = Desk::new();
    let hand = Some((26, Heard::Settled(Cents(-20.0))));
    desk.ways.rises = vec![Cents(100.0); 47];
    assert_eq!(desk.advice(hand).action, Action::Tighten);
    desk.ways.rises = vec![Cents(101.0); 47];
    desk.ways.looked_at = Some(number(26));
    let advice = desk.advice(hand);
    assert_eq!(
        (advice.action, advice.turn, advice.cents),
        (Action::NotHigher, None, None)
    );
    assert!(!advice.can_be_overruled());
    assert_eq!(
        desk.advice(Some((26, Heard::Settled(Cents(20.0))))).action,
        Action::Loosen
    );
}

#[test]
fn the_key_goes_the_way_that_she_has_said_and_back_to_loosen() {
    let mut desk = Desk::new();
    let way = |desk: &Desk, cents| {
        let turn = desk.advice(Some((26, Heard::Settled(Cents(cents))))).turn;
        turn.expect("a turn").way
    };
    assert_eq!(way(&desk, -9.0), None);
    desk.ways.key = Some(Way::Away);
    assert_eq!(
        (way(&desk, -9.0), way(&desk, 9.0)),
        (Some(Way::Away), Some(Way::Towards))
    );
    // Brought to just below first, then up.
    let sharp = desk.advice(Some((26, Heard::Settled(Cents(9.0)))));
    assert_eq!(said(&sharp), "9.0 cents sharp. Go just below, then bring it up.");
}

#[test]
fn a_new_string_stands_a_while_on_each_step() {
    let mut desk = Desk::new();
    desk.stories[25].set_mark(Some(Mark::New));
    for (cents, action, text) in [
        (-420.0, Action::Tighten, "now to a whole tone below its pitch"),
        (-205.0, Action::LeaveIt, "a whole tone below its pitch: far enough"),
        (-206.0, Action::Tighten, "now to a semitone below its pitch"),
        (-95.0, Action::LeaveIt, "a semitone below its pitch: far enough"),
        (-96.0, Action::Tighten, "Check the pin, raise it in steps"),
        (2.0, Action::LeaveIt, "may stay a touch sharp"),
    ] {
        desk.pluck(26, cents);
        let advice = desk.advice(Some((26, Heard::Settled(Cents(cents)))));
        assert_eq!(advice.action, action, "{cents}");
        assert!(said(&advice).contains(text), "{cents}: {}", said(&advice));
        if action == Action::LeaveIt {
            desk.ways.leave_new(number(26), Cents(cents));
        }
    }
    // Once it is up, what comes next is said with its days, as far as they are known.
    let follow_up = FollowUp {
        again: "2026-11-26".to_owned(),
        holds: "2026-12-02".to_owned(),
    };
    desk.ways.follow_up.insert(number(26), follow_up);
    let advice = desk.advice(Some((26, Heard::Settled(Cents(2.0)))));
    assert_eq!(
        said(&advice),
        "It may stay a touch sharp. Tune it again today, on 2026-11-26 and daily; it should hold by 2026-12-02."
    );
}

#[test]
fn a_harp_that_stands_far_below_is_not_brought_up_in_one_go() {
    let mut desk = Desk::new();
    let tuning = Tuning::default();
    let mut check = Check::begin(&desk.harp, &desk.readiness());
    let mut pluck = 0.0;
    while let Some((string, _)) = check.asks() {
        let target = tuning.open_target(desk.harp.string(string).expect("a string"));
        check.hear(&desk.harp, &tuning, pluck, string, target.raised_by(Cents(-52.0)));
        pluck += 1.0;
    }
    desk.opening = Some(check);
    let advice = desk.advice(None);
    assert_eq!(
        desk.with(None, |situation| asked(situation, None)),
        advice.string,
        "it waits for what it shows"
    );
    assert_eq!(
        (advice.action, advice.turn, advice.cents),
        (Action::WhichPitch, None, None)
    );
    assert!(
        said(&advice).contains("cents flat. Bring it up in two or three rounds")
            && said(&advice).contains("technician"),
        "{}",
        said(&advice)
    );
    let string = advice.string.expect("a string");
    desk.opening.as_mut().expect("a check").overrule(string);
    assert_eq!(desk.advice(None).action, Action::Pluck);
}

#[test]
fn strings_are_named_as_she_likes_it() {
    let mut desk = Desk::new();
    let place = |desk: &Desk| {
        desk.advice(Some((15, Heard::Unsure)))
            .place
            .map(|place| place.say(&Words::english()))
    };
    assert_eq!(place(&desk).as_deref(), Some("one above 2F"));
    desk.ways.naming = Naming::Scientific;
    assert_eq!(place(&desk).as_deref(), Some("one above F5"));
}

#[test]
fn the_next_string_is_told_before_the_one_in_hand_is_done() {
    let mut desk = Desk::new();
    assert_eq!(
        desk.with(None, |situation| following(situation, number(26))),
        Some(number(27))
    );
    desk.pluck(27, 0.0);
    desk.pluck(27, 0.1);
    assert_eq!(
        desk.with(None, |situation| following(situation, number(26))),
        Some(number(28))
    );
    assert_eq!(
        desk.with(None, |situation| following(situation, number(1))),
        Some(number(26)),
        "what is left"
    );
}

#[test]
fn what_comes_to_be_left_behind_her_waits_until_she_comes_round_to_it() {
    let mut desk = Desk::new();
    let tune = |desk: &mut Desk, string| {
        desk.pluck(string, 0.0);
        desk.pluck(string, 0.1);
    };
    (26..29).for_each(|string| tune(&mut desk, string));
    desk.ways.reached = Some(number(28));
    // She has tightened a neighbour, or the A has moved.
    desk.pluck(26, -6.0);
    let asks = |desk: &Desk| desk.with(None, |situation| asked(situation, None));
    assert_eq!(asks(&desk), Some(number(29)));
    let follows = |desk: &Desk, shown| desk.with(None, |situation| following(situation, number(shown)));
    assert_eq!(follows(&desk, 29), Some(number(30)));
    assert_eq!(
        follows(&desk, 40),
        Some(number(29)),
        "she has left her order for that one string"
    );
    let in_turn = |desk: &Desk, string| desk.with(None, |situation| is_in_turn(situation, number(string)));
    assert_eq!([29, 30, 26].map(|string| in_turn(&desk, string)), [true, false, false]);
    // The one that she has reached is open again as well, as all are when the A moves, and she goes on all the same.
    desk.pluck(28, -6.0);
    assert_eq!([28, 29, 30].map(|string| in_turn(&desk, string)), [true, true, false]);
    tune(&mut desk, 28);
    (29..48).chain(1..26).for_each(|string| tune(&mut desk, string));
    assert_eq!(asks(&desk), Some(number(26)));
}

/// The 45th string of 47 is a wire, the 26th gut (common practice, no source).
#[test]
fn a_wire_that_was_just_plucked_may_stand_sharp_for_a_while_and_no_other_string() {
    let desk = Desk::new();
    for (string, cents, action) in [
        (45, 5.0, Action::LetRing),
        (45, 11.0, Action::LetRing),
        (45, 13.0, Action::Loosen),
        (45, -5.0, Action::LetRing),
        (45, -7.0, Action::Tighten),
        (26, 5.0, Action::LetRing),
        (26, 7.0, Action::Loosen),
    ] {
        let advice = desk.advice(Some((string, Heard::Young(Cents(cents)))));
        assert_eq!(advice.action, action, "string {string}, {cents} cents");
    }
}

#[test]
fn while_the_tuning_opens_the_next_string_is_the_next_one_of_the_check() {
    let mut desk = Desk::new();
    let tuning = Tuning::default();
    let mut check = Check::begin(&desk.harp, &desk.readiness());
    for string in [26, 27] {
        let target = tuning.open_target(desk.harp.string(number(string)).expect("a string"));
        check.hear(&desk.harp, &tuning, f64::from(string), number(string), target);
    }
    desk.opening = Some(check);
    let next = desk.with(None, |situation| following(situation, number(28)));
    assert_eq!(next, Some(number(29)));
}

#[test]
fn of_new_strings_the_one_that_was_brought_up_least_comes_first() {
    let mut desk = Desk::new();
    for string in 1..48 {
        if [30, 12].contains(&string) {
            desk.stories[number(string).index()].set_mark(Some(Mark::New));
        } else {
            desk.pluck(string, 0.0);
            desk.pluck(string, 0.1);
        }
    }
    let next = |desk: &Desk| desk.advice(None).string;
    assert_eq!(next(&desk), Some(number(30)));
    desk.ways.leave_new(number(30), Cents(-200.0));
    assert_eq!(next(&desk), Some(number(12)));
}

#[test]
fn when_the_start_is_near_there_is_no_quick_pass_and_nothing_is_announced() {
    let mut desk = Desk::new();
    desk.pluck(20, -4.5);
    desk.ways.quick = Quick::for_mean(Cents(-12.0));
    desk.ways.urgent = true;
    let (readiness, harp) = (desk.readiness(), desk.harp.clone());
    desk.ways.end_passes(&harp, &readiness);
    let heard = desk.advice(Some((20, Heard::Settled(Cents(-4.5)))));
    assert_eq!(heard.action, Action::Tighten);
    assert_eq!(desk.with(None, |situation| following(situation, number(20))), None);
    assert!(!desk.with(None, |situation| is_in_turn(situation, number(20))));
}

#[test]
fn a_harp_that_is_ready_or_not_heard_yet_begins_at_the_beginning() {
    let mut desk = Desk::new();
    let harp = desk.harp.clone();
    let begins = |desk: &mut Desk| {
        desk.ways.reached = Some(number(40));
        let readiness = desk.readiness();
        desk.ways.end_passes(&harp, &readiness);
        desk.ways.reached.is_none()
    };
    assert!(begins(&mut desk));
    desk.pluck(26, 0.0);
    assert!(!begins(&mut desk));
    (1..48).for_each(|string| {
        desk.pluck(string, 0.0);
        desk.pluck(string, 0.1);
    });
    assert!(begins(&mut desk));
}

#[test]
fn when_a_pass_is_over_the_next_one_begins_at_the_beginning() {
    let mut desk = Desk::new();
    (1..48).for_each(|string| desk.pluck(string, -3.5));
    desk.ways.quick = Quick::for_mean(Cents(-12.0));
    desk.ways.reached = Some(number(47));
    let (readiness, harp) = (desk.readiness(), desk.harp.clone());
    desk.ways.end_passes(&harp, &readiness);
    assert_eq!((&desk.ways.quick, desk.ways.reached), (&None, None));
    assert_eq!(desk.with(None, |situation| asked(situation, None)), Some(number(26)));
}

proptest! {
    /// Whatever the live track does, a word about one moving string near its mark stands for at least 400 ms, set before or
    /// not, measured or not.
    #[test]
    fn words_never_flicker(
        track in proptest::collection::vec((-9.0..9.0_f64, 20_u64..120), 1..200),
        set in any::<bool>(),
        heard in prop_oneof![Just(Heard::Live as fn(Cents) -> Heard), Just(Heard::Moved as fn(Cents) -> Heard)],
    ) {
        let mut desk = Desk::new();
        if set {
            desk.pluck(26, 0.5);
        }
        let mut steady = Steady::default();
        let mut now = Duration::ZERO;
        let mut shown: Option<(Action, Duration)> = None;
        for (cents, later) in track {
            now += Duration::from_millis(later);
            let advice = desk.advice(Some((26, heard(Cents(cents)))));
            let action = steady.show(advice, true, Uptime(now)).action;
            if let Some((before, since)) = shown && before != action {
                prop_assert!(now - since >= Duration::from_millis(400), "{before:?} stood for {:?}", now - since);
            }
            if shown.is_none_or(|(before, _)| before != action) {
                shown = Some((action, now));
            }
        }
    }

    /// A doubt is never kept waiting, and nothing to turn by is shown with it.
    #[test]
    fn a_doubt_is_shown_at_once_and_advises_nothing(before in -9.0..9.0_f64, cents in 80.0..400.0_f64) {
        let desk = Desk::new();
        let mut steady = Steady::default();
        steady.show(desk.advice(Some((26, Heard::Live(Cents(before))))), true, Uptime(Duration::ZERO));
        let doubt = desk.advice(Some((26, Heard::Live(Cents(cents)))));
        let shown = steady.show(doubt, true, Uptime(Duration::from_millis(10)));
        prop_assert!(shown.action.is_doubt() && shown.turn.is_none());
    }
}

/// String 23 is an F, 27 the B below middle C, 26 the C flat that sounds like it when its pedal is in natural.
#[test]
fn with_pedals_declared_strings_are_compared_and_only_open_ones_turned() {
    let mut desk = Desk::new();
    desk.opening = Some(Check::begin(&desk.harp, &desk.readiness()));
    desk.ways.pedals = Pedals::declared(&desk.harp, "Cb B Db Eb F# Gb Ab".parse().expect("a setting"));
    let settled = |string, cents| Some((string, Heard::Settled(Cents(cents))));
    for (hand, action) in [
        (None, Action::Pluck),
        (settled(23, -40.0), Action::StandsFlat),
        (settled(23, 12.0), Action::StandsSharp),
        (settled(23, 1.0), Action::StandsTrue),
        (settled(26, -9.0), Action::StandsFlat),
        (Some((23, Heard::Unsure)), Action::Again),
    ] {
        let advice = desk.advice(hand);
        assert_eq!((advice.action, advice.turn), (action, None), "{hand:?}");
    }
    assert!(said(&desk.advice(settled(23, -40.0))).contains("only with the F pedal in flat"));
    assert!(said(&desk.advice(settled(26, -9.0))).contains("neither pin is turned"));
    // The D pedal is in flat, and nothing else sounds like a D flat.
    let advice = desk.advice(settled(25, -9.0));
    assert!(advice.action == Action::Tighten && advice.turn.is_some(), "{advice:?}");
    desk.ways.pedals = None;
    assert!(said(&desk.advice(None)).contains("1 of 7"), "the opening check goes on");
}
