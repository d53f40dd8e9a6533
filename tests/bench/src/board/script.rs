//! The board's script in a real browser: the page is served here, draws pictures that differ, and tells how long each took.

use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

use axum::routing::{get, post};
use axum::{Json, Router};
use consort_outlook::{Forecast, Outlook};
use consort_pages::{BoardPage, Presence, SeatImage, SessionImage, board};
use consort_proto::{
    Agreement, Cents, Harp, Name, Readiness, Revision, Round, SessionId, Standing, Tolerance, Tuning, harp_file,
};
use consort_tests::process::Folder;
use consort_words::Words;
use serde_json::{Value, json};
use tokio::sync::{mpsc, watch};

/// What the browser is called on different systems.
const BROWSERS: [&str; 4] = ["chromium", "chromium-browser", "google-chrome", "google-chrome-stable"];
/// How long the browser may take for all of it.
const PATIENCE: Duration = Duration::from_secs(120);

/// The page's own body and script, without a coordinator: `show` is called with one picture after another.
const PAGE: &str = "<!doctype html><html lang=en><meta charset=utf-8><title>measure</title>\
<link rel=stylesheet href=/show/page.css><link rel=stylesheet href=/show/board.css><body><script type=module src=measure.js></script>";
const SCRIPT: &str = "
const page = new DOMParser().parseFromString(await (await fetch('/show/')).text(), 'text/html');
document.body.replaceChildren(...page.body.children);
const { show } = await import('/show/board.js');
const told = {};
for (const [harps, pictures] of Object.entries(await (await fetch('pictures')).json())) {
  told[harps] = [];
  for (let turn = 0; turn < 60; turn += 1) {
    await new Promise((drawn) => requestAnimationFrame(() => setTimeout(drawn, 0)));
    const begun = performance.now();
    show(JSON.parse(pictures[turn % pictures.length]));
    told[harps].push(performance.now() - begun);
  }
}
await fetch('told', { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(told) });
";

/// The times that the script took for each of 60 pictures of so many harps, milliseconds; the first, which makes everything,
/// included.
pub(super) fn times(counts: &[usize]) -> Result<Vec<(usize, Vec<f64>)>, String> {
    let browser = BROWSERS
        .iter()
        .find_map(|name| on_path(name))
        .ok_or("no browser is installed: `apt-get install chromium` brings one")?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|why| why.to_string())?;
    let pictures: Value = counts
        .iter()
        .map(|&harps| (harps.to_string(), json!(pictures(harps))))
        .collect();
    let told = runtime.block_on(serve(&browser, pictures))?;
    counts
        .iter()
        .map(|&harps| {
            let times = told[harps.to_string()].as_array().ok_or("the browser tells no times")?;
            Ok((harps, times.iter().filter_map(Value::as_f64).collect()))
        })
        .collect()
}

async fn serve(browser: &Path, pictures: Value) -> Result<Value, String> {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0")
        .await
        .map_err(|why| why.to_string())?;
    let address = listener.local_addr().map_err(|why| why.to_string())?;
    let (tell, mut told) = mpsc::channel(1);
    let (_keeps, shown) = watch::channel(Arc::from("{}"));
    let kind = |kind: &'static str| [("content-type", kind)];
    let routes = Router::new()
        .route("/measure/", get(async move || (kind("text/html"), PAGE)))
        .route(
            "/measure/measure.js",
            get(async move || (kind("text/javascript"), SCRIPT)),
        )
        .route("/measure/pictures", get(async move || Json(pictures.clone())))
        .route(
            "/measure/told",
            post(async move |Json(body): Json<Value>| {
                // Whoever waits has what it wants.
                let _ = tell.send(body).await;
            }),
        )
        .merge(board(shown, "show"));
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

/// Two pictures of so many concert harps, of which every one has gone on by a string from the first to the second.
fn pictures(harps: usize) -> [String; 2] {
    let harp = harp_file::preset("pedal-47").unwrap_or_else(|| unreachable!("the preset is there"));
    let words = Words::english();
    [0, 1].map(|turn| picture(&harp, harps, turn, &words))
}

fn picture(harp: &Harp, harps: usize, turn: usize, words: &Words) -> String {
    let agreement = Agreement {
        session: SessionId([7; 16]),
        revision: Revision(1),
        ensemble: name("The measured section"),
        tuning: Tuning::default(),
        tolerance: Tolerance::default(),
        round: Round(1),
        called: None,
    };
    let players: Vec<(Name, Readiness)> = (0..harps)
        .map(|place| {
            // One of eight is ready, the others are everywhere between.
            let done = if place % 8 == 0 {
                harp.len()
            } else {
                (place * 5) % 44 + turn
            };
            let standing = |number| match number < done {
                true => Standing::Holds(Cents(0.3)),
                false if number < done + 5 => Standing::Off(Cents(-7.0 + turn as f64)),
                false => Standing::NotHeard,
            };
            (
                name(&format!("Player {place}")),
                Readiness::judged((0..harp.len()).map(standing).collect()),
            )
        })
        .collect();
    let seats = players.iter().zip(1..).map(|((name, readiness), seat)| {
        let likely = Duration::from_secs(12 * readiness.left() as u64);
        let forecast = Forecast {
            soonest: likely.mul_f64(0.8),
            likely,
            latest: likely.mul_f64(1.3),
        };
        SeatImage {
            outlook: Outlook {
                forecast: (readiness.holding() > 4).then_some(forecast),
                ..Outlook::default()
            },
            presence: if seat % 13 == 5 { Presence::Away } else { Presence::Here },
            help: seat == 4,
            ..SeatImage::of(seat, name, harp, readiness)
        }
    });
    let session = SessionImage {
        start_in: Some(Duration::from_secs(480 - turn as u64)),
        ..SessionImage::of(&agreement, seats.collect())
    };
    serde_json::to_string(&BoardPage::of(&session, words)).unwrap_or_default()
}

fn name(text: &str) -> Name {
    text.parse().unwrap_or_else(|_| unreachable!("{text} is a name"))
}

fn on_path(program: &str) -> Option<std::path::PathBuf> {
    let folders = std::env::var_os("PATH")?;
    std::env::split_paths(&folders)
        .map(|folder| folder.join(program))
        .find(|path| path.is_file())
}
