//! Rounds: what counts in which, what has to be confirmed, and the performance between two.

use std::time::Duration;

use crate::common::*;
use consort_proto::message::Content;
use consort_proto::{Cents, Note, Reading, Report, ToCoordinator, ToStation, Uptime, Verdict};
use consort_session::{Command, Effect, Session, StationView};

const STRINGS: u64 = 22;

/// Every string of Ilse's harp is plucked twice, in tune, in that round; reports are numbered from `first`.
fn all_hold(first: u64, round: u32) -> consort_session::Event {
    let twice = (0..STRINGS).flat_map(|string| {
        let content = reading(string as u32 + 1, 0.0);
        [
            report(first + 2 * string, round, content),
            report(first + 2 * string + 1, round, content),
        ]
    });
    reports(1, twice.collect())
}

fn minutes(minutes: u64) -> Duration {
    Duration::from_secs(60 * minutes)
}

#[test]
#[rustfmt::skip]
fn what_was_ready_is_to_be_confirmed_in_the_next_round_with_its_age() {
    let mut session = with_ilse();
    play(&mut session, vec![(0, all_hold(1, 1)), (0, persisted(2))]);
    let at = |session: &Session, minute: u64| {
        let seat = seat(session, minute * 60_000, ILSE);
        (seat.readiness.is_ready(), seat.to_confirm, seat.confirmed_ago)
    };
    assert_eq!(at(&session, 5), (true, None, Some(minutes(5))));
    play(&mut session, vec![(600_000, command(Command::NewRound)), (600_000, persisted(3))]);
    assert_eq!(at(&session, 10), (false, Some(minutes(10)), None));
    // Nobody has touched it when the next one is called.
    play(&mut session, vec![(660_000, command(Command::NewRound)), (660_000, persisted(4))]);
    assert_eq!(at(&session, 12), (false, Some(minutes(12)), None));
    // What was heard in an earlier round does not count in this one.
    play(&mut session, vec![(720_000, all_hold(101, 2)), (720_000, persisted(5))]);
    assert_eq!(at(&session, 12), (false, Some(minutes(12)), None));
    play(&mut session, vec![(780_000, all_hold(201, 3)), (780_000, persisted(6))]);
    assert_eq!(at(&session, 15), (true, None, Some(minutes(2))));
}

#[test]
fn a_harp_that_was_not_ready_has_nothing_to_confirm() {
    let mut session = with_ilse();
    let off = report(1, 1, reading(1, 9.0));
    play(&mut session, vec![(0, reports(1, vec![off])), (0, persisted(2))]);
    play(&mut session, vec![(1, command(Command::NewRound)), (1, persisted(3))]);
    assert_eq!(seat(&session, 2, ILSE).to_confirm, None);
}

#[test]
fn from_the_start_on_it_is_a_performance_until_a_round_is_called() {
    let mut session = with_ilse();
    play(
        &mut session,
        vec![(0, command(Command::Start(Some(minutes(1))))), (0, persisted(2))],
    );
    let playing = |session: &Session, at_s| session.view(Uptime::from_secs(at_s)).playing;
    assert!(!playing(&session, 59));
    assert!(playing(&session, 60));
    let wakes = session.poll_timeout().expect("a beat at least");
    assert!(wakes <= Uptime::from_secs(60));
    // A pitch that is changed meanwhile, and taken back, leaves it one.
    play(
        &mut session,
        vec![
            (61_000, pitch(441.0)),
            (61_000, persisted(3)),
            (62_000, command(Command::Undo)),
            (62_000, persisted(4)),
        ],
    );
    assert!(playing(&session, 63));
    play(&mut session, vec![(63_000, pitch(442.0)), (63_000, persisted(5))]);
    session.handle(Uptime::from_secs(64), command(Command::NewRound));
    session.handle(Uptime::from_secs(64), persisted(6));
    let told = std::iter::from_fn(|| session.poll_effect()).find_map(|effect| match effect {
        Effect::Send {
            message: ToStation::Agreement(document),
            ..
        } => Some(document.start_in),
        _ => None,
    });
    assert_eq!(told, Some(None), "stations judge again");
    assert!(!playing(&session, 65));
    // Taking back the pitch does not bring the performance back.
    play(
        &mut session,
        vec![(66_000, command(Command::Undo)), (66_000, persisted(7))],
    );
    assert!(!playing(&session, 67));
    // A start that is still to come stays over a round.
    play(
        &mut session,
        vec![
            (68_000, command(Command::Start(Some(minutes(9))))),
            (68_000, persisted(8)),
        ],
    );
    play(
        &mut session,
        vec![(69_000, command(Command::NewRound)), (69_000, persisted(9))],
    );
    assert_eq!(
        session.view(Uptime::from_secs(69)).start_in,
        Some(minutes(9) - Duration::from_secs(1))
    );
}

#[test]
fn a_called_string_is_shown_side_by_side_from_the_call_on() {
    let mut session = with_ilse();
    join(&mut session, 0, 2, OTTO, 2);
    let harp = harp();
    let (number, string) = harp.numbered().nth(4).expect("a fifth string");
    let note: Note = string.open;
    let said = |sequence, seat, cents| {
        let mut report = report(sequence, 1, reading(number.get().into(), cents));
        report.tenure.seat = seat;
        report
    };
    play(
        &mut session,
        vec![
            (1_000, reports(2, vec![said(1, 2, 5.0)])),
            (1_000, persisted(3)),
            (5_000, command(Command::Call(Some(note)))),
            (5_000, persisted(4)),
            (6_000, reports(1, vec![said(1, 1, 1.0)])),
            (6_000, persisted(5)),
        ],
    );
    play(&mut session, vec![(6_500, heard(2, ToCoordinator::Beat))]);
    let called = |session: &Session, at_ms| {
        let called = session
            .view(Uptime::from_millis(at_ms))
            .called
            .expect("a string is called");
        let cents = |cents: Option<Cents>| cents.map(|cents| cents.0.round());
        (
            called
                .harps
                .iter()
                .map(|beside| (beside.seat, cents(beside.cents)))
                .collect::<Vec<_>>(),
            cents(called.apart),
        )
    };
    assert_eq!(called(&session, 4_900 + 2_000), (vec![(1, Some(1.0)), (2, None)], None));
    play(
        &mut session,
        vec![(7_000, reports(2, vec![said(2, 2, -2.0)])), (7_000, persisted(6))],
    );
    assert_eq!(
        called(&session, 7_100),
        (vec![(1, Some(1.0)), (2, Some(-2.0))], Some(3.0))
    );
    play(
        &mut session,
        vec![(8_000, command(Command::Call(None))), (8_000, persisted(7))],
    );
    assert_eq!(session.view(Uptime::from_secs(8)).called, None);
}

/// A report of string `pluck` by who holds that seat, so loud and so old.
fn loud(pluck: u64, seat: u32, level: f64, age: Duration) -> Report {
    let Content::Reading(reading) = reading(pluck as u32, 0.0) else {
        unreachable!()
    };
    let mut report = report(pluck, 1, Content::Reading(reading.at_level(level).expect("a level")));
    report.tenure.seat = seat;
    Report { age, ..report }
}

/// Ilse plucks four strings, and Otto's station reports each of them as well, at the same time and much weaker; all of it
/// is so old when it is reported.
fn overhearing(age: Duration) -> (Session, u64) {
    let mut session = with_ilse();
    join(&mut session, 0, 2, OTTO, 2);
    let mut ticket = 2;
    for pluck in 1..=4_u64 {
        let at = 2_000 * pluck;
        for (link, seat, level) in [(1, 1, -20.0), (2, 2, -41.0)] {
            ticket += 1;
            play(
                &mut session,
                vec![
                    (at, reports(link, vec![loud(pluck, seat, level, age)])),
                    (at, persisted(ticket)),
                ],
            );
        }
    }
    (session, ticket)
}

/// How many strings were heard of whoever has that seat.
fn strings_heard(seat: &StationView) -> usize {
    let standings = seat.readiness.standings().iter();
    standings.filter(|standing| standing.cents().is_some()).count()
}

#[test]
fn what_was_plucked_before_this_start_or_by_a_clock_that_is_off_counts_and_is_nobodys_neighbour() {
    // The age of what waited in a journal is told by the clock on the wall, which may be a day off.
    for age in [
        Duration::from_secs(60),
        Duration::from_secs(24 * 60 * 60),
        Duration::MAX,
    ] {
        let (session, _) = overhearing(age);
        for key in [ILSE, OTTO] {
            let seat = seat(&session, 8_000, key);
            assert_eq!((seat.overhears, strings_heard(&seat)), (None, 4), "{age:?}");
        }
    }
}

#[test]
fn a_station_that_hears_its_neighbour_is_suspected_and_what_it_overhears_says_nothing() {
    let (mut session, ticket) = overhearing(Duration::ZERO);
    let (ilse, otto) = (seat(&session, 8_000, ILSE), seat(&session, 8_000, OTTO));
    assert_eq!((ilse.overhears, otto.overhears), (None, Some(1)));
    assert_eq!(
        (strings_heard(&ilse), strings_heard(&otto)),
        (4, 2),
        "from the third on Otto's are not counted"
    );
    // They are acknowledged all the same.
    session.handle(
        Uptime::from_secs(9),
        reports(2, vec![loud(5, 2, -41.0, Duration::ZERO)]),
    );
    session.handle(Uptime::from_secs(9), persisted(ticket + 1));
    let acked = std::iter::from_fn(|| session.poll_effect()).any(|effect| effect == acked(2, 5));
    assert!(acked);
}

#[test]
fn strings_that_are_found_lower_on_every_harp_are_the_rooms_doing() {
    let mut session = session();
    let harp = harp();
    for number in 1..=3_u8 {
        let peer = consort_proto::Fingerprint([number; 32]);
        join(&mut session, 0, number.into(), peer, number.into());
    }
    let mut ticket = 3;
    for (at_s, cents) in [(0, 0.0), (1_200, -4.0)] {
        for seat in 1..=3_u32 {
            let all = harp.numbered().map(|(number, _)| {
                let sequence = u64::from(number.get()) + at_s;
                let mut report = report(sequence, 1, reading(number.get().into(), cents));
                report.tenure.seat = seat;
                report
            });
            ticket += 1;
            play(
                &mut session,
                vec![
                    (at_s * 1_000, reports(seat.into(), all.collect())),
                    (at_s * 1_000, persisted(ticket)),
                ],
            );
        }
    }
    let room = session.view(Uptime::from_secs(1_260)).room;
    assert!(!room.is_empty());
    for moved in room {
        assert_eq!((moved.cents.0.round(), moved.harps, moved.of), (-4.0, 3, 3));
        assert_eq!(moved.since, Duration::from_secs(1_260));
    }
    assert_eq!(
        session.view(Uptime::from_secs(7_200)).room,
        [],
        "an hour and a half later it says nothing"
    );
}

#[test]
fn a_doubtful_reading_is_no_pluck_of_anybodys() {
    let mut session = with_ilse();
    let Content::Reading(reading) = reading(1, 0.0) else {
        unreachable!()
    };
    let doubtful: Reading = reading.judged(Verdict::Unsure);
    play(
        &mut session,
        vec![
            (0, reports(1, vec![report(1, 1, Content::Reading(doubtful))])),
            (0, persisted(2)),
        ],
    );
    assert_eq!(seat(&session, 1, ILSE).readiness.holding(), 0);
    assert_eq!(seat(&session, 1, ILSE).confirmed_ago, None);
}
