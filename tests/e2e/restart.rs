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
