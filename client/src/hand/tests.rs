//! What the hand shows of what is sensed.

use super::*;
use consort_proto::harp_file;

#[test]
fn nothing_of_what_was_played_is_taken_up_and_what_is_plucked_then_is() {
    let mut follower = Follower::default();
    follower.plays(2.0);
    follower.plays(1.6);
    let track = |onset_s, time_s| Sensed::Track {
        onset_s,
        time_s,
        string: StringNumber::new(29).expect("a string"),
        hz: Hz::new(184.4).expect("a pitch"),
        sigma: Cents(0.2),
    };
    for frame in 0..50 {
        assert!(!follower.follow(&track(2.0, 2.4 + 0.04 * f64::from(frame))));
    }
    let taken_up = (0..25).any(|frame| follower.follow(&track(3.1, 3.2 + 0.04 * f64::from(frame))));
    assert!(taken_up);
}

/// Onset, time, string, cents above its target, whether settled, and what the hand then shows if it has changed.
type Step = (f64, f64, u32, f64, bool, Option<&'static str>);

/// Checks what the hand shows after each of `steps`.
#[track_caller]
fn check(steps: &[Step]) {
    let harp = harp_file::preset("pedal-47").expect("preset");
    let mut follower = Follower::default();
    for &(onset_s, time_s, string, cents, settled, expected) in steps {
        let string = StringNumber::new(string).expect("string");
        let target = Tuning::default().open_target(harp.string(string).expect("string"));
        let hz = target.raised_by(Cents(cents));
        let changed = follower.follow(&if settled {
            Sensed::Answer(Answer {
                onset_s,
                time_s,
                string,
                hz,
                sigma: Cents(0.1),
                glide: Cents(0.0),
                inharmonicity: 0.0,
                level_dbfs: -20.0,
                own_dbfs: -20.0,
                timbre: consort_analysis::Timbre::default(),
                verdict: Verdict::Settled,
            })
        } else {
            Sensed::Track {
                onset_s,
                time_s,
                string,
                hz,
                sigma: Cents(0.2),
            }
        });
        let shown = follower.hand(&harp, &Tuning::default()).map(|hand| match hand.heard {
            Heard::Young(cents) => format!("{} young {:.1}", hand.string, cents.0),
            Heard::Live(cents) => format!("{} live {:.1}", hand.string, cents.0),
            Heard::Moved(cents) => format!("{} moved {:.1}", hand.string, cents.0),
            Heard::Settled(cents) => format!("{} settled {:.1}", hand.string, cents.0),
            Heard::Unsure => format!("{} unsure", hand.string),
            Heard::Turned => format!("{} turned", hand.string),
            Heard::Waits => format!("{} waits", hand.string),
            Heard::Strong => format!("{} strong", hand.string),
            Heard::TooSoft => format!("{} too soft", hand.string),
        });
        assert_eq!(changed.then_some(shown).flatten().as_deref(), expected, "at {time_s} s");
    }
}

#[test]
#[rustfmt::skip]
fn the_hand_follows_the_key_and_not_the_dying_string() {
    check(&[
        // onset  time  string  cents  settled
        (0.0,     0.2,  21,     -9.0,  false, None),                      // Too young to be sure of the string.
        (0.0,     0.3,  21,     -9.0,  false, Some("21 young -9.0")),
        (0.0,     0.4,  21,     -6.0,  false, None),                      // Faster than can be read.
        (0.0,     0.6,  21,     -6.0,  false, Some("21 young -7.1")),      // Calmed.
        (0.0,     0.9,  21,     -5.8,  false, None),                      // Less than can be seen.
        (0.0,     1.5,  21,     -5.5,  true,  Some("21 settled -5.5")),
        (0.0,     2.5,  21,     -6.9,  false, None),                      // It dies away.
        (0.0,     2.6,  21,     30.0,  false, None),                      // A finger brushes it.
        (0.0,     2.7,  21,     -1.5,  false, None),                      // The key turns: that has to be heard six times.
        (0.0,     2.8,  21,     -1.0,  false, None),
        (0.0,     2.9,  21,     -0.5,  false, None),
        (0.0,     2.95, 21,      0.0,  false, None),
        (0.0,     3.0,  21,      1.0,  false, None),
        (0.0,     3.04, 21,      1.0,  false, Some("21 moved 0.4")),      // Calmed.
        (0.0,     3.1,  21,      1.0,  true,  Some("21 settled 1.0")),
        (0.0,     3.2,  21,     47.0,  false, None),                      // The last of a dying sound jumps.
        (0.0,     3.24, 21,     47.0,  false, None),
        (0.0,     3.28, 21,     47.0,  false, None),
        (0.0,     3.32, 21,     47.0,  false, None),
        (0.0,     3.36, 21,     47.0,  false, None),
        (0.0,     3.4,  21,     47.0,  false, None),
        (3.2,     3.6,  22,      4.0,  false, Some("22 young 4.0")),
        (0.0,     3.7,  21,      1.0,  true,  None),                      // The older pluck settles late.
    ]);
}

#[test]
fn a_string_that_is_done_is_not_taken_up_again_by_its_own_ringing() {
    let harp = harp_file::preset("pedal-47").expect("preset");
    let string = StringNumber::new(21).expect("string");
    let track = |onset_s, time_s| Sensed::Track {
        onset_s,
        time_s,
        string,
        hz: Hz::new(440.0).expect("hertz"),
        sigma: Cents(0.2),
    };
    let mut follower = Follower::default();
    assert!(follower.follow(&track(0.0, 0.5)));
    follower.let_go();
    assert!(!follower.follow(&track(0.0, 2.5)), "it only rings on");
    assert_eq!(follower.hand(&harp, &Tuning::default()), None);
    assert!(follower.follow(&track(3.0, 3.5)), "it was plucked anew");
}

/// A pluck of string 13 at `onset_s`: its answers see it `at` cents, its track strays from there by 4.5 cents `from_s` on; the
/// last answer is sure or not. What the hand shows in the end.
fn strays(follower: &mut Follower, onset_s: f64, at: f64, from_s: f64, last: Verdict) -> Option<Heard> {
    let harp = harp_file::preset("pedal-47").expect("preset");
    let string = StringNumber::new(13).expect("string");
    let target = Tuning::default().open_target(harp.string(string).expect("string"));
    for frame in 2..60_u32 {
        let since_s = 0.04 * f64::from(frame);
        let time_s = onset_s + since_s;
        let verdict = match frame {
            ..39 => Some(Verdict::Provisional),
            39 => Some(last),
            _ => None,
        };
        if let Some(verdict) = verdict {
            let answer = Answer {
                onset_s,
                time_s,
                string,
                hz: target.raised_by(Cents(at)),
                sigma: Cents(0.2),
                glide: Cents(0.0),
                inharmonicity: 0.0,
                level_dbfs: -20.0,
                own_dbfs: -20.0,
                timbre: consort_analysis::Timbre::default(),
                verdict,
            };
            follower.learn(&answer);
            follower.follow(&Sensed::Answer(answer));
        }
        follower.follow(&Sensed::Track {
            onset_s,
            time_s,
            string,
            hz: target.raised_by(Cents(at + if since_s > from_s { 4.5 } else { 0.0 })),
            sigma: Cents(0.3),
        });
    }
    follower.hand(&harp, &Tuning::default()).map(|hand| hand.heard)
}

#[test]
fn a_string_that_strays_by_itself_is_found_out_by_its_next_pluck() {
    #[track_caller]
    fn check(from_s: f64, plucks: &[(f64, bool)]) {
        let mut follower = Follower::default();
        for (onset_s, &(at, moved)) in (0..).map(|pluck| 10.0 * f64::from(pluck)).zip(plucks) {
            let told = match strays(&mut follower, onset_s, at, from_s, Verdict::Settled) {
                Some(Heard::Moved(cents)) => (cents.0 - at - 4.5, true),
                Some(Heard::Settled(cents)) => (cents.0 - at, false),
                other => panic!("{other:?}"),
            };
            assert!(told.0.abs() < 0.1 && told.1 == moved, "{told:?} at {onset_s} s");
        }
    }
    // From early on, as it dies away, and once it was measured.
    for from_s in [0.5, 1.0, 1.6] {
        check(from_s, &[(0.0, true), (0.4, false), (-5.0, false)]);
        // One that was turned begins elsewhere.
        check(from_s, &[(0.0, true), (4.5, true), (4.4, false)]);
    }
}

#[test]
fn a_string_that_moves_is_not_left_ringing_where_its_last_answer_is_no_measure() {
    let last = Verdict::Unsure(Doubt::Turned);
    let shown = strays(&mut Follower::default(), 0.0, 0.0, 1.0, last);
    assert!(matches!(shown, Some(Heard::Moved(_))), "{shown:?}");
}

/// Provisional answers of a pluck of string 40 at 1 s, every 40 ms, where `cents` says; what the hand shows at the end.
fn answered(follower: &mut Follower, cents: impl Fn(f64) -> f64, from: u32, to: u32) -> Option<Heard> {
    let harp = harp_file::preset("pedal-47").expect("preset");
    let string = StringNumber::new(40).expect("string");
    let target = Tuning::default().open_target(harp.string(string).expect("string"));
    for at in from..to {
        let since_s = 0.04 * f64::from(at);
        follower.follow(&Sensed::Answer(Answer {
            onset_s: 1.0,
            time_s: 1.0 + since_s,
            string,
            hz: target.raised_by(Cents(cents(since_s))),
            sigma: Cents(0.5),
            glide: Cents(0.0),
            inharmonicity: 0.0,
            level_dbfs: -20.0,
            own_dbfs: -20.0,
            timbre: consort_analysis::Timbre::default(),
            verdict: Verdict::Provisional,
        }));
    }
    follower.hand(&harp, &Tuning::default()).map(|hand| hand.heard)
}

/// A long string is followed by its answers alone, each of which foretells the mean of the whole pluck.
#[test]
fn answers_that_lag_behind_a_turning_key_are_no_words_to_turn() {
    let turns = |since_s: f64| 10.0 - 8.0 * (since_s - 0.9_f64).max(0.0);
    let mut follower = Follower::default();
    for (from, to) in [(2, 22), (22, 29)] {
        let Some(Heard::Young(shown) | Heard::Live(shown)) = answered(&mut follower, turns, from, to) else {
            panic!("it is followed");
        };
        assert!((shown.0 - 10.0).abs() < 1.3, "{shown:?}");
    }
    assert_eq!(answered(&mut follower, turns, 29, 40), Some(Heard::Turned));
}

#[test]
fn what_is_taken_for_one_string_after_another_is_shown_as_none() {
    let harp = harp_file::preset("pedal-47").expect("preset");
    let mut follower = Follower::default();
    for at in 2..30_u32 {
        let string = StringNumber::new([2, 8, 14, 7][(at / 6 % 4) as usize]).expect("string");
        let time_s = 0.04 * f64::from(at);
        let target = Tuning::default().open_target(harp.string(string).expect("string"));
        let changed = follower.follow(&Sensed::Answer(Answer {
            onset_s: 0.0,
            time_s,
            string,
            hz: target.raised_by(Cents(20.0)),
            sigma: Cents(0.3),
            glide: Cents(0.0),
            inharmonicity: 0.0,
            level_dbfs: -20.0,
            own_dbfs: -20.0,
            timbre: consort_analysis::Timbre::default(),
            verdict: Verdict::Provisional,
        }));
        assert!(!changed, "at {time_s} s");
    }
}
