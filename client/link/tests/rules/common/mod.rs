//! What the tables share: one station, short words for events and effects, and the one place that plays a table.
#![allow(dead_code, reason = "each table uses some of it")]

use std::net::SocketAddr;
use std::time::Duration;

use consort_link::{Attempt, AttemptFailure, Config, Effect, Event, Known, Link, LinkState, Stranger};
use consort_proto::message::{Content, NEWEST, Refusal};
use consort_proto::{
    Agreement, Binding, Cents, Document, Fingerprint, Harp, Hello, JoinLink, JoinToken, Mark, Reading, Report,
    Revision, Round, Sequence, SessionId, StringNumber, Tenure, ToCoordinator, ToStation, Tolerance, Tuning, Uptime,
    harp_file,
};

pub(crate) const HALL: Fingerprint = Fingerprint([1; 32]);
pub(crate) const OTHER: Fingerprint = Fingerprint([2; 32]);
pub(crate) const TOKEN: JoinToken = JoinToken([9; 16]);
/// The seat that the hall gives.
pub(crate) const TENURE: Tenure = Tenure { seat: 1, epoch: 1 };
pub(crate) const SESSION: SessionId = SessionId([5; 16]);

/// A line of a table: milliseconds, what happens, what has to be done.
pub(crate) type Line = (u64, Event, Vec<Effect>);

/// The `n`th address.
pub(crate) fn place(n: u8) -> SocketAddr {
    SocketAddr::from(([192, 168, 1, n], 4700))
}

pub(crate) fn config() -> Config {
    Config {
        process: 77,
        ..Config::first("Ilse".parse().expect("a name"), harp())
    }
}

pub(crate) fn link(config: Config) -> Link {
    Link::new(Uptime::default(), config)
}

/// A station that was in the hall's session before and remembers where.
pub(crate) fn acquainted() -> Config {
    let address = Some(place(1));
    Config {
        known: vec![Known {
            coordinator: HALL,
            address,
        }],
        ..config()
    }
}

/// A station that has been welcomed on attempt 1 and holds revision 1.
pub(crate) fn joined() -> Link {
    let mut link = link(acquainted());
    play(
        &mut link,
        vec![
            (0, Event::Tick),
            (10, connected(1, HALL, 1)),
            (20, welcome(1, 0)),
            (21, told(1, agreement(1, 440.0, 1))),
        ],
    );
    link
}

/// Hands the events in and looks at nothing.
pub(crate) fn play(link: &mut Link, events: Vec<(u64, Event)>) {
    for (at_ms, event) in events {
        link.handle(Uptime::from_millis(at_ms), event);
    }
    while link.poll_effect().is_some() {}
}

/// Plays the table; heartbeats and drawing have a table of their own, so they are left out here.
#[track_caller]
pub(crate) fn check(link: &mut Link, table: Vec<Line>) {
    for (at_ms, event, expected) in table {
        let what = format!("{at_ms} ms: {event:?}");
        link.handle(Uptime::from_millis(at_ms), event);
        assert_eq!(drain(link), expected, "{what}");
    }
}

/// Everything that is to be done but heartbeats and drawing.
pub(crate) fn drain(link: &mut Link) -> Vec<Effect> {
    let effects = std::iter::from_fn(|| link.poll_effect());
    effects
        .filter(|effect| {
            let beat = matches!(
                effect,
                Effect::Send {
                    message: ToCoordinator::Beat,
                    ..
                }
            );
            !beat && *effect != Effect::Redraw
        })
        .collect()
}

/// Ticks as often as the link asks until `until_ms`, and gives what is done with the time.
#[track_caller]
pub(crate) fn tick_until(link: &mut Link, until_ms: u64) -> Vec<(u64, Effect)> {
    let mut done = Vec::new();
    for _ in 0..100_000 {
        let Some(at) = link.poll_timeout().filter(|&at| at <= Uptime::from_millis(until_ms)) else {
            return done;
        };
        link.handle(at, Event::Tick);
        let at_ms = at.0.as_millis() as u64;
        done.extend(std::iter::from_fn(|| link.poll_effect()).map(|effect| (at_ms, effect)));
    }
    panic!("the link asks to be woken without end");
}

pub(crate) fn state(link: &Link, at_ms: u64) -> LinkState {
    link.view(Uptime::from_millis(at_ms)).state
}

pub(crate) fn harp() -> Harp {
    harp_file::preset("lever-22").expect("a preset")
}

pub(crate) fn agreement(revision: u64, a4: f64, round: u32) -> Agreement {
    Agreement {
        session: SESSION,
        revision: Revision(revision),
        ensemble: "Trio".parse().expect("a name"),
        tuning: Tuning {
            a4: consort_proto::ReferencePitch::new(a4).expect("in reach"),
            ..Tuning::default()
        },
        tolerance: Tolerance::default(),
        round: Round(round),
        called: None,
    }
}

/// A reading of string `number`, so far above its target at 440 Hz.
pub(crate) fn reading(number: u32, cents: f64) -> Content {
    let harp = harp();
    let number = StringNumber::new(number).expect("a string");
    let target = Tuning::default().open_target(harp.string(number).expect("the harp has it"));
    Content::Reading(Reading::new(number, target.raised_by(Cents(cents)), Cents(0.1)).expect("a reading"))
}

pub(crate) fn mark(number: u32, mark: Option<Mark>) -> Content {
    Content::Mark {
        string: StringNumber::new(number).expect("a string"),
        mark,
    }
}

pub(crate) fn report(sequence: u64, age_ms: u64, content: Content) -> Report {
    Report {
        sequence: Sequence(sequence),
        session: SESSION,
        round: Round(1),
        tenure: TENURE,
        age: Duration::from_millis(age_ms),
        content,
    }
}

// --- events ---

pub(crate) fn join_link(coordinator: Fingerprint, places: &[u8]) -> Event {
    Event::JoinLink(JoinLink {
        addresses: places.iter().map(|&n| place(n)).collect(),
        coordinator,
        token: TOKEN,
    })
}

pub(crate) fn sighted(coordinator: Fingerprint, places: &[u8]) -> Event {
    Event::Sighted {
        who: Stranger {
            tag: coordinator.tag(),
            name: None,
        },
        addresses: places.iter().map(|&n| place(n)).collect(),
    }
}

pub(crate) fn connected(attempt: u64, peer: Fingerprint, at: u8) -> Event {
    Event::Connected {
        attempt: Attempt(attempt),
        peer,
        address: place(at),
        binding: binding(attempt),
    }
}

/// What is exported of an attempt's link.
pub(crate) fn binding(attempt: u64) -> Binding {
    Binding([attempt as u8; 32])
}

pub(crate) fn came_to_nothing(attempt: u64, why: AttemptFailure) -> Event {
    Event::AttemptFailed {
        attempt: Attempt(attempt),
        why,
    }
}

pub(crate) fn link_closed(attempt: u64) -> Event {
    Event::LinkClosed {
        attempt: Attempt(attempt),
    }
}

pub(crate) fn heard(attempt: u64, message: ToStation) -> Event {
    Event::Heard {
        attempt: Attempt(attempt),
        message,
    }
}

pub(crate) fn welcome(attempt: u64, acked: u64) -> Event {
    let welcome = ToStation::Welcome {
        session: SESSION,
        epoch: 1,
        acked: Sequence(acked),
        tenure: TENURE,
    };
    heard(attempt, welcome)
}

pub(crate) fn told(attempt: u64, agreement: Agreement) -> Event {
    heard(attempt, ToStation::Agreement(Box::new(document(agreement))))
}

pub(crate) fn document(agreement: Agreement) -> Document {
    Document {
        agreement,
        epoch: 1,
        start_in: None,
        beat_every: consort_link::BEAT_EVERY,
        seats: Vec::new(),
    }
}

pub(crate) fn acked(attempt: u64, sequence: u64) -> Event {
    heard(attempt, ToStation::Acked(Sequence(sequence)))
}

pub(crate) fn refused(attempt: u64, why: Refusal) -> Event {
    heard(attempt, ToStation::Refused(why))
}

pub(crate) fn coordinator_beat(attempt: u64) -> Event {
    let (epoch, revision) = (1, Revision(1));
    heard(attempt, ToStation::Beat { epoch, revision })
}

pub(crate) fn journalled(sequence: u64) -> Event {
    Event::Journalled(Sequence(sequence))
}

// --- effects ---

pub(crate) fn dial(attempt: u64, at: u8, expect: Fingerprint) -> Effect {
    Effect::Dial {
        attempt: Attempt(attempt),
        address: place(at),
        expect: Some(expect),
    }
}

/// A call to whoever is there.
pub(crate) fn dial_anyone(attempt: u64, at: u8) -> Effect {
    Effect::Dial {
        attempt: Attempt(attempt),
        address: place(at),
        expect: None,
    }
}

pub(crate) fn say(attempt: u64, message: ToCoordinator) -> Effect {
    Effect::Send {
        attempt: Attempt(attempt),
        message,
    }
}

pub(crate) fn hello(attempt: u64, token: Option<JoinToken>) -> Effect {
    let Config {
        name, harp, process, ..
    } = config();
    say(
        attempt,
        ToCoordinator::Hello(Hello {
            name,
            harp,
            token,
            process,
            newest: NEWEST,
        }),
    )
}

pub(crate) fn reports(attempt: u64, reports: Vec<Report>) -> Effect {
    say(attempt, ToCoordinator::Reports(reports))
}

pub(crate) fn close(attempt: u64) -> Effect {
    Effect::Close {
        attempt: Attempt(attempt),
    }
}

pub(crate) fn remember(coordinator: Fingerprint, at: u8) -> Effect {
    Effect::Remember {
        coordinator,
        address: place(at),
    }
}

pub(crate) fn forget(sequence: u64) -> Effect {
    Effect::Forget {
        session: Some(SESSION),
        up_to: Sequence(sequence),
    }
}
