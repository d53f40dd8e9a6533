//! From the common key to the two proofs: transcript, key schedule, and a comparison that tells nothing by its time.

use consort_proto::pairing::PAKE;
use consort_proto::{Binding, Fingerprint, Name, Proof, SessionId, Share};
use hkdf::Hkdf;
use hmac::{Hmac, Mac};
use sha2::{Digest, Sha256};

use crate::NotPaired;

/// The two ends of one link.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Ends {
    /// The key that the station proved to hold in the TLS handshake.
    pub station: Fingerprint,
    /// The key that the coordinator proved to hold in it.
    pub coordinator: Fingerprint,
    /// What TLS exports of it.
    pub binding: Binding,
}

/// Everything that was said, in the order in which it was said.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Said<'a> {
    pub(crate) ends: Ends,
    pub(crate) session: SessionId,
    pub(crate) of_station: Share,
    pub(crate) of_coordinator: Share,
    pub(crate) name: &'a Name,
}

/// What each end proves its knowledge with, and over what.
pub(crate) struct Keys {
    station: [u8; 32],
    coordinator: [u8; 32],
    transcript: [u8; 32],
}

/// What this schedule is called: another one gets another name.
const PURPOSE: &[u8] = b"consort pair 1";

impl Keys {
    /// The keys that follow from the `common` one.
    pub(crate) fn new(common: [u8; 32], said: &Said<'_>) -> Self {
        let transcript = said.transcript();
        let schedule = Hkdf::<Sha256>::new(Some(&said.ends.binding.0), &common);
        let key = |info: &[u8]| {
            let mut key = [0; 32];
            schedule
                .expand_multi_info(&[info, &transcript], &mut key)
                .unwrap_or_else(|_| unreachable!("32 bytes are one block, 255 blocks may be asked for"));
            key
        };
        Self {
            station: key(b"station confirm"),
            coordinator: key(b"coordinator confirm"),
            transcript,
        }
    }

    /// The station's proof.
    pub(crate) fn of_station(&self) -> Proof {
        Proof(self.station_mac().finalize().into_bytes().into())
    }

    /// The coordinator's proof, which also says what the ensemble is called.
    pub(crate) fn of_coordinator(&self, ensemble: &Name) -> Proof {
        Proof(self.coordinator_mac(ensemble).finalize().into_bytes().into())
    }

    /// Whether `proof` is the station's; takes as long for any wrong one.
    pub(crate) fn check_station(&self, proof: Proof) -> Result<(), NotPaired> {
        self.station_mac().verify_slice(&proof.0).map_err(|_| NotPaired)
    }

    /// Whether `proof` is the coordinator's; takes as long for any wrong one.
    pub(crate) fn check_coordinator(&self, ensemble: &Name, proof: Proof) -> Result<(), NotPaired> {
        self.coordinator_mac(ensemble)
            .verify_slice(&proof.0)
            .map_err(|_| NotPaired)
    }

    fn station_mac(&self) -> Hmac<Sha256> {
        mac(&self.station).chain_update(self.transcript)
    }

    fn coordinator_mac(&self, ensemble: &Name) -> Hmac<Sha256> {
        mac(&self.coordinator)
            .chain_update(self.transcript)
            .chain_update(ensemble.as_str())
    }
}

fn mac(key: &[u8; 32]) -> Hmac<Sha256> {
    Hmac::new_from_slice(key).unwrap_or_else(|_| unreachable!("HMAC takes keys of any length"))
}

impl Said<'_> {
    /// The SHA-256 of it all, each field after its length, so that no two different talks are the same bytes.
    fn transcript(&self) -> [u8; 32] {
        let fields: [&[u8]; 8] = [
            PURPOSE,
            &[PAKE],
            &self.ends.station.0,
            &self.ends.coordinator.0,
            &self.session.0,
            &self.of_station.0,
            &self.of_coordinator.0,
            self.name.as_str().as_bytes(),
        ];
        let mut hash = Sha256::new();
        for field in fields {
            hash.update((field.len() as u32).to_le_bytes());
            hash.update(field);
        }
        hash.finalize().into()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hex(text: &str) -> Vec<u8> {
        let byte = |at| u8::from_str_radix(&text[at..at + 2], 16).expect("hex");
        (0..text.len()).step_by(2).map(byte).collect()
    }

    /// RFC 5869, appendix A.1: key derivation as it is called here.
    #[test]
    fn keys_are_derived_as_in_rfc_5869() {
        let salt: Vec<u8> = (0..=0x0c).collect();
        let info: Vec<u8> = (0xf0..=0xf9).collect();
        let mut key = [0; 42];
        Hkdf::<Sha256>::new(Some(&salt), &[0x0b; 22])
            .expand_multi_info(&[&info[..4], &info[4..]], &mut key)
            .expect("short enough");
        let published = hex("3cb25f25faacd57a90434f64d0362f2a2d2d0a90cf1a5a4c5db02d56ecc4c5bf34007208d5b887185865");
        assert_eq!(key.to_vec(), published);
    }

    /// RFC 4231, test case 2: the proofs' authentication code as it is called here.
    #[test]
    fn proofs_are_made_as_in_rfc_4231() {
        let mac = Hmac::<Sha256>::new_from_slice(b"Jefe").expect("any length");
        let mac = mac.chain_update(b"what do ya want ").chain_update(b"for nothing?");
        let published = hex("5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843");
        assert_eq!(mac.finalize().into_bytes().to_vec(), published);
    }
}
