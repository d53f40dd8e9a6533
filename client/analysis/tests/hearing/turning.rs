//! A new string that was chosen by hand and is brought up pluck by pluck.

use consort_analysis::{Context, Heard};
use consort_proto::Cents;

use crate::listening::{concert_harp, hear};
use crate::sound::{Pluck, add_noise, add_tone, silence};

const RATE: u32 = 48_000;
const CHOSEN: u8 = 21;

fn in_hand() -> Context {
    let mut context = concert_harp();
    context.chosen = Some(CHOSEN);
    context
}

fn hertz(cents: f64) -> f64 {
    let target = concert_harp().string(CHOSEN).expect("a string").target;
    target.raised_by(Cents(cents)).get()
}

/// The tracks of the chosen string: when, seconds, and how far from its target, cents.
fn tracks(heard: &[Heard]) -> Vec<(f64, f64)> {
    let target = concert_harp().string(CHOSEN).expect("a string").target;
    let tracks = heard.iter().filter_map(|heard| match heard {
        Heard::Track(track) if track.string == CHOSEN => {
            Some((track.time.0 as f64 / f64::from(RATE), track.hz.cents_above(target).0))
        }
        _ => None,
    });
    tracks.collect()
}

/// A string with eight partials that is plucked at 0.5 s and turned up by a semitone a second from 0.8 s on.
fn turned(from_cents: f64, sound: &mut [f32]) {
    let mut phase = 0.0;
    for (n, sample) in sound.iter_mut().enumerate() {
        let since_s = n as f64 / f64::from(RATE) - 0.5;
        let cents = from_cents + 100.0 * (since_s - 0.3).clamp(0.0, 1.0);
        phase += std::f64::consts::TAU * hertz(cents) / f64::from(RATE);
        if since_s > 0.0 {
            let partials = (1..=8).map(|n| (f64::from(n) * phase).sin() / f64::from(n * n));
            *sample += (0.2 * (since_s / 0.0005).min(1.0) * (-since_s / 0.8).exp() * partials.sum::<f64>()) as f32;
        }
    }
}

/// Another string answers where this one was plucked, as loud as it is when it has been turned halfway.
#[test]
fn a_new_string_is_followed_away_from_what_answered_it() {
    for from_cents in [-1100.0, -700.0, -200.0] {
        let mut sound = silence(2.4, RATE);
        turned(from_cents, &mut sound);
        add_tone(&mut sound[RATE as usize..], RATE, hertz(from_cents), 0.08);
        add_noise(&mut sound, 1e-4, 3);
        let tracks = tracks(&hear(&sound, RATE, &in_hand(), 480));
        let late: Vec<_> = tracks.iter().filter(|(time_s, _)| *time_s > 1.2).collect();
        assert!(late.len() > 15, "{} tracks late, from {from_cents}", late.len());
        for &(time_s, cents) in late {
            let truth = from_cents + 100.0 * (time_s - 0.8).clamp(0.0, 1.0);
            assert!((cents - truth).abs() < 8.0, "{cents} instead of {truth} at {time_s} s");
        }
    }
}

/// While it is turned, the other string swells where it was plucked, as if it were plucked anew, and then a fourth above.
#[test]
fn what_swells_where_a_new_string_was_does_not_take_it_back() {
    for from_cents in [-1100.0, -700.0, -200.0] {
        let mut sound = silence(2.4, RATE);
        turned(from_cents, &mut sound);
        for (at_s, aside) in [(1.1, 0.0), (1.6, 500.0)] {
            let swell = Pluck {
                amplitude: 0.03,
                at_s: 0.0,
                ..Pluck::new(hertz(from_cents + aside))
            };
            let from = (at_s * f64::from(RATE)) as usize;
            let sounds = swell.alone(2.4 - at_s, RATE);
            for (sample, more) in sound[from..].iter_mut().zip(sounds) {
                *sample += more;
            }
        }
        add_noise(&mut sound, 1e-4, 5);
        let tracks = tracks(&hear(&sound, RATE, &in_hand(), 480));
        let late: Vec<_> = tracks.iter().filter(|(time_s, _)| *time_s > 1.2).collect();
        assert!(late.len() > 15, "{} tracks late, from {from_cents}", late.len());
        for &(time_s, cents) in late {
            let truth = from_cents + 100.0 * (time_s - 0.8).clamp(0.0, 1.0);
            assert!((cents - truth).abs() < 8.0, "{cents} instead of {truth} at {time_s} s");
        }
    }
}

/// It is damped, turned up in silence, and plucked anew: the tracks after that pluck tell where it is now, and none between
/// the places is told.
#[test]
fn a_string_that_was_raised_in_silence_is_heard_where_it_is_now() {
    for (before, after) in [(-310.0, -120.0), (-120.0, -60.0), (-420.0, 10.0)] {
        let mut sound = Pluck {
            at_s: 0.4,
            ..Pluck::new(hertz(before))
        }
        .alone(1.4, RATE);
        sound.extend(silence(0.8, RATE));
        let again = Pluck {
            at_s: 0.0,
            ..Pluck::new(hertz(after))
        };
        sound.extend(again.alone(1.5, RATE));
        add_noise(&mut sound, 1e-4, 4);
        let tracks = tracks(&hear(&sound, RATE, &in_hand(), 480));
        let last = tracks.last().expect("tracks").1;
        assert!((last - after).abs() < 3.0, "{last} instead of {after}");
        for (time_s, cents) in tracks {
            let is_there = (cents - before).abs() < 8.0 && time_s < 2.3 || (cents - after).abs() < 8.0 && time_s > 2.2;
            assert!(is_there, "{cents} at {time_s} s, from {before} to {after}");
        }
    }
}

/// A higher string that is plucked afterwards, and no octave of a place below its own, is not taken for the chosen one.
#[test]
fn a_chosen_string_that_was_damped_is_told_of_no_more() {
    let mut sound = Pluck {
        at_s: 0.4,
        ..Pluck::new(hertz(0.0))
    }
    .alone(1.4, RATE);
    sound.extend(silence(0.4, RATE));
    let tenth_above = Pluck {
        at_s: 0.0,
        ..Pluck::new(hertz(1500.0))
    };
    sound.extend(tenth_above.alone(1.5, RATE));
    add_noise(&mut sound, 1e-4, 6);
    let tracks = tracks(&hear(&sound, RATE, &in_hand(), 480));
    assert!(!tracks.is_empty());
    assert!(
        tracks.iter().all(|(time_s, cents)| *time_s < 1.6 && cents.abs() < 3.0),
        "{tracks:?}"
    );
}
