//! What an opening says, as a harpist would check it: the plucks of the middle octave, and what is found.

use consort_proto::harp_file::preset;
use consort_proto::{Cents, Letter, Tuning, order};

use super::{PLUCKS, Plucked, What, observe};

/// Plucks the middle octave of a harp, from middle C down; each string sounds so many cents above its open target.
#[track_caller]
fn opening(preset_name: &str, above: [f64; PLUCKS]) -> super::Opening {
    let harp = preset(preset_name).expect("a preset");
    let tuning = Tuning::default();
    let strings = order::usual_order(&harp);
    let plucks: Vec<Plucked> = strings
        .iter()
        .zip(above)
        .map(|(&string, above)| Plucked {
            string,
            hz: tuning
                .open_target(harp.string(string).expect("a string"))
                .raised_by(Cents(above)),
        })
        .collect();
    observe(&harp, &tuning, &plucks)
}

/// The same, and what is found of it, likeliest first.
#[track_caller]
fn check(preset_name: &str, above: [f64; PLUCKS], expected: &[What]) {
    let opening = opening(preset_name, above);
    let found: Vec<&What> = opening.observations.iter().map(|seen| &seen.what).collect();
    assert_eq!(found, expected.iter().collect::<Vec<_>>(), "{opening:?}");
}

const fn pedal(letter: Letter, semitones: u8) -> What {
    What::Pedal { letter, semitones }
}

#[test]
#[rustfmt::skip]
fn a_harp_that_is_only_out_of_tune_gives_no_cause() {
    //                  C      B     A     G     F     E     D
    check("pedal-47", [  0.0,   0.0,  0.0,  0.0,  0.0,  0.0,  0.0], &[]);
    check("pedal-47", [-12.0,  -9.0, -4.0, -7.0,-15.0,-11.0, -8.0], &[]);
    check("pedal-47", [ 38.0,  41.0, 33.0, 40.0, 36.0, 44.0, 39.0], &[]);
    check("pedal-47", [ -3.0,   2.0,-41.0,  1.0,  5.0, -2.0,  3.0], &[]);
    check("lever-34", [ -3.0,   2.0,-41.0,  1.0,  5.0, -2.0,  3.0], &[]);
}

/// A pedal in natural raises its letter by a semitone, in sharp by two (common practice, no source).
#[test]
#[rustfmt::skip]
fn a_letter_that_is_a_semitone_or_two_high_has_its_pedal_there() {
    //                  C      B     A     G     F     E     D
    check("pedal-47", [ -4.0,  97.0, -2.0, -7.0,  1.0, -3.0, -5.0], &[pedal(Letter::B, 1)]);
    check("pedal-47", [ 35.0,  40.0, 38.0,239.0, 41.0, 36.0, 33.0], &[pedal(Letter::G, 2)]);
    let two = opening("pedal-47", [-4.0, 97.0, -2.0, -7.0, 103.0, -3.0, -5.0]);
    let letters: Vec<&What> = two.observations.iter().map(|seen| &seen.what).collect();
    assert!(letters.contains(&&pedal(Letter::B, 1)) && letters.contains(&&pedal(Letter::F, 1)), "{two:?}");
    assert_eq!(letters.len(), 2);
}

#[test]
fn all_letters_a_semitone_high_are_the_pedals_in_natural_though_the_harp_is_flat() {
    check(
        "pedal-47",
        [96.0, 97.0, 98.0, 93.0, 101.0, 97.0, 95.0],
        &[What::AllPedals],
    );
    check(
        "pedal-47",
        [66.0, 67.0, 68.0, 63.0, 71.0, 67.0, 65.0],
        &[What::AllPedals],
    );
}

#[test]
fn one_string_of_a_lever_harp_a_semitone_high_has_its_lever_up() {
    let harp = preset("lever-34").expect("a preset");
    let third = order::usual_order(&harp)[2];
    check(
        "lever-34",
        [3.0, -1.0, 104.0, 2.0, -4.0, 1.0, 0.0],
        &[What::Lever(third)],
    );
}

/// A lever harp in E flat has B, E and A flat as open strings; in C it has none, in A flat also the D (common practice).
#[test]
#[rustfmt::skip]
fn letters_that_are_off_as_another_key_would_have_them_are_another_open_tuning() {
    let tuning = |lower: &[Letter], higher: &[Letter]| What::OpenTuning { lower: lower.to_vec(), higher: higher.to_vec() };
    //                  C      B     A     G     F     E     D
    check("lever-34", [ -3.0, 101.0, 98.0,  1.0, -2.0,103.0,  2.0], &[tuning(&[], &[Letter::B, Letter::E, Letter::A])]);
    check("lever-34", [ -3.0,   1.0, -2.0,  1.0, -2.0,  3.0,-98.0], &[tuning(&[Letter::D], &[])]);
}

#[test]
fn a_string_where_nothing_puts_it_is_elsewhere() {
    let harp = preset("pedal-47").expect("a preset");
    let fourth = order::usual_order(&harp)[3];
    check(
        "pedal-47",
        [1.0, -2.0, 3.0, -160.0, 2.0, 0.0, -1.0],
        &[What::Elsewhere(fourth)],
    );
    check(
        "pedal-47",
        [160.0, -250.0, 40.0, -160.0, 340.0, -70.0, 150.0],
        &[What::AnotherHarp],
    );
}

#[test]
fn the_mean_is_that_of_the_strings_and_not_of_their_pedals() {
    let mean = opening("pedal-47", [-8.0, 92.0, -8.0, -9.0, -7.0, -8.0, -8.0]).mean;
    assert!((mean.0 + 8.0).abs() < 0.7, "{mean:?}");
}

#[test]
fn nothing_plucked_says_nothing() {
    let harp = preset("pedal-47").expect("a preset");
    let opening = observe(&harp, &Tuning::default(), &[]);
    assert_eq!(opening.observations, []);
    assert!(opening.mean.0.abs() < 1e-9);
}
