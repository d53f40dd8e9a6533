//! What holds for any message and for any bytes.

use std::time::Duration;

use consort_proto::agreement::SEATS_MAX;
use consort_proto::message::{Content, Proposal, REPORTS_MAX, Refusal};
use consort_proto::{
    Accidental, Agreement, Cents, Document, Fingerprint, Harp, HarpString, Hello, Hz, JoinToken, Kind, Letter, Mark,
    Material, Mechanism, Name, Note, Proof, Reading, ReferencePitch, Report, Revision, Round, Scheme, Seat, Sequence,
    SessionId, Setting, Share, StringNumber, Temperament, Tenure, ToCoordinator, ToStation, Tolerance, Tuning, Verdict,
};
use consort_wire::{
    HEADER_LEN, MUST_UNDERSTAND, PAYLOAD_MAX, WireError, decode_from_deputy, decode_to_coordinator, decode_to_deputy,
    decode_to_station, encode_from_deputy, encode_to_coordinator, encode_to_deputy, encode_to_station, frame_len,
};
use proptest::prelude::*;

fn name() -> impl Strategy<Value = Name> {
    "[a-zà-þΑ-Ω][a-z ]{0,30}[a-z🎵]".prop_map(|text| text.parse().expect("a name"))
}

/// So many seats whose holders have names as long as may be.
fn crowd(seats: usize) -> ToStation {
    let name: Name = "𐌰".repeat(40).parse().expect("a name of 160 bytes");
    let seats = (1..=seats as u32).map(|number| Seat {
        tenure: Tenure {
            seat: u32::MAX - number,
            epoch: u32::MAX,
        },
        name: name.clone(),
    });
    ToStation::Agreement(Box::new(Document {
        agreement: Agreement {
            session: SessionId([0xff; 16]),
            revision: Revision(u64::MAX),
            ensemble: name.clone(),
            tuning: Tuning::default(),
            tolerance: Tolerance::default(),
            round: Round(u32::MAX),
            called: Some(Note::new(Letter::A, Accidental::Natural, 4)),
        },
        epoch: u32::MAX,
        start_in: Some(Duration::from_secs(3_600)),
        beat_every: Duration::from_millis(250),
        seats: seats.collect(),
    }))
}

#[test]
fn an_agreement_names_as_many_seats_as_are_given_and_no_more() {
    let full = encode_to_station(&crowd(SEATS_MAX));
    assert!(full.len() <= HEADER_LEN + PAYLOAD_MAX as usize, "{} bytes", full.len());
    assert_eq!(decode_to_station(&full), Ok(Some(crowd(SEATS_MAX))));
    for more in [65, 80] {
        let refused = decode_to_station(&encode_to_station(&crowd(more)));
        assert!(matches!(refused, Err(WireError::Range { .. })), "{more}: {refused:?}");
    }
}

fn one_of<T: Copy + std::fmt::Debug + 'static>(words: &'static [T]) -> impl Strategy<Value = T> {
    prop::sample::select(words)
}

fn harp_string() -> impl Strategy<Value = HarpString> {
    (
        one_of(&Letter::ALL),
        one_of(&[Accidental::Flat, Accidental::Natural, Accidental::Sharp]),
        -1_i8..=9,
        one_of(&[Material::Nylon, Material::Gut, Material::Fluorocarbon, Material::Wire]),
        one_of(&[Mechanism::Discs, Mechanism::Lever, Mechanism::Fixed]),
        (-50.0..=50.0, -50.0..=50.0),
    )
        .prop_map(
            |(letter, accidental, octave, material, mechanism, (one, two))| HarpString {
                open: Note::new(letter, accidental, octave),
                material,
                mechanism,
                regulation: [Cents(one), Cents(two)],
            },
        )
}

fn harp() -> impl Strategy<Value = Harp> {
    let kind = one_of(&[Kind::Pedal, Kind::Lever, Kind::Other]);
    ("[🎵A-Z]{1,60}", kind, prop::collection::vec(harp_string(), 1..=63))
        .prop_map(|(name, kind, strings)| Harp::new(name, kind, strings).expect("a harp"))
}

fn content() -> impl Strategy<Value = Content> {
    let string = (1_u32..=63).prop_map(|number| StringNumber::new(number).expect("a string"));
    let level = prop::option::of(-200.0..=20.0);
    let verdict = one_of(&[Verdict::Settled, Verdict::Unsure]);
    let numbers = (string.clone(), 15.0..=5_000.0, 0.0..=100.0, level, verdict);
    let reading = numbers.prop_map(|(string, hz, sigma, level, verdict)| {
        let hz = Hz::new(hz).expect("a frequency");
        let reading = Reading::new(string, hz, Cents(sigma)).expect("a reading");
        let heard = level.map_or(reading, |level: f64| reading.at_level(level).expect("a level"));
        Content::Reading(heard.judged(verdict))
    });
    let mark = (string, one_of(&[None, Some(Mark::New), Some(Mark::Missing)]));
    prop_oneof![reading, mark.prop_map(|(string, mark)| Content::Mark { string, mark })]
}

/// A seat that is held, or none.
fn tenure() -> impl Strategy<Value = Tenure> {
    prop_oneof![
        Just(Tenure::default()),
        (1..=u32::MAX, 1..=u32::MAX).prop_map(|(seat, epoch)| Tenure { seat, epoch }),
    ]
}

fn report() -> impl Strategy<Value = Report> {
    (
        1..=i64::MAX as u64,
        any::<[u8; 16]>(),
        any::<u32>(),
        tenure(),
        any::<u32>(),
        content(),
    )
        .prop_map(|(sequence, session, round, tenure, age_ms, content)| Report {
            sequence: Sequence(sequence),
            session: SessionId(session),
            round: Round(round),
            tenure,
            age: Duration::from_millis(u64::from(age_ms)),
            content,
        })
}

fn to_coordinator() -> impl Strategy<Value = ToCoordinator> {
    let hello = (name(), harp(), any::<Option<[u8; 16]>>(), any::<u64>(), any::<u16>());
    prop_oneof![
        hello.prop_map(|(name, harp, token, process, newest)| {
            let token = token.map(JoinToken);
            ToCoordinator::Hello(Hello {
                name,
                harp,
                token,
                process,
                newest,
            })
        }),
        prop::collection::vec(report(), 0..=REPORTS_MAX).prop_map(ToCoordinator::Reports),
        Just(ToCoordinator::Beat),
        Just(ToCoordinator::Leave),
        share().prop_map(ToCoordinator::PairStart),
        (name(), any::<[u8; 32]>()).prop_map(|(name, proof)| ToCoordinator::PairConfirm {
            name,
            proof: Proof(proof)
        }),
        name().prop_map(ToCoordinator::Knock),
        any::<u32>().prop_map(|seat| ToCoordinator::TakeOver { seat }),
        (any::<u32>(), any::<bool>()).prop_map(|(seat, yes)| ToCoordinator::GiveUp { seat, yes }),
        any::<bool>().prop_map(ToCoordinator::Help),
        // In whole mHz and millicents, so that it arrives as it was said.
        (380_000..=480_000_u32, 0..=100_000).prop_map(|(a4_mhz, sigma_mc)| {
            let a4 = ReferencePitch::new(f64::from(a4_mhz) / 1000.0).expect("in reach");
            let sigma = Cents(f64::from(sigma_mc) / 1000.0);
            ToCoordinator::Propose(Proposal { a4, sigma })
        }),
    ]
}

fn share() -> impl Strategy<Value = Share> {
    (any::<u8>(), any::<[u8; 32]>()).prop_map(|(side, point)| {
        let mut share = [side; 33];
        share[1..].copy_from_slice(&point);
        Share(share)
    })
}

fn temperament() -> impl Strategy<Value = Temperament> {
    let own = prop::collection::vec(-30.0..=30.0, 12);
    prop_oneof![
        one_of(&Scheme::ALL).prop_map(Temperament::named),
        own.prop_map(|offsets| Temperament::own(&offsets).expect("own")),
    ]
}

fn agreement() -> impl Strategy<Value = Agreement> {
    let accidentals = [Accidental::Flat, Accidental::Natural, Accidental::Sharp];
    let setting = prop::array::uniform7(prop::sample::select(accidentals.to_vec()));
    let tuning = (380.0..=480.0, temperament(), setting).prop_map(|(a4, temperament, setting)| Tuning {
        a4: ReferencePitch::new(a4).expect("in reach"),
        temperament,
        setting: Setting::from_accidentals(setting),
    });
    let tolerance = (0.2..50.0, 0.2..50.0, 0.2..50.0).prop_map(|(middle, wires, top)| Tolerance {
        middle: Cents(middle),
        wires: Cents(wires),
        top: Cents(top),
    });
    let called = prop::option::of((one_of(&Letter::ALL), -1_i8..=9));
    let numbers = (any::<u64>(), any::<u32>());
    (any::<[u8; 16]>(), numbers, name(), tuning, tolerance, called).prop_map(
        |(session, (revision, round), ensemble, tuning, tolerance, called)| Agreement {
            session: SessionId(session),
            revision: Revision(revision),
            ensemble,
            tuning,
            tolerance,
            round: Round(round),
            called: called.map(|(letter, octave)| Note::new(letter, Accidental::Natural, octave)),
        },
    )
}

fn document() -> impl Strategy<Value = Document> {
    let seat = (1..=u32::MAX, 1..=u32::MAX, name()).prop_map(|(seat, epoch, name)| Seat {
        tenure: Tenure { seat, epoch },
        name,
    });
    let seats = prop::collection::vec(seat, 0..=SEATS_MAX);
    (agreement(), any::<u32>(), any::<Option<u32>>(), 50..=2_000_u64, seats).prop_map(
        |(agreement, epoch, start_in, beat_every, seats)| Document {
            agreement,
            epoch,
            start_in: start_in.map(|ms| Duration::from_millis(u64::from(ms))),
            beat_every: Duration::from_millis(beat_every),
            seats,
        },
    )
}

fn to_station() -> impl Strategy<Value = ToStation> {
    let refusals = &[
        Refusal::NotInvited,
        Refusal::JoiningClosed,
        Refusal::Removed,
        Refusal::Superseded,
        Refusal::Full,
        Refusal::Misspoke,
        Refusal::WrongCode,
        Refusal::NotNow,
        Refusal::Asked,
        Refusal::Declined,
        Refusal::Copied,
        Refusal::SeatTaken,
    ];
    prop_oneof![
        (any::<[u8; 16]>(), any::<u32>(), any::<u64>(), tenure()).prop_map(|(session, epoch, acked, tenure)| {
            ToStation::Welcome {
                session: SessionId(session),
                epoch,
                acked: Sequence(acked),
                tenure,
            }
        }),
        document().prop_map(|document| ToStation::Agreement(Box::new(document))),
        name().prop_map(|ensemble| ToStation::Admitted { ensemble }),
        (any::<u32>(), name(), any::<[u8; 32]>()).prop_map(|(seat, name, by)| ToStation::TakeOverAsked {
            seat,
            name,
            by: Fingerprint(by),
        }),
        any::<u32>().prop_map(|seat| ToStation::TakeOverDenied { seat }),
        any::<bool>().prop_map(|allowed| ToStation::Tones { allowed }),
        prop::collection::vec(any::<(u32, u32)>(), 0..=SEATS_MAX).prop_map(ToStation::Places),
        any::<u64>().prop_map(|acked| ToStation::Acked(Sequence(acked))),
        (any::<u32>(), any::<u64>()).prop_map(|(epoch, revision)| ToStation::Beat {
            epoch,
            revision: Revision(revision),
        }),
        one_of(refusals).prop_map(ToStation::Refused),
        any::<u32>().prop_map(|ms| {
            let left = Duration::from_millis(ms.into());
            ToStation::Refused(Refusal::Resting { left })
        }),
        (any::<[u8; 16]>(), share()).prop_map(|(session, share)| ToStation::PairReply {
            session: SessionId(session),
            share,
        }),
        (name(), any::<[u8; 32]>()).prop_map(|(ensemble, proof)| ToStation::PairAccept {
            ensemble,
            proof: Proof(proof),
        }),
    ]
}

/// What is left of a message once its numbers are whole µHz, mHz and thousandths of a cent.
fn settled(message: &ToStation) -> ToStation {
    decode_to_station(&encode_to_station(message))
        .expect("decodes")
        .expect("known")
}

fn close(a: f64, b: f64, step: f64) -> bool {
    (a - b).abs() <= step * 0.500_001
}

proptest! {
    #[test]
    fn what_a_station_says_arrives_within_half_a_step(message in to_coordinator()) {
        let frame = encode_to_coordinator(&message);
        prop_assert_eq!(frame_len(&frame), Ok(frame.len()));
        let arrived = decode_to_coordinator(&frame).expect("decodes").expect("known");
        match (&message, &arrived) {
            (ToCoordinator::Reports(said), ToCoordinator::Reports(heard)) => {
                prop_assert_eq!(said.len(), heard.len());
                for (said, heard) in said.iter().zip(heard) {
                    prop_assert_eq!(
                        (said.sequence, said.session, said.round, said.tenure, said.age),
                        (heard.sequence, heard.session, heard.round, heard.tenure, heard.age)
                    );
                    match (said.content, heard.content) {
                        (Content::Reading(said), Content::Reading(heard)) => {
                            prop_assert_eq!(said.string, heard.string);
                            prop_assert!(close(said.hz.get(), heard.hz.get(), 1e-6));
                            prop_assert!(close(said.sigma.0, heard.sigma.0, 1e-3));
                            prop_assert_eq!(said.verdict, heard.verdict);
                            prop_assert_eq!(said.level_dbfs.is_some(), heard.level_dbfs.is_some());
                            let levels = said.level_dbfs.zip(heard.level_dbfs);
                            prop_assert!(levels.is_none_or(|(said, heard)| close(said, heard, 1e-2)));
                        }
                        (said, heard) => prop_assert_eq!(said, heard),
                    }
                }
            }
            (ToCoordinator::Hello(said), ToCoordinator::Hello(heard)) => {
                prop_assert_eq!((&said.name, said.token, said.process), (&heard.name, heard.token, heard.process));
                prop_assert_eq!((said.harp.name(), said.harp.kind()), (heard.harp.name(), heard.harp.kind()));
                prop_assert_eq!(said.harp.len(), heard.harp.len());
                for (said, heard) in said.harp.strings().iter().zip(heard.harp.strings()) {
                    prop_assert_eq!(
                        (said.open, said.material, said.mechanism),
                        (heard.open, heard.material, heard.mechanism)
                    );
                    prop_assert!(close(said.regulation[0].0, heard.regulation[0].0, 1e-3));
                    prop_assert!(close(said.regulation[1].0, heard.regulation[1].0, 1e-3));
                }
            }
            (said, heard) => prop_assert_eq!(said, heard),
        }
        // Said again, it arrives unchanged.
        prop_assert_eq!(encode_to_coordinator(&arrived), frame);
    }

    #[test]
    fn what_the_coordinator_says_arrives_within_half_a_step(message in to_station()) {
        let frame = encode_to_station(&message);
        prop_assert_eq!(frame_len(&frame), Ok(frame.len()));
        let arrived = settled(&message);
        match (&message, &arrived) {
            (
                ToStation::Agreement(said),
                ToStation::Agreement(heard),
            ) => {
                let rest = |document: &Document| (document.epoch, document.start_in, document.beat_every, document.seats.clone());
                prop_assert_eq!(rest(said), rest(heard));
                let (said, heard) = (&said.agreement, &heard.agreement);
                prop_assert_eq!(said.called, heard.called);
                prop_assert_eq!((said.session, said.revision, said.round), (heard.session, heard.revision, heard.round));
                prop_assert_eq!(&said.ensemble, &heard.ensemble);
                prop_assert!(close(said.tuning.a4.hz().get(), heard.tuning.a4.hz().get(), 1e-3));
                prop_assert_eq!(said.tuning.setting, heard.tuning.setting);
                prop_assert_eq!(said.tuning.temperament.scheme(), heard.tuning.temperament.scheme());
                let offsets = said.tuning.temperament.offsets().iter().zip(heard.tuning.temperament.offsets());
                for (said, heard) in offsets {
                    prop_assert!(close(said.0, heard.0, 1e-3));
                }
                for (said, heard) in [
                    (said.tolerance.middle, heard.tolerance.middle),
                    (said.tolerance.wires, heard.tolerance.wires),
                    (said.tolerance.top, heard.tolerance.top),
                ] {
                    prop_assert!(close(said.0, heard.0, 1e-3));
                }
            }
            (said, heard) => prop_assert_eq!(said, heard),
        }
        prop_assert_eq!(settled(&arrived), arrived);
    }

    #[test]
    fn a_frame_cut_short_or_drawn_out_is_refused(
        message in to_coordinator(),
        cut in any::<prop::sample::Index>(),
        more in prop::collection::vec(any::<u8>(), 1..20),
    ) {
        let frame = encode_to_coordinator(&message);
        prop_assert!(decode_to_coordinator(&frame[..cut.index(frame.len())]).is_err());
        let drawn_out = [frame.clone(), more.clone()].concat();
        prop_assert!(decode_to_coordinator(&drawn_out).is_err());
        // With a header that owns up to the additional bytes, they are still too many.
        let mut honest = drawn_out;
        let length = (honest.len() - HEADER_LEN) as u32;
        honest[3..7].copy_from_slice(&length.to_le_bytes());
        prop_assert!(decode_to_coordinator(&honest).is_err());
    }

    #[test]
    fn any_bytes_are_answered_with_a_message_or_a_reason(
        kind in prop::sample::select(KINDS.to_vec()),
        flags in any::<u8>(),
        payload in prop::collection::vec(any::<u8>(), 0..400),
    ) {
        let mut frame = kind.to_le_bytes().to_vec();
        frame.push(flags);
        frame.extend((payload.len() as u32).to_le_bytes());
        frame.extend(&payload);
        let to_coordinator = decode_to_coordinator(&frame);
        let to_station = decode_to_station(&frame);
        let (from_deputy, to_deputy) = (decode_from_deputy(&frame), decode_to_deputy(&frame));
        // Nothing belongs to two directions, and nothing of a deputy's to a station's.
        let meant = [
            matches!(to_coordinator, Ok(Some(_))),
            matches!(to_station, Ok(Some(_))),
            matches!(from_deputy, Ok(Some(_))),
            matches!(to_deputy, Ok(Some(_))),
        ];
        prop_assert!(meant.into_iter().filter(|&meant| meant).count() <= 1);
        if let Ok(Some(message)) = from_deputy {
            prop_assert_eq!(decode_from_deputy(&encode_from_deputy(&message)), Ok(Some(message)));
        }
        if let Ok(Some(message)) = to_deputy {
            prop_assert_eq!(decode_to_deputy(&encode_to_deputy(&message)), Ok(Some(message)));
        }
        if let Ok(Some(message)) = to_coordinator {
            prop_assert_eq!(decode_to_coordinator(&encode_to_coordinator(&message)), Ok(Some(message)));
        }
        let _ = frame_len(&payload);
        let _ = decode_to_coordinator(&payload);
        let _ = decode_to_station(&payload);
    }
}

/// Every kind of frame, and one that is none.
const KINDS: [u16; 32] = [
    1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 101, 102, 103, 104, 105, 106, 107, 108, 109, 110, 111, 112, 113, 201, 202, 203,
    301, 302, 303, 304, 999,
];

fn frame(kind: u16, flags: u8, payload: &[u8]) -> Vec<u8> {
    let mut frame = kind.to_le_bytes().to_vec();
    frame.push(flags);
    frame.extend((payload.len() as u32).to_le_bytes());
    frame.extend(payload);
    frame
}

#[test]
fn an_unknown_frame_is_skipped_unless_it_must_be_understood() {
    for kind in [0, 12, 100, 114, 40_000] {
        assert_eq!(decode_to_coordinator(&frame(kind, 0, b"anything")), Ok(None));
        assert_eq!(decode_to_station(&frame(kind, 0, b"anything")), Ok(None));
        let must = frame(kind, MUST_UNDERSTAND, b"anything");
        assert_eq!(decode_to_coordinator(&must), Err(WireError::Unknown(kind)));
        assert_eq!(decode_to_station(&must), Err(WireError::Unknown(kind)));
    }
}

#[test]
fn a_station_has_no_frame_that_changes_the_agreement() {
    for kind in (101..=111).chain(201..=203).chain(301..=304) {
        assert_eq!(
            decode_to_coordinator(&frame(kind, MUST_UNDERSTAND, &[0; 60])),
            Err(WireError::Unknown(kind))
        );
    }
}

#[test]
fn a_length_beyond_the_limit_of_its_kind_is_refused_from_the_header_alone() {
    for (kind, limit) in [
        (1, 4096),
        (2, PAYLOAD_MAX),
        (3, 64),
        (102, PAYLOAD_MAX),
        (104, 64),
        (5, 512),
        (6, 512),
        (106, 512),
        (107, 512),
        (108, 64),
        (7, 512),
        (9, 64),
        (203, 512),
        (301, 4096),
        (302, 1024),
        (999, PAYLOAD_MAX),
    ] {
        let header = |length: u32| {
            let mut header = frame(kind, 0, &[]);
            header[3..7].copy_from_slice(&length.to_le_bytes());
            header
        };
        assert_eq!(frame_len(&header(limit)), Ok(HEADER_LEN + limit as usize));
        for length in [limit + 1, u32::MAX] {
            assert_eq!(
                frame_len(&header(length)),
                Err(WireError::TooLong { kind, length, limit })
            );
        }
    }
    assert_eq!(frame_len(&[1, 0, 0]), Err(WireError::Short(3)));
}

/// What cannot be meant, as a change of one byte in a good report.
#[test]
fn a_report_that_cannot_be_meant_is_refused() {
    let good = [
        1, 5, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 3, 1, 0, 21, 0, 252, 0, 0x1a, 0x37, 0x1a, 240, 0, 0, 0,
    ];
    // A reading of 439.753216 Hz, ±0.12 cents, at 0 dBFS, in seat 3; the last bytes are uncertainty, level, verdict, mark.
    assert!(
        matches!(decode_to_coordinator(&frame(2, 1, &good)), Ok(Some(_))),
        "{:?}",
        decode_to_coordinator(&frame(2, 1, &good))
    );
    for (place, byte, what) in [
        (1, 0, "number 0"),
        (19, 0, "no seat with a holder"),
        (20, 0, "a seat without a holder"),
        (22, 0, "string 0"),
        (22, 64, "string 64"),
        (23, 2, "neither reading nor mark"),
        (28, 0, "7 Hz"),
        (29, 1, "an uncertainty below zero"),
        (32, 1, "a reading with a mark"),
    ] {
        let mut bad = good;
        bad[place] = byte;
        let answer = decode_to_coordinator(&frame(2, 1, &bad));
        assert!(matches!(answer, Err(WireError::Range { .. })), "{what}: {answer:?}");
    }
}

#[test]
fn another_key_exchange_is_refused_as_such() {
    let mut frame = encode_to_coordinator(&ToCoordinator::PairStart(Share([0x41; 33])));
    frame[HEADER_LEN] = 2;
    let why = decode_to_coordinator(&frame).expect_err("another exchange").to_string();
    assert!(why.contains("key exchange") && why.contains("update"), "{why}");
}

#[test]
fn a_stranger_needs_no_more_than_four_kibibytes_for_the_longest_hello() {
    let string = HarpString {
        open: Note::new(Letter::C, Accidental::Flat, 9),
        material: Material::Wire,
        mechanism: Mechanism::Discs,
        regulation: [Cents(-50.0), Cents(-50.0)],
    };
    let longest = ToCoordinator::Hello(Hello {
        name: "🎵".repeat(40).parse().expect("a name"),
        harp: Harp::new("🎵".repeat(60), Kind::Pedal, vec![string; 63]).expect("a harp"),
        token: Some(JoinToken([255; 16])),
        process: u64::MAX,
        newest: u16::MAX,
    });
    let frame = encode_to_coordinator(&longest);
    assert!(frame.len() < 2048, "{}", frame.len());
    assert_eq!(decode_to_coordinator(&frame), Ok(Some(longest)));
}
