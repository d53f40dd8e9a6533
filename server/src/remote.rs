//! Orders from another terminal: finds the coordinator that runs on the data folder, and speaks with its control page.

use std::fs;
use std::io::{self, Read, Write};
use std::net::{Ipv4Addr, SocketAddr, TcpStream};
use std::path::{Path, PathBuf};
use std::time::Duration;

use serde::Deserialize;
use serde_json::{Value, json};

/// What a running coordinator leaves in its data folder, readable by its user only.
#[derive(Clone, Deserialize)]
pub struct Handle {
    /// The TCP port of the control page, on loopback.
    pub(crate) port: u16,
    /// What the control page wants to see before it obeys.
    pub(crate) token: String,
}

/// The name of that file.
pub(crate) const FILE: &str = "control.json";

/// Why an order was not carried out.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RemoteError {
    /// No coordinator runs on the folder.
    #[error("no session is open on {folder}: start consort-coordinator first", folder = .0.display())]
    NotRunning(PathBuf),
    /// The coordinator said no.
    #[error("{0}")]
    Refused(String),
    /// What answers is not understood.
    #[error("the answer on port {0} is not a coordinator's: look which program has the port")]
    NotUnderstood(u16),
}

/// A disk that is slow to take the change is waited for as long as this.
const ANSWER_WITHIN: Duration = Duration::from_secs(20);
/// The status of the largest ensemble is far below this.
const ANSWER_MAX: u64 = 8 * 1024 * 1024;

impl Handle {
    /// The name of the cookie that carries the token. Browsers send cookies to every port of a host, so the name says
    /// which page it is for.
    pub(crate) fn cookie(&self) -> String {
        format!("consort-control-{}", self.port)
    }

    /// The file's content.
    pub(crate) fn text(&self) -> String {
        json!({"port": self.port, "token": self.token}).to_string()
    }

    /// The coordinator that runs on the data folder at `path`.
    pub fn find(path: &Path) -> Result<Self, RemoteError> {
        fs::read(path.join(FILE))
            .ok()
            .and_then(|bytes| serde_json::from_slice(&bytes).ok())
            .ok_or_else(|| RemoteError::NotRunning(path.to_owned()))
    }

    /// Asks for `target`, or sends `body` to it, and returns the answer.
    pub fn ask(&self, folder: &Path, target: &str, body: Option<&Value>) -> Result<Value, RemoteError> {
        let not_understood = || RemoteError::NotUnderstood(self.port);
        let answer = match self.exchange(target, body) {
            Ok(answer) => answer,
            Err(cause) if cause.kind() == io::ErrorKind::ConnectionRefused => {
                return Err(RemoteError::NotRunning(folder.to_owned()));
            }
            Err(_) => return Err(not_understood()),
        };
        let (status, answer) = parse(&answer).ok_or_else(not_understood)?;
        match status {
            200 => Ok(answer),
            // Another coordinator, on another folder, has taken the port since.
            403 => Err(RemoteError::NotRunning(folder.to_owned())),
            _ => Err(answer
                .get("why")
                .and_then(Value::as_str)
                .map_or_else(not_understood, |why| RemoteError::Refused(why.to_owned()))),
        }
    }

    fn exchange(&self, target: &str, body: Option<&Value>) -> io::Result<Vec<u8>> {
        let address = SocketAddr::from((Ipv4Addr::LOCALHOST, self.port));
        let mut stream = TcpStream::connect(address)?;
        stream.set_read_timeout(Some(ANSWER_WITHIN))?;
        stream.set_write_timeout(Some(ANSWER_WITHIN))?;
        let (method, body) = match body {
            Some(body) => ("POST", body.to_string()),
            None => ("GET", String::new()),
        };
        let length = body.len();
        let cookie = format!("{}={}", self.cookie(), self.token);
        stream.write_all(
            format!(
                "{method} {target} HTTP/1.1\r\nHost: {address}\r\nOrigin: http://{address}\r\n\
                 Content-Type: application/json\r\nContent-Length: {length}\r\nX-Consort: 1\r\n\
                 Cookie: {cookie}\r\nConnection: close\r\n\r\n{body}"
            )
            .as_bytes(),
        )?;
        let mut answer = Vec::new();
        stream.take(ANSWER_MAX).read_to_end(&mut answer)?;
        Ok(answer)
    }
}

/// The status code and the JSON of an HTTP answer.
fn parse(answer: &[u8]) -> Option<(u16, Value)> {
    let text = std::str::from_utf8(answer).ok()?;
    let (head, body) = text.split_once("\r\n\r\n")?;
    let status = head.split(' ').nth(1)?.parse().ok()?;
    let body = serde_json::from_str(body).unwrap_or(Value::Null);
    Some((status, body))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_answer_is_a_status_and_json_or_nothing() {
        for (answer, expected) in [
            (
                "HTTP/1.1 200 OK\r\nA: b\r\n\r\n{\"a\":1}",
                Some((200, serde_json::json!({"a": 1}))),
            ),
            ("HTTP/1.1 403 Forbidden\r\n\r\n", Some((403, Value::Null))),
            ("SSH-2.0-something\r\n", None),
            ("", None),
        ] {
            assert_eq!(parse(answer.as_bytes()), expected, "{answer}");
        }
    }
}
