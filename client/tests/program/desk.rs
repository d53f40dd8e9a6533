//! The desk's page shows the harp to its harpist, obeys itself, and nobody else.

use std::net::SocketAddr;
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::running::{Folder, Running, request};
use crate::sound::{MIDDLE_C_FLAT_HZ, pluck, raised};

/// The page of a running station, entered with its token.
pub(crate) struct Desk {
    address: SocketAddr,
    cookie: String,
}

impl Desk {
    /// Shows the token once, as the page does.
    pub(crate) fn enter(station: &mut Running) -> Self {
        let (address, token) = station.desk();
        let (status, head, _) = post(address, "/enter", "", &format!(r#"{{"token":"{token}"}}"#), |_| {});
        assert_eq!(status, 204, "{head}");
        let cookie = head.lines().find_map(|line| line.strip_prefix("set-cookie: "));
        let cookie = cookie.and_then(|cookie| cookie.split(';').next()).expect("cookie");
        Self {
            address,
            cookie: cookie.to_owned(),
        }
    }

    /// What the page shows.
    pub(crate) fn look(&self) -> Value {
        let Self { address, cookie } = self;
        let (status, _, body) = request(
            *address,
            &format!("GET /desk.json HTTP/1.1\r\nHost: {address}\r\nCookie: {cookie}\r\nConnection: close\r\n\r\n"),
        );
        assert_eq!(status, 200);
        serde_json::from_str(&body).expect("picture")
    }

    /// Looks until `wanted`.
    pub(crate) fn wait_until(&self, wanted: impl Fn(&Value) -> bool) -> Value {
        let patience = Instant::now() + Duration::from_secs(20);
        loop {
            let picture = self.look();
            if wanted(&picture) {
                return picture;
            }
            assert!(Instant::now() < patience, "it never came to that: {picture}");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Sends a wish.
    pub(crate) fn wish(&self, body: &str) -> (u16, String, String) {
        post(self.address, "/wish", &self.cookie, body, |_| {})
    }
}

/// A request as the page makes it, but for what `change` makes of its lines.
fn post(
    address: SocketAddr,
    target: &str,
    cookie: &str,
    body: &str,
    change: impl Fn(&mut Vec<String>),
) -> (u16, String, String) {
    let mut lines = vec![
        format!("POST {target} HTTP/1.1"),
        format!("Host: {address}"),
        format!("Origin: http://{address}"),
        "Content-Type: application/json".to_owned(),
        "X-Consort: 1".to_owned(),
        format!("Cookie: {cookie}"),
        format!("Content-Length: {}", body.len()),
        "Connection: close".to_owned(),
    ];
    change(&mut lines);
    request(address, &format!("{}\r\n\r\n{body}", lines.join("\r\n")))
}

#[test]
fn the_string_in_hand_is_shown_with_what_to_do() {
    let folder = Folder::new("shown");
    let mut station = Running::start(&folder.at("data"), &["--no-opening"]);
    let desk = Desk::enter(&mut station);
    let picture = desk.look();
    assert_eq!(picture["word"], "Pluck");
    assert_eq!(picture["string"]["name"], "4C");
    assert_eq!(
        picture["string"]["cents"],
        Value::Null,
        "nothing drawn may be taken for advice"
    );
    assert_eq!(picture["strings"].as_array().map(Vec::len), Some(47));
    assert_eq!(picture["tuning"], "A = 440 · equal temperament · C major");
    station.play(&pluck(raised(MIDDLE_C_FLAT_HZ, -20.0), 48_000));
    let picture = desk.wait_until(|picture| picture["strings"][25]["standing"] == "off");
    assert_eq!(picture["word"], "Tighten");
    assert_eq!(picture["place"], "middle C");
    let cents = picture["string"]["cents"].as_f64().expect("cents");
    assert!((cents + 20.0).abs() < 1.0, "{cents}");
    assert!(
        picture["sentence"]
            .as_str()
            .expect("text")
            .starts_with("4C, middle C: Tighten")
    );
}

#[test]
fn what_is_wrong_with_the_input_is_shown_until_it_is_well() {
    let folder = Folder::new("troubled");
    let mut station = Running::start(&folder.at("data"), &[]);
    let desk = Desk::enter(&mut station);
    let shows = |text: &'static str, urgent: bool| {
        move |picture: &Value| {
            picture["urgent"] == urgent && picture["message"].as_str().is_some_and(|said| said.contains(text))
        }
    };
    let hum: Vec<f32> = (0..144_000)
        .map(|n| 0.1 * (std::f32::consts::TAU * 50.0 * n as f32 / 48_000.0).sin())
        .collect();
    // A suppressor lets three beginnings through and takes the rest for noise.
    let mut cut_off = pluck(MIDDLE_C_FLAT_HZ, 48_000);
    cut_off.truncate(24_000);
    cut_off.resize(48_000, 0.0);

    station.play(&vec![0.0; 144_000]);
    desk.wait_until(shows("Is the pickup plugged in", true));
    station.play(&hum);
    desk.wait_until(shows("hum at 50 Hz", true));
    station.play(&cut_off.repeat(4));
    desk.wait_until(shows("Turn noise suppression off", true));
    // Cuts are forgotten after half a minute without one.
    let mut state = 1_u32;
    let hiss: Vec<f32> = std::iter::repeat_with(|| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (f64::from(state) / f64::from(u32::MAX) - 0.5) as f32 * 1e-3
    })
    .take(32 * 48_000)
    .collect();
    station.play(&hiss);
    desk.wait_until(shows("Tuning alone", false));
}

#[test]
fn a_mark_is_set_and_taken_back() {
    let folder = Folder::new("marks");
    let mut station = Running::start(&folder.at("data"), &[]);
    let desk = Desk::enter(&mut station);
    for (mark, standing) in [("\"new\"", "new"), ("\"missing\"", "missing"), ("null", "not-heard")] {
        let (status, _, answer) = desk.wish(&format!(r#"{{"wish":"mark","string":47,"mark":{mark}}}"#));
        assert_eq!(status, 204, "{answer}");
        desk.wait_until(|picture| picture["strings"][46]["standing"] == standing);
    }
    // A slip of any kind is taken back, and once.
    desk.wish(r#"{"wish":"mark","string":40,"mark":"missing"}"#);
    desk.wait_until(|picture| picture["strings"][39]["standing"] == "missing");
    desk.wish(r#"{"wish":"undo"}"#);
    desk.wait_until(|picture| picture["strings"][39]["standing"] == "not-heard");
}

#[test]
fn a_wish_that_cannot_be_meant_is_answered_with_a_sentence() {
    let folder = Folder::new("meant");
    let mut station = Running::start(&folder.at("data"), &[]);
    let desk = Desk::enter(&mut station);
    for (body, says) in [
        (r#"{"wish":"mark","string":48,"mark":"new"}"#, "47 strings"),
        (r#"{"wish":"join","with":"hello"}"#, "8 digits"),
        (
            r#"{"wish":"join","with":"4829 1373"}"#,
            "one digit of the code looks off",
        ),
        (r#"{"wish":"join","with":"consort://hall/a/b"}"#, "address “hall”"),
    ] {
        let (status, _, answer) = desk.wish(body);
        assert!(status == 422 && answer.contains(says), "{status} {answer}");
    }
}

#[test]
fn forged_wishes_are_all_turned_away() {
    let folder = Folder::new("forged");
    let mut station = Running::start(&folder.at("data"), &[]);
    let desk = Desk::enter(&mut station);
    let (address, port) = (desk.address, desk.address.port());
    let mut other_token = desk.cookie.clone();
    let last = if other_token.pop() == Some('0') { '1' } else { '0' };
    other_token.push(last);
    for (name, line) in [
        ("Host", format!("Host: rehearsal.example:{port}")),
        ("Host", "Host: 127.0.0.1".to_owned()),
        ("Host", format!("Host: 127.0.0.1.example:{port}")),
        ("Origin", String::new()),
        ("Origin", "Origin: null".to_owned()),
        ("Origin", "Origin: http://rehearsal.example".to_owned()),
        ("Origin", format!("Origin: http://localhost:{port}")),
        ("Content-Type", "Content-Type: text/plain".to_owned()),
        ("Content-Type", String::new()),
        ("X-Consort", String::new()),
        ("Cookie", String::new()),
        ("Cookie", format!("Cookie: {other_token}")),
    ] {
        let body = r#"{"wish":"mark","string":1,"mark":"missing"}"#;
        let (status, head, _) = post(address, "/wish", &desk.cookie, body, |lines| {
            lines.retain(|kept| !kept.starts_with(name));
            lines.extend((!line.is_empty()).then(|| line.clone()));
        });
        assert_eq!(status, 403, "{name} as “{line}”: {head}");
    }
    assert_eq!(desk.look()["strings"][0]["standing"], "not-heard");
}

#[test]
fn looking_needs_the_cookie_and_the_page_itself_holds_no_secret() {
    let folder = Folder::new("looking");
    let mut station = Running::start(&folder.at("data"), &[]);
    let desk = Desk::enter(&mut station);
    let token = desk.cookie.split('=').nth(1).expect("token");
    let own = desk.address.to_string();
    for (target, host, cookie, expected) in [
        ("/desk.json", own.as_str(), desk.cookie.as_str(), 200),
        ("/desk.json", &own, "", 403),
        ("/desk.json", "rehearsal.example", &desk.cookie, 403),
        ("/live", &own, "", 403),
        ("/", &own, "", 200),
        ("/", "rehearsal.example", "", 403),
        ("/desk.js", &own, "", 200),
        ("/strings.js", &own, "", 200),
        ("/follow.js", &own, "", 200),
        ("/page.css", &own, "", 200),
        ("/desk.css", &own, "", 200),
        ("/other", &own, &desk.cookie, 404),
    ] {
        let text = format!("GET {target} HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\nConnection: close\r\n\r\n");
        let (status, head, body) = request(desk.address, &text);
        assert_eq!(status, expected, "{target} {host}");
        assert!(
            head.contains("frame-ancestors 'none'") && head.contains("nosniff"),
            "{head}"
        );
        assert!(!head.contains("access-control-") && !body.contains(token), "{target}");
    }
}
