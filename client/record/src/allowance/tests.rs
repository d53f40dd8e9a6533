//! What is allowed for, by a table from a real harp and by any table.

use consort_proto::{Note, Temperament, Tuning, harp_file};
use proptest::prelude::*;

use super::*;
use crate::date::Date;

/// C. Swanson, Harp Column forum, 23 August 2021: one older harp, open strings set exactly, cents above 100 in natural
/// and above 200 in sharp.
const SWANSON: [(&str, f64, f64); 5] = [
    ("C3", 2.0, 10.0),
    ("B2", 2.0, 3.0),
    ("C2", 0.0, 5.0),
    ("B1", 0.0, 3.0),
    ("A1", 1.0, 4.0),
];

fn harp() -> Harp {
    harp_file::preset("pedal-47").expect("a preset")
}

fn string(harp: &Harp, name: &str) -> StringNumber {
    let note: Note = name.parse().expect("a note");
    harp.find(note.letter, note.octave).expect("a string")
}

fn step(string: StringNumber, position: u8, by: f64, sigma: f64) -> StepError {
    StepError {
        string,
        position,
        by: Cents(by),
        sigma: Cents(sigma),
        checks: 1,
        on: Date::from_days(20_000),
    }
}

fn swanson(harp: &Harp) -> Vec<StepError> {
    SWANSON
        .iter()
        .flat_map(|&(name, natural, sharp)| {
            let string = string(harp, name);
            [step(string, 1, natural, 0.4), step(string, 2, sharp, 0.4)]
        })
        .collect()
}

fn setting(key: &str) -> Setting {
    key.parse().expect("a setting")
}

fn letters(text: &str) -> Letters {
    text.parse().expect("letters")
}

fn cents(all: &[Option<Cents>]) -> Vec<Option<f64>> {
    all.iter().map(|cents| cents.map(|cents| cents.0)).collect()
}

#[test]
fn the_position_that_is_played_is_made_right_and_the_other_two_move_along() {
    let harp = harp();
    let table = swanson(&harp);
    for (key, plays, moves, after) in [
        ("C", 1, -2.0, [-2.0, 0.0, 8.0]),
        ("C#", 2, -10.0, [-10.0, -8.0, 0.0]),
        ("Cb", 0, 0.0, [0.0, 2.0, 10.0]),
    ] {
        let found = effects(&harp, &table, setting(key), Letter::C);
        let low = found
            .iter()
            .find(|effect| effect.string == string(&harp, "C3"))
            .expect("5C");
        assert_eq!((low.plays, low.moves.0), (plays, moves), "{key}");
        assert_eq!(cents(&low.before), [Some(0.0), Some(2.0), Some(10.0)], "{key}");
        assert_eq!(cents(&low.after), after.map(Some), "{key}");
        assert_eq!(low.stays, (plays == 0).then_some(Stays::PlaysOpen), "{key}");
    }
}

/// Only the chosen letter's targets move, each to where the position that is played sounds exactly what was agreed.
#[test]
fn targets_of_the_chosen_letter_alone_are_lowered_by_the_measured_error() {
    let harp = harp();
    let allowing = harp_allowing(&harp, &swanson(&harp), &letters("C"));
    for (key, error_of) in [("C", 0), ("C#", 1)] {
        let tuning = Tuning {
            temperament: Temperament::default(),
            setting: setting(key),
            ..Tuning::default()
        };
        for (name, natural, sharp) in SWANSON {
            let number = string(&harp, name);
            let (plain, moved) = (harp.string(number).expect("it"), allowing.string(number).expect("it"));
            let by = tuning.open_target(moved).cents_above(tuning.open_target(plain)).0;
            let wanted = if name.starts_with('C') {
                -[natural, sharp][error_of]
            } else {
                0.0
            };
            assert!((by - wanted).abs() < 1e-9, "{name} in {key}: {by}");
        }
    }
}

#[test]
fn what_is_not_known_well_enough_or_too_far_off_moves_nothing_and_says_why() {
    let harp = harp();
    let of = |name| string(&harp, name);
    let table = [
        step(of("G4"), 1, 6.0, 1.3),
        step(of("G3"), 1, 31.0, 0.3),
        step(of("G2"), 1, -4.04, 0.3),
    ];
    let found = effects(&harp, &table, setting("C"), Letter::G);
    for (name, moves, stays) in [
        ("G4", 0.0, Some(Stays::Uncertain(Cents(1.3)))),
        ("G3", 0.0, Some(Stays::TooFar(Cents(31.0)))),
        ("G2", 4.0, None),
        ("G5", 0.0, Some(Stays::NotMeasured)),
    ] {
        let effect = found.iter().find(|effect| effect.string == of(name)).expect(name);
        assert_eq!((effect.moves.0, effect.stays), (moves, stays), "{name}");
    }
    let allowing = harp_allowing(&harp, &table, &letters("G"));
    let moved = allowing
        .strings()
        .iter()
        .filter(|string| string.regulation != [Cents(0.0); 2]);
    assert_eq!(moved.count(), 1);
}

#[test]
fn a_lever_harp_has_two_positions_and_its_open_letters_stay() {
    let harp = harp_file::preset("lever-34").expect("a preset");
    let (c, e) = (string(&harp, "C4"), string(&harp, "E4"));
    let table = [step(c, 1, 5.0, 0.3), step(e, 1, -3.0, 0.3)];
    let effect = |letter, number| {
        let found = effects(&harp, &table, setting("C"), letter);
        found.into_iter().find(|effect| effect.string == number).expect("it")
    };
    let (open, raised) = (effect(Letter::C, c), effect(Letter::E, e));
    assert_eq!(open.stays, Some(Stays::PlaysOpen));
    assert_eq!(cents(&open.after), [Some(0.0), Some(5.0)]);
    assert_eq!(
        (raised.moves.0, cents(&raised.after)),
        (3.0, vec![Some(3.0), Some(0.0)])
    );
}

#[test]
fn letters_are_read_as_they_are_written() {
    assert_eq!(letters("g, C").to_string(), "C G");
    assert!(letters("").is_empty() && "H".parse::<Letters>().is_err());
    assert_eq!(letters("C G").with(&letters("G A"), false), letters("C"));
    assert_eq!(letters("C").with(&letters("G"), true), letters("C G"));
}

/// Any table of steps and any choice.
fn tables() -> impl Strategy<Value = Vec<StepError>> {
    let any = (1_u32..=47, 1_u8..=2, -40.0..40.0_f64, 0.05..2.0_f64);
    prop::collection::btree_map((1_u32..=47, 1_u8..=2), any, 0..60).prop_map(|steps| {
        let step = |((number, position), (_, _, by, sigma)): ((u32, u8), (u32, u8, f64, f64))| {
            step(StringNumber::new(number).expect("a string"), position, by, sigma)
        };
        steps.into_iter().map(step).collect()
    })
}

proptest! {
    #[test]
    fn nothing_moves_where_nothing_is_chosen(table in tables()) {
        prop_assert_eq!(harp_allowing(&harp(), &table, &Letters::default()), harp());
    }

    /// open(X) = target(X in the position k that is played) − 100 k − e(X, k), and a position k' then sounds
    /// open(X) + 100 k' + e(X, k').
    #[test]
    fn targets_and_effects_follow_the_formula(
        table in tables(),
        chosen in prop::collection::btree_set(0_usize..7, 0..7),
        sharps in -7_i32..=7,
        a4 in 415.0..466.0_f64,
    ) {
        let (harp, setting) = (harp(), Setting::major(sharps).expect("a key"));
        let chosen = Letters::of(chosen.into_iter().map(|index| Letter::ALL[index]));
        let tuning = Tuning {
            a4: consort_proto::ReferencePitch::new(a4).expect("in reach"),
            temperament: Temperament::default(),
            setting,
        };
        let allowing = harp_allowing(&harp, &table, &chosen);
        for letter in Letter::ALL {
            for effect in effects(&harp, &table, setting, letter) {
                let (plain, moved) = (harp.string(effect.string).expect("it"), allowing.string(effect.string).expect("it"));
                let by = tuning.open_target(moved).cents_above(tuning.open_target(plain)).0;
                let expected = if chosen.has(letter) { effect.moves.0 } else { 0.0 };
                prop_assert!((by - expected).abs() < 1e-6, "{:?}: {}", effect, by);
                prop_assert!(effect.moves.is_within(MOVES_AT_MOST) && (effect.stays.is_none() || effect.moves.0 == 0.0));
                for (position, (before, after)) in (0_u8..).zip(effect.before.iter().zip(&effect.after)) {
                    let error = table.iter().find(|step| step.string == effect.string && step.position == position);
                    let known = if position == 0 { Some(0.0) } else { error.map(|step| step.by.0) };
                    prop_assert_eq!(before.map(|cents| cents.0), known);
                    prop_assert_eq!(after.map(|cents| cents.0), known.map(|error| error + effect.moves.0));
                }
                if effect.plays > 0 && effect.stays.is_none() {
                    let played = effect.after[usize::from(effect.plays)].expect("it was measured");
                    prop_assert!(played.0.abs() <= 0.05 + 1e-9, "a tenth of a cent is what is tuned by: {:?}", effect);
                }
            }
        }
    }
}
