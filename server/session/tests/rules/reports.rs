//! Reports are written down first, then counted and acknowledged, each once.

use crate::common::*;
use consort_proto::message::Refusal;
use consort_proto::{Cents, Mark, Report, SessionId, Standing, StringNumber, Tenure, Uptime};
use consort_session::{Event, Session};

fn standing(session: &Session, number: u32) -> Standing {
    let string = StringNumber::new(number).expect("a string");
    seat(session, 0, ILSE).readiness.of(string).expect("the harp has it")
}

/// Whole hundredths of a cent, so that a table can be read.
fn hundredths(standing: Standing) -> Option<i64> {
    standing.cents().map(|Cents(cents)| (cents * 100.0).round() as i64)
}

#[test]
#[rustfmt::skip]
fn nothing_counts_and_nothing_is_acknowledged_before_the_disk_has_it() {
    let mut session = with_ilse();
    let first = || vec![report(1, 1, reading(3, 1.0))];
    check(&mut session, vec![
        (0, reports(1, first()),     vec![persist(2, reports_of(ILSE, first()))]),
    ]);
    assert_eq!(standing(&session, 3), Standing::NotHeard);
    check(&mut session, vec![
        (9, persisted(2),            vec![acked(1, 1)]),
    ]);
    assert!(matches!(standing(&session, 3), Standing::SetOnce(_)));
    assert_eq!(hundredths(standing(&session, 3)), Some(100));
}

#[test]
#[rustfmt::skip]
fn a_repeated_report_is_acknowledged_again_and_counted_once() {
    let mut session = with_ilse();
    let once = || vec![report(1, 1, reading(3, 1.0))];
    let both = || vec![report(1, 1, reading(3, 1.0)), report(2, 1, reading(3, 0.5))];
    check(&mut session, vec![
        (0, reports(1, once()),      vec![persist(2, reports_of(ILSE, once()))]),
        // Again, while the disk is busy: not written twice.
        (1, reports(1, once()),      vec![acked(1, 0)]),
        (2, persisted(2),            vec![acked(1, 1)]),
        (3, reports(1, both()),      vec![persist(3, reports_of(ILSE, both()[1..].to_vec()))]),
        (4, persisted(3),            vec![acked(1, 2)]),
        (5, reports(1, both()),      vec![acked(1, 2)]),
    ]);
    assert!(matches!(standing(&session, 3), Standing::Holds(_)));
}

#[test]
#[rustfmt::skip]
fn numbers_may_be_left_out_and_never_go_back() {
    check(&mut with_ilse(), vec![
        (0, reports(1, vec![report(5, 1, reading(1, 0.0)), report(4, 1, reading(2, 0.0)), report(9, 1, reading(3, 0.0))]),
            vec![persist(2, reports_of(ILSE, vec![report(5, 1, reading(1, 0.0)), report(9, 1, reading(3, 0.0))]))]),
        (1, persisted(2),            vec![acked(1, 9)]),
    ]);
}

#[test]
#[rustfmt::skip]
fn only_this_sessions_and_this_rounds_readings_count() {
    let foreign = Report { session: SessionId([6; 16]), ..report(2, 1, reading(2, 0.0)) };
    let beyond_the_harp = report(4, 1, mark(63, Some(Mark::New)));
    let all = || vec![report(1, 2, reading(1, 0.0)), foreign, report(3, 1, reading(3, 0.0)), beyond_the_harp];
    let mut session = with_ilse();
    check(&mut session, vec![
        (0, reports(1, all()),       vec![persist(2, reports_of(ILSE, all()))]),
        (1, persisted(2),            vec![acked(1, 4)]),
    ]);
    assert_eq!(standing(&session, 1), Standing::NotHeard);
    assert_eq!(standing(&session, 2), Standing::NotHeard);
    assert!(matches!(standing(&session, 3), Standing::SetOnce(_)));
}

#[test]
#[rustfmt::skip]
fn a_mark_sets_a_string_aside_and_can_be_taken_back() {
    let mut session = with_ilse();
    for (ticket, content, expected) in [
        (2, mark(4, Some(Mark::Missing)), Standing::Missing),
        (3, mark(4, Some(Mark::New)),     Standing::New(None)),
        (4, mark(4, None),                Standing::NotHeard),
    ] {
        session.handle(Uptime::default(), reports(1, vec![report(ticket, 1, content)]));
        session.handle(Uptime::default(), persisted(ticket));
        assert_eq!(standing(&session, 4), expected);
    }
}

#[test]
#[rustfmt::skip]
fn a_report_that_the_disk_did_not_take_is_written_before_any_later_one() {
    let one = |number| vec![report(number, 1, reading(1, 0.0))];
    check(&mut with_ilse(), vec![
        (0,    reports(1, one(1)),   vec![persist(2, reports_of(ILSE, one(1)))]),
        (1,    not_persisted(2),     vec![]),
        // Were this written first, its acknowledgement would speak for the one that is nowhere.
        (2,    reports(1, one(2)),   vec![]),
        (2001, Event::Tick,          vec![persist(3, reports_of(ILSE, one(1))), persist(4, reports_of(ILSE, one(2)))]),
        (2002, not_persisted(4),     vec![]),
        (2003, persisted(3),         vec![acked(1, 1)]),
        (4002, Event::Tick,          vec![persist(5, reports_of(ILSE, one(2)))]),
        (4003, persisted(5),         vec![acked(1, 2)]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_flood_ends_the_link_and_a_whole_journal_does_not() {
    let many = |from: u64, count: u64| (from..from + count).map(|n| report(n, 1, reading(1, 0.0))).collect::<Vec<_>>();
    // Four readings and a mark of each of 63 strings, as after an hour without a network.
    let mut session = with_ilse();
    for batch in [many(1, 128), many(129, 128), many(257, 59)] {
        check(&mut session, vec![(0, reports(1, batch.clone()), vec![persist(batch[0].sequence.0 / 128 + 2, reports_of(ILSE, batch))])]);
    }
    let mut session = with_ilse();
    let closes = (0..100).find(|batch| {
        session.handle(Uptime::from_millis(batch * 10), reports(1, many(1 + batch * 128, 128)));
        std::iter::from_fn(|| session.poll_effect()).any(|effect| effect == close(1, Refusal::Misspoke))
    });
    assert_eq!(closes, Some(4));
}

#[test]
fn one_stations_reports_say_nothing_of_another_harp() {
    let mut session = with_ilse();
    join(&mut session, 0, 2, OTTO, 2);
    let before = seat(&session, 0, ILSE);
    let of_otto = Report {
        tenure: Tenure { seat: 2, epoch: 1 },
        ..report(1, 1, reading(1, 0.0))
    };
    session.handle(Uptime::default(), reports(2, vec![of_otto]));
    session.handle(Uptime::default(), persisted(3));
    assert_eq!(seat(&session, 0, ILSE), before);
    assert_ne!(seat(&session, 0, OTTO).readiness, before.readiness);
}
