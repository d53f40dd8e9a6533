//! The exact bytes of every message: what has shipped once must read the same for ever.
//!
//! Numbers are little endian.
//! In a payload, an unsigned number up to 250 takes one byte; 251, 252 and 253 announce two, four and eight bytes.
//! A signed number is first folded: 0, −1, 1, −2 become 0, 1, 2, 3.

use std::time::Duration;

use consort_proto::message::{Content, Refusal};
use consort_proto::{
    Accidental, Agreement, Cents, Harp, HarpString, Hello, Hz, JoinToken, Kind, Letter, Mark, Material, Mechanism,
    Note, Proof, Reading, ReferencePitch, Report, Revision, Round, Scheme, Sequence, SessionId, Setting, Share,
    StringNumber, Temperament, ToCoordinator, ToStation, Tolerance, Tuning,
};
use consort_wire::{decode_to_coordinator, decode_to_station, encode_to_coordinator, encode_to_station};

/// A field and its bytes.
type Field<'a> = (&'a str, &'a [u8]);

fn joined(fields: &[Field<'_>]) -> Vec<u8> {
    fields.iter().flat_map(|(_, bytes)| bytes.iter().copied()).collect()
}

#[track_caller]
fn check_to_coordinator(message: ToCoordinator, fields: &[Field<'_>]) {
    let bytes = joined(fields);
    assert_eq!(encode_to_coordinator(&message), bytes, "{message:?}");
    assert_eq!(decode_to_coordinator(&bytes), Ok(Some(message)));
}

#[track_caller]
fn check_to_station(message: ToStation, fields: &[Field<'_>]) {
    let bytes = joined(fields);
    assert_eq!(encode_to_station(&message), bytes, "{message:?}");
    assert_eq!(decode_to_station(&bytes), Ok(Some(message)));
}

const SESSION: SessionId = SessionId([0xa0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15]);

/// Two strings: one of gut with discs, whose second position sounds 2.5 cents high, and a fixed wire.
fn harp() -> Harp {
    let strings = vec![
        HarpString {
            open: Note::new(Letter::A, Accidental::Flat, 4),
            material: Material::Gut,
            mechanism: Mechanism::Discs,
            regulation: [Cents(0.0), Cents(2.5)],
        },
        HarpString {
            open: Note::new(Letter::C, Accidental::Natural, -1),
            material: Material::Wire,
            mechanism: Mechanism::Fixed,
            regulation: [Cents(-0.05), Cents(0.0)],
        },
    ];
    Harp::new("Elm".to_owned(), Kind::Other, strings).expect("a harp")
}

#[test]
#[rustfmt::skip]
fn hello() {
    let mut hello = Hello {
        name: "Zoë".parse().expect("a name"),
        harp: harp(),
        token: Some(JoinToken([7; 16])),
        process: 0x0102_0304_0506_0708,
    };
    let harp: [Field<'_>; 15] = [
        ("name of the harp",      &[3, b'E', b'l', b'm']),
        ("kind: other",           &[2]),
        ("strings",               &[2]),
        ("octave",                &[4]),
        ("letter A",              &[5]),
        ("flat",                  &[0]),
        ("gut",                   &[1]),
        ("discs",                 &[0]),
        ("regulation: 0, 2500",   &[0, 251, 0x88, 0x13]),
        ("octave: -1",            &[0xff]),
        ("letter C",              &[0]),
        ("natural",               &[1]),
        ("wire",                  &[3]),
        ("fixed",                 &[2]),
        ("regulation: -50, 0",    &[99, 0]),
    ];
    let with = |length: u8, token: &'static [u8]| {
        let mut fields = vec![
            ("kind",               &[1, 0][..]),
            ("must understand",    &[1]),
        ];
        let length: &'static [u8] = match length { 53 => &[53, 0, 0, 0], _ => &[37, 0, 0, 0] };
        fields.push(("length", length));
        fields.push(("name of the harpist", &[4, b'Z', b'o', 0xc3, 0xab]));
        fields
            .into_iter()
            .chain(harp)
            .chain([
                ("token",          token),
                ("process",        &[253, 8, 7, 6, 5, 4, 3, 2, 1][..]),
            ])
            .collect::<Vec<_>>()
    };
    check_to_coordinator(
        ToCoordinator::Hello(hello.clone()),
        &with(53, &[1, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7, 7]),
    );
    hello.token = None;
    check_to_coordinator(ToCoordinator::Hello(hello), &with(37, &[0]));
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
        age: Duration::from_millis(age_ms),
        content,
    };
    let reading = Reading::new(string(21), hz, Cents(0.12)).expect("a reading");
    check_to_coordinator(
        ToCoordinator::Reports(vec![
            report(250, 0, Content::Reading(reading)),
            report(251, 70_000, Content::Mark { string: string(1), mark: Some(Mark::Missing) }),
            report(252, 5, Content::Mark { string: string(2), mark: None }),
        ]),
        &[
            ("kind",               &[2, 0]),
            ("must understand",    &[1]),
            ("length",             &[85, 0, 0, 0]),
            ("reports",            &[3]),
            ("number",             &[250]),
            ("session",            &SESSION.0),
            ("round",              &[2]),
            ("age",                &[0]),
            ("string",             &[21]),
            ("a reading",          &[0]),
            ("440000001 µHz",      &[252, 0x01, 0xde, 0x39, 0x1a]),
            ("120 millicents",     &[240]),
            ("no mark",            &[0]),
            ("number 251",         &[251, 251, 0]),
            ("session",            &SESSION.0),
            ("round",              &[2]),
            ("age: 70000 ms",      &[252, 0x70, 0x11, 0x01, 0x00]),
            ("string",             &[1]),
            ("a mark",             &[1]),
            ("no frequency",       &[0]),
            ("no uncertainty",     &[0]),
            ("missing",            &[2]),
            ("number 252",         &[251, 252, 0]),
            ("session",            &SESSION.0),
            ("round",              &[2]),
            ("age: 5 ms",          &[5]),
            ("string",             &[2]),
            ("a mark",             &[1]),
            ("no frequency",       &[0]),
            ("no uncertainty",     &[0]),
            ("mark taken back",    &[0]),
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
fn welcome() {
    check_to_station(
        ToStation::Welcome { session: SESSION, epoch: 300, acked: Sequence(9) },
        &[
            ("kind",               &[101, 0]),
            ("must understand",    &[1]),
            ("length",             &[20, 0, 0, 0]),
            ("session",            &SESSION.0),
            ("epoch: 300",         &[251, 0x2c, 0x01]),
            ("acknowledged",       &[9]),
        ],
    );
}

#[test]
#[rustfmt::skip]
fn agreement() {
    let mut agreement = Agreement {
        session: SESSION,
        revision: Revision(7),
        ensemble: "Duo".parse().expect("a name"),
        tuning: Tuning {
            a4: ReferencePitch::new(442.0).expect("in reach"),
            temperament: Temperament::named(Scheme::Vallotti),
            setting: Setting::NATURALS,
        },
        tolerance: Tolerance::default(),
        round: Round(1),
    };
    check_to_station(
        ToStation::Agreement { agreement: agreement.clone(), start_in: Some(Duration::from_secs(60)) },
        &[
            ("kind",               &[102, 0]),
            ("must understand",    &[1]),
            ("length",             &[60, 0, 0, 0]),
            ("session",            &SESSION.0),
            ("revision",           &[7]),
            ("ensemble",           &[3, b'D', b'u', b'o']),
            ("A4: 442000 mHz",     &[252, 0x90, 0xbe, 0x06, 0x00]),
            ("Vallotti",           &[10]),
            ("no own offsets",     &[0; 12]),
            ("naturals",           &[1; 7]),
            ("middle: 2000 mc",    &[251, 0xa0, 0x0f]),
            ("wires: 3000 mc",     &[251, 0x70, 0x17]),
            ("top: 5000 mc",       &[251, 0x10, 0x27]),
            ("round",              &[1]),
            ("start in 60000 ms",  &[1, 251, 0x60, 0xea]),
        ],
    );
    let offsets = [5.0, 0.0, 1.0, 0.0, -2.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0];
    agreement.tuning.temperament = Temperament::own(&offsets).expect("own");
    agreement.tuning.setting = Setting::FLATS;
    check_to_station(
        ToStation::Agreement { agreement, start_in: None },
        &[
            ("kind",               &[102, 0]),
            ("must understand",    &[1]),
            ("length",             &[63, 0, 0, 0]),
            ("session",            &SESSION.0),
            ("revision",           &[7]),
            ("ensemble",           &[3, b'D', b'u', b'o']),
            ("A4: 442000 mHz",     &[252, 0x90, 0xbe, 0x06, 0x00]),
            ("own offsets",        &[0]),
            ("C: 5000 mc",         &[251, 0x10, 0x27]),
            ("C sharp",            &[0]),
            ("D: 1000 mc",         &[251, 0xd0, 0x07]),
            ("E flat",             &[0]),
            ("E: -2000 mc",        &[251, 0x9f, 0x0f]),
            ("F to B",             &[0; 7]),
            ("flats",              &[0; 7]),
            ("middle: 2000 mc",    &[251, 0xa0, 0x0f]),
            ("wires: 3000 mc",     &[251, 0x70, 0x17]),
            ("top: 5000 mc",       &[251, 0x10, 0x27]),
            ("round",              &[1]),
            ("no start",           &[0]),
        ],
    );
}

#[test]
#[rustfmt::skip]
fn acknowledgement_beat_and_refusal() {
    check_to_station(
        ToStation::Acked(Sequence(1_000_000)),
        &[
            ("kind",               &[103, 0]),
            ("must understand",    &[1]),
            ("length",             &[5, 0, 0, 0]),
            ("acknowledged",       &[252, 0x40, 0x42, 0x0f, 0x00]),
        ],
    );
    check_to_station(
        ToStation::Beat { epoch: 3, revision: Revision(40) },
        &[
            ("kind",               &[104, 0]),
            ("must understand",    &[1]),
            ("length",             &[2, 0, 0, 0]),
            ("epoch",              &[3]),
            ("revision",           &[40]),
        ],
    );
    for (why, code) in [
        (Refusal::NotInvited,    1),
        (Refusal::JoiningClosed, 2),
        (Refusal::Removed,       3),
        (Refusal::Superseded,    4),
        (Refusal::Full,          5),
        (Refusal::Misspoke,      6),
        (Refusal::WrongCode,     7),
        (Refusal::NotNow,        8),
    ] {
        check_to_station(
            ToStation::Refused(why),
            &[
                ("kind",           &[105, 0]),
                ("must understand",&[1]),
                ("length",         &[1, 0, 0, 0]),
                ("why",            &[code]),
            ],
        );
    }
}

#[test]
#[rustfmt::skip]
fn proving_a_code() {
    let share = |side: u8| {
        let mut share = [0x33; 33];
        share[0] = side;
        Share(share)
    };
    check_to_coordinator(
        ToCoordinator::PairStart(share(0x41)),
        &[
            ("kind",               &[5, 0]),
            ("must understand",    &[1]),
            ("length",             &[34, 0, 0, 0]),
            ("exchange 1",         &[1]),
            ("side A",             &[0x41]),
            ("point",              &[0x33; 32]),
        ],
    );
    check_to_station(
        ToStation::PairReply { session: SESSION, share: share(0x42) },
        &[
            ("kind",               &[106, 0]),
            ("must understand",    &[1]),
            ("length",             &[49, 0, 0, 0]),
            ("session",            &SESSION.0),
            ("side B",             &[0x42]),
            ("point",              &[0x33; 32]),
        ],
    );
    check_to_coordinator(
        ToCoordinator::PairConfirm { name: "Zoë".parse().expect("a name"), proof: Proof([0x44; 32]) },
        &[
            ("kind",               &[6, 0]),
            ("must understand",    &[1]),
            ("length",             &[37, 0, 0, 0]),
            ("name of the harpist", &[4, b'Z', b'o', 0xc3, 0xab]),
            ("proof",              &[0x44; 32]),
        ],
    );
    check_to_station(
        ToStation::PairAccept { ensemble: "Duo".parse().expect("a name"), proof: Proof([0x55; 32]) },
        &[
            ("kind",               &[107, 0]),
            ("must understand",    &[1]),
            ("length",             &[36, 0, 0, 0]),
            ("ensemble",           &[3, b'D', b'u', b'o']),
            ("proof",              &[0x55; 32]),
        ],
    );
    check_to_station(
        ToStation::Refused(Refusal::Resting { left: Duration::from_millis(30_000) }),
        &[
            ("kind",               &[108, 0]),
            ("must understand",    &[1]),
            ("length",             &[3, 0, 0, 0]),
            ("30000 ms",           &[251, 0x30, 0x75]),
        ],
    );
}
