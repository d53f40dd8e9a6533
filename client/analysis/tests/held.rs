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
    match hear(&tone.sound(rate, 4.0), rate) {
        Held::Tone { hz, sigma, .. } => {
            let apart = 1200.0 * (hz.get() / tone.hz).log2();
            assert!(apart.abs() < within, "{apart} cents");
            assert!(
                apart.abs() < 3.0 * sigma.0,
                "{apart} cents, and the doubt is {}",
                sigma.0
            );
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

/// A piano's partials lie sharp of a multiple: the pitch is that of the first.
#[test]
fn a_piano_is_measured_by_its_lowest_partial() {
    let tone = Tone {
        hz: 440.7,
        partials: BOWED,
        stiffness: 4e-4,
        falls_s: 2.0,
        noise_db: 30.0,
        ..PLAIN
    };
    match hear(&tone.sound(48_000, 4.0), 48_000) {
        Held::Tone { hz, .. } => {
            let apart = 1200.0 * (hz.get() / tone.hz).log2();
            assert!(apart.abs() < 0.8, "{apart} cents");
        }
        other => panic!("{other:?}"),
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
