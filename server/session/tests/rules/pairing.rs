//! Joining by code: who may try, how many wrong codes the door stands, and what a right one leads to.

use std::net::IpAddr;
use std::time::Duration;

use crate::common::*;
use consort_proto::message::Refusal;
use consort_proto::{Fingerprint, JoinCode, Proof, Share, ToCoordinator, Uptime};
use consort_session::{CodeView, Command, Config, Effect, Event, LinkId, Record, Session};

const SHARE: Share = Share([0x41; 33]);
const PROOF: Proof = Proof([6; 32]);
const MINUTE: u64 = 60_000;

fn code(number: u64) -> JoinCode {
    JoinCode::drawn(number)
}

/// A session that shows code 1; code 2 is drawn already.
fn open() -> Session {
    let mut session = session();
    for number in [1, 2] {
        session.handle(Uptime::default(), Event::Code(code(number)));
    }
    while session.poll_effect().is_some() {}
    session
}

fn shown(session: &Session, at_ms: u64) -> CodeView {
    session.view(Uptime::from_millis(at_ms)).code
}

fn is_shown(number: u64, wrong: usize) -> CodeView {
    CodeView::Open {
        code: code(number),
        wrong,
    }
}

// --- events ---

fn start(link: u64) -> Event {
    heard(link, ToCoordinator::PairStart(SHARE))
}

fn confirm(link: u64) -> Event {
    let name = "Player".parse().expect("a name");
    heard(link, ToCoordinator::PairConfirm { name, proof: PROOF })
}

fn proof(link: u64, right: bool) -> Event {
    Event::Proof {
        link: LinkId(link),
        right,
    }
}

// --- effects ---

fn answer(link: u64, peer: Fingerprint, number: u64) -> Effect {
    Effect::AnswerShare {
        link: LinkId(link),
        peer,
        binding: binding(link),
        code: code(number),
        share: SHARE,
    }
}

fn check_proof(link: u64) -> Effect {
    Effect::CheckProof {
        link: LinkId(link),
        name: "Player".parse().expect("a name"),
        proof: PROOF,
    }
}

fn accept(link: u64) -> Effect {
    Effect::Accept {
        link: LinkId(link),
        ensemble: "Trio".parse().expect("a name"),
    }
}

fn pin(ticket: u64, peer: Fingerprint) -> Effect {
    persist(ticket, Record::Pinned { peer })
}

fn key(number: u64) -> Fingerprint {
    let mut bytes = [7; 32];
    bytes[..8].copy_from_slice(&number.to_le_bytes());
    Fingerprint(bytes)
}

fn address(number: u64) -> IpAddr {
    [10, 0, (number >> 8) as u8, number as u8].into()
}

/// Somebody new, from somewhere else, tries a wrong code at `at_ms`; what the session says to that.
fn guess(session: &mut Session, at_ms: u64, number: u64) -> Vec<Effect> {
    guess_as(session, at_ms, number, key(number), address(number))
}

fn guess_as(session: &mut Session, at_ms: u64, link: u64, peer: Fingerprint, from: IpAddr) -> Vec<Effect> {
    let link = 1_000 + link;
    for event in [
        opened_from(link, peer, from),
        start(link),
        confirm(link),
        proof(link, false),
        closed(link),
    ] {
        session.handle(Uptime::from_millis(at_ms), event);
    }
    let effects = std::iter::from_fn(|| session.poll_effect());
    effects
        .filter(|effect| matches!(effect, Effect::Close { .. } | Effect::AnswerShare { .. }))
        .collect()
}

fn refused(link: u64, why: Refusal) -> Vec<Effect> {
    vec![close(1_000 + link, why)]
}

#[test]
#[rustfmt::skip]
fn a_right_code_lets_a_stranger_in_once_its_key_is_on_disk_and_the_next_time_none_is_needed() {
    let mut session = open();
    check(&mut session, vec![
        (0,  opened(1, ILSE),          vec![]),
        (1,  start(1),                 vec![answer(1, ILSE, 1)]),
        (2,  confirm(1),               vec![check_proof(1)]),
        (3,  proof(1, true),           vec![pin(1, ILSE)]),
        (5,  persisted(1),             vec![accept(1)]),
        (6,  hello(1, None),           vec![persist(2, station_of(ILSE))]),
        (7,  persisted(2),             vec![welcome(1, 0), tell(1, agreement(1, 440.0, 1))]),
    ]);
    let newcomer = session.view(Uptime::from_millis(7)).newcomer.expect("a newcomer");
    assert_eq!((newcomer.peer, newcomer.name.as_str()), (ILSE, "Player"), "the leader sees who has joined");
    assert_eq!(shown(&session, 7), is_shown(1, 0), "a right code is used up by nobody");
    check(&mut session, vec![
        (10, closed(1),                vec![]),
        (11, command(Command::Joining(false)), vec![]),
        (20, opened(2, ILSE),          vec![]),
        (21, hello(2, None),           vec![persist(3, station_of(ILSE))]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_key_that_was_kept_is_let_in_after_a_restart_even_where_it_never_said_hello() {
    let saved = consort_session::Saved { pinned: vec![ILSE], ..saved() };
    let mut session = Session::open(Uptime::default(), Config { joining: false, ..Config::default() }, saved);
    check(&mut session, vec![
        (0, opened(1, ILSE),           vec![]),
        (1, hello(1, None),            vec![persist(1, station_of(ILSE))]),
        (2, opened(2, OTTO),           vec![]),
        (3, hello(2, None),            vec![close(2, Refusal::NotInvited)]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_wrong_code_leaves_no_trace_but_its_count() {
    let mut session = open();
    check(&mut session, vec![
        (0, opened(1, ILSE),           vec![]),
        (1, start(1),                  vec![answer(1, ILSE, 1)]),
        (2, confirm(1),                vec![check_proof(1)]),
        (3, proof(1, false),           vec![close(1, Refusal::WrongCode)]),
        (4, hello(1, None),            vec![]),
        (5, opened(2, ILSE),           vec![]),
        (6, hello(2, None),            vec![close(2, Refusal::NotInvited)]),
    ]);
    assert!(session.view(Uptime::from_millis(9)).stations.is_empty());
    assert_eq!(shown(&session, 9), is_shown(1, 1));
}

#[test]
#[rustfmt::skip]
fn a_try_that_is_broken_off_or_takes_too_long_was_wrong() {
    let mut session = open();
    check(&mut session, vec![
        (0,      opened(1, key(1)),    vec![]),
        (1,      start(1),             vec![answer(1, key(1), 1)]),
        (2,      closed(1),            vec![]),
        (3,      opened(2, key(2)),    vec![]),
        (4,      start(2),             vec![answer(2, key(2), 1)]),
        (10_003, Event::Tick,          vec![]),
        (10_004, Event::Tick,          vec![close(2, Refusal::NotNow)]),
        // What comes after it is nobody's.
        (10_005, proof(2, true),       vec![]),
    ]);
    assert_eq!(shown(&session, 10_005), is_shown(1, 2));
}

#[test]
#[rustfmt::skip]
fn before_it_is_known_a_station_may_say_nothing_but_its_proof() {
    let report = || reports(1, vec![report(1, 1, reading(1, 0.0))]);
    for (said, wrong) in [(hello(1, Some(TOKEN)), 1), (start(1), 1), (report(), 1)] {
        let mut session = open();
        check(&mut session, vec![
            (0, opened(1, ILSE),       vec![]),
            (1, start(1),              vec![answer(1, ILSE, 1)]),
            (2, said,                  vec![close(1, Refusal::Misspoke)]),
        ]);
        assert_eq!(shown(&session, 2), is_shown(1, wrong));
    }
    check(&mut open(), vec![
        (0, opened(1, ILSE),           vec![]),
        (1, confirm(1),                vec![close(1, Refusal::Misspoke)]),
    ]);
    check(&mut with_ilse(), vec![
        (1, start(1),                  vec![close(1, Refusal::Misspoke)]),
    ]);
    // Nor may it say its proof twice, or introduce itself before it is told that its key is kept.
    for said in [confirm(1), hello(1, None)] {
        check(&mut open(), vec![
            (0, opened(1, ILSE),       vec![]),
            (1, start(1),              vec![answer(1, ILSE, 1)]),
            (2, confirm(1),            vec![check_proof(1)]),
            (3, proof(1, true),        vec![pin(1, ILSE)]),
            (4, said,                  vec![close(1, Refusal::Misspoke)]),
            (5, persisted(1),          vec![]),
        ]);
    }
}

#[test]
#[rustfmt::skip]
fn ten_wrong_codes_take_the_code_away_for_half_a_minute_then_twice_as_long_and_five_times_in_all() {
    let mut session = open();
    let (mut at_ms, mut number) = (0, 0);
    for (codes, rest_s) in [(1, 30), (2, 60), (3, 120), (4, 240)] {
        assert_eq!(shown(&session, at_ms), is_shown(codes, 0));
        for wrong in 0..10 {
            number += 1;
            let said = guess(&mut session, at_ms, number);
            assert!(said.contains(&close(1_000 + number, Refusal::WrongCode)), "{codes}, {wrong}: {said:?}");
        }
        let left = Duration::from_secs(rest_s);
        assert_eq!(shown(&session, at_ms), CodeView::Resting { left });
        number += 1;
        assert_eq!(guess(&mut session, at_ms, number), refused(number, Refusal::Resting { left }));
        session.handle(Uptime::from_millis(at_ms), Event::Code(code(codes + 1)));
        at_ms += rest_s * 1_000;
        session.handle(Uptime::from_millis(at_ms - 1), Event::Tick);
        assert_eq!(shown(&session, at_ms - 1), CodeView::Resting { left: Duration::from_millis(1) });
        session.handle(Uptime::from_millis(at_ms), Event::Tick);
    }
    for _ in 0..10 {
        number += 1;
        guess(&mut session, at_ms, number);
    }
    assert!(at_ms < 15 * MINUTE, "all five fit into one opening");
    // Fifty guesses at one of ten million codes: 5 in a million.
    assert_eq!(shown(&session, at_ms), CodeView::Closed);
    number += 1;
    assert_eq!(guess(&mut session, at_ms + MINUTE, number), refused(number, Refusal::JoiningClosed));
    // The leader opens again, with a code that was never shown.
    session.handle(Uptime::from_millis(at_ms), Event::Code(code(9)));
    check(&mut session, vec![(at_ms + MINUTE, command(Command::Joining(true)), vec![])]);
    assert_eq!(shown(&session, at_ms + MINUTE), is_shown(9, 0));
}

#[test]
fn three_wrong_codes_a_minute_from_one_address_or_one_key_and_no_more() {
    for same_key in [true, false] {
        let mut session = open();
        let mut said = Vec::new();
        for number in 1..=4 {
            let (peer, from) = match same_key {
                true => (key(1), address(number)),
                false => (key(number), address(1)),
            };
            said.push(guess_as(&mut session, number * 1_000, number, peer, from));
        }
        assert!(said[..3].iter().all(|effects| effects.len() == 2), "{said:?}");
        let left = Duration::from_millis(57_000);
        assert_eq!(
            said[3],
            refused(4, Refusal::Resting { left }),
            "the first was at 1 s, this is at 4 s"
        );
        // Others are not kept out by it, and a minute later it is forgotten.
        assert_eq!(guess(&mut session, 5_000, 50).len(), 2);
        let (peer, from) = if same_key {
            (key(1), address(60))
        } else {
            (key(60), address(1))
        };
        assert_eq!(guess_as(&mut session, 61_000, 60, peer, from).len(), 2);
    }
}

#[test]
#[rustfmt::skip]
fn all_addresses_of_one_ipv6_network_are_one() {
    let mut session = open();
    let from = |last: u64| -> IpAddr { format!("2001:db8:1:2::{last}").parse().expect("address") };
    for number in 1..=3 {
        assert_eq!(guess_as(&mut session, 0, number, key(number), from(number)).len(), 2);
    }
    let left = Duration::from_secs(60);
    assert_eq!(guess_as(&mut session, 0, 4, key(4), from(4)), refused(4, Refusal::Resting { left }));
    let elsewhere = "2001:db8:1:3::1".parse().expect("address");
    assert_eq!(guess_as(&mut session, 0, 5, key(5), elsewhere).len(), 2);
}

#[test]
#[rustfmt::skip]
fn one_try_at_a_time_for_each_key_and_four_in_all() {
    let mut session = open();
    for number in 1..=4 {
        check(&mut session, vec![
            (0, opened(number, key(number)),   vec![]),
            (1, start(number),                 vec![answer(number, key(number), 1)]),
        ]);
    }
    check(&mut session, vec![
        (2, opened(5, key(5)),         vec![]),
        (3, start(5),                  vec![close(5, Refusal::NotNow)]),
        (4, confirm(4),                vec![check_proof(4)]),
        (5, proof(4, true),            vec![pin(1, key(4))]),
        (6, opened(6, key(1)),         vec![]),
        (7, start(6),                  vec![close(6, Refusal::NotNow)]),
        (8, opened(7, key(5)),         vec![]),
        (9, start(7),                  vec![answer(7, key(5), 1)]),
    ]);
    assert_eq!(shown(&session, 9), is_shown(1, 0), "who has to wait has not been wrong");
}

#[test]
#[rustfmt::skip]
fn many_stations_behind_one_address_join_one_after_the_other_with_the_right_code() {
    let mut session = open();
    for number in 1..=20 {
        check(&mut session, vec![
            (number, opened_from(number, key(number), address(1)), vec![]),
            (number, start(number),    vec![answer(number, key(number), 1)]),
            (number, confirm(number),  vec![check_proof(number)]),
            (number, proof(number, true), vec![pin(number, key(number))]),
        ]);
    }
}

#[test]
fn a_code_lapses_after_a_quarter_of_an_hour_and_the_link_holds_on() {
    let mut session = open();
    assert_eq!(session.poll_timeout(), Some(Uptime::from_millis(15 * MINUTE)));
    session.handle(Uptime::from_millis(15 * MINUTE - 1), Event::Tick);
    assert_eq!(shown(&session, 15 * MINUTE - 1), is_shown(1, 0));
    session.handle(Uptime::from_millis(15 * MINUTE), Event::Tick);
    assert_eq!(shown(&session, 15 * MINUTE), CodeView::Closed);
    let late = 16 * MINUTE;
    assert_eq!(guess(&mut session, late, 1), refused(1, Refusal::JoiningClosed));
    check(
        &mut session,
        vec![
            (late, opened(1, ILSE), vec![]),
            (late, hello(1, Some(TOKEN)), vec![persist(1, station_of(ILSE))]),
        ],
    );
    session.handle(Uptime::from_millis(late), command(Command::Joining(true)));
    assert_eq!(shown(&session, late), is_shown(2, 0), "one tap shows a fresh one");
    assert_eq!(shown(&session, late + 15 * MINUTE - 1), is_shown(2, 0));
}

#[test]
#[rustfmt::skip]
fn a_fresh_code_ends_what_was_tried_with_the_old_one() {
    let mut session = open();
    check(&mut session, vec![
        (0, opened(1, ILSE),           vec![]),
        (1, start(1),                  vec![answer(1, ILSE, 1)]),
        (2, command(Command::Joining(true)), vec![close(1, Refusal::WrongCode)]),
        (3, proof(1, true),            vec![]),
        (4, opened(2, ILSE),           vec![]),
        (5, start(2),                  vec![answer(2, ILSE, 2)]),
        (6, command(Command::Joining(false)), vec![close(2, Refusal::WrongCode)]),
        (7, opened(3, ILSE),           vec![]),
        (8, start(3),                  vec![close(3, Refusal::JoiningClosed)]),
    ]);
    assert_eq!(shown(&session, 8), CodeView::Closed);
}

#[test]
#[rustfmt::skip]
fn no_attack_on_the_code_touches_a_known_station() {
    let mut session = open();
    join(&mut session, 0, 1, ILSE, 1);
    for number in 1..=40 {
        guess_as(&mut session, 10, number, key(number), [192, 168, 1, 1].into());
    }
    check(&mut session, vec![
        (20, reports(1, vec![report(1, 1, reading(1, 0.0))]), vec![persist(2, reports_of(ILSE, vec![report(1, 1, reading(1, 0.0))]))]),
        (30, closed(1),                vec![]),
        // From an address that has no try left.
        (40, opened_from(9, ILSE, [192, 168, 1, 1].into()), vec![]),
        (41, hello(9, None),           vec![persist(3, station_of(ILSE))]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_removed_station_does_not_come_back_by_the_code_nor_anyone_beyond_the_seats() {
    let mut session = open();
    join(&mut session, 0, 1, ILSE, 1);
    check(&mut session, vec![
        (10, command(Command::Remove(ILSE)), vec![close(1, Refusal::Removed), persist(2, Record::Removed { peer: ILSE, removed: true })]),
        (11, persisted(2),             vec![]),
        (12, opened(2, ILSE),          vec![]),
        (13, start(2),                 vec![close(2, Refusal::Removed)]),
    ]);
    let config = Config { stations_max: 1, ..Config::default() };
    let mut full = Session::open(Uptime::default(), config, saved());
    full.handle(Uptime::default(), Event::Code(code(1)));
    join(&mut full, 0, 1, ILSE, 1);
    check(&mut full, vec![
        (12, opened(2, OTTO),          vec![]),
        (13, start(2),                 vec![close(2, Refusal::Full)]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_disk_that_takes_nothing_accepts_nobody_and_is_tried_again() {
    let mut session = open();
    check(&mut session, vec![
        (0,     opened(1, ILSE),       vec![]),
        (1,     start(1),              vec![answer(1, ILSE, 1)]),
        (2,     confirm(1),            vec![check_proof(1)]),
        (3,     proof(1, true),        vec![pin(1, ILSE)]),
        (5,     not_persisted(1),      vec![]),
        (2_005, Event::Tick,           vec![pin(2, ILSE)]),
        (2_006, persisted(2),          vec![accept(1)]),
    ]);
}

#[test]
fn nothing_is_tried_before_a_code_was_drawn_and_each_is_replaced_ahead_of_time() {
    let mut session = session();
    let wants = |session: &mut Session| std::iter::from_fn(|| session.poll_effect()).any(|e| e == Effect::DrawCode);
    assert!(wants(&mut session));
    assert_eq!(shown(&session, 0), CodeView::Closed);
    assert_eq!(guess(&mut session, 0, 1), refused(1, Refusal::NotNow));
    session.handle(Uptime::default(), Event::Code(code(1)));
    assert!(wants(&mut session), "the next one is drawn while this one is shown");
    assert_eq!(shown(&session, 0), is_shown(1, 0));
    session.handle(Uptime::default(), Event::Code(code(2)));
    assert!(!wants(&mut session));
    assert_eq!(shown(&session, 0), is_shown(1, 0));
}
