//! Joining: by link, by discovery, and not at all.

use consort_proto::JoinLink;
use consort_tests::process::{is_isolated, say};

use crate::ensemble::{Ensemble, cents, expect_line};

#[test]
fn a_recorded_string_reaches_the_board_through_a_link() {
    let ensemble = Ensemble::open("by-link", &["--no-discovery"]);
    let link = ensemble.text("join");
    let mut station = ensemble.station("Runa", &["clean-40-gb6.flac"], &["--join", &link, "--no-discovery"]);
    expect_line(&mut station, "\"joined\"");
    let status = ensemble.wait_for("the reading", |status| cents(status, "Runa", 8).is_some());
    // The recording's own truth, from the manifest beside it, at A4 = 440.
    let manifest = std::fs::read_to_string(crate::ensemble::recording("manifest.csv")).expect("the manifest");
    let hz: f64 = manifest
        .lines()
        .find(|line| line.starts_with("clean-40-gb6.flac"))
        .and_then(|line| line.split(',').nth(7)?.parse().ok())
        .expect("the recording's true frequency");
    let truth = 1200.0 * (hz / 1_479.977_69).log2();
    let heard = cents(&status, "Runa", 8).expect("waited for");
    assert!((heard - truth).abs() < 2.0, "heard {heard}, true {truth}");
}

#[test]
fn a_station_finds_a_coordinator_that_has_moved_by_discovery() {
    if !is_isolated() {
        say("skipped: announcing would reach the room; `cargo verify` runs this on a network of its own");
        return;
    }
    let mut ensemble = Ensemble::open("by-discovery", &[]);
    let link: JoinLink = ensemble
        .text("join")
        .parse()
        .expect("the coordinator prints a join link");
    let without_addresses = JoinLink {
        addresses: Vec::new(),
        ..link
    }
    .to_string();
    let mut station = ensemble.station("Teodor", &[], &["--join", &without_addresses]);
    expect_line(&mut station, "\"joined\"");
    let before = ensemble.port();
    ensemble.kill_and_reopen("0", &[]);
    assert_ne!(ensemble.port(), before, "the coordinator is somewhere else now");
    // Called beside the old link, it may be back before it would call itself offline.
    ensemble.wait_for("the station", |status| status["stations"][0]["presence"] == "here");
}

#[test]
fn two_coordinators_of_one_name_are_told_apart_by_their_keys() {
    if !is_isolated() {
        say("skipped: announcing would reach the room; `cargo verify` runs this on a network of its own");
        return;
    }
    let name = ["--name", "The same"];
    let (mut one, other) = (Ensemble::open("same-one", &name), Ensemble::open("same-other", &name));
    // Both are sighted under one name; each code finds the one that it is from.
    let mut runa = one.station("Runa", &[], &["--code", &one.text("code")]);
    let mut teodor = other.station("Teodor", &[], &["--code", &other.text("code")]);
    for (ensemble, player, station, hz) in [(&one, "Runa", &mut runa, "441"), (&other, "Teodor", &mut teodor, "443")] {
        expect_line(station, "\"joined\"");
        ensemble.order(&["pitch", hz]);
        expect_line(station, &format!("\"a4_hz\":{hz}.0"));
        let status = ensemble.status();
        assert_eq!(status["stations"][0]["name"], player, "{status}");
        assert_eq!(status["stations"].as_array().map(Vec::len), Some(1), "{status}");
    }
    // The one that is left is no stand-in, however alike it calls itself.
    one.coordinator.kill();
    expect_line(&mut runa, "\"offline\"");
    other.order(&["pitch", "444"]);
    expect_line(&mut teodor, "\"a4_hz\":444.0");
    let status = other.status();
    assert_eq!(status["stations"].as_array().map(Vec::len), Some(1), "{status}");
    for hz in ["443", "444"] {
        assert!(!runa.has_printed(&format!("\"a4_hz\":{hz}")), "{}", runa.transcript());
    }
}

#[test]
fn whoever_was_not_invited_neither_joins_nor_is_shown() {
    let ensemble = Ensemble::open("uninvited", &["--no-discovery"]);
    let mut link: JoinLink = ensemble
        .text("join")
        .parse()
        .expect("the coordinator prints a join link");
    link.token.0[0] ^= 1;
    let forged = link.to_string();
    let mut stranger = ensemble.station("Nobody", &["clean-40-gb6.flac"], &["--join", &forged, "--no-discovery"]);
    expect_line(&mut stranger, "not-invited");
    let status = ensemble.status();
    assert_eq!(status["stations"].as_array().map(Vec::len), Some(0), "{status}");
}

#[test]
fn a_station_does_not_follow_another_key_at_the_right_address() {
    let (one, other) = (
        Ensemble::open("one", &["--no-discovery"]),
        Ensemble::open("other", &["--no-discovery"]),
    );
    let right: JoinLink = one.text("join").parse().expect("a join link");
    let wrong: JoinLink = other.text("join").parse().expect("a join link");
    // The rogue sits where the coordinator is expected, with a key of its own.
    let misled = JoinLink {
        addresses: wrong.addresses,
        ..right
    }
    .to_string();
    let mut station = one.station("Ilvy", &[], &["--join", &misled, "--no-discovery"]);
    expect_line(&mut station, "other-key");
    assert_eq!(other.status()["stations"].as_array().map(Vec::len), Some(0));
}
