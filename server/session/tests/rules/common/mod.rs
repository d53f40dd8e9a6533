//! What the tables share: people, short words for events and effects, and the one place that plays a table.
#![allow(dead_code, reason = "each table uses some of it")]

use std::net::IpAddr;
use std::time::Duration;

use consort_proto::message::{Content, NEWEST, Refusal};
use consort_proto::{
    Agreement, Binding, Cents, Document, Fingerprint, Harp, Hello, JoinToken, Mark, Reading, Report, Revision, Round,
    Seat, Sequence, SessionId, StringNumber, Tenure, ToCoordinator, ToStation, Tolerance, Tuning, Uptime, harp_file,
};
use consort_session::{Command, Config, Effect, Event, LinkId, Record, Ruled, Saved, Session, StationView, Ticket};

pub(crate) const ILSE: Fingerprint = Fingerprint([1; 32]);
pub(crate) const OTTO: Fingerprint = Fingerprint([2; 32]);
pub(crate) const TOKEN: JoinToken = JoinToken([9; 16]);
pub(crate) const SESSION: SessionId = SessionId([5; 16]);

/// A line of a table: milliseconds, what happens, what has to be done.
pub(crate) type Line = (u64, Event, Vec<Effect>);

/// A session that nobody has joined yet, in its third run.
pub(crate) fn session() -> Session {
    Session::open(Uptime::default(), Config::default(), saved())
}

pub(crate) fn saved() -> Saved {
    Saved {
        agreement: agreement(1, 440.0, 1),
        start_in: None,
        past: Vec::new(),
        epoch: 3,
        token: TOKEN,
        pinned: Vec::new(),
        deputies: Vec::new(),
        ruled: Ruled::default(),
        stations: Vec::new(),
    }
}

/// A session in which Ilse is on link 1, written down with ticket 1.
pub(crate) fn with_ilse() -> Session {
    let mut session = session();
    join(&mut session, 0, 1, ILSE, 1);
    session
}

pub(crate) fn join(session: &mut Session, at_ms: u64, link: u64, peer: Fingerprint, ticket: u64) {
    for event in [opened(link, peer), hello(link, Some(TOKEN)), persisted(ticket)] {
        session.handle(Uptime::from_millis(at_ms), event);
    }
    while session.poll_effect().is_some() {}
}

/// Plays the table; heartbeats and drawing are for `presence.rs`, so they are left out here, and so is the wish for a code.
#[track_caller]
pub(crate) fn check(session: &mut Session, table: Vec<Line>) {
    for (at_ms, event, expected) in table {
        let what = format!("{at_ms} ms: {event:?}");
        session.handle(Uptime::from_millis(at_ms), event);
        let mut effects: Vec<Effect> = std::iter::from_fn(|| session.poll_effect()).collect();
        effects.retain(|effect| {
            let beat = matches!(
                effect,
                Effect::Send {
                    message: ToStation::Beat { .. },
                    ..
                }
            );
            !beat && ![Effect::Redraw, Effect::DrawCode].contains(effect)
        });
        assert_eq!(effects, expected, "{what}");
    }
}

pub(crate) fn seat(session: &Session, at_ms: u64, peer: Fingerprint) -> StationView {
    let stations = session.view(Uptime::from_millis(at_ms)).stations;
    stations
        .into_iter()
        .find(|station| station.peer == peer)
        .expect("a seat")
}

pub(crate) fn agreement(revision: u64, a4: f64, round: u32) -> Agreement {
    Agreement {
        session: SESSION,
        revision: Revision(revision),
        ensemble: "Trio".parse().expect("a name"),
        tuning: tuning(a4),
        tolerance: Tolerance::default(),
        round: Round(round),
        called: None,
    }
}

pub(crate) fn tuning(a4: f64) -> Tuning {
    Tuning {
        a4: consort_proto::ReferencePitch::new(a4).expect("in reach"),
        ..Tuning::default()
    }
}

pub(crate) fn harp() -> Harp {
    harp_file::preset("lever-22").expect("a preset")
}

/// A reading of string `number`, so far above its target at 440 Hz.
pub(crate) fn reading(number: u32, cents: f64) -> Content {
    let harp = harp();
    let number = StringNumber::new(number).expect("a string");
    let target = tuning(440.0).open_target(harp.string(number).expect("the harp has it"));
    Content::Reading(Reading::new(number, target.raised_by(Cents(cents)), Cents(0.1)).expect("a reading"))
}

pub(crate) fn mark(number: u32, mark: Option<Mark>) -> Content {
    Content::Mark {
        string: StringNumber::new(number).expect("a string"),
        mark,
    }
}

pub(crate) fn report(sequence: u64, round: u32, content: Content) -> Report {
    Report {
        sequence: Sequence(sequence),
        session: SESSION,
        round: Round(round),
        tenure: Tenure { seat: 1, epoch: 1 },
        age: Duration::ZERO,
        content,
    }
}

// --- events ---

pub(crate) fn opened(link: u64, peer: Fingerprint) -> Event {
    opened_from(link, peer, [192, 168, 1, link as u8].into())
}

pub(crate) fn opened_from(link: u64, peer: Fingerprint, from: IpAddr) -> Event {
    Event::LinkOpened {
        link: LinkId(link),
        peer,
        from,
        binding: binding(link),
    }
}

/// What is exported of a link.
pub(crate) fn binding(link: u64) -> Binding {
    Binding([link as u8; 32])
}

pub(crate) fn heard(link: u64, message: ToCoordinator) -> Event {
    Event::Heard {
        link: LinkId(link),
        message,
    }
}

pub(crate) fn hello(link: u64, token: Option<JoinToken>) -> Event {
    let hello = Hello {
        name: "Player".parse().expect("a name"),
        harp: harp(),
        token,
        process: 1,
        newest: NEWEST,
    };
    heard(link, ToCoordinator::Hello(hello))
}

pub(crate) fn reports(link: u64, reports: Vec<Report>) -> Event {
    heard(link, ToCoordinator::Reports(reports))
}

pub(crate) fn closed(link: u64) -> Event {
    Event::LinkClosed { link: LinkId(link) }
}

pub(crate) fn persisted(ticket: u64) -> Event {
    Event::Persisted(Ticket(ticket))
}

pub(crate) fn not_persisted(ticket: u64) -> Event {
    Event::NotPersisted(Ticket(ticket))
}

pub(crate) fn command(command: Command) -> Event {
    Event::Command(command)
}

pub(crate) fn pitch(a4: f64) -> Event {
    command(Command::Pitch(tuning(a4).a4))
}

// --- effects ---

pub(crate) fn persist(ticket: u64, record: Record) -> Effect {
    Effect::Persist {
        ticket: Ticket(ticket),
        record,
    }
}

pub(crate) fn station_of(peer: Fingerprint) -> Record {
    Record::Station {
        peer,
        name: "Player".parse().expect("a name"),
        harp: harp(),
    }
}

pub(crate) fn reports_of(peer: Fingerprint, reports: Vec<Report>) -> Record {
    Record::Reports { peer, reports }
}

pub(crate) fn say(link: u64, message: ToStation) -> Effect {
    Effect::Send {
        link: LinkId(link),
        message,
    }
}

pub(crate) fn welcome(link: u64, acked: u64) -> Effect {
    welcome_to(link, acked, Tenure { seat: 1, epoch: 1 })
}

pub(crate) fn welcome_to(link: u64, acked: u64, tenure: Tenure) -> Effect {
    say(
        link,
        ToStation::Welcome {
            session: SESSION,
            epoch: 3,
            acked: Sequence(acked),
            tenure,
        },
    )
}

pub(crate) fn tell(link: u64, agreement: Agreement) -> Effect {
    tell_seats(link, agreement, &[1])
}

/// The agreement, with seats of these numbers, all of players.
pub(crate) fn tell_seats(link: u64, agreement: Agreement, seats: &[u32]) -> Effect {
    let seats = seats.iter().map(|&seat| (Tenure { seat, epoch: 1 }, "Player"));
    tell_tenures(link, agreement, &seats.collect::<Vec<_>>())
}

pub(crate) fn tell_tenures(link: u64, agreement: Agreement, seats: &[(Tenure, &str)]) -> Effect {
    let seats = seats.iter().map(|&(tenure, name)| Seat {
        tenure,
        name: name.parse().expect("a name"),
    });
    let document = Document {
        agreement,
        epoch: 3,
        start_in: None,
        beat_every: Config::default().beat_every,
        seats: seats.collect(),
    };
    say(link, ToStation::Agreement(Box::new(document)))
}

pub(crate) fn acked(link: u64, sequence: u64) -> Effect {
    say(link, ToStation::Acked(Sequence(sequence)))
}

pub(crate) fn close(link: u64, why: Refusal) -> Effect {
    Effect::Close {
        link: LinkId(link),
        why,
    }
}

/// Hands the events in and looks at nothing.
pub(crate) fn play(session: &mut Session, events: Vec<(u64, Event)>) {
    for (at_ms, event) in events {
        session.handle(Uptime::from_millis(at_ms), event);
    }
    while session.poll_effect().is_some() {}
}
