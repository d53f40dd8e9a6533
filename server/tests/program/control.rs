//! The leader's page obeys itself and nobody else.

use std::net::SocketAddr;

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
    for target in ["/status.json", "/link.json"] {
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
    for target in ["/", "/control.js", "/board.js", "/page.css"] {
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
