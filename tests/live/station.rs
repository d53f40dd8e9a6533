//! A station at one input, and what it says of it.

use std::path::Path;
use std::time::Duration;

use consort_tests::process::{Folder, Program, path_of};
use serde_json::Value;

use crate::server::{PATIENCE, SoundServer};

/// A pluck that was settled, as the station prints it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Pluck {
    pub(crate) string: u64,
    pub(crate) hz: f64,
}

/// So many attempts are made where sound can be lost on a busy machine.
pub(crate) const ATTEMPTS: usize = 6;
/// What was played has been heard by then, or will not be.
const SOON: Duration = Duration::from_secs(10);
/// What keeps a station of these tests to itself.
const ALONE: [&str; 5] = ["--json", "--no-discovery", "--no-browser", "--desk-port", "0"];

/// Starts a station that hears `input`, with its data in the server's own folder.
pub(crate) fn hearing(server: &SoundServer, input: &str) -> Program {
    let data = server.folder.inside("station");
    Program::spawn(
        server
            .command(path_of("consort-station"))
            .args(["--data", &data, "--input", input])
            .args(ALONE),
    )
}

/// The plucks that a station hears in `file`, read as a file.
#[track_caller]
pub(crate) fn from_file(file: &str) -> Vec<Pluck> {
    let folder = Folder::new("from-file");
    let data = folder.inside("station");
    let mut station = Program::start(
        "consort-station",
        &[&ALONE[..], &["--data", &data, "--fast", "--until-end", "--input", file]].concat(),
    );
    let mut plucks = Vec::new();
    while let Some((_, line)) = station.line(PATIENCE, |_| true) {
        plucks.extend(pluck(&line));
    }
    plucks
}

/// Plays `file` into `name` until the station hears in it what is `wanted`, within so many cents.
///
/// A machine that is busy with other things loses a block of sound now and then; so many times in a row it does not.
#[track_caller]
pub(crate) fn assert_hears(
    station: &mut Program,
    server: &SoundServer,
    (file, name): (&str, &str),
    wanted: &[Pluck],
    within_cents: f64,
) {
    let mut heard = Vec::new();
    for _ in 0..ATTEMPTS {
        server.play(file, name);
        heard = next(station, wanted.len());
        if alike(&heard, wanted, within_cents) {
            return;
        }
    }
    panic!(
        "{heard:?} is heard and not {wanted:?}, or not within {within_cents} cents\n{}",
        station.transcript()
    );
}

/// The next `count` plucks of a station, or as many as come soon after their sound.
pub(crate) fn next(station: &mut Program, count: usize) -> Vec<Pluck> {
    let lines = (0..count).map_while(|_| station.line(SOON, |line| pluck(line).is_some()));
    lines.filter_map(|(_, line)| pluck(&line)).collect()
}

/// Waits until the station says that its input is in `state`.
#[track_caller]
pub(crate) fn expect_input(station: &mut Program, state: &str) {
    let wanted = format!("{{\"event\":\"input\",\"state\":\"{state}\"}}");
    let found = station.line(PATIENCE, |line| line == wanted);
    assert!(found.is_some(), "{state} is not said\n{}", station.transcript());
}

/// Whether these are the same strings, at the same pitches within `within_cents`.
pub(crate) fn alike(heard: &[Pluck], wanted: &[Pluck], within_cents: f64) -> bool {
    heard.len() == wanted.len()
        && heard.iter().zip(wanted).all(|(heard, wanted)| {
            let cents = 1200.0 * (heard.hz / wanted.hz).log2();
            heard.string == wanted.string && cents.abs() <= within_cents
        })
}

/// Decodes recordings of this project and writes them one after another into a WAV file, with half a second between.
///
/// Gives the samples of the whole file.
pub(crate) fn write_sound(file: &str, recordings: &[&str]) -> Vec<i16> {
    let pause = vec![0_i16; 24_000];
    let mut samples = pause.clone();
    for name in recordings {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("recordings").join(name);
        let mut reader = claxon::FlacReader::open(&path).unwrap_or_else(|why| panic!("{name}: {why}"));
        assert_eq!(reader.streaminfo().sample_rate, 48_000);
        let sound = reader.samples().map(|sample| sample.expect("the recording is whole"));
        samples.extend(sound.map(|sample| i16::try_from(sample).expect("16 bits")));
        samples.extend(&pause);
    }
    write_mono(file, samples.iter().copied());
    samples
}

/// Writes a WAV file of one channel at 48 kHz.
pub(crate) fn write_mono(file: &str, samples: impl Iterator<Item = i16>) {
    let form = hound::WavSpec {
        channels: 1,
        sample_rate: 48_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(file, form).expect("files can be written");
    for sample in samples {
        writer.write_sample(sample).expect("files can be written");
    }
    writer.finalize().expect("files can be written");
}

/// The samples of a WAV file of floating-point numbers.
#[track_caller]
pub(crate) fn read_wav(file: &str) -> Vec<f32> {
    let reader = hound::WavReader::open(file).unwrap_or_else(|why| panic!("{file}: {why}"));
    reader
        .into_samples()
        .map(|sample| sample.expect("the file is whole"))
        .collect()
}

fn pluck(line: &str) -> Option<Pluck> {
    let line: Value = serde_json::from_str(line).ok()?;
    // A recording's own room begins at once, which is a sound too; nothing but a doubtful answer comes of it.
    (line["verdict"] == "settled").then_some(())?;
    Some(Pluck {
        string: line["string"].as_u64()?,
        hz: line["hz"].as_f64()?,
    })
}
