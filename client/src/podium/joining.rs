//! How a director's laptop comes to be known: by the code, once.

use std::net::SocketAddr;
use std::time::Duration;

use consort_link::Event;
use consort_pairing::{EXPORTER_LABEL, Ends, Seed, Station};
use consort_peer::{Dialer, Identity};
use consort_proto::message::Refusal;
use consort_proto::{Fingerprint, JoinCode, Name, ToCoordinator, ToStation};
use consort_store::{Folder, FolderError};
use consort_words::Words;
use tokio::sync::mpsc;
use tokio::time::timeout;

use crate::browse;
use crate::config::Discovery;

/// A coordinator that knows this laptop.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) struct Known {
    pub(crate) coordinator: Fingerprint,
    pub(crate) address: SocketAddr,
}

/// What was typed.
pub(crate) struct Wishes {
    pub(crate) name: Name,
    pub(crate) code: Option<JoinCode>,
    pub(crate) coordinator: Option<SocketAddr>,
    pub(crate) discovery: Option<Discovery>,
}

/// Why this laptop is not known.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub(crate) enum NotJoined {
    /// It was never let in anywhere.
    #[error("no coordinator knows this laptop yet: give the code that the leader shows, as in --code 48291372")]
    NoCode,
    /// Nobody was found.
    #[error("no coordinator is found on this network: give its address with --coordinator")]
    Nobody,
    /// The coordinator said no.
    #[error("{0}")]
    Refused(String),
    /// Nothing came of it.
    #[error("the coordinator at {0} did not answer in time: is it running, and are both on one network?")]
    NoAnswer(SocketAddr),
    /// It cannot be kept.
    #[error(transparent)]
    Folder(#[from] FolderError),
}

/// The file of coordinators that know this laptop: the key's fingerprint and the address, one a line, the newest first.
const FILE: &str = "coordinators";
/// How long discovery may take.
const SIGHTED_WITHIN: Duration = Duration::from_secs(3);
/// How long the exchange may take.
const PAIRED_WITHIN: Duration = Duration::from_secs(10);
/// Coordinators with which a code is tried: a code is worth a guess to each.
const TRIED_MAX: usize = 3;

/// The coordinator to follow: the one that the code is from, or the one that was joined last.
pub(crate) async fn join(
    folder: &Folder,
    identity: &Identity,
    dialer: &Dialer,
    wishes: Wishes,
) -> Result<Known, NotJoined> {
    let kept = read(folder)?;
    let sighted = match (wishes.coordinator, wishes.discovery) {
        (Some(address), _) => vec![(None, address)],
        (None, Some(discovery)) => sighted(discovery, &kept).await,
        (None, None) => Vec::new(),
    };
    let Some(code) = wishes.code else {
        let newest = kept.first().copied().ok_or(NotJoined::NoCode)?;
        // Where it was seen just now, or was typed, before where it was last.
        let tag = newest.coordinator.tag();
        let here = sighted
            .iter()
            .find(|(seen, _)| seen.as_ref().is_none_or(|seen| *seen == tag));
        return Ok(here.map_or(newest, |&(_, address)| Known { address, ..newest }));
    };
    let mut last = NotJoined::Nobody;
    for (_, address) in sighted.into_iter().take(TRIED_MAX) {
        let paired = timeout(PAIRED_WITHIN, pair(identity, dialer, address, code, &wishes.name)).await;
        match paired.unwrap_or(Err(NotJoined::NoAnswer(address))) {
            Ok(coordinator) => {
                let known = Known { coordinator, address };
                write(folder, known, kept)?;
                return Ok(known);
            }
            Err(why) => last = why,
        }
    }
    Err(last)
}

/// Proves to know `code` to whoever is at `address`, and has it proven in turn.
async fn pair(
    identity: &Identity,
    dialer: &Dialer,
    address: SocketAddr,
    code: JoinCode,
    name: &Name,
) -> Result<Fingerprint, NotJoined> {
    let no_answer = || NotJoined::NoAnswer(address);
    let refused = |why: Refusal| NotJoined::Refused(Words::english().refusal(why));
    let link = dialer.dial(address, None).await.map_err(|_| no_answer())?;
    let coordinator = link.peer();
    let ends = Ends {
        station: identity.fingerprint(),
        coordinator,
        binding: link.binding(EXPORTER_LABEL),
    };
    let seed = ring::rand::generate(&ring::rand::SystemRandom::new()).map_err(|_| no_answer())?;
    let (mut say, mut hear) = link.split();
    let (station, share): (Station, _) = Station::start(code, ends, Seed(seed.expose()));
    say.say(&ToCoordinator::PairStart(share))
        .await
        .map_err(|_| no_answer())?;
    let (session, share) = match hear.hear().await {
        Ok(Some(ToStation::PairReply { session, share })) => (session, share),
        Ok(Some(ToStation::Refused(why))) => return Err(refused(why)),
        _ => return Err(no_answer()),
    };
    let wrong = |_| refused(Refusal::WrongCode);
    let (confirming, proof) = station.confirm(session, share, name).map_err(wrong)?;
    let name = name.clone();
    let confirm = ToCoordinator::PairConfirm { name, proof };
    say.say(&confirm).await.map_err(|_| no_answer())?;
    match hear.hear().await {
        Ok(Some(ToStation::PairAccept { ensemble, proof })) => confirming.check(&ensemble, proof).map_err(wrong)?,
        Ok(Some(ToStation::Refused(why))) => return Err(refused(why)),
        _ => return Err(no_answer()),
    }
    say.close(consort_peer::link::CLOSE_GOODBYE).await;
    Ok(coordinator)
}

/// Who is heard of within a moment; ends at once when a known one is.
async fn sighted(discovery: Discovery, kept: &[Known]) -> Vec<(Option<String>, SocketAddr)> {
    let (events, mut heard) = mpsc::channel(16);
    let mut found = Vec::new();
    let listening = async {
        while let Some(event) = heard.recv().await {
            if let Event::Sighted { who, addresses } = event
                && let Some(&address) = addresses.first()
                && !found.iter().any(|(_, other)| *other == address)
            {
                let is_known = kept.first().is_some_and(|known| known.coordinator.tag() == who.tag);
                found.push((Some(who.tag), address));
                if is_known {
                    return;
                }
            }
        }
    };
    tokio::select! {
        _ = browse::look(discovery, events) => {}
        _ = timeout(SIGHTED_WITHIN, listening) => {}
    }
    found
}

fn read(folder: &Folder) -> Result<Vec<Known>, FolderError> {
    let bytes = folder.read(FILE)?.unwrap_or_default();
    let text = String::from_utf8_lossy(&bytes);
    // A line that a person has taken away, or damaged, is one coordinator less.
    let known = text.lines().filter_map(|line| {
        let (coordinator, address) = line.split_once(' ')?;
        Some(Known {
            coordinator: coordinator.parse().ok()?,
            address: address.trim().parse().ok()?,
        })
    });
    Ok(known.collect())
}

fn write(folder: &Folder, newest: Known, kept: Vec<Known>) -> Result<(), FolderError> {
    let older = kept.into_iter().filter(|known| known.coordinator != newest.coordinator);
    let lines = std::iter::once(newest).chain(older);
    let lines: String = lines
        .map(|known| format!("{} {}\n", known.coordinator, known.address))
        .collect();
    folder.write(FILE, lines.as_bytes())
}
