//! What is wrong with an input is told, by what is heard of it and by its name; and nothing is told when all is well.

use std::sync::Arc;

use consort_proto::{SampleRate, Tuning, harp_file};
use consort_station::ear::{Ear, Expectation, Sensed};
use consort_station::sound::kind::Kind;
use consort_station::sound::recording::Recording;
use consort_station::sound::trouble::Trouble;
use consort_words::Words;

use crate::running::recordings;

/// Gives `sound` to an ear and notes each change of the gravest trouble.
fn told(kind: Kind, sound: &[f32]) -> Vec<Option<Trouble>> {
    let harp = Arc::new(harp_file::preset("pedal-47").expect("a preset"));
    let expectation = Expectation::alone(harp, Tuning::default());
    let mut ear = Ear::at_input(SampleRate::STUDIO, kind, expectation);
    let mut told = Vec::new();
    let mut note = |sensed| {
        if let Sensed::Input(trouble) = sensed {
            told.push(trouble);
        }
    };
    for block in sound.chunks(480) {
        ear.push(block, &mut note);
    }
    told
}

/// All recordings of a condition, one after another.
fn recorded(condition: &str) -> Vec<f32> {
    let mut sound = Vec::new();
    let mut paths: Vec<_> = std::fs::read_dir(recordings())
        .expect("recordings")
        .map(|entry| entry.expect("recording").path())
        .filter(|path| {
            let name = path.file_name().expect("name").to_string_lossy().into_owned();
            name.ends_with(".flac") && name.starts_with(&format!("{condition}-"))
        })
        .collect();
    paths.sort();
    assert!(!paths.is_empty(), "{condition}");
    for path in paths {
        let mut recording = Recording::open(&path).expect("recording");
        let mut block = Vec::new();
        while recording.next_block(&mut block) {
            sound.extend(&block);
        }
    }
    sound
}

#[test]
fn a_good_input_is_never_complained_of() {
    for condition in [
        "clean", "ring", "bed20", "bed10", "harp2", "weak", "contact", "wide", "wide10",
    ] {
        assert_eq!(told(Kind::Plain, &recorded(condition)), [], "{condition}");
    }
}

#[test]
fn a_run_of_strings_is_not_a_loud_room() {
    // Four strings a second, each ringing on under the next seven.
    let strings = recorded("clean");
    let strings: Vec<&[f32]> = strings.chunks(96_000).collect();
    let mut run = vec![0.0; 12_000 * (strings.len() + 8)];
    for (place, string) in strings.iter().enumerate() {
        for (n, (to, from)) in run[12_000 * place..].iter_mut().zip(*string).enumerate() {
            // The next seven sound by then, and no edge is heard.
            *to += from * (1.0 - n as f32 / string.len() as f32);
        }
    }
    assert_eq!(told(Kind::Plain, &run), []);
}

#[test]
fn a_room_as_loud_as_the_strings_is_told_and_taken_back_when_it_is_quiet() {
    let loud = recorded("bed3");
    assert_eq!(told(Kind::Plain, &loud), [Some(Trouble::LoudRoom)]);
    let then_quiet = [loud, recorded("clean")].concat();
    assert_eq!(told(Kind::Plain, &then_quiet), [Some(Trouble::LoudRoom), None]);
}

/// Automatic gain as speech settings have it: down within 10 ms, up by `up_db_s`, towards −20 dBFS.
fn levelled(sound: &[f32], up_db_s: f64) -> Vec<f32> {
    let (mut level, mut gain_db) = (0.0_f64, 0.0_f64);
    let release = 1.0 - (-1.0 / (0.05 * 48_000.0_f64)).exp();
    sound
        .iter()
        .map(|&sample| {
            let size = f64::from(sample).abs();
            level += (size - level) * if size > level { 0.01 } else { release };
            let wanted = (-20.0 - 20.0 * (level + 1e-6).log10()).min(40.0);
            gain_db += (wanted - gain_db).clamp(-0.05, up_db_s / 48_000.0);
            (f64::from(sample) * 10.0_f64.powf(gain_db / 20.0)).clamp(-1.0, 1.0) as f32
        })
        .collect()
}

#[test]
fn a_level_that_is_turned_up_while_strings_die_away_is_told() {
    for up_db_s in [20.0, 60.0] {
        let sound = levelled(&recorded("clean"), up_db_s);
        assert_eq!(
            told(Kind::Plain, &sound).first(),
            Some(&Some(Trouble::Levelled)),
            "{up_db_s} dB a second"
        );
    }
}

#[test]
fn sound_that_is_cut_off_into_nothing_is_told() {
    // A suppressor takes the steady string for noise half a second after the pluck.
    let mut sound = recorded("clean");
    for string in sound.chunks_mut(96_000) {
        string[..14_000].fill(0.0);
        string[40_000..].fill(0.0);
    }
    assert!(told(Kind::Plain, &sound).contains(&Some(Trouble::Suppressed)));
}

#[test]
fn strings_that_die_away_into_the_last_bit_are_not_cut_off() {
    // A quiet pickup at 16 bits, whose hiss is below the last bit.
    let mut sound = Vec::new();
    for _ in 0..8 {
        let string = (0..96_000).map(|n| {
            let t = f64::from(n) / 48_000.0;
            let tone = 0.1 * (std::f64::consts::TAU * 246.94 * t).sin() * (-5.0 * t).exp();
            ((tone * 32_768.0).round() / 32_768.0) as f32
        });
        sound.extend(string);
    }
    assert_eq!(told(Kind::Plain, &sound), []);
}

#[test]
fn nothing_too_much_and_hum_are_told_by_ear_and_a_headset_by_its_name() {
    let tone = |hz: f64, size: f64| -> Vec<f32> {
        (0..144_000)
            .map(|n| (size * (std::f64::consts::TAU * hz * f64::from(n) / 48_000.0).sin()).clamp(-1.0, 1.0) as f32)
            .collect()
    };
    #[rustfmt::skip]
    let table = [
        (Kind::Plain,    vec![0.0; 144_000],  vec![Some(Trouble::Silent)]),
        (Kind::Plain,    tone(440.0, 3.0),    vec![Some(Trouble::Clipped)]),
        (Kind::Plain,    tone(50.0, 0.1),     vec![Some(Trouble::Humming(50))]),
        (Kind::Headset,  tone(440.0, 0.1),    vec![Some(Trouble::Headset)]),
        (Kind::BuiltIn,  tone(440.0, 0.1),    vec![Some(Trouble::BuiltIn)]),
        (Kind::Playback, tone(440.0, 0.1),    vec![Some(Trouble::Playback)]),
        // What is heard counts for more than what it is called.
        (Kind::Headset,  vec![0.0; 144_000],  vec![Some(Trouble::Headset), Some(Trouble::Silent)]),
    ];
    for (kind, sound, wanted) in table {
        assert_eq!(told(kind, &sound), wanted, "{kind:?}");
    }
}

#[test]
fn every_trouble_says_what_to_do() {
    let words = Words::english();
    for trouble in [
        Trouble::Silent,
        Trouble::Clipped,
        Trouble::Humming(50),
        Trouble::Headset,
        Trouble::Playback,
        Trouble::Suppressed,
        Trouble::Levelled,
        Trouble::LoudRoom,
        Trouble::BuiltIn,
    ] {
        let sentence = trouble.sentence(&words);
        // What is so, and what to do about it.
        assert!(sentence.matches(". ").count() + sentence.matches("? ").count() <= 1);
        assert!(sentence.ends_with(['.', '?']) && sentence.len() > 40, "{sentence}");
        assert!(!trouble.word().contains(' '));
    }
}
