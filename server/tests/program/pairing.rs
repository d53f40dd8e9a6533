//! Joining by code at the real program: the right one once, a wrong one never, and a stranger changes nothing.

use consort_pairing::{Confirming, EXPORTER_LABEL, Ends, Seed, Station as Prover};
use consort_peer::{Hear, HearError, Say};
use consort_proto::message::Refusal;
use consort_proto::{Hello, JoinCode, JoinLink, Name, Proof, SessionId, Share, ToCoordinator, ToStation, harp_file};

use crate::running::{Running, Station, fresh_folder, hear};

fn name() -> Name {
    "Ilse".parse().expect("a name")
}

fn code(running: &Running) -> JoinCode {
    running.text("code").parse().expect("a code")
}

/// A try that was answered.
struct Answered {
    say: Say<ToCoordinator>,
    hear: Hear<ToStation>,
    confirming: Confirming,
    proof: Proof,
}

impl Answered {
    /// Begins to prove `code`; else why that may not be.
    async fn begin(station: &Station, link: &JoinLink, code: JoinCode) -> Result<Self, Refusal> {
        // Whoever joins by code does not know the key beforehand.
        let end = station.dialer.dial(link.addresses[0], None).await.expect("dial");
        let ends = Ends {
            station: station.key,
            coordinator: end.peer(),
            binding: end.binding(EXPORTER_LABEL),
        };
        let (mut say, mut hear): (Say<ToCoordinator>, Hear<ToStation>) = end.split();
        let (prover, share): (Prover, Share) = Prover::start(code, ends, Seed([station.process as u8; 32]));
        say.say(&ToCoordinator::PairStart(share)).await.expect("say");
        let (session, share): (SessionId, Share) = match hear.hear().await.expect("hear").expect("an answer") {
            ToStation::PairReply { session, share } => (session, share),
            ToStation::Refused(why) => return Err(why),
            other => panic!("{other:?}"),
        };
        let (confirming, proof) = prover.confirm(session, share, &name()).expect("a share");
        Ok(Self {
            say,
            hear,
            confirming,
            proof,
        })
    }

    /// Proves it, and says whether the coordinator knew it, too.
    async fn finish(mut self) -> Result<(Say<ToCoordinator>, Hear<ToStation>), Refusal> {
        let confirm = ToCoordinator::PairConfirm {
            name: name(),
            proof: self.proof,
        };
        self.say.say(&confirm).await.expect("say");
        match self.hear.hear().await.expect("hear").expect("an answer") {
            ToStation::PairAccept { ensemble, proof } => {
                self.confirming
                    .check(&ensemble, proof)
                    .expect("it knows the code as well");
                Ok((self.say, self.hear))
            }
            ToStation::Refused(why) => Err(why),
            other => panic!("{other:?}"),
        }
    }
}

async fn pair(
    station: &Station,
    link: &JoinLink,
    code: JoinCode,
) -> Result<(Say<ToCoordinator>, Hear<ToStation>), Refusal> {
    Answered::begin(station, link, code).await?.finish().await
}

fn hello() -> ToCoordinator {
    ToCoordinator::Hello(Hello {
        name: name(),
        harp: harp_file::preset("lever-34").expect("a preset"),
        token: None,
        process: 1,
        newest: 0,
    })
}

async fn welcomed(ear: &mut Hear<ToStation>) {
    hear(ear, |message| {
        matches!(message, ToStation::Welcome { .. }).then_some(())
    })
    .await;
}

#[tokio::test]
async fn the_code_on_the_screen_joins_and_the_next_time_none_is_needed() {
    let folder = fresh_folder("code");
    let mut running = Running::start(&folder);
    let link = running.join_link();
    let (station, silent) = (Station::new(), Station::new());
    let (mut say, mut ear) = pair(&station, &link, code(&running)).await.expect("paired");
    say.say(&hello()).await.expect("say");
    welcomed(&mut ear).await;
    // Another one proves the code, and the power goes before it has introduced itself.
    let _end = pair(&silent, &link, code(&running)).await.expect("paired");
    let before = code(&running);
    running.kill();
    let running = Running::start(&folder);
    assert_ne!(code(&running), before, "each opening has a code of its own");
    let link = running.join_link();
    for known in [station, silent] {
        let (_say, mut ear) = known.call(&link, None).await;
        welcomed(&mut ear).await;
    }
    assert_eq!(running.status()["stations"].as_array().map(Vec::len), Some(2));
}

#[tokio::test]
async fn a_wrong_code_is_refused_and_shown_to_the_leader_alone() {
    let running = Running::start(&fresh_folder("wrong-code"));
    let link = running.join_link();
    let before = running.status();
    let wrong = JoinCode::drawn(u64::from(code(&running) == JoinCode::drawn(0)));
    for _ in 0..3 {
        let refused = pair(&Station::new(), &link, wrong).await.err();
        assert_eq!(refused, Some(Refusal::WrongCode));
    }
    // Three a minute from one address, and the fourth is not even looked at.
    let refused = Answered::begin(&Station::new(), &link, code(&running)).await.err();
    assert!(matches!(refused, Some(Refusal::Resting { .. })), "{refused:?}");
    assert_eq!(
        running.status(),
        before,
        "the code is still shown, and nobody has joined"
    );
    // The link is as good as before.
    let (_say, mut ear) = Station::new().call(&link, Some(link.token)).await;
    welcomed(&mut ear).await;
}

#[tokio::test]
async fn a_fresh_code_ends_the_old_one_and_closing_ends_both() {
    let running = Running::start(&fresh_folder("fresh-code"));
    let link = running.join_link();
    let old = code(&running);
    let begun = Answered::begin(&Station::new(), &link, old).await.expect("answered");
    let output = running.order(&["code"]);
    let fresh: JoinCode = String::from_utf8(output.stdout).expect("text").parse().expect("a code");
    assert_ne!(fresh, old);
    assert_eq!(begun.finish().await.err(), Some(Refusal::WrongCode));
    assert!(pair(&Station::new(), &link, fresh).await.is_ok());
    let printed = running.order(&["link"]);
    let printed = String::from_utf8(printed.stdout).expect("text");
    assert_eq!(printed, format!("{}\ncode {fresh}\n", running.text("join")));
    for (word, says) in [
        ("off", "Joining is closed"),
        ("on", "Joining is open"),
        ("off", "Joining is closed"),
    ] {
        let output = running.order(&["joining", word]);
        let line = String::from_utf8(output.stdout).expect("text");
        assert!(line.contains(says), "{line}");
    }
    let refused = Answered::begin(&Station::new(), &link, fresh).await.err();
    assert_eq!(refused, Some(Refusal::JoiningClosed));
    assert_eq!(running.status()["code"], serde_json::json!(null));
}

#[tokio::test]
async fn whatever_a_stranger_says_instead_of_its_proof_changes_nothing() {
    let running = Running::start(&fresh_folder("stranger-words"));
    let link = running.join_link();
    let before = running.status();
    let point = code(&running).ascii();
    let mut share = [0x41; 33];
    share[1..9].copy_from_slice(&point);
    for said in [
        hello(),
        ToCoordinator::Reports(Vec::new()),
        ToCoordinator::PairStart(Share(share)),
        ToCoordinator::PairStart(Share([0; 33])),
        ToCoordinator::PairConfirm {
            name: name(),
            proof: Proof([0; 32]),
        },
        ToCoordinator::Beat,
        ToCoordinator::Leave,
    ] {
        let station = Station::new();
        let end = station
            .dialer
            .dial::<ToCoordinator, ToStation>(link.addresses[0], link.coordinator)
            .await
            .expect("dial");
        let (mut say, mut ear) = end.split();
        for message in [said.clone(), said.clone(), hello()] {
            // The link may have ended by then.
            let _ = say.say(&message).await;
        }
        loop {
            match ear.hear().await {
                Ok(Some(ToStation::Refused(_) | ToStation::PairReply { .. })) => {}
                Ok(Some(told)) => panic!("{said:?}: a stranger was told {told:?}"),
                Ok(None) => tokio::task::yield_now().await,
                Err(HearError::Closed(_) | HearError::Gone(_)) => break,
                Err(other) => panic!("{said:?}: {other:?}"),
            }
        }
    }
    assert_eq!(running.status(), before);
}
