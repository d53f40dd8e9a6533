//! Asking to be let in, taking seats over and giving them up, and whose reports are whose.

use crate::common::*;
use consort_link::{Attempt, Config, Effect, Event, Link, LinkState, Stranger};
use consort_proto::message::{Proposal, Refusal};
use consort_proto::{
    Agreement, Cents, Fingerprint, Reading, ReferencePitch, Report, Seat, Sequence, SessionId, Tenure, ToCoordinator,
    ToStation, Uptime,
};

fn name(text: &str) -> consort_proto::Name {
    text.parse().expect("a name")
}

fn knock(attempt: u64) -> Effect {
    say(attempt, ToCoordinator::Knock(name("Ilse")))
}

fn close(attempt: u64) -> Effect {
    Effect::Close {
        attempt: Attempt(attempt),
    }
}

fn pin(coordinator: Fingerprint, at: u8) -> Effect {
    Effect::Pin {
        coordinator,
        address: place(at),
    }
}

fn ask_in(of: Fingerprint) -> Event {
    Event::AskIn(Some(of.tag()))
}

#[test]
#[rustfmt::skip]
fn the_leader_is_asked_until_she_has_looked_and_nobody_else_will_do() {
    let mut link = link(config());
    let admitted = heard(2, ToStation::Admitted { ensemble: name("Trio") });
    let pinned = Event::Pinned { coordinator: HALL, address: place(1) };
    check(&mut link, vec![
        (0,     sighted(HALL, &[1]),            vec![]),
        (1,     sighted(OTHER, &[2]),           vec![]),
        (10,    ask_in(HALL),                   vec![dial_anyone(1, 1)]),
        (20,    connected(1, HALL, 1),          vec![knock(1)]),
        (30,    refused(1, Refusal::Asked),     vec![close(1)]),
    ]);
    assert_eq!(state(&link, 31), LinkState::Refused(Refusal::Asked));
    assert_eq!(link.view(Uptime::from_millis(31)).refused_by, Some(HALL.tag().as_str()));
    check(&mut link, vec![
        (2_020, Event::Tick,                    vec![dial_anyone(2, 1)]),
        (2_030, connected(2, HALL, 1),          vec![knock(2)]),
        (2_040, admitted,                       vec![pin(HALL, 1)]),
        // Not before its key rests on the disk.
        (2_050, pinned,                         vec![hello(2, None)]),
    ]);
}

#[test]
#[rustfmt::skip]
fn whoever_answers_at_the_place_with_another_key_is_not_asked() {
    let mut link = link(config());
    check(&mut link, vec![
        (0,     sighted(HALL, &[1]),            vec![]),
        (10,    ask_in(HALL),                   vec![dial_anyone(1, 1)]),
        (20,    connected(1, OTHER, 1),         vec![close(1)]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_no_of_the_leader_ends_the_asking() {
    let mut link = link(config());
    check(&mut link, vec![
        (0,     sighted(HALL, &[1]),            vec![]),
        (10,    ask_in(HALL),                   vec![dial_anyone(1, 1)]),
        (20,    connected(1, HALL, 1),          vec![knock(1)]),
        (30,    refused(1, Refusal::Declined),  vec![close(1)]),
    ]);
    assert_eq!(state(&link, 31), LinkState::Refused(Refusal::Declined));
    let later = tick_until(&mut link, 400_000);
    assert!(!later.iter().any(|(_, effect)| matches!(effect, Effect::Dial { .. })), "{later:?}");
}

#[test]
fn a_leader_who_does_not_look_is_not_asked_for_ever() {
    let mut link = link(config());
    play(&mut link, vec![(0, sighted(HALL, &[1])), (10, ask_in(HALL))]);
    let asked = tick_until(&mut link, 600_000);
    let last = asked
        .iter()
        .filter(|(_, effect)| matches!(effect, Effect::Dial { .. }))
        .map(|(at, _)| *at)
        .max();
    assert!(last.is_some_and(|at| (100_000..=180_100).contains(&at)), "{last:?}");
    assert_eq!(state(&link, 600_000), LinkState::Alone);
}

#[test]
fn coordinators_that_are_near_are_shown_by_name_and_tag_until_they_are_gone() {
    let mut link = link(config());
    let named = |key: Fingerprint, called: &str| Event::Sighted {
        who: Stranger {
            tag: key.tag(),
            name: Some(name(called)),
        },
        addresses: vec![place(1)],
    };
    let shown = |link: &Link, at| -> Vec<String> {
        let view = link.view(Uptime::from_millis(at));
        let names = view.strangers.iter().filter_map(|stranger| stranger.name.as_ref());
        names.map(|name| name.to_string()).collect()
    };
    play(
        &mut link,
        vec![
            (0, named(HALL, "Trio")),
            (10, named(OTHER, "Duo")),
            (20_000, named(HALL, "Trio Wend")),
        ],
    );
    assert_eq!(shown(&link, 20_000), ["Trio Wend", "Duo"]);
    play(&mut link, vec![(31_000, Event::Tick)]);
    assert_eq!(shown(&link, 31_000), ["Trio Wend"]);
    // A flood of made-up ones pushes nobody out.
    for made_up in 0..100 {
        play(
            &mut link,
            vec![(31_000, named(Fingerprint([made_up + 50; 32]), "Nobody"))],
        );
    }
    assert_eq!(shown(&link, 31_000)[0], "Trio Wend");
    assert_eq!(shown(&link, 31_000).len(), 8);
}

#[test]
#[rustfmt::skip]
fn a_seat_is_wanted_waited_for_and_taken_or_not() {
    let mut link = joined();
    let seated = |seat, epoch| heard(1, ToStation::Welcome {
        session: SESSION, epoch: 1, acked: Sequence(0), tenure: Tenure { seat, epoch },
    });
    check(&mut link, vec![
        (100, Event::TakeOver { seat: 3 },                        vec![say(1, ToCoordinator::TakeOver { seat: 3 })]),
    ]);
    assert_eq!(link.view(Uptime::from_millis(100)).wants_seat, Some(3));
    check(&mut link, vec![(110, heard(1, ToStation::TakeOverDenied { seat: 3 }), vec![])]);
    let view = link.view(Uptime::from_millis(110));
    assert_eq!((view.wants_seat, view.denied_seat), (None, Some(3)));
    check(&mut link, vec![
        (120, Event::TakeOver { seat: 3 },                        vec![say(1, ToCoordinator::TakeOver { seat: 3 })]),
        (130, seated(3, 2),                                       vec![]),
    ]);
    let view = link.view(Uptime::from_millis(130));
    assert_eq!((view.wants_seat, view.denied_seat, view.tenure), (None, None, Tenure { seat: 3, epoch: 2 }));
    // From now on it is the other seat's strings that are reported.
    let report = Report { tenure: Tenure { seat: 3, epoch: 2 }, ..report(1, 0, reading(3, 0.0)) };
    check(&mut link, vec![(140, Event::Observed(reading(3, 0.0)), vec![Effect::Journal(report)])]);
}

#[test]
#[rustfmt::skip]
fn the_holder_is_asked_and_answers_and_an_old_question_goes_away() {
    let mut link = joined();
    let asked = || heard(1, ToStation::TakeOverAsked { seat: 1, name: name("Greta"), by: OTHER });
    check(&mut link, vec![(100, asked(), vec![])]);
    let by = link.view(Uptime::from_millis(100)).asked.map(|asked| (asked.seat, asked.by));
    assert_eq!(by, Some((1, OTHER)));
    check(&mut link, vec![
        (110, Event::GiveUp { yes: false },                       vec![say(1, ToCoordinator::GiveUp { seat: 1, yes: false })]),
        // There is no question any more.
        (120, Event::GiveUp { yes: true },                        vec![]),
        (130, asked(),                                            vec![]),
    ]);
    tick_until(&mut link, 120_131);
    assert_eq!(link.view(Uptime::from_millis(120_131)).asked, None);
}

#[test]
fn a_laptop_whose_seat_is_gone_does_not_come_back_by_itself() {
    let mut link = joined();
    play(&mut link, vec![(100, refused(1, Refusal::SeatTaken))]);
    assert_eq!(state(&link, 100), LinkState::Refused(Refusal::SeatTaken));
    let later = tick_until(&mut link, 600_000);
    assert!(!later.iter().any(|(_, effect)| matches!(effect, Effect::Dial { .. })));
}

#[test]
#[rustfmt::skip]
fn help_is_asked_for_once_and_again_on_a_new_link() {
    let mut link = joined();
    let help = |attempt, wanted| say(attempt, ToCoordinator::Help(wanted));
    check(&mut link, vec![
        (100, Event::Help(true),                vec![help(1, true)]),
        (101, Event::Help(true),                vec![]),
        (110, link_closed(1),                   vec![]),
    ]);
    play(&mut link, vec![(500, Event::Tick), (510, connected(2, HALL, 1))]);
    check(&mut link, vec![
        (520, welcome(2, 0),                    vec![help(2, true)]),
        (530, Event::Help(false),               vec![help(2, false)]),
    ]);
}

#[test]
#[rustfmt::skip]
fn a_measured_a_is_proposed_to_whoever_is_joined() {
    let proposal = Proposal { a4: ReferencePitch::new(441.0).expect("in reach"), sigma: Cents(0.2) };
    check(&mut link(config()), vec![(0, Event::Propose(proposal), vec![])]);
    check(&mut joined(), vec![(100, Event::Propose(proposal), vec![say(1, ToCoordinator::Propose(proposal))])]);
}

#[test]
#[rustfmt::skip]
fn a_report_says_how_long_ago_the_string_was_plucked() {
    let mut link = joined();
    let consort_proto::message::Content::Reading(read) = reading(3, 0.0) else { unreachable!("it is a reading") };
    let loud: Reading = read.at_level(-20.0).expect("a level");
    let since = std::time::Duration::from_millis(900);
    let noted = |age_ms| report(1, age_ms, consort_proto::message::Content::Reading(loud));
    check(&mut link, vec![
        (1_000, Event::Plucked { reading: loud, since },          vec![Effect::Journal(noted(900))]),
        (1_010, journalled(1),                                    vec![reports(1, vec![noted(910)])]),
    ]);
}

#[test]
#[rustfmt::skip]
fn each_coordinator_gets_the_reports_of_its_own_session_and_acknowledges_no_others() {
    // Two reports of the hall's session wait while the station plays in another ensemble.
    let elsewhere = SessionId([6; 16]);
    let of_hall = [report(1, 0, reading(3, 0.0)), report(2, 0, reading(3, 0.1))];
    let mut link = link(Config {
        journal: of_hall.to_vec(),
        next: Sequence(3),
        agreement: Some(Agreement { session: elsewhere, ..agreement(5, 442.0, 1) }),
        tenure: Tenure { seat: 9, epoch: 1 },
        known: vec![
            consort_link::Known { coordinator: HALL, address: Some(place(1)) },
            consort_link::Known { coordinator: OTHER, address: Some(place(2)) },
        ],
        ..config()
    });
    assert_eq!(link.view(Uptime::default()).unsent, 0, "none of them is of the ensemble that is played in");
    let there = Report { session: elsewhere, tenure: Tenure { seat: 9, epoch: 1 }, ..report(3, 0, reading(5, 0.0)) };
    let welcome_there = heard(2, ToStation::Welcome { session: elsewhere, epoch: 1, acked: Sequence(0), tenure: Tenure { seat: 9, epoch: 1 } });
    play(&mut link, vec![(0, Event::Tick), (160, Event::Tick), (170, connected(2, OTHER, 2))]);
    check(&mut link, vec![(180, welcome_there, vec![])]);
    check(&mut link, vec![
        (200, Event::Observed(reading(5, 0.0)), vec![Effect::Journal(there)]),
        (210, journalled(3),                    vec![reports(2, vec![Report { age: std::time::Duration::from_millis(10), ..there }])]),
        // An acknowledgement of number 3 there says nothing of numbers 1 and 2 here.
        (220, acked(2, 3),                      vec![Effect::Forget { session: Some(elsewhere), up_to: Sequence(3) }]),
        (230, link_closed(2),                   vec![]),
    ]);
    play(&mut link, vec![(1_000, Event::Tick), (1_200, Event::Tick)]);
    let hall = (1..20).map(Attempt).find(|&attempt| {
        link.handle(Uptime::from_millis(1_210), connected(attempt.0, HALL, 1));
        drain(&mut link).contains(&hello(attempt.0, None))
    });
    let hall = hall.expect("the hall is called").0;
    link.handle(Uptime::from_millis(1_220), welcome(hall, 0));
    let sent: Vec<u64> = drain(&mut link)
        .into_iter()
        .filter_map(|effect| match effect {
            Effect::Send { message: ToCoordinator::Reports(reports), .. } => Some(reports),
            _ => None,
        })
        .flatten()
        .map(|report| report.sequence.0)
        .collect();
    assert_eq!(sent, [1, 2]);
}

#[test]
fn a_laptop_with_a_fresh_key_calls_anew_and_holds_no_seat() {
    let mut link = joined();
    link.handle(Uptime::from_millis(100), Event::Renewed);
    let effects = drain(&mut link);
    assert_eq!(effects, [say(1, ToCoordinator::Leave), close(1), dial(2, 1, HALL)]);
    assert_eq!(link.view(Uptime::from_millis(100)).tenure, Tenure::default());
}

#[test]
fn the_document_says_how_often_to_beat_and_who_else_plays() {
    let mut link = joined();
    let mut told = document(agreement(1, 440.0, 1));
    told.beat_every = std::time::Duration::from_millis(250);
    told.seats = vec![Seat {
        tenure: TENURE,
        name: name("Ilse"),
    }];
    play(
        &mut link,
        vec![(100, heard(1, ToStation::Agreement(Box::new(told.clone()))))],
    );
    assert_eq!(link.view(Uptime::from_millis(100)).seats, told.seats);
    // Before it is in doubt, when it beats faster.
    let done = tick_until(&mut link, 2_099);
    let beats = done.iter().filter(|(_, effect)| {
        matches!(
            effect,
            Effect::Send {
                message: ToCoordinator::Beat,
                ..
            }
        )
    });
    assert!((7..=9).contains(&beats.count()));
}

#[test]
fn tones_stay_silenced_until_the_leader_or_a_new_welcome_says_otherwise() {
    let mut link = joined();
    let silenced = |link: &Link, at| link.view(Uptime::from_millis(at)).silenced;
    assert!(!silenced(&link, 90));
    let tones = |allowed| heard(1, ToStation::Tones { allowed });
    play(&mut link, vec![(100, tones(false))]);
    assert!(silenced(&link, 100));
    // Without a word of the coordinator it stays as it was said.
    play(&mut link, vec![(60_000, Event::Tick)]);
    assert!(silenced(&link, 60_000));
    play(&mut link, vec![(60_100, tones(true))]);
    assert!(!silenced(&link, 60_100));
    play(&mut link, vec![(60_200, tones(false)), (60_300, welcome(1, 0))]);
    assert!(
        !silenced(&link, 60_300),
        "a coordinator that knows nothing of it allows them"
    );
}

#[test]
fn seats_are_shown_under_the_numbers_that_the_leader_gives() {
    let mut link = joined();
    let shown = |link: &Link, at| link.view(Uptime::from_millis(at)).places.clone();
    play(
        &mut link,
        vec![(100, heard(1, ToStation::Places(vec![(1, 2), (2, 1)])))],
    );
    assert_eq!(shown(&link, 100).into_iter().collect::<Vec<_>>(), [(1, 2), (2, 1)]);
    play(
        &mut link,
        vec![(200, heard(1, ToStation::Places(vec![(1, 1), (2, 2)])))],
    );
    assert_eq!(shown(&link, 200).get(&1), Some(&1));
    play(&mut link, vec![(300, welcome(1, 0))]);
    assert!(shown(&link, 300).is_empty());
}
