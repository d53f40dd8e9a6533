//! Orders from another terminal reach the running session, and what they changed is seen at once.

use crate::running::{Running, fresh_folder};

#[test]
#[rustfmt::skip]
fn each_order_changes_what_the_status_says() {
    let running = Running::start(&fresh_folder("orders"));
    for (order, key, value) in [
        (&["pitch", "442"][..],                       "pitch_hz",    serde_json::json!(442.0)),
        (&["temperament", "vallotti"],                "temperament", serde_json::json!("vallotti")),
        (&["setting", "Eb"],                          "setting",     serde_json::json!("D C Bb | Eb F G Ab")),
        (&["setting", "Db", "C", "B", "E", "F#", "G", "A"], "setting", serde_json::json!("Db C B | E F# G A")),
        (&["undo"],                                   "setting",     serde_json::json!("D C Bb | Eb F G Ab")),
        (&["round"],                                  "round",       serde_json::json!(2)),
        (&["temperament", "0", "0", "0", "0", "-2.5", "0", "0", "0", "0", "0", "0", "0"],
                                                      "temperament", serde_json::json!(null)),
    ] {
        let output = running.order(order);
        assert!(output.status.success(), "{order:?}: {output:?}");
        assert_eq!(running.status()[key], value, "{order:?}");
    }
    assert_eq!(running.status()["offsets_cents"][4], -2.5);
    // At home on D, the D of Vallotti's temperament is what its C was: two offsets of the twelve by hand.
    assert!(running.order(&["temperament", "vallotti", "--home", "C"]).status.success());
    assert_eq!(running.status()["temperament"], "vallotti");
    let moved = running.order(&["temperament", "vallotti", "--home", "D"]);
    assert!(moved.status.success(), "{moved:?}");
    let offsets = &running.status()["offsets_cents"];
    let cents = |place: usize| (offsets[place].as_f64().expect("cents") * 10.0).round() / 10.0;
    assert_eq!((cents(2), cents(1), cents(9)), (2.0, -7.8, 0.0), "{offsets}");
}

#[test]
fn a_pitch_that_is_kept_for_the_next_round_is_taken_back_by_the_one_that_is_agreed() {
    let running = Running::start(&fresh_folder("next-round"));
    for (hz, kept) in [
        ("441", serde_json::json!(441.0)),
        ("440", serde_json::json!(null)),
        ("442,5", serde_json::json!(442.5)),
    ] {
        assert!(running.order(&["pitch", hz, "--next-round"]).status.success(), "{hz}");
        let status = running.status();
        assert_eq!(
            (&status["next_pitch_hz"], &status["pitch_hz"]),
            (&kept, &440.0.into()),
            "{hz}"
        );
    }
}

#[test]
fn a_start_counts_down_until_it_is_cleared() {
    let running = Running::start(&fresh_folder("start"));
    assert_eq!(running.status()["start_in_s"], serde_json::json!(null));
    assert!(running.order(&["start", "25"]).status.success());
    let left = running.status()["start_in_s"].as_u64().expect("seconds");
    assert!((1..=1_500).contains(&left), "{left}");
    // Midnight has passed at any time of the day.
    let told = String::from_utf8(running.order(&["start", "0:00"]).stdout).expect("text");
    assert!(told.contains("0:00 has passed today: the start is tomorrow."), "{told}");
    assert!(running.order(&["start", "none"]).status.success());
    assert_eq!(running.status()["start_in_s"], serde_json::json!(null));
}

#[test]
fn the_options_of_the_opening_are_agreed_from_the_first_moment() {
    let words = [
        "--pitch",
        "441.3",
        "--temperament",
        "young-two",
        "--setting",
        "Ab",
        "--name",
        "Trio Wend",
        "--start",
        "30",
    ];
    let running = Running::start_with(&fresh_folder("opening"), &words);
    let status = running.status();
    assert_eq!(status["pitch_hz"], 441.3);
    assert_eq!(status["temperament"], "young-two");
    assert_eq!(status["setting"], "Db C Bb | Eb F G Ab");
    assert_eq!(status["ensemble"], "Trio Wend");
    assert!(status["start_in_s"].as_u64().is_some_and(|left| left > 1_700));
}

#[test]
fn the_link_is_the_one_that_was_printed_at_the_opening() {
    let running = Running::start(&fresh_folder("link"));
    let output = running.order(&["link"]);
    let printed = String::from_utf8(output.stdout).expect("text");
    assert_eq!(printed.lines().next(), Some(running.text("join").as_str()));
}

#[test]
fn stopping_closes_politely_and_leaves_nothing_that_an_order_would_find() {
    let mut running = Running::start(&fresh_folder("stop"));
    assert!(running.order(&["stop"]).status.success());
    let (code, rest) = running.wait();
    assert_eq!(code, Some(0));
    assert!(
        rest.lines().last().is_some_and(|line| line.contains("closed")),
        "{rest}"
    );
    assert_eq!(running.order(&["status"]).status.code(), Some(1));
}

#[cfg(unix)]
#[test]
fn a_signal_closes_politely_too() {
    let mut running = Running::start(&fresh_folder("signal"));
    let (code, rest) = running.terminate();
    assert_eq!(code, Some(0));
    assert!(
        rest.lines().last().is_some_and(|line| line.contains("closed")),
        "{rest}"
    );
    assert!(!running.folder.join("control.json").exists());
}

#[cfg(unix)]
#[test]
fn the_file_that_lets_orders_in_belongs_to_this_user_alone() {
    use std::os::unix::fs::PermissionsExt;
    let running = Running::start(&fresh_folder("mode"));
    // The status is asked for first, so that the file is there.
    running.status();
    for name in ["control.json", "identity.key", "session.sqlite"] {
        let mode = std::fs::metadata(running.folder.join(name))
            .expect(name)
            .permissions()
            .mode();
        assert_eq!(mode & 0o777, 0o600, "{name}");
    }
}
