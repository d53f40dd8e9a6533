//! Bad Wi-Fi between real programs: what is lost, doubled, late, cut or comes from elsewhere, and programs that stand still.

use std::path::Path;
use std::time::{Duration, Instant};

use consort_proto::JoinLink;
use consort_proxy::{Proxy, Weather};
use consort_tests::process::Program;
use serde_json::Value;

use crate::ensemble::{Ensemble, PATIENCE, cents, expect_line};

/// An ensemble whose stations each reach the coordinator through a network of their own.
struct Hall {
    ensemble: Ensemble,
    proxies: Vec<(Proxy, Program)>,
}

impl Hall {
    /// Opens a session and has each player join in that weather.
    fn open(test: &str, players: &[(&str, &[&str])], weather: Weather) -> Self {
        let ensemble = Ensemble::open(test, &["--no-discovery"]);
        let address = ensemble.text("stations").parse().expect("an address");
        let proxies = (1..).zip(players).map(|(seed, (player, files))| {
            let proxy = Proxy::start(seed, address, weather).expect("a proxy");
            let link = through(&ensemble.text("join"), &proxy);
            let mut station = ensemble.station(player, files, &["--join", &link, "--no-discovery"]);
            expect_line(&mut station, "\"joined\"");
            (proxy, station)
        });
        let proxies = proxies.collect();
        Self { ensemble, proxies }
    }

    fn until(&self, what: &str, player: &str, presence: &str) -> Value {
        self.ensemble
            .wait_for(what, |status| presence_of(status, player) == presence)
    }
}

/// The join link, leading through the proxy.
fn through(link: &str, proxy: &Proxy) -> String {
    let link: JoinLink = link.parse().expect("a join link");
    let addresses = vec![proxy.address()];
    JoinLink { addresses, ..link }.to_string()
}

fn presence_of<'a>(status: &'a Value, player: &str) -> &'a str {
    let stations = status["stations"].as_array().map_or(&[][..], Vec::as_slice);
    let station = stations.iter().find(|station| station["name"] == player);
    station
        .and_then(|station| station["presence"].as_str())
        .unwrap_or_default()
}

#[test]
fn what_is_lost_doubled_and_overtaken_arrives_all_the_same() {
    let files: &[&str] = &["clean-40-gb6.flac"];
    let mut hall = Hall::open("foul", &[("Runa", files)], Weather::FOUL);
    hall.ensemble
        .wait_for("the reading", |status| cents(status, "Runa", 8).is_some());
    for hz in ["441.0", "442.0", "443.0"] {
        hall.ensemble.order(&["pitch", hz]);
        expect_line(&mut hall.proxies[0].1, &format!("\"a4_hz\":{hz}"));
    }
    // Once each, whatever came twice: a second pluck in tune would make it hold.
    let status = hall.ensemble.status();
    assert_eq!(status["stations"][0]["strings"][7]["standing"], "set-once", "{status}");
}

#[test]
fn a_station_that_vanishes_is_silent_the_others_are_not_and_it_comes_back() {
    let mut hall = Hall::open("vanish", &[("Runa", &[]), ("Teodor", &[])], Weather::FAIR);
    hall.until("Runa", "Runa", "here");
    hall.proxies[0].0.set(Weather::CUT, Weather::CUT);
    let status = hall.until("the silence", "Runa", "silent");
    assert_eq!(presence_of(&status, "Teodor"), "here");
    expect_line(&mut hall.proxies[0].1, "\"offline\"");
    hall.ensemble.order(&["pitch", "443"]);
    hall.proxies[0].0.set(Weather::FAIR, Weather::FAIR);
    hall.until("the return", "Runa", "here");
    expect_line(&mut hall.proxies[0].1, "\"a4_hz\":443.0");
    assert!(
        !hall.proxies[1].1.has_printed("\"offline\""),
        "{}",
        hall.proxies[1].1.transcript()
    );
}

#[test]
fn a_network_that_passes_one_way_only_is_told_at_the_end_that_hears_nothing() {
    let mut hall = Hall::open("one-way", &[("Runa", &[])], Weather::FAIR);
    hall.until("Runa", "Runa", "here");
    let (proxy, station) = &mut hall.proxies[0];
    proxy.set(Weather::FAIR, Weather::CUT);
    expect_line(station, "\"offline\"");
    proxy.set(Weather::FAIR, Weather::FAIR);
    expect_line(station, "\"joined\"");
    hall.until("the return", "Runa", "here");
}

#[test]
fn a_laptop_that_wanders_to_another_port_keeps_its_link() {
    let mut hall = Hall::open("roam", &[("Runa", &[])], Weather::FAIR);
    hall.until("Runa", "Runa", "here");
    for hz in ["441.0", "442.0"] {
        hall.proxies[0].0.roam().expect("another port");
        hall.ensemble.order(&["pitch", hz]);
        expect_line(&mut hall.proxies[0].1, &format!("\"a4_hz\":{hz}"));
    }
    let station = &hall.proxies[0].1;
    assert!(!station.has_printed("\"offline\""), "{}", station.transcript());
}

#[test]
#[cfg(unix)]
fn a_program_that_stood_still_says_so_and_is_back_by_itself() {
    let mut hall = Hall::open("still", &[("Runa", &[]), ("Teodor", &[])], Weather::FAIR);
    hall.until("Runa", "Runa", "here");
    hall.proxies[0].1.signal("STOP");
    let status = hall.until("the silence", "Runa", "silent");
    assert_eq!(presence_of(&status, "Teodor"), "here");
    hall.ensemble.order(&["pitch", "443"]);
    hall.proxies[0].1.signal("CONT");
    expect_line(&mut hall.proxies[0].1, "\"offline\"");
    expect_line(&mut hall.proxies[0].1, "\"a4_hz\":443.0");
    hall.until("the return", "Runa", "here");
    // The leader's laptop sleeps: everyone says so, goes on, and is back when it wakes.
    hall.ensemble.coordinator.signal("STOP");
    for (_, station) in &mut hall.proxies {
        expect_line(station, "\"offline\"");
    }
    hall.ensemble.coordinator.signal("CONT");
    for (_, station) in &mut hall.proxies {
        expect_line(station, "\"joined\"");
    }
    let status = hall.until("the return", "Runa", "here");
    assert_ne!(presence_of(&status, "Teodor"), "silent", "{status}");
}

#[test]
fn a_station_that_is_killed_without_a_network_reports_what_it_had_heard_when_it_is_back() {
    let mut ensemble = Ensemble::open("journal", &["--no-discovery"]);
    let link = ensemble.text("join");
    let mut station = ensemble.station("Runa", &[], &["--join", &link, "--no-discovery"]);
    expect_line(&mut station, "\"joined\"");
    ensemble.wait_for("the seat", |status| presence_of(status, "Runa") == "here");
    station.kill();
    let port = ensemble.port();
    ensemble.coordinator.kill();
    let mut alone = ensemble.station("Runa", &["clean-40-gb6.flac"], &["--no-discovery"]);
    expect_line(&mut alone, "\"input-ended\"");
    wait_for_report(&ensemble.folder.inside("Runa"));
    alone.kill();
    ensemble.kill_and_reopen(&port, &["--no-discovery"]);
    let mut again = ensemble.station("Runa", &[], &["--no-discovery"]);
    expect_line(&mut again, "\"joined\"");
    ensemble.wait_for("the reading", |status| cents(status, "Runa", 8).is_some());
}

/// Waits until a report rests on the disk of the station that is kept in `data`: without a link it says nothing of it.
#[track_caller]
pub(crate) fn wait_for_report(data: &str) {
    let file = Path::new(data).join("station.sqlite");
    let begun = Instant::now();
    let written = || -> rusqlite::Result<u32> {
        let flags = rusqlite::OpenFlags::SQLITE_OPEN_READ_ONLY;
        let memory = rusqlite::Connection::open_with_flags(&file, flags)?;
        memory.query_row("SELECT count(*) FROM report", [], |row| row.get(0))
    };
    // The file may be written to at that moment.
    while written().unwrap_or_default() == 0 {
        assert!(begun.elapsed() < PATIENCE, "no report is written down");
        std::thread::sleep(Duration::from_millis(20));
    }
}
