//! A page from elsewhere, open in the same browser, can neither read nor order anything.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpListener};

use serde_json::{Value, json};

use crate::browser::Browser;
use crate::network::alone;
use crate::rehearsal::Rehearsal;

/// Serves one empty page to whoever asks, on this same computer: for a browser the same site, so that cookies go along.
fn strange_page() -> SocketAddr {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = listener.local_addr().expect("an address");
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            let Ok(mut stream) = stream else { break };
            let mut asked = [0; 4096];
            let _ = stream.read(&mut asked);
            let page = "<!doctype html><html lang=en><title>Elsewhere</title><body></body></html>";
            let head = format!(
                "HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Length: {}",
                page.len()
            );
            let _ = stream.write_all(format!("{head}\r\nConnection: close\r\n\r\n{page}").as_bytes());
        }
    });
    address
}

/// Tries every way from `page` to its data and its orders; tells for each whether it got anything.
fn attempts(page: &str, looks: &str, changes: &str, body: &Value) -> String {
    format!(
        "
const told = arguments[arguments.length - 1];
const [page, looks, changes, body] = [{page}, {looks}, {changes}, {body}];
const got = (promise) => Promise.race([promise.then(() => 'through', () => 'kept out'), new Promise((done) => setTimeout(done, 3000, 'kept out'))]);
const element = (name, attributes) => new Promise((done, failed) => {{
  const part = Object.assign(document.createElement(name), attributes, {{ onload: done, onerror: failed }});
  document.body.append(part);
}});
const send = (options) => fetch(page + changes, {{ method: 'POST', credentials: 'include', body, ...options }});
const form = () => new Promise((done) => {{
  const part = Object.assign(document.createElement('form'), {{ action: page + changes, method: 'post', enctype: 'text/plain', target: 'nowhere' }});
  part.append(Object.assign(document.createElement('input'), {{ name: body.slice(0, -1) + ',\"x\":\"', value: '\"}}' }}));
  const frame = Object.assign(document.createElement('iframe'), {{ name: 'nowhere', onload: done }});
  document.body.append(frame, part);
  part.submit();
}});
(async () => {{
  const ways = {{
    read: await got(fetch(page + looks, {{ credentials: 'include' }}).then((answer) => answer.text())),
    readBlindly: await got(fetch(page + looks, {{ credentials: 'include', mode: 'no-cors' }})),
    follow: await got(new Promise((done, failed) => Object.assign(new EventSource(page + 'live', {{ withCredentials: true }}), {{ onmessage: done, onerror: failed }}))),
    script: await got(element('script', {{ src: page + 'strings.js' }})),
    order: await got(send({{ headers: {{ 'Content-Type': 'application/json', 'X-Consort': '1' }} }})),
  }};
  // These are sent in any case; what counts is that nothing comes of them.
  await send({{ mode: 'no-cors' }}).catch(() => null);
  await Promise.race([form(), new Promise((done) => setTimeout(done, 2000))]);
  await Promise.race([element('iframe', {{ name: 'framed', src: page }}), new Promise((done) => setTimeout(done, 2000))]);
  try {{ ways.frame = frames.framed.document.querySelector('main') ? 'through' : 'kept out'; }} catch {{ ways.frame = 'kept out'; }}
  told(ways);
}})();",
        page = json!(page),
        looks = json!(looks),
        changes = json!(changes),
        body = json!(body.to_string()),
    )
}

#[test]
fn a_page_from_elsewhere_reads_nothing_and_orders_nothing() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("stranger");
        let runa = rehearsal.harp("Runa", 0);
        let browser = Browser::open(tools);
        let before = rehearsal.status();
        let elsewhere = format!("http://{}/", strange_page());
        let pitch = json!({ "order": "pitch", "hz": 430.0 });
        let mark = json!({ "wish": "mark", "string": 26, "mark": "missing" });
        for (page, looks, changes, body) in [
            (rehearsal.address("control"), "status.json", "order", pitch),
            (runa.desk.clone(), "desk.json", "wish", mark),
        ] {
            // Whoever owns the page has been there, so that the browser holds its cookie.
            browser.go(&page);
            browser.wait("the page", "document.querySelector('#strings li, #harps li')");
            let (page, _) = page.split_once('#').expect("a token");
            browser.go(&elsewhere);
            let ways = browser.run_until_told(&attempts(page, looks, changes, &body));
            let ways = ways.as_object().expect("ways");
            assert_eq!(ways.len(), 6);
            for (way, came) in ways {
                assert_eq!(came, "kept out", "{page}: {way}");
            }
        }
        let after = rehearsal.status();
        for kept in ["pitch_hz", "revision"] {
            assert_eq!(before[kept], after[kept]);
        }
        browser.go(&runa.desk);
        browser.wait("the desk", "document.querySelectorAll('#strings li').length === 47");
        let marked = browser.text("document.getElementById('strings').textContent.includes('missing')");
        assert_eq!(marked, "false");
    });
}
