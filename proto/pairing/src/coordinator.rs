//! The coordinator's side: answers, checks the station's proof, and only then proves itself.

use std::fmt;

use consort_proto::{JoinCode, Name, Proof, SessionId, Share};

use crate::NotPaired;
use crate::keys::{Ends, Keys, Said};
use crate::pake::{Pake, Side, Spake2};
use crate::seed::Seed;

/// A try that waits for the station's proof.
pub struct Coordinator {
    common: [u8; 32],
    ends: Ends,
    session: SessionId,
    of_station: Share,
    of_coordinator: Share,
}

/// A station that has proven that it knows the code, and waits to be told so.
pub struct Accepting(Keys);

impl Coordinator {
    /// Answers a station's share with what to say back; `code` is the one on the screen.
    ///
    /// All that depends on the code is computed here, so that nothing later takes longer for one code than for another.
    pub fn answer(
        code: JoinCode,
        ends: Ends,
        session: SessionId,
        theirs: Share,
        seed: Seed,
    ) -> Result<(Self, Share), NotPaired> {
        Self::answer_by::<Spake2>(code, ends, session, theirs, seed)
    }

    /// As [`answer`](Self::answer), with another key exchange.
    pub fn answer_by<P: Pake>(
        code: JoinCode,
        ends: Ends,
        session: SessionId,
        theirs: Share,
        seed: Seed,
    ) -> Result<(Self, Share), NotPaired> {
        let (exchange, share) = P::start(Side::Coordinator, code, ends.station, ends.coordinator, seed);
        let coordinator = Self {
            common: exchange.finish(theirs)?,
            ends,
            session,
            of_station: theirs,
            of_coordinator: share,
        };
        Ok((coordinator, share))
    }

    /// Whether the station that calls itself `name` knows the code.
    pub fn check(self, name: &Name, proof: Proof) -> Result<Accepting, NotPaired> {
        let keys = Keys::new(
            self.common,
            &Said {
                ends: self.ends,
                session: self.session,
                of_station: self.of_station,
                of_coordinator: self.of_coordinator,
                name,
            },
        );
        keys.check_station(proof)?;
        Ok(Accepting(keys))
    }
}

impl Accepting {
    /// The proof that the coordinator of `ensemble` knows the code, too; to be told only once the station's key is kept.
    pub fn accept(self, ensemble: &Name) -> Proof {
        self.0.of_coordinator(ensemble)
    }
}

impl fmt::Debug for Coordinator {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Coordinator(…)")
    }
}

impl fmt::Debug for Accepting {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Accepting(…)")
    }
}
