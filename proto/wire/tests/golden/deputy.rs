//! What deputies and the coordinator say to each other.

use std::time::Duration;

use consort_proto::deputy::{Change, FromDeputy, HarpPicture, Heard, Hindsight, Outcome, Picture, ToDeputy};
use consort_proto::message::Refusal;
use consort_proto::{Accidental, Age, Cents, Letter, Material, Note, ReferencePitch, RoomMove, Standing};
use consort_wire::{decode_from_deputy, decode_to_deputy, encode_from_deputy, encode_to_deputy};

use crate::{AGREEMENT, Field, HARP, agreement, harp, joined};

#[track_caller]
fn check_from(message: FromDeputy, fields: &[Field<'_>]) {
    let bytes = joined(fields);
    assert_eq!(encode_from_deputy(&message), bytes, "{message:?}");
    assert_eq!(decode_from_deputy(&bytes), Ok(Some(message)));
}

#[track_caller]
fn check_to(message: ToDeputy, fields: &[Field<'_>]) {
    let bytes = joined(fields);
    assert_eq!(encode_to_deputy(&message), bytes, "{message:?}");
    assert_eq!(decode_to_deputy(&bytes), Ok(Some(message)));
}

#[test]
fn a_deputys_look_and_beat_are_headers_alone() {
    check_from(
        FromDeputy::Watch,
        &[("kind", &[201, 0]), ("flags", &[1]), ("length", &[0; 4])],
    );
    check_from(
        FromDeputy::Beat,
        &[("kind", &[202, 0]), ("flags", &[1]), ("length", &[0; 4])],
    );
}

/// An order's frame, where everything that it does not change is as usual.
#[rustfmt::skip]
fn order(length: u8, change: &'static [u8], a4: &'static [u8], start: &'static [u8], called: &'static [u8]) -> Vec<u8> {
    joined(&[
        ("kind",               &[203, 0]),
        ("must understand",    &[1]),
        ("length",             &[length, 0, 0, 0]),
        ("number",             &[5]),
        ("change",             change),
        ("A4",                 a4),
        ("equal",              &[1]),
        ("its offsets",        &[0; 12]),
        ("naturals",           &[1; 7]),
        ("middle: 2000 mc",    &[251, 0xa0, 0x0f]),
        ("wires: 3000 mc",     &[251, 0x70, 0x17]),
        ("top: 5000 mc",       &[251, 0x10, 0x27]),
        ("start",              start),
        ("called",             called),
    ])
}

#[test]
fn an_order_carries_what_it_changes_and_the_usual_besides() {
    const USUAL: &[u8] = &[252, 0xc0, 0xb6, 0x06, 0x00];
    let a4 = ReferencePitch::new(442.0).expect("in reach");
    let minute = Some(Duration::from_secs(60));
    let middle_c = Note::new(Letter::C, Accidental::Natural, 4);
    for (change, bytes) in [
        (
            Change::Pitch(a4),
            order(38, &[1], &[252, 0x90, 0xbe, 0x06, 0x00], &[0], &[0]),
        ),
        (Change::NewRound, order(38, &[6], USUAL, &[0], &[0])),
        (Change::Undo, order(38, &[7], USUAL, &[0], &[0])),
        (
            Change::Start(minute),
            order(41, &[5], USUAL, &[1, 251, 0x60, 0xea], &[0]),
        ),
        (Change::Call(Some(middle_c)), order(40, &[8], USUAL, &[0], &[1, 0, 4])),
    ] {
        check_from(FromDeputy::Order { number: 5, change }, &[("whole", &bytes)]);
    }
}

#[test]
#[rustfmt::skip]
fn a_harp_as_deputies_see_it() {
    let picture = HarpPicture {
        seat: 2,
        name: "Zoë".parse().expect("a name"),
        harp: harp(),
        standings: vec![Standing::Holds(Cents(0.5)), Standing::NotHeard],
        heard: Heard::Silent(Duration::from_millis(4_000)),
        help: true,
    };
    let start: [Field<'_>; 5] = [
        ("kind",                &[45, 1]),
        ("must understand",     &[1]),
        ("length",              &[41, 0, 0, 0]),
        ("seat",                &[2]),
        ("name of the harpist", &[4, b'Z', b'o', 0xc3, 0xab]),
    ];
    let end: [Field<'_>; 8] = [
        ("standings",           &[2]),
        ("holds",               &[3]),
        ("500 millicents",      &[1, 251, 0xe8, 0x03]),
        ("not heard",           &[0]),
        ("nowhere",             &[0]),
        ("silent",              &[2]),
        ("for 4000 ms",         &[251, 0xa0, 0x0f]),
        ("wants help",          &[1]),
    ];
    let fields: Vec<Field<'_>> = start.into_iter().chain(HARP).chain(end).collect();
    check_to(ToDeputy::Harp(picture), &fields);
}

#[test]
#[rustfmt::skip]
fn a_picture_an_answer_and_a_no() {
    let picture = Picture {
        agreement: agreement(),
        start_in: None,
        can_undo: true,
        disk_trouble: false,
        granted: true,
        seats: vec![1, 2],
    };
    let start: [Field<'_>; 3] = [
        ("kind",               &[46, 1]),
        ("must understand",    &[1]),
        ("length",             &[64, 0, 0, 0]),
    ];
    let end: [Field<'_>; 5] = [
        ("no start",           &[0]),
        ("can undo",           &[1]),
        ("the disk is well",   &[0]),
        ("granted",            &[1]),
        ("seats",              &[2, 1, 2]),
    ];
    let fields: Vec<Field<'_>> = start.into_iter().chain(AGREEMENT).chain(end).collect();
    check_to(ToDeputy::Picture(picture), &fields);
    for (outcome, code) in [
        (Outcome::Done,        0),
        (Outcome::Unchanged,   1),
        (Outcome::NotGranted,  2),
        (Outcome::NotWritten,  3),
    ] {
        check_to(
            ToDeputy::Done { number: 5, outcome },
            &[("kind", &[47, 1]), ("flags", &[1]), ("length", &[2, 0, 0, 0]), ("number", &[5]), ("outcome", &[code])],
        );
    }
    check_to(
        ToDeputy::Refused(Refusal::Removed),
        &[("kind", &[48, 1]), ("flags", &[1]), ("length", &[1, 0, 0, 0]), ("why", &[3])],
    );
}

#[test]
#[rustfmt::skip]
fn what_a_picture_looks_back_on_may_be_missed() {
    let age = Age {
        confirmed: Some(Duration::from_secs(600)),
        to_confirm: None,
    };
    let moved = RoomMove {
        material: Material::Gut,
        cents: Cents(-2.5),
        harps: 3,
        of: 4,
        since: Duration::from_secs(60),
    };
    check_to(
        ToDeputy::Hindsight(Hindsight { ages: vec![(7, age)], room: vec![moved] }),
        &[
            ("kind",               &[0x31, 0x01]),
            ("may be missed",      &[0]),
            ("length",             &[15, 0, 0, 0]),
            ("one age",            &[1]),
            ("seat",               &[7]),
            ("confirmed: 600 s",   &[1, 251, 0x58, 0x02]),
            ("nothing to confirm", &[0]),
            ("one material",       &[1]),
            ("gut",                &[1]),
            // Zigzag: 2 x 2500 - 1.
            ("fell by 2500 mc",    &[251, 0x87, 0x13]),
            ("harps",              &[3]),
            ("of",                 &[4]),
            ("60 s ago",           &[60]),
        ],
    );
}

#[test]
#[rustfmt::skip]
fn who_has_plucked_a_called_string_may_be_missed() {
    check_to(
        ToDeputy::Answers(vec![2, 7]),
        &[
            ("kind",          &[0x32, 0x01]),
            ("may be missed", &[0]),
            ("length",        &[3, 0, 0, 0]),
            ("two seats",     &[2]),
            ("seats",         &[2, 7]),
        ],
    );
}
