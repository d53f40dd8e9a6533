//! An input of ALSA's own that reads from a file: no server, no clock, the same samples every time.

use std::path::Path;
use std::process::{Command, Output, Stdio};

use consort_tests::process::must_have;
use consort_tests::process::{Folder, path_of, say};

use crate::station::{read_wav, write_sound};

/// ALSA's own settings, without which none of its inputs has a name.
const SYSTEM_SETTINGS: &str = "/usr/share/alsa/alsa.conf";
/// Such an input does not wait for the clock: what the ring holds arrives for sure, and the rest as it comes.
const SECONDS: usize = 1;

/// Runs the station with the sound settings `alsa.conf` of `folder` and no sound server, until it ends.
fn station_on_alsa(folder: &Folder, words: &[&str]) -> Output {
    Command::new(path_of("consort-station"))
        .args(words)
        .env("ALSA_CONFIG_PATH", folder.inside("alsa.conf"))
        // No sound server is found in an empty folder.
        .env("XDG_RUNTIME_DIR", folder.path())
        .env("HOME", folder.path())
        .env_remove("PULSE_SERVER")
        .env_remove("PULSE_RUNTIME_PATH")
        .stdin(Stdio::null())
        .output()
        .expect("the station starts")
}

#[test]
fn an_input_without_a_clock_arrives_sample_by_sample() {
    if !Path::new(SYSTEM_SETTINGS).exists() {
        assert!(!must_have("sound"), "{SYSTEM_SETTINGS} is missing");
        say("skipped: ALSA's own settings are not installed here; `cargo verify` installs them");
        return;
    }
    let folder = Folder::new("live-alsa");
    let played = write_sound(
        &folder.inside("strings.wav"),
        &["clean-22-cb4.flac", "clean-40-gb6.flac"],
    );
    let sound: Vec<u8> = played
        .iter()
        .map(|&sample| f32::from(sample) / 32_768.0)
        .flat_map(|sample| [sample.to_le_bytes(), sample.to_le_bytes()].concat())
        .collect();
    std::fs::write(folder.inside("strings.raw"), sound).expect("files can be written");
    let settings = format!(
        "<{SYSTEM_SETTINGS}>\n\
         pcm.!default {{ type file slave.pcm \"null\" file \"/dev/null\" infile \"{}\" format \"raw\"\n\
         hint {{ show on description \"Test pickup\" }} }}\n",
        folder.inside("strings.raw")
    );
    std::fs::write(folder.inside("alsa.conf"), settings).expect("files can be written");

    let kept = folder.inside("kept.wav");
    let output = station_on_alsa(&folder, &["capture", &kept, "--seconds", &SECONDS.to_string()]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let wanted: Vec<f32> = played[..48_000 * SECONDS]
        .iter()
        .map(|&sample| f32::from(sample) / 32_768.0)
        .collect();
    assert!(
        wanted.iter().any(|&sample| sample.abs() > 0.01),
        "there is a pluck in it"
    );
    let kept = read_wav(&kept);
    let differs = kept.iter().zip(&wanted).position(|(kept, wanted)| kept != wanted);
    assert_eq!((kept.len(), differs), (wanted.len(), None));
}

/// A microphone that the system keeps to itself, or that is not there any more.
#[test]
fn an_input_that_is_refused_is_told_in_one_sentence_that_says_what_to_do() {
    let folder = Folder::new("live-refused");
    let settings = "pcm.!default { type hw card 9 hint { show on description \"Test pickup\" } }\n";
    std::fs::write(folder.inside("alsa.conf"), settings).expect("files can be written");
    let data = folder.inside("station");
    let output = station_on_alsa(&folder, &["--data", &data, "--no-discovery", "--no-browser"]);
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(!output.status.success(), "{said}");
    assert_eq!(said.lines().count(), 1, "{said}");
    assert!(said.contains("plug the pickup or microphone in"), "{said}");
}
