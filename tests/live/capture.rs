//! What is played into an input arrives sample by sample, and is heard as from the file.

use std::time::Duration;

use consort_tests::process::{Program, path_of};

use crate::server::{PATIENCE, SoundServer};
use crate::station::{ATTEMPTS, alike, assert_hears, expect_input, from_file, hearing, next, read_wav, write_sound};

/// A low, a middle and a high string.
const STRINGS: [&str; 3] = ["clean-08-cb2.flac", "clean-22-cb4.flac", "clean-40-gb6.flac"];

#[test]
fn what_is_played_in_arrives_sample_by_sample_and_is_measured_as_from_the_file() {
    let Some(server) = SoundServer::start("live-capture") else {
        return;
    };
    let file = server.folder.inside("strings.wav");
    let played = write_sound(&file, &STRINGS);
    let wanted = from_file(&file);
    assert_eq!(wanted.len(), STRINGS.len(), "{wanted:?}");

    server.plug("harp", 48_000);
    let mut station = hearing(&server, "harp.monitor");
    expect_input(&mut station, "hears");
    expect_input(&mut station, "silent");
    // Whether all samples arrived, and whether the station heard the strings as from the file.
    let mut exact = (false, false);
    for attempt in 0..ATTEMPTS {
        let kept = server.folder.inside(&format!("kept-{attempt}.wav"));
        // The file lasts 8 s; the player takes a while to begin.
        let words = ["capture", &kept, "--input", "harp.monitor", "--seconds", "12"];
        let mut recorder = Program::spawn(server.command(path_of("consort-station")).args(words));
        std::thread::sleep(Duration::from_secs(1));
        server.play(&file, "harp");
        let heard = next(&mut station, STRINGS.len());
        let ended = recorder.wait(PATIENCE);
        assert!(
            ended.is_some_and(|status| status.success()),
            "{}",
            recorder.transcript()
        );
        exact = (holds(&read_wav(&kept), &played), alike(&heard, &wanted, 0.1));
        if exact == (true, true) {
            break;
        }
    }
    assert_eq!(exact, (true, true), "{}", station.transcript());
    assert_eq!(station.interrupt(PATIENCE).and_then(|status| status.code()), Some(0));
}

#[test]
fn another_rate_in_the_middle_changes_no_pitch() {
    let Some(server) = SoundServer::start("live-rate") else {
        return;
    };
    let file = server.folder.inside("strings.wav");
    write_sound(&file, &STRINGS);
    let wanted = from_file(&file);

    let plugged = server.plug("harp", 48_000);
    let mut station = hearing(&server, "harp.monitor");
    expect_input(&mut station, "hears");
    // The server changes over while the station goes on at the rate that it asked for.
    server.force_rate(44_100);
    assert_hears(&mut station, &server, (&file, "harp"), &wanted, 0.3);

    // The input comes back as one of another rate, and the station hears it at that rate.
    server.unplug(&plugged);
    expect_input(&mut station, "lost");
    server.plug("harp", 44_100);
    expect_input(&mut station, "hears");
    assert_hears(&mut station, &server, (&file, "harp"), &wanted, 0.3);
}

/// Whether `played` is in `kept`, sample by sample: 16-bit samples are exact as floating-point numbers.
fn holds(kept: &[f32], played: &[i16]) -> bool {
    let in_kept = kept.iter().position(|&sample| sample != 0.0);
    let in_played = played.iter().position(|&sample| sample != 0);
    let (Some(in_kept), Some(in_played)) = (in_kept, in_played) else {
        return false;
    };
    let wanted = played[in_played..].iter().map(|&sample| f32::from(sample) / 32_768.0);
    let kept = &kept[in_kept..];
    kept.len() >= wanted.len() && wanted.zip(kept).all(|(wanted, &kept)| wanted == kept)
}

#[test]
fn a_recording_holds_what_was_played_only_when_no_sample_is_missing() {
    let played = [0, 0, 5, -3, 0, 7];
    let at = |samples: &[i16]| -> Vec<f32> { samples.iter().map(|&s| f32::from(s) / 32_768.0).collect() };
    assert!(holds(&at(&[0, 5, -3, 0, 7, 0]), &played));
    assert!(!holds(&at(&[0, 5, -3, 7, 0, 0]), &played), "one is missing");
    assert!(!holds(&at(&[5, -3, 0]), &played), "it ends too early");
    assert!(!holds(&at(&[0; 9]), &played), "nothing arrived");
}
