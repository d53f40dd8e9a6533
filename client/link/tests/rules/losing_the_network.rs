//! What a station does when its coordinator is not heard, and how it comes back.

use std::collections::BTreeMap;

use crate::common::*;
use consort_link::{AttemptFailure, Effect, Event, Link, LinkState};
use consort_proto::message::Refusal;
use consort_proto::{Revision, ToCoordinator, ToStation, Uptime};

fn offline(since_ms: u64) -> LinkState {
    LinkState::Offline(Uptime::from_millis(since_ms))
}

/// When calls were made from `from_ms` to `until_ms`, if none of them is answered.
fn calls(link: &mut Link, until_ms: u64) -> Vec<u64> {
    let done = tick_until(link, until_ms).into_iter();
    done.filter(|(_, effect)| matches!(effect, Effect::Dial { .. }))
        .map(|(at_ms, _)| at_ms)
        .collect()
}

#[test]
fn a_joined_station_sends_two_beats_a_second() {
    let mut link = joined();
    let mut beats = Vec::new();
    while let Some(at) = link.poll_timeout().filter(|&at| at < Uptime::from_millis(1_900)) {
        link.handle(at, Event::Tick);
        while let Some(effect) = link.poll_effect() {
            assert_eq!(effect, say(1, ToCoordinator::Beat));
            beats.push(at.0.as_millis());
        }
    }
    // The first went out with the welcome, at 20.
    assert_eq!(beats, [520, 1020, 1520]);
}

#[test]
fn after_two_seconds_of_silence_the_coordinator_is_called_and_after_four_it_is_offline_since_the_last_word() {
    let mut link = joined();
    play(&mut link, vec![(1_000, coordinator_beat(1))]);
    assert_eq!(calls(&mut link, 2_999), Vec::<u64>::new());
    let made = calls(&mut link, 3_200);
    assert!(matches!(made[..], [at] if (3_000..=3_200).contains(&at)), "{made:?}");
    tick_until(&mut link, 4_999);
    assert_eq!(state(&link, 4_999), LinkState::Joined);
    tick_until(&mut link, 5_000);
    assert_eq!(state(&link, 5_000), offline(1_000));
}

#[test]
fn a_coordinator_that_was_only_quiet_is_kept_and_the_call_given_up() {
    let mut link = joined();
    tick_until(&mut link, 2_300);
    check(&mut link, vec![(2_310, coordinator_beat(1), vec![close(2)])]);
    assert_eq!(state(&link, 2_310), LinkState::Joined);
    assert_eq!(calls(&mut link, 4_309), Vec::<u64>::new());
}

#[test]
fn a_laptop_that_slept_calls_at_once_and_says_that_it_is_offline() {
    let mut link = joined();
    play(&mut link, vec![(1_000, coordinator_beat(1))]);
    // Ten minutes with the lid closed: the link may stand or not.
    link.handle(Uptime::from_millis(601_000), Event::Woke);
    assert_eq!(state(&link, 601_000), offline(1_000));
    let called = drain(&mut link)
        .into_iter()
        .any(|effect| matches!(effect, Effect::Dial { .. }));
    assert!(called, "nobody is called");
    // It stood, and was heard first.
    check(&mut link, vec![(601_030, coordinator_beat(1), vec![close(2)])]);
    assert_eq!(state(&link, 601_030), LinkState::Joined);
}

#[test]
fn an_old_link_that_is_heard_again_is_kept() {
    let mut link = joined();
    tick_until(&mut link, 4_500);
    assert_eq!(state(&link, 4_500), offline(21));
    check(&mut link, vec![(4_600, coordinator_beat(1), vec![close(3), close(4)])]);
    assert_eq!(state(&link, 4_600), LinkState::Joined);
    assert_eq!(calls(&mut link, 6_599), Vec::<u64>::new());
}

#[test]
#[rustfmt::skip]
fn a_new_link_that_is_welcomed_replaces_the_old_one() {
    let mut link = joined();
    tick_until(&mut link, 4_500);
    check(&mut link, vec![
        (4_600, connected(4, HALL, 1), vec![close(3), hello(4, None)]),
        (4_700, welcome(4, 0),         vec![close(1)]),
        // What the old one still brings is not for this link.
        (4_710, refused(1, Refusal::Superseded), vec![]),
        (4_720, link_closed(1),        vec![]),
    ]);
    assert_eq!(state(&link, 4_720), LinkState::Joined);
}

#[test]
#[rustfmt::skip]
fn being_superseded_by_ones_own_new_link_is_no_refusal() {
    let mut link = joined();
    tick_until(&mut link, 4_500);
    check(&mut link, vec![
        (4_600, connected(4, HALL, 1), vec![close(3), hello(4, None)]),
        // The coordinator gives the old link up before it welcomes the new one.
        (4_690, refused(1, Refusal::Superseded), vec![close(1)]),
        (4_700, welcome(4, 0),         vec![]),
    ]);
    assert_eq!(state(&link, 4_700), LinkState::Joined);
    // Nor does the old link, heard once more, cost the new one.
    let mut link = joined();
    tick_until(&mut link, 4_500);
    check(&mut link, vec![
        (4_600, connected(4, HALL, 1), vec![close(3), hello(4, None)]),
        (4_650, coordinator_beat(1),   vec![]),
        (4_700, welcome(4, 0),         vec![close(1)]),
    ]);
    // By a copy of this station: it says so, and stays away for a while.
    let mut link = joined();
    check(&mut link, vec![(100, refused(1, Refusal::Superseded), vec![close(1)])]);
    assert_eq!(state(&link, 100), LinkState::Refused(Refusal::Superseded));
    assert_eq!(calls(&mut link, 10_100), [10_100]);
}

#[test]
fn a_fresh_call_is_made_beside_one_that_nobody_answers_and_never_more_than_four_at_once() {
    let mut link = joined();
    play(&mut link, vec![(1_000, link_closed(1))]);
    assert_eq!(state(&link, 1_000), offline(1_000));
    let (mut out, mut most, mut lasted) = (BTreeMap::new(), 0, Vec::new());
    for (at_ms, effect) in tick_until(&mut link, 30_000) {
        match effect {
            Effect::Dial { attempt, .. } => drop(out.insert(attempt, at_ms)),
            Effect::Close { attempt } => lasted.push(at_ms - out.remove(&attempt).expect("a call")),
            _ => {}
        }
        most = most.max(out.len());
    }
    assert_eq!(most, 4);
    // Now and then one waits for a slow network.
    assert!(
        lasted.iter().all(|lasted| [2_000, 5_000].contains(lasted)),
        "{lasted:?}"
    );
    assert!(lasted.contains(&5_000), "{lasted:?}");
}

#[test]
fn calls_follow_each_other_within_a_second_then_two_then_five() {
    let mut link = joined();
    play(&mut link, vec![(0, link_closed(1))]);
    let made = calls(&mut link, 3_600_000);
    assert!(made[0] <= 200, "{made:?}");
    for (from_s, until_s, least_ms, most_ms) in
        [(1, 55, 600, 1_000), (65, 590, 1_000, 2_000), (610, 3_600, 3_000, 5_000)]
    {
        let pairs = made
            .windows(2)
            .filter(|pair| (from_s * 1_000..until_s * 1_000).contains(&pair[0]));
        let pauses: Vec<u64> = pairs.map(|pair| pair[1] - pair[0]).collect();
        // While a long call is out beside others, a turn may find nobody to call.
        let within = |pause: &&u64| (least_ms..=most_ms).contains(*pause);
        let in_time = pauses.iter().filter(within).count();
        assert!(in_time * 10 >= pauses.len() * 8, "{from_s} s: {pauses:?}");
        assert!(
            pauses.iter().all(|&pause| pause >= least_ms && pause <= 2 * most_ms),
            "{from_s} s: {pauses:?}"
        );
    }
}

#[test]
fn two_stations_do_not_call_in_step() {
    let made = |seed| {
        let mut link = link(consort_link::Config { seed, ..acquainted() });
        calls(&mut link, 60_000)
    };
    let (one, two) = (made(1), made(2));
    assert_eq!(one, made(1), "a seed replays");
    let together = one.iter().filter(|at| two.contains(at)).count();
    assert!(
        together <= 2,
        "{together} of {} calls at the same millisecond",
        one.len()
    );
}

/// The calls and greetings up to `until_ms` when each call of a station whose coordinator is known is answered within 10 ms
/// and nothing is said after that.
fn unwelcomed(until_ms: u64) -> Vec<(u64, Effect)> {
    let mut link = link(acquainted());
    let mut all = vec![(0, Event::Tick)];
    let mut done = Vec::new();
    while let Some((at_ms, event)) = all.pop() {
        link.handle(Uptime::from_millis(at_ms), event);
        for effect in drain(&mut link) {
            if let Effect::Dial { attempt, .. } = effect {
                all.push((at_ms + 10, connected(attempt.0, HALL, 1)));
            }
            done.push((at_ms, effect));
        }
        let tick = link
            .poll_timeout()
            .map(|at| u64::try_from(at.0.as_millis()).expect("soon") + 1);
        if all.is_empty()
            && let Some(at_ms) = tick.filter(|&at_ms| at_ms <= until_ms)
        {
            all.push((at_ms, Event::Tick));
        }
    }
    done
}

#[test]
fn beside_one_that_was_greeted_and_says_nothing_a_fresh_call_is_made_and_never_more_than_two_are_greeted() {
    let (mut greeted, mut most, mut first, mut lasted) = (BTreeMap::new(), 0, Vec::new(), Vec::new());
    for (at_ms, effect) in unwelcomed(60_000) {
        match effect {
            Effect::Send { attempt, .. } => {
                first.push(at_ms);
                greeted.insert(attempt, at_ms);
            }
            Effect::Close { attempt } => lasted.push(at_ms - greeted.remove(&attempt).expect("was greeted")),
            _ => {}
        }
        most = most.max(greeted.len());
    }
    assert_eq!(most, 2);
    assert!((600..=1_020).contains(&(first[1] - first[0])), "{first:?}");
    assert!(
        lasted.iter().all(|lasted| (5_000..=5_001).contains(lasted)),
        "{lasted:?}"
    );
}

#[test]
#[rustfmt::skip]
fn of_two_that_were_greeted_the_first_that_says_welcome_is_kept() {
    let mut link = link(acquainted());
    play(&mut link, vec![(0, Event::Tick), (10, connected(1, HALL, 1)), (1_010, Event::Tick)]);
    play(&mut link, vec![(1_020, connected(2, HALL, 1))]);
    check(&mut link, vec![
        (1_030, welcome(2, 0),                     vec![close(1)]),
        (1_031, told(2, agreement(3, 442.0, 1)),   vec![]),
        // The other welcome comes late, and says nothing any more.
        (1_040, welcome(1, 0),                     vec![]),
        (1_041, told(1, agreement(2, 441.0, 1)),   vec![]),
    ]);
    assert_eq!(state(&link, 1_041), LinkState::Joined);
    let held = link.view(Uptime::from_millis(1_041)).agreement.cloned();
    assert_eq!(held, Some(agreement(3, 442.0, 1)));
    // The coordinator heard the other greeting last, and gave this link up for it: that costs a call, and no rest.
    check(&mut link, vec![(1_050, refused(2, Refusal::Superseded), vec![close(2)])]);
    assert_eq!(state(&link, 1_050), offline(1_050));
    let made = calls(&mut link, 1_300);
    assert!(matches!(made[..], [at] if at <= 1_250), "{made:?}");
}

#[test]
fn a_station_beats_faster_while_it_hears_nothing_or_is_behind() {
    let beats_until = |link: &mut Link, until_ms| -> Vec<u64> {
        let done = tick_until(link, until_ms).into_iter();
        done.filter(|(_, effect)| *effect == say(1, ToCoordinator::Beat))
            .map(|(at_ms, _)| at_ms)
            .collect()
    };
    let mut link = joined();
    // Twice a second, and after two seconds of silence two and a half times as often.
    assert_eq!(
        beats_until(&mut link, 2_800),
        [520, 1_020, 1_520, 2_020, 2_021, 2_221, 2_421, 2_621]
    );
    let newest = |revision| {
        heard(
            1,
            ToStation::Beat {
                epoch: 1,
                revision: Revision(revision),
            },
        )
    };
    // Heard again, it goes on so for three seconds: the coordinator may have missed something.
    let mut beats = Vec::new();
    for at_ms in [2_800, 3_800, 4_800, 5_800] {
        play(&mut link, vec![(at_ms, newest(1))]);
        beats.extend(beats_until(&mut link, at_ms + 999));
    }
    let hurried = (2_821..=5_821).step_by(200);
    assert_eq!(beats, hurried.chain([6_321]).collect::<Vec<u64>>());
    // The second revision is there and has not arrived yet: what was lost is found out by what is said now.
    let mut link = joined();
    play(&mut link, vec![(90, newest(1)), (100, newest(2)), (110, newest(2))]);
    assert_eq!(beats_until(&mut link, 550), [300, 500]);
    play(&mut link, vec![(560, told(1, agreement(2, 442.0, 1)))]);
    assert_eq!(beats_until(&mut link, 1_500), [700, 1_200]);
}

#[test]
#[rustfmt::skip]
fn another_version_is_named_until_somebody_answers_who_speaks_this_one() {
    let mut link = link(acquainted());
    check(&mut link, vec![
        (0,   Event::Tick,             vec![dial(1, 1, HALL)]),
        (10,  came_to_nothing(1, AttemptFailure::OtherVersion), vec![]),
    ]);
    assert_eq!(state(&link, 10), LinkState::OtherVersion);
    check(&mut link, vec![
        (1_000, Event::Tick,           vec![dial(2, 1, HALL)]),
        (1_010, connected(2, HALL, 1), vec![hello(2, None)]),
        (1_020, welcome(2, 0),         vec![]),
    ]);
    assert_eq!(state(&link, 1_020), LinkState::Joined);
}

#[test]
fn the_last_agreement_stays_while_offline() {
    let mut link = joined();
    play(&mut link, vec![(1_000, link_closed(1))]);
    tick_until(&mut link, 600_000);
    let held = agreement(1, 440.0, 1);
    assert_eq!(link.view(Uptime::from_secs(600)).agreement, Some(&held));
}

#[test]
fn a_coordinator_that_was_opened_with_yesterdays_file_is_followed_all_the_same() {
    let mut link = joined();
    play(&mut link, vec![(100, told(1, agreement(7, 442.0, 1)))]);
    // On one link an older agreement is one that was overtaken.
    play(&mut link, vec![(110, told(1, agreement(6, 441.0, 1)))]);
    let a4 = |link: &Link| link.tuning().a4.hz().get();
    assert_eq!(a4(&link), 442.0);
    play(&mut link, vec![(200, link_closed(1))]);
    tick_until(&mut link, 500);
    play(
        &mut link,
        vec![
            (510, connected(2, HALL, 1)),
            (520, welcome(2, 0)),
            (530, told(2, agreement(3, 440.0, 1))),
        ],
    );
    assert_eq!(a4(&link), 440.0, "who opened the session decides");
    play(&mut link, vec![(540, told(2, agreement(2, 439.0, 1)))]);
    assert_eq!(a4(&link), 440.0);
}
