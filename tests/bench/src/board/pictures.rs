//! Pictures of a board with so many harps, as its coordinator would draw them.

use std::time::Duration;

use consort_outlook::{Forecast, Outlook, Remains};
use consort_pages::{BoardPage, Presence, SeatImage, SessionImage};
use consort_proto::{
    Agreement, Cents, Harp, Name, Readiness, Revision, Round, SessionId, Standing, Tolerance, Tuning, harp_file,
};
use consort_words::Words;

/// Two pictures of so many concert harps, of which every one has gone on by a string from the first to the second.
pub(super) fn pictures(harps: usize) -> [String; 2] {
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
                soon: (readiness.holding() > 4).then(|| Remains::of(harp, readiness)),
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
