//! A coordinator running as a process of its own, and what the tests ask of it.

use std::error::Error;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::ops::Deref;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Output, Stdio};
use std::sync::Arc;

use consort_peer::{Dialer, Hear, Identity, Say};
use consort_proto::message::NEWEST;
use consort_proto::{Fingerprint, Hello, JoinLink, JoinToken, ToCoordinator, ToStation, harp_file};
use serde_json::Value;
use tempfile::TempDir;

/// A running coordinator; killed when dropped.
pub(crate) struct Running {
    pub(crate) folder: Fresh,
    pub(crate) open: Value,
    child: Child,
    lines: BufReader<ChildStdout>,
}

/// What keeps a coordinator of these tests on this computer, on ports of the system's choice.
const LOCAL: [&str; 10] = [
    "--no-discovery",
    "--no-browser",
    "--listen",
    "127.0.0.1",
    "--port",
    "0",
    "--board-port",
    "0",
    "--control-port",
    "0",
];

/// A path in a place that goes with the last value that names something in it.
#[derive(Clone)]
pub(crate) struct Fresh {
    path: PathBuf,
    place: Arc<TempDir>,
}

impl Fresh {
    /// The path of `name` inside it.
    pub(crate) fn inside(&self, name: &str) -> Self {
        Self {
            path: self.path.join(name),
            place: Arc::clone(&self.place),
        }
    }
}

impl Deref for Fresh {
    type Target = Path;

    fn deref(&self) -> &Path {
        &self.path
    }
}

/// A data folder that does not exist yet.
pub(crate) fn fresh_folder(test: &str) -> Fresh {
    let place = TempDir::with_prefix(format!("consort-coordinator-{test}-")).expect("a place");
    Fresh {
        path: place.path().join("data"),
        place: Arc::new(place),
    }
}

/// Runs the program with `words` to its end.
pub(crate) fn run(words: &[&str]) -> Output {
    program().args(words).output().expect("run")
}

/// The program, without what the user's own settings would add.
pub(crate) fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_consort-coordinator"));
    command.env_remove("CONSORT_LOG");
    command
}

impl Running {
    /// Opens the session in `folder`.
    pub(crate) fn start(folder: &Fresh) -> Self {
        Self::start_with(folder, &[])
    }

    pub(crate) fn start_with(folder: &Fresh, words: &[&str]) -> Self {
        Self::start_program(Path::new(env!("CARGO_BIN_EXE_consort-coordinator")), folder, words)
    }

    /// The same with the program at `path`.
    pub(crate) fn start_program(path: &Path, folder: &Fresh, words: &[&str]) -> Self {
        let mut child = Command::new(path)
            .env_remove("CONSORT_LOG")
            .args(LOCAL)
            .args(["--json", "--data"])
            .arg(&**folder)
            .args(words)
            .stdout(Stdio::piped())
            .spawn()
            .expect("start");
        let mut lines = BufReader::new(child.stdout.take().expect("stdout"));
        let mut line = String::new();
        lines.read_line(&mut line).expect("first line");
        let open: Value = serde_json::from_str(&line).expect("json");
        assert_eq!(open["event"], "open");
        Self {
            folder: folder.clone(),
            open,
            child,
            lines,
        }
    }

    /// Ends it without a word, as a crash or a power cut would.
    pub(crate) fn kill(&mut self) {
        self.child.kill().expect("kill");
        self.child.wait().expect("wait");
    }

    /// Asks it to end, and returns the exit code and what it still printed.
    pub(crate) fn terminate(&mut self) -> (Option<i32>, String) {
        let id = self.child.id().to_string();
        assert!(
            Command::new("kill")
                .args(["-TERM", &id])
                .status()
                .expect("kill")
                .success()
        );
        self.wait()
    }

    /// Waits for its end.
    pub(crate) fn wait(&mut self) -> (Option<i32>, String) {
        let mut rest = String::new();
        self.lines.read_to_string(&mut rest).expect("rest");
        (self.child.wait().expect("wait").code(), rest)
    }

    /// Sends an order from another terminal.
    pub(crate) fn order(&self, words: &[&str]) -> Output {
        program()
            .args(words)
            .arg("--data")
            .arg(&*self.folder)
            .output()
            .expect("order")
    }

    /// The status, as another program reads it.
    pub(crate) fn status(&self) -> Value {
        let output = self.order(&["status", "--json"]);
        assert!(output.status.success(), "{output:?}");
        serde_json::from_slice(&output.stdout).expect("json")
    }

    /// Asks for the status until it is as `wanted`.
    pub(crate) fn status_until(&self, wanted: impl Fn(&Value) -> bool) -> Value {
        loop {
            let status = self.status();
            if wanted(&status) {
                return status;
            }
            std::thread::sleep(std::time::Duration::from_millis(20));
        }
    }

    pub(crate) fn text(&self, key: &str) -> String {
        self.open[key].as_str().expect(key).to_owned()
    }

    pub(crate) fn join_link(&self) -> JoinLink {
        self.text("join").parse().expect("join link")
    }

    /// The address in the page's URL, and what follows it.
    pub(crate) fn page(&self, key: &str) -> (SocketAddr, String) {
        let url = self.text(key);
        let rest = url.strip_prefix("http://").expect("http");
        let (address, path) = rest.split_once('/').expect("path");
        (address.parse().expect("address"), path.to_owned())
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Sends a request as it stands and returns the status code, the head and the beginning of the body.
pub(crate) fn request(address: SocketAddr, text: &str) -> (u16, String, String) {
    let mut stream = TcpStream::connect(address).expect("connect");
    stream.write_all(text.as_bytes()).expect("send");
    let mut answer = String::new();
    stream.read_to_string(&mut answer).expect("answer");
    let (head, body) = answer.split_once("\r\n\r\n").expect("head");
    let status = head.split(' ').nth(1).expect("status").parse().expect("number");
    (status, head.to_lowercase(), body.to_owned())
}

/// A station that joins by the link.
pub(crate) struct Station {
    pub(crate) key: Fingerprint,
    pub(crate) dialer: Dialer,
    pub(crate) process: u64,
}

/// A station's end of a link.
pub(crate) type End = (Say<ToCoordinator>, Hear<ToStation>);

impl Station {
    pub(crate) fn new() -> Self {
        let identity = Arc::new(Identity::generate().expect("identity"));
        Self {
            key: identity.fingerprint(),
            dialer: Dialer::new(identity).expect("dialer"),
            process: 1,
        }
    }

    /// Dials and introduces itself with `token`.
    pub(crate) async fn call(&self, link: &JoinLink, token: Option<JoinToken>) -> End {
        self.try_call(link, token).await.expect("call")
    }

    /// As [`Station::call`], where the door may be shut.
    pub(crate) async fn try_call(&self, link: &JoinLink, token: Option<JoinToken>) -> Result<End, Box<dyn Error>> {
        let end = self.dialer.dial(link.addresses[0], link.coordinator).await?;
        let (mut say, hear): End = end.split();
        let hello = Hello {
            name: "Ilse".parse()?,
            harp: harp_file::preset("lever-34").ok_or("no such preset")?,
            token,
            process: self.process,
            newest: NEWEST,
        };
        say.say(&ToCoordinator::Hello(hello)).await?;
        Ok((say, hear))
    }
}

/// The next message that `wanted` accepts; heartbeats and the like are passed over.
pub(crate) async fn hear<T>(hear: &mut Hear<ToStation>, wanted: impl Fn(ToStation) -> Option<T>) -> T {
    loop {
        let message = hear.hear().await.expect("hear").expect("a message");
        if let Some(found) = wanted(message) {
            return found;
        }
    }
}
