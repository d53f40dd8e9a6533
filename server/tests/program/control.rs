//! The leader's page obeys itself and nobody else.

use std::io::{BufRead, BufReader, Write};
use std::net::{SocketAddr, TcpStream};

use serde_json::Value;

use crate::running::{Running, fresh_folder, request};

/// A request that differs from a good one as `change` says.
fn forge(address: SocketAddr, cookie: &str, change: impl Fn(&mut Vec<String>)) -> String {
    let body = r#"{"order":"pitch","hz":415}"#;
    let mut lines = vec![
        "POST /order HTTP/1.1".to_owned(),
        format!("Host: {address}"),
        format!("Origin: http://{address}"),
        "Content-Type: application/json".to_owned(),
        "X-Consort: 1".to_owned(),
        format!("Cookie: {cookie}"),
        format!("Content-Length: {}", body.len()),
        "Connection: close".to_owned(),
    ];
    change(&mut lines);
    format!("{}\r\n\r\n{body}", lines.join("\r\n"))
}

/// What makes a good request a forged one.
type Change = Box<dyn Fn(&mut Vec<String>)>;

/// Replaces the line that starts with `name`; an empty `line` takes it out.
fn replace(name: &'static str, line: String) -> Change {
    Box::new(move |lines| {
        lines.retain(|kept| !kept.starts_with(name));
        if !line.is_empty() {
            lines.push(line.clone());
        }
    })
}

/// The cookie that the page gets for the token in its address.
fn enter(running: &Running) -> (SocketAddr, String) {
    let (address, fragment) = running.page("control");
    let token = fragment.strip_prefix('#').expect("the token stands behind #");
    let body = format!(r#"{{"token":"{token}"}}"#);
    let (status, head, _) = request(
        address,
        &format!(
            "POST /enter HTTP/1.1\r\nHost: {address}\r\nOrigin: http://{address}\r\nContent-Type: application/json\r\n\
             X-Consort: 1\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
            body.len()
        ),
    );
    assert_eq!(status, 204, "{head}");
    let line = head
        .lines()
        .find(|line| line.starts_with("set-cookie: "))
        .expect("cookie")
        .to_owned();
    assert!(line.contains("httponly") && line.contains("samesite=strict"), "{line}");
    let cookie = line
        .trim_start_matches("set-cookie: ")
        .split(';')
        .next()
        .expect("cookie");
    (address, cookie.to_owned())
}

#[test]
fn forged_requests_are_all_turned_away() {
    let running = Running::start(&fresh_folder("forged"));
    let (address, cookie) = enter(&running);
    let port = address.port();
    let name = cookie.split('=').next().expect("name").to_owned();
    let mut other_token = cookie.clone();
    let last = if other_token.pop() == Some('0') { '1' } else { '0' };
    other_token.push(last);
    let forgeries = [
        ("no host", replace("Host", String::new())),
        ("another host", replace("Host", "Host: rehearsal.example".to_owned())),
        (
            "another host on the port",
            replace("Host", format!("Host: rehearsal.example:{port}")),
        ),
        ("no port", replace("Host", "Host: 127.0.0.1".to_owned())),
        ("another port", replace("Host", "Host: 127.0.0.1:1".to_owned())),
        (
            "a host that looks like ours",
            replace("Host", format!("Host: 127.0.0.1.example:{port}")),
        ),
        (
            "the board's address",
            replace("Host", format!("Host: 192.168.1.20:{port}")),
        ),
        ("no origin", replace("Origin", String::new())),
        ("null origin", replace("Origin", "Origin: null".to_owned())),
        (
            "another origin",
            replace("Origin", "Origin: http://rehearsal.example".to_owned()),
        ),
        (
            "another port's origin",
            replace("Origin", "Origin: http://127.0.0.1:1".to_owned()),
        ),
        ("secure origin", replace("Origin", format!("Origin: https://{address}"))),
        (
            "our other name's origin",
            replace("Origin", format!("Origin: http://localhost:{port}")),
        ),
        (
            "two origins",
            Box::new(move |lines| lines.push(format!("Origin: http://{address}"))),
        ),
        (
            "a form",
            replace(
                "Content-Type",
                "Content-Type: application/x-www-form-urlencoded".to_owned(),
            ),
        ),
        (
            "plain text",
            replace("Content-Type", "Content-Type: text/plain".to_owned()),
        ),
        ("no type", replace("Content-Type", String::new())),
        ("no header of ours", replace("X-Consort", String::new())),
        ("no cookie", replace("Cookie", String::new())),
        ("another token", replace("Cookie", format!("Cookie: {other_token}"))),
        ("an empty token", replace("Cookie", format!("Cookie: {name}="))),
        (
            "the token under another name",
            replace("Cookie", format!("Cookie: x{cookie}")),
        ),
    ];
    for (forgery, change) in &forgeries {
        let text = forge(address, &cookie, change);
        // Without a host the request is not even HTTP.
        let expected: &[u16] = if *forgery == "no host" { &[400, 403] } else { &[403] };
        let (status, ..) = request(address, &text);
        assert!(expected.contains(&status), "{forgery}: {status}");
    }
    assert_eq!(running.status()["pitch_hz"], 440.0);
    let (status, _, answer) = request(address, &forge(address, &cookie, |_| {}));
    assert_eq!(status, 200, "{answer}");
    assert_eq!(running.status()["pitch_hz"], 415.0);
}

#[test]
fn looking_needs_the_cookie_and_our_own_name() {
    let running = Running::start(&fresh_folder("looking"));
    let (address, cookie) = enter(&running);
    let port = address.port();
    for target in ["/status.json", "/lines.json", "/link.json"] {
        for (host, cookie, expected) in [
            (format!("127.0.0.1:{port}"), cookie.as_str(), 200),
            (format!("localhost:{port}"), cookie.as_str(), 200),
            (format!("127.0.0.1:{port}"), "", 403),
            (format!("rehearsal.example:{port}"), cookie.as_str(), 403),
        ] {
            let text =
                format!("GET {target} HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\nConnection: close\r\n\r\n");
            let (status, head, _) = request(address, &text);
            assert_eq!(status, expected, "{target} {host}");
            assert!(
                head.contains("frame-ancestors 'none'") && head.contains("nosniff"),
                "{head}"
            );
            assert!(!head.contains("access-control-"), "{head}");
        }
    }
}

#[test]
fn the_page_itself_holds_no_secret_and_comes_to_our_own_names_only() {
    let running = Running::start(&fresh_folder("own"));
    let (address, fragment) = running.page("control");
    let token = running.join_link().to_string();
    for target in [
        "/",
        "/control.js",
        "/control.css",
        "/follow.js",
        "/strings.js",
        "/page.css",
    ] {
        for (host, expected) in [(address.to_string(), 200), ("rehearsal.example".to_owned(), 403)] {
            let text = format!("GET {target} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n");
            let (status, _, body) = request(address, &text);
            assert_eq!(status, expected, "{target} {host}");
            assert!(!body.contains(&fragment[1..]) && !body.contains(&token), "{target}");
        }
    }
}

#[test]
fn a_wrong_token_gets_no_cookie() {
    let running = Running::start(&fresh_folder("enter"));
    let (address, _) = running.page("control");
    for body in [
        r#"{"token":""}"#,
        r#"{"token":"0123456789abcdef0123456789abcdef"}"#,
        "{}",
        "",
        "[1]",
    ] {
        let text = format!(
            "POST /enter HTTP/1.1\r\nHost: {address}\r\nOrigin: http://{address}\r\nContent-Type: application/json\r\n\
             X-Consort: 1\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
            body.len()
        );
        let (status, head, _) = request(address, &text);
        assert!(
            (400..500).contains(&status) && !head.contains("set-cookie"),
            "{body}: {head}"
        );
    }
}

#[test]
fn an_order_that_cannot_be_meant_is_answered_with_a_sentence() {
    let running = Running::start(&fresh_folder("sentence"));
    let (address, cookie) = enter(&running);
    let body = r#"{"order":"pitch","hz":4400}"#;
    let text = forge(address, &cookie, |lines| {
        lines.retain(|line| !line.starts_with("Content-Length"));
        lines.push(format!("Content-Length: {}", body.len()));
    });
    let text = text.replace(r#"{"order":"pitch","hz":415}"#, body);
    let (status, _, answer) = request(address, &text);
    assert_eq!(status, 422, "{answer}");
    assert!(answer.contains("380 to 480 Hz"), "{answer}");
}

/// Sends `body` to `target` as the page does, and returns the status code and the answer.
fn send(address: SocketAddr, cookie: &str, target: &str, body: &str) -> (u16, Value) {
    let text = format!(
        "POST {target} HTTP/1.1\r\nHost: {address}\r\nOrigin: http://{address}\r\nContent-Type: application/json\r\n\
         X-Consort: 1\r\nCookie: {cookie}\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
        body.len()
    );
    let (status, _, answer) = request(address, &text);
    (status, serde_json::from_str(&answer).unwrap_or_default())
}

#[test]
fn what_a_change_would_do_is_said_before_it_is_done() {
    let running = Running::start(&fresh_folder("consequence"));
    let (address, cookie) = enter(&running);
    let before = running.status();
    for (body, expected) in [
        (r#"{"hz":441.3}"#, "A = 441.3 · equal temperament · C major"),
        (
            r#"{"temperament":"vallotti","setting":"Eb"}"#,
            "A = 440 · Vallotti · E♭ major",
        ),
    ] {
        let (status, answer) = send(address, &cookie, "/consequence", body);
        assert_eq!(status, 200, "{answer}");
        assert_eq!(answer["agreement"], expected);
        assert!(answer["says"].as_str().is_some_and(|says| !says.is_empty()), "{answer}");
    }
    for body in [r#"{"hz":4400}"#, r#"{"temperament":"loud"}"#, r#"{"setting":"H"}"#] {
        let (status, answer) = send(address, &cookie, "/consequence", body);
        assert_eq!(status, 422, "{body}");
        assert!(
            answer["why"].as_str().is_some_and(|why| !why.is_empty()),
            "{body}: {answer}"
        );
    }
    assert_eq!(send(address, "", "/consequence", r#"{"hz":442}"#).0, 403);
    assert_eq!(running.status(), before);
}

#[test]
fn the_open_page_follows_each_order_of_the_leader() {
    let running = Running::start(&fresh_folder("follows"));
    let (address, cookie) = enter(&running);
    let stream = TcpStream::connect(address).expect("connect");
    let ask = format!("GET /live HTTP/1.1\r\nHost: {address}\r\nCookie: {cookie}\r\n\r\n");
    (&stream).write_all(ask.as_bytes()).expect("send");
    let mut lines = BufReader::new(stream).lines();
    let mut until = |wanted: &dyn Fn(&Value) -> bool| {
        loop {
            let line = lines.next().expect("the stream goes on").expect("line");
            let picture = line.strip_prefix("data: ").map(serde_json::from_str);
            if let Some(page) = picture.transpose().expect("json").filter(wanted) {
                return page;
            }
        }
    };
    let page = until(&|_| true);
    assert_eq!(page["links"]["join"], running.text("join").as_str());
    assert_eq!(page["links"]["board"], running.text("board").as_str());
    assert_eq!((&page["joining"], &page["can_undo"]), (&true.into(), &false.into()));
    assert_eq!(page["code"], running.text("code").as_str());
    assert_eq!(page["links"]["address"], running.text("address").as_str());
    assert_eq!(page["links"]["tag"], running.join_link().coordinator.tag());
    let mut order = |body: &str, wanted: &dyn Fn(&Value) -> bool| {
        let (status, answer) = send(address, &cookie, "/order", body);
        assert_eq!(status, 200, "{body}: {answer}");
        until(wanted);
    };
    order(r#"{"order":"pitch","hz":441.3}"#, &|page| {
        page["pitch_hz"] == 441.3 && page["can_undo"] == true
    });
    order(r#"{"order":"undo"}"#, &|page| page["pitch_hz"] == 440.0);
    order(r#"{"order":"temperament","name":"vallotti"}"#, &|page| {
        page["temperament"] == "vallotti"
    });
    order(
        r#"{"order":"temperament","name":"5.9; 0; 2; 3.9; −2; 7.8; −2; 3.9; 2; 0; 5.9; −3.9"}"#,
        &|page| page["temperament"] == "own" && page["offsets"][11] == -3.9,
    );
    order(r#"{"order":"setting","key":"Eb"}"#, &|page| page["setting"] == "Eb");
    order(r#"{"order":"tolerance","middle":1.5,"wires":4,"top":6}"#, &|page| {
        page["tolerance"] == serde_json::json!({"middle": 1.5, "wires": 4.0, "top": 6.0})
    });
    let shown = running.text("code");
    order(r#"{"order":"code"}"#, &|page| {
        page["code"].is_string() && page["code"] != shown.as_str()
    });
    order(r#"{"order":"joining","open":false}"#, &|page| {
        page["joining"] == false && page["code"].is_null()
    });
    order(r#"{"order":"round"}"#, &|page| page["board"]["round"] == "round 2");
    order(r#"{"order":"start","in_s":600}"#, &|page| {
        page["board"]["start_in_s"].is_u64()
    });
}
