//! A page that may change something obeys itself and nobody else.

use axum::Router;
use axum::body::Body;
use axum::http::{HeaderName, HeaderValue, Method, Request, Response, StatusCode};
use axum::routing::{get, post};
use consort_pages::Guard;
use tower::ServiceExt;

const TOKEN: &str = "3f9a61c0d2b84e57a6110c9be7d45f28";
const COOKIE: &str = "consort-desk-4701=3f9a61c0d2b84e57a6110c9be7d45f28";

fn pages() -> Router {
    let guard = Guard::new(4701, "consort-desk-4701".to_owned(), TOKEN.to_owned());
    let open = Router::new().route("/", get(async || "page"));
    let closed = Router::new()
        .route("/live", get(async || "picture"))
        .route("/order", post(async || "done"));
    guard.protect(open, closed)
}

/// A request as the page itself sends it.
fn good(method: Method, target: &str, body: &str) -> Request<Body> {
    Request::builder()
        .method(method)
        .uri(target)
        .header("host", "127.0.0.1:4701")
        .header("origin", "http://127.0.0.1:4701")
        .header("content-type", "application/json")
        .header("x-consort", "1")
        .header("cookie", COOKIE)
        .body(Body::from(body.to_owned()))
        .expect("request")
}

async fn answer(request: Request<Body>) -> Response<Body> {
    pages().oneshot(request).await.expect("an answer")
}

/// What a forger does to a good request: each pair sets the header, an empty value takes it away.
type Change = &'static [(&'static str, &'static str)];

fn forge(mut request: Request<Body>, change: Change) -> Request<Body> {
    for (name, value) in change {
        let name = HeaderName::from_static(name);
        if value.is_empty() {
            request.headers_mut().remove(name);
        } else {
            request.headers_mut().insert(name, HeaderValue::from_static(value));
        }
    }
    request
}

#[tokio::test]
async fn the_page_itself_is_obeyed() {
    assert_eq!(
        answer(good(Method::POST, "/order", "{}")).await.status(),
        StatusCode::OK
    );
    assert_eq!(answer(good(Method::GET, "/live", "")).await.status(), StatusCode::OK);
    for host in ["localhost:4701", "[::1]:4701"] {
        let mut request = good(Method::POST, "/order", "{}");
        let origin = format!("http://{host}").parse().expect("origin");
        request.headers_mut().insert("host", HeaderValue::from_static(host));
        request.headers_mut().insert("origin", origin);
        assert_eq!(answer(request).await.status(), StatusCode::OK, "{host}");
    }
}

#[tokio::test]
async fn every_forged_order_is_refused() {
    #[rustfmt::skip]
    let table: &[(&str, Change)] = &[
        ("no host",                     &[("host", "")]),
        ("a name rebound to loopback",  &[("host", "harps.example:4701"), ("origin", "http://harps.example:4701")]),
        ("another port",                &[("host", "127.0.0.1:4702"), ("origin", "http://127.0.0.1:4702")]),
        ("no port",                     &[("host", "127.0.0.1"), ("origin", "http://127.0.0.1")]),
        ("a longer name",               &[("host", "127.0.0.1:4701.example"), ("origin", "http://127.0.0.1:4701.example")]),
        ("another loopback address",    &[("host", "127.0.0.2:4701"), ("origin", "http://127.0.0.2:4701")]),
        ("the unspecified address",     &[("host", "0.0.0.0:4701"), ("origin", "http://0.0.0.0:4701")]),
        ("a user in front",             &[("host", "me@127.0.0.1:4701")]),
        ("no origin",                   &[("origin", "")]),
        ("another site",                &[("origin", "http://harps.example")]),
        ("an opaque origin",            &[("origin", "null")]),
        ("another program here",        &[("origin", "http://127.0.0.1:8080")]),
        ("this computer by its name",   &[("origin", "http://localhost:4701")]),
        ("an origin over TLS",          &[("origin", "https://127.0.0.1:4701")]),
        ("an origin with a path",       &[("origin", "http://127.0.0.1:4701/")]),
        ("an origin with more behind",  &[("origin", "http://127.0.0.1:4701.example")]),
        ("a form",                      &[("content-type", "application/x-www-form-urlencoded")]),
        ("a form with files",           &[("content-type", "multipart/form-data; boundary=x")]),
        ("plain text",                  &[("content-type", "text/plain")]),
        ("plain text that says JSON",   &[("content-type", "text/plain; application/json")]),
        ("no type",                     &[("content-type", "")]),
        ("without the own header",      &[("x-consort", "")]),
        ("no cookie",                   &[("cookie", "")]),
        ("an empty token",              &[("cookie", "consort-desk-4701=")]),
        ("a wrong token",               &[("cookie", "consort-desk-4701=3f9a61c0d2b84e57a6110c9be7d45f29")]),
        ("a token cut short",           &[("cookie", "consort-desk-4701=3f9a61c0d2b84e57a6110c9be7d45f2")]),
        ("a token with more behind",    &[("cookie", "consort-desk-4701=3f9a61c0d2b84e57a6110c9be7d45f280")]),
        ("another page's cookie",       &[("cookie", "consort-desk-4702=3f9a61c0d2b84e57a6110c9be7d45f28")]),
        ("the token before the cookie", &[("cookie", "consort-desk-4701=x; consort-desk-4701=3f9a61c0d2b84e57a6110c9be7d45f28")]),
    ];
    assert!(table.len() >= 20);
    for (what, change) in table {
        let response = answer(forge(good(Method::POST, "/order", "{}"), change)).await;
        assert_eq!(response.status(), StatusCode::FORBIDDEN, "{what}");
        assert!(response.headers().contains_key("content-security-policy"), "{what}");
    }
}

#[tokio::test]
async fn a_header_that_is_there_twice_counts_as_forged() {
    for (name, value) in [
        ("host", "127.0.0.1:4701"),
        ("origin", "http://127.0.0.1:4701"),
        ("content-type", "application/json"),
        ("x-consort", "1"),
        ("cookie", COOKIE),
    ] {
        let mut request = good(Method::POST, "/order", "{}");
        request.headers_mut().append(name, HeaderValue::from_static(value));
        assert_eq!(answer(request).await.status(), StatusCode::FORBIDDEN, "{name}");
    }
}

#[tokio::test]
async fn what_the_page_shows_is_shown_to_the_token_only() {
    let pictures = |change| async move { answer(forge(good(Method::GET, "/live", ""), change)).await.status() };
    assert_eq!(pictures(&[("cookie", "")]).await, StatusCode::FORBIDDEN);
    assert_eq!(pictures(&[("host", "harps.example:4701")]).await, StatusCode::FORBIDDEN);
    for method in [Method::HEAD, Method::PUT, Method::DELETE, Method::OPTIONS] {
        let forged = forge(good(method.clone(), "/live", ""), &[("origin", "http://harps.example")]);
        assert_eq!(answer(forged).await.status(), StatusCode::FORBIDDEN, "{method}");
    }
}

#[tokio::test]
async fn the_token_is_changed_for_a_cookie_that_no_script_and_no_other_site_can_use() {
    let enter = |body: String, change| async move { answer(forge(good(Method::POST, "/enter", &body), change)).await };
    let response = enter(format!(r#"{{"token":"{TOKEN}"}}"#), &[("cookie", "")]).await;
    assert_eq!(response.status(), StatusCode::NO_CONTENT);
    let cookie = response.headers()["set-cookie"].to_str().expect("text").to_owned();
    assert_eq!(cookie, format!("{COOKIE}; HttpOnly; SameSite=Strict; Path=/"));
    for body in [r#"{"token":"guess"}"#, r#"{"token":""}"#] {
        let response = enter(body.to_owned(), &[("cookie", "")]).await;
        assert_eq!(response.status(), StatusCode::FORBIDDEN, "{body}");
        assert!(!response.headers().contains_key("set-cookie"), "{body}");
    }
    let elsewhere = enter(
        format!(r#"{{"token":"{TOKEN}"}}"#),
        &[("origin", "http://harps.example")],
    )
    .await;
    assert_eq!(elsewhere.status(), StatusCode::FORBIDDEN);
}

#[tokio::test]
async fn every_answer_keeps_the_page_to_itself() {
    let response = answer(forge(good(Method::GET, "/", ""), &[("cookie", ""), ("origin", "")])).await;
    assert_eq!(response.status(), StatusCode::OK);
    for (name, value) in [
        (
            "content-security-policy",
            "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self' data:; \
             base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
        ),
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "no-referrer"),
        ("cross-origin-resource-policy", "same-origin"),
        ("cache-control", "no-store"),
    ] {
        assert_eq!(response.headers()[name], value, "{name}");
    }
}
