//! Shows the three pages with an invented ensemble, so that they can be looked at without one.
//!
//! `cargo run -p consort-pages --example show -- [HARPS] [PORT] [STATE]` prints an address for each page; the board is on PORT,
//! the control and the desks on the two ports after it.
//! STATE is `ready` (everyone is), `called` (a string is), `alike` (all have one name, with markup in it) or `no-start`; without it all stand differently.
//! The control takes a new pitch, temperament and setting, and a called string; the desk has an address for each of its states.

mod desks;
mod ensemble;

use std::io::{self, Write};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use consort_pages::{
    BoardPage, CheapestPitch, CodeImage, ControlPage, Guard, Links, Proposal, SeatImage, SessionImage, board,
    control_files, stream,
};
use consort_proto::{
    Age, Agreement, Cents, JoinCode, Material, Note, Readiness, ReferencePitch, Revision, RoomMove, Round, SessionId,
    Tolerance, Tuning,
};
use consort_words::Words;
use serde::Serialize;
use tokio::net::TcpListener;
use tokio::sync::watch;

use desks::{DESKS, desks};
use ensemble::{Player, outlook, player};

const TOKEN: &str = "show";
struct Show {
    state: String,
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
    let state = std::env::args().nth(3).unwrap_or_default();
    let all_ready = state == "ready";
    let show = Arc::new(Mutex::new(Show {
        agreement: agreement(&state),
        players: (0..harps)
            .map(|place| player(place, all_ready, state == "alike"))
            .collect(),
        state,
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

fn agreement(state: &str) -> Agreement {
    Agreement {
        session: SessionId([7; 16]),
        revision: Revision(3),
        ensemble: "Alder Row Harps".parse().expect("a name"),
        tuning: Tuning::default(),
        tolerance: Tolerance::default(),
        round: Round(1),
        called: (state == "called").then(|| Note::from_harp_name("4C").expect("middle C")),
    }
}

impl Show {
    fn judged(&self) -> Vec<Readiness> {
        let Agreement { tuning, tolerance, .. } = &self.agreement;
        let judge = |player: &Player| Readiness::judge(&player.harp, &player.stories, tuning, tolerance);
        self.players.iter().map(judge).collect()
    }

    fn image<'a>(&'a self, judged: &'a [Readiness]) -> SessionImage<'a> {
        let seat = |((player, readiness), seat): ((&'a Player, &'a Readiness), u32)| SeatImage {
            outlook: outlook(seat as usize - 1, &player.harp, readiness),
            presence: player.presence,
            removed: seat == 10 && self.state != "ready",
            help: seat == 4 && self.state != "ready",
            deputy: seat == 2,
            age: Age {
                confirmed: (seat == 3).then_some(Duration::from_secs(1_260)),
                to_confirm: (seat == 7).then_some(Duration::from_secs(2_700)),
            },
            // Two have not plucked the called string yet.
            answered: self.agreement.called.map(|_| seat % 5 != 3),
            overhears: (seat == 6 && self.state != "ready").then_some(5),
            ..SeatImage::of(seat, &player.name, &player.harp, readiness)
        };
        let seats = self.players.iter().zip(judged).zip(1_u32..).map(seat);
        SessionImage {
            start_in: (self.state != "no-start").then_some(Duration::from_secs(540)),
            joining: true,
            code: CodeImage::Open {
                code: JoinCode::drawn(4_829_137),
                wrong: 0,
            },
            can_undo: true,
            room: self.room(),
            cheapest: (self.players.len() > 10).then(|| CheapestPitch {
                a4: ReferencePitch::new(439.5).unwrap_or_default(),
                strings: 112,
                takes: Duration::from_secs(260),
            }),
            ..SessionImage::of(&self.agreement, seats.collect())
        }
    }

    /// The room has warmed, where there are harps enough to tell.
    fn room(&self) -> Vec<RoomMove> {
        let moved = RoomMove {
            material: Material::Gut,
            cents: Cents(-4.2),
            harps: 9,
            of: 11,
            since: Duration::from_secs(1_500),
        };
        Vec::from_iter((self.players.len() > 10).then_some(moved))
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
    if body["order"] == "call" {
        let mut show = lock(&show);
        show.agreement.called = text("string").and_then(|name| Note::from_harp_name(&name).ok());
        show.draw();
        return Json(serde_json::json!({ "line": "sent" })).into_response();
    }
    let proposal = Proposal {
        hz: body["hz"].as_f64(),
        temperament: text("name"),
        setting: text("key"),
    };
    if proposal == Proposal::default() {
        return refused("The example takes only a pitch, a temperament, a setting or a called string.");
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
