//! Carries out what was typed, and says in one sentence why it cannot be done.

use std::ffi::OsString;
use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::time::{Duration, Instant};

use clap::Parser;
use clap::error::ErrorKind;
use consort_link::Link;
use consort_logbook::{ReplayError, Replayed};
use consort_proto::harp_file;
use consort_store::Folder;
use consort_words::{Arg, Key, Words};
use tokio::sync::Notify;

use crate::args::{Args, HarpArgs, Order};
use crate::capture::{self, NotCaptured};
use crate::choice::{self, By, NotAHarpChoice};
use crate::config::{Config, ConfigError, Discovery, PROGRAM};
use crate::listen::Listening;
use crate::pluck::json;
use crate::podium::{self, Podium, PodiumError};
use crate::record::{self, NotDone};
use crate::reference::{NotMeasured, Reference};
use crate::sound::input::{self, InputError};
use crate::start::{Ended, RECORD, StartError, Station};
use crate::{beats, browser, say, targets, terminal};

/// Why the program ends without having done what was asked.
#[derive(Debug, thiserror::Error)]
pub(crate) enum Refusal {
    /// The harp is none.
    #[error(transparent)]
    Harp(#[from] NotAHarpChoice),
    /// There is no input.
    #[error(transparent)]
    Input(#[from] InputError),
    /// Nothing was captured.
    #[error(transparent)]
    Capture(#[from] NotCaptured),
    /// No tone could be measured.
    #[error(transparent)]
    Reference(#[from] NotMeasured),
    /// The harp's record does not do it.
    #[error(transparent)]
    Record(#[from] NotDone),
    /// What was typed cannot be used.
    #[error(transparent)]
    Config(#[from] ConfigError),
    /// The station does not start.
    #[error(transparent)]
    Start(#[from] StartError),
    /// No board is shown.
    #[error(transparent)]
    Podium(#[from] PodiumError),
    /// The logbook is none, or comes out otherwise.
    #[error(transparent)]
    Replay(#[from] ReplayError),
    /// The logbook cannot be read.
    #[error("{file} cannot be read: {1}", file = .0.display())]
    Logbook(PathBuf, std::io::Error),
    /// The system gives no event loop.
    #[error("the system lets this program do nothing ({0})")]
    Runtime(std::io::Error),
}

/// Carries out what `words` ask for; the program ends with the answer.
pub fn run(words: impl IntoIterator<Item = OsString>) -> ExitCode {
    let args = match Args::try_parse_from(words) {
        Ok(args) => args,
        Err(why) if matches!(why.kind(), ErrorKind::DisplayHelp | ErrorKind::DisplayVersion) => {
            say::line(why.to_string().trim_end());
            return ExitCode::SUCCESS;
        }
        Err(why) => {
            say::note(&Words::english().typed(&why));
            return ExitCode::from(USAGE);
        }
    };
    match carry_out(args) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(why) => {
            say::note(&why.to_string());
            ExitCode::FAILURE
        }
    }
}

/// The exit code for words that make no sense, as shells and most programs have it.
const USAGE: u8 = 2;

/// Says whether everything that was asked for could be done.
fn carry_out(args: Args) -> Result<bool, Refusal> {
    let json = args.json;
    match args.order.clone() {
        Some(Order::Listen {
            files,
            trace,
            one_tuning,
        }) => Ok(Listening {
            harp: Arc::new(choice::harp_at(args.harp.harp.as_deref(), args.station.data)?.harp),
            tuning: args.harp.tuning(),
            one_tuning,
            trace,
            json,
        }
        .hear_all(&files)),
        Some(Order::Capture { file, input, seconds }) => {
            capture::capture(&file, &input, seconds)?;
            Ok(true)
        }
        Some(Order::Reference {
            files,
            note,
            input,
            seconds,
        }) => {
            let reference = Reference { note, json };
            Ok(if files.is_empty() {
                reference.hear_input(&input, seconds)?
            } else {
                reference.hear_all(&files)?
            })
        }
        Some(Order::Record(order)) => {
            record::carry_out(&order, args.station.data.clone(), args.harp.harp.as_deref(), json)?
                .iter()
                .for_each(|line| say::line(line));
            Ok(true)
        }
        Some(Order::Board {
            code,
            coordinator,
            name,
            data,
            port,
            no_discovery,
            no_browser,
            mdns_port,
            mdns_loopback,
        }) => show_board(
            podium::Config {
                name,
                code,
                coordinator,
                data,
                discovery: (!no_discovery).then_some(Discovery {
                    port: mdns_port,
                    loopback_only: mdns_loopback,
                }),
                port,
            },
            json,
            !no_browser && !json,
        ),
        Some(Order::Targets { csv }) => print_targets(&args.harp, args.station.data, csv, json),
        Some(Order::Beats { csv }) => print_beats(&args.harp, args.station.data, csv, json),
        Some(Order::Inputs) => print_inputs(json),
        Some(Order::Replay { file }) => replay(&file, json),
        Some(Order::Harps) => {
            print_harps();
            Ok(true)
        }
        Some(Order::Harp { name }) => {
            let text = harp_file::preset_text(&name).ok_or_else(|| NotAHarpChoice::NoPreset {
                name: name.chars().take(60).collect(),
                presets: choice::preset_list(),
            })?;
            say::line(text.trim_end());
            Ok(true)
        }
        None => run_station(args),
    }
}

/// Runs the station until Ctrl-C, or until its recordings have ended if it is to end with them.
fn run_station(args: Args) -> Result<bool, Refusal> {
    log_to_stderr();
    let open_browser = !args.station.no_browser && !args.json && args.station.advice.is_none();
    let mut config = Config::try_from(args)?;
    // A terminal of its own is drawn as a whole; anything else gets plain lines.
    let has_terminal = config.output.terminal && terminal::is_there();
    config.output.terminal &= !has_terminal;
    let ends_by_itself = config.until_end;
    if open_browser && std::io::stdout().is_terminal() && !config.data.exists() {
        // Before any port is opened, since that is when the system asks.
        say::line(&Words::english().say(Key::NetworkFirstStart, &[]));
    }
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(Refusal::Runtime)?;
    runtime.block_on(async {
        let mut again = config.again();
        let mut station = Station::start(config).await?;
        if open_browser && !has_terminal {
            browser::open(&station.desk_url());
        }
        let quit = Arc::new(Notify::new());
        let asked = async {
            tokio::select! {
                () = asked_to_end() => {}
                () = quit.notified() => {}
            }
        };
        let mut shutdown = std::pin::pin!(asked);
        loop {
            // A desk that is open follows again by itself, so it has to be where it was.
            again.desk_port = station.desk_address().port();
            let (images, wishes) = (station.images(), station.wishes());
            let screen = has_terminal.then(|| terminal::show(images, wishes, quit.clone(), station.desk_url()));
            let ended = station.run(&mut shutdown).await;
            // The terminal is given back before anything else is done with it.
            if let Some(Ok(screen)) = screen {
                let _ = screen.join();
            }
            match ended {
                Ended::Over { delivered } => return Ok(delivered || !ends_by_itself),
                Ended::Anew => station = started_again(&again).await?,
            }
        }
    })
}

/// Starts the station once more; what the one before held is let go of within a moment.
async fn started_again(config: &Config) -> Result<Station, StartError> {
    let until = Instant::now() + LETS_GO_WITHIN;
    loop {
        match Station::start(config.clone()).await {
            Err(why) if Instant::now() >= until => return Err(why),
            Err(why) => tracing::debug!(%why, "not yet"),
            Ok(station) => return Ok(station),
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

/// The threads of a station that has ended let go of its folder and port within this time.
const LETS_GO_WITHIN: Duration = Duration::from_secs(5);

/// Shows a coordinator's board until Ctrl-C.
fn show_board(config: podium::Config, json: bool, open_browser: bool) -> Result<bool, Refusal> {
    log_to_stderr();
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(Refusal::Runtime)?;
    runtime.block_on(async {
        let podium = Podium::open(config).await?;
        let (board, control) = podium.addresses();
        if json {
            say::line(&serde_json::json!({"event": "board", "board": board, "control": control}).to_string());
        } else {
            say::line(&format!("board      {board}"));
            say::line(&format!("control    {control}"));
        }
        if open_browser {
            browser::open(&board);
        }
        podium.run(asked_to_end()).await;
        Ok(true)
    })
}

/// Resolves when the person or the system wants the program to end.
async fn asked_to_end() {
    let interrupted = tokio::signal::ctrl_c();
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        if let Ok(mut terminated) = signal(SignalKind::terminate()) {
            tokio::select! {
                _ = interrupted => {}
                _ = terminated.recv() => {}
            }
            return;
        }
    }
    let _ = interrupted.await;
}

/// What is worth a log goes to standard error, and only when it is asked for by the variable `CONSORT_LOG`.
fn log_to_stderr() {
    let filter = tracing_subscriber::EnvFilter::try_from_env("CONSORT_LOG")
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("off"));
    // Whoever embeds the station may have set one up already.
    let _ = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .try_init();
}

const fn table_form(csv: bool, json: bool) -> targets::Form {
    match (csv, json) {
        (true, _) => targets::Form::Csv,
        (false, true) => targets::Form::Json,
        (false, false) => targets::Form::Table,
    }
}

fn print_targets(harp: &HarpArgs, data: Option<PathBuf>, csv: bool, json: bool) -> Result<bool, Refusal> {
    let chosen = choice::harp_at(harp.harp.as_deref(), data.clone())?;
    // What is allowed for belongs to a harp of the record; a preset or a file is printed as it is.
    let played = match data.or_else(|| Folder::usual(PROGRAM).ok()) {
        Some(data) if chosen.by == By::Record => record::allowing(&data.join(RECORD), &chosen.harp),
        _ => chosen.harp,
    };
    let rows = targets::rows(&played, &harp.tuning());
    let lines = targets::lines(&rows, table_form(csv, json));
    lines.iter().for_each(|line| say::line(line));
    Ok(true)
}

fn print_beats(harp: &HarpArgs, data: Option<PathBuf>, csv: bool, json: bool) -> Result<bool, Refusal> {
    let rows = beats::rows(&choice::harp_at(harp.harp.as_deref(), data)?.harp, &harp.tuning());
    let lines = beats::lines(&rows, table_form(csv, json));
    lines.iter().for_each(|line| say::line(line));
    Ok(true)
}

fn print_inputs(as_json: bool) -> Result<bool, Refusal> {
    for input in input::usable()? {
        say::line(&if as_json { json(&input) } else { input.to_string() });
    }
    Ok(true)
}

/// Plays a logbook again, and says what was in it.
fn replay(file: &Path, json: bool) -> Result<bool, Refusal> {
    let text = std::fs::read_to_string(file).map_err(|cause| Refusal::Logbook(file.to_owned(), cause))?;
    let Replayed { lives, events, effects } = consort_logbook::replay::<Link>(&text)?;
    if json {
        let counted = serde_json::json!({ "event": "replayed", "lives": lives, "events": events, "effects": effects });
        say::line(&counted.to_string());
    } else {
        let counted = [("lives", lives), ("events", events), ("effects", effects)];
        let counted = counted.map(|(name, number)| (name, Arg::from(number)));
        say::line(&Words::english().say(Key::LogbookPlayed, &counted));
    }
    Ok(true)
}

fn print_harps() {
    for name in harp_file::preset_names() {
        let called = harp_file::preset(name).map(|harp| harp.name().to_owned());
        say::line(&format!("{name:<9} {}", called.unwrap_or_default()));
    }
}
