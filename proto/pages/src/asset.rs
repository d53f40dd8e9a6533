//! The files of the pages, inside the program.

use axum::Router;
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use axum::routing::get;

/// One file: what a page calls it, its type, its text.
pub(crate) struct Asset {
    pub(crate) name: &'static str,
    kind: &'static str,
    pub(crate) text: &'static str,
}

const HTML: &str = "text/html; charset=utf-8";
const STYLE: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";

macro_rules! files {
    ($($name:literal: $kind:ident from $file:literal),* $(,)?) => {
        &[$(Asset { name: $name, kind: $kind, text: include_str!(concat!("../page/", $file)) }),*]
    };
}

/// The board: the page itself has the empty name, since it stands at the end of a folder.
pub(crate) const BOARD: &[Asset] = files! {
    "": HTML from "board.html",
    "board.css": STYLE from "board.css",
    "board.js": SCRIPT from "board.js",
    "rows.js": SCRIPT from "rows.js",
    "beside.js": SCRIPT from "beside.js",
    "section.js": SCRIPT from "section.js",
    "page.css": STYLE from "page.css",
    "follow.js": SCRIPT from "follow.js",
    "strings.js": SCRIPT from "strings.js",
};

pub(crate) const CONTROL: &[Asset] = files! {
    "": HTML from "control.html",
    "control.css": STYLE from "control.css",
    "control.js": SCRIPT from "control.js",
    "draft.js": SCRIPT from "draft.js",
    "tuning.js": SCRIPT from "tuning.js",
    "measure.js": SCRIPT from "measure.js",
    "seats.js": SCRIPT from "seats.js",
    "call.js": SCRIPT from "call.js",
    "page.css": STYLE from "page.css",
    "follow.js": SCRIPT from "follow.js",
    "strings.js": SCRIPT from "strings.js",
};

pub(crate) const DESK: &[Asset] = files! {
    "": HTML from "desk.html",
    "desk.css": STYLE from "desk.css",
    "desk.js": SCRIPT from "desk.js",
    "large.js": SCRIPT from "large.js",
    "setup.js": SCRIPT from "setup.js",
    "ear.js": SCRIPT from "ear.js",
    "stand.js": SCRIPT from "stand.js",
    "tone.js": SCRIPT from "tone.js",
    "page.css": STYLE from "page.css",
    "follow.js": SCRIPT from "follow.js",
    "strings.js": SCRIPT from "strings.js",
};

pub(crate) const RECORD: &[Asset] = files! {
    "": HTML from "record.html",
    "record.css": STYLE from "record.css",
    "record.js": SCRIPT from "record.js",
    "page.css": STYLE from "page.css",
    "follow.js": SCRIPT from "follow.js",
    "strings.js": SCRIPT from "strings.js",
};

/// The files of the leader's control at `/`; the page speaks to `enter`, `live`, `order` and `consequence` beside them.
pub fn control_files() -> Router {
    router(CONTROL)
}

/// The files of the harpist's desk at `/`; the page speaks to `enter`, `live` and `wish` beside them.
pub fn desk_files() -> Router {
    router(DESK)
}

/// The files of the harp's record at `/`; the page speaks to `record.json`, `plot` and `write` beside them.
pub fn record_files() -> Router {
    router(RECORD)
}

fn router(files: &'static [Asset]) -> Router {
    files.iter().fold(Router::new(), |router, file| {
        router.route(&format!("/{}", file.name), get(move || async move { answer(file) }))
    })
}

/// The file `name` among `files`, or that there is none.
pub(crate) fn find(files: &'static [Asset], name: &str) -> Response {
    files
        .iter()
        .find(|file| file.name == name)
        .map_or_else(|| StatusCode::NOT_FOUND.into_response(), answer)
}

fn answer(file: &'static Asset) -> Response {
    ([(CONTENT_TYPE, file.kind)], file.text).into_response()
}
