//! A coordinator that is killed opens again where it was.

use crate::ensemble::{Ensemble, cents, expect_line};

#[test]
fn after_a_kill_the_session_its_readings_and_its_stations_come_back() {
    let mut ensemble = Ensemble::open("kill", &["--no-discovery"]);
    let link = ensemble.text("join");
    let mut station = ensemble.station("Runa", &["clean-40-gb6.flac"], &["--join", &link, "--no-discovery"]);
    ensemble.order(&["pitch", "441"]);
    let before = ensemble.wait_for("the reading", |status| cents(status, "Runa", 8).is_some());
    let port = ensemble.port();
    ensemble.kill_and_reopen(&port, &["--no-discovery"]);
    assert_eq!(ensemble.text("join"), link, "an old join link still holds");
    expect_line(&mut station, "\"offline\"");
    expect_line(&mut station, "\"joined\"");
    let after = ensemble.wait_for("the station", |status| status["stations"][0]["presence"] == "here");
    assert_eq!(after["session"], before["session"]);
    assert_eq!(after["pitch_hz"], 441.0);
    assert_eq!(after["epoch"].as_u64(), before["epoch"].as_u64().map(|epoch| epoch + 1));
    assert_eq!(cents(&after, "Runa", 8), cents(&before, "Runa", 8));
}

#[test]
fn a_station_keeps_its_harp_and_never_reports_one_harps_strings_as_anothers() {
    let ensemble = Ensemble::open("harps", &["--no-discovery"]);
    let link = ensemble.text("join");
    let harp_shown = |status: &serde_json::Value| status["stations"][0]["harp"].as_str().map(str::to_owned);
    // Alone at first: what is plucked waits in the journal.
    let mut alone = ensemble.station(
        "Runa",
        &["clean-26-gb4.flac"],
        &["--harp", "pedal-47", "--no-discovery"],
    );
    expect_line(&mut alone, "\"input-ended\"");
    alone.interrupt(crate::ensemble::PATIENCE);
    let mut other = ensemble.station("Runa", &[], &["--harp", "lever-34", "--join", &link, "--no-discovery"]);
    expect_line(&mut other, "\"joined\"");
    let status = ensemble.wait_for("the lever harp", |status| harp_shown(status).is_some());
    let strings = status["stations"][0]["strings"].as_array().expect("strings");
    assert_eq!(strings.len(), 34);
    assert!(strings.iter().all(|string| string["cents"].is_null()), "{status}");
    other.interrupt(crate::ensemble::PATIENCE);
    let mut again = ensemble.station("Runa", &[], &["--no-discovery"]);
    expect_line(&mut again, "\"joined\"");
    let status = ensemble.wait_for("the harp", |status| status["stations"][0]["presence"] == "here");
    assert_eq!(
        status["stations"][0]["strings"].as_array().map(Vec::len),
        Some(34),
        "{status}"
    );
}
