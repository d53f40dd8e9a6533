//! The files of the pages: nothing from elsewhere, nothing inline, nothing that is missing.

use std::collections::BTreeMap;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::Request;
use consort_pages::{control_files, desk_files, record_files};
use tokio::sync::watch;
use tower::ServiceExt;

/// Every page below `/show/`, with the names of its files.
fn pages() -> [(&'static str, Router); 4] {
    let (_, pictures) = watch::channel("".into());
    [
        ("board", consort_pages::board(pictures, "show")),
        ("control", Router::new().nest("/show/", control_files())),
        ("desk", Router::new().nest("/show/", desk_files())),
        ("record", Router::new().nest("/show/", record_files())),
    ]
}

async fn text(page: &Router, name: &str) -> Option<(String, String)> {
    let request = Request::get(format!("/show/{name}"))
        .body(Body::empty())
        .expect("request");
    let response = page.clone().oneshot(request).await.expect("an answer");
    if !response.status().is_success() {
        return None;
    }
    let kind = response.headers()["content-type"].to_str().expect("text").to_owned();
    let bytes = to_bytes(response.into_body(), 1 << 20).await.expect("a body");
    Some((kind, String::from_utf8(bytes.to_vec()).expect("UTF-8")))
}

/// The parts of `text` between `before` and the next quotation mark.
fn quoted<'a>(text: &'a str, before: &str) -> Vec<&'a str> {
    let after = text.split(before).skip(1);
    after.filter_map(|rest| rest.split('"').next()).collect()
}

/// The files that a page leads to, by name, with their types and texts.
async fn reached(page: &Router) -> BTreeMap<String, (String, String)> {
    let mut files = BTreeMap::new();
    let mut ahead = vec![String::new()];
    while let Some(name) = ahead.pop() {
        if files.contains_key(&name) {
            continue;
        }
        let file = text(page, &name)
            .await
            .unwrap_or_else(|| panic!("“{name}” is named and not there"));
        let links = ["src=\"", "href=\"", "from \"./"]
            .into_iter()
            .flat_map(|before| quoted(&file.1, before));
        // What ends in a folder is another page, which is looked at by itself.
        let named = links.filter(|link| !link.starts_with("data:") && !link.ends_with('/'));
        ahead.extend(named.map(str::to_owned));
        files.insert(name, file);
    }
    files
}

#[tokio::test]
async fn a_page_names_only_files_that_are_there_with_their_types() {
    for (what, page) in pages() {
        let files = reached(&page).await;
        let count = match what {
            "desk" => 11,
            "control" => 11,
            "board" => 9,
            _ => 6,
        };
        assert_eq!(files.len(), count, "{what}: {:?}", files.keys());
        for (name, (kind, _)) in &files {
            let wanted = match name.rsplit_once('.') {
                Some((_, "js")) => "text/javascript; charset=utf-8",
                Some((_, "css")) => "text/css; charset=utf-8",
                _ => "text/html; charset=utf-8",
            };
            assert_eq!(kind, wanted, "{what}: {name}");
        }
        assert!(
            text(&page, "Cargo.toml").await.is_none() && text(&page, "other.js").await.is_none(),
            "{what}"
        );
    }
}

#[tokio::test]
async fn nothing_is_inline_and_nothing_comes_from_elsewhere() {
    for (what, page) in pages() {
        for (name, (kind, text)) in reached(&page).await {
            let mut avoided = vec![
                "http://",
                "https://",
                "@import",
                "innerHTML",
                "outerHTML",
                "insertAdjacentHTML",
            ];
            avoided.extend(["document.write", "eval(", "new Function", "srcdoc", "localStorage"]);
            if kind.starts_with("text/html") {
                avoided.extend(["<script>", "<style", " style=", " onclick=", " onload=", "javascript:"]);
            }
            // The namespace of SVG is a name, not an address.
            let text = text.replace("\"http://www.w3.org/2000/svg\"", "");
            for part in avoided {
                assert!(!text.contains(part), "{what}: {name} contains {part}");
            }
        }
    }
}

#[tokio::test]
async fn every_part_that_a_script_asks_for_is_in_its_page() {
    for (what, page) in pages() {
        let files = reached(&page).await;
        let html = &files[""].1;
        let script = &files[&format!("{what}.js")].1;
        let mut asked = quoted(script, "at(\"");
        asked.extend(quoted(script, "say(\""));
        asked.extend(quoted(script, "speak(\""));
        assert!(asked.len() > 5, "{what}");
        for id in asked {
            assert_eq!(html.matches(&format!(" id=\"{id}\"")).count(), 1, "{what}: {id}");
        }
    }
}

#[tokio::test]
async fn every_page_has_a_language_a_title_and_one_place_that_speaks() {
    for (what, page) in pages() {
        let html = text(&page, "").await.expect("the page").1;
        for part in [
            "<html lang=\"en\">",
            "<title>",
            "width=device-width",
            "id=\"sentence\" class=\"unseen\" role=\"status\"",
        ] {
            assert!(html.contains(part), "{what} lacks {part}");
        }
        assert!(!html.contains("user-scalable"), "{what} keeps people from zooming");
    }
}

/// The colours of a theme by name: what `page.css` sets between `after` and the end of that rule.
fn colours(css: &str, after: &str) -> BTreeMap<String, [f64; 3]> {
    let rule = css
        .split(after)
        .nth(1)
        .and_then(|rest| rest.split('}').next())
        .expect("a rule");
    let entries = rule.split(';').filter_map(|entry| entry.split_once(": #"));
    entries
        .map(|(name, hex)| {
            let part = |at: usize| u8::from_str_radix(&hex[at..at + 2], 16).expect("two digits");
            (name.trim().to_owned(), [0, 2, 4].map(|at| f64::from(part(at)) / 255.0))
        })
        .collect()
}

/// Relative luminance (WCAG 2.2).
fn luminance(colour: [f64; 3]) -> f64 {
    let [r, g, b] = colour.map(|part| {
        if part <= 0.04045 {
            part / 12.92
        } else {
            ((part + 0.055) / 1.055).powf(2.4)
        }
    });
    0.2126 * r + 0.7152 * g + 0.0722 * b
}

/// WCAG 2.2, success criteria 1.4.3 (text, 4.5) and 1.4.11 (graphics that mean something, 3).
#[tokio::test]
async fn text_and_drawings_stand_out_from_their_ground_in_both_themes() {
    let [(_, board), ..] = pages();
    let css = text(&board, "page.css").await.expect("the style").1;
    let dark = colours(&css, ":root[data-theme=\"stage\"] {");
    assert_eq!(
        dark,
        colours(&css, ":root:not([data-theme=\"day\"]) {"),
        "both ways to the dark theme"
    );
    #[rustfmt::skip]
    let table = [
        ("--ink", "--bg", 4.5), ("--ink2", "--bg", 4.5), ("--c", "--bg", 4.5), ("--f", "--bg", 4.5),
        ("--gild-ink", "--bg", 4.5), ("--on-gild", "--gild-fill", 4.5), ("--bg", "--ink", 4.5), ("--ink", "--panel", 4.5),
        ("--gut", "--bg", 3.0), ("--gild", "--bg", 3.0), ("--edge", "--bg", 3.0), ("--faint", "--bg", 3.0),
    ];
    for (theme, colours) in [("day", colours(&css, ":root {")), ("stage", dark)] {
        for (front, ground, least) in table {
            let (a, b) = (luminance(colours[front]), luminance(colours[ground]));
            let ratio = (a.max(b) + 0.05) / (a.min(b) + 0.05);
            assert!(
                ratio >= least,
                "{theme}: {front} on {ground} is {ratio:.2}, less than {least}"
            );
        }
    }
}
