//! An A that is measured through this laptop: the station's program beside this one listens, and what it says is proposed.

use std::path::Path;

use crate::running::{Fresh, Running, fresh_folder};

/// A folder with the coordinator and, in the station's place, a program that says `lines`.
#[cfg(unix)]
fn beside(test: &str, script: Option<&str>) -> Fresh {
    use std::os::unix::fs::PermissionsExt;
    let folder = fresh_folder(test);
    std::fs::create_dir_all(&*folder).expect("a folder");
    let program = folder.join("consort-coordinator");
    let own = Path::new(env!("CARGO_BIN_EXE_consort-coordinator"));
    // Another name for the same file, where the folder is on the same disk.
    std::fs::hard_link(own, &program)
        .or_else(|_| std::fs::copy(own, &program).map(drop))
        .expect("the program");
    if let Some(script) = script {
        let station = folder.join("consort-station");
        std::fs::write(&station, format!("#!/bin/sh\n{script}\n")).expect("a script");
        std::fs::set_permissions(&station, std::fs::Permissions::from_mode(0o755)).expect("it may run");
    }
    folder
}

#[cfg(unix)]
const HELD: &str = r#"{"note":"A4","state":"held","hz":441.31,"a4_hz":441.31,"sigma_cents":0.4,"wavers_cents":1.2}"#;

#[cfg(unix)]
#[test]
fn what_this_laptop_measures_is_proposed_and_agreed_only_when_the_leader_says_so() {
    let script = format!("[ \"$1 $2 $3\" = 'reference --json --seconds' ] || exit 1\necho '{HELD}'");
    let folder = beside("measure", Some(&script));
    let running = Running::start_program(&folder.join("consort-coordinator"), &folder.inside("data"), &[]);
    let output = running.order(&["measure"]);
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success() && said.starts_with("A = 441.3"), "{output:?}");
    let status = running.status();
    assert_eq!(
        (&status["proposed_hz"], &status["pitch_hz"]),
        (&441.31.into(), &440.0.into())
    );
    assert!(running.order(&["proposal", "now"]).status.success());
    let status = running.status();
    assert_eq!(
        (&status["proposed_hz"], &status["pitch_hz"]),
        (&serde_json::Value::Null, &441.5.into())
    );
}

#[cfg(unix)]
#[test]
fn what_keeps_it_from_measuring_is_said_in_a_sentence() {
    let complains = "echo 'station: no input is there: plug a microphone in' >&2; exit 1";
    let nothing =
        r#"echo '{"note":"A4","state":"nothing","hz":null,"a4_hz":null,"sigma_cents":null,"wavers_cents":null}'"#;
    for (test, script, says) in [
        ("measure-none", None, "is not there: put it beside consort-coordinator"),
        (
            "measure-input",
            Some(complains),
            "no input is there: plug a microphone in",
        ),
        ("measure-nothing", Some(nothing), "no held tone was heard"),
    ] {
        let folder = beside(test, script);
        let running = Running::start_program(&folder.join("consort-coordinator"), &folder.inside("data"), &[]);
        let output = running.order(&["measure"]);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(
            !output.status.success() && said.contains(says) && !said.contains("station: "),
            "{test}: {output:?}"
        );
        assert_eq!(running.status()["proposed_hz"], serde_json::Value::Null);
    }
}
