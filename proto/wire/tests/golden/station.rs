//! What a station says.

use std::time::Duration;

use consort_proto::message::{Content, Proposal};
use consort_proto::{
    Cents, Hello, Hz, JoinToken, Mark, Reading, ReferencePitch, Report, Round, Sequence, StringNumber, Tenure,
    ToCoordinator, Verdict,
};

use crate::{Field, HARP, SESSION, check_to_coordinator, harp};

#[test]
#[rustfmt::skip]
fn hello() {
    let mut hello = Hello {
        name: "Zoë".parse().expect("a name"),
        harp: harp(),
        token: Some(JoinToken([7; 16])),
        process: 0x0102_0304_0506_0708,
        newest: 0,
    };
    let with = |length: &'static [u8], token: &'static [u8], newest: &'static [u8]| {
        let start: [Field<'_>; 4] = [
            ("kind",                &[1, 0]),
            ("must understand",     &[1]),
            ("length",              length),
            ("name of the harpist", &[4, b'Z', b'o', 0xc3, 0xab]),
        ];
        let end: [Field<'_>; 3] = [
            ("token",               token),
            ("process",             &[253, 8, 7, 6, 5, 4, 3, 2, 1]),
            ("newest of the messages", newest),
        ];
        start.into_iter().chain(HARP).chain(end).collect::<Vec<_>>()
    };
    check_to_coordinator(
        ToCoordinator::Hello(hello.clone()),
        &with(&[54, 0, 0, 0], &[1, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7], &[0]),
    );
    hello.token = None;
    check_to_coordinator(ToCoordinator::Hello(hello.clone()), &with(&[38, 0, 0, 0], &[0], &[0]));
    hello.newest = 1;
    check_to_coordinator(ToCoordinator::Hello(hello), &with(&[38, 0, 0, 0], &[0], &[1]));
}

#[test]
#[rustfmt::skip]
fn reports() {
    let string = |number| StringNumber::new(number).expect("a string");
    let hz = Hz::new(440.000_001).expect("a frequency");
    let report = |sequence, age_ms, content| Report {
        sequence: Sequence(sequence),
        session: SESSION,
        round: Round(2),
        tenure: Tenure { seat: 3, epoch: 2 },
        age: Duration::from_millis(age_ms),
        content,
    };
    let reading = Reading::new(string(21), hz, Cents(0.12)).expect("a reading");
    let loud = reading.at_level(-12.5).expect("a level").judged(Verdict::Unsure);
    check_to_coordinator(
        ToCoordinator::Reports(vec![
            report(250, 0, Content::Reading(loud)),
            report(251, 70_000, Content::Mark { string: string(1), mark: Some(Mark::Missing) }),
            report(252, 5, Content::Reading(reading)),
        ]),
        &[
            ("kind",               &[2, 0]),
            ("must understand",    &[1]),
            ("length",             &[107, 0, 0, 0]),
            ("reports",            &[3]),
            ("number",             &[250]),
            ("session",            &SESSION.0),
            ("round",              &[2]),
            ("seat",               &[3]),
            ("its second holder",  &[2]),
            ("age",                &[0]),
            ("string",             &[21]),
            ("a reading",          &[0]),
            ("440000001 µHz",      &[252, 0x01, 0xde, 0x39, 0x1a]),
            ("120 millicents",     &[240]),
            ("-12.50 dBFS",        &[251, 0xc3, 0x09]),
            ("unsure",             &[1]),
            ("no mark",            &[0]),
            ("number 251",         &[251, 251, 0]),
            ("session",            &SESSION.0),
            ("round",              &[2]),
            ("seat",               &[3]),
            ("its second holder",  &[2]),
            ("age: 70000 ms",      &[252, 0x70, 0x11, 0x01, 0x00]),
            ("string",             &[1]),
            ("a mark",             &[1]),
            ("no frequency",       &[0]),
            ("no uncertainty",     &[0]),
            ("no level",           &[251, 0xff, 0xff]),
            ("no verdict",         &[0]),
            ("missing",            &[2]),
            ("number 252",         &[251, 252, 0]),
            ("session",            &SESSION.0),
            ("round",              &[2]),
            ("seat",               &[3]),
            ("its second holder",  &[2]),
            ("age: 5 ms",          &[5]),
            ("string",             &[21]),
            ("a reading",          &[0]),
            ("440000001 µHz",      &[252, 0x01, 0xde, 0x39, 0x1a]),
            ("120 millicents",     &[240]),
            ("no level",           &[251, 0xff, 0xff]),
            ("settled",            &[0]),
            ("no mark",            &[0]),
        ],
    );
}

#[test]
fn a_stations_beat_and_goodbye_are_headers_alone() {
    check_to_coordinator(
        ToCoordinator::Beat,
        &[("kind", &[3, 0]), ("flags", &[1]), ("length", &[0; 4])],
    );
    check_to_coordinator(
        ToCoordinator::Leave,
        &[("kind", &[4, 0]), ("flags", &[1]), ("length", &[0; 4])],
    );
}

#[test]
#[rustfmt::skip]
fn what_a_harpist_asks_for() {
    check_to_coordinator(
        ToCoordinator::Knock("Zoë".parse().expect("a name")),
        &[("kind", &[7, 0]), ("flags", &[1]), ("length", &[5, 0, 0, 0]), ("name", &[4, b'Z', b'o', 0xc3, 0xab])],
    );
    check_to_coordinator(
        ToCoordinator::TakeOver { seat: 300 },
        &[("kind", &[8, 0]), ("flags", &[1]), ("length", &[3, 0, 0, 0]), ("seat 300", &[251, 0x2c, 0x01])],
    );
    check_to_coordinator(
        ToCoordinator::GiveUp { seat: 4, yes: true },
        &[("kind", &[9, 0]), ("flags", &[1]), ("length", &[2, 0, 0, 0]), ("seat", &[4]), ("yes", &[1])],
    );
    check_to_coordinator(
        ToCoordinator::Help(true),
        &[("kind", &[10, 0]), ("flags", &[1]), ("length", &[1, 0, 0, 0]), ("wanted", &[1])],
    );
    let a4 = ReferencePitch::new(441.5).expect("in reach");
    check_to_coordinator(
        ToCoordinator::Propose(Proposal { a4, sigma: Cents(0.3) }),
        &[
            ("kind",               &[11, 0]),
            ("must understand",    &[1]),
            ("length",             &[8, 0, 0, 0]),
            ("A4: 441500 mHz",     &[252, 0x9c, 0xbc, 0x06, 0x00]),
            ("300 millicents",     &[251, 0x58, 0x02]),
        ],
    );
}
