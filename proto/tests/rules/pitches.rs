//! Reference pitches and equal temperament, against the standard, published digits and the definitions.

use consort_proto::target::{ReferencePitch, Tuning};
use consort_proto::{Accidental, Hz, Letter, Note};

fn hz(hz: f64) -> Hz {
    Hz::new(hz).expect("a frequency")
}

/// Equal temperament, C major, from A4 at `a4` hertz.
fn equal(a4: f64) -> Tuning {
    Tuning {
        a4: ReferencePitch::new(a4).expect("a pitch"),
        ..Tuning::default()
    }
}

fn frequency(tuning: &Tuning, name: &str) -> f64 {
    tuning.frequency(name.parse().expect("a note")).get()
}

/// ISO 16:1975, *Acoustics — Standard tuning frequency*: A in the treble stave is 440 Hz, within 0.5 Hz; the cents of
/// 0.5 Hz are computed from the definition of the cent.
#[test]
fn unless_agreed_otherwise_a4_is_440_hz_and_half_a_hertz_is_two_cents() {
    assert_eq!(ReferencePitch::default().hz(), hz(440.0));
    assert_eq!(frequency(&Tuning::default(), "A4"), 440.0);
    for (heard, cents) in [(440.5, 1.9662), (439.5, -1.9684)] {
        let found = hz(heard).cents_above(hz(440.0)).0;
        assert!((found - cents).abs() < 5e-5, "{heard} Hz: {found}");
    }
}

/// OEIS A329207 (C4), A329213 (F♯4) and A329218 (B4): fundamental frequencies in twelve-tone equal temperament.
#[test]
fn octave_four_agrees_with_the_published_digits() {
    for (name, published, last_digit) in [
        ("C4", 261.6255653005, 1e-10),
        ("F#4", 369.99442271163, 1e-11),
        ("B4", 493.8833012561, 1e-10),
    ] {
        let found = frequency(&Tuning::default(), name);
        // Published digits are cut, not rounded.
        assert!(
            found >= published - 1e-12 && found < published + last_digit,
            "{name}: {found}"
        );
    }
}

const REFERENCES: [f64; 10] = [392.0, 415.0, 430.0, 435.0, 440.0, 441.0, 442.0, 443.0, 444.0, 466.0];

/// Computed from the definition: f = A4 · 2^(semitones / 12), one column per entry of [`REFERENCES`].
#[rustfmt::skip]
const OCTAVE_4: [(&str, [f64; 10]); 12] = [
    ("C4", [233.0846, 246.7605, 255.6795, 258.6525, 261.6256, 262.2202, 262.8148, 263.4094, 264.0040, 277.0853]),
    ("C#4", [246.9445, 261.4336, 270.8830, 274.0328, 277.1826, 277.8126, 278.4426, 279.0725, 279.7025, 293.5616]),
    ("D4", [261.6286, 276.9793, 286.9906, 290.3277, 293.6648, 294.3322, 294.9996, 295.6670, 296.3344, 311.0177]),
    ("Eb4", [277.1859, 293.4493, 304.0559, 307.5914, 311.1270, 311.8341, 312.5412, 313.2483, 313.9554, 329.5118]),
    ("E4", [293.6682, 310.8987, 322.1360, 325.8818, 329.6276, 330.3767, 331.1259, 331.8750, 332.6242, 349.1055]),
    ("F4", [311.1306, 329.3857, 341.2912, 345.2597, 349.2282, 350.0219, 350.8156, 351.6093, 352.4030, 369.8644]),
    ("F#4", [329.6314, 348.9720, 361.5855, 365.7899, 369.9944, 370.8353, 371.6762, 372.5171, 373.3580, 391.8577]),
    ("G4", [349.2323, 369.7230, 383.0864, 387.5409, 391.9954, 392.8863, 393.7772, 394.6681, 395.5590, 415.1588]),
    ("G#4", [369.9987, 391.7078, 405.8660, 410.5853, 415.3047, 416.2486, 417.1924, 418.1363, 419.0802, 439.8454]),
    ("A4", [392.0000, 415.0000, 430.0000, 435.0000, 440.0000, 441.0000, 442.0000, 443.0000, 444.0000, 466.0000]),
    ("Bb4", [415.3095, 439.6772, 455.5691, 460.8664, 466.1638, 467.2232, 468.2827, 469.3422, 470.4016, 493.7098]),
    ("B4", [440.0051, 465.8218, 482.6587, 488.2710, 493.8833, 495.0058, 496.1282, 497.2507, 498.3731, 523.0673]),
];

#[test]
fn octave_four_follows_every_reference_in_use() {
    for (name, row) in OCTAVE_4 {
        for (a4, computed) in REFERENCES.into_iter().zip(row) {
            let found = frequency(&equal(a4), name);
            assert!(
                (found - computed).abs() < 5.1e-5,
                "{name} at A4 = {a4}: {found}, not {computed}"
            );
        }
    }
}

/// Computed from the definitions: the cent, and tension proportional to the square of the frequency.
#[test]
fn a_moved_reference_moves_pitch_and_tension_as_defined() {
    for (a4, cents, tension_percent) in [
        (392.0, -199.9798, -20.628),
        (415.0, -101.2706, -11.041),
        (430.0, -39.8002, -4.494),
        (432.0, -31.7667, -3.603),
        (435.0, -19.7857, -2.260),
        (438.0, -7.8872, -0.907),
        (440.0, 0.0, 0.0),
        (441.0, 3.9302, 0.455),
        (442.0, 7.8514, 0.911),
        (443.0, 11.7638, 1.368),
        (444.0, 15.6674, 1.826),
        (445.0, 19.5622, 2.286),
        (465.0, 95.6726, 11.686),
        (466.0, 99.3917, 12.167),
    ] {
        let found = equal(a4).a4.hz().cents_above(ReferencePitch::default().hz());
        assert!((found.0 - cents).abs() < 5.1e-5, "{a4}: {found:?}");
        let ratio = hz(440.0).raised_by(found).get() / 440.0;
        assert!(
            ((ratio * ratio - 1.0) * 100.0 - tension_percent).abs() < 5.1e-4,
            "{a4}: {ratio}"
        );
    }
}

/// Computed from the definition; 415 and 466 Hz are close to a semitone from 440, yet not there.
#[test]
fn the_period_pitches_are_not_whole_semitones_away() {
    assert!((frequency(&Tuning::default(), "Ab4") - 415.3047).abs() < 5e-5);
    assert!((frequency(&Tuning::default(), "A#4") - 466.1638).abs() < 5e-5);
}

/// Computed from the definition: the mains and their harmonics, in countries with 50 and with 60 Hz, against the
/// nearest equal-tempered note at A4 = 440 Hz.
#[test]
fn mains_tones_lie_between_the_notes() {
    for (tone, name, note_hz, cents) in [
        (50.0, "G1", 48.9994, 35.00),
        (60.0, "B1", 61.7354, -49.36),
        (100.0, "G2", 97.9989, 35.00),
        (120.0, "B2", 123.4708, -49.36),
        (150.0, "D3", 146.8324, 36.95),
        (180.0, "F#3", 184.9972, -47.41),
        (200.0, "G3", 195.9977, 35.00),
        (240.0, "B3", 246.9417, -49.36),
        (250.0, "B3", 246.9417, 21.31),
        (300.0, "D4", 293.6648, 36.95),
    ] {
        let tuning = Tuning::default();
        assert!((frequency(&tuning, name) - note_hz).abs() < 5.1e-5, "{name}");
        let distance = |note: Note| hz(tone).cents_above(tuning.frequency(note)).0;
        let nearest = (1..=5)
            .flat_map(|octave| Letter::ALL.map(|letter| (letter, octave)))
            .flat_map(|(letter, octave)| {
                [Accidental::Natural, Accidental::Sharp].map(|accidental| Note::new(letter, accidental, octave))
            })
            .min_by(|&a, &b| distance(a).abs().total_cmp(&distance(b).abs()))
            .expect("a note");
        assert_eq!(
            nearest.pitch_class(),
            name.parse::<Note>().expect("a note").pitch_class(),
            "{tone} Hz"
        );
        assert!(
            (distance(nearest) - cents).abs() < 5.1e-3,
            "{tone} Hz: {}",
            distance(nearest)
        );
    }
}

#[test]
fn a_reference_that_no_harp_can_follow_is_refused_in_one_sentence() {
    let refusal = |text: &str| text.parse::<ReferencePitch>().expect_err(text).to_string();
    assert_eq!(
        refusal("220"),
        "A4 = 220 Hz is out of reach: harps are tuned to an A4 from 380 to 480 Hz"
    );
    assert_eq!(
        refusal("480.1"),
        "A4 = 480.1 Hz is out of reach: harps are tuned to an A4 from 380 to 480 Hz"
    );
    assert_eq!(
        refusal("NaN"),
        "“NaN” is not a pitch: give A4 in hertz, as in 442 or 440.5"
    );
    for (text, expected) in [("380", 380.0), (" 440.5 ", 440.5), ("480", 480.0)] {
        assert_eq!(text.parse::<ReferencePitch>().expect(text).hz(), hz(expected));
    }
}
