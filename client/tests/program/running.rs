//! The program as a process of its own, and what the tests ask of it.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Output, Stdio};

use serde_json::Value;
use tempfile::TempDir;

/// What keeps a station of these tests to itself, on a port of the system's choice.
pub(crate) const ALONE: [&str; 4] = ["--no-discovery", "--no-browser", "--desk-port", "0"];

/// A folder that goes away with this value.
pub(crate) struct Folder(TempDir);

impl Folder {
    /// An empty folder for `test`.
    pub(crate) fn new(test: &str) -> Self {
        Self(TempDir::with_prefix(format!("consort-station-{test}-")).expect("temporary files can be made"))
    }

    /// A path inside it.
    pub(crate) fn at(&self, name: &str) -> String {
        self.0.path().join(name).to_str().expect("path").to_owned()
    }
}

/// The program, without what the user's own settings would add.
pub(crate) fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_consort-station"));
    command.env_remove("CONSORT_LOG").stdin(Stdio::null());
    command
}

/// Runs the program with `words` to its end.
pub(crate) fn run(words: &[&str]) -> Output {
    program().args(words).output().expect("run")
}

/// What a run printed: its exit code, the lines of standard output, and the lines of standard error.
pub(crate) fn told(output: &Output) -> (Option<i32>, Vec<String>, Vec<String>) {
    let lines = |bytes: &[u8]| {
        let text = String::from_utf8(bytes.to_vec()).expect("text");
        text.lines().map(str::to_owned).collect()
    };
    (output.status.code(), lines(&output.stdout), lines(&output.stderr))
}

/// Each line of `lines` as JSON.
pub(crate) fn objects(lines: &[String]) -> Vec<Value> {
    let parse = |line: &String| serde_json::from_str(line).unwrap_or_else(|why| panic!("{why}: {line}"));
    lines.iter().map(parse).collect()
}

/// The recordings that come with the project.
pub(crate) fn recordings() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/recordings")
}

/// A station that runs until it is dropped.
pub(crate) struct Running {
    child: Child,
    lines: BufReader<ChildStdout>,
}

impl Running {
    /// Starts a station with its data in `data`, hearing standard input, which stays open and silent.
    pub(crate) fn start(data: &str, words: &[&str]) -> Self {
        let mut child = program()
            .args(["--data", data, "--json", "--input", "stdin"])
            .args(ALONE)
            .args(words)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("start");
        let lines = BufReader::new(child.stdout.take().expect("piped"));
        Self { child, lines }
    }

    /// The next line that holds `key`; lines before it are passed over.
    pub(crate) fn next_with(&mut self, key: &str, value: &str) -> Value {
        loop {
            let mut line = String::new();
            let read = self.lines.read_line(&mut line).expect("line");
            assert!(read > 0, "the station has ended before {key} was {value}");
            let object: Value = serde_json::from_str(&line).expect(&line);
            if object[key] == value {
                return object;
            }
        }
    }

    /// Where the desk is, and the token of its page.
    pub(crate) fn desk(&mut self) -> (SocketAddr, String) {
        let event = self.next_with("event", "desk");
        let url = event["url"].as_str().expect("url");
        let (address, token) = url
            .strip_prefix("http://")
            .and_then(|rest| rest.split_once("/#"))
            .expect("the token stands behind #");
        (address.parse().expect("address"), token.to_owned())
    }

    /// Asks the station to end, as Ctrl-C does, and waits until it has.
    pub(crate) fn end(mut self) {
        let asked = Command::new("kill")
            .args(["-INT", &self.child.id().to_string()])
            .status();
        assert!(asked.is_ok_and(|status| status.success()));
        let ended = self.child.wait().expect("end");
        assert_eq!(ended.code(), Some(0));
    }

    /// Gives the station `samples` to hear.
    pub(crate) fn play(&mut self, samples: &[f32]) {
        let bytes: Vec<u8> = samples.iter().flat_map(|sample| sample.to_le_bytes()).collect();
        let sound = self.child.stdin.as_mut().expect("piped");
        sound.write_all(&bytes).and_then(|()| sound.flush()).expect("play");
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Sends `text` to `address` and reads the answer: its status, its head in lower case, its body.
pub(crate) fn request(address: SocketAddr, text: &str) -> (u16, String, String) {
    let mut stream = TcpStream::connect(address).expect("connect");
    stream.write_all(text.as_bytes()).expect("send");
    let mut answer = String::new();
    stream.read_to_string(&mut answer).expect("answer");
    let (head, body) = answer.split_once("\r\n\r\n").expect("head");
    let status = head.split(' ').nth(1).expect("status").parse().expect("number");
    (status, head.to_lowercase(), body.to_owned())
}
