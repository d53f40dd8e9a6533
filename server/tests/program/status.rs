//! What `status` tells the leader: every laptop in a line of its own, with the tag that her orders take.

use consort_proto::ToCoordinator;
use consort_proto::message::Refusal;

use crate::deputies::{look, picture};
use crate::running::{End, Running, Station, fresh_folder, hear};

/// The lines of `status`.
fn told(running: &Running) -> Vec<String> {
    let output = running.order(&["status"]);
    assert!(output.status.success(), "{output:?}");
    let text = String::from_utf8(output.stdout).expect("text");
    text.lines().map(str::to_owned).collect()
}

/// The same from the second line on, without what would remain of all harps together.
fn laptops(running: &Running) -> Vec<String> {
    let lines = told(running).into_iter().skip(1);
    lines.filter(|line| !line.starts_with("If it began now: ")).collect()
}

/// A harp whose laptop has a seat and stays on the link.
async fn seated(running: &Running) -> (Station, End) {
    let (station, link) = (Station::new(), running.join_link());
    let mut end = station.call(&link, Some(link.token)).await;
    hear(&mut end.1, |message| {
        matches!(message, consort_proto::ToStation::Welcome { .. }).then_some(())
    })
    .await;
    (station, end)
}

#[tokio::test]
async fn every_laptop_stands_in_a_line_with_its_tag() {
    let running = Running::start(&fresh_folder("lines"));
    assert_eq!(told(&running).len(), 1, "nobody is there yet");
    let (ilse, _end) = seated(&running).await;
    let tag = ilse.key.tag();
    let harp = |says: &str| format!("1  Ilse, with the tag {tag}: {says}");
    assert_eq!(laptops(&running), [harp("here · nothing set yet")]);
    assert_eq!(told(&running)[1], "If it began now: 34 not heard yet.");
    let remains = &running.status()["remains"];
    assert_eq!((&remains[0]["in_s"], &remains[0]["harps"]), (&0.into(), &1.into()));
    assert_eq!(
        remains[1],
        serde_json::Value::Null,
        "nothing can be foretold of her yet"
    );
    assert!(running.order(&["deputy", &tag, "on"]).status.success());
    assert_eq!(
        laptops(&running),
        [harp("here · nothing set yet · may change the agreement")]
    );
    assert!(running.order(&["deputy", &tag, "off"]).status.success());
    // Somebody asks to be let in, and Ilse's laptop looks at the board over a link of its own.
    let (stranger, link) = (Station::new(), running.join_link());
    let dialled = stranger
        .dialer
        .dial(link.addresses[0], link.coordinator)
        .await
        .expect("dial");
    let (mut say, mut ear): End = dialled.split();
    say.say(&ToCoordinator::Knock("Runa".parse().expect("name")))
        .await
        .expect("say");
    hear(&mut ear, |message| {
        matches!(message, consort_proto::ToStation::Refused(Refusal::Asked)).then_some(())
    })
    .await;
    let mut looks = look(&ilse, &link).await.expect("look");
    picture(&mut looks.1, |_| true).await;
    let knocks = stranger.key.tag();
    assert_eq!(
        laptops(&running),
        [
            harp("here · nothing set yet"),
            format!("Runa asks to be let in without a code. Compare the tag with the laptop's: {knocks}."),
            format!("A laptop with the tag {tag} looks at the board."),
        ]
    );
    // The tags are those that the orders take.
    assert!(running.order(&["admit", &knocks]).status.success());
    assert!(running.order(&["remove", &tag.to_uppercase()]).status.success());
    let after = told(&running);
    assert!(after[0].ends_with("Nobody is in the session now"), "{}", after[0]);
    assert_eq!(after[1], harp("turned away"));
}

#[tokio::test]
async fn a_tag_that_nobody_has_is_said_with_where_the_tags_are() {
    let running = Running::start(&fresh_folder("mistyped"));
    let (_ilse, _end) = seated(&running).await;
    for words in [
        &["admit", "abcdefgh"][..],
        &["remove", "abcdefgh"],
        &["let-back", "abcdefgh"],
        &["deputy", "abcdefgh", "on"],
    ] {
        let output = running.order(words);
        assert_eq!(output.status.code(), Some(1), "{words:?}");
        assert_eq!(
            String::from_utf8(output.stderr).expect("text").trim_end(),
            "coordinator: nobody here has the tag “abcdefgh”: `consort-coordinator status` lists them",
            "{words:?}"
        );
    }
}
