//! Who is let in, and when it is told so.

use crate::common::*;
use consort_proto::message::Refusal;
use consort_proto::{Fingerprint, JoinToken, Sequence, StringStory, Tenure, ToCoordinator, Uptime};
use consort_session::{Command, Config, Presence, Record, Saved, SavedStation, Session};

#[test]
#[rustfmt::skip]
fn a_stranger_with_the_token_is_welcomed_once_its_key_is_on_disk() {
    check(&mut session(), vec![
        (0, opened(1, ILSE),       vec![]),
        (1, hello(1, Some(TOKEN)), vec![persist(1, station_of(ILSE))]),
        (9, persisted(1),          vec![welcome(1, 0), tell(1, agreement(1, 440.0, 1))]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_stranger_without_the_right_token_is_turned_away_and_leaves_no_trace() {
    for token in [None, Some(JoinToken([0; 16])), Some(JoinToken([9, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9, 8]))] {
        let mut session = session();
        check(&mut session, vec![
            (0, opened(1, ILSE),  vec![]),
            (1, hello(1, token),  vec![close(1, Refusal::NotInvited)]),
            (2, reports(1, vec![report(1, 1, reading(1, 0.0))]), vec![]),
        ]);
        assert!(session.view(Default::default()).stations.is_empty());
    }
}

#[test]
#[rustfmt::skip]
fn a_known_station_needs_no_token_and_no_open_door() {
    let mut session = with_ilse();
    check(&mut session, vec![
        (10, closed(1),                          vec![]),
        (20, command(Command::Joining(false)),   vec![]),
        (30, opened(2, ILSE),                    vec![]),
        (31, hello(2, None),                     vec![persist(2, station_of(ILSE))]),
        (40, persisted(2),                       vec![welcome(2, 0), tell(2, agreement(1, 440.0, 1))]),
    ]);
}

#[test]
#[rustfmt::skip]
fn while_joining_is_closed_the_token_opens_nothing() {
    check(&mut session(), vec![
        (0, command(Command::Joining(false)),    vec![]),
        (1, opened(1, ILSE),                     vec![]),
        (2, hello(1, Some(TOKEN)),               vec![close(1, Refusal::JoiningClosed)]),
        (3, command(Command::Joining(true)),     vec![]),
        (4, opened(2, ILSE),                     vec![]),
        (5, hello(2, Some(TOKEN)),               vec![persist(1, station_of(ILSE))]),
    ]);
}

#[test]
#[rustfmt::skip]
fn seats_that_wait_for_the_disk_count_as_taken() {
    let config = Config { stations_max: 1, ..Config::default() };
    check(&mut Session::open(Uptime::default(), config, saved()), vec![
        (0, opened(1, ILSE),                     vec![]),
        (1, hello(1, Some(TOKEN)),               vec![persist(1, station_of(ILSE))]),
        (2, opened(2, OTTO),                     vec![]),
        (3, hello(2, Some(TOKEN)),               vec![close(2, Refusal::Full)]),
    ]);
}

#[test]
#[rustfmt::skip]
fn the_newest_link_of_a_key_wins() {
    check(&mut with_ilse(), vec![
        (10, opened(2, ILSE),                    vec![]),
        (11, hello(2, None),                     vec![persist(2, station_of(ILSE))]),
        (12, persisted(2),                       vec![close(1, Refusal::Superseded), welcome(2, 0), tell(2, agreement(1, 440.0, 1))]),
        // What the old link still brings belongs to nobody.
        (13, reports(1, vec![report(1, 1, reading(1, 0.0))]), vec![]),
        (14, closed(1),                          vec![]),
        (15, reports(2, vec![report(1, 1, reading(1, 0.0))]), vec![persist(3, reports_of(ILSE, vec![report(1, 1, reading(1, 0.0))]))]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_removed_station_stays_out_until_it_is_let_back() {
    let removed = |removed| Record::Removed { peer: ILSE, removed };
    let mut session = with_ilse();
    check(&mut session, vec![
        (10, command(Command::Remove(ILSE)),     vec![close(1, Refusal::Removed), persist(2, removed(true))]),
        // Back before the disk has taken the removal: it does not stay.
        (11, opened(2, ILSE),                    vec![]),
        (12, hello(2, None),                     vec![persist(3, station_of(ILSE))]),
        (13, persisted(3),                       vec![close(2, Refusal::Removed)]),
        (20, opened(3, ILSE),                    vec![]),
        (21, hello(3, Some(TOKEN)),              vec![close(3, Refusal::Removed)]),
        (30, command(Command::LetBack(ILSE)),    vec![persist(4, removed(false))]),
        (31, persisted(4),                       vec![]),
        (32, opened(4, ILSE),                    vec![]),
        (33, hello(4, None),                     vec![persist(5, station_of(ILSE))]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_station_is_let_back_even_while_its_removal_is_on_its_way_to_the_disk() {
    let removed = |removed| Record::Removed { peer: ILSE, removed };
    let mut session = with_ilse();
    check(&mut session, vec![
        (10, command(Command::Remove(ILSE)),     vec![close(1, Refusal::Removed), persist(2, removed(true))]),
        (11, command(Command::LetBack(ILSE)),    vec![persist(3, removed(false))]),
        (12, command(Command::LetBack(ILSE)),    vec![]),
        (13, persisted(3),                       vec![]),
        (20, opened(2, ILSE),                    vec![]),
        (21, hello(2, None),                     vec![persist(4, station_of(ILSE))]),
    ]);
}

#[test]
#[rustfmt::skip]
fn before_its_hello_a_link_may_say_nothing_that_counts() {
    let early = || reports(1, vec![report(1, 1, reading(1, 0.0))]);
    check(&mut session(), vec![
        (0, opened(1, ILSE),                     vec![]),
        // A heartbeat may overtake the hello.
        (1, heard(1, ToCoordinator::Beat),       vec![]),
        (2, early(),                             vec![close(1, Refusal::Misspoke)]),
    ]);
    check(&mut with_ilse(), vec![
        (1, hello(1, None),                      vec![close(1, Refusal::Misspoke)]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_disk_that_takes_nothing_welcomes_nobody_and_is_tried_again() {
    let mut session = session();
    check(&mut session, vec![
        (0,    opened(1, ILSE),                  vec![]),
        (1,    hello(1, Some(TOKEN)),            vec![persist(1, station_of(ILSE))]),
        (5,    not_persisted(1),                 vec![]),
    ]);
    assert!(session.view(Default::default()).disk_trouble);
    check(&mut session, vec![
        (2004, consort_session::Event::Tick,     vec![]),
        (2005, consort_session::Event::Tick,     vec![persist(2, station_of(ILSE))]),
        (2010, persisted(2),                     vec![welcome(1, 0), tell(1, agreement(1, 440.0, 1))]),
    ]);
    assert!(!session.view(Default::default()).disk_trouble);
}

#[test]
#[rustfmt::skip]
fn what_was_saved_is_shown_as_away_and_remembers_what_is_acknowledged() {
    let station = SavedStation {
        place: 1,
        peer: ILSE,
        tenure: Tenure { seat: 1, epoch: 1 },
        name: "Player".parse().expect("a name"),
        harp: harp(),
        acked: Sequence(40),
        removed: false,
        stories: vec![StringStory::default(); harp().len()],
    };
    let mut session = Session::open(Uptime::default(), Config::default(), Saved { stations: vec![station], ..saved() });
    assert_eq!(seat(&session, 0, ILSE).presence, Presence::Away);
    check(&mut session, vec![
        (0, opened(1, ILSE),                     vec![]),
        (1, hello(1, None),                      vec![persist(1, station_of(ILSE))]),
        (2, persisted(1),                        vec![welcome(1, 40), tell(1, agreement(1, 440.0, 1))]),
        (3, reports(1, vec![report(40, 1, reading(1, 0.0))]), vec![acked(1, 40)]),
    ]);
}

#[test]
fn seats_keep_the_order_in_which_stations_first_joined() {
    let mut session = session();
    // Keys sort the other way round.
    for (seat, key) in [(1, 200), (2, 100), (3, 50)] {
        join(&mut session, 0, seat, Fingerprint([key; 32]), seat);
    }
    join(&mut session, 5, 9, Fingerprint([100; 32]), 4);
    let seats: Vec<(u32, u8)> = session
        .view(Default::default())
        .stations
        .iter()
        .map(|station| (station.seat, station.peer.0[0]))
        .collect();
    assert_eq!(seats, [(1, 200), (2, 100), (3, 50)]);
}
