//! Beats of tempered intervals, against a published table and against the definition.

use consort_proto::beats::Interval;
use consort_proto::target::{ReferencePitch, Tuning};
use consort_proto::{Hz, Note, Scheme, Temperament};

/// The intervals of both tables, in the order of their columns, with their semitones.
const COLUMNS: [(Interval, i32); 6] = [
    (Interval::MINOR_THIRD, 3),
    (Interval::MAJOR_THIRD, 4),
    (Interval::FOURTH, 5),
    (Interval::FIFTH, 7),
    (Interval::MINOR_SIXTH, 8),
    (Interval::MAJOR_SIXTH, 9),
];

/// S. Teki et al., J. Neurosci. 32(35), 12251–12257 (2012), Table 1: beats per second without their sign, to one
/// decimal, lower notes from F3 up, at A4 = 440 Hz.
#[rustfmt::skip]
const PUBLISHED: [(&str, [Option<f64>; 6]); 11] = [
    ("F3", [Some(9.4), Some(6.9), Some(0.8), Some(0.6), Some(11.0), Some(7.9)]),
    ("F#3", [Some(10.0), Some(7.3), Some(0.8), Some(0.6), Some(11.7), Some(8.4)]),
    ("G3", [Some(10.6), Some(7.8), Some(0.9), Some(0.7), Some(12.3), Some(8.9)]),
    ("G#3", [Some(11.2), Some(8.2), Some(0.9), Some(0.7), Some(13.1), Some(9.4)]),
    ("A3", [Some(11.9), Some(8.7), Some(1.0), Some(0.7), Some(13.9), Some(10.0)]),
    ("Bb3", [Some(12.6), Some(9.2), Some(1.1), Some(0.8), Some(14.7), Some(10.6)]),
    ("B3", [Some(13.3), Some(9.8), Some(1.1), Some(0.8), Some(15.6), None]),
    ("C4", [Some(14.1), Some(10.4), Some(1.2), Some(0.9), None, None]),
    ("C#4", [None, Some(11.0), Some(1.3), None, None, None]),
    ("D4", [None, Some(11.7), Some(1.3), None, None, None]),
    ("Eb4", [None, Some(12.3), None, None, None, None]),
];

/// Computed from the definition: equal temperament, q·f_high − p·f_low, to four decimals; positive is wide.
#[rustfmt::skip]
const COMPUTED: [(&str, [f64; 6]); 13] = [
    ("F3", [-9.4230, 6.9294, 0.7892, -0.5912, -10.9998, 7.9237]),
    ("F#3", [-9.9833, 7.3415, 0.8361, -0.6264, -11.6539, 8.3949]),
    ("G3", [-10.5769, 7.7780, 0.8858, -0.6636, -12.3468, 8.8941]),
    ("G#3", [-11.2058, 8.2405, 0.9385, -0.7031, -13.0810, 9.4230]),
    ("A3", [-11.8722, 8.7305, 0.9943, -0.7449, -13.8588, 9.9833]),
    ("Bb3", [-12.5781, 9.2497, 1.0534, -0.7892, -14.6829, 10.5769]),
    ("B3", [-13.3261, 9.7997, 1.1161, -0.8361, -15.5560, 11.2058]),
    ("C4", [-14.1185, 10.3824, 1.1824, -0.8858, -16.4810, 11.8722]),
    ("C#4", [-14.9580, 10.9998, 1.2527, -0.9385, -17.4610, 12.5781]),
    ("D4", [-15.8475, 11.6539, 1.3272, -0.9943, -18.4993, 13.3261]),
    ("Eb4", [-16.7898, 12.3468, 1.4062, -1.0534, -19.5994, 14.1185]),
    ("E4", [-17.7882, 13.0810, 1.4898, -1.1161, -20.7648, 14.9580]),
    ("F4", [-18.8459, 13.8588, 1.5784, -1.1824, -21.9995, 15.8475]),
];

/// `tuning`'s frequency of `name`, and of the note `semitones` above it.
fn pair(tuning: &Tuning, name: &str, semitones: i32) -> (Hz, Hz) {
    let lower = tuning.frequency(name.parse::<Note>().expect("a note"));
    (
        lower,
        lower.raised_by(consort_proto::Cents(f64::from(semitones) * 100.0)),
    )
}

/// Beats per second of `interval` between two notes of `tuning`.
fn beats_in(tuning: &Tuning, interval: Interval, low: &str, high: &str) -> f64 {
    let frequency = |name: &str| tuning.frequency(name.parse().expect("a note"));
    interval.beats_per_second(frequency(low), frequency(high))
}

#[test]
fn all_fifty_published_beats_of_equal_temperament_are_met_to_their_last_digit() {
    let tuning = Tuning::default();
    let mut compared = 0;
    for (name, published) in PUBLISHED {
        for ((interval, semitones), published) in COLUMNS.into_iter().zip(published) {
            let Some(published) = published else { continue };
            let (lower, higher) = pair(&tuning, name, semitones);
            let beats = interval.beats_per_second(lower, higher).abs();
            // Half of the last printed digit, and a hair for values that lie just there.
            assert!(
                (beats - published).abs() < 0.0505,
                "{name} {interval:?}: {beats} and {published}"
            );
            compared += 1;
        }
    }
    assert_eq!(compared, 50);
}

#[test]
fn beats_agree_with_the_definition_to_four_decimals_and_wide_is_positive() {
    let tuning = Tuning::default();
    for (name, computed) in COMPUTED {
        for ((interval, semitones), computed) in COLUMNS.into_iter().zip(computed) {
            let (lower, higher) = pair(&tuning, name, semitones);
            let beats = interval.beats_per_second(lower, higher);
            assert!(
                (beats - computed).abs() < 6e-5,
                "{name} {interval:?}: {beats} and {computed}"
            );
        }
    }
}

/// Computed from the definition: every frequency scales with the reference, and so does every difference of two.
#[test]
fn beats_scale_with_the_reference_pitch() {
    for a4 in [392.0, 415.0, 430.0, 442.0, 443.0, 466.0] {
        let tuning = Tuning {
            a4: ReferencePitch::new(a4).expect("a pitch"),
            ..Tuning::default()
        };
        for (name, computed) in COMPUTED {
            for ((interval, semitones), computed) in COLUMNS.into_iter().zip(computed) {
                let (lower, higher) = pair(&tuning, name, semitones);
                let beats = interval.beats_per_second(lower, higher);
                assert!(
                    (beats - computed * a4 / 440.0).abs() < 6e-5 * 1.1,
                    "{name} {interval:?} at {a4}"
                );
            }
        }
    }
}

/// A university's piano workshop on equal temperament by ear: F3–A3 beats 7 times a second, A3–D4 once.
#[test]
fn the_thirds_and_fourths_that_tuners_count_are_met() {
    let tuning = Tuning::default();
    for (interval, low, high, taught) in [
        (Interval::MAJOR_THIRD, "F3", "A3", 7.0),
        (Interval::FOURTH, "A3", "D4", 1.0),
    ] {
        let beats = beats_in(&tuning, interval, low, high);
        assert!((beats - taught).abs() < 0.1, "{low}–{high}: {beats}");
    }
}

/// Computed from the definitions: what a temperament leaves pure is still, and what it tempers beats by its share.
#[test]
fn in_an_unequal_temperament_the_pure_intervals_do_not_beat() {
    let in_scheme = |scheme| Tuning {
        temperament: Temperament::named(scheme),
        ..Tuning::default()
    };
    for (scheme, interval, low, high) in [
        (Scheme::QuarterCommaMeantone, Interval::MAJOR_THIRD, "F3", "A3"),
        (Scheme::QuarterCommaMeantone, Interval::MAJOR_THIRD, "Eb4", "G4"),
        (Scheme::QuarterCommaMeantone, Interval::MINOR_SIXTH, "E3", "C4"),
        (Scheme::Pythagorean, Interval::FIFTH, "A3", "E4"),
        (Scheme::Pythagorean, Interval::FOURTH, "E3", "A3"),
        (Scheme::WerckmeisterThree, Interval::FIFTH, "A3", "E4"),
        (Scheme::KirnbergerThree, Interval::MAJOR_THIRD, "C4", "E4"),
        (Scheme::Vallotti, Interval::FIFTH, "B3", "F#4"),
        (Scheme::JustOnC, Interval::MINOR_THIRD, "E4", "G4"),
        (Scheme::JustOnC, Interval::MAJOR_SIXTH, "C4", "A4"),
    ] {
        let beats = beats_in(&in_scheme(scheme), interval, low, high);
        assert!(beats.abs() < 1e-9, "{scheme:?} {low}–{high}: {beats}");
    }
    // A fifth from A3 narrowed by c cents beats 660 · (2^(−c/1200) − 1) times a second at A4 = 440 Hz.
    let (pythagorean, syntonic) = (531_441.0 / 524_288.0_f64, 81.0 / 80.0_f64);
    for (scheme, narrowing) in [
        (Scheme::Equal, pythagorean.powf(1.0 / 12.0)),
        (Scheme::QuarterCommaMeantone, syntonic.powf(0.25)),
        (Scheme::Vallotti, pythagorean.powf(1.0 / 6.0)),
        (Scheme::KirnbergerTwo, syntonic.powf(0.5)),
    ] {
        let beats = beats_in(&in_scheme(scheme), Interval::FIFTH, "A3", "E4");
        assert!(
            (beats - 660.0 * (1.0 / narrowing - 1.0)).abs() < 1e-9,
            "{scheme:?}: {beats}"
        );
    }
}

/// Computed from the definition: two unison strings beat with the difference of their frequencies.
#[test]
fn pure_intervals_do_not_beat_and_unisons_beat_with_their_difference() {
    let a3 = Hz::new(220.0).expect("A3");
    for (interval, higher) in [
        (Interval::UNISON, 220.0),
        (Interval::MINOR_THIRD, 264.0),
        (Interval::MAJOR_THIRD, 275.0),
        (Interval::FOURTH, 880.0 / 3.0),
        (Interval::FIFTH, 330.0),
        (Interval::MINOR_SIXTH, 352.0),
        (Interval::MAJOR_SIXTH, 1100.0 / 3.0),
        (Interval::OCTAVE, 440.0),
    ] {
        let beats = interval.beats_per_second(a3, Hz::new(higher).expect("a pitch"));
        assert!(beats.abs() < 1e-9, "{interval:?}: {beats}");
    }
    for (mistuned, beats) in [(220.5, 0.5), (219.0, -1.0)] {
        let heard = Interval::UNISON.beats_per_second(a3, Hz::new(mistuned).expect("a pitch"));
        assert!((heard - beats).abs() < 1e-9, "{mistuned}: {heard}");
    }
}
