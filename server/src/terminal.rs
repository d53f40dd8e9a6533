//! Everything the program prints: lines for people, or JSON for programs.

use std::error::Error;
use std::io::{IsTerminal, Write, stderr, stdout};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use consort_coordinator::args::Order;
use consort_coordinator::coordinator::Viewer;
use consort_coordinator::lines::line;
use consort_coordinator::start::Start;
use consort_coordinator::status::{Status, code};
use consort_coordinator::{Addresses, Coordinator};
use consort_logbook::Replayed;
use consort_session::View;
use consort_words::{Arg, Key, Words};
use serde_json::{Value, json};
use tokio::sync::watch;
use tracing_subscriber::EnvFilter;

/// Where results go, and in which form.
pub(crate) struct Terminal {
    json: bool,
    words: Words,
}

/// How the program names itself when it complains.
const PROGRAM: &str = "coordinator";
/// The environment variable that chooses what is logged, as in `debug`.
const LOG: &str = "CONSORT_LOG";
/// A person reads one line a second at most.
const LINE_EVERY: Duration = Duration::from_secs(1);
/// A program reads four objects a second at most.
const OBJECT_EVERY: Duration = Duration::from_millis(250);

impl Terminal {
    pub(crate) fn new(json: bool) -> Self {
        Self {
            json,
            words: Words::english(),
        }
    }

    /// Explains, before the first start on `data`, what the system may ask when a port is opened.
    pub(crate) fn before_the_system_asks(&self, data: &Path) {
        if !self.json && stdout().is_terminal() && !data.exists() {
            print(&self.words.say(Key::NetworkFirstStart, &[]));
        }
    }

    /// Says where everything is.
    pub(crate) fn opened(&self, coordinator: &Coordinator) {
        let Addresses {
            stations,
            typed,
            join,
            board,
            control,
        } = coordinator.addresses();
        let notices = coordinator.notices();
        let code = code(&coordinator.images().borrow());
        if self.json {
            print(&json!({
                "event": "open", "code": code, "address": typed, "join": join.to_string(), "board": board, "control": control,
                "stations": stations.to_string(), "notices": notices,
            }));
            return;
        }
        notices.iter().for_each(print);
        if let Some(code) = code {
            print(&format!("code       {code}"));
        }
        print(&format!("address    {typed}"));
        print(&format!("join link  {join}"));
        print(&format!("board      {board}"));
        print(&format!("control    {control}"));
    }

    /// Shows the session until the coordinator has ended.
    pub(crate) async fn show(&self, viewer: Viewer, mut images: watch::Receiver<Arc<View>>) {
        let every = if self.json { OBJECT_EVERY } else { LINE_EVERY };
        let mut shown = String::new();
        while let Some(view) = viewer.look().await {
            let text = if self.json {
                status_object(&view, &self.words).to_string()
            } else {
                line(&view, &self.words)
            };
            if text != shown {
                self.live(&text);
                shown = text;
            }
            tokio::time::sleep(every).await;
            // What a clock alone changes is shown once a second.
            let _ = tokio::time::timeout(LINE_EVERY, images.changed()).await;
        }
        // The coordinator ends the program once it has closed politely.
        std::future::pending::<()>().await;
    }

    pub(crate) fn closed(&self) {
        if self.json {
            print(&json!({"event": "closed"}));
        } else {
            if stdout().is_terminal() {
                print(&"");
            }
            print(&"the session is closed; the next start goes on from here");
        }
    }

    /// Prints what came of an order.
    pub(crate) fn answered(&self, order: &Order, answer: &Value) {
        let text = |key: &str| answer.get(key).and_then(Value::as_str).unwrap_or_default().to_owned();
        match order {
            _ if self.json => print(answer),
            Order::Link => {
                print(&text("join"));
                let code = text("code");
                if !code.is_empty() {
                    print(&format!("code {code}"));
                }
            }
            Order::Status => {
                let lines = answer.get("lines").and_then(Value::as_array).into_iter().flatten();
                lines.filter_map(Value::as_str).for_each(|line| print(&line));
            }
            Order::Code => print(&text("code")),
            _ => print(&text("line")),
        }
    }

    /// Says that the time of day which was typed for the start has passed, so that tomorrow's is taken.
    pub(crate) fn starts(&self, start: Option<Start>) {
        if let Some(time) = start.and_then(Start::tomorrow).filter(|_| !self.json) {
            print(&self.words.say(Key::StartTomorrow, &[("time", Arg::from(time))]));
        }
    }

    /// Says what was in a logbook that was played to its end.
    pub(crate) fn replayed(&self, replayed: Replayed) {
        let Replayed { lives, events, effects } = replayed;
        if self.json {
            print(&json!({ "event": "replayed", "lives": lives, "events": events, "effects": effects }));
            return;
        }
        let counted = [("lives", lives), ("events", events), ("effects", effects)];
        let counted = counted.map(|(name, number)| (name, Arg::from(number)));
        print(&self.words.say(Key::LogbookPlayed, &counted));
    }

    /// Replaces the live line on a terminal; elsewhere each is a line of its own.
    fn live(&self, text: &str) {
        if !self.json && stdout().is_terminal() {
            let mut out = stdout();
            // A closed terminal does not end the session.
            let _ = write!(out, "\r\x1b[K{text}").and_then(|()| out.flush());
        } else {
            print(&text);
        }
    }
}

/// The status as a line of the `--json` stream.
fn status_object(view: &View, words: &Words) -> Value {
    let mut object = serde_json::to_value(Status::of(view, words)).unwrap_or_default();
    if let Some(fields) = object.as_object_mut() {
        fields.insert("event".to_owned(), "status".into());
    }
    object
}

/// Prints one line; a reader that has gone does not end the session.
fn print(line: &impl std::fmt::Display) {
    let _ = writeln!(stdout(), "{line}");
}

/// Says in one line why the program cannot go on.
pub(crate) fn complain(why: &dyn Error) {
    let mut sentence = why.to_string();
    let mut cause = why.source();
    while let Some(deeper) = cause {
        sentence = format!("{sentence}: {deeper}");
        cause = deeper.source();
    }
    let _ = writeln!(stderr(), "{PROGRAM}: {sentence}");
}

/// Says in one line which option cannot be meant.
pub(crate) fn complain_of_usage(sentence: &str) {
    let _ = writeln!(stderr(), "{PROGRAM}: {sentence}");
}

/// Logs to standard error, by default only what a person should notice.
pub(crate) fn start_logging() {
    let filter = EnvFilter::try_from_env(LOG).unwrap_or_else(|_| EnvFilter::new("warn"));
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_ansi(stderr().is_terminal())
        .with_writer(stderr)
        .init();
}

/// A future that resolves when the user or the system asks the program to end; from this call on, such a wish is heard.
#[cfg(unix)]
pub(crate) fn asked_to_end() -> std::io::Result<impl Future<Output = ()>> {
    use tokio::signal::unix::{SignalKind, signal};
    let (mut interrupt, mut terminate) = (signal(SignalKind::interrupt())?, signal(SignalKind::terminate())?);
    Ok(async move {
        tokio::select! {
            _ = interrupt.recv() => {}
            _ = terminate.recv() => {}
        }
    })
}

/// A future that resolves when the user asks the program to end; from this call on, such a wish is heard.
#[cfg(not(unix))]
pub(crate) fn asked_to_end() -> std::io::Result<impl Future<Output = ()>> {
    let mut interrupt = tokio::signal::windows::ctrl_c()?;
    Ok(async move {
        interrupt.recv().await;
    })
}

/// Opens the page in the user's browser; without one, its address was printed.
pub(crate) fn open_in_browser(url: &str) {
    if let Err(why) = open::that_detached(url) {
        tracing::info!(%why, "no browser opened");
    }
}
