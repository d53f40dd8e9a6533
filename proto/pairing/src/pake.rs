//! The key exchange itself behind a trait of two functions, so that a better-studied one can take its place.

use consort_proto::{Fingerprint, JoinCode, Share};
use spake2::{Ed25519Group, Identity, Password};

use crate::NotPaired;
use crate::seed::{Seed, Stream};

/// Which end of the exchange.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Side {
    /// It starts.
    Station,
    /// It answers.
    Coordinator,
}

/// A password-authenticated key exchange of one message each way.
pub trait Pake: Sized {
    /// Begins `side`'s part between the holders of the keys `station` and `coordinator`, with the code as password.
    fn start(side: Side, code: JoinCode, station: Fingerprint, coordinator: Fingerprint, seed: Seed) -> (Self, Share);

    /// The common key, if the other end used the same code for the same two peers; else a key that it does not have.
    ///
    /// Refuses what is no share of the other side.
    fn finish(self, theirs: Share) -> Result<[u8; 32], NotPaired>;
}

/// SPAKE2 of Abdalla and Pointcheval (RSA 2005) over Ed25519, as the `spake2` crate has it.
///
/// Its transcript is not that of RFC 9382, which is no matter between our own two ends.
/// It may take longer for one code than for another: whoever answers with it waits for a slot of time, see the
/// coordinator's shell.
#[derive(Debug)]
pub struct Spake2(spake2::Spake2<Ed25519Group>);

impl Pake for Spake2 {
    fn start(side: Side, code: JoinCode, station: Fingerprint, coordinator: Fingerprint, seed: Seed) -> (Self, Share) {
        let password = Password::new(code.ascii());
        let (station, coordinator) = (Identity::new(&station.0), Identity::new(&coordinator.0));
        let random = Stream::from(seed);
        let (exchange, share) = match side {
            Side::Station => spake2::Spake2::start_a_with_rng(&password, &station, &coordinator, random),
            Side::Coordinator => spake2::Spake2::start_b_with_rng(&password, &station, &coordinator, random),
        };
        let share = share
            .try_into()
            .unwrap_or_else(|_| unreachable!("a share over Ed25519 is a side and a point, 33 bytes"));
        (Self(exchange), Share(share))
    }

    fn finish(self, theirs: Share) -> Result<[u8; 32], NotPaired> {
        let key = self.0.finish(&theirs.0).map_err(|_| NotPaired)?;
        key.try_into().map_err(|_| NotPaired)
    }
}
