//! A logbook of a real session: over orders, stations, a kill and another start it plays again as it was.

use consort_proto::ToStation;

use crate::running::{Running, Station, fresh_folder, hear, run};

#[tokio::test]
async fn a_session_plays_again_from_its_logbook() {
    let folder = fresh_folder("logbook");
    let file = folder.with_file_name("session.logbook");
    let path = file.to_str().expect("a path");
    let mut first = Running::start_with(&folder, &["--logbook", path, "--name", "Quartet of the test"]);
    let link = first.join_link();
    let station = Station::new();
    let (_say, mut ear) = station.call(&link, Some(link.token)).await;
    hear(&mut ear, |message| {
        matches!(message, ToStation::Agreement(_)).then_some(())
    })
    .await;
    assert!(first.order(&["pitch", "442"]).status.success());
    assert!(first.order(&["temperament", "vallotti"]).status.success());
    hear(&mut ear, |message| match message {
        ToStation::Agreement(document) if document.agreement.tuning.temperament.scheme().is_some() => Some(()),
        _ => None,
    })
    .await;
    first.kill();
    let mut second = Running::start_with(&folder, &["--logbook", path]);
    let link = second.join_link();
    let (_say, mut ear) = station.call(&link, None).await;
    hear(&mut ear, |message| {
        matches!(message, ToStation::Agreement(_)).then_some(())
    })
    .await;
    assert!(second.order(&["undo"]).status.success());
    assert_eq!(second.terminate().0, Some(0));

    let replayed = run(&["replay", path]);
    let said = String::from_utf8_lossy(&replayed.stdout).into_owned();
    assert!(
        replayed.status.success(),
        "{}",
        String::from_utf8_lossy(&replayed.stderr)
    );
    assert!(said.starts_with("2 starts, "), "{said}");
    let text = std::fs::read_to_string(&file).expect("the logbook");
    for name in ["Ilse", "Quartet of the test"] {
        assert!(!text.contains(name), "{name} is in the logbook");
    }
    assert!(text.contains(&station.key.to_string()), "keys are");

    // Whoever changes a pitch in it is found out.
    std::fs::write(&file, text.replace(r#"["pitch","442.0"]"#, r#"["pitch","441.0"]"#)).expect("written");
    let replayed = run(&["replay", path]);
    assert!(!replayed.status.success());
    let why = String::from_utf8_lossy(&replayed.stderr).into_owned();
    assert!(why.contains("differs") && why.lines().count() == 1, "{why}");
}

#[test]
fn a_logbook_that_is_none_is_refused_in_one_sentence() {
    let nowhere = run(&["replay", "nowhere.logbook"]);
    assert!(!nowhere.status.success());
    let why = String::from_utf8_lossy(&nowhere.stderr).into_owned();
    assert!(why.contains("nowhere.logbook") && why.lines().count() == 1, "{why}");
    let folder = fresh_folder("logbook-nowhere");
    let data = folder.to_str().expect("a path");
    let refused = run(&[
        "--no-discovery",
        "--no-browser",
        "--port",
        "0",
        "--board-port",
        "0",
        "--control-port",
        "0",
        "--data",
        data,
        "--logbook",
        data,
    ]);
    let why = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(why.contains("choose another file with --logbook"), "{why}");
}
