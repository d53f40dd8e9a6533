//! Checks of a harp in numbers: what is asked, what is expected, what a difference means.

use super::*;
use consort_proto::{Harp, Hz, Letter, Tuning, harp_file};

fn harp() -> Harp {
    harp_file::preset("pedal-47").expect("a preset")
}

fn check(kind: Kind, letter: Letter, octave: i8) -> Check {
    let harp = harp();
    let string = harp.find(letter, octave).expect("a string");
    Check::of(kind, string, &harp, &Tuning::default(), |_| 0.0).expect("a check")
}

fn number(letter: Letter, octave: i8) -> StringNumber {
    harp().find(letter, octave).expect("a string")
}

/// F3 to C4 −0.5912 and F#3 to B3 +0.8361 beats in a second: S. Teki et al., J. Neurosci. 32(35), 12251–12257 (2012),
/// Table 1, has 0.6 and 0.8. Open G sounds F#.
#[test]
fn strings_without_stiffness_are_expected_to_beat_as_published() {
    for (kind, published) in [(Kind::Fourth, 0.8), (Kind::Fifth, -0.6), (Kind::Octave, 0.0)] {
        let check = check(kind, Letter::G, 3);
        let Asks::Together { expected, .. } = check.asks() else {
            panic!("{kind:?} sounds together")
        };
        assert!((expected - published).abs() < 0.0505, "{kind:?}: {expected}");
    }
}

/// Of B = 0.001 the second partial lies 2.5904 cents above twice the first: an octave that is tuned by its first partials
/// then beats by as much, narrow.
#[test]
fn a_stiff_octave_is_expected_to_beat() {
    let harp = harp();
    let string = number(Letter::C, 6);
    let check = Check::of(Kind::Octave, string, &harp, &Tuning::default(), |_| 1e-3).expect("a check");
    let Asks::Together { expected, higher, .. } = check.asks() else {
        panic!("an octave sounds together")
    };
    let cents = 1200.0 * (1.0 - expected / higher.hz.get()).log2();
    assert!((cents - 2.5904).abs() < 0.01, "{cents}");
}

#[test]
fn a_raised_string_is_compared_with_the_one_that_sounds_the_same() {
    for (letter, octave, raised, other) in [
        // C sharp is D flat, E natural is F flat, B natural is C flat.
        (Letter::C, 4, 2, number(Letter::D, 4)),
        (Letter::E, 4, 1, number(Letter::F, 4)),
        (Letter::B, 3, 1, number(Letter::C, 4)),
    ] {
        let check = check(Kind::Enharmonic, letter, octave);
        let Asks::InTurn(sounds) = check.asks() else {
            panic!("they sound in turn")
        };
        assert_eq!(
            (sounds[0].how, sounds[1].string),
            (How::Raised(raised), other),
            "{letter}"
        );
        assert!(sounds[0].hz.cents_above(sounds[1].hz).0.abs() < 1e-6);
    }
}

#[test]
#[rustfmt::skip]
fn a_difference_means_tuning_until_both_are_known_to_be_in_tune() {
    let (lower, higher) = (number(Letter::C, 4), number(Letter::C, 5));
    for (cents, tuned_lower, tuned_higher, means) in [
        // higher/cents  lower in tune  higher in tune  what it means
        (  1.0,          None,          None,           Meaning::Right),
        (  5.0,          None,          None,           Meaning::Tune(higher)),
        ( -5.0,          Some(false),   Some(true),     Meaning::Tune(lower)),
        (  5.0,          Some(true),    Some(false),    Meaning::Tune(higher)),
        (  5.0,          Some(true),    Some(true),     Meaning::False(higher)),
    ] {
        let mut listening = Listening::new(check(Kind::Octave, Letter::C, 4));
        let Asks::Together { higher: sound, .. } = *listening.check().asks() else { panic!("together") };
        let beats = sound.hz.raised_by(Cents(cents)).get() - sound.hz.get();
        listening.beats(beats, 0.05, |string| if string == lower { tuned_lower } else { tuned_higher });
        let outcome = listening.outcome().expect("an outcome");
        assert_eq!(outcome.meaning, means, "{cents}");
        assert!((outcome.off.0 - cents).abs() < 0.01, "{outcome:?}");
    }
}

#[test]
fn harmonics_and_discs_are_told_by_two_sounds() {
    for (kind, means) in [
        (Kind::Harmonic, Meaning::False(number(Letter::C, 4))),
        (Kind::Enharmonic, Meaning::Step(number(Letter::C, 4))),
    ] {
        let mut listening = Listening::new(check(kind, Letter::C, 4));
        let first = listening.next().expect("a sound").hz;
        listening.sound(first.raised_by(Cents(6.0)), |_| Some(true));
        assert!(listening.outcome().is_none(), "one sound is not enough");
        let second = listening.next().expect("another sound").hz;
        listening.sound(second, |_| Some(true));
        let outcome = listening.outcome().expect("an outcome").clone();
        assert!((outcome.off.0 + 6.0).abs() < 1e-6, "{outcome:?}");
        assert_eq!(outcome.meaning, means);
        // The next pluck begins anew.
        listening.sound(first, |_| Some(true));
        assert_eq!((listening.heard().len(), listening.outcome()), (1, None));
    }
}

#[test]
fn a_pedal_that_is_moved_on_the_way_and_another_string_are_told_apart() {
    let mut listening = Listening::new(check(Kind::Enharmonic, Letter::C, 4));
    let hz = listening.next().expect("a sound").hz;
    let heard = |listening: &mut Listening, cents: f64| {
        listening.sound(hz.raised_by(Cents(cents)), |_| None);
        listening.trouble()
    };
    assert_eq!(
        heard(&mut listening, -100.0),
        Some(Trouble::Semitones(number(Letter::C, 4)))
    );
    assert_eq!(heard(&mut listening, 340.0), Some(Trouble::Other));
    assert!(listening.heard().is_empty());
    assert_eq!(heard(&mut listening, 3.0), None);
}

#[test]
fn what_came_of_a_check_stands_until_the_next_one_begins() {
    let mut listening = Listening::new(check(Kind::Harmonic, Letter::C, 4));
    let first = listening.next().expect("a sound").hz;
    listening.sound(first, |_| None);
    let second = listening.next().expect("another sound").hz.raised_by(Cents(6.0));
    listening.sound(second, |_| None);
    let outcome = listening.outcome().cloned();
    assert!(outcome.is_some());
    // Something knocks, and a string that nobody asked for rings.
    listening.sound(first.raised_by(Cents(340.0)), |_| None);
    assert_eq!((listening.outcome(), listening.trouble()), (outcome.as_ref(), None));
    assert_eq!(listening.heard().len(), 2);
    listening.sound(first, |_| None);
    assert_eq!((listening.outcome(), listening.heard().len()), (None, 1));
}

#[test]
fn of_a_scale_the_string_that_stands_out_is_named() {
    let mut listening = Listening::new(check(Kind::Scale, Letter::C, 4));
    for place in 0..8 {
        let sound = *listening.next().expect("a sound");
        // The whole scale is 4 cents sharp, the E besides 7.
        let cents = if place == 2 { 11.0 } else { 4.0 };
        listening.sound(sound.hz.raised_by(Cents(cents)), |_| None);
    }
    let outcome = listening.outcome().expect("an outcome");
    assert_eq!(outcome.meaning, Meaning::StandsOut(number(Letter::E, 4)));
    assert!((outcome.off.0 - 7.0).abs() < 1e-6);
}

#[test]
fn where_no_string_answers_there_is_no_check() {
    let harp = harp();
    let top = StringNumber::new(1).expect("a number");
    let stiff = |_: Hz| 0.0;
    for kind in [Kind::Octave, Kind::Harmonic, Kind::Scale] {
        let none = Check::of(kind, top, &harp, &Tuning::default(), stiff);
        assert_eq!(none, Err(NoCheck::NoPartner), "{kind:?}");
    }
    let beyond = StringNumber::new(48).expect("a number");
    let none = Check::of(Kind::Octave, beyond, &harp, &Tuning::default(), stiff);
    assert_eq!(none, Err(NoCheck::NoString(beyond)));
}
