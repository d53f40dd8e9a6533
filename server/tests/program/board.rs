//! The board can be looked at by whoever has its address, and changed by nobody.

use std::io::{BufRead, BufReader, Write};
use std::net::{SocketAddr, TcpStream};

use serde_json::Value;

use crate::running::{Running, fresh_folder, request};

fn get(address: SocketAddr, target: &str) -> (u16, String, String) {
    request(
        address,
        &format!("GET {target} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n"),
    )
}

/// The stream of pictures, one JSON object at a time.
struct Pictures(BufReader<TcpStream>);

impl Pictures {
    fn open(address: SocketAddr, target: &str) -> Self {
        let mut stream = TcpStream::connect(address).expect("connect");
        write!(stream, "GET {target} HTTP/1.1\r\nHost: {address}\r\n\r\n").expect("send");
        Self(BufReader::new(stream))
    }

    /// The status code; skips the rest of the head.
    fn status(&mut self) -> u16 {
        let mut line = String::new();
        self.0.read_line(&mut line).expect("status line");
        line.split(' ').nth(1).expect("status").parse().expect("number")
    }

    fn next(&mut self) -> Value {
        loop {
            let mut line = String::new();
            assert!(self.0.read_line(&mut line).expect("line") > 0, "the stream ended");
            if let Some(data) = line.strip_prefix("data: ") {
                return serde_json::from_str(data.trim()).expect("json");
            }
        }
    }
}

/// What the picture says is tuned to.
fn agreement(picture: &Value) -> String {
    picture["agreement"].as_str().expect("the agreement").to_owned()
}

#[test]
fn a_new_pitch_appears_on_an_open_board() {
    let running = Running::start(&fresh_folder("board"));
    let (address, path) = running.page("board");
    let mut pictures = Pictures::open(address, &format!("/{path}live"));
    assert_eq!(pictures.status(), 200);
    assert!(agreement(&pictures.next()).starts_with("A = 440 "));
    assert!(running.order(&["pitch", "441.3"]).status.success());
    // The picture before it may come twice: a board is sent one as it opens, and one as the session opens.
    let shown = loop {
        let shown = agreement(&pictures.next());
        if !shown.starts_with("A = 440 ") {
            break shown;
        }
    };
    assert!(shown.starts_with("A = 441.3 "), "{shown}");
}

#[test]
fn the_page_and_its_files_are_there_and_keep_to_themselves() {
    let running = Running::start(&fresh_folder("page"));
    let (address, path) = running.page("board");
    for (file, kind, holds) in [
        ("", "text/html", "board.js"),
        ("board.js", "text/javascript", "follow("),
        ("follow.js", "text/javascript", "EventSource"),
        ("strings.js", "text/javascript", "drawHarp"),
        ("board.css", "text/css", ".row"),
        ("page.css", "text/css", "theme"),
        ("board.json", "application/json", "Nobody has joined yet"),
    ] {
        let (status, head, body) = get(address, &format!("/{path}{file}"));
        assert_eq!(status, 200, "{file}");
        assert!(head.contains(kind) && body.contains(holds), "{file}: {head}");
        for rule in [
            "script-src 'self'",
            "frame-ancestors 'none'",
            "nosniff",
            "no-referrer",
            "same-origin",
        ] {
            assert!(head.contains(rule), "{file} lacks {rule}: {head}");
        }
        assert!(
            !body.contains("<script>") && !body.contains("style="),
            "{file} carries code in its markup"
        );
    }
}

#[test]
fn without_its_token_there_is_no_board() {
    let running = Running::start(&fresh_folder("token"));
    let (address, path) = running.page("board");
    assert_eq!(get(address, &format!("/{path}board.json")).0, 200);
    let wrong = "0".repeat(path.len() - 1);
    for target in [
        "/".to_owned(),
        "/board.json".to_owned(),
        format!("/{wrong}/board.json"),
        format!("/{wrong}/live"),
        format!("/{}/board.json", &path[..path.len() - 2]),
        "/order".to_owned(),
        "/status.json".to_owned(),
    ] {
        assert_eq!(get(address, &target).0, 404, "{target}");
    }
}

#[test]
fn nothing_can_be_sent_to_the_board() {
    let running = Running::start(&fresh_folder("get-only"));
    let (address, path) = running.page("board");
    for method in ["POST", "PUT", "PATCH", "DELETE"] {
        for target in [
            format!("/{path}board.json"),
            format!("/{path}live"),
            format!("/{path}"),
            "/order".to_owned(),
        ] {
            let text = format!(
                "{method} {target} HTTP/1.1\r\nHost: {address}\r\nContent-Type: application/json\r\n\
                 Content-Length: 2\r\nConnection: close\r\n\r\n{{}}"
            );
            let (status, ..) = request(address, &text);
            assert!(matches!(status, 404 | 405), "{method} {target}: {status}");
        }
    }
}

#[test]
fn the_thirty_third_viewer_waits_until_one_has_gone() {
    let running = Running::start(&fresh_folder("viewers"));
    let (address, path) = running.page("board");
    let target = format!("/{path}live");
    let mut viewers: Vec<Pictures> = (0..32).map(|_| Pictures::open(address, &target)).collect();
    for viewer in &mut viewers {
        assert_eq!(viewer.status(), 200);
        viewer.next();
    }
    assert_eq!(Pictures::open(address, &target).status(), 503);
    drop(viewers.pop());
    // The stream notices a gone viewer when it has something to show.
    loop {
        for hz in ["441", "442"] {
            assert!(running.order(&["pitch", hz]).status.success());
        }
        if Pictures::open(address, &target).status() == 200 {
            break;
        }
    }
}

#[test]
fn a_new_address_closes_the_one_before_also_over_a_restart() {
    let folder = fresh_folder("board-address");
    let mut running = Running::start(&folder);
    let old = running.text("board");
    let output = running.order(&["board"]);
    assert!(output.status.success(), "{output:?}");
    let new = String::from_utf8(output.stdout).expect("text").trim().to_owned();
    assert!(new.starts_with("http://") && new != old, "{new}");
    let link = running.order(&["link", "--json"]);
    assert!(String::from_utf8_lossy(&link.stdout).contains(&new), "{link:?}");
    let path = |url: &str| format!("/{}", url.splitn(4, '/').nth(3).expect("a path"));
    let (port, _) = running.page("board");
    let asked = |target: &str| get(port, target);
    let closed = asked(&path(&old));
    assert_eq!(closed.0, 404, "the old one is closed");
    assert!(closed.2.contains("ask the leader"), "{closed:?}");
    assert_eq!(asked(&path(&new)).0, 200);
    running.kill();
    let again = Running::start(&folder);
    assert_eq!(path(&again.text("board")), path(&new));
}
