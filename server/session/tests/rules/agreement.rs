//! Each change of the agreement is a new revision, on disk before anyone hears of it.

use std::time::Duration;

use crate::common::*;
use consort_proto::{
    Agreement, Cents, Revision, Scheme, Setting, Standing, StringNumber, Temperament, ToStation, Tolerance, Uptime,
};
use consort_session::{Command, Config, Effect, Past, Record, Saved, Session};

/// An undo brings the revision `undo_to` back.
fn written(ticket: u64, agreement: Agreement, undo_to: Option<u64>) -> Effect {
    let record = Record::Agreement {
        agreement: Box::new(agreement),
        start_in: None,
        undo_to: undo_to.map(Revision),
    };
    persist(ticket, record)
}

#[test]
#[rustfmt::skip]
fn a_change_is_told_to_every_station_once_it_is_on_disk() {
    let mut session = with_ilse();
    join(&mut session, 0, 2, OTTO, 2);
    check(&mut session, vec![
        (10, pitch(442.0),                       vec![written(3, agreement(2, 442.0, 1), Some(1))]),
    ]);
    assert_eq!(session.view(Uptime::default()).agreement, agreement(1, 440.0, 1));
    check(&mut session, vec![
        (11, persisted(3),                       vec![tell_seats(1, agreement(2, 442.0, 1), &[1, 2]), tell_seats(2, agreement(2, 442.0, 1), &[1, 2])]),
    ]);
    assert_eq!(session.view(Uptime::default()).agreement, agreement(2, 442.0, 1));
}

#[test]
#[rustfmt::skip]
fn what_is_agreed_already_is_no_change() {
    check(&mut with_ilse(), vec![
        (1, pitch(440.0),                                    vec![]),
        (2, command(Command::Setting(Setting::NATURALS)),    vec![]),
        (3, command(Command::Start(None)),                   vec![]),
        (4, command(Command::Undo),                          vec![]),
    ]);
}

#[test]
#[rustfmt::skip]
fn undo_takes_back_the_last_change_as_a_new_revision() {
    let mut session = session();
    check(&mut session, vec![
        (1, pitch(441.0),                        vec![written(1, agreement(2, 441.0, 1), Some(1))]),
        // Decided before the disk has the first: it stands on the first all the same.
        (2, pitch(442.0),                        vec![written(2, agreement(3, 442.0, 1), Some(2))]),
        (3, persisted(2),                        vec![]),
        (4, command(Command::Undo),              vec![written(3, agreement(4, 441.0, 1), Some(1))]),
        (5, command(Command::NewRound),          vec![written(4, agreement(5, 441.0, 2), Some(1))]),
        // A round that has begun is not taken back.
        (6, command(Command::Undo),              vec![written(5, agreement(6, 440.0, 2), None)]),
        (7, persisted(5),                        vec![]),
        (8, command(Command::Undo),              vec![]),
    ]);
    assert!(!session.view(Uptime::default()).can_undo);
}

#[test]
#[rustfmt::skip]
fn every_part_of_the_agreement_can_be_changed() {
    let before = agreement(1, 440.0, 1);
    let mut tempered = before.clone();
    tempered.tuning.temperament = Temperament::named(Scheme::Vallotti);
    let mut set = before.clone();
    set.tuning.setting = Setting::FLATS;
    let strict = Tolerance { middle: Cents(1.0), wires: Cents(1.5), top: Cents(2.0) };
    let tight = Agreement { tolerance: strict, ..before };
    for (order, changed) in [
        (Command::Temperament(tempered.tuning.temperament), tempered),
        (Command::Setting(Setting::FLATS),                  set),
        (Command::Tolerance(strict),                        tight),
    ] {
        let changed = Agreement { revision: Revision(2), ..changed };
        check(&mut session(), vec![(1, command(order), vec![written(1, changed, Some(1))])]);
    }
}

#[test]
fn the_start_travels_as_the_time_that_is_left() {
    let mut session = with_ilse();
    let start = Some(Duration::from_secs(600));
    session.handle(Uptime::from_secs(100), command(Command::Start(start)));
    session.handle(Uptime::from_secs(101), persisted(2));
    let told = std::iter::from_fn(|| session.poll_effect()).find_map(|effect| match effect {
        Effect::Send {
            message: ToStation::Agreement(document),
            ..
        } => Some(document.start_in),
        _ => None,
    });
    assert_eq!(told, Some(Some(Duration::from_secs(599))));
    for (at_s, left_s) in [(101, 599), (700, 0), (800, 0)] {
        let left = session.view(Uptime::from_secs(at_s)).start_in;
        assert_eq!(left, Some(Duration::from_secs(left_s)), "{at_s} s");
    }
}

#[test]
#[rustfmt::skip]
fn a_session_that_is_opened_again_goes_on_with_its_start_and_can_undo() {
    let minutes = |minutes: u64| Some(Duration::from_secs(60 * minutes));
    let past = |revision, a4, start_in| Past {
        revision: Revision(revision),
        tuning: tuning(a4),
        tolerance: Tolerance::default(),
        start_in,
    };
    let saved = Saved {
        agreement: agreement(7, 442.0, 1),
        start_in: minutes(10),
        past: vec![past(3, 440.0, None), past(5, 441.0, minutes(9))],
        ..saved()
    };
    let opened_at = Uptime::from_secs(1_000);
    let mut session = Session::open(opened_at, Config::default(), saved);
    assert_eq!(session.view(Uptime::from_secs(1_060)).start_in, minutes(9));
    let written = |ticket, agreement, start_in, undo_to: Option<u64>| {
        persist(ticket, Record::Agreement { agreement: Box::new(agreement), start_in, undo_to: undo_to.map(Revision) })
    };
    check(&mut session, vec![
        (1_060_000, command(Command::Undo),      vec![written(1, agreement(8, 441.0, 1), minutes(8), Some(3))]),
        (1_060_001, command(Command::Undo),      vec![written(2, agreement(9, 440.0, 1), None, None)]),
        (1_060_002, persisted(2),                vec![]),
        (1_060_003, command(Command::Undo),      vec![]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_change_that_the_disk_did_not_take_never_was() {
    let mut session = with_ilse();
    check(&mut session, vec![
        (1, pitch(442.0),                        vec![written(2, agreement(2, 442.0, 1), Some(1))]),
        (2, pitch(443.0),                        vec![written(3, agreement(3, 443.0, 1), Some(2))]),
        (3, not_persisted(2),                    vec![]),
        (4, pitch(441.0),                        vec![written(4, agreement(2, 441.0, 1), Some(1))]),
        (5, persisted(4),                        vec![tell(1, agreement(2, 441.0, 1))]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_late_word_of_an_old_refusal_does_not_touch_what_was_decided_since() {
    check(&mut with_ilse(), vec![
        (0, pitch(441.0),                        vec![written(2, agreement(2, 441.0, 1), Some(1))]),
        (1, pitch(442.0),                        vec![written(3, agreement(3, 442.0, 1), Some(2))]),
        (2, not_persisted(2),                    vec![]),
        (3, pitch(443.0),                        vec![written(4, agreement(2, 443.0, 1), Some(1))]),
        (4, not_persisted(3),                    vec![]),
        (5, persisted(4),                        vec![tell(1, agreement(2, 443.0, 1))]),
    ]);
}

#[test]
fn a_new_reference_judges_every_string_anew_without_a_pluck() {
    let mut session = with_ilse();
    let twice = vec![report(1, 1, reading(9, 0.0)), report(2, 1, reading(9, 0.1))];
    session.handle(Uptime::default(), reports(1, twice));
    session.handle(Uptime::default(), persisted(2));
    let ninth = StringNumber::new(9).expect("a string");
    let standing = |session: &Session| seat(session, 0, ILSE).readiness.of(ninth);
    assert!(matches!(standing(&session), Some(Standing::Holds(_))));
    session.handle(Uptime::default(), pitch(442.0));
    assert!(
        matches!(standing(&session), Some(Standing::Holds(_))),
        "not in force yet"
    );
    session.handle(Uptime::default(), persisted(3));
    // 1200·log2(440/442) = −7.85 cents, plus the 0.1 of the last reading.
    let Some(Standing::Off(Cents(cents))) = standing(&session) else {
        panic!("{:?}", standing(&session))
    };
    assert!((cents + 7.75).abs() < 0.01, "{cents}");
}

#[test]
fn a_new_round_forgets_readings_and_keeps_marks() {
    let mut session = with_ilse();
    let heard = vec![
        report(1, 1, reading(9, 0.0)),
        report(2, 1, mark(2, Some(consort_proto::Mark::New))),
    ];
    session.handle(Uptime::default(), reports(1, heard));
    session.handle(Uptime::default(), persisted(2));
    session.handle(Uptime::default(), command(Command::NewRound));
    // Heard in the old round, on disk after the new one was called.
    session.handle(Uptime::default(), reports(1, vec![report(3, 1, reading(10, 0.0))]));
    session.handle(Uptime::default(), persisted(4));
    let standings = seat(&session, 0, ILSE).readiness.standings().to_vec();
    assert_eq!(standings[1], Standing::New(None));
    assert_eq!((standings[8], standings[9]), (Standing::NotHeard, Standing::NotHeard));
}
