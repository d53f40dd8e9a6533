//! The A that is given near the leader's laptop is measured through its microphone, and proposed.

use std::f64::consts::TAU;

use consort_tests::process::{Folder, Program, path_of, run};
use serde_json::Value;

use crate::server::{PATIENCE, SoundServer};
use crate::station::{ATTEMPTS, write_mono};

/// What the wind player gives, in hertz.
const GIVEN: f64 = 442.6;
/// What a good ear hears no more, in cents.
const WITHIN_CENTS: f64 = 0.5;
/// A reed's partials over the first, as amplitudes: more in the second and third than in the first, an invented player's.
const REED: [f64; 6] = [0.5, 0.9, 1.0, 0.4, 0.25, 0.1];
/// Longer than is listened to, and short enough to be played again.
const LASTS_S: f64 = 12.0;

#[test]
fn an_a_that_sounds_at_the_leaders_microphone_is_proposed_and_agreed_on_by_her_alone() {
    let Some(server) = SoundServer::start("live-reference") else {
        return;
    };
    let given = server.folder.inside("given.wav");
    write_reed(&given);
    server.plug("room", 48_000);
    let session = Folder::new("live-reference-session");
    let data = session.inside("coordinator");
    let words = [
        "--listen",
        "127.0.0.1",
        "--port",
        "0",
        "--board-port",
        "0",
        "--control-port",
        "0",
    ];
    let mut coordinator = Program::spawn(
        server
            .command(path_of("consort-coordinator"))
            .args(["--data", &data, "--no-browser", "--no-discovery", "--json"])
            .args(["--microphone", "room.monitor"])
            .args(words),
    );
    let opened = coordinator.line(PATIENCE, |line| line.contains("\"open\""));
    assert!(opened.is_some(), "{}", coordinator.transcript());
    let of_session = |words: &[&str]| run("consort-coordinator", &[words, &["--data", &data]].concat());
    let status = || -> Value {
        let output = of_session(&["status", "--json"]);
        serde_json::from_slice(&output.stdout).expect("the status is JSON")
    };

    assert_eq!(status()["proposed_hz"], Value::Null);
    let mut proposed = f64::NAN;
    for _ in 0..ATTEMPTS {
        let words = ["--device=room", &given];
        let mut player = Program::spawn(server.command("paplay").args(words));
        let measured = of_session(&["measure"]);
        player.kill();
        proposed = status()["proposed_hz"].as_f64().unwrap_or(f64::NAN);
        if measured.status.success() && cents(proposed, GIVEN).abs() <= WITHIN_CENTS {
            break;
        }
    }
    assert!(
        cents(proposed, GIVEN).abs() <= WITHIN_CENTS,
        "{proposed} Hz is proposed"
    );
    assert_eq!(status()["pitch_hz"], 440.0, "nothing is agreed by itself");
    assert!(of_session(&["proposal", "now"]).status.success());
    let agreed = status();
    assert_eq!(agreed["pitch_hz"], 442.5, "to half a hertz");
    assert_eq!(agreed["proposed_hz"], Value::Null);
}

fn cents(hz: f64, above: f64) -> f64 {
    1200.0 * (hz / above).log2()
}

/// A reed's A with a little vibrato, which leaves its mean where it is, over the hiss of a room.
fn write_reed(file: &str) {
    let (mut phase, mut noise) = (0.0, 1_u32);
    let samples = (0..(LASTS_S * 48_000.0) as u32).map(|sample| {
        let seconds = f64::from(sample) / 48_000.0;
        let sways = 2.0 * (TAU * 5.0 * seconds).sin();
        phase += GIVEN * (sways / 1200.0).exp2() / 48_000.0;
        let tone: f64 = (1..)
            .zip(REED)
            .map(|(k, amplitude)| amplitude * (TAU * f64::from(k) * phase).sin())
            .sum();
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let hiss = f64::from(noise) / f64::from(u32::MAX) - 0.5;
        (3_000.0 * tone + 600.0 * hiss) as i16
    });
    write_mono(file, samples);
}
