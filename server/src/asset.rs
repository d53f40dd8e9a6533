//! The files of the pages, inside the program.

use axum::http::HeaderName;
use axum::http::header::CONTENT_TYPE;
use axum::response::Html;

/// A file with its type.
type Asset = ([(HeaderName, &'static str); 1], &'static str);

const SCRIPT: [(HeaderName, &str); 1] = [(CONTENT_TYPE, "text/javascript; charset=utf-8")];
const STYLE: [(HeaderName, &str); 1] = [(CONTENT_TYPE, "text/css; charset=utf-8")];

pub(crate) const fn board_page() -> Html<&'static str> {
    Html(include_str!("page/board.html"))
}

pub(crate) async fn control_page() -> Html<&'static str> {
    Html(include_str!("page/control.html"))
}

pub(crate) async fn board_script() -> Asset {
    (SCRIPT, include_str!("page/board.js"))
}

pub(crate) async fn control_script() -> Asset {
    (SCRIPT, include_str!("page/control.js"))
}

pub(crate) async fn style() -> Asset {
    (STYLE, include_str!("page/page.css"))
}
