//! Plays a virtual harp: into a station that advises its harpist, or to standard output as samples or a WAV file.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::process::{Command, ExitCode};
use std::time::{Duration, Instant};

use consort_harp::options::Options;
use consort_harp::trial::Trial;
use consort_harp::truth::Truth;
use consort_harp::{Harpist, Library, Pluck, Stage, TrueString, VirtualHarp, Voices};
use consort_proto::{Tolerance, Tuning, order};
use serde::Serialize;

fn main() -> ExitCode {
    let done = Options::parse(std::env::args().skip(1)).and_then(|options| play(&options));
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            let _ = writeln!(io::stderr(), "harpist: {why}");
            ExitCode::FAILURE
        }
    }
}

/// What came of it.
#[derive(Serialize)]
struct Outcome {
    finished: bool,
    played_s: f64,
    took_s: f64,
    strings: usize,
    in_tune: usize,
    can_hold: usize,
    can_hold_in_tune: usize,
    out_of_tune: Vec<TrueString>,
}

fn play(options: &Options) -> Result<(), String> {
    let library = options
        .recordings
        .as_deref()
        .map(Library::read)
        .transpose()
        .map_err(|why| why.to_string())?;
    let stage = Stage {
        rate: options.rate,
        voices: library.as_ref().map_or(Voices::Computed, Voices::Recorded),
        pickup: options.pickup,
        room: options.room,
    };
    let harp = VirtualHarp::new(&options.harp, &options.condition, stage);
    let mut truth = Truth::new(options.truth.as_deref())?;
    match &options.station {
        Some((program, words)) => {
            let mut command = Command::new(program);
            command
                .args(["--input", "stdin", "--rate", &options.rate.get().to_string()])
                .args([
                    "--harp",
                    &options.harp_word,
                    "--pitch",
                    &options.pitch.hz().get().to_string(),
                ])
                .args(["--advice", "json"])
                .args(words);
            tune(options, harp, &mut command, &mut truth)
        }
        None => record(options, harp, &mut truth),
    }
}

/// She tunes by the advice of a station.
fn tune(options: &Options, harp: VirtualHarp, command: &mut Command, truth: &mut Truth) -> Result<(), String> {
    let tolerance = Tolerance::default();
    let mut harpist = Harpist::new(harp, options.pace, options.checks, options.seed);
    harpist.agreed(Tuning {
        a4: options.pitch,
        ..Tuning::default()
    });
    truth.standing(0.0, &harpist.standing(&tolerance))?;
    let began = Instant::now();
    let mut trial = Trial::start(command, options.rate.get(), options.paced)
        .map_err(|why| format!("the station does not start: {why}"))?;
    if !trial.is_ready(Duration::from_secs(20), |_| {}) {
        return Err("the station gives no advice".to_owned());
    }
    while !harpist.is_finished() && harpist.now_s() < options.seconds {
        let mut lines = Vec::new();
        trial
            .step(&mut harpist, |time_s, line| lines.push((time_s, line.to_owned())))
            .map_err(|why| format!("the station takes no more sound: {why}"))?;
        for (time_s, line) in lines {
            truth.said(time_s, &line)?;
        }
        for done in harpist.take_log() {
            truth.line(&done)?;
        }
    }
    trial.end(|_| {}).map_err(|why| why.to_string())?;
    let standing = harpist.standing(&tolerance);
    truth.standing(harpist.now_s(), &standing)?;
    let outcome = Outcome {
        finished: harpist.is_finished(),
        played_s: harpist.now_s(),
        took_s: began.elapsed().as_secs_f64(),
        strings: standing.len(),
        in_tune: standing.iter().filter(|string| string.is_in_tune()).count(),
        can_hold: standing.iter().filter(|string| string.can_hold).count(),
        can_hold_in_tune: standing
            .iter()
            .filter(|string| string.can_hold && string.is_in_tune())
            .count(),
        out_of_tune: standing.into_iter().filter(|string| !string.is_in_tune()).collect(),
    };
    let line = serde_json::to_string(&outcome).map_err(|why| why.to_string())?;
    writeln!(io::stdout(), "{line}").map_err(|why| why.to_string())
}

/// Every string is plucked in the usual order, two seconds apart.
fn record(options: &Options, mut harp: VirtualHarp, truth: &mut Truth) -> Result<(), String> {
    #[derive(Serialize)]
    struct Plucked {
        time_s: f64,
        string: u8,
        hz: f64,
    }
    let apart = 2 * options.rate.get() as usize;
    let mut out = Output::new(options).map_err(|why| why.to_string())?;
    let mut left = (options.seconds * f64::from(options.rate.get())) as usize;
    for string in order::usual_order(&options.harp) {
        if left == 0 {
            break;
        }
        let plucked = Plucked {
            time_s: harp.now_s(),
            string: string.get(),
            hz: harp.pluck(string, Pluck::ORDINARY).get(),
        };
        truth.line(&plucked)?;
        let mut sound = vec![0.0; apart.min(left)];
        harp.render(&mut sound);
        left -= sound.len();
        out.write(&sound).map_err(|why| why.to_string())?;
    }
    out.end().map_err(|why| why.to_string())
}

/// Where the sound goes.
enum Output {
    Wav(hound::WavWriter<BufWriter<File>>),
    Bare(io::Stdout),
}

impl Output {
    fn new(options: &Options) -> io::Result<Self> {
        let Some(path) = &options.wav else {
            return Ok(Self::Bare(io::stdout()));
        };
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: options.rate.get(),
            bits_per_sample: 32,
            sample_format: hound::SampleFormat::Float,
        };
        hound::WavWriter::create(path, spec)
            .map(Self::Wav)
            .map_err(io::Error::other)
    }

    fn write(&mut self, sound: &[f32]) -> io::Result<()> {
        match self {
            Self::Wav(file) => sound
                .iter()
                .try_for_each(|sample| file.write_sample(*sample))
                .map_err(io::Error::other),
            Self::Bare(out) => {
                let bytes: Vec<u8> = sound.iter().flat_map(|sample| sample.to_le_bytes()).collect();
                out.write_all(&bytes)
            }
        }
    }

    fn end(self) -> io::Result<()> {
        match self {
            Self::Wav(file) => file.finalize().map_err(io::Error::other),
            Self::Bare(mut out) => out.flush(),
        }
    }
}
