//! What the desk says while a string fades, and what is no music.

use std::time::Duration;

use consort_guide::Action;
use consort_link::{Config, Event};
use consort_proto::harp_file::preset;
use consort_proto::{Cents, Hz, Tuning};
use proptest::prelude::*;

use super::*;
use crate::choices::Choices;

/// A desk that is tuned alone, and hears one string.
struct Desk {
    harp: Harp,
    link: Link,
    hearing: Hearing,
    string: StringNumber,
}

impl Desk {
    fn new(string: u32) -> Self {
        let harp = preset("pedal-47").expect("a preset");
        let link = Link::new(
            Uptime::default(),
            Config::first("Runa".parse().expect("a name"), harp.clone()),
        );
        Self {
            harp,
            link,
            hearing: Hearing::new(Check::default()),
            string: StringNumber::new(string).expect("a string"),
        }
    }

    fn hz(&self, cents: f64) -> Hz {
        let string = self.harp.string(self.string).expect("a string");
        Tuning::default().open_target(string).raised_by(Cents(cents))
    }

    /// What the desk says once the string was heard so far above its target, known to `sigma`.
    fn track(&mut self, time_s: f64, cents: f64, sigma: f64) -> Advice {
        let sensed = Sensed::Track {
            onset_s: 0.0,
            time_s,
            string: self.string,
            hz: self.hz(cents),
            sigma: Cents(sigma),
        };
        self.hearing.follow(&sensed, &self.harp, &self.link);
        self.advise(time_s)
    }

    /// The same once the string was measured to the end.
    fn settle(&mut self, time_s: f64, cents: f64) -> Advice {
        let answer = self.answer(0.0, time_s, cents);
        let reading = Reading::new(self.string, answer.hz, answer.sigma).expect("a reading");
        self.hearing.settled(0.0, &reading, false, &self.harp, &self.link);
        let since = Duration::ZERO;
        self.link.handle(now(time_s), Event::Plucked { reading, since });
        self.hearing.follow(&Sensed::Answer(answer), &self.harp, &self.link);
        self.advise(time_s)
    }

    /// The string plucked at `onset_s` and measured at `time_s`, so far above its target.
    fn answer(&self, onset_s: f64, time_s: f64, cents: f64) -> Answer {
        Answer {
            onset_s,
            time_s,
            string: self.string,
            hz: self.hz(cents),
            sigma: Cents(0.1),
            glide: Cents(0.0),
            inharmonicity: 0.0,
            level_dbfs: -20.0,
            own_dbfs: -20.0,
            timbre: consort_analysis::Timbre::default(),
            verdict: Verdict::Settled,
        }
    }

    fn advise(&mut self, time_s: f64) -> Advice {
        self.hearing.advise(&self.harp, &self.link, now(time_s))
    }
}

fn now(time_s: f64) -> Uptime {
    Uptime(Duration::from_secs_f64(time_s))
}

/// The live track comes so often, seconds.
const TRACK_S: f64 = 0.04;
/// When a string settles, and how long its tail is followed, seconds.
const SETTLES_S: f64 = 1.2;
const FADES_S: f64 = 8.0;

proptest! {
    #![proptest_config(ProptestConfig::with_cases(120))]

    /// A string in tune fades: its track gets poorer and poorer, glides down a little, and now and then what it leaves
    /// behind is heard elsewhere for a moment. Nothing in all that is a reason to turn.
    #[test]
    fn no_tail_of_a_string_in_tune_makes_a_word_to_turn(
        string in 3_u32..45,
        stands in -1.0..1.0_f64,
        glides in 0.0..1.5_f64,
        wavers in proptest::collection::vec(-2.5..2.5_f64, ((FADES_S - SETTLES_S) / TRACK_S) as usize),
        leaps in proptest::collection::vec((0_usize..42, 1_usize..5, -80.0..80.0_f64), 0..4),
    ) {
        let mut desk = Desk::new(string);
        let said = desk.settle(SETTLES_S, stands);
        prop_assert_eq!(said.action, Action::OnceMore);
        let count = wavers.len() as f64;
        // Each leap in its own part of the tail: two that adjoin are one, and one that lasts is a key that turns.
        let leaps: Vec<_> = (0..).zip(leaps).map(|(part, (from, long, leap))| (57 * part + from, long, leap)).collect();
        for (at, waver) in wavers.into_iter().enumerate() {
            let faded = at as f64 / count;
            let sigma = 0.2 + 3.6 * faded;
            let leap = leaps.iter().find(|(from, long, _)| (*from..from + long).contains(&at));
            let cents = leap.map_or(stands - glides * faded + waver * sigma, |(_, _, leap)| stands + leap);
            let advice = desk.track(SETTLES_S + TRACK_S * (at + 1) as f64, cents, sigma);
            prop_assert!(
                advice.turn.is_none() && !advice.action.is_doubt(),
                "{:?} of {:?} cents where it stands at {stands:.1}, {faded:.2} faded",
                advice.action,
                advice.cents
            );
        }
    }

    /// And yet a key that turns is followed, to within a second of its last movement.
    #[test]
    fn a_string_that_is_really_turned_is_told_of(stands in -1.0..1.0_f64, by in prop_oneof![-30.0..-9.0_f64, 9.0..30.0_f64]) {
        let mut desk = Desk::new(26);
        desk.settle(SETTLES_S, stands);
        let mut said = Vec::new();
        for at in 1..=50 {
            let share = (f64::from(at) / 25.0).min(1.0);
            said.push(desk.track(SETTLES_S + TRACK_S * f64::from(at), stands + by * share, 0.3).action);
        }
        let expected = if by < 0.0 { Action::Tighten } else { Action::Loosen };
        prop_assert_eq!(said.last().copied(), Some(expected), "{:?}", said);
    }
}

/// What becomes of a pluck on a desk that has heard its own string plucked at −20 dB: how many readings count, and what the
/// desk says then.
fn pluck(desk: &mut Desk, onset_s: f64, number: u32, level_dbfs: f64) -> (usize, Action) {
    pluck_told(desk, onset_s, number, level_dbfs, Verdict::Settled)
}

/// The same where the ear says this of it.
fn pluck_told(desk: &mut Desk, onset_s: f64, number: u32, level_dbfs: f64, verdict: Verdict) -> (usize, Action) {
    desk.string = StringNumber::new(number).expect("a string");
    let answer = Answer {
        level_dbfs,
        own_dbfs: level_dbfs,
        verdict,
        ..desk.answer(onset_s, onset_s + SETTLES_S, 0.5)
    };
    let Sensed::Answer(answer) = desk
        .hearing
        .told_apart(Sensed::Answer(answer), &desk.harp, &desk.link, None)
    else {
        panic!("an answer stays one");
    };
    let sensed = Sensed::Answer(answer);
    desk.hearing.plays(&sensed);
    let counts = desk.hearing.what_counts(&answer, None, &desk.harp, &desk.link);
    desk.hearing.follow(&sensed, &desk.harp, &desk.link);
    let settled = counts.iter().filter(|answer| answer.verdict == Verdict::Settled);
    (settled.count(), desk.advise(onset_s + SETTLES_S).action)
}

/// The string that a desk asks for first.
const ASKED: u32 = 26;

#[test]
fn what_nobody_asked_for_is_said_to_wait_until_it_counts() {
    let mut desk = Desk::new(ASKED);
    assert_eq!(pluck(&mut desk, 1.0, ASKED, -20.0).0, 1);
    assert_eq!(pluck(&mut desk, 6.0, 31, -21.0), (0, Action::Again));
    assert_eq!(desk.hearing.stood_alone(9.0).len(), 1);
    assert_ne!(desk.advise(9.0).action, Action::Again, "it counts");
}

/// The string that the desk speaks of once a track of string `number` has come from a pluck at 10 s on, so far above its
/// target, up to an age in seconds.
fn tracked(desk: &mut Desk, number: u32, cents: f64, age_s: f64) -> Option<u32> {
    desk.string = StringNumber::new(number).expect("a string");
    let mut said = None;
    for frame in 2.. {
        let since_s = TRACK_S * f64::from(frame);
        if since_s > age_s {
            break;
        }
        let sensed = Sensed::Track {
            onset_s: 10.0,
            time_s: 10.0 + since_s,
            string: desk.string,
            hz: desk.hz(cents),
            sigma: Cents(0.3),
        };
        desk.hearing.follow(&sensed, &desk.harp, &desk.link);
        said = desk.advise(10.0 + since_s).string;
    }
    said.map(StringNumber::get).map(u32::from)
}

#[test]
fn a_string_that_nobody_asks_for_is_not_shown_at_once_nor_where_it_cannot_be() {
    for (number, cents, age_s, shown) in [
        (ASKED, 20.0, 0.5, ASKED),
        (31, 20.0, 0.5, ASKED),
        (31, 20.0, 1.2, 31),
        // It was heard in tune, and nothing was measured since.
        (20, -60.0, 1.2, ASKED),
        (20, -20.0, 1.2, 20),
    ] {
        let mut desk = Desk::new(20);
        let reading = Reading::new(desk.string, desk.hz(0.5), Cents(0.1)).expect("a reading");
        let since = Duration::ZERO;
        desk.link.handle(now(1.0), Event::Plucked { reading, since });
        let told = tracked(&mut desk, number, cents, age_s);
        assert_eq!(told, Some(shown), "string {number}, {cents} cents, {age_s} s");
    }
}

#[test]
fn what_was_plucked_much_more_strongly_is_asked_for_again_and_counts_if_it_is_so_again() {
    let mut desk = Desk::new(ASKED);
    for (onset_s, number) in [(1.0, ASKED), (4.0, ASKED + 1), (7.0, ASKED + 2), (10.0, ASKED)] {
        assert_eq!(pluck(&mut desk, onset_s, number, -20.0).0, 1);
    }
    let (counts, action) = pluck(&mut desk, 13.0, ASKED, -11.0);
    assert_eq!((counts, action), (0, Action::Again));
    assert!(desk.hearing.is_left() && !desk.advise(14.5).can_be_overruled());
    assert_eq!(pluck(&mut desk, 16.0, ASKED, -11.0).0, 1);
}

#[test]
fn a_strong_pluck_is_not_turned_by_while_it_sounds_nor_afterwards() {
    let mut desk = Desk::new(ASKED);
    for onset_s in [1.0, 4.0] {
        assert_eq!(pluck(&mut desk, onset_s, ASKED, -20.0).0, 1);
    }
    let told = |desk: &mut Desk, time_s: f64, cents: f64, level_dbfs: f64| {
        let answer = Answer {
            level_dbfs,
            verdict: Verdict::Provisional,
            ..desk.answer(8.0, time_s, cents)
        };
        let sensed = Sensed::Answer(answer);
        desk.hearing.follow(&sensed, &desk.harp, &desk.link);
        desk.advise(time_s).action
    };
    for (level_dbfs, action) in [(-11.0, Action::LetRing), (-20.0, Action::Loosen)] {
        let said = (9..30).map(|at| told(&mut desk, 8.0 + TRACK_S * f64::from(at), 5.0, level_dbfs));
        assert_eq!(said.last(), Some(action), "{level_dbfs} dB");
        desk.hearing.begin_sound();
    }
}

#[test]
fn a_string_that_is_chosen_by_hand_stays_chosen_until_it_holds() {
    let mut desk = Desk::new(ASKED);
    desk.hearing.choose(Some(string(ASKED)));
    for (action, is_let_go) in [(Action::Again, false), (Action::NextOne, false), (Action::Holds, true)] {
        let advice = Advice {
            action,
            ..desk.advise(1.0)
        };
        assert_eq!(desk.hearing.let_go(&advice), is_let_go, "{action:?}");
    }
    assert_eq!(desk.hearing.ways().chosen, None);
}

#[test]
fn another_round_begins_at_the_beginning_with_its_own_opening() {
    let mut desk = Desk::new(ASKED);
    desk.settle(SETTLES_S, -9.0);
    desk.hearing.set_quick(Some(Quick::default()));
    let opening = Check::begin(&desk.harp, &desk.link.readiness());
    desk.hearing.begin_round(opening);
    let ways = desk.hearing.ways();
    assert_eq!((ways.reached, &ways.quick), (None, &None));
    assert!(desk.hearing.opening.asks().is_some());
}

#[test]
fn she_has_come_as_far_in_her_order_as_she_tuned_and_a_string_out_of_it_does_not_change_that() {
    let mut desk = Desk::new(ASKED);
    assert_eq!(desk.hearing.ways().reached, None);
    for (number, reached) in [(ASKED, ASKED), (40, ASKED), (ASKED + 1, ASKED + 1)] {
        desk.string = string(number);
        desk.settle(SETTLES_S, -9.0);
        assert_eq!(desk.hearing.ways().reached, Some(string(reached)), "{number}");
    }
    let mut choices = Choices::default();
    choices.set_order(consort_guide::Order::Up);
    desk.hearing.guide_by(&choices, false, &desk.harp, &Tuning::default());
    assert_eq!(
        desk.hearing.ways().reached,
        None,
        "another order begins at its beginning"
    );
}

#[test]
fn another_harp_is_no_business_of_this_desk_and_a_soft_pluck_of_hers_is_told() {
    let mut desk = Desk::new(ASKED);
    pluck(&mut desk, 1.0, ASKED, -20.0);
    assert_eq!(
        pluck(&mut desk, 6.0, 31, -30.0),
        (0, Action::Pluck),
        "nothing is in hand"
    );
    assert_eq!(pluck(&mut desk, 8.0, ASKED, -33.0), (0, Action::Again));
    assert!(desk.hearing.is_left());
    desk.hearing.choose(StringNumber::new(ASKED).ok());
    assert_eq!(pluck(&mut desk, 10.0, ASKED, -33.0).0, 1, "taken by hand");
}

/// What the ear says of what is 10 to 20 dB softer than it knows her harp.
const SOFT: Verdict = Verdict::Unsure(Doubt::Soft);

fn string(number: u32) -> StringNumber {
    StringNumber::new(number).expect("a string")
}

/// She presses the key that says so while the desk shows what it does; whether that was about whose the pluck was.
fn look_at(desk: &mut Desk, number: u32) -> bool {
    let shown = desk.advise(100.0);
    desk.hearing.look_at(string(number), &shown)
}

/// A desk that has heard its own string, and then once more so much softer that it says so.
fn doubting(verdict: Verdict) -> Desk {
    let mut desk = Desk::new(ASKED);
    pluck(&mut desk, 1.0, ASKED, -20.0);
    assert_eq!(pluck_told(&mut desk, 8.0, ASKED, -33.0, verdict), (0, Action::Again));
    assert!(desk.advise(9.5).can_be_overruled(), "the key is offered");
    desk
}

#[test]
fn what_she_says_was_hers_counts_when_it_is_plucked_again_and_so_do_the_next_ones() {
    for verdict in [Verdict::Settled, SOFT] {
        let mut desk = doubting(verdict);
        assert!(!look_at(&mut desk, 31));
        assert!(look_at(&mut desk, ASKED));
        assert_eq!(desk.hearing.ways().chosen, None, "the ear listens for all strings");
        assert_eq!(pluck_told(&mut desk, 11.0, ASKED, -33.0, verdict).0, 1);
        assert!(!desk.hearing.is_left());
        let next = pluck_told(&mut desk, 14.0, ASKED + 1, -33.0, verdict);
        assert_eq!(next.0, 1, "her chair has turned");
    }
}

#[test]
fn what_she_said_was_hers_ends_with_a_reading_and_not_with_a_doubt_and_not_for_what_is_softer_or_late() {
    let said = || {
        let mut desk = doubting(SOFT);
        assert!(look_at(&mut desk, ASKED));
        desk
    };
    let mut desk = said();
    pluck_told(&mut desk, 11.0, ASKED, -33.0, Verdict::Unsure(Doubt::Scattered));
    assert_eq!(pluck_told(&mut desk, 13.0, ASKED, -33.0, SOFT).0, 1);
    for (onset_s, number, level_dbfs) in [(11.0, ASKED, -38.0), (30.0, ASKED, -33.0), (11.0, 31, -33.0)] {
        let counts = pluck_told(&mut said(), onset_s, number, level_dbfs, SOFT).0;
        assert_eq!(counts, 0, "{number} at {onset_s} s, {level_dbfs} dB");
    }
    let mut desk = said();
    desk.hearing.set_last_check(None);
    assert_eq!(pluck_told(&mut desk, 11.0, ASKED, -33.0, SOFT).0, 0, "it is taken back");
}

#[test]
fn who_presses_the_key_when_nothing_is_doubted_any_more_has_looked_at_nothing() {
    let mut desk = doubting(SOFT);
    let advice = desk.advise(9.5);
    desk.hearing.let_go(&advice);
    assert!(!look_at(&mut desk, ASKED));
    assert_eq!(desk.hearing.ways().looked_at, None);
    assert_eq!(pluck_told(&mut desk, 11.0, ASKED, -33.0, SOFT).0, 0);
    // Nor has she where it was plucked again meanwhile, and counted.
    assert_eq!(pluck(&mut desk, 20.0, ASKED, -20.0).0, 1);
    assert!(!look_at(&mut desk, ASKED));
    assert_eq!(desk.hearing.ways().looked_at, None);
}

#[test]
fn a_soft_string_that_nobody_asked_for_is_not_said_to_be_soft() {
    let mut desk = Desk::new(ASKED);
    pluck(&mut desk, 1.0, ASKED, -20.0);
    assert_eq!(
        pluck_told(&mut desk, 8.0, 40, -33.0, SOFT),
        (0, Action::Pluck),
        "another harp's"
    );
}

#[test]
fn where_a_string_stood_is_nothing_to_go_by_once_the_targets_have_moved() {
    let mut desk = Desk::new(ASKED);
    let guide = |desk: &mut Desk, tuning: &Tuning| {
        let choices = Choices::default();
        desk.hearing.guide_by(&choices, false, &desk.harp, tuning);
    };
    guide(&mut desk, &Tuning::default());
    pluck(&mut desk, 1.0, ASKED, -20.0);
    let places = format!("{:?}", desk.hearing.attention);
    guide(&mut desk, &Tuning::default());
    assert_eq!(format!("{:?}", desk.hearing.attention), places);
    let tuning = Tuning {
        a4: consort_proto::ReferencePitch::new(442.0).expect("a pitch"),
        ..Tuning::default()
    };
    guide(&mut desk, &tuning);
    assert_ne!(format!("{:?}", desk.hearing.attention), places);
}

#[test]
fn another_harp_that_is_measured_late_takes_nothing_out_of_her_hand() {
    let mut desk = Desk::new(ASKED);
    pluck(&mut desk, 1.0, ASKED, -20.0);
    desk.string = StringNumber::new(ASKED).expect("a string");
    for at in 0..30 {
        let sensed = Sensed::Track {
            onset_s: 7.0,
            time_s: 7.3 + TRACK_S * f64::from(at),
            string: desk.string,
            hz: desk.hz(20.0),
            sigma: Cents(0.2),
        };
        desk.hearing.follow(&sensed, &desk.harp, &desk.link);
    }
    assert_eq!(
        pluck(&mut desk, 6.9, 40, -32.0),
        (0, Action::Loosen),
        "hers is plucked a little later"
    );
}

/// What is damped, talked or knocked between two plucks of one string is heard as a pluck of another one for a moment.
#[test]
fn what_turns_out_to_be_no_pluck_stands_between_nothing() {
    let mut desk = Desk::new(ASKED);
    assert_eq!(pluck(&mut desk, 1.0, 31, -20.0).0, 0);
    let other = Sensed::Track {
        onset_s: 2.5,
        time_s: 2.8,
        string: StringNumber::new(40).expect("a string"),
        hz: desk.hz(0.0),
        sigma: Cents(3.0),
    };
    desk.hearing.plays(&other);
    let why = Refusal::TooSoft;
    desk.hearing.plays(&Sensed::Refused { onset_s: 2.5, why });
    assert_eq!(pluck(&mut desk, 3.5, 31, -20.0).0, 2, "both count");
}

#[test]
fn what_is_much_softer_than_her_harp_is_not_followed_while_it_sounds() {
    let mut desk = Desk::new(ASKED);
    pluck(&mut desk, 1.0, ASKED, -20.0);
    let said = desk.advise(2.5);
    for at in 5..20 {
        let time_s = 6.0 + TRACK_S * f64::from(at);
        let ghost = Answer {
            own_dbfs: -40.0,
            verdict: Verdict::Provisional,
            ..desk.answer(6.0, time_s, 22.0)
        };
        desk.hearing.follow(&Sensed::Answer(ghost), &desk.harp, &desk.link);
        assert_eq!(desk.advise(time_s), said);
    }
}

/// Five strings that are heard to sound within two seconds from `from_s` on, this loud. Whether she plays then.
fn play(desk: &mut Desk, from_s: f64, level_dbfs: f64) -> bool {
    let mut plays = false;
    for (at, number) in (0_u32..).zip([30, 33, 28, 35, 31]) {
        desk.string = StringNumber::new(number).expect("a string");
        let onset_s = from_s + 0.4 * f64::from(at);
        let heard = Answer {
            own_dbfs: level_dbfs,
            verdict: Verdict::Provisional,
            ..desk.answer(onset_s, onset_s + 0.3, 0.5)
        };
        plays = desk.hearing.plays(&Sensed::Answer(heard));
    }
    plays
}

#[test]
fn after_music_the_string_that_is_asked_for_is_plucked_twice_until_it_counts() {
    let mut desk = Desk::new(ASKED);
    assert!(play(&mut desk, 1.0, -20.0));
    desk.hearing.rest();
    assert_eq!(pluck(&mut desk, 5.0, ASKED, -20.0), (0, Action::Again));
    assert_eq!(pluck(&mut desk, 7.0, ASKED, -20.0).0, 2, "both count");
}

#[test]
fn what_others_play_softly_is_no_music_of_hers() {
    let mut desk = Desk::new(ASKED);
    assert_eq!(pluck(&mut desk, 1.0, ASKED, -20.0).0, 1);
    assert!(!play(&mut desk, 3.0, -35.0));
    assert_eq!(pluck(&mut desk, 6.0, ASKED, -20.0).0, 1);
}
