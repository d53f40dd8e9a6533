//! Who is paired and who is not, whatever is sent in between.

use consort_pairing::{Coordinator, Ends, NotPaired, Seed, Station};
use consort_proto::{Binding, Fingerprint, JoinCode, Name, Proof, SessionId, Share};

const SESSION: SessionId = SessionId([5; 16]);

fn ends(binding: u64) -> Ends {
    let mut exported = [7; 32];
    exported[..8].copy_from_slice(&binding.to_le_bytes());
    Ends {
        station: Fingerprint([1; 32]),
        coordinator: Fingerprint([2; 32]),
        binding: Binding(exported),
    }
}

/// A seed of its own for each side of each try.
fn seed(number: u64, side: u8) -> Seed {
    let mut bytes = [side; 32];
    bytes[..8].copy_from_slice(&number.to_le_bytes());
    Seed(bytes)
}

fn name(text: &str) -> Name {
    text.parse().expect("a name")
}

/// What is different at the two ends, or on the way from one to the other.
struct Try {
    typed: JoinCode,
    shown: JoinCode,
    at_station: Ends,
    at_coordinator: Ends,
    session_heard: SessionId,
    name_heard: &'static str,
    ensemble_heard: &'static str,
}

impl Try {
    /// Nothing is.
    fn right(number: u64) -> Self {
        let code = JoinCode::drawn(number.wrapping_mul(0x9e37_79b9_7f4a_7c15));
        Self {
            typed: code,
            shown: code,
            at_station: ends(number),
            at_coordinator: ends(number),
            session_heard: SESSION,
            name_heard: "Runa",
            ensemble_heard: "Trio Wend",
        }
    }

    /// Who believes whom at the end: the coordinator the station, the station the coordinator.
    fn play(self, number: u64) -> (Result<(), NotPaired>, Result<(), NotPaired>) {
        let (station, share): (Station, Share) = Station::start(self.typed, self.at_station, seed(number, 1));
        let (coordinator, answer) =
            Coordinator::answer(self.shown, self.at_coordinator, SESSION, share, seed(number, 2)).expect("a share");
        let (confirming, proof) = station
            .confirm(self.session_heard, answer, &name("Runa"))
            .expect("a share");
        match coordinator.check(&name(self.name_heard), proof) {
            Ok(accepting) => {
                let proof = accepting.accept(&name("Trio Wend"));
                (Ok(()), confirming.check(&name(self.ensemble_heard), proof))
            }
            // Nobody says a proof now; whatever is made up is none.
            Err(why) => (Err(why), confirming.check(&name(self.ensemble_heard), proof)),
        }
    }
}

const NEITHER: (Result<(), NotPaired>, Result<(), NotPaired>) = (Err(NotPaired), Err(NotPaired));

#[test]
fn three_hundred_right_codes_join() {
    for number in 0..300 {
        assert_eq!(Try::right(number).play(number), (Ok(()), Ok(())), "{number}");
    }
}

#[test]
fn a_thousand_wrong_codes_do_not() {
    for number in 0..1_000 {
        let right = Try::right(number);
        // The nearest other codes first: one digit and its check digit off.
        let typed = JoinCode::drawn(number.wrapping_mul(0x9e37_79b9_7f4a_7c15).wrapping_add(1 + number));
        assert_ne!(typed, right.shown, "{number}");
        assert_eq!(Try { typed, ..right }.play(number), NEITHER, "{number}");
    }
}

#[test]
fn messages_passed_on_between_two_links_never_join() {
    for number in 0..1_000 {
        let relayed = Try {
            at_coordinator: ends(number + 1),
            ..Try::right(number)
        };
        assert_eq!(relayed.play(number), NEITHER, "{number}");
    }
}

#[test]
#[rustfmt::skip]
fn whatever_is_changed_on_the_way_is_noticed() {
    let with = |change: fn(&mut Try)| {
        let mut changed = Try::right(1);
        change(&mut changed);
        changed.play(1)
    };
    let stranger = Fingerprint([9; 32]);
    assert_eq!(with(|_| {}), (Ok(()), Ok(())));
    for (what, played) in [
        ("the session",             with(|at| at.session_heard = SessionId([6; 16]))),
        ("the harpist's name",      with(|at| at.name_heard = "Rune")),
    ] {
        assert_eq!(played, NEITHER, "{what}");
    }
    for (what, station, coordinator) in [
        ("the station's key",       stranger, ends(1).coordinator),
        ("the coordinator's key",   ends(1).station, stranger),
        ("both, the wrong way round", ends(1).coordinator, ends(1).station),
    ] {
        let at_coordinator = Ends { station, coordinator, ..ends(1) };
        assert_eq!(Try { at_coordinator, ..Try::right(1) }.play(1), NEITHER, "{what}");
    }
    assert_eq!(with(|at| at.ensemble_heard = "Trio Wand"), (Ok(()), Err(NotPaired)), "the ensemble's name");
}

#[test]
fn no_bit_of_a_share_or_a_proof_can_be_turned_round() {
    let code = JoinCode::drawn(1);
    let begin = || -> (Station, Share) { Station::start(code, ends(1), seed(1, 1)) };
    let answer = |share| Coordinator::answer(code, ends(1), SESSION, share, seed(1, 2));
    let (_, share) = begin();
    let (_, answered) = answer(share).expect("a share");
    for bit in 0..33 * 8 {
        let turned = |Share(mut bytes): Share| {
            bytes[bit / 8] ^= 1 << (bit % 8);
            Share(bytes)
        };
        // Half of all numbers are no point of the curve, and the others belong to another key.
        if let Ok((coordinator, answered)) = answer(turned(share))
            && let Ok((_, proof)) = begin().0.confirm(SESSION, answered, &name("Runa"))
        {
            assert_eq!(
                coordinator.check(&name("Runa"), proof).err(),
                Some(NotPaired),
                "share, {bit}"
            );
        }
        if let Ok((_, proof)) = begin().0.confirm(SESSION, turned(answered), &name("Runa")) {
            let (coordinator, _) = answer(share).expect("a share");
            assert_eq!(
                coordinator.check(&name("Runa"), proof).err(),
                Some(NotPaired),
                "answer, {bit}"
            );
        }
    }
    for bit in 0..32 * 8 {
        let (coordinator, answered) = answer(share).expect("a share");
        let (_, Proof(mut proof)) = begin().0.confirm(SESSION, answered, &name("Runa")).expect("a share");
        proof[bit / 8] ^= 1 << (bit % 8);
        assert_eq!(
            coordinator.check(&name("Runa"), Proof(proof)).err(),
            Some(NotPaired),
            "proof, {bit}"
        );
    }
}

#[test]
fn ones_own_share_sent_back_is_none() {
    let (station, share): (Station, Share) = Station::start(JoinCode::drawn(1), ends(1), seed(1, 1));
    assert_eq!(station.confirm(SESSION, share, &name("Runa")).err(), Some(NotPaired));
    for odd in [[0; 33], [0xff; 33], [0x41; 33], [0x42; 33]] {
        let (station, _): (Station, Share) = Station::start(JoinCode::drawn(1), ends(1), seed(1, 1));
        // No point of the curve, or one that leads to no proof that anybody could make.
        if let Ok((confirming, proof)) = station.confirm(SESSION, Share(odd), &name("Runa")) {
            assert_eq!(confirming.check(&name("Trio Wend"), proof), Err(NotPaired));
        }
    }
}

/// What two ends of one release prove to each other, the next release must prove as well.
#[test]
fn the_schedule_stays_as_it_is() {
    let (station, share): (Station, Share) = Station::start(JoinCode::drawn(4_829_137), ends(1), seed(1, 1));
    let (coordinator, answer) =
        Coordinator::answer(JoinCode::drawn(4_829_137), ends(1), SESSION, share, seed(1, 2)).expect("a share");
    let (_, proof) = station.confirm(SESSION, answer, &name("Runa")).expect("a share");
    let accepted = coordinator
        .check(&name("Runa"), proof)
        .expect("right")
        .accept(&name("Trio Wend"));
    let hex = |bytes: &[u8]| bytes.iter().map(|byte| format!("{byte:02x}")).collect::<String>();
    assert_eq!(
        [hex(&share.0), hex(&answer.0), hex(&proof.0), hex(&accepted.0)],
        [
            "41a9623bd121c7f8ce39c4fde378907e2041c07df00dbf5499ee6e84b3b3890b15",
            "42b237aa051623050af3894b44171f1f613068af2b2e87da0cd925b04d084b71d6",
            "062d6294ccd90bffef44ffb2b74f36463696bb257eaa22139f43bb12c3989883",
            "cccec9a814a98be93ce6fb6f5bf7dfe8faab9933d5d37f47a5ae39946983c534",
        ]
    );
}
