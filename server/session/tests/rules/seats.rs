//! Seats: who holds one, how one changes hands, and what is counted for whom.

use crate::common::*;
use consort_proto::agreement::SEATS_MAX;
use consort_proto::message::{Proposal, Refusal};
use consort_proto::{Cents, Fingerprint, Harp, Hello, Report, Tenure, ToCoordinator, ToStation, Uptime, Verdict};
use consort_session::{Command, Config, Effect, Event, Record, Session};

const GRETA: Fingerprint = Fingerprint([3; 32]);

fn name(text: &str) -> consort_proto::Name {
    text.parse().expect("a name")
}

fn tenure(seat: u32, epoch: u32) -> Tenure {
    Tenure { seat, epoch }
}

/// Ilse on link 1 in seat 1, Otto on link 2 in seat 2.
fn two() -> Session {
    let mut session = with_ilse();
    join(&mut session, 0, 2, OTTO, 2);
    session
}

fn want(link: u64, seat: u32) -> Event {
    heard(link, ToCoordinator::TakeOver { seat })
}

fn give_up(link: u64, seat: u32, yes: bool) -> Event {
    heard(link, ToCoordinator::GiveUp { seat, yes })
}

fn asked(link: u64, seat: u32, by: Fingerprint) -> Effect {
    let name = name("Player");
    say(link, ToStation::TakeOverAsked { seat, name, by })
}

fn denied(link: u64, seat: u32) -> Effect {
    say(link, ToStation::TakeOverDenied { seat })
}

fn holds(session: &Session, at_ms: u64, peer: Fingerprint) -> usize {
    seat(session, at_ms, peer).readiness.holding()
}

#[test]
#[rustfmt::skip]
fn a_seat_changes_hands_once_its_holder_agrees_and_the_disk_has_it() {
    let mut session = two();
    let heard_twice = vec![report(1, 1, reading(3, 0.0)), report(2, 1, reading(3, 0.1))];
    let second = agreement(1, 440.0, 1);
    check(&mut session, vec![
        (10, reports(1, heard_twice.clone()),   vec![persist(3, reports_of(ILSE, heard_twice))]),
        (11, persisted(3),                      vec![acked(1, 2)]),
        (20, want(2, 1),                        vec![asked(1, 1, OTTO)]),
        (30, give_up(1, 1, true),               vec![persist(4, Record::TakenOver { from: ILSE, to: OTTO })]),
        (40, persisted(4),                      vec![
            close(1, Refusal::SeatTaken),
            welcome_to(2, 0, tenure(1, 2)),
            tell_tenures(2, second, &[(tenure(1, 2), "Player")]),
        ]),
    ]);
    // What the strings did stays with the seat.
    assert_eq!((holds(&session, 40, OTTO), seat(&session, 40, OTTO).seat), (1, 1));
    assert_eq!(session.view(Uptime::from_millis(40)).stations.len(), 1);
}

#[test]
#[rustfmt::skip]
fn what_an_earlier_holder_still_reports_is_acknowledged_and_never_shown() {
    let mut session = two();
    play(&mut session, vec![(10, want(2, 1)), (11, give_up(1, 1, true)), (12, persisted(3))]);
    // Ilse comes back with another seat, and with what she had heard of the first.
    let old = vec![report(7, 1, reading(4, 0.0)), report(8, 1, reading(4, 0.1))];
    join(&mut session, 20, 3, ILSE, 4);
    check(&mut session, vec![
        (30, reports(3, old.clone()),           vec![persist(5, reports_of(ILSE, old))]),
        (31, persisted(5),                      vec![acked(3, 8)]),
    ]);
    assert_eq!((holds(&session, 31, ILSE), holds(&session, 31, OTTO)), (0, 0));
    assert_eq!(seat(&session, 31, ILSE).seat, 2);
}

#[test]
#[rustfmt::skip]
fn a_seat_stays_when_its_holder_or_the_leader_says_so_or_nobody_answers() {
    let mut session = two();
    check(&mut session, vec![
        (10,      want(2, 1),                   vec![asked(1, 1, OTTO)]),
        (20,      give_up(1, 1, false),         vec![denied(2, 1)]),
        (30,      want(2, 1),                   vec![asked(1, 1, OTTO)]),
        (40,      command(Command::GiveUp { seat: 1, yes: false }), vec![denied(2, 1)]),
        (50,      want(2, 1),                   vec![asked(1, 1, OTTO)]),
        // An answer for a seat that is not one's own is none.
        (60,      give_up(2, 1, true),          vec![]),
        (120_050, Event::Tick,                  vec![denied(2, 1)]),
        (120_060, give_up(1, 1, true),          vec![]),
        // There is no such seat, and one's own is no other's.
        (120_070, want(2, 9),                   vec![denied(2, 9)]),
        (120_080, want(2, 2),                   vec![denied(2, 2)]),
    ]);
    assert_eq!(seat(&session, 120_100, ILSE).seat, 1);
}

#[test]
#[rustfmt::skip]
fn the_leader_answers_for_a_laptop_that_is_not_there() {
    let mut session = two();
    check(&mut session, vec![
        (10, closed(1),                         vec![]),
        (20, want(2, 1),                        vec![]),
        (30, command(Command::GiveUp { seat: 1, yes: true }), vec![persist(3, Record::TakenOver { from: ILSE, to: OTTO })]),
    ]);
    let wanted_by = seat(&session, 30, ILSE).wanted_by;
    assert_eq!(wanted_by, None, "the question is answered");
}

#[test]
#[rustfmt::skip]
fn a_removed_station_leaves_its_seat_to_somebody_else() {
    let config = Config { stations_max: 1, ..Config::default() };
    let mut session = Session::open(Uptime::default(), config, saved());
    join(&mut session, 0, 1, ILSE, 1);
    let remove = Record::Removed { peer: ILSE, removed: true };
    check(&mut session, vec![
        (10, opened(2, OTTO),                   vec![]),
        (11, hello(2, Some(TOKEN)),             vec![close(2, Refusal::Full)]),
        (20, command(Command::Remove(ILSE)),    vec![close(1, Refusal::Removed), persist(2, remove)]),
        (21, persisted(2),                      vec![]),
        (30, opened(3, OTTO),                   vec![]),
        (31, hello(3, Some(TOKEN)),             vec![persist(3, station_of(OTTO))]),
        (32, persisted(3),                      vec![welcome_to(3, 0, tenure(2, 1)), tell_seats(3, agreement(1, 440.0, 1), &[2])]),
        // There is no seat to come back to.
        (40, command(Command::LetBack(ILSE)),   vec![]),
    ]);
}

#[test]
#[rustfmt::skip]
fn everyone_hears_of_a_new_seat_and_nobody_of_a_return() {
    let mut session = with_ilse();
    let now = agreement(1, 440.0, 1);
    check(&mut session, vec![
        (10, opened(2, OTTO),                   vec![]),
        (11, hello(2, Some(TOKEN)),             vec![persist(2, station_of(OTTO))]),
        (12, persisted(2),                      vec![
            tell_seats(1, now.clone(), &[1, 2]),
            welcome_to(2, 0, tenure(2, 1)),
            tell_seats(2, now.clone(), &[1, 2]),
        ]),
        (20, closed(2),                         vec![]),
        (21, opened(3, OTTO),                   vec![]),
        (22, hello(3, None),                    vec![persist(3, station_of(OTTO))]),
        (23, persisted(3),                      vec![welcome_to(3, 0, tenure(2, 1)), tell_seats(3, now, &[1, 2])]),
    ]);
}

#[test]
#[rustfmt::skip]
fn two_laptops_with_one_key_are_both_told_and_neither_is_let_in() {
    let mut session = session();
    let come = |link: u64, process: u64| {
        let words = Hello { name: name("Player"), harp: harp(), token: Some(TOKEN), process, newest: 0 };
        heard(link, ToCoordinator::Hello(words))
    };
    let displaced = |ticket: u64, link: u64, older: u64| {
        let now = agreement(1, 440.0, 1);
        (persisted(ticket), vec![close(older, Refusal::Superseded), welcome(link, 0), tell(link, now)])
    };
    let (second, third) = (displaced(2, 2, 1), displaced(3, 3, 2));
    check(&mut session, vec![
        (0,      opened(1, ILSE),               vec![]),
        (1,      come(1, 77),                   vec![persist(1, station_of(ILSE))]),
        (2,      persisted(1),                  vec![welcome(1, 0), tell(1, agreement(1, 440.0, 1))]),
        (5_000,  opened(2, ILSE),               vec![]),
        (5_001,  come(2, 78),                   vec![persist(2, station_of(ILSE))]),
        (5_002,  second.0,                      second.1),
        (15_000, opened(3, ILSE),               vec![]),
        (15_001, come(3, 77),                   vec![persist(3, station_of(ILSE))]),
        (15_002, third.0,                       third.1),
        (25_000, opened(4, ILSE),               vec![]),
        (25_001, come(4, 78),                   vec![close(3, Refusal::Copied), close(4, Refusal::Copied)]),
    ]);
    assert!(seat(&session, 25_001, ILSE).copied && !seat(&session, 25_001, ILSE).is_ready());
    // One of the two is made new, so that only the other comes back.
    check(&mut session, vec![
        (56_000, opened(5, ILSE),               vec![]),
        (56_001, come(5, 77),                   vec![persist(4, station_of(ILSE))]),
    ]);
    assert!(!seat(&session, 56_002, ILSE).copied);
}

#[test]
#[rustfmt::skip]
fn a_station_without_a_code_is_let_in_when_the_leader_says_so() {
    let mut session = session();
    let knock = |link| heard(link, ToCoordinator::Knock(name("Greta")));
    let admitted = |link| say(link, ToStation::Admitted { ensemble: name("Trio") });
    check(&mut session, vec![
        (10,    opened(1, GRETA),               vec![]),
        (11,    knock(1),                       vec![close(1, Refusal::Asked)]),
    ]);
    let waits = session.view(Uptime::from_millis(12)).knocking;
    assert_eq!(waits.iter().map(|who| (who.name.as_str(), who.peer)).collect::<Vec<_>>(), [("Greta", GRETA)]);
    check(&mut session, vec![
        // The leader cannot let in whom nobody has seen.
        (15,    command(Command::Admit(OTTO)),  vec![]),
        (20,    command(Command::Admit(GRETA)), vec![persist(1, Record::Pinned { peer: GRETA })]),
        (21,    persisted(1),                   vec![]),
        (2_000, opened(2, GRETA),               vec![]),
        (2_001, knock(2),                       vec![admitted(2)]),
        (2_002, hello(2, None),                 vec![persist(2, station_of(GRETA))]),
    ]);
    assert_eq!(session.view(Uptime::from_millis(2_002)).knocking, []);
}

#[test]
#[rustfmt::skip]
fn who_knocks_is_told_no_and_forgotten_and_a_crowd_is_kept_out() {
    let mut session = session();
    let knock = |link| heard(link, ToCoordinator::Knock(name("Greta")));
    check(&mut session, vec![
        (10,     opened(1, GRETA),                 vec![]),
        (11,     knock(1),                         vec![close(1, Refusal::Asked)]),
        (20,     command(Command::Decline(GRETA)), vec![]),
        (30,     opened(2, GRETA),                 vec![]),
        (31,     knock(2),                         vec![close(2, Refusal::Declined)]),
        // Nobody else is let in by that.
        (32,     opened(3, GRETA),                 vec![]),
        (33,     hello(3, None),                   vec![close(3, Refusal::NotInvited)]),
    ]);
    for other in 10..14 {
        session.handle(Uptime::from_millis(40), opened_from(other, Fingerprint([other as u8; 32]), [10, 0, 0, 9].into()));
        session.handle(Uptime::from_millis(40), knock(other));
    }
    while session.poll_effect().is_some() {}
    check(&mut session, vec![
        (50,     opened_from(20, OTTO, [10, 0, 0, 9].into()), vec![]),
        (51,     knock(20),                        vec![close(20, Refusal::NotNow)]),
        (30_000, Event::Tick,                      vec![]),
    ]);
    assert_eq!(session.view(Uptime::from_millis(30_000)).knocking, [], "who does not knock again does not wait");
    check(&mut session, vec![
        (30_001, command(Command::Joining(false)), vec![]),
        (30_002, opened(21, OTTO),                 vec![]),
        (30_003, knock(21),                        vec![close(21, Refusal::JoiningClosed)]),
    ]);
}

#[test]
fn a_wish_for_help_is_shown_and_ends_with_the_link() {
    let mut session = two();
    let help = |wanted| heard(1, ToCoordinator::Help(wanted));
    for (event, shown) in [
        (help(true), true),
        (help(false), false),
        (help(true), true),
        (closed(1), true),
    ] {
        play(&mut session, vec![(10, event)]);
        assert_eq!(seat(&session, 10, ILSE).help, shown);
    }
    assert!(!seat(&session, 10, OTTO).help);
    play(
        &mut session,
        vec![(20, opened(3, ILSE)), (21, hello(3, None)), (22, persisted(3))],
    );
    play(&mut session, vec![(30, heard(3, ToCoordinator::Leave))]);
    assert!(!seat(&session, 30, ILSE).help);
}

#[test]
fn a_measured_a_is_proposed_and_agreed_on_by_nobody_but_the_leader() {
    let mut session = two();
    let proposal = Proposal {
        a4: tuning(441.5).a4,
        sigma: Cents(0.3),
    };
    let shown = |session: &Session| session.view(Uptime::from_millis(20)).proposal;
    check(
        &mut session,
        vec![(10, heard(2, ToCoordinator::Propose(proposal)), vec![])],
    );
    assert_eq!(shown(&session), Some((Some(name("Player")), proposal)));
    assert_eq!(session.view(Uptime::from_millis(20)).agreement, agreement(1, 440.0, 1));
    play(&mut session, vec![(20, command(Command::DropProposal))]);
    assert_eq!(shown(&session), None);
    play(
        &mut session,
        vec![
            (20, heard(2, ToCoordinator::Propose(proposal))),
            (20, pitch(441.5)),
            (20, persisted(3)),
        ],
    );
    assert_eq!(shown(&session), None, "the leader has decided");
    assert_eq!(session.view(Uptime::from_millis(20)).agreement, agreement(2, 441.5, 1));
}

#[test]
fn a_pluck_in_doubt_is_kept_and_says_nothing_of_its_string() {
    let mut session = with_ilse();
    let doubtful: Vec<Report> = (1..=2)
        .map(|sequence| {
            let consort_proto::message::Content::Reading(reading) = reading(5, 0.0) else {
                unreachable!("it is a reading")
            };
            let content = consort_proto::message::Content::Reading(reading.judged(Verdict::Unsure));
            report(sequence, 1, content)
        })
        .collect();
    check(
        &mut session,
        vec![
            (
                10,
                reports(1, doubtful.clone()),
                vec![persist(2, reports_of(ILSE, doubtful))],
            ),
            (11, persisted(2), vec![acked(1, 2)]),
        ],
    );
    assert_eq!(holds(&session, 11, ILSE), 0);
}

#[test]
#[rustfmt::skip]
fn a_deputy_is_whom_the_leader_grants_it_for_as_long_as_it_is_known() {
    let mut session = two();
    let granted = |peer, granted| command(Command::Deputy { peer, granted });
    let written = |ticket, peer, granted| persist(ticket, Record::Deputy { peer, granted });
    assert!(session.is_known(OTTO) && !session.is_deputy(OTTO));
    check(&mut session, vec![
        (10, granted(GRETA, true),              vec![]),
        (11, granted(OTTO, true),               vec![written(3, OTTO, true)]),
    ]);
    assert!(!session.is_deputy(OTTO), "not before it is on the disk");
    check(&mut session, vec![
        (12, persisted(3),                      vec![]),
        (13, granted(OTTO, true),               vec![]),
    ]);
    assert!(session.is_deputy(OTTO) && !session.is_known(GRETA));
    play(&mut session, vec![(20, command(Command::Remove(OTTO))), (21, persisted(4))]);
    assert!(!session.is_known(OTTO) && !session.is_deputy(OTTO));
    play(&mut session, vec![(30, command(Command::LetBack(OTTO))), (31, persisted(5)), (32, granted(OTTO, false)), (33, persisted(6))]);
    assert!(session.is_known(OTTO) && !session.is_deputy(OTTO));
}

/// A target that a harpist moves for her discs is judged by what was heard, without a pluck.
#[test]
fn a_station_that_allows_for_its_discs_keeps_what_was_heard_and_is_judged_by_its_new_targets() {
    let mut session = two();
    let twice = vec![report(1, 1, reading(3, 0.0)), report(2, 1, reading(3, 0.1))];
    play(&mut session, vec![(10, reports(1, twice)), (11, persisted(3))]);
    assert_eq!(holds(&session, 11, ILSE), 1);
    let come_back = |error: f64| {
        let mut strings = harp().strings().to_vec();
        strings[2].regulation = [Cents(error); 2];
        let harp = Harp::new(harp().name().to_owned(), harp().kind(), strings).expect("a harp");
        ToCoordinator::Hello(Hello {
            name: name("Player"),
            harp,
            token: None,
            process: 7,
            newest: 0,
        })
    };
    for (link, error, holding) in [(3, 9.0, 0), (4, 0.0, 1)] {
        let (at, ticket) = (10 * link, link + 1);
        play(
            &mut session,
            vec![
                (at, opened(link, ILSE)),
                (at + 1, heard(link, come_back(error))),
                (at + 2, persisted(ticket)),
            ],
        );
        assert_eq!(holds(&session, at + 2, ILSE), holding, "{error} cents");
    }
}

#[test]
fn a_crowd_has_as_many_seats_as_an_agreement_names_and_whoever_comes_later_is_told_so() {
    let peer = |number: u32| {
        let mut key = [0; 32];
        key[..4].copy_from_slice(&number.to_le_bytes());
        Fingerprint(key)
    };
    // As it is set, and as a measure sets it to see what a crowd costs: then each still has a seat, and the first are named.
    for (stations_max, crowd, no) in [(SEATS_MAX, 65, true), (1_024, 65, false), (1_024, 1_000, false)] {
        let config = Config {
            stations_max,
            ..Config::default()
        };
        assert!(no == (Config::default().stations_max == stations_max));
        let mut session = Session::open(Uptime::default(), config, saved());
        let mut ticket = 0;
        for number in 1..=crowd {
            session.handle(Uptime::default(), opened(u64::from(number), peer(number)));
            session.handle(Uptime::default(), hello(u64::from(number), Some(TOKEN)));
            let to_last = no && number == crowd;
            let said: Vec<Effect> = std::iter::from_fn(|| session.poll_effect()).collect();
            assert_eq!(
                said.contains(&close(u64::from(number), Refusal::Full)),
                to_last,
                "{number} of {crowd}"
            );
            if to_last {
                break;
            }
            ticket += 1;
            session.handle(Uptime::default(), persisted(ticket));
            let mine = |effect: &Effect| match effect {
                Effect::Send { link, message } if link.0 == u64::from(number) => Some(message.clone()),
                _ => None,
            };
            let heard: Vec<ToStation> = std::iter::from_fn(|| session.poll_effect())
                .filter_map(|effect| mine(&effect))
                .collect();
            let seat = heard.iter().find_map(|message| match message {
                ToStation::Welcome { tenure, .. } => Some(tenure.seat),
                _ => None,
            });
            let named = heard.iter().find_map(|message| match message {
                ToStation::Agreement(document) => Some(document.seats.len()),
                _ => None,
            });
            assert_eq!(
                (seat, named),
                (Some(number), Some((number as usize).min(SEATS_MAX))),
                "of {crowd}"
            );
        }
    }
}
