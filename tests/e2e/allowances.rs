//! Discs that are allowed for, from the harpist's record to what the coordinator judges by.

use consort_tests::process::run;

use crate::ensemble::{Ensemble, cents};

/// Middle C, from the top.
const MIDDLE_C: usize = 26;
/// Its open pitch at A4 = 440 Hz: 440·2^(−10/12).
const OPEN_HZ: f64 = 246.941_650_628;
/// How far its natural lies too high, cents.
const SHARP: f64 = 6.0;

fn record(data: &str, words: &[&str]) {
    let output = run("consort-station", &[&["--data", data, "record"], words].concat());
    assert!(
        output.status.success(),
        "{words:?}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
}

/// A record in the folder `data` in which middle C was checked.
fn checked(data: &str, file: &str) {
    let mut csv = "tuning,place,a4_hz,temperament,setting,at_unix_ms,string,note,position,hz,sigma_cents\n".to_owned();
    for (position, raised) in [(0, 0.0), (1, 100.0 + SHARP)] {
        let hz = OPEN_HZ * f64::exp2(raised / 1200.0);
        let at = 1_730_000_000_000_i64 + position;
        csv += &format!("2024-10-27T03:33:20Z,home,440,equal,C,{at},{MIDDLE_C},Cb4,{position},{hz},0.3\n");
    }
    std::fs::write(file, csv).expect("written");
    record(data, &["--harp", "pedal-47", "begin"]);
    record(data, &["import", file]);
}

#[test]
fn the_coordinator_judges_by_what_a_harpist_allows_for_and_by_nobody_elses_discs() {
    let mut ensemble = Ensemble::open("allowances", &["--no-discovery"]);
    let (link, port) = (ensemble.text("join"), ensemble.port());
    let data = ensemble.folder.inside("Runa");
    std::fs::create_dir_all(&data).expect("a folder");
    checked(&data, &ensemble.folder.inside("check.csv"));
    let words = ["--join", &link, "--no-discovery", "--no-opening", "--harp", "pedal-47"];
    let _stations = ["Runa", "Teodor"].map(|player| ensemble.station(player, &["clean-22-cb4.flac"], &words));
    let both =
        |status: &serde_json::Value| Some((cents(status, "Runa", MIDDLE_C)?, cents(status, "Teodor", MIDDLE_C)?));
    let heard = both(&ensemble.wait_for("both readings", |status| both(status).is_some())).expect("waited for");
    assert!(
        (heard.0 - heard.1).abs() < 0.002,
        "the same sound on the same harp: {heard:?}"
    );
    let wait = |ensemble: &Ensemble, allowed: f64| {
        let stands = |status: &serde_json::Value| {
            both(status).is_some_and(|(runa, teodor)| {
                (runa - heard.0 - allowed).abs() < 0.002 && (teodor - heard.1).abs() < 0.002
            })
        };
        ensemble.wait_for(&format!("{allowed} cents allowed for"), stands);
    };
    // Her open string is to be as much flatter: what it sounded is so much above that.
    record(&data, &["allow", "C"]);
    wait(&ensemble, SHARP);
    ensemble.kill_and_reopen(&port, &["--no-discovery"]);
    wait(&ensemble, SHARP);
    // In flats the piece plays the string open, and no disc has a say.
    ensemble.order(&["setting", "Cb"]);
    wait(&ensemble, 0.0);
    ensemble.order(&["undo"]);
    wait(&ensemble, SHARP);
    record(&data, &["allow", "C", "--off"]);
    wait(&ensemble, 0.0);
}
