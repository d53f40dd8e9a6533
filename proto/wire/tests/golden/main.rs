//! The exact bytes of every message: what has shipped once must read the same for ever.
//!
//! Numbers are little endian.
//! In a payload, an unsigned number up to 250 takes one byte; 251, 252 and 253 announce two, four and eight bytes.
//! A signed number is first folded: 0, −1, 1, −2 become 0, 1, 2, 3.

mod coordinator;
mod deputy;
mod pairing;
mod station;

use consort_proto::{
    Accidental, Agreement, Cents, Harp, HarpString, Kind, Letter, Material, Mechanism, Note, ReferencePitch, Revision,
    Round, SessionId, Setting, Temperament, ToCoordinator, ToStation, Tolerance, Tuning,
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

/// What a duo tunes to.
fn agreement() -> Agreement {
    Agreement {
        session: SESSION,
        revision: Revision(7),
        ensemble: "Duo".parse().expect("a name"),
        tuning: Tuning {
            a4: ReferencePitch::new(442.0).expect("in reach"),
            temperament: Temperament::default(),
            setting: Setting::NATURALS,
        },
        tolerance: Tolerance::default(),
        round: Round(1),
        called: None,
    }
}

/// The bytes of [`agreement`].
const AGREEMENT: [Field<'static>; 12] = [
    ("session", &SESSION.0),
    ("revision", &[7]),
    ("ensemble", &[3, b'D', b'u', b'o']),
    ("A4: 442000 mHz", &[252, 0x90, 0xbe, 0x06, 0x00]),
    ("equal", &[1]),
    ("its offsets", &[0; 12]),
    ("naturals", &[1; 7]),
    ("middle: 2000 mc", &[251, 0xa0, 0x0f]),
    ("wires: 3000 mc", &[251, 0x70, 0x17]),
    ("top: 5000 mc", &[251, 0x10, 0x27]),
    ("round", &[1]),
    ("no string is called", &[0]),
];

/// The bytes of [`harp`].
const HARP: [Field<'static>; 15] = [
    ("name of the harp", &[3, b'E', b'l', b'm']),
    ("kind: other", &[2]),
    ("strings", &[2]),
    ("octave", &[4]),
    ("letter A", &[5]),
    ("flat", &[0]),
    ("gut", &[1]),
    ("discs", &[0]),
    ("regulation: 0, 2500", &[0, 251, 0x88, 0x13]),
    ("octave: -1", &[0xff]),
    ("letter C", &[0]),
    ("natural", &[1]),
    ("wire", &[3]),
    ("fixed", &[2]),
    ("regulation: -50, 0", &[99, 0]),
];
