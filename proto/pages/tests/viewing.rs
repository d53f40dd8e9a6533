//! Whoever has the board's address may look; nobody else, nobody can change anything, and no viewer holds up another.

use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::{Body, BodyDataStream};
use axum::http::{Method, Request, StatusCode};
use consort_pages::{Pace, VIEWERS_MAX, board, board_behind};
use futures_util::StreamExt;
use tokio::sync::watch;
use tokio::time::{Instant, advance, timeout};
use tower::ServiceExt;

fn open() -> (watch::Sender<Arc<str>>, Router) {
    let (sender, pictures) = watch::channel(Arc::from(r#"{"n":0}"#));
    (sender, board(pictures, "token"))
}

async fn ask(board: &Router, method: Method, target: &str) -> axum::response::Response {
    let request = Request::builder()
        .method(method)
        .uri(target)
        .body(Body::empty())
        .expect("request");
    board.clone().oneshot(request).await.expect("an answer")
}

async fn live(board: &Router) -> BodyDataStream {
    let response = ask(board, Method::GET, "/token/live").await;
    assert_eq!(response.status(), StatusCode::OK);
    response.into_body().into_data_stream()
}

/// The next picture; what only keeps the stream open is passed over.
async fn next(stream: &mut BodyDataStream) -> String {
    loop {
        let bytes = stream.next().await.expect("the stream goes on").expect("bytes");
        let text = String::from_utf8(bytes.to_vec()).expect("UTF-8");
        if let Some(picture) = text.strip_prefix("data: ") {
            return picture.trim_end().to_owned();
        }
    }
}

#[tokio::test]
async fn without_the_token_there_is_no_board() {
    let (_sender, board) = open();
    for target in ["/token/", "/token/board.json", "/token/board.js", "/token/page.css"] {
        assert_eq!(
            ask(&board, Method::GET, target).await.status(),
            StatusCode::OK,
            "{target}"
        );
    }
    for target in [
        "/",
        "/board.json",
        "/live",
        "/toke/",
        "/tokens/",
        "/TOKEN/",
        "//",
        "/token",
        "/%74oken%00/",
        "/x/live",
        "/x/board.json",
        "/x/board.js",
        "/token/control.js",
        "/token/order",
        "/token/enter",
    ] {
        let response = ask(&board, Method::GET, target).await;
        assert_eq!(response.status(), StatusCode::NOT_FOUND, "{target}");
        assert!(response.headers().contains_key("content-security-policy"), "{target}");
    }
}

#[tokio::test]
async fn nothing_can_be_sent_to_the_board() {
    let (_sender, board) = open();
    for method in [
        Method::POST,
        Method::PUT,
        Method::PATCH,
        Method::DELETE,
        Method::OPTIONS,
    ] {
        for target in ["/token/", "/token/live", "/token/board.json", "/token/board.js"] {
            let status = ask(&board, method.clone(), target).await.status();
            assert_eq!(status, StatusCode::METHOD_NOT_ALLOWED, "{method} {target}");
        }
    }
}

#[tokio::test]
async fn the_viewer_after_the_last_place_waits_until_one_has_gone() {
    let (_sender, board) = open();
    let mut viewers = Vec::new();
    for _ in 0..VIEWERS_MAX {
        viewers.push(live(&board).await);
    }
    assert_eq!(
        ask(&board, Method::GET, "/token/live").await.status(),
        StatusCode::SERVICE_UNAVAILABLE
    );
    assert_eq!(ask(&board, Method::GET, "/token/").await.status(), StatusCode::OK);
    viewers.pop();
    assert_eq!(ask(&board, Method::GET, "/token/live").await.status(), StatusCode::OK);
}

#[tokio::test(start_paused = true)]
async fn a_viewer_gets_the_newest_picture_at_most_twenty_times_a_second() {
    let (sender, board) = open();
    let mut stream = live(&board).await;
    assert_eq!(next(&mut stream).await, r#"{"n":0}"#);
    let begun = Instant::now();
    let changes = tokio::spawn(async move {
        for n in 1..=1000 {
            sender.send_replace(format!(r#"{{"n":{n}}}"#).into());
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
        sender
    });
    let mut pictures = Vec::new();
    while begun.elapsed() < Duration::from_secs(1) {
        pictures.push(next(&mut stream).await);
    }
    assert!((19..=21).contains(&pictures.len()), "{pictures:?}");
    let _sender = changes.await.expect("the changes");
    // The last state always arrives.
    let mut last = pictures.pop();
    while last.as_deref() != Some(r#"{"n":1000}"#) {
        last = Some(next(&mut stream).await);
    }
}

#[tokio::test(start_paused = true)]
async fn a_quiet_board_is_sent_again_so_that_a_dead_link_is_noticed() {
    let (_sender, board) = open();
    let mut stream = live(&board).await;
    next(&mut stream).await;
    for _ in 0..3 {
        let begun = Instant::now();
        assert_eq!(next(&mut stream).await, r#"{"n":0}"#);
        assert_eq!(begun.elapsed(), Pace::BOARD.again);
    }
}

#[tokio::test(start_paused = true)]
async fn a_viewer_who_does_not_look_skips_pictures_and_is_owed_none() {
    let (sender, board) = open();
    let mut slow = live(&board).await;
    for n in 1..=50 {
        sender.send_replace(format!(r#"{{"n":{n}}}"#).into());
        advance(Duration::from_secs(1)).await;
    }
    assert_eq!(next(&mut slow).await, r#"{"n":50}"#);
    drop(sender);
    let rest = timeout(Duration::from_secs(60), async { while slow.next().await.is_some() {} });
    assert!(rest.await.is_ok(), "the stream ends with the session");
}

#[tokio::test]
async fn an_address_that_was_made_anew_shows_nothing_more_by_the_old_one() {
    let (_sender, pictures) = watch::channel(Arc::from(r#"{"n":0}"#));
    let (tokens, token) = watch::channel(Arc::from("token"));
    let board = board_behind(pictures, token);
    let mut stream = live(&board).await;
    assert_eq!(next(&mut stream).await, r#"{"n":0}"#);
    tokens.send_replace(Arc::from("newer"));
    let ended = timeout(Duration::from_secs(10), async {
        while stream.next().await.is_some() {}
    })
    .await;
    assert!(ended.is_ok(), "who looked by the old one sees nothing more");
    for target in ["/token/", "/token/live", "/token/board.json", "/token/board.js"] {
        let response = ask(&board, Method::GET, target).await;
        assert_eq!(response.status(), StatusCode::NOT_FOUND, "{target}");
        let said = axum::body::to_bytes(response.into_body(), 1 << 10)
            .await
            .expect("a body");
        assert!(
            String::from_utf8_lossy(&said).contains("ask the leader"),
            "{target}: {said:?}"
        );
    }
    assert_eq!(ask(&board, Method::GET, "/newer/").await.status(), StatusCode::OK);
}
