//! Whole tunings in virtual time: a harp of numbers, a hand that errs, and nothing to go by but the guide.
//!
//! `CONSORT_TUNINGS` says how many; what is assumed of hand and strings stands beside each figure.

use consort_guide::{Action, Hand, Heard, Situation, Standstill, Way, Ways, advise, asked, cents_per_degree};
use consort_proto::harp_file::preset;
use consort_proto::{Cents, Harp, Readiness, Reading, StringNumber, StringStory, Tolerance, Tuning};

/// How long things take, seconds: assumed, as a practised harpist does them.
const MOVES_S: f64 = 1.2;
const RINGS_S: f64 = 1.1;
const TURNS_S: f64 = 0.6;
/// How far a turn goes beside what was meant, how much a string answers beside its nominal one, how well it is measured,
/// and how often the key is on a neighbour's pin: assumed.
const HAND: f64 = 0.1;
const ANSWER: f64 = 0.15;
const MEASURED: f64 = 0.15;
const WRONG_PIN: f64 = 0.02;

/// A simple sequence that looks like chance and is always the same.
struct Chance(u64);

impl Chance {
    fn share(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) as f64) / (1_u64 << 31) as f64
    }

    /// Mean 0, one standard deviation 1, never beyond 2.5.
    fn spread(&mut self) -> f64 {
        let sum: f64 = (0..6).map(|_| self.share()).sum();
        ((sum - 3.0) * std::f64::consts::SQRT_2).clamp(-2.5, 2.5)
    }
}

/// What is true of the harp and what came of the tuning.
struct Tuned {
    seconds: f64,
    /// The furthest that a string went past its target by an advised turn.
    past: f64,
    /// The furthest that a neighbour's string was turned before the guide doubted the pin.
    unnoticed: f64,
    left: usize,
}

/// Whoever says how far to turn: the guide, or somebody who knows how each string answers.
#[derive(Clone, Copy, PartialEq)]
enum Helper {
    Guide,
    Ideal,
}

#[allow(
    clippy::too_many_lines,
    reason = "one tuning from its first pluck to its last, told in the order of time"
)]
fn tune(harp: &Harp, seed: u64, helper: Helper, wrong_pins: bool) -> Tuned {
    let mut chance = Chance(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1);
    let (tuning, tolerance) = (Tuning::default(), Tolerance::default());
    let mean = 6.0 * chance.spread();
    let mut truth: Vec<f64> = harp.strings().iter().map(|_| mean + 8.0 * chance.spread()).collect();
    let answers: Vec<f64> = harp
        .strings()
        .iter()
        .map(|string| cents_per_degree(string).0 * (ANSWER * chance.spread()).exp())
        .collect();
    let mut stories = vec![StringStory::default(); harp.len()];
    let ways = Ways {
        key: Some(Way::Away),
        ..Ways::default()
    };
    let mut standstill = Standstill::default();
    let mut tuned = Tuned {
        seconds: 0.0,
        past: 0.0,
        unnoticed: 0.0,
        left: 0,
    };
    let (mut pin, mut strayed): (Option<StringNumber>, f64) = (None, 0.0);
    let mut hand: Option<Hand> = None;
    let mut shown: Option<StringNumber> = None;
    for _ in 0..2_000 {
        let readiness = Readiness::judge(harp, &stories, &tuning, &tolerance);
        let still = hand.is_some_and(|hand| {
            let last = stories[hand.string.index()].last();
            last.is_some_and(|last| standstill.holds(hand.string, last.hz))
        });
        let situation = Situation {
            harp,
            tolerance: &tolerance,
            readiness: &readiness,
            hand,
            stands_still: still,
            opening: None,
            ways: &ways,
        };
        let advice = advise(&situation);
        if advice.action == Action::AllSet {
            break;
        }
        let string = advice.string.expect("advice about a string");
        match advice.action {
            Action::Tighten | Action::Loosen => {
                let turn = advice.turn.expect("a turn");
                assert!(turn.degrees > 0.0 && turn.degrees < 60.0, "{turn:?}");
                let up = if advice.action == Action::Tighten { 1.0 } else { -1.0 };
                let meant = match helper {
                    Helper::Guide => up * turn.degrees,
                    Helper::Ideal => -truth[string.index()] / answers[string.index()],
                };
                let on = pin.expect("the key is on a pin");
                let by = meant * (1.0 + HAND * chance.spread()) * answers[on.index()];
                let before = truth[on.index()];
                truth[on.index()] += by;
                tuned.seconds += TURNS_S;
                if on == string {
                    let now = truth[on.index()];
                    if before * now < 0.0 {
                        tuned.past = tuned.past.max(now.abs());
                    }
                } else {
                    strayed += by;
                    tuned.unnoticed = tuned.unnoticed.max(strayed.abs());
                }
            }
            Action::WhichPin => {
                // First the other one is turned back, then the key goes where it belongs.
                if let Some(on) = pin.filter(|on| *on != string) {
                    truth[on.index()] -= strayed;
                    stories[on.index()].begin_round();
                }
                (pin, strayed) = (Some(string), 0.0);
                standstill = Standstill::default();
                tuned.seconds += MOVES_S;
            }
            Action::Holds | Action::LeaveIt => hand = None,
            Action::Pluck | Action::LetRing | Action::OnceMore | Action::Again => {}
            other => panic!("{other:?} where nothing is in doubt"),
        }
        if matches!(advice.action, Action::Holds | Action::LeaveIt) {
            shown = Some(string);
            continue;
        }
        let next = asked(&situation, shown.filter(|_| hand.is_some())).unwrap_or(string);
        if hand.is_none() {
            tuned.seconds += MOVES_S;
            strayed = 0.0;
            let beside = u32::from(next.get()) + 1;
            let wrong = wrong_pins && chance.share() < WRONG_PIN;
            pin = StringNumber::new(beside)
                .ok()
                .filter(|other| wrong && other.index() < harp.len())
                .or(Some(next));
        }
        let string = hand.map_or(next, |hand| hand.string);
        tuned.seconds += RINGS_S;
        let target = tuning.open_target(harp.string(string).expect("a string"));
        let cents = Cents(truth[string.index()] + MEASURED * chance.spread());
        let reading = Reading::new(string, target.raised_by(cents), Cents(MEASURED)).expect("a reading");
        stories[string.index()].hear(reading);
        let within = tolerance.of(harp.string(string).expect("a string"));
        standstill.hear(&reading, (!cents.is_within(within)).then_some(cents));
        hand = Some(Hand {
            string,
            heard: Heard::Settled(cents),
        });
        shown = Some(string);
    }
    tuned.left = Readiness::judge(harp, &stories, &tuning, &tolerance).left();
    tuned
}

fn count() -> u64 {
    std::env::var("CONSORT_TUNINGS")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(1_000)
}

#[test]
fn no_advice_takes_a_string_far_past_its_target_and_no_wrong_pin_goes_far_unnoticed() {
    for name in ["pedal-47", "lever-34"] {
        let harp = preset(name).expect("a preset");
        for seed in 1..=count() {
            let tuned = tune(&harp, seed, Helper::Guide, true);
            assert_eq!(
                tuned.left, 0,
                "{name}, {seed}: strings are left after {} s",
                tuned.seconds
            );
            assert!(
                tuned.past <= 20.0,
                "{name}, {seed}: {} cents past the target",
                tuned.past
            );
            assert!(
                tuned.unnoticed <= 50.0,
                "{name}, {seed}: {} cents on a wrong pin",
                tuned.unnoticed
            );
        }
    }
}

#[test]
fn the_guide_is_hardly_slower_than_somebody_who_knows_how_every_string_answers() {
    let harp = preset("pedal-47").expect("a preset");
    let median = |helper| {
        let mut times: Vec<f64> = (1..=count())
            .map(|seed| tune(&harp, seed, helper, false).seconds)
            .collect();
        times.sort_by(f64::total_cmp);
        times[times.len() / 2]
    };
    let (guide, ideal) = (median(Helper::Guide), median(Helper::Ideal));
    assert!(
        guide <= 1.15 * ideal,
        "{guide:.0} s, and {ideal:.0} s of an ideal helper"
    );
    assert!(guide <= 600.0, "{guide:.0} s of played time");
}
