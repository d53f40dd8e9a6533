//! Frames that were damaged, cut, joined and made up: each is answered with a message or a reason, never with a panic, and
//! what is understood reads the same once it is said again.
//!
//! A bounded share runs by itself; `CONSORT_FRAMES=10000000 cargo test --release -p consort-wire --test fuzz` runs ten
//! million for each decoder.

use consort_proto::deputy::{Change, FromDeputy, HarpPicture, Heard, Hindsight, Outcome, Picture, ToDeputy};
use consort_proto::message::{Content, Proposal, Refusal};
use consort_proto::{
    Accidental, Age, Agreement, Cents, Document, Fingerprint, Hello, Hz, JoinToken, Letter, Mark, Material, Note,
    Proof, Reading, ReferencePitch, Report, Revision, RoomMove, Round, Seat, Sequence, SessionId, Share, Standing,
    StringNumber, Tenure, ToCoordinator, ToStation, Tolerance, Tuning, harp_file,
};
use consort_wire::{
    decode_from_deputy, decode_to_coordinator, decode_to_deputy, decode_to_station, encode_from_deputy,
    encode_to_coordinator, encode_to_deputy, encode_to_station, frame_len,
};

/// Frames for each decoder without being asked for more.
const USUAL: u64 = 60_000;

/// Sebastiano Vigna's SplitMix64, as published in 2015.
struct Chance(u64);

impl Chance {
    fn number(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    fn below(&mut self, end: usize) -> usize {
        (self.number() % end.max(1) as u64) as usize
    }
}

/// One of `seeds`, with up to eight damages; its header mostly owns up to its length.
fn damaged(seeds: &[Vec<u8>], chance: &mut Chance) -> Vec<u8> {
    let mut frame = seeds[chance.below(seeds.len())].clone();
    for _ in 0..chance.below(9) {
        let place = chance.below(frame.len());
        match chance.below(8) {
            0 => frame.truncate(place.max(1)),
            1 => frame.insert(place, chance.number() as u8),
            2 => drop(frame.remove(place.min(frame.len() - 1))),
            // Lengths and numbers that are as large as they can be written.
            3 => frame[place] = [250, 251, 252, 253, 254, 255, 0, 1][chance.below(8)],
            4 => {
                let other = &seeds[chance.below(seeds.len())];
                let from = chance.below(other.len());
                frame.extend(&other[from..]);
                frame.truncate(3_000);
            }
            5 => frame[place] ^= 1 << chance.below(8),
            _ => frame[place] = chance.number() as u8,
        }
        if frame.is_empty() {
            frame.push(0);
        }
    }
    if frame.len() >= 7 && chance.below(10) > 0 {
        let length = (frame.len() - 7) as u32;
        frame[3..7].copy_from_slice(&length.to_le_bytes());
    }
    frame
}

/// Plays damaged `seeds` into `decode`; what is understood is said again by `encode` and has to read the same.
fn play<T: PartialEq + std::fmt::Debug, E: std::fmt::Debug>(
    seed: u64,
    seeds: &[Vec<u8>],
    decode: impl Fn(&[u8]) -> Result<Option<T>, E>,
    encode: impl Fn(&T) -> Vec<u8>,
) {
    let frames = std::env::var("CONSORT_FRAMES").map_or(USUAL, |text| text.parse().expect("a number"));
    let mut chance = Chance(seed);
    let (mut understood, mut refused) = (0_u64, 0_u64);
    for seed in seeds {
        assert!(matches!(decode(seed), Ok(Some(_))), "{seed:?}");
    }
    for _ in 0..frames {
        let frame = damaged(seeds, &mut chance);
        let _ = frame_len(&frame);
        match decode(&frame) {
            Ok(Some(message)) => {
                understood += 1;
                let again = decode(&encode(&message))
                    .expect("what was understood can be said")
                    .expect("known");
                assert_eq!(again, message, "{frame:?}");
            }
            Ok(None) => {}
            Err(_) => refused += 1,
        }
    }
    // Neither all of it nor none of it may be noise.
    assert!(
        understood > frames / 20 && refused > frames / 20,
        "{understood} understood, {refused} refused"
    );
}

fn name() -> consort_proto::Name {
    "Zoë".parse().expect("a name")
}

fn agreement() -> Agreement {
    Agreement {
        session: SessionId([3; 16]),
        revision: Revision(70_000),
        ensemble: name(),
        tuning: Tuning::default(),
        tolerance: Tolerance::default(),
        round: Round(2),
        called: Some(Note::new(Letter::C, Accidental::Natural, 4)),
    }
}

#[test]
fn whatever_a_station_may_have_meant() {
    let string = StringNumber::new(12).expect("a string");
    let reading = Reading::new(string, Hz::new(440.1).expect("hz"), Cents(0.2)).expect("a reading");
    let reports: Vec<Report> = [
        Content::Reading(reading.at_level(-20.0).expect("a level")),
        Content::Mark {
            string,
            mark: Some(Mark::New),
        },
    ]
    .into_iter()
    .zip(1..)
    .map(|(content, number)| Report {
        sequence: Sequence(number),
        session: SessionId([3; 16]),
        round: Round(2),
        tenure: Tenure { seat: 3, epoch: 1 },
        age: std::time::Duration::from_millis(900),
        content,
    })
    .collect();
    let hello = Hello {
        name: name(),
        harp: harp_file::preset("lever-22").expect("a preset"),
        token: Some(JoinToken([9; 16])),
        process: 7,
        newest: 1,
    };
    let proposal = Proposal {
        a4: ReferencePitch::new(441.0).expect("in reach"),
        sigma: Cents(0.2),
    };
    let said = [
        ToCoordinator::Hello(hello),
        ToCoordinator::Reports(reports),
        ToCoordinator::Beat,
        ToCoordinator::Leave,
        ToCoordinator::PairStart(Share([0x41; 33])),
        ToCoordinator::PairConfirm {
            name: name(),
            proof: Proof([4; 32]),
        },
        ToCoordinator::Knock(name()),
        ToCoordinator::TakeOver { seat: 4 },
        ToCoordinator::GiveUp { seat: 4, yes: true },
        ToCoordinator::Help(true),
        ToCoordinator::Propose(proposal),
    ];
    let seeds: Vec<Vec<u8>> = said.iter().map(encode_to_coordinator).collect();
    play(1, &seeds, decode_to_coordinator, encode_to_coordinator);
}

#[test]
fn whatever_the_coordinator_may_have_meant() {
    let document = Document {
        agreement: agreement(),
        epoch: 3,
        start_in: Some(std::time::Duration::from_secs(60)),
        beat_every: std::time::Duration::from_millis(500),
        seats: vec![Seat {
            tenure: Tenure { seat: 1, epoch: 1 },
            name: name(),
        }],
    };
    let said = [
        ToStation::Welcome {
            session: SessionId([3; 16]),
            epoch: 3,
            acked: Sequence(9),
            tenure: Tenure { seat: 3, epoch: 1 },
        },
        ToStation::Agreement(Box::new(document)),
        ToStation::Acked(Sequence(9)),
        ToStation::Beat {
            epoch: 3,
            revision: Revision(7),
        },
        ToStation::Refused(Refusal::Full),
        ToStation::Refused(Refusal::Resting {
            left: std::time::Duration::from_secs(30),
        }),
        ToStation::PairReply {
            session: SessionId([3; 16]),
            share: Share([0x42; 33]),
        },
        ToStation::PairAccept {
            ensemble: name(),
            proof: Proof([4; 32]),
        },
        ToStation::Admitted { ensemble: name() },
        ToStation::TakeOverAsked {
            seat: 3,
            name: name(),
            by: Fingerprint([5; 32]),
        },
        ToStation::TakeOverDenied { seat: 3 },
        ToStation::Tones { allowed: false },
        ToStation::Places(vec![(1, 2), (2, 1)]),
    ];
    let seeds: Vec<Vec<u8>> = said.iter().map(encode_to_station).collect();
    play(2, &seeds, decode_to_station, encode_to_station);
}

#[test]
fn whatever_a_deputy_may_have_meant() {
    let changes = [
        Change::Pitch(ReferencePitch::new(442.0).expect("in reach")),
        Change::Tolerance(Tolerance::default()),
        Change::Start(None),
        Change::NewRound,
        Change::Undo,
        Change::Call(None),
    ];
    let orders = changes
        .into_iter()
        .zip(1..)
        .map(|(change, number)| FromDeputy::Order { number, change });
    let said: Vec<FromDeputy> = [FromDeputy::Watch, FromDeputy::Beat]
        .into_iter()
        .chain(orders)
        .collect();
    let seeds: Vec<Vec<u8>> = said.iter().map(encode_from_deputy).collect();
    play(3, &seeds, decode_from_deputy, encode_from_deputy);
}

#[test]
fn whatever_the_coordinator_may_have_meant_for_a_deputy() {
    let harp = harp_file::preset("lever-22").expect("a preset");
    let picture = HarpPicture {
        seat: 2,
        name: name(),
        standings: vec![Standing::Holds(Cents(0.5)); harp.len()],
        harp,
        heard: Heard::Silent(std::time::Duration::from_secs(4)),
        help: true,
    };
    let whole = Picture {
        agreement: agreement(),
        start_in: None,
        can_undo: true,
        disk_trouble: false,
        granted: true,
        seats: vec![1, 2],
    };
    let said = [
        ToDeputy::Harp(picture),
        ToDeputy::Picture(whole),
        ToDeputy::Hindsight(hindsight()),
        ToDeputy::Answers(vec![2, 7]),
        ToDeputy::Done {
            number: 5,
            outcome: Outcome::Done,
        },
        ToDeputy::Refused(Refusal::Removed),
    ];
    let seeds: Vec<Vec<u8>> = said.iter().map(encode_to_deputy).collect();
    play(4, &seeds, decode_to_deputy, encode_to_deputy);
}

fn hindsight() -> Hindsight {
    let minute = std::time::Duration::from_secs(60);
    let age = Age {
        confirmed: Some(minute),
        to_confirm: None,
    };
    let moved = RoomMove {
        material: Material::Gut,
        cents: Cents(-2.5),
        harps: 3,
        of: 4,
        since: minute,
    };
    Hindsight {
        ages: vec![(1, age), (2, Age::default())],
        room: vec![moved],
    }
}
