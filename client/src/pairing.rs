//! Proving a typed code: what the link decides is computed here, with random numbers and each link's own key material.

use std::collections::BTreeMap;

use consort_link::Attempt;
use consort_pairing::{Confirming, Ends, NotPaired, Seed, Station};
use consort_proto::{Binding, Fingerprint, JoinCode, Name, Proof, SessionId, Share, ToCoordinator};

/// The tries that are under way.
#[derive(Debug)]
pub(crate) struct Exchanges {
    own: Fingerprint,
    of_attempt: BTreeMap<Attempt, Exchange>,
}

/// How far one has come.
#[derive(Debug)]
enum Exchange {
    Started(Box<Station>),
    Confirmed(Confirming),
}

impl Exchanges {
    /// None yet, for the station that holds the key `own`.
    pub(crate) const fn new(own: Fingerprint) -> Self {
        Self {
            own,
            of_attempt: BTreeMap::new(),
        }
    }

    /// What to say first to the holder of `peer`.
    pub(crate) fn start(
        &mut self,
        attempt: Attempt,
        peer: Fingerprint,
        binding: Binding,
        code: JoinCode,
    ) -> Result<ToCoordinator, NotPaired> {
        let seed = ring::rand::generate(&ring::rand::SystemRandom::new()).map_err(|_| NotPaired)?;
        let ends = Ends {
            station: self.own,
            coordinator: peer,
            binding,
        };
        let (started, share) = Station::start(code, ends, Seed(seed.expose()));
        self.of_attempt.insert(attempt, Exchange::Started(Box::new(started)));
        Ok(ToCoordinator::PairStart(share))
    }

    /// The station's proof, as `name`.
    pub(crate) fn confirm(
        &mut self,
        attempt: Attempt,
        session: SessionId,
        share: Share,
        name: Name,
    ) -> Result<ToCoordinator, NotPaired> {
        let Some(Exchange::Started(started)) = self.of_attempt.remove(&attempt) else {
            return Err(NotPaired);
        };
        let (confirming, proof) = started.confirm(session, share, &name)?;
        self.of_attempt.insert(attempt, Exchange::Confirmed(confirming));
        Ok(ToCoordinator::PairConfirm { name, proof })
    }

    /// Whether the proof of the coordinator of `ensemble` is right.
    pub(crate) fn check(&mut self, attempt: Attempt, ensemble: &Name, proof: Proof) -> bool {
        match self.of_attempt.remove(&attempt) {
            Some(Exchange::Confirmed(confirming)) => confirming.check(ensemble, proof).is_ok(),
            Some(Exchange::Started(_)) | None => false,
        }
    }

    /// The attempt is over.
    pub(crate) fn forget(&mut self, attempt: Attempt) {
        self.of_attempt.remove(&attempt);
    }
}
