//! Reports are numbered, written down, sent, and kept until the coordinator has them.

use std::time::Duration;

use crate::common::*;
use consort_link::{Config, Effect, Event, Link};
use consort_proto::message::REPORTS_MAX;
use consort_proto::{
    Document, Mark, Report, Round, Sequence, Standing, StringNumber, ToCoordinator, ToStation, Uptime,
};

fn unsent(link: &Link) -> usize {
    link.view(Uptime::default()).unsent
}

fn standing(link: &Link, number: u32) -> Standing {
    let string = StringNumber::new(number).expect("a string");
    link.readiness().of(string).expect("the harp has it")
}

#[test]
#[rustfmt::skip]
fn a_reading_is_sent_once_it_is_on_this_stations_disk_and_kept_until_it_is_on_the_other() {
    let mut link = joined();
    check(&mut link, vec![
        (100, Event::Observed(reading(3, 1.0)), vec![Effect::Journal(report(1, 0, reading(3, 1.0)))]),
        (130, journalled(1),                    vec![reports(1, vec![report(1, 30, reading(3, 1.0))])]),
    ]);
    assert_eq!(unsent(&link), 1);
    check(&mut link, vec![(140, acked(1, 1), vec![forget(1)])]);
    assert_eq!(unsent(&link), 0);
}

#[test]
#[rustfmt::skip]
fn what_was_not_acknowledged_is_sent_again_on_the_next_link_with_its_true_age() {
    let mut link = joined();
    check(&mut link, vec![
        (100,   Event::Observed(reading(3, 1.0)), vec![Effect::Journal(report(1, 0, reading(3, 1.0)))]),
        (100,   journalled(1),                  vec![reports(1, vec![report(1, 0, reading(3, 1.0))])]),
        (200,   link_closed(1),                 vec![]),
        (200,   Event::Observed(reading(4, 0.0)), vec![Effect::Journal(report(2, 0, reading(4, 0.0)))]),
        (200,   journalled(2),                  vec![]),
        (400,   Event::Tick,                    vec![dial(2, 1, HALL)]),
        (900,   connected(2, HALL, 1),          vec![hello(2, None)]),
        (1_000, welcome(2, 0),                  vec![reports(2, vec![report(1, 900, reading(3, 1.0)), report(2, 800, reading(4, 0.0))])]),
        (1_100, acked(2, 2),                    vec![forget(2)]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_welcome_tells_what_need_not_be_sent_again() {
    let journal = (4..=6).map(|number| report(number, 0, reading(number as u32, 0.0))).collect();
    let mut link = link(Config { journal, next: Sequence(7), ..acquainted() });
    check(&mut link, vec![
        (0,  Event::Tick,                       vec![dial(1, 1, HALL)]),
        (10, connected(1, HALL, 1),             vec![hello(1, None)]),
        (20, welcome(1, 5),                     vec![forget(5), reports(1, vec![report(6, 20, reading(6, 0.0))])]),
    ]);
}

#[test]
fn of_one_string_the_last_four_readings_and_the_last_mark_wait() {
    let mut link = joined();
    play(&mut link, vec![(50, link_closed(1))]);
    for number in 1..=9 {
        play(
            &mut link,
            vec![
                (100, Event::Observed(reading(3, number as f64))),
                (100, journalled(number)),
            ],
        );
    }
    for mark_as in [Some(Mark::New), None, Some(Mark::Missing)] {
        play(&mut link, vec![(100, Event::Observed(mark(3, mark_as)))]);
    }
    play(
        &mut link,
        vec![(100, Event::Observed(reading(4, 0.0))), (100, journalled(13))],
    );
    assert_eq!(unsent(&link), 4 + 1 + 1);
    play(&mut link, vec![(400, Event::Tick), (400, connected(2, HALL, 1))]);
    link.handle(Uptime::from_millis(400), welcome(2, 0));
    let numbers: Vec<u64> = drain(&mut link)
        .into_iter()
        .filter_map(|effect| match effect {
            Effect::Send {
                message: ToCoordinator::Reports(reports),
                ..
            } => Some(reports),
            _ => None,
        })
        .flatten()
        .map(|report| report.sequence.0)
        .collect();
    assert_eq!(numbers, [6, 7, 8, 9, 12, 13]);
}

#[test]
fn a_confirmation_survives_an_hour_without_a_network() {
    let mut link = joined();
    play(&mut link, vec![(50, link_closed(1))]);
    for cents in [9.0, 4.0, 0.5, -0.5] {
        play(&mut link, vec![(100, Event::Observed(reading(3, cents)))]);
    }
    assert!(matches!(standing(&link, 3), Standing::Holds(_)));
    assert_eq!(unsent(&link), 4);
}

#[test]
#[rustfmt::skip]
fn a_station_that_lost_its_disk_does_not_use_numbers_again() {
    let mut link = link(Config { agreement: Some(agreement(1, 440.0, 1)), tenure: TENURE, ..acquainted() });
    let first = report(1, 0, reading(3, 0.0));
    let numbered = |sequence, age_ms| Report { sequence: Sequence(sequence), age: std::time::Duration::from_millis(age_ms), ..first };
    let forget_all = Effect::Forget { session: None, up_to: Sequence(50) };
    check(&mut link, vec![
        (0,  Event::Tick,                       vec![dial(1, 1, HALL)]),
        (5,  Event::Observed(reading(3, 0.0)),  vec![Effect::Journal(first)]),
        (6,  journalled(1),                     vec![]),
        (10, connected(1, HALL, 1),             vec![hello(1, None)]),
        // Report 1 would be taken for a repetition.
        (20, welcome(1, 50),                    vec![forget_all, Effect::Journal(numbered(51, 15))]),
        (21, journalled(51),                    vec![reports(1, vec![numbered(51, 16)])]),
    ]);
}

#[test]
fn a_long_journal_goes_out_in_messages_of_bounded_length() {
    let all = (1..=22).flat_map(|string| (1..=8).map(move |_| string)).zip(1..);
    let journal: Vec<Report> = all
        .map(|(string, number)| report(number, 0, reading(string, 0.0)))
        .collect();
    let mut link = link(Config {
        journal,
        ..acquainted()
    });
    play(&mut link, vec![(0, Event::Tick), (10, connected(1, HALL, 1))]);
    link.handle(Uptime::from_millis(20), welcome(1, 0));
    let lengths: Vec<usize> = drain(&mut link)
        .into_iter()
        .filter_map(|effect| match effect {
            Effect::Send {
                message: ToCoordinator::Reports(reports),
                ..
            } => Some(reports.len()),
            _ => None,
        })
        .collect();
    assert_eq!(lengths.iter().sum::<usize>(), 22 * 4);
    assert!(lengths.iter().all(|&length| length <= REPORTS_MAX));
}

#[test]
#[rustfmt::skip]
fn a_report_belongs_to_the_round_in_which_it_was_heard() {
    let mut link = joined();
    let later = Report { round: Round(2), ..report(2, 0, reading(3, 0.0)) };
    check(&mut link, vec![
        (100, Event::Observed(reading(3, 0.0)), vec![Effect::Journal(report(1, 0, reading(3, 0.0)))]),
        (110, told(1, agreement(2, 440.0, 2)),  vec![]),
        (120, Event::Observed(reading(3, 0.0)), vec![Effect::Journal(later)]),
        // The older one goes out all the same; the coordinator keeps it without counting it.
        (130, journalled(2),                    vec![reports(1, vec![report(1, 30, reading(3, 0.0)), Report { age: std::time::Duration::from_millis(10), ..later }])]),
    ]);
    assert!(matches!(standing(&link, 3), Standing::SetOnce(_)));
}

#[test]
fn the_desk_judges_as_the_board_does_and_at_once() {
    let mut link = joined();
    for cents in [0.0, 0.1] {
        play(&mut link, vec![(100, Event::Observed(reading(9, cents)))]);
    }
    assert!(matches!(standing(&link, 9), Standing::Holds(_)));
    play(&mut link, vec![(110, told(1, agreement(2, 442.0, 1)))]);
    assert!(matches!(standing(&link, 9), Standing::Off(_)));
    play(&mut link, vec![(120, told(1, agreement(3, 440.0, 1)))]);
    assert!(matches!(standing(&link, 9), Standing::Holds(_)));
}

#[test]
fn a_mark_made_alone_is_told_to_the_session_that_is_joined_later() {
    let mut link = link(acquainted());
    let missing = mark(4, Some(Mark::Missing));
    play(
        &mut link,
        vec![
            (0, Event::Tick),
            (1, Event::Observed(missing)),
            (2, Event::Observed(reading(5, 0.0))),
            (3, journalled(2)),
            (10, connected(1, HALL, 1)),
            (20, welcome(1, 0)),
        ],
    );
    check(
        &mut link,
        vec![
            (
                30,
                told(1, agreement(1, 440.0, 1)),
                vec![Effect::Journal(report(3, 0, missing))],
            ),
            (31, journalled(3), vec![reports(1, vec![report(3, 1, missing)])]),
            // Told once, not with every change.
            (40, told(1, agreement(2, 441.0, 1)), vec![]),
        ],
    );
    assert_eq!(standing(&link, 4), Standing::Missing);
    assert_eq!(
        standing(&link, 5),
        Standing::NotHeard,
        "what was heard before the session began does not count in it"
    );
}

#[test]
fn what_is_remembered_of_a_round_is_there_after_a_restart() {
    let mut before = joined();
    for cents in [0.0, 0.1] {
        play(&mut before, vec![(100, Event::Observed(reading(9, cents)))]);
    }
    let after = link(Config {
        agreement: Some(agreement(1, 440.0, 1)),
        stories: before.stories().to_vec(),
        ..acquainted()
    });
    assert_eq!(after.readiness(), before.readiness());
    assert_eq!(after.view(Uptime::default()).agreement, Some(&agreement(1, 440.0, 1)));
}

#[test]
fn the_start_counts_down_from_the_time_left() {
    let mut link = joined();
    let start_in = Some(std::time::Duration::from_secs(60));
    let document = Document {
        start_in,
        ..document(agreement(2, 440.0, 1))
    };
    play(
        &mut link,
        vec![(1_000, heard(1, ToStation::Agreement(Box::new(document))))],
    );
    for (at_s, left_s) in [(1, 60), (31, 30), (61, 0), (99, 0)] {
        let left = link.view(Uptime::from_secs(at_s)).start_in;
        assert_eq!(left, Some(std::time::Duration::from_secs(left_s)), "{at_s} s");
    }
}

#[test]
fn from_the_start_until_the_next_round_nothing_that_is_played_is_a_reading() {
    let mut link = joined();
    let started = |start_in_ms: Option<u64>, round| {
        let Event::Heard {
            attempt,
            message: ToStation::Agreement(mut document),
        } = told(1, agreement(2, 440.0, round))
        else {
            unreachable!("an agreement is told")
        };
        document.start_in = start_in_ms.map(Duration::from_millis);
        Event::Heard {
            attempt,
            message: ToStation::Agreement(document),
        }
    };
    play(&mut link, vec![(100, started(Some(1_000), 1))]);
    let plucked = |link: &mut Link, at_ms| {
        link.handle(Uptime::from_millis(at_ms), Event::Observed(reading(1, 0.0)));
        let journalled = drain(link).iter().any(|effect| matches!(effect, Effect::Journal(_)));
        (link.view(Uptime::from_millis(at_ms)).playing, journalled)
    };
    assert_eq!(plucked(&mut link, 1_000), (false, true));
    // The desk shows it at that moment, without anything else happening.
    tick_until(&mut link, 1_100);
    assert!(link.view(Uptime::from_millis(1_100)).playing);
    assert_eq!(plucked(&mut link, 1_200), (true, false));
    link.handle(
        Uptime::from_millis(1_300),
        Event::Observed(mark(2, Some(Mark::Missing))),
    );
    assert!(
        drain(&mut link)
            .iter()
            .any(|effect| matches!(effect, Effect::Journal(_))),
        "a string may break on stage"
    );
    play(&mut link, vec![(2_000, started(None, 2))]);
    assert_eq!(plucked(&mut link, 2_100), (false, true));
}
