//! Shows the three pages with an invented ensemble, so that they can be looked at without one.
//!
//! `cargo run -p consort-pages --example show -- [HARPS] [PORT]` prints an address for each page; the board is on PORT,
//! the control and the desks on the two ports after it.
//! The control takes a new pitch, temperament and setting; the desk has an address for each of its states.

use std::io::{self, Write};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::extract::State;
use axum::http::StatusCode;
use axum::middleware::from_fn;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use consort_pages::{
    BoardPage, CodeImage, ControlPage, DeskPage, DeskString, Guard, KeyTurn, Links, Presence, Proposal, SeatImage,
    SessionImage, StringInHand, Telling, board, control_files, desk_files, stream, with_headers,
};
use consort_proto::harp_file::preset;
use consort_proto::{
    Agreement, Cents, Fingerprint, Harp, JoinCode, Mark, Name, Naming, Readiness, Reading, Revision, Round, SessionId,
    StringNumber, StringStory, Tolerance, Tuning, order,
};
use consort_words::Words;
use serde::Serialize;
use tokio::net::TcpListener;
use tokio::sync::watch;

const TOKEN: &str = "show";
const NAMES: [&str; 12] = [
    "Tamsin", "Ruben", "Ottilie", "Jonne", "Maris", "Calla", "Edwin", "Noemi", "Pascal", "Wren", "Ilka", "Anselm",
];
const HARPS: [&str; 4] = ["pedal-47", "pedal-47", "lever-34", "pedal-46"];

/// One invented harpist with her harp and what was heard of it.
struct Player {
    name: Name,
    harp: Harp,
    stories: Vec<StringStory>,
    presence: Presence,
}

struct Show {
    agreement: Agreement,
    players: Vec<Player>,
    words: Words,
    links: Links,
    board: watch::Sender<Arc<str>>,
    control: watch::Sender<Arc<str>>,
}

type Shared = Arc<Mutex<Show>>;

#[tokio::main]
async fn main() -> io::Result<()> {
    let number = |place, usual: u16| {
        std::env::args()
            .nth(place)
            .and_then(|text| text.parse().ok())
            .unwrap_or(usual)
    };
    let (harps, port) = (usize::from(number(1, 8)), number(2, 4750));
    let wall = TcpListener::bind(("127.0.0.1", port)).await?;
    let control = TcpListener::bind(("127.0.0.1", port + 1)).await?;
    let desk = TcpListener::bind(("127.0.0.1", port + 2)).await?;
    let (board_sender, board_pictures) = watch::channel(Arc::from(""));
    let (control_sender, control_pictures) = watch::channel(Arc::from(""));
    let show = Arc::new(Mutex::new(Show {
        agreement: agreement(),
        players: (0..harps).map(player).collect(),
        words: Words::english(),
        links: Links::new(
            "192.0.2.20".to_owned(),
            "kq3x7d2n".to_owned(),
            "consort://192.0.2.20:4700/kq3x7d2nmvh4rwzp5tj6ycaeblfogsiu234567kq3x7d2nmvh4rw/mfrggzdfmztwq2lknnwg23tpob"
                .to_owned(),
            format!("http://127.0.0.1:{port}/{TOKEN}/"),
        ),
        board: board_sender,
        control: control_sender,
    }));
    lock(&show).draw();
    let mut out = io::stdout();
    writeln!(out, "board    http://127.0.0.1:{port}/{TOKEN}/")?;
    writeln!(out, "control  http://127.0.0.1:{}/#{TOKEN}", port + 1)?;
    for (state, ..) in DESKS {
        writeln!(out, "desk     http://127.0.0.1:{}/{state}/", port + 2)?;
    }
    let guard = Guard::new(port + 1, "consort-show".to_owned(), TOKEN.to_owned());
    let closed = Router::new()
        .route("/live", get(async move || stream(control_pictures.clone(), ())))
        .route("/consequence", post(consequence))
        .route("/order", post(order_taken))
        .with_state(show);
    tokio::try_join!(
        axum::serve(wall, board(board_pictures, TOKEN)).into_future(),
        axum::serve(control, guard.protect(control_files(), closed)).into_future(),
        axum::serve(desk, desks()).into_future(),
    )?;
    Ok(())
}

fn lock(show: &Shared) -> std::sync::MutexGuard<'_, Show> {
    show.lock().unwrap_or_else(PoisonError::into_inner)
}

fn json(page: &impl Serialize) -> Arc<str> {
    serde_json::to_string(page).unwrap_or_default().into()
}

fn agreement() -> Agreement {
    Agreement {
        session: SessionId([7; 16]),
        revision: Revision(3),
        ensemble: "Alder Row Harps".parse().expect("a name"),
        tuning: Tuning::default(),
        tolerance: Tolerance::default(),
        round: Round(1),
        called: None,
    }
}

/// A number from 0 to 1 that looks like chance and is always the same.
fn chance(seed: usize) -> f64 {
    let mixed = (seed as u64).wrapping_add(1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    ((mixed ^ mixed >> 29).wrapping_mul(0xbf58_476d_1ce4_e5b9) >> 40) as f64 / (1_u64 << 24) as f64
}

fn player(place: usize) -> Player {
    let harp = preset(HARPS[place % HARPS.len()]).expect("a preset");
    let name = NAMES[place % NAMES.len()];
    let name = if place < NAMES.len() {
        name.to_owned()
    } else {
        format!("{name} {}", place / NAMES.len() + 1)
    };
    let done = [1.0, 0.62, 1.0, 0.34, 0.0, 0.85, 0.71, 1.0][place % 8];
    let presence = match place % 13 {
        5 => Presence::Silent(Duration::from_secs(185)),
        6 => Presence::Away,
        _ => Presence::Here,
    };
    let stories = stories(&harp, done, place);
    Player {
        name: name.parse().expect("a name"),
        harp,
        stories,
        presence,
    }
}

/// What was heard of a harp of which the share `done` is tuned.
fn stories(harp: &Harp, done: f64, seed: usize) -> Vec<StringStory> {
    let tuning = Tuning::default();
    let mut stories = vec![StringStory::default(); harp.len()];
    let count = harp.len() as f64;
    for (place, number) in order::usual_order(harp).into_iter().enumerate() {
        let luck = chance(seed * 101 + place);
        let cents: &[f64] = match place as f64 / count {
            share if share < done && (seed + place) % 71 == 9 => &[0.5, -9.0, 1.0, -8.0, 0.0, -9.0],
            share if share < done - 0.04 || done == 1.0 => &[0.6, -0.4],
            share if share < done => &[1.2],
            share if share < done + 0.3 && done > 0.0 => &[-24.0 + 30.0 * luck],
            _ => &[],
        };
        let Some(string) = harp.string(number) else { continue };
        for cents in cents {
            let hz = tuning.open_target(string).raised_by(Cents(*cents));
            stories[number.index()].hear(Reading::new(number, hz, Cents(0.2)).expect("a reading"));
        }
        if done == 1.0 && seed % 8 == 7 && place == 3 {
            stories[number.index()].set_mark(Some(Mark::New));
        }
        if done == 1.0 && seed % 8 == 7 && place == 30 {
            stories[number.index()].set_mark(Some(Mark::Missing));
        }
    }
    stories
}

impl Show {
    fn judged(&self) -> Vec<Readiness> {
        let Agreement { tuning, tolerance, .. } = &self.agreement;
        let judge = |player: &Player| Readiness::judge(&player.harp, &player.stories, tuning, tolerance);
        self.players.iter().map(judge).collect()
    }

    fn image<'a>(&'a self, judged: &'a [Readiness]) -> SessionImage<'a> {
        let seats = self.players.iter().zip(judged).zip(1_u32..);
        SessionImage {
            agreement: &self.agreement,
            start_in: Some(Duration::from_secs(540)),
            joining: true,
            code: CodeImage::Open {
                code: JoinCode::drawn(4_829_137),
                wrong: 0,
            },
            newcomer: None,
            knocking: Vec::new(),
            watching: Vec::new(),
            proposal: None,
            can_undo: true,
            disk_trouble: false,
            seats: seats
                .map(|((player, readiness), seat)| SeatImage {
                    seat,
                    station: Fingerprint([seat as u8; 32]),
                    name: &player.name,
                    harp: &player.harp,
                    readiness,
                    presence: player.presence,
                    removed: seat == 10,
                    help: seat == 4,
                    copied: false,
                    deputy: seat == 2,
                    wanted_by: None,
                })
                .collect(),
        }
    }

    fn draw(&self) {
        let judged = self.judged();
        let image = self.image(&judged);
        self.board.send_replace(json(&BoardPage::of(&image, &self.words)));
        self.control
            .send_replace(json(&ControlPage::of(&image, &self.links, &self.words)));
    }
}

fn refused(why: &str) -> Response {
    (
        StatusCode::UNPROCESSABLE_ENTITY,
        Json(serde_json::json!({ "why": why })),
    )
        .into_response()
}

async fn consequence(State(show): State<Shared>, Json(proposal): Json<Proposal>) -> Response {
    let show = lock(&show);
    match proposal.consequence(&show.image(&show.judged()), &show.words) {
        Ok(consequence) => Json(consequence).into_response(),
        Err(why) => refused(&why.to_string()),
    }
}

async fn order_taken(State(show): State<Shared>, Json(body): Json<serde_json::Value>) -> Response {
    let text = |key: &str| body[key].as_str().map(str::to_owned);
    let proposal = Proposal {
        hz: body["hz"].as_f64(),
        temperament: text("name"),
        setting: text("key"),
    };
    if proposal == Proposal::default() {
        return refused("The example takes only a pitch, a temperament or a setting.");
    }
    let mut show = lock(&show);
    match proposal.tuning(&show.agreement.tuning) {
        Ok(tuning) => {
            show.agreement.tuning = tuning;
            show.agreement.revision.0 += 1;
            show.draw();
            Json(serde_json::json!({ "line": "sent" })).into_response()
        }
        Err(why) => refused(&why.to_string()),
    }
}

/// A state of the desk: its name, the string from the top, cents, word, how far the key turns, why, what is doubted.
type Desk = (
    &'static str,
    u8,
    Option<f64>,
    &'static str,
    Option<(&'static str, f64)>,
    &'static str,
    Option<&'static str>,
);

#[rustfmt::skip]
const DESKS: [Desk; 16] = [
    ("flat", 42, Some(-14.2), "Tighten", Some(("a little, away from you", 1.2)), "14.2 cents flat.", None),
    ("sharp", 23, Some(6.3), "Loosen", Some(("a little, towards you", -3.4)), "6.3 cents sharp. Go just below, then bring it up.", None),
    ("ring", 26, Some(-1.2), "Let it ring", None, "1.2 cents from the mark, close enough. Pluck once more when it has rung.", None),
    ("holds", 26, Some(0.3), "Holds", None, "Holds within 1 cent. Go on.", None),
    ("pluck", 15, None, "Pluck", None, "Not heard in this round yet.", None),
    ("doubt", 42, None, "Which pin?", None, "Plucked three times and it has not moved. If you turned the key, it is on another pin: turn that one back first.", Some("pin")),
    ("pedal", 26, None, "Pedal up?", None, "4C sounds about a semitone high or more. Is the C pedal all the way up? If it is, look at the pin, then loosen the string.", Some("pedal")),
    ("lever", 23, None, "Lever down?", None, "3F sounds about a semitone high or more. Is its lever down? If it is, look at the pin, then loosen the string.", Some("lever")),
    ("limit", 47, None, "Not higher", None, "Its pitch here lies 200 cents above what this string is used to, more than a semitone: it may break. Look at the harp and the agreed pitch, and ask a technician.", Some("limit")),
    ("again", 30, None, "Again", None, "The string could not be told for sure. Pluck it alone and let it ring.", None),
    ("offline", 42, Some(-63.0), "Tighten", Some(("in steps, away from you", 22.0)), "Far below its pitch. Check the pin, raise it in steps, and keep your face out of the string's plane.", None),
    ("changed", 30, Some(-18.0), "Tighten", Some(("a good turn, away from you", 9.0)), "18.0 cents flat.", None),
    ("check", 12, None, "Play on", None, "9 of 47: play the strings one after another, each a moment. What has moved comes afterwards.", None),
    ("plays", 0, None, "Playing", None, "Nothing is taken down while you play.", None),
    ("dark", 0, None, "Playing", None, "", None),
    ("done", 0, None, "All set", None, "Every string holds or is set aside. L begins the last check: every string once more.", None),
];

fn desks() -> Router {
    let page = |desk: Desk| {
        let (state, ..) = desk;
        let picture = json(&desk_page(desk));
        let (sender, pictures) = watch::channel(picture);
        let live = get(async move || {
            // The sender lives as long as the page is served, so that the stream stays open.
            let _ = &sender;
            stream(pictures.clone(), ())
        });
        let desk = desk_files()
            .route("/live", live)
            .route("/wish", post(async || StatusCode::NO_CONTENT));
        Router::new().nest(&format!("/{state}/"), desk)
    };
    DESKS
        .into_iter()
        .map(page)
        .fold(Router::new(), Router::merge)
        .layer(from_fn(with_headers))
}

fn desk_page((state, number, cents, word, turn, why, doubt): Desk) -> DeskPage {
    let words = Words::english();
    let (harp, tuning) = (preset("pedal-47").expect("a preset"), Tuning::default());
    let done = if state == "done" { 1.0 } else { 0.5 };
    let readiness = Readiness::judge(&harp, &stories(&harp, done, 4), &tuning, &Tolerance::default());
    let in_hand = StringNumber::new(u32::from(number))
        .ok()
        .and_then(|number| Some((number, harp.string(number)?)));
    let string = in_hand.map(|(number, string)| {
        let standing = match (state, readiness.of(number)) {
            ("holds", _) => consort_proto::Standing::Holds(Cents(0.3)),
            (_, standing) => standing.unwrap_or(consort_proto::Standing::NotHeard),
        };
        let within = Tolerance::default().of(string);
        StringInHand::of(number, string, standing, cents.map(Cents), within, Naming::Harp)
    });
    let place = in_hand.map(|(number, _)| place_of(number.get()));
    DeskPage {
        name: "Tamsin".to_owned(),
        harp: harp.name().to_owned(),
        tuning: words.tuning(&tuning),
        says: words.readiness(&harp, &readiness),
        message: match state {
            "offline" => "No link for 2 min. Keep tuning; everything is sent when the link is back.".to_owned(),
            "changed" => "Changed, it was A = 441 · equal temperament · C major. Every string is then \
                          4.0 cents flat of the new pitch."
                .to_owned(),
            _ => "With Alder Row Harps.".to_owned(),
        },
        urgent: state == "offline" || state == "changed",
        start: Some("14 min to the start".to_owned()),
        dark: state == "dark",
        link: match state {
            "offline" => "lost",
            "pluck" => "alone",
            _ => "joined",
        },
        health: "The pickup is heard.".to_owned(),
        may_see: state == "changed",
        telling: Telling {
            order: "usual",
            key: Some("away"),
            last_check: state == "check",
            plays: state == "plays",
            fresh: state == "pluck",
            ..Telling::default()
        },
        may_join: state == "pluck",
        questions: Vec::new(),
        help: (state != "offline").then_some(false),
        notices: Vec::new(),
        sentence: format!("{word}. {why}"),
        string,
        word: word.to_owned(),
        far: turn.map(|(far, _)| far.to_owned()),
        turn: turn.map(|(_, degrees)| KeyTurn {
            degrees,
            way: Some(if degrees < 0.0 { "towards" } else { "away" }),
        }),
        doubt,
        may_go_on: doubt.is_some_and(|doubt| doubt != "limit"),
        next: (number > 0).then(|| "4B".to_owned()),
        why: why.to_owned(),
        place: place.map(str::to_owned),
        strings: harp
            .numbered()
            .zip(readiness.standings())
            .map(|((number, string), &standing)| {
                DeskString::of(number, string, standing, &tuning, Naming::Harp, &words)
            })
            .collect(),
    }
}

const fn place_of(number: u8) -> &'static str {
    match number {
        42 => "6th from the bottom",
        47 => "the bottom string",
        30 => "4 pins below middle C",
        23 => "3 pins above middle C",
        15 => "one above 2F",
        12 => "the red 2C",
        _ => "middle C",
    }
}
