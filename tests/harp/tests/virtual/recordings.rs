//! Recorded voices sound exactly where they are wanted.

use std::f64::consts::TAU;
use std::path::Path;
use std::sync::Arc;

use consort_harp::{Condition, Library, Pluck, Stage, VirtualHarp, Voices};
use consort_proto::Tuning;

use crate::mirror::{RATE, cents, concert_harp, mean_hz, number, sound, stage};

fn library() -> Library {
    Library::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("../recordings")).expect("the recordings are there")
}

/// The truth of a resampled recording is the recording's own, times the ratio: what is played is measured as the
/// recording itself is, and must lie off its truth by as much.
#[test]
fn a_recorded_string_sounds_at_the_pitch_that_the_harp_gives_it() {
    let library = library();
    let stage = Stage {
        voices: Voices::Recorded(&library),
        ..stage()
    };
    for which in [9, 12, 16, 20, 24] {
        let condition = Condition {
            scatter_cents: 20.0,
            ..Condition::sound(u64::from(which))
        };
        let mut harp = VirtualHarp::new(&concert_harp(), &condition, stage);
        let note = concert_harp().string(number(which)).expect("a string").open;
        let recording = library.nearest(Tuning::default().frequency(note)).expect("a recording");
        let truth = harp.pluck(number(which), Pluck::ORDINARY).get();
        let off = |heard: &[f32], hz: f64| cents(mean_hz(heard, hz, 0.17, 1.5), hz);
        let played = off(&sound(&mut harp, 1.7), truth);
        let recorded = off(&recording.at(recording.hz, RATE, 1.7), recording.hz.get());
        assert!(
            (played - recorded).abs() < 0.1,
            "string {which}: {played} against {recorded} cents"
        );
        assert!(
            recorded.abs() < 2.0,
            "string {which}: its table is {recorded} cents off"
        );
    }
}

/// A pure tone as recording: what is resampled must come out at the ratio, to a hundredth of a cent, and unharmed.
#[test]
fn resampling_is_exact() {
    use consort_harp::recording::Recording;
    use consort_proto::Hz;
    let tone: Vec<f32> = (0..96_000)
        .map(|n| (TAU * 500.0 * f64::from(n) / 48_000.0).sin() as f32)
        .collect();
    let recording = Arc::new(Recording::of(tone, 48_000.0, Hz::new(500.0).expect("hertz"), 0.3));
    for wanted in [410.0, 499.0, 500.0, 531.7, 640.0] {
        let heard = recording.at(Hz::new(wanted).expect("hertz"), 48_000, 1.0);
        let found = mean_hz(&heard, wanted, 0.1, 0.9);
        assert!(cents(found, wanted).abs() < 0.01, "{found} for {wanted}");
        let power = heard[4_800..43_200].iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / 38_400.0;
        assert!(
            (power.sqrt() / 0.045 - 1.0).abs() < 0.01,
            "{wanted}: its level is {}",
            power.sqrt()
        );
    }
}
