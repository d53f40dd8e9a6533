//! What a coordinator and a station write down plays again as it was, on both sides.

use consort_tests::process::{Folder, run};

use crate::ensemble::{Ensemble, cents, expect_line};

#[test]
fn both_logbooks_of_an_evening_play_again_and_hold_no_names() {
    // A folder of their own: that of the ensemble is not there before it is opened.
    let folder = Folder::new("logbooks-written");
    let (of_coordinator, of_station) = (folder.inside("coordinator.logbook"), folder.inside("station.logbook"));
    let mut ensemble = Ensemble::open("logbooks", &["--no-discovery", "--logbook", &of_coordinator]);
    let link = ensemble.text("join");
    let words = ["--join", &link, "--no-discovery", "--logbook", &of_station];
    let mut station = ensemble.station("Runa", &["clean-40-gb6.flac"], &words);
    ensemble.order(&["pitch", "441"]);
    ensemble.wait_for("the reading", |status| cents(status, "Runa", 8).is_some());
    let port = ensemble.port();
    ensemble.kill_and_reopen(&port, &["--no-discovery", "--logbook", &of_coordinator]);
    expect_line(&mut station, "\"offline\"");
    expect_line(&mut station, "\"joined\"");
    ensemble.order(&["round"]);
    station.interrupt(crate::ensemble::PATIENCE);
    ensemble.order(&["stop"]);
    drop(ensemble);
    for (program, file, lives) in [
        ("consort-coordinator", &of_coordinator, 2),
        ("consort-station", &of_station, 1),
    ] {
        let replayed = run(program, &["replay", file, "--json"]);
        let why = String::from_utf8_lossy(&replayed.stderr);
        assert!(replayed.status.success(), "{program}: {why}");
        let said: serde_json::Value = serde_json::from_slice(&replayed.stdout).expect("one object");
        assert_eq!(said["lives"], lives, "{program}: {said}");
        // At least: twice a call or its answer, a greeting, an agreement and a report or its acknowledgement, and an end. How
        // many hearts beat besides depends on how soon the coordinator is back.
        assert!(said["effects"].as_u64() > Some(10), "{program}: {said}");
        let text = std::fs::read_to_string(file).expect("a logbook");
        assert!(!text.contains("Runa"), "{program}: a name is written down");
    }
}
