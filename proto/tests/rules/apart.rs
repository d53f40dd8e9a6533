//! Which string of which harp stands apart: ensembles that a director could listen to.

use consort_proto::apart::{Against, Apart, Member, apart};
use consort_proto::harp_file::preset;
use consort_proto::target::Tuning;
use consort_proto::{Cents, Harp, Letter, Note, Readiness, Standing, StringNumber, Tolerance};

fn number(harp: &Harp, name: &str) -> StringNumber {
    let note: Note = name.parse().expect("a note");
    harp.find(note.letter, note.octave).expect("a string")
}

/// `harp` with every string at its target but for those that are named with their standing.
fn tuned(harp: &Harp, but: &[(&str, Standing)]) -> Readiness {
    let mut standings = vec![Standing::Holds(Cents(0.0)); harp.len()];
    for (name, standing) in but {
        standings[number(harp, name).index()] = *standing;
    }
    Readiness::judged(standings)
}

fn found(harps: &[(&Harp, &Readiness)]) -> Vec<Apart> {
    let members: Vec<Member<'_>> = harps
        .iter()
        .map(|&(harp, readiness)| Member { harp, readiness })
        .collect();
    apart(&members, &Tuning::default(), &Tolerance::default())
}

fn holds(cents: f64) -> Standing {
    Standing::Holds(Cents(cents))
}

/// 440 Hz raised by 3 cents is 440.763 Hz: two strings beat as often as their frequencies differ.
#[test]
fn one_harp_of_three_is_named_with_its_beats_and_the_others_are_not() {
    let harp = preset("pedal-47").expect("a preset");
    let even = tuned(&harp, &[]);
    let off = tuned(&harp, &[("A4", holds(3.0))]);
    let found = found(&[(&harp, &even), (&harp, &off), (&harp, &even)]);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(
        (found[0].member, found[0].string, found[0].against),
        (1, number(&harp, "A4"), Against::Unisons)
    );
    assert!((found[0].by.0 - 3.0).abs() < 1e-9);
    assert!((found[0].beats_per_second - 0.763).abs() < 0.001, "{found:?}");
}

#[test]
fn harps_that_are_all_off_together_do_not_stand_apart() {
    let harp = preset("pedal-47").expect("a preset");
    let low = Readiness::judged(vec![Standing::Moved(Cents(-8.0)); harp.len()]);
    assert_eq!(found(&[(&harp, &low), (&harp, &low), (&harp, &low)]), []);
}

/// Both are within 2 cents of the target, and yet 3.6 cents from each other.
#[test]
fn two_harps_in_tune_can_stand_apart_from_each_other() {
    let harp = preset("pedal-47").expect("a preset");
    let sharp = tuned(&harp, &[("A4", holds(1.9))]);
    let flat = tuned(&harp, &[("A4", holds(-1.7))]);
    let found = found(&[(&harp, &sharp), (&harp, &flat)]);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].member, 0, "the one farther from the target stands apart");
    assert!((found[0].by.0 - 3.6).abs() < 1e-9);
}

/// The lever harp's open C and the pedal harp's C flat, pedal in natural, are one note when they play C major.
#[test]
fn a_lever_harp_is_held_against_what_a_pedal_harp_plays() {
    let pedal = preset("pedal-47").expect("a preset");
    let lever = preset("lever-34").expect("a preset");
    let even = tuned(&pedal, &[]);
    let off = tuned(&lever, &[("C4", holds(-4.0))]);
    let found = found(&[(&pedal, &even), (&pedal, &even), (&lever, &off)]);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!((found[0].member, found[0].string), (2, number(&lever, "C4")));
}

/// 220 Hz raised by 4 cents has its second partial at 441.018 Hz, beside the 440 Hz of the other harp.
#[test]
fn an_octave_between_harps_is_named_by_its_lower_string_too() {
    let pedal = preset("pedal-47").expect("a preset");
    let lever = preset("lever-22").expect("a preset");
    assert!(lever.find(Letter::A, 4).is_some());
    // Only the pedal harp is heard at A3, only the lever harp at A4.
    let quiet = |harp: &Harp, heard: &str, at: f64| {
        let mut standings = vec![Standing::NotHeard; harp.len()];
        standings[number(harp, heard).index()] = holds(at);
        Readiness::judged(standings)
    };
    let (low, high) = (quiet(&pedal, "A3", 4.0), quiet(&lever, "A4", 0.0));
    let found = found(&[(&pedal, &low), (&lever, &high)]);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!((found[0].member, found[0].against), (0, Against::Octaves));
    assert!((found[0].beats_per_second - 1.018).abs() < 0.001, "{found:?}");
}

#[test]
fn new_missing_and_unheard_strings_neither_stand_apart_nor_are_held_against() {
    let harp = preset("pedal-47").expect("a preset");
    let even = tuned(&harp, &[]);
    for aside in [Standing::New(Some(Cents(20.0))), Standing::Missing, Standing::NotHeard] {
        let odd = tuned(&harp, &[("A4", aside)]);
        assert_eq!(found(&[(&harp, &odd), (&harp, &even)]), [], "{aside:?}");
    }
}

/// The farthest in tolerances comes first: 6 cents count more at A4 (2 cents) than 9 at D7 (5 cents).
#[test]
fn what_an_ear_notices_first_comes_first() {
    let harp = preset("pedal-47").expect("a preset");
    let even = tuned(&harp, &[]);
    let off = tuned(&harp, &[("D7", holds(9.0)), ("A4", Standing::Off(Cents(6.0)))]);
    let names: Vec<StringNumber> = found(&[(&harp, &even), (&harp, &off), (&harp, &even)])
        .iter()
        .map(|apart| apart.string)
        .collect();
    assert_eq!(names, [number(&harp, "A4"), number(&harp, "D7")]);
}

#[test]
fn a_harp_alone_stands_apart_from_nobody() {
    let harp = preset("pedal-47").expect("a preset");
    let off = tuned(&harp, &[("A4", holds(30.0)), ("A5", holds(-30.0))]);
    assert_eq!(found(&[(&harp, &off)]), []);
    assert_eq!(found(&[]), []);
}
