//! The director's laptop: it joins by the code once, shows the board on itself, and changes what it was granted.

use std::io::{Read, Write};
use std::net::TcpStream;

use consort_tests::process::Program;
use serde_json::{Value, json};

use crate::ensemble::{Ensemble, PATIENCE};

/// A director's laptop, and the addresses of its pages.
struct Director {
    program: Program,
    board: String,
    control: String,
}

impl Director {
    fn open(ensemble: &Ensemble, more: &[&str]) -> Self {
        let data = ensemble.folder.inside("director");
        let address = ensemble.text("address");
        let mut words = vec!["board", "--json", "--no-browser", "--no-discovery", "--port", "0"];
        words.extend(["--data", &data, "--coordinator", &address]);
        words.extend(more);
        let mut program = Program::start("consort-station", &words);
        let line = program.line(PATIENCE, |line| line.contains("\"board\""));
        let (_, line) = line.unwrap_or_else(|| panic!("{}", program.transcript()));
        let opened: Value = serde_json::from_str(&line).expect("json");
        let text = |key: &str| opened[key].as_str().expect(key).to_owned();
        let (board, control) = (text("board"), text("control"));
        Self {
            program,
            board,
            control,
        }
    }

    /// The board's picture once it is as `wanted`.
    fn board_until(&self, what: &str, wanted: impl Fn(&Value) -> bool) -> Value {
        let (host, path) = parts(&self.board);
        let began = std::time::Instant::now();
        loop {
            let head = format!("GET /{path}board.json HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n");
            let (_, body) = exchange(&host, &head);
            if let Ok(picture) = serde_json::from_str::<Value>(&body)
                && wanted(&picture)
            {
                return picture;
            }
            assert!(began.elapsed() < PATIENCE, "{what}: {body}");
            std::thread::sleep(std::time::Duration::from_millis(50));
        }
    }

    /// Orders as the page does; the status code and what was answered.
    fn order(&self, body: &Value) -> (u16, String) {
        let (host, token) = parts(&self.control);
        let token = token.trim_start_matches('#').to_owned();
        let port = host.rsplit(':').next().expect("a port").to_owned();
        let body = body.to_string();
        exchange(
            &host,
            &format!(
                "POST /order HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nContent-Type: application/json\r\n\
                 Content-Length: {}\r\nX-Consort: 1\r\nCookie: consort-deputy-{port}={token}\r\nConnection: close\r\n\r\n{body}",
                body.len()
            ),
        )
    }
}

/// Host and path of an address.
fn parts(url: &str) -> (String, String) {
    let rest = url.strip_prefix("http://").expect("http");
    let (host, path) = rest.split_once('/').expect("a path");
    (host.to_owned(), path.to_owned())
}

fn exchange(host: &str, request: &str) -> (u16, String) {
    let mut stream = TcpStream::connect(host).expect("connect");
    stream.write_all(request.as_bytes()).expect("send");
    let mut answer = String::new();
    stream.read_to_string(&mut answer).expect("answer");
    let (head, body) = answer.split_once("\r\n\r\n").expect("head");
    let status = head.split(' ').nth(1).expect("status").parse().expect("number");
    (status, body.to_owned())
}

#[test]
fn a_director_joins_once_looks_for_ever_and_changes_what_was_granted() {
    let mut ensemble = Ensemble::open("director", &["--no-discovery"]);
    let code = ensemble.text("code");
    let station_words = [
        "--code",
        &code,
        "--coordinator",
        &ensemble.text("address"),
        "--no-discovery",
    ];
    let _station = ensemble.station("Runa", &[], &station_words);
    ensemble.wait_for("the seat", |status| status["stations"][0]["presence"] == "here");
    let director = Director::open(&ensemble, &["--code", &code]);
    let shown = director.board_until("the harp", |board| board["harps"][0]["name"] == "Runa");
    assert_eq!(shown["harps"].as_array().map(Vec::len), Some(1));
    assert!(
        shown["trouble"]
            .as_str()
            .is_some_and(|says| says.contains("not granted")),
        "{shown}"
    );
    // Looking is all it can do, and who joins is the leader's business in any case.
    let pitch = json!({"order": "pitch", "hz": 442.0});
    assert_eq!(director.order(&pitch).0, 422);
    let watching = ensemble.status()["watching"].clone();
    let tag = watching[0]["tag"].as_str().expect("a tag").to_owned();
    ensemble.order(&["deputy", &tag, "on"]);
    director.board_until("the grant", |board| board["trouble"].is_null());
    let (status, answer) = director.order(&pitch);
    assert_eq!(status, 204, "{answer}");
    director.board_until("the pitch", |board| {
        board["agreement"].as_str().is_some_and(|says| says.contains("442"))
    });
    assert_eq!(ensemble.status()["pitch_hz"], 442.0);
    assert_eq!(director.order(&json!({"order": "joining", "open": false})).0, 422);
    assert_eq!(director.order(&json!({"order": "pitch", "hz": 4400.0})).0, 422);
    assert_eq!(ensemble.status()["joining"], true);
    // Without the coordinator nothing is shown as true, and with it all is as before, without a code.
    let port = ensemble.port();
    ensemble.coordinator.kill();
    let lost = director.board_until("the loss", |board| {
        board["trouble"].as_str().is_some_and(|says| says.contains("No link"))
    });
    assert_eq!(lost["harps"][0]["state"], "unheard");
    ensemble.kill_and_reopen(&port, &["--no-discovery"]);
    director.board_until("the return", |board| board["trouble"].is_null());
    drop(director.program);
    let again = Director::open(&ensemble, &[]);
    again.board_until("the board without a code", |board| board["harps"][0]["name"] == "Runa");
}

#[test]
fn a_laptop_that_nobody_let_in_is_told_what_it_needs() {
    let ensemble = Ensemble::open("director-stranger", &["--no-discovery"]);
    let data = ensemble.folder.inside("director");
    let words = [
        "board",
        "--no-browser",
        "--no-discovery",
        "--port",
        "0",
        "--data",
        &data,
    ];
    let output = consort_tests::process::run("consort-station", &words);
    let complaint = String::from_utf8_lossy(&output.stderr);
    assert!(!output.status.success() && complaint.contains("--code"), "{complaint}");
}
