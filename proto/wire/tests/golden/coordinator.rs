//! What the coordinator says to stations.

use std::time::Duration;

use consort_proto::message::Refusal;
use consort_proto::{
    Accidental, Document, Fingerprint, Letter, Note, Revision, Seat, Sequence, Setting, Temperament, Tenure, ToStation,
};
use consort_wire::decode_to_station;

use crate::{AGREEMENT, Field, SESSION, agreement, check_to_station};

#[test]
#[rustfmt::skip]
fn welcome() {
    check_to_station(
        ToStation::Welcome { session: SESSION, epoch: 300, acked: Sequence(9), tenure: Tenure { seat: 3, epoch: 1 } },
        &[
            ("kind",               &[101, 0]),
            ("must understand",    &[1]),
            ("length",             &[23, 0, 0, 0]),
            ("session",            &SESSION.0),
            ("epoch: 300",         &[251, 0x2c, 0x01]),
            ("acknowledged",       &[9]),
            ("seat",               &[3]),
            ("its first holder",   &[1]),
            ("newest of the messages", &[1]),
        ],
    );
}

#[test]
#[rustfmt::skip]
fn whether_tones_may_sound() {
    for (allowed, byte) in [(false, 0), (true, 1)] {
        check_to_station(
            ToStation::Tones { allowed },
            &[("kind", &[112, 0]), ("may be missed", &[0]), ("length", &[1, 0, 0, 0]), ("allowed", &[byte])],
        );
    }
}

#[test]
#[rustfmt::skip]
fn under_which_numbers_seats_are_shown() {
    check_to_station(
        ToStation::Places(vec![(1, 2), (300, 1)]),
        &[
            ("kind",               &[113, 0]),
            ("may be missed",      &[0]),
            ("length",             &[7, 0, 0, 0]),
            ("seats",              &[2]),
            ("seat 1 as 2",        &[1, 2]),
            ("seat 300 as 1",      &[251, 0x2c, 0x01, 1]),
        ],
    );
}

#[test]
#[rustfmt::skip]
fn the_agreement_whole_with_its_seats() {
    let seat = |seat, name: &str| Seat { tenure: Tenure { seat, epoch: 1 }, name: name.parse().expect("a name") };
    let document = Document {
        agreement: agreement(),
        epoch: 3,
        start_in: Some(Duration::from_secs(60)),
        beat_every: Duration::from_millis(500),
        seats: vec![seat(1, "Ilse"), seat(2, "Zoë")],
    };
    let start: [Field<'_>; 3] = [
        ("kind",               &[102, 0]),
        ("must understand",    &[1]),
        ("length",             &[80, 0, 0, 0]),
    ];
    let end: [Field<'_>; 10] = [
        ("epoch",              &[3]),
        ("start in 60000 ms",  &[1, 251, 0x60, 0xea]),
        ("a beat in 500 ms",   &[251, 0xf4, 0x01]),
        ("seats",              &[2]),
        ("seat",               &[1]),
        ("its first holder",   &[1]),
        ("name",               &[4, b'I', b'l', b's', b'e']),
        ("seat",               &[2]),
        ("its first holder",   &[1]),
        ("name",               &[4, b'Z', b'o', 0xc3, 0xab]),
    ];
    let fields: Vec<Field<'_>> = start.into_iter().chain(AGREEMENT).chain(end).collect();
    check_to_station(ToStation::Agreement(Box::new(document)), &fields);
}

#[test]
#[rustfmt::skip]
fn an_agreement_of_ones_own_offsets_that_calls_a_string() {
    let offsets = [5.0, 0.0, 1.0, 0.0, -2.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0];
    let mut agreement = agreement();
    agreement.tuning.temperament = Temperament::own(&offsets).expect("own");
    agreement.tuning.setting = Setting::FLATS;
    agreement.called = Some(Note::new(Letter::C, Accidental::Natural, 4));
    let document = Document {
        agreement,
        epoch: 3,
        start_in: None,
        beat_every: Duration::from_millis(250),
        seats: Vec::new(),
    };
    check_to_station(
        ToStation::Agreement(Box::new(document)),
        &[
            ("kind",               &[102, 0]),
            ("must understand",    &[1]),
            ("length",             &[69, 0, 0, 0]),
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
            ("a string is called", &[1]),
            ("letter C",           &[0]),
            ("octave",             &[4]),
            ("epoch",              &[3]),
            ("no start",           &[0]),
            ("a beat in 250 ms",   &[250]),
            ("no seats",           &[0]),
        ],
    );
}

#[test]
#[rustfmt::skip]
fn who_is_let_in_and_who_wants_a_seat() {
    check_to_station(
        ToStation::Admitted { ensemble: "Duo".parse().expect("a name") },
        &[("kind", &[109, 0]), ("flags", &[1]), ("length", &[4, 0, 0, 0]), ("ensemble", &[3, b'D', b'u', b'o'])],
    );
    check_to_station(
        ToStation::TakeOverAsked { seat: 3, name: "Zoë".parse().expect("a name"), by: Fingerprint([9; 32]) },
        &[
            ("kind",               &[110, 0]),
            ("must understand",    &[1]),
            ("length",             &[38, 0, 0, 0]),
            ("seat",               &[3]),
            ("name",               &[4, b'Z', b'o', 0xc3, 0xab]),
            ("key",                &[9; 32]),
        ],
    );
    check_to_station(
        ToStation::TakeOverDenied { seat: 3 },
        &[("kind", &[111, 0]), ("flags", &[1]), ("length", &[1, 0, 0, 0]), ("seat", &[3])],
    );
}

#[test]
fn a_no_of_a_newer_version_is_still_a_no() {
    let newer = [105, 0, 1, 1, 0, 0, 0, 99];
    assert_eq!(
        decode_to_station(&newer),
        Ok(Some(ToStation::Refused(Refusal::Misspoke)))
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
        (Refusal::Asked,         9),
        (Refusal::Declined,      10),
        (Refusal::Copied,        11),
        (Refusal::SeatTaken,     12),
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
