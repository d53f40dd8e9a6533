//! A coordinator that was killed goes on where it was: same session, same link, nothing acknowledged is lost.

use consort_proto::message::Content;
use consort_proto::{Cents, Hz, Reading, Report, Sequence, StringNumber, ToCoordinator, ToStation};
use std::time::Duration;

use crate::running::{Running, Station, fresh_folder, hear};

#[test]
fn after_a_kill_the_session_goes_on_one_epoch_later() {
    let folder = fresh_folder("kill");
    let mut first = Running::start(&folder);
    assert!(first.order(&["pitch", "442"]).status.success());
    assert!(first.order(&["temperament", "vallotti"]).status.success());
    assert!(first.order(&["pitch", "441", "--next-round"]).status.success());
    let before = first.status();
    assert_eq!(before["next_pitch_hz"], 441.0);
    let (link, board) = (first.join_link(), first.page("board").1);
    first.kill();

    let second = Running::start(&folder);
    let after = second.status();
    assert_eq!(after["epoch"], 2);
    for same in [
        "session",
        "revision",
        "round",
        "pitch_hz",
        "next_pitch_hz",
        "temperament",
        "setting",
        "ensemble",
    ] {
        assert_eq!(after[same], before[same], "{same}");
    }
    // The port was the system's choice, so it alone may differ.
    assert_eq!(
        (second.join_link().coordinator, second.join_link().token),
        (link.coordinator, link.token)
    );
    assert_eq!(second.page("board").1, board);
}

#[test]
fn an_order_that_was_confirmed_outlasts_a_kill_in_the_next_moment() {
    let folder = fresh_folder("confirmed");
    for (round, hz) in ["441", "442", "443", "440", "439"].iter().enumerate() {
        let mut running = Running::start(&folder);
        assert!(running.order(&["pitch", hz]).status.success());
        running.kill();
        let status = Running::start(&folder).status();
        assert_eq!(status["pitch_hz"].to_string(), format!("{hz}.0"));
        assert_eq!(status["epoch"], 2 * (round + 1));
    }
}

#[tokio::test]
async fn what_was_acknowledged_is_there_after_a_kill() {
    let folder = fresh_folder("acked");
    let mut first = Running::start(&folder);
    let link = first.join_link();
    let station = Station::new();
    let (mut say, mut ear) = station.call(&link, Some(link.token)).await;
    let (session, tenure) = hear(&mut ear, |message| match message {
        ToStation::Welcome {
            session,
            epoch: 1,
            acked,
            tenure,
        } => {
            assert_eq!(acked, Sequence(0));
            Some((session, tenure))
        }
        _ => None,
    })
    .await;
    let round = hear(&mut ear, |message| match message {
        ToStation::Agreement(document) => Some(document.agreement.round),
        _ => None,
    })
    .await;
    let reading = Reading::new(
        StringNumber::new(10).expect("string"),
        Hz::new(1_046.5).expect("hz"),
        Cents(0.2),
    )
    .expect("reading");
    let report = |sequence| Report {
        sequence: Sequence(sequence),
        session,
        round,
        tenure,
        age: Duration::ZERO,
        content: Content::Reading(reading),
    };
    say.say(&ToCoordinator::Reports(vec![report(5), report(6)]))
        .await
        .expect("say");
    hear(&mut ear, |message| {
        (message == ToStation::Acked(Sequence(6))).then_some(())
    })
    .await;
    let before = first.status()["stations"][0]["strings"].clone();
    assert_ne!(before[9]["standing"], "not-heard");
    first.kill();

    let second = Running::start(&folder);
    let seat = second.status()["stations"][0].clone();
    assert_eq!(seat["strings"], before);
    assert_eq!((&seat["name"], &seat["presence"]), (&"Ilse".into(), &"away".into()));
    // A known key needs no token, and is told up to where its journal is safe.
    let link = second.join_link();
    let (_say, mut ear) = station.call(&link, None).await;
    let acked = hear(&mut ear, |message| match message {
        ToStation::Welcome {
            session: same,
            epoch: 2,
            acked,
            tenure: held,
        } if same == session && held == tenure => Some(acked),
        _ => None,
    })
    .await;
    assert_eq!(acked, Sequence(6));
}
