//! The desk's page and the wishes it sends: on this computer only, behind a token.

use std::sync::Arc;
use std::time::Duration;

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use consort_analysis::expected_inharmonicity;
use consort_guide::listening::{Check, Kind};
use consort_guide::{Order, Way};
use consort_link::Event;
use consort_pages::{DeskPage, Guard, HarpShape, desk_files, record_files, stream};
use consort_proto::message::Proposal;
use consort_proto::setting::NotASetting;
use consort_proto::{Cents, Harp, Mark, Naming, Reading, ReferencePitch, StringNumber, Tuning, harp_file};
use consort_store::Folder;
use consort_words::Words;
use serde::{Deserialize, Serialize};
use serde_json::json;
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, mpsc, watch};
use tokio::time::sleep;

use crate::image::Image;
use crate::invitation::NotAnInvitation;
use crate::picture;
use crate::record::live::Live;
use crate::sound::input::{self, Input};
use crate::start::StartError;
use crate::station::Wish;
use crate::trace::Trace;

/// Looks at once: the desk itself, and a few forgotten tabs.
const VIEWERS_MAX: usize = 8;
/// At most twenty pictures in a second: the eye follows no more, and each is the newest.
const SHOW_EVERY: Duration = Duration::from_millis(50);

/// A wish as it travels from the page.
#[derive(Clone, Debug, Deserialize, PartialEq)]
#[serde(tag = "wish", rename_all = "kebab-case", deny_unknown_fields)]
enum WishBody {
    /// Mark a string, or take its mark back with null.
    Mark { string: StringNumber, mark: Option<Mark> },
    /// Join with this code or link, or at this address.
    Join { with: String },
    /// Ask the leader of the coordinator with this tag, or of the typed address, to be let in.
    AskIn { tag: Option<String> },
    /// Take another laptop's seat over.
    TakeOver { seat: u32 },
    /// Say whether another laptop may have this one's seat.
    GiveUp { yes: bool },
    /// Ask for help, or not any more.
    Help { wanted: bool },
    /// Propose a measured A to the leader.
    Propose { hz: f64, sigma_cents: f64 },
    /// Be a new laptop: one with a fresh key.
    Renew,
    /// Go on, since what was doubted of this string was looked at.
    LookedAt { string: StringNumber },
    /// What has changed was seen.
    Seen,
    /// Show the desk though the start has passed.
    Wake,
    /// Ask for strings in this order.
    Order { order: String },
    /// Name octaves as in acoustics, or the harpist's way.
    Scientific { on: bool },
    /// Say which way the key goes to tighten, or that nobody wants to say.
    KeyWay { way: Option<String> },
    /// Begin the quick pass, or end it.
    Quick { on: bool },
    /// Begin a last check, or end it.
    LastCheck { on: bool },
    /// Follow this string alone, chosen by hand; null lets it go.
    Choose { string: Option<StringNumber> },
    /// Check by listening, beginning on a string; null ends it.
    Listen {
        kind: Option<String>,
        string: Option<StringNumber>,
    },
    /// The pedals, or levers, stand like this: a major key, or all seven.
    Pedals { setting: String },
    /// Keep the last seconds, since what was made of them is wrong.
    Wrong,
    /// Hear this input from now on, or the one that the system prefers.
    Input { name: Option<String> },
    /// Play this harp from now on.
    Harp { harp: HarpShape },
    /// Take the last choice back.
    Undo,
}

/// What the handlers share.
#[derive(Clone)]
struct Shared {
    images: watch::Receiver<Arc<Image>>,
    pictures: watch::Receiver<Arc<str>>,
    wishes: mpsc::Sender<Wish>,
    viewers: Arc<Semaphore>,
    trace: Trace,
}

/// What the set-up of the harp starts from.
#[derive(Debug, Serialize)]
struct SetUp {
    /// The harp that is played.
    harp: HarpShape,
    /// The usual harps of all sizes.
    sizes: Vec<HarpShape>,
}

/// The file with the desk's token.
const KEY_FILE: &str = "desk-key";

/// The token of the station's desk. It is kept beside the station's own key, so that a desk that is still open follows
/// again by itself when the station is started anew.
pub(crate) fn kept_key(folder: &Folder) -> Result<String, StartError> {
    let kept = folder.read(KEY_FILE)?.and_then(|bytes| String::from_utf8(bytes).ok());
    // What is not a whole token, after damage, must not open the desk to everyone.
    if let Some(key) = kept.filter(|key| key.len() == 32 && key.bytes().all(|byte| byte.is_ascii_hexdigit())) {
        return Ok(key);
    }
    let key = key()?;
    folder.write(KEY_FILE, key.as_bytes())?;
    Ok(key)
}

/// A token that nobody can guess: whoever has it may look at the desk and send wishes.
fn key() -> Result<String, StartError> {
    let bytes: [u8; 16] = ring::rand::generate(&ring::rand::SystemRandom::new())
        .map_err(|_| StartError::NoRandomNumbers)?
        .expose();
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

/// The page's address, with the token where it is not sent to any server: behind `#`.
pub(crate) fn url(address: std::net::SocketAddr, key: &str) -> String {
    format!("http://{address}/#{key}")
}

/// Serves the desk until the station ends.
pub(crate) async fn serve(
    listener: TcpListener,
    key: String,
    images: watch::Receiver<Arc<Image>>,
    wishes: mpsc::Sender<Wish>,
    record: Live,
    trace: Trace,
) {
    let Ok(address) = listener.local_addr() else { return };
    let (pictures, shown) = watch::channel(Arc::from(""));
    let shared = Shared {
        images: images.clone(),
        pictures: shown,
        wishes,
        viewers: Arc::new(Semaphore::new(VIEWERS_MAX)),
        trace,
    };
    let guard = Guard::new(address.port(), format!("consort-desk-{}", address.port()), key);
    let serving = axum::serve(listener, pages(&guard, shared, record)).into_future();
    tokio::select! {
        served = serving => tracing::warn!(?served, "the desk has ended"),
        () = draw(images, pictures) => {}
    }
}

/// Draws the newest image for all viewers together, at most once in [`SHOW_EVERY`]; ends with the station.
async fn draw(mut images: watch::Receiver<Arc<Image>>, pictures: watch::Sender<Arc<str>>) {
    let words = Words::english();
    images.mark_changed();
    while images.changed().await.is_ok() {
        let image = images.borrow_and_update().clone();
        pictures.send_replace(crate::pluck::json(&picture::of(&image, &words)).into());
        sleep(SHOW_EVERY).await;
    }
}

fn pages(guard: &Guard, shared: Shared, record: Live) -> Router {
    let closed = Router::new()
        .route("/desk.json", get(look))
        .route("/live", get(live))
        .route("/wish", post(wish))
        .route("/harp.json", get(harp))
        .route("/inputs.json", get(inputs))
        .route(
            "/trace.json",
            get(async |State(shared): State<Shared>| Json(shared.trace.peaks())),
        )
        .with_state(shared)
        .merge(record.routes());
    guard.protect(desk_files().nest("/record/", record_files()), closed)
}

async fn look(State(shared): State<Shared>) -> Json<DeskPage> {
    let image = shared.images.borrow().clone();
    Json(picture::of(&image, &Words::english()))
}

async fn live(State(shared): State<Shared>) -> Response {
    let Ok(seat) = shared.viewers.clone().try_acquire_owned() else {
        return StatusCode::SERVICE_UNAVAILABLE.into_response();
    };
    // The seat is given up with the stream.
    stream(shared.pictures, seat)
}

async fn harp(State(shared): State<Shared>) -> Json<SetUp> {
    let sizes = harp_file::preset_names().filter_map(harp_file::preset);
    Json(SetUp {
        harp: HarpShape::of(&shared.images.borrow().harp),
        sizes: sizes.map(|harp| HarpShape::of(&harp)).collect(),
    })
}

/// The inputs that can be heard; looking for them takes the system a moment.
async fn inputs() -> Json<Vec<Input>> {
    let found = tokio::task::spawn_blocking(input::usable).await;
    Json(found.ok().and_then(Result::ok).unwrap_or_default())
}

async fn wish(State(shared): State<Shared>, Json(body): Json<WishBody>) -> Response {
    let harp = shared.images.borrow().harp.clone();
    let wish = match body.meant(&harp) {
        Ok(wish) => wish,
        Err(why) => return (StatusCode::UNPROCESSABLE_ENTITY, Json(json!({ "why": why }))).into_response(),
    };
    match shared.wishes.try_send(wish) {
        Ok(()) => StatusCode::NO_CONTENT.into_response(),
        Err(_) => StatusCode::SERVICE_UNAVAILABLE.into_response(),
    }
}

/// The wish that `body` stands for, of whoever plays `harp`; `None` for what is no wish.
pub(crate) fn wish_of(body: serde_json::Value, harp: &Harp) -> Option<Wish> {
    serde_json::from_value::<WishBody>(body).ok()?.meant(harp).ok()
}

impl WishBody {
    /// The wish of whoever plays `harp`; else the sentence that says what is wrong with it.
    fn meant(self, harp: &Harp) -> Result<Wish, String> {
        let strings = harp.len();
        match self {
            Self::Mark { string, .. } | Self::LookedAt { string } | Self::Choose { string: Some(string) }
                if string.index() >= strings =>
            {
                Err(format!("this harp has {strings} strings, there is no string {string}"))
            }
            Self::Mark { string, mark } => Ok(Wish::Mark { string, mark }),
            Self::AskIn { tag } => Ok(Wish::Link(Event::AskIn(tag))),
            Self::TakeOver { seat } => Ok(Wish::Link(Event::TakeOver { seat })),
            Self::GiveUp { yes } => Ok(Wish::Link(Event::GiveUp { yes })),
            Self::Help { wanted } => Ok(Wish::Link(Event::Help(wanted))),
            Self::Propose { hz, sigma_cents } => {
                let a4 = ReferencePitch::new(hz).map_err(|why| why.to_string())?;
                if !(0.0..=Reading::SIGMA_MAX.0).contains(&sigma_cents) {
                    let most = Reading::SIGMA_MAX.0;
                    return Err(format!(
                        "{sigma_cents} cents is no uncertainty: it lies between 0 and {most}"
                    ));
                }
                let sigma = Cents(sigma_cents);
                Ok(Wish::Link(Event::Propose(Proposal { a4, sigma })))
            }
            Self::Renew => Ok(Wish::Renew),
            Self::LookedAt { string } => Ok(Wish::LookedAt(string)),
            Self::Seen => Ok(Wish::Seen),
            Self::Wake => Ok(Wish::Wake),
            Self::Order { order } => Order::from_word(&order).map(Wish::Order).ok_or_else(|| {
                let known: Vec<&str> = Order::ALL.into_iter().map(Order::word).collect();
                format!(
                    "there is no order “{}”: choose one of {}",
                    short(&order),
                    known.join(", ")
                )
            }),
            Self::Scientific { on } => Ok(Wish::Naming(if on { Naming::Scientific } else { Naming::Harp })),
            Self::KeyWay { way } => way
                .map(|word| {
                    Way::from_word(&word).ok_or_else(|| format!("a key goes away or towards, not “{}”", short(&word)))
                })
                .transpose()
                .map(Wish::KeyWay),
            Self::Quick { on } => Ok(Wish::Quick(on)),
            Self::Choose { string } => Ok(Wish::Choose(string)),
            Self::LastCheck { on } => Ok(Wish::LastCheck(on)),
            Self::Listen { kind: None, .. } => Ok(Wish::Listen(None)),
            Self::Listen {
                kind: Some(word),
                string,
            } => {
                let kind = Kind::from_word(&word).ok_or_else(|| {
                    let known: Vec<&str> = Kind::ALL.into_iter().map(Kind::word).collect();
                    format!(
                        "there is no check “{}”: choose one of {}",
                        short(&word),
                        known.join(", ")
                    )
                })?;
                let string = string.ok_or("a check begins on a string: choose one")?;
                // A check that this harp cannot make is told at once.
                Check::of(kind, string, harp, &Tuning::default(), expected_inharmonicity)
                    .map_err(|why| why.to_string())?;
                Ok(Wish::Listen(Some((kind, string))))
            }
            Self::Pedals { setting } => setting
                .parse()
                .map(Wish::Pedals)
                .map_err(|why: NotASetting| why.to_string()),
            Self::Wrong => Ok(Wish::Wrong),
            Self::Input { name } => Ok(Wish::Input(name)),
            Self::Harp { harp: shape } => shape.file(harp).map(Wish::Harp).map_err(|why| why.to_string()),
            Self::Undo => Ok(Wish::Undo),
            Self::Join { with } => with
                .parse()
                .map(Wish::Join)
                .map_err(|why: NotAnInvitation| why.to_string()),
        }
    }
}

/// The beginning of what was typed, for a sentence.
fn short(text: &str) -> String {
    text.chars().take(40).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wish_that_cannot_be_meant_is_none() {
        let harp = harp_file::preset("pedal-47").expect("a preset");
        for (text, says) in [
            (r#"{"wish":"mark","string":48,"mark":"new"}"#, "47 strings"),
            (r#"{"wish":"join","with":"hello"}"#, "join link"),
            (r#"{"wish":"order","order":"sideways"}"#, "octaves"),
            (r#"{"wish":"key-way","way":"round"}"#, "towards"),
            (r#"{"wish":"looked-at","string":60}"#, "47 strings"),
            (r#"{"wish":"choose","string":48}"#, "47 strings"),
            (
                r#"{"wish":"harp","harp":{"name":"None","kind":"lever","strings":[]}}"#,
                "1 to 63 strings",
            ),
            (r#"{"wish":"listen","kind":"third","string":20}"#, "enharmonic"),
            (r#"{"wish":"listen","kind":"octave"}"#, "choose one"),
            (r#"{"wish":"listen","kind":"octave","string":2}"#, "another string"),
            (r#"{"wish":"pedals","setting":"H"}"#, "pedal setting"),
            (r#"{"wish":"pedals","setting":"C D E F G A A"}"#, "each letter once"),
            (r#"{"wish":"propose","hz":4400,"sigma_cents":0.3}"#, "4400"),
            (r#"{"wish":"propose","hz":441,"sigma_cents":-1}"#, "uncertainty"),
            (r#"{"wish":"join","with":"4829 1373"}"#, "one digit of the code"),
        ] {
            let body: WishBody = serde_json::from_str(text).expect(text);
            let why = body.meant(&harp).expect_err(text);
            assert!(why.contains(says), "{text}: {why}");
        }
        for text in [
            r#"{"wish":"mark","string":0,"mark":"new"}"#,
            r#"{"wish":"mark","string":400,"mark":"new"}"#,
            r#"{"wish":"mark","string":3,"mark":"loud"}"#,
            r#"{"wish":"mark","string":3,"mark":null,"also":1}"#,
            r#"{"wish":"sing"}"#,
            "[]",
        ] {
            assert!(serde_json::from_str::<WishBody>(text).is_err(), "{text}");
        }
    }

    #[test]
    fn an_answer_is_a_wish_and_anything_else_is_none() {
        let harp = harp_file::preset("pedal-47").expect("a preset");
        let wish = wish_of(json!({"wish": "key-way", "way": "away"}), &harp);
        assert!(matches!(wish, Some(Wish::KeyWay(Some(Way::Away)))), "{wish:?}");
        assert!(wish_of(json!({"wish": "key-way", "way": "round"}), &harp).is_none());
        assert!(wish_of(json!({"order": "stop"}), &harp).is_none());
    }

    #[test]
    fn every_desk_has_a_token_of_its_own() {
        let (one, other) = (key().expect("token"), key().expect("token"));
        assert!(one.len() == 32 && one != other, "{one} {other}");
    }

    #[test]
    fn a_token_is_kept_and_one_that_is_not_whole_is_replaced() {
        let place = tempfile::TempDir::with_prefix("consort-desk-key-").expect("a place");
        let folder = Folder::open(place.path()).expect("the folder opens");
        let first = kept_key(&folder).expect("token");
        assert_eq!(kept_key(&folder).expect("token"), first);
        for damaged in ["", "0", "not a token, though it is 32 long"] {
            folder.write(KEY_FILE, damaged.as_bytes()).expect("written");
            let new = kept_key(&folder).expect("token");
            assert!(new.len() == 32 && new != first && new != damaged, "{damaged}: {new}");
        }
    }
}
