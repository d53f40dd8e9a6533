//! What the leader rules beside the agreement: on the disk before it holds, and there again after a restart.

use crate::common::*;
use consort_proto::{Fingerprint, Hello, ReferencePitch, ToCoordinator, ToStation, Uptime};
use consort_session::{Command, Config, Effect, Event, Record, Ruled, Ruling, Saved, Session};

const GRETA: Fingerprint = Fingerprint([3; 32]);

fn a4(hz: f64) -> ReferencePitch {
    ReferencePitch::new(hz).expect("in reach")
}

fn next_pitch(hz: Option<f64>) -> Event {
    command(Command::NextPitch(hz.map(a4)))
}

fn written(ticket: u64, ruling: Ruling) -> Effect {
    persist(ticket, Record::Ruling(ruling))
}

fn next_hz(session: &Session) -> Option<f64> {
    let next = session.view(Uptime::default()).next_pitch;
    next.map(|a4| a4.hz().get())
}

#[test]
#[rustfmt::skip]
fn a_pitch_for_the_next_round_holds_once_it_is_on_the_disk_and_until_the_round_begins() {
    let mut session = session();
    let kept = |hz: Option<f64>| Ruling::NextPitch(hz.map(a4));
    check(&mut session, vec![
        (10, next_pitch(Some(441.0)),       vec![written(1, kept(Some(441.0)))]),
        (11, next_pitch(Some(441.0)),       vec![]),
    ]);
    assert_eq!(next_hz(&session), None, "not before it is on the disk");
    check(&mut session, vec![
        (12, persisted(1),                  vec![]),
        (13, next_pitch(None),              vec![written(2, kept(None))]),
        (14, persisted(2),                  vec![]),
        (15, next_pitch(Some(442.0)),       vec![written(3, kept(Some(442.0)))]),
    ]);
    // The round is called before the disk has answered: it begins with the pitch all the same.
    session.handle(Uptime::from_millis(16), command(Command::NewRound));
    play(&mut session, vec![(17, persisted(4))]);
    let view = session.view(Uptime::from_millis(18));
    assert_eq!((view.agreement.tuning.a4, view.agreement.round.0, view.next_pitch), (a4(442.0), 2, None));
}

#[test]
fn a_pitch_for_the_next_round_outlasts_a_restart() {
    let saved = Saved {
        ruled: Ruled {
            next_pitch: Some(a4(443.0)),
            ..Ruled::default()
        },
        ..saved()
    };
    let mut session = Session::open(Uptime::default(), Config::default(), saved);
    assert_eq!(next_hz(&session), Some(443.0));
    play(&mut session, vec![(1, command(Command::NewRound)), (2, persisted(1))]);
    assert_eq!(session.view(Uptime::from_millis(3)).agreement.tuning.a4, a4(443.0));
}

/// Otto's station is older and does not know the message.
#[test]
fn tones_are_silenced_at_every_station_that_knows_how_and_at_those_that_come_later() {
    let mut session = with_ilse();
    let joins = |session: &mut Session, link, newest, ticket| {
        let hello = Hello {
            name: "Otto".parse().expect("a name"),
            harp: harp(),
            token: Some(TOKEN),
            process: 1,
            newest,
        };
        let mut told = Vec::new();
        for event in [
            opened(link, if newest == 0 { OTTO } else { GRETA }),
            heard(link, ToCoordinator::Hello(hello)),
            persisted(ticket),
        ] {
            session.handle(Uptime::from_millis(5), event);
            told.extend(std::iter::from_fn(|| session.poll_effect()).filter(is_of_tones));
        }
        told
    };
    assert_eq!(joins(&mut session, 2, 0, 2), []);
    let tones = |allowed| command(Command::Tones { allowed });
    let kept = |ticket, allowed| written(ticket, Ruling::Tones { allowed });
    check(
        &mut session,
        vec![
            (10, tones(true), vec![]),
            (11, tones(false), vec![kept(3, false)]),
            (12, persisted(3), vec![say(1, ToStation::Tones { allowed: false })]),
            (13, tones(false), vec![]),
        ],
    );
    assert!(session.view(Uptime::from_millis(14)).silenced);
    assert_eq!(
        joins(&mut session, 3, 1, 4),
        [say(3, ToStation::Tones { allowed: false })]
    );
    session.handle(Uptime::from_millis(20), tones(true));
    session.handle(Uptime::from_millis(21), persisted(5));
    let told: Vec<Effect> = std::iter::from_fn(|| session.poll_effect())
        .filter(is_of_tones)
        .collect();
    let both = [1, 3].map(|link| say(link, ToStation::Tones { allowed: true }));
    assert_eq!(told, both);
}

fn is_of_tones(effect: &Effect) -> bool {
    matches!(
        effect,
        Effect::Send {
            message: ToStation::Tones { .. },
            ..
        }
    )
}

#[test]
fn seats_are_shown_in_the_order_that_the_leader_gives_and_keep_their_numbers() {
    let mut session = with_ilse();
    join(&mut session, 0, 2, OTTO, 2);
    join(&mut session, 0, 3, GRETA, 3);
    let shown = |session: &Session| -> Vec<(Fingerprint, u32, u32)> {
        let stations = session.view(Uptime::from_millis(20)).stations;
        stations
            .iter()
            .map(|station| (station.peer, station.place, station.seat))
            .collect()
    };
    assert_eq!(shown(&session), [(ILSE, 1, 1), (OTTO, 2, 2), (GRETA, 3, 3)]);
    let order = |first: &[Fingerprint]| command(Command::Order(first.to_vec()));
    let told = |link| say(link, ToStation::Places(vec![(1, 2), (2, 3), (3, 1)]));
    check(
        &mut session,
        vec![
            (10, order(&[]), vec![]),
            (11, order(&[ILSE, OTTO]), vec![]),
            (
                12,
                order(&[GRETA]),
                vec![written(4, Ruling::Order(vec![GRETA, ILSE, OTTO]))],
            ),
            // Told once more before the disk has answered.
            (13, order(&[GRETA, ILSE]), vec![]),
            (14, persisted(4), vec![told(1), told(2), told(3)]),
        ],
    );
    assert_eq!(shown(&session), [(GRETA, 1, 3), (ILSE, 2, 1), (OTTO, 3, 2)]);
    // Who comes later is shown last.
    let late = Fingerprint([4; 32]);
    join(&mut session, 30, 4, late, 5);
    assert_eq!(shown(&session).last(), Some(&(late, 4, 4)));
}

#[test]
#[rustfmt::skip]
fn each_new_address_of_the_board_has_a_number_of_its_own() {
    let mut session = session();
    let renew = || command(Command::RenewBoard);
    check(&mut session, vec![
        (10, renew(),           vec![written(1, Ruling::Board(1))]),
        (11, renew(),           vec![written(2, Ruling::Board(2))]),
    ]);
    assert_eq!(session.view(Uptime::default()).board, 0, "not before it is on the disk");
    check(&mut session, vec![(12, persisted(2), vec![])]);
    assert_eq!(session.view(Uptime::default()).board, 2);
}
