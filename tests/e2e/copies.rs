//! A school laptop whose disk was copied: two stations with one key.

use std::path::Path;

use crate::ensemble::{Ensemble, PATIENCE, expect_line};

/// Copies everything that a station keeps, as an image of its disk would.
fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).expect("a folder");
    for entry in std::fs::read_dir(from).expect("what the station keeps").flatten() {
        std::fs::copy(entry.path(), to.join(entry.file_name())).expect("a copy");
    }
}

#[test]
fn a_copied_laptop_and_its_original_are_both_told_and_neither_pushes_the_other_out_for_ever() {
    let ensemble = Ensemble::open("copies", &["--no-discovery"]);
    let (code, address) = (ensemble.text("code"), ensemble.text("address"));
    let words = ["--code", &code, "--coordinator", &address, "--no-discovery"];
    let mut first = ensemble.station("Runa", &[], &words);
    expect_line(&mut first, "\"joined\"");
    first.kill();
    let folder = |name: &str| ensemble.folder.inside(name);
    copy(Path::new(&folder("Runa")), Path::new(&folder("Copy")));
    let mut original = ensemble.station("Runa", &[], &["--no-discovery"]);
    expect_line(&mut original, "\"joined\"");
    let mut copied = ensemble.station("Copy", &[], &["--no-discovery"]);
    // Each asks again ten seconds after the other has taken its place, so that it shows within half a minute.
    let patience = PATIENCE * 3;
    for station in [&mut copied, &mut original] {
        let told = station.line(patience, |line| line.contains("\"copied\""));
        assert!(told.is_some(), "{}", station.transcript());
    }
    let status = ensemble.wait_for("the copy", |status| status["stations"][0]["copied"] == true);
    assert_eq!(status["stations"][0]["ready"], false);
}
