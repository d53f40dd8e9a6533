//! Inputs as a desktop's sound server offers them, in the PulseAudio protocol that PipeWire speaks too.
//!
//! A server moves a stream to another input when its own is unplugged, and no word of it reaches the program; asked
//! directly it does not.

use std::ffi::{CStr, CString};
use std::os::unix::net::UnixStream;
use std::sync::{Arc, mpsc};
use std::thread;
use std::time::Duration;

use consort_proto::SampleRate;
use pulseaudio::protocol::{self, RecordStreamParams, SourceInfo, stream};
use pulseaudio::{Client, ClientError, RecordStream};
use tokio::runtime::{Builder, Runtime};

use crate::sound::capture::{Pieces, in_ring};
use crate::sound::input::{Input, InputError};
use crate::sound::kind::Kind;
use crate::sound::signals::Signals;

/// A connection to the user's sound server.
pub(crate) struct Server {
    client: Client,
    runtime: Runtime,
}

/// A stream from one input of the server.
pub(crate) struct ServerStream {
    stream: RecordStream,
    server: Server,
    signals: Arc<Signals>,
}

/// Says that the stream is gone when the connection's own thread lets go of it.
struct Farewell(Arc<Signals>);

/// What this program is called in the system's sound settings.
const PROGRAM: &CStr = c"Consort station";
/// A server that takes longer than this hangs, or is not one.
const ANSWERS_WITHIN: Duration = Duration::from_secs(2);
/// Sound is asked for in pieces of this many milliseconds: soon enough for an eye, long enough for a busy laptop.
const PIECE_MS: u32 = 20;
/// Bytes of the secret by which PulseAudio knows its user.
const COOKIE_LEN: usize = 256;
/// Bytes of a sample as it is asked for: 32-bit floating point, which holds every 24-bit sample exactly.
const SAMPLE_LEN: usize = 4;

impl Server {
    /// Connects to the server of this user; `None` where there is none, or none that answers.
    pub(crate) fn connect() -> Option<Self> {
        let (tell, told) = mpsc::channel();
        // The handshake has no time limit of its own: a thread that hangs in it is left behind.
        thread::Builder::new()
            .name("sound server".to_owned())
            .spawn(move || tell.send(greet()))
            .ok()?;
        let client = told.recv_timeout(ANSWERS_WITHIN).ok()??;
        let runtime = Builder::new_current_thread().enable_time().build().ok()?;
        Some(Self { client, runtime })
    }

    /// Everything that can be heard; `None` when the server does not say.
    pub(crate) fn inputs(&self) -> Option<Vec<Input>> {
        let default = self.ask(self.client.source_info_by_name(protocol::DEFAULT_SOURCE.to_owned()));
        let default = default.and_then(Result::ok).map(|source| source.name);
        let sources = self.ask(self.client.list_sources())?.ok()?;
        Some(
            sources
                .iter()
                .map(|source| describe(source, default.as_deref()))
                .collect(),
        )
    }

    /// Opens the input called `name` at its own rate; `None` when the server has no input of that name.
    pub(crate) fn open(self, name: &str) -> Option<Result<Pieces<ServerStream>, InputError>> {
        let named = CString::new(name).ok()?;
        let source = self.ask(self.client.source_info_by_name(named.clone()))?.ok()?;
        // A server may answer with its own choice in place of a name that it does not know.
        (source.name == named).then(|| self.open_source(&source, name))
    }

    fn open_source(self, source: &SourceInfo, name: &str) -> Result<Pieces<ServerStream>, InputError> {
        let spec = source.sample_spec;
        let rate = SampleRate::new(spec.sample_rate).map_err(|rate| InputError::Rate {
            name: name.to_owned(),
            rate: rate.0,
        })?;
        let channels = usize::from(spec.channels).max(1);
        let (mut inlet, ring, signals) = in_ring(rate, channels);
        let farewell = Farewell(signals.clone());
        let take = move |bytes: &[u8]| {
            let _held = &farewell;
            let (samples, _) = bytes.as_chunks::<SAMPLE_LEN>();
            inlet.take(samples.iter().map(|&sample| f32::from_le_bytes(sample)));
        };
        let not_opened = |cause: String| InputError::NotOpened {
            name: name.to_owned(),
            cause,
        };
        let stream = self
            .ask(self.client.create_record_stream(wanted(source), take))
            .ok_or_else(|| not_opened("the sound server does not answer".to_owned()))?
            .map_err(|why| not_opened(why.to_string()))?;
        Ok(Pieces {
            stream: ServerStream {
                stream,
                server: self,
                signals: signals.clone(),
            },
            ring,
            signals,
            rate,
            channels,
            kind: describe(source, None).kind,
        })
    }

    /// The answer, if it comes in time.
    fn ask<T>(&self, question: impl Future<Output = T>) -> Option<T> {
        self.runtime
            .block_on(async { tokio::time::timeout(ANSWERS_WITHIN, question).await })
            .ok()
    }
}

impl ServerStream {
    /// Asks after the stream: a server tells of an unplugged input only when it is asked.
    pub(crate) fn tend(&self) {
        match self.server.ask(self.stream.timing_info()) {
            Some(Err(ClientError::ServerError(_) | ClientError::Disconnected | ClientError::Io(_))) => {
                self.signals.go();
            }
            Some(Err(_)) => self.signals.stumble(),
            // A server that is late with its answer may still send samples.
            Some(Ok(_)) | None => {}
        }
    }
}

impl Drop for Farewell {
    fn drop(&mut self) {
        self.0.go();
    }
}

/// Connects and shakes hands.
///
/// PipeWire asks for a secret of the right length and then does not look at it: where no program has made one yet, an
/// empty one of that length opens the door.
fn greet() -> Option<Client> {
    let socket = UnixStream::connect(pulseaudio::socket_path_from_env()?).ok()?;
    let cookie = pulseaudio::cookie_path_from_env()
        .and_then(|path| std::fs::read(path).ok())
        .filter(|cookie| cookie.len() == COOKIE_LEN)
        .unwrap_or_else(|| vec![0; COOKIE_LEN]);
    Client::new_unix(PROGRAM, socket, Some(cookie)).ok()
}

fn wanted(source: &SourceInfo) -> RecordStreamParams {
    let spec = source.sample_spec;
    let frames = (spec.sample_rate * PIECE_MS / 1_000).max(1);
    RecordStreamParams {
        sample_spec: protocol::SampleSpec {
            format: protocol::SampleFormat::Float32Le,
            ..spec
        },
        channel_map: source.channel_map,
        source_index: Some(source.index),
        buffer_attr: stream::BufferAttr {
            fragment_size: frames * u32::from(spec.channels) * SAMPLE_LEN as u32,
            ..Default::default()
        },
        flags: stream::StreamFlags {
            // Lost with its input, and never led to another one.
            no_move: true,
            adjust_latency: true,
            start_muted: Some(false),
            ..Default::default()
        },
        ..Default::default()
    }
}

fn describe(source: &SourceInfo, default: Option<&CStr>) -> Input {
    let text = |text: &CStr| text.to_string_lossy().into_owned();
    let name = text(&source.name);
    let description = source.description.as_deref().map_or_else(|| name.clone(), text);
    let rate = source.sample_spec.sample_rate;
    let kind = if source.monitor_of_sink_index.is_some() {
        Kind::Playback
    } else {
        Kind::of(&name, &description, rate)
    };
    Input {
        default: default == Some(source.name.as_c_str()),
        name,
        description,
        rate,
        channels: u16::from(source.sample_spec.channels),
        kind,
    }
}
