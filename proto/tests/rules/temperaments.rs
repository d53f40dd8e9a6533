//! All named temperaments, against published tables, closed forms and their definitions; and what they mean on a harp.

use consort_proto::harp_file::preset;
use consort_proto::target::Tuning;
use consort_proto::temperament::NotATemperament;
use consort_proto::{Accidental, Cents, HarpString, Letter, Note, Scheme, Setting, Temperament};

/// The notes from C up, for messages.
const NOTES: [&str; 12] = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B"];

fn offsets(scheme: Scheme) -> [f64; 12] {
    Temperament::named(scheme).offsets().map(|offset| offset.0)
}

/// The interval of a frequency ratio, in cents.
fn cents(ratio: f64) -> f64 {
    1200.0 * ratio.log2()
}

fn assert_close(found: &[f64], expected: &[f64], limit: f64, what: &str) {
    assert_eq!(found.len(), expected.len(), "{what}");
    for (place, (found, expected)) in found.iter().zip(expected).enumerate() {
        assert!(
            (found - expected).abs() <= limit,
            "{what}, {}: {found}, not {expected}",
            NOTES[place]
        );
    }
}

/// A public tuning list, 24 March 1998: offsets of Werckmeister III with A at 0, to 0.1 cent.
#[test]
fn werckmeister_three_agrees_with_its_published_offsets() {
    let published = [11.7, 2.0, 3.9, 5.9, 2.0, 9.8, 0.0, 7.8, 3.9, 0.0, 7.8, 3.9];
    assert_close(
        &offsets(Scheme::WerckmeisterThree),
        &published,
        0.05,
        "Werckmeister III",
    );
}

/// A harpsichord temperament table, offsets with A at 0, rounded to half or whole cents.
#[test]
#[rustfmt::skip]
fn three_temperaments_agree_with_a_harpsichord_table() {
    for (scheme, published) in [
        (Scheme::KirnbergerThree, [10.5, 0.5, 3.5, 4.5, -3.5, 8.5, 0.5, 7.0, 2.5, 0.0, 6.5, -1.5]),
        (Scheme::Kellner, [8.0, -1.5, 2.5, 2.5, -2.5, 6.0, -3.5, 5.5, 0.5, 0.0, 4.0, -1.0]),
        (Scheme::QuarterCommaMeantone, [10.0, -14.0, 3.0, 20.0, -3.0, 14.0, -10.0, 7.0, -17.0, 0.0, 17.0, -7.0]),
    ] {
        // Half a cent; the table cuts where it should round once, and has 20 for the 20.53 of the definition.
        assert_close(&offsets(scheme), &published, 0.53, scheme.word());
    }
}

/// A folk-harp page of diatonic meantone offsets with D at 0, C E F G A B, to half a cent.
#[test]
fn diatonic_meantone_agrees_with_a_folk_harp_table() {
    for (scheme, published) in [
        (Scheme::QuarterCommaMeantone, [7.0, -7.0, 10.5, 3.5, -3.5, -10.5]),
        (Scheme::SixthCommaMeantone, [3.0, -3.0, 5.0, 1.5, -1.5, -5.0]),
    ] {
        let found = offsets(scheme);
        let from_d = [0, 4, 5, 7, 9, 11].map(|place| found[place] - found[2]);
        for (found, published) in from_d.into_iter().zip(published) {
            assert!(
                (found - published).abs() <= 0.5,
                "{}: {found}, not {published}",
                scheme.word()
            );
        }
    }
}

/// A page of historical temperament charts after O. Jorgensen: the widest third of these is 21.51 cents wide of 5 to 4.
#[test]
fn the_widest_third_of_a_well_temperament_is_21_51_cents_wide() {
    for scheme in [
        Scheme::WerckmeisterThree,
        Scheme::KirnbergerTwo,
        Scheme::KirnbergerThree,
        Scheme::Vallotti,
        Scheme::YoungTwo,
    ] {
        let above_c = scheme.cents_above_c();
        let third = |low: usize| (above_c[(low + 4) % 12].0 - above_c[low].0).rem_euclid(1200.0) - cents(1.25);
        let widest = (0..12).map(third).fold(f64::MIN, f64::max);
        assert!((widest - 21.51).abs() < 0.005, "{}: {widest}", scheme.word());
    }
}

/// Computed from the definitions of the fifths (of the ratios, for just intonation): cents above C.
#[rustfmt::skip]
const ABOVE_C: [(Scheme, [f64; 12]); 13] = [
    (Scheme::Equal, [0.0000, 100.0000, 200.0000, 300.0000, 400.0000, 500.0000, 600.0000, 700.0000, 800.0000, 900.0000, 1000.0000, 1100.0000]),
    (Scheme::Pythagorean, [0.0000, 113.6850, 203.9100, 294.1350, 407.8200, 498.0450, 611.7300, 701.9550, 815.6400, 905.8650, 996.0900, 1109.7750]),
    (Scheme::QuarterCommaMeantone, [0.0000, 76.0490, 193.1569, 310.2647, 386.3137, 503.4216, 579.4706, 696.5784, 772.6274, 889.7353, 1006.8431, 1082.8921]),
    (Scheme::FifthCommaMeantone, [0.0000, 83.5762, 195.3075, 307.0388, 390.6150, 502.3463, 585.9225, 697.6537, 781.2299, 892.9612, 1004.6925, 1088.2687]),
    (Scheme::SixthCommaMeantone, [0.0000, 88.5943, 196.7412, 304.8881, 393.4825, 501.6294, 590.2237, 698.3706, 786.9650, 895.1119, 1003.2588, 1091.8531]),
    (Scheme::SixthPythagoreanMeantone, [0.0000, 86.3150, 196.0900, 305.8650, 392.1800, 501.9550, 588.2700, 698.0450, 784.3600, 894.1350, 1003.9100, 1090.2250]),
    (Scheme::WerckmeisterThree, [0.0000, 90.2250, 192.1800, 294.1350, 390.2250, 498.0450, 588.2700, 696.0900, 792.1800, 888.2700, 996.0900, 1092.1800]),
    (Scheme::KirnbergerTwo, [0.0000, 90.2250, 203.9100, 294.1350, 386.3137, 498.0450, 590.2237, 701.9550, 792.1800, 895.1119, 996.0900, 1088.2687]),
    (Scheme::KirnbergerThree, [0.0000, 90.2250, 193.1569, 294.1350, 386.3137, 498.0450, 590.2237, 696.5784, 792.1800, 889.7353, 996.0900, 1088.2687]),
    (Scheme::Vallotti, [0.0000, 94.1350, 196.0900, 298.0450, 392.1800, 501.9550, 592.1800, 698.0450, 796.0900, 894.1350, 1000.0000, 1090.2250]),
    (Scheme::YoungTwo, [0.0000, 90.2250, 196.0900, 294.1350, 392.1800, 498.0450, 588.2700, 698.0450, 792.1800, 894.1350, 996.0900, 1090.2250]),
    (Scheme::Kellner, [0.0000, 90.2250, 194.5260, 294.1350, 389.0520, 498.0450, 588.2700, 697.2630, 792.1800, 891.7890, 996.0900, 1091.0070]),
    (Scheme::JustOnC, [0.0000, 111.7313, 203.9100, 315.6413, 386.3137, 498.0450, 590.2237, 701.9550, 813.6863, 884.3587, 1017.5963, 1088.2687]),
];

/// Computed from the definitions: deviations from equal temperament with A at 0.
#[rustfmt::skip]
const FROM_EQUAL: [(Scheme, [f64; 12]); 13] = [
    (Scheme::Equal, [0.0000, 0.0000, 0.0000, 0.0000, 0.0000, 0.0000, 0.0000, 0.0000, 0.0000, 0.0000, 0.0000, 0.0000]),
    (Scheme::Pythagorean, [-5.8650, 7.8200, -1.9550, -11.7300, 1.9550, -7.8200, 5.8650, -3.9100, 9.7750, 0.0000, -9.7750, 3.9100]),
    (Scheme::QuarterCommaMeantone, [10.2647, -13.6863, 3.4216, 20.5294, -3.4216, 13.6863, -10.2647, 6.8431, -17.1079, 0.0000, 17.1079, -6.8431]),
    (Scheme::FifthCommaMeantone, [7.0388, -9.3850, 2.3463, 14.0775, -2.3463, 9.3850, -7.0388, 4.6925, -11.7313, 0.0000, 11.7313, -4.6925]),
    (Scheme::SixthCommaMeantone, [4.8881, -6.5175, 1.6294, 9.7763, -1.6294, 6.5175, -4.8881, 3.2588, -8.1469, 0.0000, 8.1469, -3.2588]),
    (Scheme::SixthPythagoreanMeantone, [5.8650, -7.8200, 1.9550, 11.7300, -1.9550, 7.8200, -5.8650, 3.9100, -9.7750, 0.0000, 9.7750, -3.9100]),
    (Scheme::WerckmeisterThree, [11.7300, 1.9550, 3.9100, 5.8650, 1.9550, 9.7750, 0.0000, 7.8200, 3.9100, 0.0000, 7.8200, 3.9100]),
    (Scheme::KirnbergerTwo, [4.8881, -4.8869, 8.7981, -0.9769, -8.7981, 2.9331, -4.8881, 6.8431, -2.9319, 0.0000, 0.9781, -6.8431]),
    (Scheme::KirnbergerThree, [10.2647, 0.4897, 3.4216, 4.3997, -3.4216, 8.3097, 0.4884, 6.8431, 2.4447, 0.0000, 6.3547, -1.4666]),
    (Scheme::Vallotti, [5.8650, 0.0000, 1.9550, 3.9100, -1.9550, 7.8200, -1.9550, 3.9100, 1.9550, 0.0000, 5.8650, -3.9100]),
    (Scheme::YoungTwo, [5.8650, -3.9100, 1.9550, 0.0000, -1.9550, 3.9100, -5.8650, 3.9100, -1.9550, 0.0000, 1.9550, -3.9100]),
    (Scheme::Kellner, [8.2110, -1.5640, 2.7370, 2.3460, -2.7370, 6.2560, -3.5190, 5.4740, 0.3910, 0.0000, 4.3010, -0.7820]),
    (Scheme::JustOnC, [15.6413, 27.3726, 19.5513, 31.2826, 1.9550, 13.6863, 5.8650, 17.5963, 29.3276, 0.0000, 33.2376, 3.9100]),
];

#[test]
fn every_named_temperament_has_the_cents_of_its_definition() {
    assert_eq!(ABOVE_C.map(|(scheme, _)| scheme), Scheme::ALL);
    for ((scheme, above_c), (_, from_equal)) in ABOVE_C.into_iter().zip(FROM_EQUAL) {
        let found = scheme.cents_above_c().map(|cents| cents.0);
        assert_close(&found, &above_c, 1e-4, scheme.word());
        assert_close(&offsets(scheme), &from_equal, 1e-4, scheme.word());
    }
}

/// Computed from the definitions: ratios to C where the temperament has them in closed form.
#[test]
fn closed_forms_agree_to_a_billionth_of_a_cent() {
    let (root, fourth_root) = (f64::sqrt, |x: f64| x.powf(0.25));
    let kirnberger = |d: f64, g: f64, a: f64| {
        let (ef, gs) = (32.0 / 27.0, 128.0 / 81.0);
        [
            1.0,
            256.0 / 243.0,
            d,
            ef,
            1.25,
            4.0 / 3.0,
            45.0 / 32.0,
            g,
            gs,
            a,
            16.0 / 9.0,
            15.0 / 8.0,
        ]
    };
    let werckmeister = [
        1.0,
        256.0 / 243.0,
        64.0 / 81.0 * root(2.0),
        32.0 / 27.0,
        256.0 / 243.0 * fourth_root(2.0),
        4.0 / 3.0,
        1024.0 / 729.0,
        8.0 / 9.0 * fourth_root(8.0),
        128.0 / 81.0,
        1024.0 / 729.0 * fourth_root(2.0),
        16.0 / 9.0,
        128.0 / 81.0 * fourth_root(2.0),
    ];
    let (fifth, whole_tone) = (fourth_root(5.0), root(5.0) / 2.0);
    for (scheme, ratios) in [
        (Scheme::WerckmeisterThree, werckmeister),
        (Scheme::KirnbergerTwo, kirnberger(9.0 / 8.0, 1.5, 0.75 * root(5.0))),
        (
            Scheme::KirnbergerThree,
            kirnberger(whole_tone, fifth, 5.0_f64.powf(0.75) / 2.0),
        ),
    ] {
        let found = scheme.cents_above_c().map(|cents| cents.0);
        assert_close(&found, &ratios.map(cents), 1e-9, scheme.word());
    }
}

/// Computed from the definition: twelve fifths up are seven octaves, so what they lack of pure is the Pythagorean comma.
#[test]
fn the_narrowings_of_the_twelve_fifths_sum_to_the_pythagorean_comma() {
    let comma = cents(531_441.0 / 524_288.0);
    assert!((comma - 23.460_010_384_6).abs() < 1e-9);
    for scheme in Scheme::ALL {
        let above_c = scheme.cents_above_c().map(|cents| cents.0);
        let narrowing = |low: usize| cents(1.5) - (above_c[(low + 7) % 12] - above_c[low]).rem_euclid(1200.0);
        let sum: f64 = (0..12).map(narrowing).sum();
        assert!((sum - comma).abs() < 1e-9, "{}: {sum}", scheme.word());
    }
}

/// Computed from the definitions: the narrowing of each fifth upward from the named note; only just intonation has none
/// prescribed.
#[test]
#[rustfmt::skip]
fn each_fifth_is_narrowed_as_defined() {
    const CIRCLE: [usize; 12] = [0, 7, 2, 9, 4, 11, 6, 1, 8, 3, 10, 5];
    let pythagorean = cents(531_441.0 / 524_288.0);
    let syntonic = cents(81.0 / 80.0);
    let schisma = pythagorean - syntonic;
    let meantone = |by: f64| std::array::from_fn(|place| if place == 8 { pythagorean - 11.0 * by } else { by });
    let (p4, p5, p6, s2, s4) = (pythagorean / 4.0, pythagorean / 5.0, pythagorean / 6.0, syntonic / 2.0, syntonic / 4.0);
    for (scheme, narrowings) in [
        //                            C-G  G-D  D-A  A-E  E-B  B-F# F#-C#    C#-G# G#-Eb Eb-Bb Bb-F F-C
        (Scheme::Equal,              [pythagorean / 12.0; 12]),
        (Scheme::Pythagorean,        meantone(0.0)),
        (Scheme::QuarterCommaMeantone, meantone(s4)),
        (Scheme::FifthCommaMeantone, meantone(syntonic / 5.0)),
        (Scheme::SixthCommaMeantone, meantone(syntonic / 6.0)),
        (Scheme::SixthPythagoreanMeantone, meantone(p6)),
        (Scheme::WerckmeisterThree,  [p4,  p4,  p4,  0.0, 0.0, p4,  0.0,     0.0,  0.0,  0.0,  0.0, 0.0]),
        (Scheme::KirnbergerTwo,      [0.0, 0.0, s2,  s2,  0.0, 0.0, schisma, 0.0,  0.0,  0.0,  0.0, 0.0]),
        (Scheme::KirnbergerThree,    [s4,  s4,  s4,  s4,  0.0, 0.0, schisma, 0.0,  0.0,  0.0,  0.0, 0.0]),
        (Scheme::Vallotti,           [p6,  p6,  p6,  p6,  p6,  0.0, 0.0,     0.0,  0.0,  0.0,  0.0, p6]),
        (Scheme::YoungTwo,           [p6,  p6,  p6,  p6,  p6,  p6,  0.0,     0.0,  0.0,  0.0,  0.0, 0.0]),
        (Scheme::Kellner,            [p5,  p5,  p5,  p5,  0.0, p5,  0.0,     0.0,  0.0,  0.0,  0.0, 0.0]),
    ] {
        let above_c = scheme.cents_above_c().map(|cents| cents.0);
        for (low, narrowing) in CIRCLE.into_iter().zip(narrowings) {
            let found = cents(1.5) - (above_c[(low + 7) % 12] - above_c[low]).rem_euclid(1200.0);
            assert!((found - narrowing).abs() < 1e-9, "{} from {}: {found}", scheme.word(), NOTES[low]);
        }
    }
}

/// The same public tuning list of 24 March 1998: Young's second is Vallotti's begun a fifth higher.
#[test]
fn young_two_is_vallotti_moved_up_a_fifth() {
    let (young, vallotti) = (Scheme::YoungTwo.cents_above_c(), Scheme::Vallotti.cents_above_c());
    let from_g: [f64; 12] = std::array::from_fn(|place| (young[(place + 7) % 12].0 - young[7].0).rem_euclid(1200.0));
    assert_close(&from_g, &vallotti.map(|cents| cents.0), 1e-9, "Young II from G");
}

#[test]
fn every_temperament_leaves_a_at_the_reference() {
    let a5 = Note::new(Letter::A, Accidental::Natural, 5);
    for scheme in Scheme::ALL {
        let tuning = Tuning {
            temperament: Temperament::named(scheme),
            ..Tuning::default()
        };
        assert!(
            (tuning.frequency(Note::A4).get() - 440.0).abs() < 1e-9,
            "{}",
            scheme.word()
        );
        assert!((tuning.frequency(a5).get() - 880.0).abs() < 1e-9, "{}", scheme.word());
    }
}

#[test]
fn own_offsets_are_anchored_at_a() {
    let given = [5.0, -3.0, 0.0, 1.5, -2.0, 7.0, 0.0, 2.0, -1.0, 4.0, 6.0, -4.0];
    let own = Temperament::own(&given).expect("a temperament");
    assert_close(
        &own.offsets().map(|offset| offset.0),
        &given.map(|offset| offset - 4.0),
        1e-12,
        "own",
    );
    assert_eq!(own.scheme(), None);
    let named = Temperament::named(Scheme::Vallotti);
    let moved = named.offsets().map(|offset| offset.0 + 11.0);
    let again = Temperament::own(&moved).expect("a temperament");
    assert_close(
        &again.offsets().map(|offset| offset.0),
        &offsets(Scheme::Vallotti),
        1e-12,
        "Vallotti",
    );
}

/// By definition: where Vallotti narrows the six fifths from F to B by a sixth of the comma each, the same six lie from G to
/// C sharp when it is at home on D.
#[test]
fn a_temperament_at_home_elsewhere_keeps_its_fifths_around_its_home() {
    let vallotti = Temperament::named(Scheme::Vallotti);
    let home = |note: &str| vallotti.at_home_on(note.parse().expect("a note"));
    let on_d = home("D4").expect("a temperament");
    let narrowed = |temperament: &Temperament| -> Vec<usize> {
        let fifth = |place: usize| temperament.offsets()[(place + 7) % 12].0 - temperament.offsets()[place].0;
        (0..12).filter(|&place| fifth(place) < -1.0).collect()
    };
    assert_eq!(narrowed(&vallotti), [0, 2, 4, 5, 7, 9], "from C, D, E, F, G and A");
    assert_eq!(narrowed(&on_d), [2, 4, 6, 7, 9, 11], "from D, E, F sharp, G, A and B");
    assert_eq!((on_d.scheme(), on_d.offsets()[9]), (None, Cents(0.0)));
    assert_eq!(home("C2"), Ok(vallotti), "at home on C it keeps its name");
}

#[test]
fn own_offsets_that_cannot_be_meant_are_refused_in_one_sentence() {
    let mut far = [0.0; 12];
    far[3] = 60.5;
    let mut none = [0.0; 12];
    none[0] = f64::NAN;
    for (given, sentence) in [
        (
            &far[..],
            "the offset 60.5 is out of range: own offsets lie within ±60 cents of the one for A, which is 0",
        ),
        (
            &none[..],
            "the offset NaN is out of range: own offsets lie within ±60 cents of the one for A, which is 0",
        ),
        (&[0.0; 11][..], "11 offsets given: twelve are needed, from C to B"),
    ] {
        let refusal: NotATemperament = Temperament::own(given).expect_err(sentence);
        assert_eq!(refusal.to_string(), sentence);
    }
}

#[test]
fn a_temperament_is_chosen_by_its_own_word_only() {
    for scheme in Scheme::ALL {
        assert_eq!(Scheme::from_word(scheme.word()), Some(scheme));
    }
    for word in ["", "Equal", "equal ", "werckmeister"] {
        assert_eq!(Scheme::from_word(word), None, "{word}");
    }
}

fn string(letter: Letter, octave: i8) -> HarpString {
    let harp = preset("pedal-47").expect("a preset");
    let number = harp.find(letter, octave).expect("a string");
    *harp.string(number).expect("a string")
}

/// Computed from the definition: quarter-comma meantone, A4 = 440 Hz, C major; how far each open string lies from the
/// equal-tempered flat of its letter.
#[test]
fn a_pedal_harp_in_meantone_is_exact_in_the_served_setting() {
    let tuning = Tuning {
        temperament: Temperament::named(Scheme::QuarterCommaMeantone),
        ..Tuning::default()
    };
    for (letter, from_equal) in [
        (Letter::C, 10.265),
        (Letter::D, 3.422),
        (Letter::E, -3.422),
        (Letter::F, 13.686),
        (Letter::G, 6.843),
        (Letter::A, 0.0),
        (Letter::B, -6.843),
    ] {
        let string = string(letter, 4);
        let flat = Tuning::default().frequency(Note::new(letter, Accidental::Flat, 4));
        let found = tuning.open_target(&string).cents_above(flat).0;
        assert!((found - from_equal).abs() < 6e-4, "{letter}: {found}");
        let natural = tuning.open_target(&string).raised_by(Cents(100.0));
        let wanted = tuning.frequency(Note::new(letter, Accidental::Natural, 4));
        assert!(
            natural.cents_above(wanted).0.abs() < 1e-9,
            "{letter} with its pedal in the middle"
        );
    }
}

/// Computed from the definition: a pedal always adds about 100 cents, the temperament's own chromatic semitone differs.
#[test]
fn after_moving_a_pedal_a_meantone_string_is_23_951_cents_sharp() {
    let tuning = Tuning {
        temperament: Temperament::named(Scheme::QuarterCommaMeantone),
        ..Tuning::default()
    };
    for letter in [Letter::C, Letter::F, Letter::G] {
        let sharp = tuning.open_target(&string(letter, 4)).raised_by(Cents(200.0));
        let wanted = tuning.frequency(Note::new(letter, Accidental::Sharp, 4));
        let found = sharp.cents_above(wanted).0;
        assert!((found - 23.951).abs() < 6e-4, "{letter}: {found}");
    }
}

/// Computed from the definition: only equal temperament makes the two spellings of a key on a pedal harp one pitch.
#[test]
fn the_served_setting_decides_which_spelling_is_exact() {
    let f_sharp_served = Tuning {
        temperament: Temperament::named(Scheme::QuarterCommaMeantone),
        setting: Setting::major(1).expect("G major"),
        ..Tuning::default()
    };
    let open = f_sharp_served.open_target(&string(Letter::F, 4));
    let wanted = f_sharp_served.frequency(Note::new(Letter::F, Accidental::Sharp, 4));
    assert!(open.raised_by(Cents(200.0)).cents_above(wanted).0.abs() < 1e-9);
    let f_natural = f_sharp_served.frequency(Note::new(Letter::F, Accidental::Natural, 4));
    assert!((open.raised_by(Cents(100.0)).cents_above(f_natural).0 + 23.951).abs() < 6e-4);
}

#[test]
fn a_temperament_is_written_as_a_word_or_as_twelve_numbers() {
    let read = |text: &str| text.parse::<Temperament>();
    assert_eq!(read("vallotti"), Ok(Temperament::named(Scheme::Vallotti)));
    let own = read("5.9 0 2 3.9 −2 7.8 -2 3.9 2 0 5.9 -3.9").expect("twelve numbers");
    assert_eq!((own.scheme(), own.offsets()[11].0), (None, -3.9));
    assert!(read("0,0,0,0,0,0,0,0,0,0,0,0").is_ok_and(|own| own.scheme().is_none()));
    for bad in ["", "loud", "0 1 2", "nan,0,0,0,0,0,0,0,0,0,0,0"] {
        assert!(read(bad).is_err(), "{bad}");
    }
    // What was typed is repeated, not what became of it.
    let far = read("99 0 0 0 0 0 0 0 0 20 0 0").expect_err("too far").to_string();
    assert!(far.contains("offset 99 ") && far.contains("which is 20"), "{far}");
}

/// A pure fifth is 701.955 cents, and Vallotti narrows six of them, F–C–G–D–A–E–B, by a sixth of the Pythagorean comma,
/// 23.460 cents (the numbers of `proto/src/temperament.rs`, rounded here to a hundredth).
#[test]
fn twelve_fifths_are_a_temperament_if_they_close_and_else_it_is_said_by_how_much_they_do_not() {
    let fifths = "698.05 698.05 698.05 698.05 698.05 701.96 701.96 701.96 701.96 701.95 701.95 698.05";
    let own: Temperament = fifths.parse().expect("they close");
    let named = Temperament::named(Scheme::Vallotti);
    for (typed, known) in own.offsets().iter().zip(named.offsets()) {
        assert!((typed.0 - known.0).abs() < 0.1, "{typed:?} {known:?}");
    }
    assert_eq!(own.scheme(), None);
    let why = |text: &str| text.parse::<Temperament>().expect_err(text).to_string();
    let pure = ["701.955"; 12].join(" ");
    assert!(
        why(&pure).contains("23.46 cents more than seven octaves"),
        "{}",
        why(&pure)
    );
    let narrow = ["697"; 12].join(", ");
    assert!(
        why(&narrow).contains("36 cents less than seven octaves"),
        "{}",
        why(&narrow)
    );
    let eleven = ["700"; 11].join(" ");
    assert!(why(&eleven).starts_with("11 fifths given"), "{}", why(&eleven));
    assert_eq!(
        ["700"; 12].join(" ").parse::<Temperament>().map(|own| *own.offsets()),
        Temperament::own(&[0.0; 12])
            .map(|own| *own.offsets())
            .map_err(Into::into)
    );
    // A circle that closes may still hold a fifth that puts a note beyond its neighbour.
    let wild = "780 780 780 640 640 640 700 700 700 640 700 700";
    assert!(!why(wild).is_empty());
}
