//! Heartbeats, and what the board says of a station that is not heard.

use std::time::Duration;

use crate::common::*;
use consort_proto::{Revision, ToCoordinator, ToStation, Uptime};
use consort_session::{Effect, Event, Presence, Session};

/// Ticks as often as the session asks until `until_ms`; gives the times at which the image was to be drawn anew.
fn tick_until(session: &mut Session, until_ms: u64) -> Vec<u64> {
    let mut drawn = Vec::new();
    while let Some(at) = session.poll_timeout().filter(|&at| at <= Uptime::from_millis(until_ms)) {
        session.handle(at, Event::Tick);
        let effects: Vec<Effect> = std::iter::from_fn(|| session.poll_effect()).collect();
        if effects.contains(&Effect::Redraw) {
            drawn.push(at.0.as_millis() as u64);
        }
    }
    drawn
}

#[test]
fn a_station_is_unsure_after_two_seconds_and_silent_after_four() {
    let mut session = with_ilse();
    session.handle(Uptime::from_millis(1_000), heard(1, ToCoordinator::Beat));
    let silent = |ms| Presence::Silent(Duration::from_millis(ms));
    for (at_ms, presence) in [
        (1_000, Presence::Here),
        (2_999, Presence::Here),
        (3_000, Presence::Unsure),
        (4_999, Presence::Unsure),
        (5_000, silent(4_000)),
        (9_500, silent(8_500)),
    ] {
        assert_eq!(seat(&session, at_ms, ILSE).presence, presence, "{at_ms} ms");
    }
    let drawn = tick_until(&mut session, 6_500);
    assert_eq!(drawn, [3_000, 5_000, 6_000], "drawn when the words change");
}

#[test]
#[rustfmt::skip]
fn anything_that_is_heard_is_a_sign_of_life() {
    let mut session = with_ilse();
    for (at_ms, event) in [
        (3_000, heard(1, ToCoordinator::Beat)),
        (6_000, reports(1, vec![report(1, 1, reading(1, 0.0))])),
    ] {
        session.handle(Uptime::from_millis(at_ms), event);
        assert_eq!(seat(&session, at_ms + 1_000, ILSE).presence, Presence::Here);
    }
}

#[test]
fn who_is_heard_again_after_a_silence_is_answered_at_once() {
    let beats_to = |session: &mut Session, at_ms| {
        session.handle(Uptime::from_millis(at_ms), heard(1, ToCoordinator::Beat));
        let effects = std::iter::from_fn(|| session.poll_effect());
        let beat = |effect: &Effect| {
            matches!(
                effect,
                Effect::Send {
                    message: ToStation::Beat { .. },
                    ..
                }
            )
        };
        effects.filter(beat).count()
    };
    let mut session = with_ilse();
    beats_to(&mut session, 1_000);
    // Beats to everyone go out at their time; this one is beside them.
    tick_until(&mut session, 3_010);
    assert_eq!(beats_to(&mut session, 3_011), 1);
    assert_eq!(beats_to(&mut session, 3_021), 0);
}

#[test]
fn a_closed_link_is_silence_and_a_goodbye_is_not() {
    let mut session = with_ilse();
    session.handle(Uptime::from_millis(100), closed(1));
    assert_eq!(seat(&session, 1_000, ILSE).presence, Presence::Here);
    assert_eq!(
        seat(&session, 4_000, ILSE).presence,
        Presence::Silent(Duration::from_secs(4))
    );
    let mut session = with_ilse();
    session.handle(Uptime::from_millis(100), heard(1, ToCoordinator::Leave));
    // Sent before the goodbye, come after it.
    session.handle(Uptime::from_millis(101), heard(1, ToCoordinator::Beat));
    assert_eq!(seat(&session, 102, ILSE).presence, Presence::Away);
}

#[test]
fn a_silent_harp_is_not_ready_and_is_again_when_it_is_heard() {
    let mut session = with_ilse();
    let twice = (1..=harp().len() as u64).flat_map(|string| {
        let content = reading(string as u32, 0.0);
        [report(2 * string - 1, 1, content), report(2 * string, 1, content)]
    });
    session.handle(Uptime::default(), reports(1, twice.collect()));
    session.handle(Uptime::default(), persisted(2));
    for (at_ms, ready) in [(0, true), (3_999, true), (4_000, false)] {
        assert_eq!(seat(&session, at_ms, ILSE).is_ready(), ready, "{at_ms} ms");
    }
    session.handle(Uptime::from_millis(9_000), heard(1, ToCoordinator::Beat));
    assert!(seat(&session, 9_000, ILSE).is_ready());
}

#[test]
fn every_station_hears_four_beats_a_second_with_epoch_and_revision() {
    let mut session = with_ilse();
    join(&mut session, 0, 2, OTTO, 2);
    let mut beats = [0, 0];
    while let Some(at) = session.poll_timeout().filter(|&at| at < Uptime::from_millis(10_000)) {
        session.handle(at, heard(1, ToCoordinator::Beat));
        session.handle(at, heard(2, ToCoordinator::Beat));
        while let Some(effect) = session.poll_effect() {
            if let Effect::Send { link, message } = effect {
                let (epoch, revision) = (3, Revision(1));
                assert_eq!(message, ToStation::Beat { epoch, revision });
                beats[link.0 as usize - 1] += 1;
            }
        }
    }
    // The first went out with the welcome of the first station, at 0; 39 follow within ten seconds.
    assert_eq!(beats, [39, 39]);
}

#[test]
#[rustfmt::skip]
fn who_may_have_missed_something_hears_twelve_beats_a_second() {
    let mut session = with_ilse();
    join(&mut session, 0, 2, OTTO, 2);
    let mut heard_at_ms = [0, 0];
    for (until_ms, speaks,         beats) in [
        // Until 2 s after she was last heard nobody is in doubt.
        ( 2_000, [false, true], [ 7,  7]),
        ( 4_000, [false, true], [24,  8]),
        // Heard again she is sent one at once, and for three seconds more what she may have missed is found out sooner.
        ( 5_000, [true,  true], [13,  4]),
        ( 7_000, [true,  true], [24,  8]),
        ( 9_000, [true,  true], [ 8,  8]),
    ] {
        let mut seen = [0, 0];
        while let Some(at) = session.poll_timeout().filter(|&at| at < Uptime::from_millis(until_ms)) {
            for (link, (speaks, last_ms)) in (1..).zip(speaks.into_iter().zip(&mut heard_at_ms)) {
                if speaks && at >= Uptime::from_millis(*last_ms + 250) {
                    *last_ms = u64::try_from(at.0.as_millis()).expect("few");
                    session.handle(at, heard(link, ToCoordinator::Beat));
                }
            }
            session.handle(at, Event::Tick);
            while let Some(effect) = session.poll_effect() {
                if let Effect::Send { link, message: ToStation::Beat { .. } } = effect {
                    seen[link.0 as usize - 1] += 1;
                }
            }
        }
        assert_eq!(seen, beats, "until {until_ms} ms");
    }
}

#[test]
fn hearts_beat_half_as_often_once_more_than_sixty_seats_are_taken() {
    let crowd = |stations: u8| {
        let mut session = session();
        for number in 1..=stations {
            let peer = consort_proto::Fingerprint([number; 32]);
            join(&mut session, 0, u64::from(number), peer, u64::from(number));
        }
        session.handle(Uptime::from_millis(1), pitch(441.0));
        session.handle(Uptime::from_millis(2), persisted(u64::from(stations) + 1));
        let told = std::iter::from_fn(|| session.poll_effect()).find_map(|effect| match effect {
            Effect::Send {
                message: ToStation::Agreement(document),
                ..
            } => Some(document.beat_every),
            _ => None,
        });
        let beats = |session: &mut Session| {
            let mut beats = 0;
            while let Some(at) = session.poll_timeout().filter(|&at| at < Uptime::from_millis(10_000)) {
                session.handle(at, heard(1, ToCoordinator::Beat));
                let sent = std::iter::from_fn(|| session.poll_effect());
                beats += sent
                    .filter(|effect| matches!(effect, Effect::Send { link, .. } if link.0 == 1))
                    .count();
            }
            beats
        };
        (told.expect("an agreement").as_millis(), beats(&mut session))
    };
    assert_eq!(crowd(60), (250, 39));
    // One more was set a quarter of a second after the welcome, when there was room.
    assert_eq!(crowd(61), (500, 20));
}

#[test]
fn what_was_not_heard_while_this_laptop_slept_is_nobodys_silence() {
    let mut session = with_ilse();
    join(&mut session, 0, 2, OTTO, 2);
    session.handle(Uptime::from_millis(1_000), heard(1, ToCoordinator::Beat));
    session.handle(Uptime::from_millis(1_000), heard(2, ToCoordinator::Leave));
    // Ten minutes with the lid closed.
    session.handle(Uptime::from_millis(601_000), Event::Woke);
    let presence =
        |session: &Session, at_ms| (seat(session, at_ms, ILSE).presence, seat(session, at_ms, OTTO).presence);
    assert_eq!(presence(&session, 601_000), (Presence::Unsure, Presence::Away));
    assert_eq!(presence(&session, 602_999), (Presence::Unsure, Presence::Away));
    let silent = Presence::Silent(Duration::from_secs(4));
    assert_eq!(presence(&session, 603_000), (silent, Presence::Away));
    session.handle(Uptime::from_millis(603_100), heard(1, ToCoordinator::Beat));
    assert_eq!(seat(&session, 603_100, ILSE).presence, Presence::Here);
}

#[test]
fn who_was_silent_before_this_laptop_slept_is_silent_after_it() {
    let mut session = with_ilse();
    tick_until(&mut session, 9_000);
    session.handle(Uptime::from_millis(609_000), Event::Woke);
    let silent = Presence::Silent(Duration::from_secs(609));
    assert_eq!(seat(&session, 609_000, ILSE).presence, silent);
}

#[test]
fn with_nobody_here_nothing_is_due() {
    let mut session = session();
    // Joining by code closes by itself; then nothing is left to do.
    let closes = session.poll_timeout().expect("the door");
    session.handle(closes, consort_session::Event::Tick);
    assert_eq!(session.poll_timeout(), None);
    session.handle(closes, opened(1, ILSE));
    assert_eq!(session.poll_timeout(), None, "a link that says nothing costs nothing");
}
