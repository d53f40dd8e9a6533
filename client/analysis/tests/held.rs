//! Held tones, as an oboe, a violin, a fork or a piano gives them, made here with a pitch that is known exactly.

use std::f64::consts::TAU;

use consort_analysis::{Held, HeldTone};
use consort_proto::{Hz, SampleRate};

/// Noise that is the same in every run (a linear congruential generator), even between −1 and 1.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        (self.0 >> 33) as f64 / f64::from(1_u32 << 30) - 1.0
    }
}

/// How a tone is made.
struct Tone {
    hz: f64,
    /// Strength of each partial.
    partials: &'static [f64],
    /// Vibrato, cents either way and times in a second.
    vibrato: (f64, f64),
    /// Stiffness of a string: partial n lies at n·f·√(1 + B·n²).
    stiffness: f64,
    /// Time in which it falls to 1/e, seconds.
    falls_s: f64,
    /// The noise's level below the tone, decibels.
    noise_db: f64,
}

const PLAIN: Tone = Tone {
    hz: 442.0,
    partials: &[1.0],
    vibrato: (0.0, 0.0),
    stiffness: 0.0,
    falls_s: f64::INFINITY,
    noise_db: 60.0,
};
/// A reed's partials are stronger than its first (strengths assumed).
const REED: &[f64] = &[0.4, 1.0, 0.9, 0.5, 0.4, 0.2];
const BOWED: &[f64] = &[1.0, 0.6, 0.5, 0.3, 0.25, 0.15];

impl Tone {
    fn sound(&self, rate: u32, seconds: f64) -> Vec<f32> {
        let rate = f64::from(rate);
        let mut noise = Noise(7);
        let mut phase = 0.0;
        let power: f64 = self.partials.iter().map(|strength| strength * strength / 2.0).sum();
        // Even noise between −1 and 1 has a third of its square as power.
        let noise_gain = (3.0 * power * 10_f64.powf(-self.noise_db / 10.0)).sqrt();
        (0..(seconds * rate) as usize)
            .map(|n| {
                let time = n as f64 / rate;
                let (wide, often) = self.vibrato;
                let hz = self.hz * (wide / 1200.0 * (TAU * often * time).sin()).exp2();
                phase += TAU * hz / rate;
                let tone: f64 = (1_i32..)
                    .zip(self.partials)
                    .map(|(number, strength)| {
                        let number = f64::from(number);
                        let stretch = ((1.0 + self.stiffness * number * number) / (1.0 + self.stiffness)).sqrt();
                        strength * (phase * number * stretch).sin()
                    })
                    .sum();
                (0.1 * (tone * (-time / self.falls_s).exp() + noise_gain * noise.next())) as f32
            })
            .collect()
    }
}

/// Adds `more` to `sound` from `at_s` on.
fn mix(sound: &mut [f32], more: &[f32], at_s: f64, rate: u32) {
    for (sample, more) in sound.iter_mut().skip((at_s * f64::from(rate)) as usize).zip(more) {
        *sample += more;
    }
}

fn hear(sound: &[f32], rate: u32) -> Held {
    let rate = SampleRate::new(rate).expect("a rate");
    let mut held = HeldTone::new(rate, Hz::new(440.0).expect("hertz"));
    for block in sound.chunks(480) {
        held.push(block);
    }
    held.held()
}

/// Hears the tone; it must lie within so many cents of where it was made, and know its own doubt.
#[track_caller]
fn check(tone: &Tone, rate: u32, within: f64) {
    check_sound(&tone.sound(rate, 4.0), rate, tone.hz, within);
}

/// Hears what is to be a tone of so many hertz; returns how doubtful it was, cents.
#[track_caller]
fn check_sound(sound: &[f32], rate: u32, truth: f64, within: f64) -> f64 {
    match hear(sound, rate) {
        Held::Tone { hz, sigma, .. } => {
            let apart = 1200.0 * (hz.get() / truth).log2();
            assert!(apart.abs() < within, "{apart} cents");
            assert!(
                apart.abs() < 3.0 * sigma.0,
                "{apart} cents, and the doubt is {}",
                sigma.0
            );
            sigma.0
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_fork_is_measured_to_a_tenth_of_a_cent_at_every_rate() {
    for rate in [16_000, 44_100, 48_000, 96_000] {
        for hz in [430.0, 439.63, 440.0, 442.0, 446.1] {
            check(&Tone { hz, ..PLAIN }, rate, 0.1);
        }
    }
}

#[test]
fn an_oboe_in_a_noisy_room_is_measured_to_half_a_cent() {
    for hz in [438.2, 441.0, 443.7] {
        let tone = Tone {
            hz,
            partials: REED,
            noise_db: 10.0,
            ..PLAIN
        };
        check(&tone, 48_000, 0.5);
    }
}

#[test]
fn vibrato_is_measured_in_its_middle() {
    for often in [4.7, 5.5, 6.3] {
        let tone = Tone {
            hz: 441.3,
            partials: BOWED,
            vibrato: (20.0, often),
            noise_db: 20.0,
            ..PLAIN
        };
        check(&tone, 48_000, 1.5);
    }
}

/// A piano's partials lie sharp of a multiple: the pitch is that of the first, also where others are louder.
#[test]
fn a_piano_is_measured_by_its_first_partial() {
    for (partials, within) in [(BOWED, 0.1), (REED, 0.3)] {
        for (stiffness, noise_db) in [(2e-4, 30.0), (4e-4, 20.0), (8e-4, 30.0)] {
            let tone = Tone {
                hz: 440.7,
                partials,
                stiffness,
                falls_s: 1.2,
                noise_db,
                ..PLAIN
            };
            check(&tone, 48_000, within);
        }
    }
}

/// What a fork or a string gives is loudest at first, and drowns in the end.
#[test]
fn a_tone_that_dies_is_measured_while_it_was_loud() {
    let rate = 48_000;
    for (partials, falls_s) in [(&[1.0][..], 1.5), (BOWED, 0.8)] {
        let tone = Tone {
            hz: 441.9,
            partials,
            stiffness: 5e-4,
            falls_s,
            noise_db: 15.0,
            ..PLAIN
        };
        // Its first partial is in the end 20 to 40 dB below the noise.
        check_sound(&tone.sound(rate, 6.0), rate, tone.hz, 0.2);
    }
}

#[test]
fn a_tone_that_has_ended_is_told_for_some_seconds_with_more_and_more_doubt() {
    let (rate, tone) = (48_000, Tone { hz: 438.8, ..PLAIN });
    let heard = |silence_s: f64| {
        let mut sound = tone.sound(rate, 4.0);
        sound.resize(sound.len() + (silence_s * f64::from(rate)) as usize, 0.0);
        sound
    };
    let now = check_sound(&heard(0.0), rate, tone.hz, 0.1);
    let later = check_sound(&heard(3.0), rate, tone.hz, 0.1);
    assert!(later > now + 0.1, "{now} and {later} cents");
    assert_eq!(hear(&heard(8.0), rate), Held::Nothing);
}

#[test]
fn a_note_that_replaces_the_tone_is_told_once_it_is_held_and_not_before() {
    let (rate, tone) = (48_000, Tone { hz: 441.0, ..PLAIN });
    let other = Tone {
        hz: 466.2,
        partials: BOWED,
        ..PLAIN
    };
    let heard = |other_s: f64| {
        let mut sound = tone.sound(rate, 4.0);
        sound.extend(other.sound(rate, other_s));
        hear(&sound, rate)
    };
    for other_s in [0.3, 1.0, 1.5] {
        match heard(other_s) {
            Held::Tone { hz, .. } => assert!((1200.0 * (hz.get() / tone.hz).log2()).abs() < 0.2, "{hz:?}"),
            other => panic!("{other:?}"),
        }
    }
    assert!(matches!(heard(3.0), Held::Elsewhere(_)));
}

/// Somebody plays the octave for a moment, and somebody else holds a note that has the third partial nearly in common.
#[test]
fn a_partial_that_disagrees_with_the_others_counts_little() {
    let rate = 48_000;
    let tone = Tone {
        hz: 439.1,
        partials: REED,
        ..PLAIN
    };
    let mut sound = tone.sound(rate, 5.0);
    let octave = Tone {
        hz: 2.0 * tone.hz * 1.008,
        ..PLAIN
    };
    mix(&mut sound, &octave.sound(rate, 0.8), 2.2, rate);
    let twelfth = Tone {
        hz: 3.0 * tone.hz * 1.004,
        ..PLAIN
    };
    mix(&mut sound, &twelfth.sound(rate, 5.0), 0.0, rate);
    check_sound(&sound, rate, tone.hz, 0.5);
}

/// Notes of half a second and of a second, the A among them, as an orchestra that warms up plays them.
#[test]
fn notes_that_nobody_holds_are_nothing() {
    let rate = 48_000;
    for note_s in [0.5, 0.9] {
        let notes = [392.0, 440.0, 493.9, 523.3, 440.0, 392.0, 349.2, 392.0, 440.0, 415.3];
        let sound: Vec<f32> = notes
            .iter()
            .flat_map(|hz| {
                let note = Tone {
                    hz: *hz,
                    partials: BOWED,
                    ..PLAIN
                };
                note.sound(rate, note_s)
            })
            .collect();
        for heard_s in 3..5 {
            assert_eq!(
                hear(&sound[..heard_s * rate as usize], rate),
                Held::Nothing,
                "{note_s} s"
            );
        }
    }
}

#[test]
fn a_note_that_is_no_a_is_said_to_be_elsewhere() {
    for hz in [466.2, 415.3, 392.0] {
        let tone = Tone {
            hz,
            partials: BOWED,
            noise_db: 20.0,
            ..PLAIN
        };
        match hear(&tone.sound(48_000, 4.0), 48_000) {
            Held::Elsewhere(found) => assert!((1200.0 * (found.get() / hz).log2()).abs() < 2.0, "{found:?}"),
            other => panic!("{hz} Hz: {other:?}"),
        }
    }
}

#[test]
fn silence_noise_what_is_no_number_and_a_tone_that_only_began_hold_nothing() {
    assert_eq!(hear(&[0.0; 192_000], 48_000), Held::Nothing);
    let mut noise = Noise(3);
    let hiss: Vec<f32> = (0..192_000).map(|_| (0.3 * noise.next()) as f32).collect();
    assert_eq!(hear(&hiss, 48_000), Held::Nothing);
    let broken: Vec<f32> = (0..192_000)
        .map(|n| [f32::NAN, f32::INFINITY, -1e30, 0.0][n % 4])
        .collect();
    assert!(!matches!(hear(&broken, 48_000), Held::Tone { .. }));
    assert_eq!(hear(&PLAIN.sound(48_000, 1.5), 48_000), Held::Nothing);
}
