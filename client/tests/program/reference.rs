//! `reference`: the A that somebody gives, from recordings that are made here.

use std::f64::consts::TAU;

use crate::running::{Folder, objects, program, told};
use crate::sound::write_wav;

/// Four seconds of a reed's tone of `hz`: partials that are multiples, the second the strongest.
fn reed(hz: f64) -> Vec<f32> {
    (0..4 * 48_000)
        .map(|n| {
            let time = f64::from(n) / 48_000.0;
            let tone: f64 = [0.4, 1.0, 0.9, 0.5]
                .iter()
                .zip(1..)
                .map(|(strength, partial)| strength * (TAU * hz * f64::from(partial) * time).sin())
                .sum();
            (0.1 * tone) as f32
        })
        .collect()
}

/// Four seconds of noise that is the same in every run.
fn hiss() -> Vec<f32> {
    let mut state = 5_u32;
    (0..4 * 48_000)
        .map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            0.2 * (f64::from(state) / f64::from(u32::MAX) - 0.5) as f32
        })
        .collect()
}

#[test]
fn the_a_that_is_given_is_measured_and_what_is_no_a_is_refused() {
    let folder = Folder::new("reference");
    #[rustfmt::skip]
    let table = [
        // what is given      note   state        A4
        (reed(442.3),         "A4", "held",      Some(442.3)),
        (reed(439.1),         "A4", "held",      Some(439.1)),
        // 440·2^(−9/12)·441/440: middle C of an orchestra at 441 Hz.
        (reed(262.220_192),   "C4", "held",      Some(441.0)),
        (reed(466.2),         "A4", "elsewhere", None),
        (hiss(),              "A4", "nothing",   None),
    ];
    for (at, (sound, note, state, a4)) in table.iter().enumerate() {
        let file = folder.at(&format!("{at}.wav"));
        write_wav(&file, 48_000, 32, &[sound]);
        let output = program()
            .args(["reference", "--note", note, "--json", &file])
            .output()
            .expect("run");
        let (code, lines, complaints) = told(&output);
        assert_eq!(complaints, [""; 0], "{complaints:?}");
        let line = &objects(&lines)[0];
        assert_eq!(
            (line["state"].as_str(), line["note"].as_str()),
            (Some(*state), Some(*note))
        );
        assert_eq!(code, Some(i32::from(a4.is_none())), "{line}");
        if let Some(a4) = a4 {
            let found = line["a4_hz"].as_f64().expect("hertz");
            assert!((found - a4).abs() < 0.03, "{line}");
        }
    }
}

#[test]
fn what_is_held_is_said_in_one_sentence() {
    let folder = Folder::new("reference-said");
    let file = folder.at("a.wav");
    write_wav(&file, 48_000, 32, &[&reed(442.0)]);
    let output = program().args(["reference", &file]).output().expect("run");
    let (_, lines, _) = told(&output);
    assert_eq!(lines.len(), 1, "{lines:?}");
    assert!(
        lines[0].starts_with("A4 is held at 442.0") && lines[0].ends_with(" Hz."),
        "{lines:?}"
    );
}

#[test]
fn what_is_no_note_or_no_recording_gets_one_sentence() {
    for words in [["--note", "H9", "x.wav"], ["--note", "A4", "nowhere.wav"]] {
        let output = program().arg("reference").args(words).output().expect("run");
        let (code, lines, complaints) = told(&output);
        assert!(
            code.is_some_and(|code| code != 0) && lines.is_empty(),
            "{words:?}: {lines:?}"
        );
        assert_eq!(complaints.len(), 1, "{complaints:?}");
        assert!(
            complaints[0].contains(words[2]) || complaints[0].contains(words[1]),
            "{complaints:?}"
        );
    }
}
