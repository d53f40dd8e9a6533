//! Deputies: who may look at the board over a link, who may change the agreement, and that nobody else may.

use consort_peer::{DialError, Hear, HearError, Protocol, Say};
use consort_proto::deputy::{Change, FromDeputy, Outcome, Picture, ToDeputy};
use consort_proto::message::Refusal;
use consort_proto::{JoinLink, Note, ReferencePitch};

use crate::running::{Running, Station, fresh_folder, hear};

pub(crate) type End = (Say<FromDeputy>, Hear<ToDeputy>);

/// A laptop that has a seat, and looks.
pub(crate) async fn look(station: &Station, link: &JoinLink) -> Result<End, DialError> {
    let dialled = station
        .dialer
        .dial_as(Protocol::Deputy, link.addresses[0], link.coordinator)
        .await?;
    let (mut say, hear): End = dialled.split();
    say.say(&FromDeputy::Watch).await.expect("say");
    Ok((say, hear))
}

/// The next picture that `wanted` accepts, and the names of all harps that came before it.
pub(crate) async fn picture(hear: &mut Hear<ToDeputy>, wanted: impl Fn(&Picture) -> bool) -> (Picture, Vec<String>) {
    let mut names = Vec::new();
    loop {
        match hear.hear().await.expect("hear").expect("a message") {
            ToDeputy::Harp(harp) => names.push(harp.name.to_string()),
            ToDeputy::Picture(picture) if wanted(&picture) => return (picture, names),
            _ => {}
        }
    }
}

async fn order(end: &mut End, number: u32, change: Change) -> Outcome {
    let (say, hear) = end;
    say.say(&FromDeputy::Order { number, change }).await.expect("say");
    loop {
        match hear.hear().await.expect("hear").expect("a message") {
            ToDeputy::Done { number: of, outcome } if of == number => return outcome,
            _ => {}
        }
    }
}

/// Takes a seat, so that its key is known.
async fn seated(running: &Running) -> Station {
    let (station, link) = (Station::new(), running.join_link());
    let (_say, mut ear) = station.call(&link, Some(link.token)).await;
    hear(&mut ear, |message| {
        matches!(message, consort_proto::ToStation::Welcome { .. }).then_some(())
    })
    .await;
    station
}

#[tokio::test]
async fn a_laptop_that_was_let_in_looks_and_changes_what_it_was_granted() {
    let running = Running::start(&fresh_folder("deputy"));
    let (station, link) = (seated(&running).await, running.join_link());
    let mut end = look(&station, &link).await.expect("look");
    let (first, names) = picture(&mut end.1, |_| true).await;
    assert_eq!((first.agreement.tuning.a4.hz().get(), first.granted), (440.0, false));
    assert_eq!(names, ["Ilse"]);
    // Looking is all that it may do.
    let pitch = Change::Pitch(ReferencePitch::new(442.0).expect("in reach"));
    assert_eq!(order(&mut end, 1, pitch).await, Outcome::NotGranted);
    assert_eq!(running.status()["pitch_hz"], 440.0);
    let tag = station.key.tag();
    assert!(running.order(&["deputy", &tag, "on"]).status.success());
    assert_eq!(order(&mut end, 2, pitch).await, Outcome::Done);
    assert_eq!(order(&mut end, 3, pitch).await, Outcome::Unchanged);
    let (changed, again) = picture(&mut end.1, |picture| picture.granted).await;
    assert_eq!(changed.agreement.tuning.a4.hz().get(), 442.0);
    assert!(
        again.is_empty(),
        "nothing was heard of the harp, so that it looks as before and is not sent again"
    );
    assert_eq!(running.status()["pitch_hz"], 442.0);
    // With every picture in which a string is called comes who has plucked it since: so far nobody.
    let middle_c = Note::from_harp_name("4C").expect("a note");
    assert_eq!(order(&mut end, 4, Change::Call(Some(middle_c))).await, Outcome::Done);
    let answers = loop {
        if let ToDeputy::Answers(seats) = end.1.hear().await.expect("hear").expect("a message") {
            break seats;
        }
    };
    assert!(answers.is_empty(), "{answers:?}");
    // And what was granted is taken back between two orders.
    assert!(running.order(&["deputy", &tag, "off"]).status.success());
    assert_eq!(order(&mut end, 5, Change::Undo).await, Outcome::NotGranted);
    assert_eq!(running.status()["pitch_hz"], 442.0);
}

#[tokio::test]
async fn a_stranger_and_whoever_was_removed_see_nothing() {
    let running = Running::start(&fresh_folder("deputy-stranger"));
    let (known, link) = (seated(&running).await, running.join_link());
    let (_say, mut ear) = look(&Station::new(), &link).await.expect("look");
    assert_eq!(ear.hear().await, Ok(Some(ToDeputy::Refused(Refusal::NotInvited))));
    // Whoever looks is shown the door as soon as the leader removes it.
    let mut end = look(&known, &link).await.expect("look");
    picture(&mut end.1, |_| true).await;
    assert!(running.order(&["remove", &known.key.tag()]).status.success());
    let told = loop {
        match end.1.hear().await {
            Ok(Some(ToDeputy::Refused(why))) => break Ok(why),
            Ok(_) => {}
            Err(why) => break Err(why),
        }
    };
    assert_eq!(told, Ok(Refusal::Removed));
    let (_say, mut ear) = look(&known, &link).await.expect("look");
    assert_eq!(ear.hear().await, Ok(Some(ToDeputy::Refused(Refusal::NotInvited))));
}

#[tokio::test]
async fn a_station_that_speaks_as_a_deputy_is_not_understood() {
    let running = Running::start(&fresh_folder("deputy-mixed"));
    let (station, link) = (seated(&running).await, running.join_link());
    // The bytes of an order on a station's link, and of a hello on a deputy's.
    let dialled = station
        .dialer
        .dial(link.addresses[0], link.coordinator)
        .await
        .expect("dial");
    let (mut say, mut ear): (Say<FromDeputy>, Hear<consort_proto::ToStation>) = dialled.split();
    let change = Change::NewRound;
    say.say(&FromDeputy::Order { number: 1, change }).await.expect("say");
    let end = loop {
        match ear.hear().await {
            Ok(Some(message)) => panic!("{message:?}"),
            Ok(None) => {}
            Err(end) => break end,
        }
    };
    assert_eq!(end, HearError::Closed(consort_peer::link::CLOSE_UNREADABLE));
    assert_eq!(running.status()["round"], 1);
}
