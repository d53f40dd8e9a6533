//! Feeds the ear from its source, on a thread of its own.

use std::cell::Cell;
use std::io::{self, Read};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::Receiver;
use std::thread;
use std::time::{Duration, Instant};

use consort_analysis::{Beating, NoBeat, Refusal, Together};
use consort_proto::{Harp, SampleRate, StringNumber, Tuning, Uptime};
use consort_words::Words;
use tokio::sync::mpsc::Sender;
use tokio::sync::mpsc::error::TrySendError;

use crate::beat::Beats;
use crate::ear::{Ear, Expectation, Sensed};
use crate::renewals::Noted;
use crate::sound::capture::{Capture, Opening};
use crate::sound::input::{self, InputError};
use crate::sound::kind::Kind;
use crate::sound::recording::Recording;
use crate::sound::recovery::{Action, Event, News, Recovery};
use crate::trace::Trace;
use crate::wrong::Tail;

/// Where the sound comes from.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum Source {
    /// The input of this name; `None` for the one that the system prefers.
    Live(Option<String>),
    /// Standard input: 32-bit floating point, little-endian, mono, at this rate.
    Stdin(SampleRate),
    /// Recordings, one after another.
    Recordings {
        /// The files.
        files: Vec<PathBuf>,
        /// As fast as they can be heard, not at the pace at which they were played.
        fast: bool,
    },
}

/// Why there is nothing to hear.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
pub enum NoSound {
    /// The input is not there, or does not open.
    #[error(transparent)]
    Input(#[from] InputError),
    /// A recording cannot be heard; the sentence says which one and why.
    #[error("{0}")]
    Recording(String),
}

/// What the thread is told.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum ToEar {
    /// Listen for these targets from the next pluck on.
    Retune(Tuning),
    /// Listen for the strings of the same harp with its pedals elsewhere, in the usual order or in any.
    Resound {
        /// The harp as it sounds now.
        harp: Arc<Harp>,
        /// Whether its strings are plucked in the usual order.
        in_order: bool,
    },
    /// A run over the harp begins, or ends.
    Run(bool),
    /// Listen for this string alone, which was chosen by hand; `None` for all again.
    Choose(Option<StringNumber>),
    /// Keep the last seconds of sound in this file.
    Keep(PathBuf),
    /// Tell how these strings beat whenever they are plucked together; `None` for no more.
    Beats(Option<Together>),
}

/// What comes out of the thread.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Fed {
    /// The ear sensed something in the sound that is called `file`.
    Sensed { file: Arc<str>, sensed: Sensed },
    /// How the two strings beat that were asked for.
    Beats(Result<Beating, NoBeat>),
    /// What the record says of new strings and of what is allowed for; when it is opened, and whenever it has changed.
    Record(Box<Noted>),
    /// A sentence for the harpist about the sound.
    Said(String),
    /// The input has gone; the same one is tried again until it comes back.
    Lost,
    /// The input is heard, again or for the first time.
    Hears,
    /// There is no more sound.
    Ended,
}

/// The input that is to be heard, opened if it is a live one so that a wrong name is told at once.
pub(crate) struct Feed {
    source: Opened,
    words: Words,
    expectation: Option<Expectation>,
    told: Receiver<ToEar>,
    trace: Trace,
    out: Sender<Fed>,
}

enum Opened {
    /// Its name; the stream itself is made on the thread that reads it.
    Live(String),
    Stdin(SampleRate),
    Recordings {
        files: Vec<PathBuf>,
        fast: bool,
    },
}

/// The receiver has gone: the station ends.
struct Over;

/// Sound is handed to the ear in pieces of this length, so that a live recording is heard as it would be in a room.
const PIECE: Duration = Duration::from_millis(10);

impl Feed {
    /// Gets ready to feed an ear that begins with `expectation`; `told` says what else to do,
    /// and `trace` is drawn as it hears.
    pub(crate) fn new(
        source: Source,
        expectation: Expectation,
        told: Receiver<ToEar>,
        trace: Trace,
        out: Sender<Fed>,
    ) -> Result<Self, NoSound> {
        let words = Words::english();
        let source = match source {
            Source::Live(name) => {
                let name = name.map_or_else(input::preferred, Ok)?;
                // Looked for here only, so that an unknown name ends the program and not its ear.
                input::look_for(&name)?;
                Opened::Live(name)
            }
            Source::Stdin(rate) => Opened::Stdin(rate),
            Source::Recordings { files, fast } => {
                // Looked through for the same reason; each is opened again when its turn comes.
                let unheard = files.iter().find_map(|path| Recording::open(path).err());
                if let Some(why) = unheard {
                    return Err(NoSound::Recording(why.sentence(&words)));
                }
                Opened::Recordings { files, fast }
            }
        };
        Ok(Self {
            source,
            words,
            expectation: Some(expectation),
            told,
            trace,
            out,
        })
    }

    /// Starts the thread; it ends with the sound, or when nobody listens to it any more.
    pub(crate) fn start(mut self) -> io::Result<()> {
        let run = move || {
            let over = match std::mem::replace(
                &mut self.source,
                Opened::Recordings {
                    files: Vec::new(),
                    fast: true,
                },
            ) {
                Opened::Live(name) => self.live(&name),
                Opened::Stdin(rate) => self.stdin(rate),
                Opened::Recordings { files, fast } => self.recordings(&files, fast),
            };
            if over.is_ok() {
                // Nobody may be there to hear of the end.
                let _ = self.out.blocking_send(Fed::Ended);
            }
        };
        thread::Builder::new().name("ear".to_owned()).spawn(run).map(drop)
    }

    fn recordings(&mut self, files: &[PathBuf], fast: bool) -> Result<(), Over> {
        for path in files {
            let name = path.display().to_string();
            let mut recording = match Recording::open(path) {
                Ok(recording) => recording,
                Err(why) => {
                    self.send(Fed::Said(why.sentence(&self.words)))?;
                    continue;
                }
            };
            for notice in &recording.notices {
                self.send(Fed::Said(notice.sentence(&self.words, &name)))?;
            }
            self.send(Fed::Hears)?;
            let rate = recording.rate();
            let began = Instant::now();
            let mut played = 0_u64;
            let mut block = Vec::new();
            self.hear(&name, rate, Kind::Plain, |hear| {
                while recording.next_block(&mut block) {
                    for piece in block.chunks(samples_in(PIECE, rate)) {
                        if !fast {
                            let due = began + Duration::from_secs_f64(played as f64 / f64::from(rate.get()));
                            thread::sleep(due.saturating_duration_since(Instant::now()));
                        }
                        played += piece.len() as u64;
                        hear(piece)?;
                    }
                }
                Ok(())
            })?;
        }
        Ok(())
    }

    fn stdin(&mut self, rate: SampleRate) -> Result<(), Over> {
        self.send(Fed::Hears)?;
        let mut sound = io::stdin().lock();
        let mut bytes = vec![0_u8; samples_in(PIECE, rate) * 4];
        let mut piece = Vec::new();
        let mut kept = 0;
        self.hear("stdin", rate, Kind::Plain, |hear| {
            loop {
                // A writer that goes away in the middle ends the sound like one that is done.
                let read = sound.read(&mut bytes[kept..]).unwrap_or(0);
                if read == 0 {
                    return Ok(());
                }
                let have = kept + read;
                let whole = have / 4 * 4;
                piece.clear();
                piece.extend(
                    bytes[..whole]
                        .chunks_exact(4)
                        .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]])),
                );
                bytes.copy_within(whole..have, 0);
                kept = have - whole;
                hear(&piece)?;
            }
        })
    }

    /// Hears the input called `name` for good; when it goes, waits for the same one and for no other.
    fn live(&mut self, name: &str) -> Result<(), Over> {
        let began = Instant::now();
        let mut recovery = Recovery::new();
        let mut opening: Option<Opening> = None;
        loop {
            let event = match opening.as_ref().and_then(Opening::poll) {
                None => Event::Tick,
                Some(Err(why)) => {
                    tracing::debug!(%why, "the input does not open");
                    opening = None;
                    Event::NotOpened
                }
                Some(Ok(capture)) => {
                    opening = None;
                    recovery.handle(Uptime(began.elapsed()), Event::Opened);
                    self.capture(capture, began, &mut recovery)?;
                    Event::Tick
                }
            };
            recovery.handle(Uptime(began.elapsed()), event);
            while let Some(action) = recovery.poll() {
                match action {
                    Action::Open => match Opening::begin(name) {
                        Ok(begun) => opening = Some(begun),
                        Err(_) => recovery.handle(Uptime(began.elapsed()), Event::NotOpened),
                    },
                    Action::LetGo => opening = None,
                    Action::Tell(news) => self.send(news.into())?,
                }
            }
            if self.out.is_closed() {
                return Err(Over);
            }
            thread::sleep(PIECE);
        }
    }

    /// Hears one stream until it is to be let go of.
    fn capture(&mut self, mut capture: Capture, began: Instant, recovery: &mut Recovery) -> Result<(), Over> {
        let out = self.out.clone();
        let mut block = Vec::new();
        self.hear("live", capture.rate(), capture.kind(), |hear| {
            loop {
                capture.pull(&mut block);
                let lost = capture.take_lost();
                if lost > 0 {
                    tracing::warn!(samples = lost, "sound was lost: this laptop is too busy");
                }
                recovery.handle(Uptime(began.elapsed()), Event::Seen(capture.seen()));
                let actions: Vec<Action> = std::iter::from_fn(|| recovery.poll()).collect();
                let say = |news: News| {
                    let told = actions.contains(&Action::Tell(news));
                    if told {
                        out.blocking_send(news.into()).map_err(|_| Over)
                    } else {
                        Ok(())
                    }
                };
                // That it is heard comes before what is heard, and that it is lost comes after it.
                say(News::Hears)?;
                hear(&block)?;
                say(News::Lost)?;
                if actions.contains(&Action::LetGo) {
                    return Ok(());
                }
                thread::sleep(PIECE);
            }
        })
    }

    /// Gives one stretch of sound to an ear: `play` hands it over piece by piece.
    fn hear(
        &mut self,
        name: &str,
        rate: SampleRate,
        kind: Kind,
        play: impl FnOnce(&mut dyn FnMut(&[f32]) -> Result<(), Over>) -> Result<(), Over>,
    ) -> Result<(), Over> {
        let Some(expectation) = self.expectation.take() else {
            return Ok(());
        };
        let mut ear = Ear::at_input(rate, kind, expectation);
        let file: Arc<str> = name.into();
        let out = self.out.clone();
        let mut over = false;
        let no_string = Cell::new(None);
        let mut tell = |sensed: Sensed| {
            if let Sensed::Refused { onset_s, why } = sensed
                && matches!(why, Refusal::NoPitch | Refusal::NotAString | Refusal::Stopped)
            {
                no_string.set(Some(onset_s));
            }
            let fleeting = matches!(sensed, Sensed::Track { .. });
            let fed = Fed::Sensed {
                file: file.clone(),
                sensed,
            };
            // What moves is worth nothing late; everything else waits until there is room.
            over |= if fleeting {
                matches!(out.try_send(fed), Err(TrySendError::Closed(_)))
            } else {
                out.blocking_send(fed).is_err()
            };
        };
        let (told, trace) = (&self.told, &self.trace);
        let mut tail = Tail::new(rate);
        let mut beats = Beats::new(rate, out.clone());
        let played = play(&mut |piece| {
            tail.push(piece);
            trace.push(piece, rate);
            while let Ok(told) = told.try_recv() {
                match told {
                    ToEar::Retune(tuning) => ear.retune(tuning),
                    ToEar::Beats(pair) => beats.listen_to(pair, ear.last_onset_s()),
                    ToEar::Choose(string) => ear.choose(string),
                    ToEar::Run(runs) => ear.run(runs),
                    ToEar::Resound { harp, in_order } => ear.resound(harp, in_order),
                    ToEar::Keep(path) => {
                        if let Err(why) = tail.write(&path, rate) {
                            let _ = out.blocking_send(Fed::Said(format!("{}: {why}", path.display())));
                        }
                    }
                }
            }
            ear.push(piece, &mut tell);
            if let Some(onset_s) = no_string.take() {
                beats.forget(onset_s);
            }
            beats.look(&tail, ear.last_onset_s());
            if out.is_closed() { Err(Over) } else { Ok(()) }
        });
        self.expectation = Some(ear.finish(&mut tell));
        if over { Err(Over) } else { played }
    }

    fn send(&self, fed: Fed) -> Result<(), Over> {
        self.out.blocking_send(fed).map_err(|_| Over)
    }
}

impl From<News> for Fed {
    fn from(news: News) -> Self {
        match news {
            News::Hears => Self::Hears,
            News::Lost => Self::Lost,
        }
    }
}

/// Samples in `time`, at least one.
fn samples_in(time: Duration, rate: SampleRate) -> usize {
    ((time.as_secs_f64() * f64::from(rate.get())) as usize).max(1)
}
