//! Version 1 beside what a next version may say: it works, or it is refused with a reason, and is never misread.
//!
//! The other way round is the golden bytes: whatever comes later has to read those as it reads them today.
//! Whoever adds a frame adds a row.

use consort_proto::message::{Content, Refusal};
use consort_proto::{
    Cents, Hz, Reading, Report, Round, Sequence, SessionId, StringNumber, Tenure, ToCoordinator, ToStation, Verdict,
};
use consort_wire::{
    HEADER_LEN, MUST_UNDERSTAND, WireError, decode_to_coordinator, decode_to_station, encode_to_coordinator,
    encode_to_station,
};

fn frame(kind: u16, flags: u8, payload: &[u8]) -> Vec<u8> {
    let mut frame = kind.to_le_bytes().to_vec();
    frame.push(flags);
    frame.extend((payload.len() as u32).to_le_bytes());
    frame.extend(payload);
    frame
}

/// `frame` with the payload's byte at `place`, counted from its end, set to `byte`.
fn changed(mut frame: Vec<u8>, from_end: usize, byte: u8) -> Vec<u8> {
    let place = frame.len() - from_end;
    frame[place] = byte;
    frame
}

fn report(verdict: Verdict) -> ToCoordinator {
    let string = StringNumber::new(12).expect("a string");
    let reading = Reading::new(string, Hz::new(440.0).expect("hz"), Cents(0.1)).expect("a reading");
    ToCoordinator::Reports(vec![Report {
        sequence: Sequence(1),
        session: SessionId([3; 16]),
        round: Round(1),
        tenure: Tenure { seat: 1, epoch: 1 },
        age: std::time::Duration::ZERO,
        content: Content::Reading(reading.judged(verdict)),
    }])
}

fn welcome() -> ToStation {
    ToStation::Welcome {
        session: SessionId([3; 16]),
        epoch: 1,
        acked: Sequence(0),
        tenure: Tenure { seat: 1, epoch: 1 },
    }
}

#[test]
fn version_1_takes_what_it_can_of_a_newer_station() {
    let settled = encode_to_coordinator(&report(Verdict::Settled));
    for (what, newer, meant) in [
        ("a frame that may be skipped", frame(12, 0, b"live readings"), Ok(None)),
        (
            "a frame that must be understood",
            frame(12, MUST_UNDERSTAND, b""),
            Err(WireError::Unknown(12)),
        ),
        // The verdict stands before the last byte, which is the mark.
        (
            "a verdict that is not known",
            changed(settled.clone(), 2, 7),
            Ok(Some(report(Verdict::Unsure))),
        ),
        ("the same report as ever", settled, Ok(Some(report(Verdict::Settled)))),
    ] {
        assert_eq!(decode_to_coordinator(&newer), meant, "{what}");
    }
}

#[test]
fn version_1_takes_what_it_can_of_a_newer_coordinator() {
    for (what, newer, meant) in [
        ("a frame that may be skipped", frame(114, 0, b"forecasts"), Ok(None)),
        (
            "a frame that must be understood",
            frame(114, MUST_UNDERSTAND, b""),
            Err(WireError::Unknown(114)),
        ),
        (
            "a no for a reason that is not known",
            frame(105, 1, &[60]),
            Ok(Some(ToStation::Refused(Refusal::Misspoke))),
        ),
        // The last byte of a welcome is the newest of the messages that the coordinator knows.
        (
            "a coordinator that knows less",
            changed(encode_to_station(&welcome()), 1, 0),
            Ok(Some(welcome())),
        ),
        (
            "that tones may not sound, which an older station skips",
            frame(112, 0, &[0]),
            Ok(Some(ToStation::Tones { allowed: false })),
        ),
        (
            "an order of seats, which an older station skips",
            frame(113, 0, &[1, 3, 1]),
            Ok(Some(ToStation::Places(vec![(3, 1)]))),
        ),
        (
            "a coordinator that knows more",
            changed(encode_to_station(&welcome()), 1, 4),
            Ok(Some(welcome())),
        ),
    ] {
        assert_eq!(decode_to_station(&newer), meant, "{what}");
    }
}

#[test]
fn a_struct_that_grew_in_place_is_refused_and_not_misread() {
    // What has shipped is never edited: a longer hello under the same number is no hello.
    let mut longer = encode_to_coordinator(&report(Verdict::Settled));
    longer.push(0);
    let length = (longer.len() - HEADER_LEN) as u32;
    longer[3..7].copy_from_slice(&length.to_le_bytes());
    assert_eq!(
        decode_to_coordinator(&longer),
        Err(WireError::LeftOver { kind: 2, left: 1 })
    );
}

/// Sound of the poorest kind that speech survives, 8 bits at 8 kHz, takes 8,000 bytes a second.
#[test]
fn nothing_that_a_station_may_say_is_wide_enough_for_sound() {
    const REPORTS_PER_SECOND: usize = 20;
    let string = StringNumber::new(63).expect("a string");
    let reading = Reading::new(string, Hz::new(5_000.0).expect("hz"), Cents(100.0)).expect("a reading");
    let longest = Report {
        sequence: Sequence(i64::MAX as u64),
        session: SessionId([255; 16]),
        round: Round(u32::MAX),
        tenure: Tenure {
            seat: u32::MAX,
            epoch: u32::MAX,
        },
        age: std::time::Duration::from_millis(u64::MAX),
        content: Content::Reading(reading.at_level(-200.0).expect("a level")),
    };
    let second = encode_to_coordinator(&ToCoordinator::Reports(vec![longest; REPORTS_PER_SECOND]));
    assert!(second.len() < 8_000 / 4, "{}", second.len());
}
