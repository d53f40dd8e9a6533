//! Whom a station calls, what it says first, and what it believes.

use crate::common::*;
use consort_link::{AttemptFailure, Config, Event, Known, LinkState};
use consort_proto::message::Refusal;
use consort_proto::{Revision, SessionId, ToCoordinator, ToStation, Uptime};

#[test]
#[rustfmt::skip]
fn a_join_link_leads_to_a_hello_with_its_token_and_is_remembered_once_welcomed() {
    let mut link = link(config());
    assert_eq!(state(&link, 0), LinkState::Alone);
    check(&mut link, vec![
        (0,  Event::Tick,              vec![]),
        (5,  join_link(HALL, &[1]),    vec![dial(1, 1, HALL)]),
        (20, connected(1, HALL, 1),    vec![hello(1, Some(TOKEN))]),
        (30, welcome(1, 0),            vec![remember(HALL, 1)]),
    ]);
    assert_eq!(state(&link, 30), LinkState::Joined);
}

#[test]
#[rustfmt::skip]
fn a_known_coordinator_is_called_at_once_where_it_last_was_and_needs_no_token() {
    check(&mut link(acquainted()), vec![
        (0,  Event::Tick,              vec![dial(1, 1, HALL)]),
        (20, connected(1, HALL, 1),    vec![hello(1, None)]),
        (30, welcome(1, 0),            vec![]),
    ]);
}

#[test]
#[rustfmt::skip]
fn addresses_are_raced_a_little_apart_and_the_first_answer_counts() {
    check(&mut link(config()), vec![
        (0,   join_link(HALL, &[1, 2, 3, 4]), vec![dial(1, 1, HALL)]),
        (149, Event::Tick,             vec![]),
        (150, Event::Tick,             vec![dial(2, 2, HALL)]),
        (300, Event::Tick,             vec![dial(3, 3, HALL)]),
        (310, connected(2, HALL, 2),   vec![close(1), close(3), hello(2, Some(TOKEN))]),
        // While the coordinator writes this station down, nobody else is called: two hellos would get in each other's way.
        (450, Event::Tick,             vec![]),
        // Too late.
        (460, connected(3, HALL, 3),   vec![close(3)]),
        (900, welcome(2, 0),           vec![remember(HALL, 2)]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_sighting_is_only_a_hint_where_a_known_key_may_be() {
    let mut link = link(Config { known: vec![Known { coordinator: HALL, address: None }], ..config() });
    assert_eq!(state(&link, 0), LinkState::Searching);
    check(&mut link, vec![
        (0,  Event::Tick,              vec![]),
        // Somebody else, perhaps under the same name: never called, only shown.
        (10, sighted(OTHER, &[9]),     vec![]),
        (20, sighted(HALL, &[1]),      vec![dial(1, 1, HALL)]),
    ]);
    let tags: Vec<String> = link.view(Uptime::default()).strangers.iter().map(|shown| shown.tag.clone()).collect();
    assert_eq!(tags, [OTHER.tag()]);
    // Whoever answers must hold the key; the shell says when it does not.
    check(&mut link, vec![
        (30, came_to_nothing(1, AttemptFailure::OtherKey), vec![]),
    ]);
    assert_eq!(state(&link, 30), LinkState::Reaching, "anybody can announce an address");
}

#[test]
#[rustfmt::skip]
fn another_key_where_the_coordinator_was_reached_is_said_until_nobody_is_there_any_more() {
    let mut link = link(acquainted());
    check(&mut link, vec![
        (0,  Event::Tick,              vec![dial(1, 1, HALL)]),
        (30, came_to_nothing(1, AttemptFailure::OtherKey), vec![]),
    ]);
    assert_eq!(state(&link, 30), LinkState::OtherKey);
    let redialled = tick_until(&mut link, 3_100);
    assert!(redialled.iter().any(|(_, effect)| *effect == dial(2, 1, HALL)), "{redialled:?}");
    // Nobody has answered the second call in time.
    assert_eq!(state(&link, 3_100), LinkState::Reaching);
}

#[test]
#[rustfmt::skip]
fn a_typed_address_is_called_only_with_a_key_to_expect() {
    let mut link = link(config());
    check(&mut link, vec![
        (0,   Event::Address(place(7)), vec![]),
        // The link says whom to expect; its own address comes first.
        (10,  join_link(HALL, &[1]),   vec![dial(1, 1, HALL)]),
        (160, Event::Tick,             vec![dial(2, 7, HALL)]),
        (170, Event::Address(place(8)), vec![dial(3, 8, HALL)]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_flood_of_false_sightings_never_keeps_a_station_from_the_true_address() {
    let mut link = link(acquainted());
    let mut true_calls = 0;
    for tenth in 0..600_u64 {
        let at_ms = tenth * 100;
        let n = 10 + (tenth % 240) as u8;
        link.handle(Uptime::from_millis(at_ms), sighted(HALL, &[n]));
        let done = drain(&mut link).into_iter().chain(tick_until(&mut link, at_ms + 99).into_iter().map(|(_, effect)| effect));
        true_calls += done.filter(|effect| matches!(effect, consort_link::Effect::Dial { address, .. } if *address == place(1))).count();
    }
    // Attempts there last one to three seconds each.
    assert!(true_calls >= 15, "called {true_calls} times in a minute");
}

#[test]
#[rustfmt::skip]
fn a_join_link_is_a_choice_and_leaves_the_session_before() {
    let mut link = joined();
    check(&mut link, vec![
        (100, join_link(OTHER, &[2]),  vec![say(1, ToCoordinator::Leave), close(1), dial(2, 2, OTHER)]),
        // The old coordinator is still known, and not called.
        (105, sighted(HALL, &[1]),     vec![]),
        (110, connected(2, OTHER, 2),  vec![hello(2, Some(TOKEN))]),
        (120, welcome(2, 0),           vec![remember(OTHER, 2)]),
    ]);
    // A link to where one is already is no reason to leave.
    let mut link = joined();
    check(&mut link, vec![(100, join_link(HALL, &[1]), vec![])]);
    assert_eq!(state(&link, 100), LinkState::Joined);
}

#[test]
#[rustfmt::skip]
fn an_agreement_is_taken_only_from_the_session_that_welcomed_and_never_an_older_one() {
    let foreign = consort_proto::Agreement { session: SessionId([6; 16]), ..agreement(9, 415.0, 1) };
    let mut link = joined();
    for (message, revision, a4) in [
        (told(1, agreement(3, 442.0, 1)), 3, 442.0),
        (told(1, agreement(2, 441.0, 1)), 3, 442.0),
        (told(1, foreign.clone()),        3, 442.0),
        // From a link that nobody was welcomed on.
        (told(8, agreement(4, 443.0, 1)), 3, 442.0),
        (told(1, agreement(4, 443.0, 1)), 4, 443.0),
    ] {
        play(&mut link, vec![(50, message)]);
        let view = link.view(Uptime::default());
        let held = view.agreement.expect("an agreement");
        assert_eq!((held.revision, held.tuning.a4.hz().get()), (Revision(revision), a4));
    }
    // The coordinator lost its disk, says so by name, and starts from revision 1.
    let session = foreign.session;
    let fresh = consort_proto::Agreement { revision: Revision(1), ..foreign };
    play(&mut link, vec![
        (60, link_closed(1)),
        (500, Event::Tick),
        (510, connected(2, HALL, 1)),
        (520, heard(2, ToStation::Welcome { session, epoch: 1, acked: consort_proto::Sequence(0), tenure: TENURE })),
        (521, told(2, fresh.clone())),
    ]);
    assert_eq!(link.view(Uptime::default()).agreement, Some(&fresh));
}

#[test]
#[rustfmt::skip]
fn nothing_that_is_said_before_the_welcome_is_believed() {
    let mut link = link(acquainted());
    check(&mut link, vec![
        (0, Event::Tick,                        vec![dial(1, 1, HALL)]),
        (1, told(1, agreement(5, 415.0, 1)),    vec![]),
        (2, connected(1, HALL, 1),              vec![hello(1, None)]),
        (3, told(1, agreement(5, 415.0, 1)),    vec![]),
        (4, acked(1, 99),                       vec![]),
    ]);
    assert_eq!(link.view(Uptime::default()).agreement, None);
}

#[test]
#[rustfmt::skip]
fn a_station_that_is_turned_away_says_why_and_tries_again_only_after_a_while() {
    for why in [Refusal::NotInvited, Refusal::JoiningClosed, Refusal::Removed, Refusal::Full, Refusal::Misspoke] {
        let mut link = link(acquainted());
        check(&mut link, vec![
            (0,     Event::Tick,               vec![dial(1, 1, HALL)]),
            (10,    connected(1, HALL, 1),     vec![hello(1, None)]),
            (20,    refused(1, why),           vec![close(1)]),
            // Not even for a sighting.
            (30,    sighted(HALL, &[2]),       vec![]),
            (10019, Event::Tick,               vec![]),
        ]);
        assert_eq!(state(&link, 10019), LinkState::Refused(why));
        check(&mut link, vec![
            (10020, Event::Tick,               vec![dial(2, 1, HALL)]),
            // A new join link is reason enough.
            (10030, refused(2, why),           vec![]),
            (10040, connected(2, HALL, 1),     vec![hello(2, None)]),
            (10050, refused(2, why),           vec![close(2)]),
            (10060, join_link(HALL, &[3]),     vec![dial(3, 3, HALL)]),
            (10070, connected(3, HALL, 3),     vec![hello(3, Some(TOKEN))]),
        ]);
    }
}
