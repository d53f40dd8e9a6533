//! The agreement: one change, everyone judged anew.

use std::io::{BufRead, BufReader, Write};
use std::net::TcpStream;

use crate::ensemble::{Ensemble, PATIENCE, cents, expect_line};

#[test]
fn a_new_pitch_re_judges_every_harp_without_a_pluck() {
    let ensemble = Ensemble::open("new-pitch", &["--no-discovery"]);
    let link = ensemble.text("join");
    let mut stations: Vec<_> = [("Runa", "clean-40-gb6.flac"), ("Teodor", "clean-36-cb6.flac")]
        .map(|(player, file)| ensemble.station(player, &[file], &["--join", &link, "--no-discovery"]))
        .into();
    let both = |status: &serde_json::Value| Some((cents(status, "Runa", 8)?, cents(status, "Teodor", 12)?));
    let before = both(&ensemble.wait_for("both readings", |status| both(status).is_some())).expect("waited for");
    ensemble.order(&["pitch", "442"]);
    let after = both(&ensemble.wait_for("442", |status| status["pitch_hz"] == 442.0)).expect("still there");
    // From 440 to 442 Hz is 7.8514 cents, computed from the definition of the cent; the status has three decimals.
    for (before, after) in [(before.0, after.0), (before.1, after.1)] {
        assert!((before - after - 7.8514).abs() < 0.02, "{before} became {after}");
    }
    for station in &mut stations {
        expect_line(station, "\"a4_hz\":442.0");
    }
    ensemble.order(&["undo"]);
    for station in &mut stations {
        expect_line(station, "\"a4_hz\":440.0");
    }
}

#[test]
fn the_board_shows_a_new_pitch_by_itself_and_only_to_whoever_has_its_address() {
    let ensemble = Ensemble::open("board", &["--no-discovery"]);
    let board = ensemble.text("board");
    let (address, path) = board
        .trim_start_matches("http://")
        .split_once('/')
        .expect("an address and a path");
    let mut lines = get(address, &format!("/{path}live"));
    ensemble.order(&["pitch", "441.5"]);
    let shown = lines.find(|line| line.contains("A = 441.5 "));
    assert!(shown.is_some(), "the stream ends without the new pitch");
    let wrong = path
        .chars()
        .rev()
        .collect::<String>()
        .trim_start_matches('/')
        .to_owned();
    let refused = get(address, &format!("/{wrong}/live")).next().unwrap_or_default();
    assert!(refused.contains(" 404 "), "{refused}");
}

fn get(address: &str, path: &str) -> impl Iterator<Item = String> + use<> {
    let mut connection = TcpStream::connect(address).expect("the board listens");
    connection.set_read_timeout(Some(PATIENCE)).expect("a time limit");
    write!(connection, "GET {path} HTTP/1.1\r\nHost: {address}\r\n\r\n").expect("the board reads");
    BufReader::new(connection).lines().map_while(Result::ok)
}
