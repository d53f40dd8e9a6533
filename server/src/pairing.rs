//! Proving the joining code: what the session decides is computed here, with random numbers and each link's own key
//! material.

use std::collections::BTreeMap;

use consort_pairing::{Accepting, Coordinator, Ends, NotPaired, Seed};
use consort_proto::{Binding, Fingerprint, JoinCode, Name, Proof, SessionId, Share, ToStation};
use consort_session::LinkId;

use crate::store::{StoreError, random_bytes};

/// The tries that are under way.
#[derive(Debug)]
pub(crate) struct Exchanges {
    own: Fingerprint,
    session: SessionId,
    of_link: BTreeMap<LinkId, Exchange>,
}

/// How far one has come.
#[derive(Debug)]
enum Exchange {
    Answered(Coordinator),
    Right(Accepting),
}

/// A code that nobody can foresee.
pub(crate) fn draw_code() -> Result<JoinCode, StoreError> {
    Ok(JoinCode::drawn(u64::from_le_bytes(random_bytes()?)))
}

impl Exchanges {
    /// None yet, for the coordinator that holds the key `own`.
    pub(crate) const fn new(own: Fingerprint, session: SessionId) -> Self {
        Self {
            own,
            session,
            of_link: BTreeMap::new(),
        }
    }

    /// Answers a station's `share` as the holder of `code`.
    pub(crate) fn answer(
        &mut self,
        link: LinkId,
        peer: Fingerprint,
        binding: Binding,
        code: JoinCode,
        share: Share,
    ) -> Result<ToStation, NotPaired> {
        let seed = Seed(random_bytes().map_err(|_| NotPaired)?);
        let ends = Ends {
            station: peer,
            coordinator: self.own,
            binding,
        };
        let (answered, share) = Coordinator::answer(code, ends, self.session, share, seed)?;
        self.of_link.insert(link, Exchange::Answered(answered));
        let session = self.session;
        Ok(ToStation::PairReply { session, share })
    }

    /// Whether the proof of who calls itself `name` is right.
    pub(crate) fn check(&mut self, link: LinkId, name: &Name, proof: Proof) -> bool {
        let Some(Exchange::Answered(answered)) = self.of_link.remove(&link) else {
            return false;
        };
        let Ok(accepting) = answered.check(name, proof) else {
            return false;
        };
        self.of_link.insert(link, Exchange::Right(accepting));
        true
    }

    /// The coordinator's own proof; `None` where the station's was not found right.
    pub(crate) fn accept(&mut self, link: LinkId, ensemble: Name) -> Option<ToStation> {
        let Some(Exchange::Right(accepting)) = self.of_link.remove(&link) else {
            return None;
        };
        let proof = accepting.accept(&ensemble);
        Some(ToStation::PairAccept { ensemble, proof })
    }

    /// The link has gone.
    pub(crate) fn forget(&mut self, link: LinkId) {
        self.of_link.remove(&link);
    }
}
