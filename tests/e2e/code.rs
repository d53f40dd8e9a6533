//! Joining by code: one number once, nothing afterwards, and the sentences of what stands in the way.

use consort_proto::JoinCode;
use consort_tests::process::{is_isolated, run, say};

use crate::ensemble::{Ensemble, PATIENCE, expect_line};

/// A code that is well formed and not the one on the screen.
fn wrong_code(ensemble: &Ensemble) -> String {
    let shown: JoinCode = ensemble.text("code").parse().expect("a code");
    JoinCode::drawn(u64::from(shown == JoinCode::drawn(0))).to_string()
}

#[test]
fn a_code_and_an_address_join_and_the_next_time_neither_is_needed() {
    let mut ensemble = Ensemble::open("by-code", &["--no-discovery"]);
    let (code, address) = (ensemble.text("code"), ensemble.text("address"));
    let with_code = ["--code", &code, "--coordinator", &address, "--no-discovery"];
    let mut station = ensemble.station("Runa", &[], &with_code);
    expect_line(&mut station, "\"joined\"");
    ensemble.wait_for("the seat", |status| status["stations"][0]["presence"] == "here");
    station.kill();
    let mut again = ensemble.station("Runa", &[], &["--no-discovery"]);
    expect_line(&mut again, "\"joined\"");
    // Nor is it after the coordinator has started anew, with another code, and whatever was typed then.
    ensemble.kill_and_reopen(&ensemble.port(), &["--no-discovery"]);
    assert_ne!(ensemble.text("code"), code);
    expect_line(&mut again, "\"offline\"");
    expect_line(&mut again, "\"joined\"");
    again.kill();
    let mut stale = ensemble.station("Runa", &[], &with_code);
    expect_line(&mut stale, "\"joined\"");
    assert_eq!(ensemble.status()["stations"].as_array().map(Vec::len), Some(1));
}

#[test]
fn a_code_alone_joins_where_the_coordinator_can_be_heard_of() {
    if !is_isolated() {
        say("skipped: announcing would reach the room; `cargo verify` runs this on a network of its own");
        return;
    }
    let ensemble = Ensemble::open("code-alone", &[]);
    let mut station = ensemble.station("Teodor", &[], &["--code", &ensemble.text("code")]);
    expect_line(&mut station, "\"joined\"");
    ensemble.wait_for("the seat", |status| status["stations"][0]["name"] == "Teodor");
}

#[test]
fn a_wrong_code_is_said_with_the_tag_of_whom_it_was_tried_with() {
    let ensemble = Ensemble::open("wrong-code", &["--no-discovery"]);
    let (wrong, address) = (wrong_code(&ensemble), ensemble.text("address"));
    let words = [
        "--code",
        &wrong,
        "--coordinator",
        &address,
        "--no-discovery",
        "--terminal",
    ];
    let mut station = ensemble.station("Runa", &[], &words);
    expect_line(&mut station, "wrong-code");
    let link: consort_proto::JoinLink = ensemble.text("join").parse().expect("a join link");
    let sentence = format!("with the tag {} said so", link.coordinator.tag());
    let said = station.line(PATIENCE, |line| {
        line.contains("The code did not match") && line.contains(&sentence)
    });
    assert!(said.is_some(), "{}", station.transcript());
    assert_eq!(ensemble.status()["stations"].as_array().map(Vec::len), Some(0));
}

#[test]
fn a_slip_of_the_finger_is_told_before_anything_is_sent() {
    let ensemble = Ensemble::open("slip", &["--no-discovery"]);
    let mut digits: Vec<char> = ensemble.text("code").chars().filter(char::is_ascii_digit).collect();
    digits[7] = if digits[7] == '0' { '1' } else { '0' };
    let slip: String = digits.into_iter().collect();
    let data = ensemble.folder.inside("slip");
    let output = run("consort-station", &["--data", &data, "--code", &slip]);
    let complaint = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{complaint}");
    assert!(complaint.contains("one digit of the code looks off"), "{complaint}");
    assert!(!std::path::Path::new(&data).exists(), "nothing was begun");
}

#[test]
fn while_joining_is_closed_no_code_is_good() {
    let ensemble = Ensemble::open("closed", &["--no-discovery"]);
    let (code, address) = (ensemble.text("code"), ensemble.text("address"));
    ensemble.order(&["joining", "off"]);
    let words = ["--code", &code, "--coordinator", &address, "--no-discovery"];
    let mut station = ensemble.station("Runa", &[], &words);
    expect_line(&mut station, "joining-closed");
    assert_eq!(ensemble.status()["stations"].as_array().map(Vec::len), Some(0));
}
