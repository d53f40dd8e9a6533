//! The desk in each of its states.

use axum::Router;
use axum::http::StatusCode;
use axum::middleware::from_fn;
use axum::routing::{get, post};
use consort_pages::{
    DeskPage, DeskPedals, DeskString, KeyTurn, Question, StringInHand, Telling, desk_files, stream, with_headers,
};
use consort_proto::harp_file::preset;
use consort_proto::{Cents, Naming, Readiness, Setting, Standing, StringNumber, Tolerance, Tuning};
use consort_words::{Arg, Key, Words};
use tokio::sync::watch;

use crate::ensemble::stories;
use crate::json;

/// A state of the desk: its name, the string from the top, cents, word, how far the key turns, why, what is doubted.
pub(crate) type Desk = (
    &'static str,
    u8,
    Option<f64>,
    &'static str,
    Option<(&'static str, f64)>,
    &'static str,
    Option<&'static str>,
);

#[rustfmt::skip]
pub(crate) const DESKS: [Desk; 23] = [
    ("flat", 42, Some(-14.2), "Tighten", Some(("a little, away from you", 1.2)), "14.2 cents flat.", None),
    ("sharp", 23, Some(6.3), "Loosen", Some(("a little, towards you", -3.4)), "6.3 cents sharp. Go just below, then bring it up.", None),
    ("ring", 26, Some(-1.2), "Let it ring", None, "1.2 cents from the mark, close enough. Pluck once more when it has rung.", None),
    ("holds", 26, Some(0.3), "Holds", None, "Holds within 1 cent. Go on.", None),
    ("pluck", 15, None, "Pluck", None, "Not heard in this round yet.", None),
    ("doubt", 42, None, "Which pin?", None, "Plucked again and it has not moved. If you turned the key, it is on another pin: turn that one back first.", Some("pin")),
    ("pedal", 26, None, "Pedal up?", None, "4C sounds about a semitone high or more. Is the C pedal all the way up? If it is, look at the pin, then loosen the string.", Some("pedal")),
    ("lever", 23, None, "Lever down?", None, "3F sounds about a semitone high or more. Is its lever down? If it is, look at the pin, then loosen the string.", Some("lever")),
    ("limit", 47, None, "Not higher", None, "Its pitch here lies 200 cents above what this string is used to, more than a semitone: it may break. Look at the harp and the agreed pitch, and ask a technician.", Some("limit")),
    ("again", 30, None, "Again", None, "The string could not be told for sure. Pluck it alone and let it ring.", None),
    ("waits", 31, None, "Again", None, "Not taken down yet, lest it be something played. If you mean this string, let it ring alone or pluck it again.", None),
    ("soft", 26, None, "Again", None, "Softer than your harp so far: another harp's, perhaps. If it was yours, pluck it louder, or say that it was yours and pluck it again.", None),
    ("strong", 33, None, "Again", None, "Much stronger than your other plucks, which stretches a string. Pluck it as you will play it; as strongly again, it counts.", None),
    ("moved", 40, None, "Again", None, "It has moved while it sounded. Pluck it again to hear where it is now.", None),
    ("stands", 23, Some(-6.4), "Flat", None, "3F as its pedal stands. Its pin is turned only with the F pedal in flat: move it, then say so.", None),
    ("offline", 42, Some(-63.0), "Tighten", Some(("in steps, away from you", 22.0)), "Far below its pitch. Check the pin, raise it in steps, and keep your face out of the string's plane.", None),
    ("new", 22, Some(4.0), "Leave it", None, "It may stay a touch sharp. Tune it again today, on 2026-11-30 and daily; it should hold by 2026-12-06.", None),
    ("changed", 30, Some(-18.0), "Tighten", Some(("a good turn, away from you", 9.0)), "18.0 cents flat.", None),
    ("asked", 42, Some(-14.2), "Tighten", Some(("a little", 1.2)), "14.2 cents flat.", None),
    ("check", 12, None, "Play on", None, "9 of 47: play the strings one after another, each a moment. What has moved comes afterwards.", None),
    ("plays", 0, None, "Playing", None, "Nothing is taken down while you play.", None),
    ("dark", 0, None, "Playing", None, "", None),
    ("done", 0, None, "All set", None, "Every string holds or is set aside. L begins the last check: every string once more.", None),
];

pub(crate) fn desks() -> Router {
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
        let within = Tolerance::default().of(string);
        StringInHand::of(
            number,
            string,
            standing_of(state, cents),
            cents.map(Cents),
            within,
            Naming::Harp,
        )
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
        questions: if state == "asked" {
            questions(&words)
        } else {
            Vec::new()
        },
        help: (state != "offline").then_some(false),
        no_tone: None,
        pedals: DeskPedals::of(
            &harp,
            (state == "stands").then(|| Setting::major(-3).unwrap_or_default()),
            &words,
        ),
        notices: Vec::new(),
        listening: None,
        sentence: format!("{word}. {why}"),
        string,
        word: word.to_owned(),
        far: turn.map(|(far, _)| far.to_owned()),
        turn: turn.map(|(_, degrees)| KeyTurn {
            degrees,
            way: Some(if degrees < 0.0 { "towards" } else { "away" }),
        }),
        doubt,
        may_go_on: state == "soft" || doubt.is_some_and(|doubt| doubt != "limit"),
        next: (number > 0).then(|| "4B".to_owned()),
        why: why.to_owned(),
        place: place.map(str::to_owned),
        strings: harp
            .numbered()
            .zip(readiness.standings())
            .map(|((number, string), &standing)| {
                let is_in_hand = in_hand.is_some_and(|(hand, _)| hand == number);
                let standing = if is_in_hand {
                    standing_of(state, cents)
                } else {
                    standing
                };
                DeskString::of(number, string, standing, &tuning, Naming::Harp, &words)
            })
            .collect(),
    }
}

/// Which way her key goes, and two ensembles that are near.
fn questions(words: &Words) -> Vec<Question> {
    let none = || serde_json::Value::Null;
    let key = [Key::AskKeyAway, Key::AskKeyTowards, Key::AskKeyLeave].map(|key| (words.say(key, &[]), none()));
    let near = [("Alder Row Harps", "7k2m"), ("Harps of the Lower Mill", "q4wd")].map(|(name, tag)| {
        let args = [
            ("name", Arg::from(name)),
            ("tag", Arg::from(tag)),
            ("own", Arg::from("x9fp")),
        ];
        let yes = (words.say(Key::AskInYes, &[]), none());
        Question::new(words.say(Key::AskIn, &args), [yes])
    });
    [Question::new(words.say(Key::AskKey, &[]), key)]
        .into_iter()
        .chain(near)
        .collect()
}

/// What the string in hand is in a state: off as far as it is heard, once that was read.
fn standing_of(state: &str, cents: Option<f64>) -> Standing {
    match (state, cents.map(Cents)) {
        ("holds", Some(cents)) => Standing::Holds(cents),
        ("new", cents) => Standing::New(cents),
        ("flat" | "sharp" | "offline" | "changed" | "asked", Some(cents)) => Standing::Off(cents),
        _ => Standing::NotHeard,
    }
}

const fn place_of(number: u8) -> &'static str {
    match number {
        42 => "6th from the bottom",
        47 => "the bottom string",
        40 => "8th from the bottom",
        31 => "two above 5C",
        30 => "4 pins below middle C",
        23 => "3 pins above middle C",
        22 => "4 pins above middle C",
        15 => "one above 2F",
        12 => "the red 2C",
        _ => "middle C",
    }
}
