//! What must not change a reading: how the sound is cut into blocks, its gain, when it comes.

use consort_analysis::{Context, Heard};

use crate::listening::{concert_harp, hear, only_reading, readings};
use crate::sound::{Noise, Pluck, add_noise};

/// Two strings over noise, at this rate.
fn sound(rate: u32) -> Vec<f32> {
    let mut sound = Pluck::new(311.9).alone(2.6, rate);
    Pluck {
        at_s: 1.1,
        ..Pluck::new(61.5)
    }
    .play(&mut sound, rate);
    add_noise(&mut sound, 1e-3, 3);
    sound
}

#[test]
fn the_size_of_blocks_changes_nothing_at_all() {
    for rate in [16_000, 44_100, 48_000] {
        let sound = sound(rate);
        let whole = hear(&sound, rate, &concert_harp(), sound.len());
        assert!(whole.len() > 20, "{rate}");
        for block in [1, 7, 64, 441, 1000, 4096] {
            assert_eq!(
                whole,
                hear(&sound, rate, &concert_harp(), block),
                "blocks of {block} at {rate}"
            );
        }
    }
}

#[test]
fn gain_changes_the_level_only() {
    let pluck = Pluck::new(311.9).alone(2.0, 48_000);
    let (reference, _) = only_reading(&pluck, 48_000);
    for gain in [0.01, 0.1, 4.0] {
        let louder: Vec<f32> = pluck.iter().map(|x| x * gain).collect();
        let (reading, doubt) = only_reading(&louder, 48_000);
        assert_eq!((reading.string, doubt), (reference.string, None), "{gain}");
        assert!((reading.hz.get() - reference.hz.get()).abs() < 1e-4, "{gain}");
        let level = reading.level_dbfs - reference.level_dbfs;
        assert!(
            (level - 20.0 * f64::from(gain).log10()).abs() < 0.01,
            "{gain}: {level} dB"
        );
    }
}

/// A string of this frequency and amplitude that is plucked while another one rings: how much louder than alone it is told to be,
/// with all that sounds and by itself, decibels.
fn louder_beside(ringing: Pluck, hz: f64, amplitude: f64) -> (f64, f64) {
    let rate = 48_000;
    let pluck = Pluck {
        at_s: 1.4,
        amplitude,
        ..Pluck::new(hz)
    };
    let (alone, _) = only_reading(&pluck.alone(3.4, rate), rate);
    let mut sound = ringing.alone(3.4, rate);
    pluck.play(&mut sound, rate);
    let all = readings(&hear(&sound, rate, &concert_harp(), 480));
    let told = all.iter().find(|(reading, _)| reading.string == alone.string);
    let (reading, _) = told.expect("it is heard");
    (reading.level_dbfs - alone.level_dbfs, reading.own_dbfs - alone.own_dbfs)
}

#[test]
fn what_rings_on_bears_on_the_level_of_all_and_not_on_that_of_the_string_itself() {
    let low = Pluck::new(103.8);
    let (all, own) = louder_beside(low, 277.2, 0.07);
    assert!(all > 5.0 && own.abs() < 1.0, "a soft one: {all}, {own}");
    let (all, own) = louder_beside(low, 277.2, 0.4);
    assert!(all < 1.0 && own.abs() < 0.5, "one louder than what rings: {all}, {own}");
    // Where the string that rings hides its first partial: an octave below, softer.
    let soft = Pluck {
        amplitude: 0.1,
        ..Pluck::new(103.8)
    };
    let (all, own) = louder_beside(soft, 207.7, 0.2);
    assert!(all < 2.0 && own.abs() < 1.0, "an octave of it: {all}, {own}");
}

#[test]
fn a_pluck_reads_the_same_whenever_it_comes() {
    let mut noise = Noise(9);
    let (reference, _) = only_reading(&Pluck::new(311.9).alone(2.4, 48_000), 48_000);
    for _ in 0..6 {
        let at_s = 0.45 + 0.25 * noise.next().abs();
        let (reading, _) = only_reading(
            &Pluck {
                at_s,
                ..Pluck::new(311.9)
            }
            .alone(2.4, 48_000),
            48_000,
        );
        assert_eq!(reading.string, reference.string);
        assert!(
            reading.hz.cents_above(reference.hz).0.abs() < 0.02,
            "{at_s} s: {reading:?}"
        );
        let onset = reading.onset.0 as f64 / 48_000.0 - at_s;
        assert!(onset.abs() < 0.012, "{at_s} s: {onset}");
    }
}

/// A context set while a note sounds is for the next one.
#[test]
fn a_new_context_waits_for_the_next_onset() {
    let rate = consort_proto::SampleRate::STUDIO;
    let mut listener = consort_analysis::Listener::new(consort_analysis::Config {
        rate,
        ..consort_analysis::Config::default()
    });
    listener.set_context(&concert_harp());
    let sound = Pluck::new(311.9).alone(2.0, 48_000);
    listener.push(&sound[..30_000]);
    listener.set_context(&Context::new(&[]).expect("no strings"));
    listener.push(&sound[30_000..]);
    listener.finish();
    let settled =
        std::iter::from_fn(|| listener.poll()).any(|heard| matches!(heard, Heard::Settled(r) if r.string == 24));
    assert!(settled);
}
