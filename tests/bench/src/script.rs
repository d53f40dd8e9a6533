//! The script of a page in a real browser: it is served here, draws pictures that differ, and tells how long each took.

use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

use axum::routing::{get, post};
use axum::{Json, Router};
use consort_pages::{board, desk_files};
use consort_tests::process::Folder;
use serde_json::{Value, json};
use tokio::sync::{mpsc, watch};

/// What the browser is called on different systems.
const BROWSERS: [&str; 4] = ["chromium", "chromium-browser", "google-chrome", "google-chrome-stable"];
/// How long the browser may take for all of it.
const PATIENCE: Duration = Duration::from_secs(300);

/// A page whose script is measured.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Page {
    Board,
    Desk,
}

impl Page {
    const fn name(self) -> &'static str {
        match self {
            Self::Board => "board",
            Self::Desk => "desk",
        }
    }
}

/// The page's own body and script, without a program: `show` is called with one picture after another.
const PAGE: &str = "<!doctype html><html lang=en><meta charset=utf-8><title>measure</title>\
<link rel=stylesheet href=/show/page.css><link rel=stylesheet href=/show/PAGE.css><body><script type=module src=measure.js></script>";
const SCRIPT: &str = "
const page = new DOMParser().parseFromString(await (await fetch('/show/')).text(), 'text/html');
document.body.replaceChildren(...page.body.children);
const { show } = await import('/show/PAGE.js');
const told = {};
for (const [name, pictures] of Object.entries(await (await fetch('pictures')).json())) {
  told[name] = [];
  for (let turn = 0; turn < TURNS; turn += 1) {
    await new Promise((drawn) => requestAnimationFrame(() => setTimeout(drawn, 0)));
    const begun = performance.now();
    show(JSON.parse(pictures[turn % pictures.length]));
    told[name].push(performance.now() - begun);
  }
}
await fetch('told', { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(told) });
";

/// The times that the script of `page` took for each of so many `turns` of each of the `series` of pictures, JSON, that
/// begin anew when they are over: milliseconds; the first, which makes everything, included.
pub(crate) fn times(page: Page, turns: usize, series: &[(String, Vec<String>)]) -> Result<Vec<Vec<f64>>, String> {
    let browser = BROWSERS
        .iter()
        .find_map(|name| on_path(name))
        .ok_or("no browser is installed: `apt-get install chromium` brings one")?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|why| why.to_string())?;
    let pictures: Value = series
        .iter()
        .map(|(name, pictures)| (name.clone(), json!(pictures)))
        .collect();
    let told = runtime.block_on(serve(&browser, page, turns, pictures))?;
    series
        .iter()
        .map(|(name, _)| {
            let times = told[name].as_array().ok_or("the browser tells no times")?;
            Ok(times.iter().filter_map(Value::as_f64).collect())
        })
        .collect()
}

async fn serve(browser: &Path, page: Page, turns: usize, pictures: Value) -> Result<Value, String> {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0")
        .await
        .map_err(|why| why.to_string())?;
    let address = listener.local_addr().map_err(|why| why.to_string())?;
    let (tell, mut told) = mpsc::channel(1);
    let (_keeps, shown) = watch::channel(Arc::from("{}"));
    let kind = |kind: &'static str| [("content-type", kind)];
    let own = PAGE.replace("PAGE", page.name());
    let script = SCRIPT.replace("PAGE", page.name()).replace("TURNS", &turns.to_string());
    let files = match page {
        Page::Board => board(shown, "show"),
        Page::Desk => Router::new().nest("/show/", desk_files()),
    };
    let routes = Router::new()
        .route("/measure/", get(async move || (kind("text/html"), own.clone())))
        .route(
            "/measure/measure.js",
            get(async move || (kind("text/javascript"), script.clone())),
        )
        .route("/measure/pictures", get(async move || Json(pictures.clone())))
        .route(
            "/measure/told",
            post(async move |Json(body): Json<Value>| {
                // Whoever waits has what it wants.
                let _ = tell.send(body).await;
            }),
        )
        .merge(files);
    let profile = Folder::new("measure-browser");
    let mut chromium = Command::new(browser)
        .args([
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-background-networking",
            "--no-first-run",
        ])
        .args([
            "--disable-component-update",
            "--disable-sync",
            "--window-size=1920,1080",
            "--remote-debugging-port=0",
        ])
        .arg(format!("--user-data-dir={}", profile.path().display()))
        .arg(format!("http://{address}/measure/?still=1"))
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .map_err(|why| format!("the browser does not start: {why}"))?;
    let answer = tokio::select! {
        served = axum::serve(listener, routes).into_future() => Err(format!("the page is not served: {served:?}")),
        told = told.recv() => told.ok_or_else(|| "the browser tells nothing".to_owned()),
        () = tokio::time::sleep(PATIENCE) => Err("the browser does not come to an end".to_owned()),
    };
    // It has told everything, or never will.
    let _ = chromium.kill();
    let _ = chromium.wait();
    answer
}

fn on_path(program: &str) -> Option<std::path::PathBuf> {
    let folders = std::env::var_os("PATH")?;
    std::env::split_paths(&folders)
        .map(|folder| folder.join(program))
        .find(|path| path.is_file())
}
