//! Joining by code: with whom a code is tried, what is believed, and what the harpist is told.

use std::time::Duration;

use crate::common::*;
use consort_link::{Attempt, AttemptFailure, Effect, Event, Link, LinkState};
use consort_proto::message::Refusal;
use consort_proto::{Fingerprint, JoinCode, Name, Proof, Share, ToCoordinator, ToStation, Uptime};

const SHARE: Share = Share([0x42; 33]);
const PROOF: Proof = Proof([6; 32]);
const THIRD: Fingerprint = Fingerprint([3; 32]);

// --- events ---

fn code() -> Event {
    Event::JoinCode(JoinCode::drawn(1))
}

fn reply(attempt: u64) -> Event {
    heard(
        attempt,
        ToStation::PairReply {
            session: SESSION,
            share: SHARE,
        },
    )
}

fn accept(attempt: u64) -> Event {
    heard(
        attempt,
        ToStation::PairAccept {
            ensemble: trio(),
            proof: PROOF,
        },
    )
}

fn proof(attempt: u64, right: bool) -> Event {
    Event::Proof {
        attempt: Attempt(attempt),
        right,
    }
}

fn pinned(coordinator: Fingerprint, at: u8) -> Event {
    Event::Pinned {
        coordinator,
        address: place(at),
    }
}

fn trio() -> Name {
    "Trio".parse().expect("a name")
}

// --- effects ---

fn pair(attempt: u64, peer: Fingerprint) -> Effect {
    Effect::Pair {
        attempt: Attempt(attempt),
        peer,
        binding: binding(attempt),
        code: JoinCode::drawn(1),
    }
}

fn confirm(attempt: u64) -> Effect {
    Effect::Confirm {
        attempt: Attempt(attempt),
        session: SESSION,
        share: SHARE,
        name: config().name,
    }
}

fn check_proof(attempt: u64) -> Effect {
    Effect::CheckProof {
        attempt: Attempt(attempt),
        ensemble: trio(),
        proof: PROOF,
    }
}

fn pin(coordinator: Fingerprint, at: u8) -> Effect {
    Effect::Pin {
        coordinator,
        address: place(at),
    }
}

/// From the call to a stranger's proof, all in ten milliseconds.
fn proven(at_ms: u64, attempt: u64, peer: Fingerprint, at: u8) -> Vec<Line> {
    vec![
        (at_ms, connected(attempt, peer, at), vec![pair(attempt, peer)]),
        (at_ms + 3, reply(attempt), vec![confirm(attempt)]),
        (at_ms + 6, accept(attempt), vec![check_proof(attempt)]),
        (at_ms + 9, proof(attempt, true), vec![pin(peer, at)]),
    ]
}

fn says(link: &Link, at_ms: u64) -> (LinkState, Option<String>) {
    let view = link.view(Uptime::from_millis(at_ms));
    (view.state, view.refused_by.map(str::to_owned))
}

#[test]
#[rustfmt::skip]
fn a_code_and_a_sighting_lead_to_a_known_coordinator_and_a_hello_on_the_same_link() {
    let mut link = link(config());
    check(&mut link, vec![(0, code(), vec![])]);
    assert_eq!(state(&link, 0), LinkState::Searching);
    check(&mut link, vec![(5, sighted(HALL, &[1]), vec![dial_anyone(1, 1)])]);
    assert_eq!(state(&link, 5), LinkState::Reaching);
    check(&mut link, proven(20, 1, HALL, 1));
    check(&mut link, vec![
        // Only what rests on the disk is believed the next time.
        (32, Event::Tick,              vec![]),
        (35, pinned(HALL, 1),          vec![hello(1, None)]),
        (40, welcome(1, 0),            vec![]),
        (41, told(1, agreement(1, 440.0, 1)), vec![]),
    ]);
    assert_eq!(state(&link, 41), LinkState::Joined);
    // The next time no code is needed.
    check(&mut link, vec![
        (50,  link_closed(1),          vec![]),
        (300, Event::Tick,             vec![dial(2, 1, HALL)]),
        (310, connected(2, HALL, 1),   vec![hello(2, None)]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_sighting_before_the_code_serves_as_well_as_a_typed_address() {
    let mut link = link(config());
    check(&mut link, vec![
        (0,   sighted(HALL, &[1]),     vec![]),
        (50,  code(),                  vec![dial_anyone(1, 1)]),
    ]);
    let mut link = crate::common::link(config());
    check(&mut link, vec![
        (0,   code(),                  vec![]),
        (50,  Event::Address(place(7)), vec![dial_anyone(1, 7)]),
    ]);
    check(&mut link, proven(60, 1, HALL, 7));
}

#[test]
#[rustfmt::skip]
fn without_a_code_no_stranger_is_called() {
    let mut link = link(acquainted());
    check(&mut link, vec![
        (0,   Event::Tick,             vec![dial(1, 1, HALL)]),
        (5,   sighted(OTHER, &[9]),    vec![]),
        (9,   came_to_nothing(1, AttemptFailure::NoAnswer), vec![]),
    ]);
    let called = tick_until(&mut link, 60_000);
    assert!(called.iter().all(|(_, effect)| !matches!(effect, Effect::Dial { expect: None, .. })));
}

#[test]
#[rustfmt::skip]
fn nothing_is_believed_out_of_turn() {
    let mut link = link(config());
    check(&mut link, vec![
        (0,  sighted(HALL, &[1]),      vec![]),
        (1,  code(),                   vec![dial_anyone(1, 1)]),
        (2,  reply(1),                 vec![]),
        (3,  connected(1, HALL, 1),    vec![pair(1, HALL)]),
        // No welcome, no agreement and no proof counts before its time.
        (4,  welcome(1, 0),            vec![]),
        (5,  told(1, agreement(9, 415.0, 1)), vec![]),
        (6,  accept(1),                vec![]),
        (7,  proof(1, true),           vec![]),
        (8,  reply(1),                 vec![confirm(1)]),
        (9,  reply(1),                 vec![]),
        (10, accept(1),                vec![check_proof(1)]),
        (11, accept(1),                vec![]),
        (12, welcome(1, 0),            vec![]),
        (13, proof(1, true),           vec![pin(HALL, 1)]),
        (14, welcome(1, 0),            vec![]),
    ]);
    assert_eq!(link.view(Uptime::from_millis(14)).agreement, None);
    assert_ne!(state(&link, 14), LinkState::Joined);
}

#[test]
#[rustfmt::skip]
fn a_code_that_does_not_match_is_said_with_whom_it_was_tried_and_is_not_tried_again() {
    for wrong in [refused(1, Refusal::WrongCode), proof(1, false)] {
        let mut link = link(config());
        check(&mut link, vec![
            (0, sighted(HALL, &[1]),   vec![]),
            (1, code(),                vec![dial_anyone(1, 1)]),
            (2, connected(1, HALL, 1), vec![pair(1, HALL)]),
            (3, reply(1),              vec![confirm(1)]),
            (4, wrong,                 vec![close(1)]),
        ]);
        // Whoever is meant may be heard of a little later.
        assert_eq!(says(&link, 4), (LinkState::Searching, None));
        tick_until(&mut link, 2_001);
        assert_eq!(says(&link, 2_001), (LinkState::Refused(Refusal::WrongCode), Some(HALL.tag())));
        let later = tick_until(&mut link, 3_600_000);
        assert!(later.iter().all(|(_, effect)| *effect == Effect::Redraw), "{later:?}");
        check(&mut link, vec![
            (3_600_001, sighted(HALL, &[2]), vec![]),
            (3_600_002, code(),        vec![dial_anyone(2, 2)]),
        ]);
        assert_eq!(says(&link, 3_600_002), (LinkState::Reaching, None));
    }
}

#[test]
#[rustfmt::skip]
fn where_several_are_near_the_code_finds_the_one_that_it_is_from() {
    let mut link = link(config());
    check(&mut link, vec![
        (0,   sighted(HALL, &[1]),     vec![]),
        (1,   sighted(OTHER, &[2]),    vec![]),
        (2,   code(),                  vec![dial_anyone(1, 2)]),
        (10,  connected(1, OTHER, 2),  vec![pair(1, OTHER)]),
        (11,  refused(1, Refusal::WrongCode), vec![close(1)]),
        (152, Event::Tick,             vec![dial_anyone(2, 1)]),
    ]);
    check(&mut link, proven(160, 2, HALL, 1));
}

#[test]
#[rustfmt::skip]
fn a_neighbour_that_is_heard_of_first_does_not_use_the_code_up() {
    let mut link = link(config());
    check(&mut link, vec![
        (0,   sighted(OTHER, &[2]),    vec![]),
        (2,   code(),                  vec![dial_anyone(1, 2)]),
        (10,  connected(1, OTHER, 2),  vec![pair(1, OTHER)]),
        (11,  refused(1, Refusal::WrongCode), vec![close(1)]),
        (900, sighted(HALL, &[1]),     vec![dial_anyone(2, 1)]),
    ]);
    check(&mut link, proven(950, 2, HALL, 1));
    assert_ne!(state(&link, 959), LinkState::Refused(Refusal::WrongCode));
}

#[test]
#[rustfmt::skip]
fn a_wrong_code_is_said_though_somebody_who_was_heard_of_never_answers() {
    let mut link = link(config());
    check(&mut link, vec![
        (0,   sighted(HALL, &[1]),     vec![]),
        (1,   sighted(OTHER, &[2]),    vec![]),
        (2,   code(),                  vec![dial_anyone(1, 2)]),
        (10,  connected(1, OTHER, 2),  vec![pair(1, OTHER)]),
        (11,  refused(1, Refusal::WrongCode), vec![close(1)]),
    ]);
    tick_until(&mut link, 8_000);
    assert_eq!(state(&link, 8_000), LinkState::Reaching);
    tick_until(&mut link, 8_011);
    assert_eq!(says(&link, 8_011), (LinkState::Refused(Refusal::WrongCode), Some(OTHER.tag())));
}

#[test]
#[rustfmt::skip]
fn a_code_is_shown_to_three_keys_at_most() {
    let mut link = link(config());
    let keys = [HALL, OTHER, THIRD, Fingerprint([4; 32])];
    for (n, key) in (1..).zip(keys) {
        check(&mut link, vec![(0, sighted(key, &[n]), vec![])]);
    }
    link.handle(Uptime::from_millis(1), code());
    let mut tried = Vec::new();
    for at_ms in (1..10_000).step_by(50) {
        link.handle(Uptime::from_millis(at_ms), Event::Tick);
        for effect in drain(&mut link) {
            match effect {
                Effect::Dial { attempt, address, .. } => {
                    let at = (1..=4).find(|&n| place(n) == address).expect("a place");
                    let peer = keys[usize::from(at) - 1];
                    link.handle(Uptime::from_millis(at_ms), connected(attempt.0, peer, at));
                }
                Effect::Pair { attempt, peer, .. } => {
                    tried.push(peer);
                    link.handle(Uptime::from_millis(at_ms), refused(attempt.0, Refusal::WrongCode));
                }
                _ => {}
            }
        }
    }
    tried.sort_unstable();
    tried.dedup();
    assert_eq!(tried.len(), 3);
    assert_eq!(says(&link, 10_000).0, LinkState::Refused(Refusal::WrongCode));
}

#[test]
#[rustfmt::skip]
fn three_tries_with_one_key_then_half_a_minute_of_rest() {
    let mut link = link(config());
    check(&mut link, vec![(0, Event::Address(place(1)), vec![])]);
    for attempt in 1..=3 {
        let at_ms = attempt * 1_000;
        check(&mut link, vec![
            (at_ms,     code(),                       vec![dial_anyone(attempt, 1)]),
            (at_ms + 1, connected(attempt, HALL, 1),  vec![pair(attempt, HALL)]),
            (at_ms + 2, refused(attempt, Refusal::WrongCode), vec![close(attempt)]),
        ]);
    }
    check(&mut link, vec![
        (4_000, code(),                vec![dial_anyone(4, 1)]),
        (4_001, connected(4, HALL, 1), vec![close(4)]),
    ]);
    // The last was at 3.001 s.
    let left = Duration::from_millis(29_000);
    assert_eq!(says(&link, 4_001), (LinkState::Refused(Refusal::Resting { left }), Some(HALL.tag())));
    tick_until(&mut link, 33_001);
    assert_eq!(state(&link, 33_001), LinkState::Alone);
    check(&mut link, vec![
        (33_002, code(),               vec![dial_anyone(5, 1)]),
        (33_003, connected(5, HALL, 1), vec![pair(5, HALL)]),
    ]);
}

#[test]
#[rustfmt::skip]
fn who_has_to_wait_tries_again_alone_and_who_may_not_join_is_told() {
    let begun = || {
        let mut link = link(config());
        check(&mut link, vec![
            (0, sighted(HALL, &[1]),   vec![]),
            (1, code(),                vec![dial_anyone(1, 1)]),
            (2, connected(1, HALL, 1), vec![pair(1, HALL)]),
        ]);
        link
    };
    let mut link = begun();
    check(&mut link, vec![(3, refused(1, Refusal::NotNow), vec![close(1)])]);
    assert_eq!(says(&link, 3), (LinkState::Reaching, None));
    let again = tick_until(&mut link, 2_100);
    assert!(again.iter().any(|(_, effect)| *effect == dial_anyone(2, 1)), "{again:?}");
    assert!(again.iter().all(|(at_ms, effect)| *at_ms > 1_000 || *effect == Effect::Redraw), "{again:?}");
    for why in [Refusal::JoiningClosed, Refusal::Full, Refusal::Removed] {
        let mut link = begun();
        check(&mut link, vec![(3, refused(1, why), vec![close(1)])]);
        tick_until(&mut link, 2_001);
        assert_eq!(says(&link, 2_001).0, LinkState::Refused(why));
    }
    let left = Duration::from_secs(30);
    let mut link = begun();
    check(&mut link, vec![(3, refused(1, Refusal::Resting { left }), vec![close(1)])]);
    tick_until(&mut link, 2_001);
    assert_eq!(says(&link, 2_001).0, LinkState::Refused(Refusal::Resting { left }));
    tick_until(&mut link, 30_003);
    assert_eq!(state(&link, 30_003), LinkState::Alone, "the time that was said is over");
}

#[test]
#[rustfmt::skip]
fn a_try_that_breaks_off_is_made_again() {
    for end in [link_closed(1), Event::Tick] {
        let mut link = link(config());
        check(&mut link, vec![
            (0,      sighted(HALL, &[1]),     vec![]),
            (1,      code(),                  vec![dial_anyone(1, 1)]),
            (2,      connected(1, HALL, 1),   vec![pair(1, HALL)]),
        ]);
        let silent = end == Event::Tick;
        link.handle(Uptime::from_millis(if silent { 10_002 } else { 3 }), end);
        let mut again: Vec<Effect> = drain(&mut link);
        again.extend(tick_until(&mut link, 12_000).into_iter().map(|(_, effect)| effect));
        assert!(again.contains(&dial_anyone(2, 1)), "{again:?}");
        assert_eq!(again.contains(&close(1)), silent);
    }
}

#[test]
#[rustfmt::skip]
fn a_known_coordinator_that_answers_needs_no_code() {
    let mut link = link(acquainted());
    check(&mut link, vec![
        (0,     code(),                vec![]),
        // Whoever is meant by the code has a moment to be heard.
        (1_999, Event::Tick,           vec![]),
        (2_000, Event::Tick,           vec![dial(1, 1, HALL)]),
        (2_010, connected(1, HALL, 1), vec![hello(1, None)]),
        (2_020, welcome(1, 0),         vec![]),
        // The code was for joining, and this is joined.
        (2_030, sighted(OTHER, &[2]),  vec![]),
    ]);
    // At the typed address, too.
    let mut link = crate::common::link(acquainted());
    check(&mut link, vec![
        (0,     Event::Address(place(7)), vec![dial(1, 7, HALL)]),
        (1,     code(),                vec![dial_anyone(2, 7)]),
        (10,    connected(2, HALL, 7), vec![close(1), hello(2, None)]),
    ]);
}

#[test]
#[rustfmt::skip]
fn another_ensembles_code_is_tried_before_the_known_coordinator_is_called() {
    let mut link = link(acquainted());
    check(&mut link, vec![
        (0,  sighted(OTHER, &[2]),     vec![dial(1, 1, HALL)]),
        (1,  came_to_nothing(1, AttemptFailure::NoAnswer), vec![]),
        (2,  code(),                   vec![dial_anyone(2, 2)]),
    ]);
    check(&mut link, proven(10, 2, OTHER, 2));
    check(&mut link, vec![
        (25, pinned(OTHER, 2),         vec![hello(2, None)]),
        (30, welcome(2, 0),            vec![]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_code_typed_in_one_session_leads_to_another_and_leaves_the_first_only_then() {
    let mut link = joined();
    check(&mut link, vec![
        (100, sighted(OTHER, &[2]),    vec![]),
        (101, code(),                  vec![dial_anyone(2, 2)]),
    ]);
    check(&mut link, proven(110, 2, OTHER, 2));
    assert_eq!(state(&link, 120), LinkState::Joined);
    check(&mut link, vec![
        (121, pinned(OTHER, 2),        vec![say(1, ToCoordinator::Leave), close(1), hello(2, None)]),
        (130, welcome(2, 0),           vec![]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_key_that_reaches_the_disk_after_its_link_has_gone_is_called_again() {
    let mut link = link(config());
    check(&mut link, vec![
        (0,  sighted(HALL, &[1]),      vec![]),
        (1,  code(),                   vec![dial_anyone(1, 1)]),
    ]);
    check(&mut link, proven(10, 1, HALL, 1));
    check(&mut link, vec![
        (20, link_closed(1),           vec![]),
        (30, pinned(HALL, 1),          vec![dial(2, 1, HALL)]),
        (40, connected(2, HALL, 1),    vec![hello(2, None)]),
    ]);
}

#[test]
fn a_flood_of_false_sightings_does_not_keep_a_code_from_the_typed_address() {
    let mut link = link(config());
    link.handle(Uptime::default(), Event::Address(place(1)));
    link.handle(Uptime::default(), code());
    let mut true_calls = 0;
    for tenth in 0..600_u64 {
        let at_ms = tenth * 100;
        let stranger = Fingerprint([tenth as u8; 32]);
        link.handle(
            Uptime::from_millis(at_ms),
            sighted(stranger, &[10 + (tenth % 240) as u8]),
        );
        let mut done = drain(&mut link);
        done.extend(tick_until(&mut link, at_ms + 99).into_iter().map(|(_, effect)| effect));
        let called = |effect: &&Effect| matches!(effect, Effect::Dial { address, .. } if *address == place(1));
        true_calls += done.iter().filter(called).count();
    }
    assert!(true_calls >= 10, "called {true_calls} times in a minute");
}

#[test]
fn a_code_is_let_go_of_after_a_quarter_of_an_hour() {
    let mut link = link(config());
    check(&mut link, vec![(0, code(), vec![])]);
    tick_until(&mut link, 900_000);
    assert_eq!(state(&link, 900_000), LinkState::Alone);
    check(&mut link, vec![(900_001, sighted(HALL, &[1]), vec![])]);
}
