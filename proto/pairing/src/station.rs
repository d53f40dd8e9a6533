//! The station's side: starts, proves first, and believes only who proves as well.

use std::fmt;

use consort_proto::{JoinCode, Name, Proof, SessionId, Share};

use crate::NotPaired;
use crate::keys::{Ends, Keys, Said};
use crate::pake::{Pake, Side, Spake2};
use crate::seed::Seed;

/// A try that waits for the coordinator's share.
pub struct Station<P = Spake2> {
    exchange: P,
    ends: Ends,
    share: Share,
}

/// A try that waits for the coordinator's proof.
pub struct Confirming(Keys);

impl<P: Pake> Station<P> {
    /// Begins a try with the `code` that was typed, and what to say first.
    pub fn start(code: JoinCode, ends: Ends, seed: Seed) -> (Self, Share) {
        let (exchange, share) = P::start(Side::Station, code, ends.station, ends.coordinator, seed);
        let station = Self { exchange, ends, share };
        (station, share)
    }

    /// Takes the coordinator's `session` and share, and proves as `name` that this side knows the code.
    pub fn confirm(self, session: SessionId, theirs: Share, name: &Name) -> Result<(Confirming, Proof), NotPaired> {
        let common = self.exchange.finish(theirs)?;
        let keys = Keys::new(
            common,
            &Said {
                ends: self.ends,
                session,
                of_station: self.share,
                of_coordinator: theirs,
                name,
            },
        );
        let proof = keys.of_station();
        Ok((Confirming(keys), proof))
    }
}

impl Confirming {
    /// Whether the coordinator of `ensemble` knows the code, too.
    pub fn check(self, ensemble: &Name, proof: Proof) -> Result<(), NotPaired> {
        self.0.check_coordinator(ensemble, proof)
    }
}

impl<P> fmt::Debug for Station<P> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Station(…)")
    }
}

impl fmt::Debug for Confirming {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Confirming(…)")
    }
}
