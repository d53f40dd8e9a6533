//! What stands before a page that may change something: exact hosts, a token, proof that a change comes from the page
//! itself, and the headers that keep a page to itself.

use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::header::{CONTENT_TYPE, COOKIE, HOST, HeaderName, ORIGIN, SET_COOKIE};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::{Next, from_fn, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::post;
use axum::{Json, Router};
use serde::Deserialize;

/// The guard of a page that is served on this computer only.
#[derive(Clone, Debug)]
pub struct Guard(Arc<Rules>);

struct Rules {
    /// This computer's own names with the port: whatever else a browser was made to believe is turned away.
    hosts: [String; 3],
    cookie: String,
    token: String,
}

impl std::fmt::Debug for Rules {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { hosts, cookie, .. } = self;
        f.debug_struct("Rules")
            .field("hosts", hosts)
            .field("cookie", cookie)
            .field("token", &"…")
            .finish()
    }
}

/// The header that only the page's own script sends: another site's script would first have to ask, and is refused.
const OWN: HeaderName = HeaderName::from_static("x-consort");

/// What every answer carries. Nothing from elsewhere runs, and the page runs nowhere else.
const HEADERS: [(HeaderName, HeaderValue); 5] = [
    (
        HeaderName::from_static("content-security-policy"),
        HeaderValue::from_static(
            "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self' data:; \
             base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
        ),
    ),
    (
        HeaderName::from_static("x-content-type-options"),
        HeaderValue::from_static("nosniff"),
    ),
    (
        HeaderName::from_static("referrer-policy"),
        HeaderValue::from_static("no-referrer"),
    ),
    (
        HeaderName::from_static("cross-origin-resource-policy"),
        HeaderValue::from_static("same-origin"),
    ),
    (
        HeaderName::from_static("cache-control"),
        HeaderValue::from_static("no-store"),
    ),
];

/// What a page sends first: the token that stood behind the `#` of its address.
#[derive(Deserialize)]
struct Entry {
    token: String,
}

impl Guard {
    /// The guard of the page on TCP port `port`. Whoever shows `token` once gets a cookie called `cookie`, which must
    /// differ from that of any other page on this computer: cookies do not tell ports apart.
    pub fn new(port: u16, cookie: String, token: String) -> Self {
        Self(Arc::new(Rules {
            hosts: [
                format!("127.0.0.1:{port}"),
                format!("localhost:{port}"),
                format!("[::1]:{port}"),
            ],
            cookie,
            token,
        }))
    }

    /// `open` for whoever comes from this computer, `closed` for who shows the token as well; `POST /enter` takes it.
    pub fn protect(&self, open: Router, closed: Router) -> Router {
        let entrance = Router::new().route("/enter", post(enter)).with_state(self.clone());
        let closed = closed.layer(from_fn_with_state(self.clone(), with_token));
        open.merge(entrance)
            .merge(closed)
            .layer(from_fn_with_state(self.clone(), from_here))
            .layer(from_fn(with_headers))
    }

    /// Whether this is the token.
    fn knows(&self, token: &str) -> bool {
        same(token.as_bytes(), self.0.token.as_bytes())
    }

    /// The cookie that shows the token from now on.
    fn cookie(&self) -> String {
        let Rules { cookie, token, .. } = &*self.0;
        format!("{cookie}={token}; HttpOnly; SameSite=Strict; Path=/")
    }
}

/// Adds the headers to every answer.
pub async fn with_headers(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    response.headers_mut().extend(HEADERS);
    response
}

async fn enter(State(guard): State<Guard>, Json(entry): Json<Entry>) -> Response {
    if guard.knows(&entry.token) {
        ([(SET_COOKIE, guard.cookie())], StatusCode::NO_CONTENT).into_response()
    } else {
        forbidden()
    }
}

async fn from_here(State(Guard(rules)): State<Guard>, request: Request, next: Next) -> Response {
    let headers = request.headers();
    let Some(host) = only(headers, &HOST).filter(|host| rules.hosts.iter().any(|own| own == host)) else {
        return forbidden();
    };
    if request.method() != Method::GET {
        let origin = only(headers, &ORIGIN).and_then(|origin| origin.strip_prefix("http://"));
        let json = only(headers, &CONTENT_TYPE) == Some("application/json");
        if origin != Some(host) || !json || only(headers, &OWN).is_none() {
            return forbidden();
        }
    }
    next.run(request).await
}

async fn with_token(State(guard): State<Guard>, request: Request, next: Next) -> Response {
    let shown = only(request.headers(), &COOKIE).and_then(|cookies| {
        cookies
            .split("; ")
            .filter_map(|cookie| cookie.split_once('='))
            .find(|(name, _)| *name == guard.0.cookie)
    });
    if shown.is_some_and(|(_, token)| guard.knows(token)) {
        next.run(request).await
    } else {
        forbidden()
    }
}

fn forbidden() -> Response {
    StatusCode::FORBIDDEN.into_response()
}

/// The header's value, if it is there once and readable.
fn only<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    let mut values = headers.get_all(name).iter();
    match (values.next(), values.next()) {
        (Some(value), None) => value.to_str().ok(),
        _ => None,
    }
}

/// Compares without telling by the time it takes how much of a guess was right.
pub fn same(shown: &[u8], right: &[u8]) -> bool {
    shown.len() == right.len() && shown.iter().zip(right).fold(0, |sum, (a, b)| sum | (a ^ b)) == 0
}
