//! Stations join by the link, follow the agreement, and are not disturbed by whatever else comes to the port.

use std::net::UdpSocket;

use consort_peer::HearError;
use consort_peer::link::{CLOSE_GOODBYE, CLOSE_REFUSED};
use consort_proto::message::Refusal;
use consort_proto::{JoinToken, ToCoordinator, ToStation};

use crate::running::{Running, Station, fresh_folder, hear};

/// The reference pitch of the next agreement.
async fn next_pitch(ear: &mut consort_peer::Hear<ToStation>) -> f64 {
    hear(ear, |message| match message {
        ToStation::Agreement(document) => Some(document.agreement.tuning.a4.hz().get()),
        _ => None,
    })
    .await
}

#[tokio::test]
async fn every_station_hears_of_a_new_pitch() {
    let running = Running::start(&fresh_folder("pitch"));
    let link = running.join_link();
    let mut ends = Vec::new();
    for _ in 0..4 {
        let station = Station::new();
        let (say, mut ear) = station.call(&link, Some(link.token)).await;
        assert_eq!(next_pitch(&mut ear).await, 440.0);
        ends.push((station, say, ear));
    }
    assert!(running.order(&["pitch", "442"]).status.success());
    for (_, _, ear) in &mut ends {
        // Each was also told of the seats that were taken after its own, under the old pitch.
        let mut told = next_pitch(ear).await;
        while told == 440.0 {
            told = next_pitch(ear).await;
        }
        assert_eq!(told, 442.0);
    }
    assert_eq!(running.status()["stations"].as_array().map(Vec::len), Some(4));
}

#[tokio::test]
async fn a_stranger_without_the_token_is_told_so_and_changes_nothing() {
    let running = Running::start(&fresh_folder("stranger"));
    let link = running.join_link();
    for token in [None, Some(JoinToken([0; 16]))] {
        let (_say, mut ear) = Station::new().call(&link, token).await;
        assert_eq!(ear.hear().await, Ok(Some(ToStation::Refused(Refusal::NotInvited))));
        assert_eq!(ear.hear().await, Ok(None));
        let end = loop {
            if let Err(end) = ear.hear().await {
                break end;
            }
            tokio::task::yield_now().await;
        };
        assert_eq!(end, HearError::Closed(CLOSE_REFUSED));
    }
    assert_eq!(running.status()["stations"], serde_json::json!([]));
}

#[tokio::test]
async fn garbage_on_the_port_does_not_disturb_a_station() {
    let running = Running::start(&fresh_folder("garbage"));
    let link = running.join_link();
    let station = Station::new();
    let (_say, mut ear) = station.call(&link, Some(link.token)).await;
    assert_eq!(next_pitch(&mut ear).await, 440.0);
    let stranger = UdpSocket::bind("127.0.0.1:0").expect("socket");
    for length in 0..1_400_usize {
        let packet: Vec<u8> = (0..length).map(|place| (place * 37 + length * 11) as u8).collect();
        stranger.send_to(&packet, link.addresses[0]).expect("send");
    }
    assert!(running.order(&["pitch", "443"]).status.success());
    assert_eq!(next_pitch(&mut ear).await, 443.0);
    // And the door is still open.
    let (_say, mut ear) = Station::new().call(&link, Some(link.token)).await;
    assert_eq!(next_pitch(&mut ear).await, 443.0);
}

#[tokio::test]
async fn a_station_that_leaves_is_shown_as_away() {
    let running = Running::start(&fresh_folder("leaves"));
    let link = running.join_link();
    let station = Station::new();
    let (mut say, mut ear) = station.call(&link, Some(link.token)).await;
    next_pitch(&mut ear).await;
    running.status_until(|status| status["stations"][0]["presence"] == "here");
    say.say(&ToCoordinator::Leave).await.expect("say");
    say.close(CLOSE_GOODBYE).await;
    running.status_until(|status| status["stations"][0]["presence"] == "away");
}

#[cfg(unix)]
#[tokio::test]
async fn a_coordinator_that_ends_says_goodbye() {
    let mut running = Running::start(&fresh_folder("goodbye"));
    let link = running.join_link();
    let (_say, mut ear) = Station::new().call(&link, Some(link.token)).await;
    next_pitch(&mut ear).await;
    let ended = tokio::task::spawn_blocking(move || running.terminate().0);
    let end = loop {
        if let Err(end) = ear.hear().await {
            break end;
        }
    };
    assert_eq!(end, HearError::Closed(CLOSE_GOODBYE));
    assert_eq!(ended.await.expect("ended"), Some(0));
}

#[tokio::test]
async fn strangers_who_hold_the_door_do_not_keep_a_harp_out() {
    let running = Running::start(&fresh_folder("door"));
    let link = running.join_link();
    // Sixty-four places per address, and these take them all: each proves a key and then says nothing.
    let mut silent = Vec::new();
    for _ in 0..70 {
        let stranger = Station::new();
        let dialled = stranger
            .dialer
            .dial::<ToCoordinator, ToStation>(link.addresses[0], link.coordinator)
            .await;
        silent.push((stranger, dialled));
    }
    let station = Station::new();
    loop {
        // They are cut in a few seconds, and then it is the station's turn.
        let Ok(end) = station.try_call(&link, Some(link.token)).await else {
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
            continue;
        };
        let (_say, mut ear) = end;
        match ear.hear().await {
            Ok(Some(ToStation::Welcome { .. })) => break,
            _ => tokio::time::sleep(std::time::Duration::from_millis(50)).await,
        }
    }
    assert_eq!(running.status()["stations"].as_array().map(Vec::len), Some(1));
}
