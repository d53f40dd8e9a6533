//! Codes on real links: whoever shares the link and the code is paired, whoever stands in between is not.

use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;

use consort_pairing::{Coordinator, EXPORTER_LABEL, Ends, NotPaired, Seed, Station};
use consort_peer::{Dialer, Hear, Identity, Link, Listener, Say};
use consort_proto::{JoinCode, Name, SessionId, ToCoordinator, ToStation};

/// Right codes, wrong ones and relayed ones that are tried without being asked for more.
const RIGHT: u64 = 50;
const WRONG: u64 = 50;
const RELAYED: u64 = 100;

/// How many are tried: as many as `variable` asks for.
///
/// `CONSORT_RIGHT=300 CONSORT_WRONG=1000 CONSORT_RELAYED=1000 cargo test --release -p consort-peer --test pairing` holds
/// all of them to their outcome.
fn asked_for(variable: &str, usual: u64) -> u64 {
    std::env::var(variable).map_or(usual, |text| text.parse().expect("a number"))
}

type AtStation = Link<ToCoordinator, ToStation>;
type AtCoordinator = Link<ToStation, ToCoordinator>;

fn identity() -> Arc<Identity> {
    Arc::new(Identity::generate().expect("identity"))
}

fn name(text: &str) -> Name {
    text.parse().expect("a name")
}

fn seed(number: u64, side: u8) -> Seed {
    let mut bytes = [side; 32];
    bytes[..8].copy_from_slice(&number.to_le_bytes());
    Seed(bytes)
}

fn listen(identity: &Identity) -> (Listener, SocketAddr) {
    let listener = Listener::bind(identity, (Ipv4Addr::LOCALHOST, 0).into()).expect("listen");
    let address = listener.local_addr().expect("address");
    (listener, address)
}

async fn answer(listener: &Listener) -> AtCoordinator {
    listener.knock().await.expect("a caller").admit().await.expect("admit")
}

/// Plays the station with the `code` that was typed.
async fn pair_as_station(own: &Identity, link: AtStation, code: JoinCode, number: u64) -> Result<(), NotPaired> {
    let ends = Ends {
        station: own.fingerprint(),
        coordinator: link.peer(),
        binding: link.binding(EXPORTER_LABEL),
    };
    let (mut say, mut hear): (Say<ToCoordinator>, Hear<ToStation>) = link.split();
    let (station, share): (Station, _) = Station::start(code, ends, seed(number, 1));
    say.say(&ToCoordinator::PairStart(share)).await.map_err(|_| NotPaired)?;
    let Ok(Some(ToStation::PairReply { session, share })) = hear.hear().await else {
        return Err(NotPaired);
    };
    let name = name("Runa");
    let (confirming, proof) = station.confirm(session, share, &name)?;
    let confirm = ToCoordinator::PairConfirm { name, proof };
    say.say(&confirm).await.map_err(|_| NotPaired)?;
    match hear.hear().await {
        Ok(Some(ToStation::PairAccept { ensemble, proof })) => confirming.check(&ensemble, proof),
        _ => Err(NotPaired),
    }
}

/// Plays the coordinator with the `code` on its screen.
async fn pair_as_coordinator(
    own: &Identity,
    link: AtCoordinator,
    code: JoinCode,
    number: u64,
) -> Result<(), NotPaired> {
    let ends = Ends {
        station: link.peer(),
        coordinator: own.fingerprint(),
        binding: link.binding(EXPORTER_LABEL),
    };
    let (mut say, mut hear) = link.split();
    let Ok(Some(ToCoordinator::PairStart(share))) = hear.hear().await else {
        return Err(NotPaired);
    };
    let session = SessionId([4; 16]);
    let (coordinator, share) = Coordinator::answer(code, ends, session, share, seed(number, 2))?;
    let reply = ToStation::PairReply { session, share };
    say.say(&reply).await.map_err(|_| NotPaired)?;
    let Ok(Some(ToCoordinator::PairConfirm { name: theirs, proof })) = hear.hear().await else {
        return Err(NotPaired);
    };
    let accepting = coordinator.check(&theirs, proof)?;
    let ensemble = name("Trio Wend");
    let proof = accepting.accept(&ensemble);
    let accept = ToStation::PairAccept { ensemble, proof };
    say.say(&accept).await.map_err(|_| NotPaired)?;
    // Held until the station has read it.
    let _ = hear.hear().await;
    Ok(())
}

/// Passes on what either side says, word for word, until one of them ends it.
async fn pass_on(from_station: AtCoordinator, to_coordinator: AtStation) {
    let ((mut say_down, mut hear_up), (mut say_up, mut hear_down)) = (from_station.split(), to_coordinator.split());
    let up = async {
        while let Ok(Some(message)) = hear_up.hear().await {
            if say_up.say(&message).await.is_err() {
                break;
            }
        }
    };
    let down = async {
        while let Ok(Some(message)) = hear_down.hear().await {
            if say_down.say(&message).await.is_err() {
                break;
            }
        }
    };
    tokio::select! {
        () = up => {}
        () = down => {}
    }
}

#[tokio::test]
async fn right_codes_pair_two_strangers_and_wrong_ones_never_do() {
    let (station, coordinator) = (identity(), identity());
    let (listener, address) = listen(&coordinator);
    let dialer = Dialer::new(station.clone()).expect("dialer");
    let (right, wrong) = (asked_for("CONSORT_RIGHT", RIGHT), asked_for("CONSORT_WRONG", WRONG));
    for number in 0..right + wrong {
        let shown = JoinCode::drawn(number * 7_919);
        let (typed, paired) = if number < right {
            (shown, Ok(()))
        } else {
            (JoinCode::drawn(number * 7_919 + 1), Err(NotPaired))
        };
        let at_station = async {
            let link: AtStation = dialer.dial(address, None).await.expect("dial");
            pair_as_station(&station, link, typed, number).await
        };
        let at_coordinator = async {
            let link = answer(&listener).await;
            pair_as_coordinator(&coordinator, link, shown, number).await
        };
        assert_eq!(tokio::join!(at_station, at_coordinator), (paired, paired), "{number}");
    }
}

#[tokio::test]
async fn whoever_passes_the_exchange_on_between_two_links_gets_neither_side_to_believe() {
    let (station, relay, coordinator) = (identity(), identity(), identity());
    let (listener, address) = listen(&coordinator);
    let (trap, trap_address) = listen(&relay);
    let (dialer, onward) = (
        Dialer::new(station.clone()).expect("dialer"),
        Dialer::new(relay.clone()).expect("dialer"),
    );
    for number in 0..asked_for("CONSORT_RELAYED", RELAYED) {
        let code = JoinCode::drawn(number * 99_991);
        let at_station = async {
            let link: AtStation = dialer.dial(trap_address, None).await.expect("dial");
            pair_as_station(&station, link, code, number).await
        };
        let at_relay = async {
            let (from_station, to_coordinator) = tokio::join!(answer(&trap), onward.dial(address, None));
            pass_on(from_station, to_coordinator.expect("dial")).await;
        };
        let at_coordinator = async {
            let link = answer(&listener).await;
            pair_as_coordinator(&coordinator, link, code, number).await
        };
        let (at_station, (), at_coordinator) = tokio::join!(at_station, at_relay, at_coordinator);
        assert_eq!(
            (at_station, at_coordinator),
            (Err(NotPaired), Err(NotPaired)),
            "{number}"
        );
    }
}
