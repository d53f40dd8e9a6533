//! The session's file, written and opened again.

use std::time::Duration;

use super::*;
use consort_proto::message::Content;
use consort_proto::{
    Cents, Fingerprint, Harp, Hz, Mark, Reading, ReferencePitch, Report, Scheme, Sequence, StringNumber, Temperament,
    Tenure, harp_file,
};
use consort_session::{Ruled, Ruling, SavedStation};
use tempfile::TempDir;

/// A data folder in a place that goes with the test.
fn folder(test: &str) -> (TempDir, Folder) {
    let place = TempDir::with_prefix(format!("consort-session-{test}-")).expect("a place");
    let folder = Folder::open(&place.path().join("data")).expect("folder");
    (place, folder)
}

fn open(folder: &Folder) -> Opened {
    Store::open(folder, &Opening::default()).expect("open")
}

fn harp() -> Harp {
    harp_file::preset("lever-34").expect("preset")
}

fn report(of: &Saved, sequence: u64, content: Content) -> Report {
    Report {
        sequence: Sequence(sequence),
        session: of.agreement.session,
        round: of.agreement.round,
        tenure: Tenure { seat: 1, epoch: 1 },
        age: Duration::ZERO,
        content,
    }
}

fn reading(string: u32, hz: f64) -> Content {
    let string = StringNumber::new(string).expect("string");
    Content::Reading(Reading::new(string, Hz::new(hz).expect("hz"), Cents(0.1)).expect("reading"))
}

fn agreed(agreement: Agreement) -> Record {
    Record::Agreement {
        agreement: Box::new(agreement),
        start_in: None,
        undo_to: None,
    }
}

fn mark(string: u32, mark: Option<Mark>) -> Content {
    Content::Mark {
        string: StringNumber::new(string).expect("string"),
        mark,
    }
}

const PEER: Fingerprint = Fingerprint([7; 32]);

fn station() -> Record {
    Record::Station {
        peer: PEER,
        name: "Ilse".parse().expect("name"),
        harp: harp(),
    }
}

/// Hands the records over and waits for each to be on the disk.
fn persist(opened: &mut Opened, records: Vec<Record>) {
    for (number, record) in (1..).zip(records) {
        opened.store.persist(Ticket(number), record);
        assert_eq!(opened.events.blocking_recv(), Some(Event::Persisted(Ticket(number))));
    }
}

fn only_station(opened: &Opened) -> &SavedStation {
    let [station] = opened.saved.stations.as_slice() else {
        panic!("{:?}", opened.saved.stations)
    };
    station
}

#[test]
fn each_opening_counts_one_epoch_up_and_keeps_session_and_token() {
    let (_place, folder) = folder("epoch");
    let first = open(&folder).saved;
    assert_eq!(first.epoch, 1);
    for epoch in 2..5 {
        let again = open(&folder).saved;
        assert_eq!(again, Saved { epoch, ..first.clone() });
    }
}

#[test]
fn what_the_opening_asks_for_is_one_new_revision() {
    let (_place, folder) = folder("opening");
    let first = open(&folder).saved.agreement;
    let opening = Opening {
        pitch: Some(ReferencePitch::new(442.0).expect("pitch")),
        temperament: Some(Temperament::named(Scheme::Vallotti)),
        ..Opening::default()
    };
    let changed = Store::open(&folder, &opening).expect("open").saved.agreement;
    assert_eq!(changed.revision, Revision(first.revision.0 + 1));
    assert_eq!(changed.tuning.a4.hz().get(), 442.0);
    // Asking for what is agreed already changes nothing.
    assert_eq!(Store::open(&folder, &opening).expect("open").saved.agreement, changed);
    assert_eq!(open(&folder).saved.agreement, changed);
}

#[test]
fn an_agreement_is_read_back_to_the_last_bit() {
    let (_place, folder) = folder("agreement");
    let mut opened = open(&folder);
    let agreement = Agreement {
        revision: Revision(9),
        ensemble: "Harfenkreis Süd 🎵".parse().expect("name"),
        tuning: Tuning {
            a4: ReferencePitch::new(441.3).expect("pitch"),
            temperament: Temperament::own(&[5.9, 0.1, 2.0, 3.9, -2.0, 7.8, -1.7, 3.9, 2.0, 0.0, 5.9, -3.9])
                .expect("own"),
            setting: "Db C# B Eb F Gb Ab".parse().expect("setting"),
        },
        tolerance: Tolerance {
            middle: Cents(1.1),
            wires: Cents(2.2),
            top: Cents(3.3),
        },
        ..opened.saved.agreement.clone()
    };
    persist(&mut opened, vec![agreed(agreement.clone())]);
    drop(opened);
    assert_eq!(open(&folder).saved.agreement, agreement);
}

#[test]
fn the_start_and_what_can_be_taken_back_are_kept_over_a_restart() {
    let (_place, folder) = folder("undo");
    let mut opened = open(&folder);
    let first = opened.saved.agreement.clone();
    let at = |revision: u64, a4| {
        let mut agreement = first.clone();
        agreement.revision = Revision(revision);
        agreement.tuning.a4 = ReferencePitch::new(a4).expect("pitch");
        agreement
    };
    let hour = Duration::from_secs(3_600);
    let record = |agreement, start_in, undo_to| Record::Agreement {
        agreement: Box::new(agreement),
        start_in,
        undo_to: Some(Revision(undo_to)),
    };
    persist(
        &mut opened,
        vec![
            record(at(2, 441.0), Some(hour), 1),
            record(at(3, 442.0), Some(hour), 2),
            // An undo of the third, and another change.
            record(at(4, 441.0), Some(hour), 1),
            record(at(5, 443.0), Some(hour), 4),
        ],
    );
    drop(opened);
    let saved = open(&folder).saved;
    let past: Vec<_> = saved
        .past
        .iter()
        .map(|past| (past.revision.0, past.tuning.a4.hz().get(), past.start_in.is_some()))
        .collect();
    assert_eq!(past, [(1, 440.0, false), (4, 441.0, true)]);
    let left = saved.start_in.expect("a start");
    assert!(left <= hour && left + Duration::from_secs(60) > hour, "{left:?}");
}

#[test]
fn a_station_is_read_back_with_its_harp_marks_and_readings() {
    let (_place, folder) = folder("station");
    let mut opened = open(&folder);
    let reports = vec![
        report(&opened.saved, 3, reading(12, 440.2)),
        report(&opened.saved, 4, mark(1, Some(Mark::Missing))),
        report(&opened.saved, 8, reading(12, 440.1)),
        report(&opened.saved, 9, mark(2, Some(Mark::New))),
        report(&opened.saved, 10, mark(2, None)),
    ];
    persist(&mut opened, vec![station(), Record::Reports { peer: PEER, reports }]);
    drop(opened);
    let opened = open(&folder);
    let station = only_station(&opened);
    assert_eq!(
        (station.peer, station.acked, station.removed),
        (PEER, Sequence(10), false)
    );
    assert_eq!((station.name.as_str(), &station.harp), ("Ilse", &harp()));
    assert_eq!(station.stories.len(), 34);
    let heard: Vec<f64> = station.stories[11]
        .readings()
        .iter()
        .map(|reading| reading.hz.get())
        .collect();
    assert_eq!(heard, [440.2, 440.1]);
    assert_eq!(station.stories[0].mark(), Some(Mark::Missing));
    assert_eq!(station.stories[1].mark(), None);
}

#[test]
fn a_new_round_empties_the_readings_and_keeps_the_marks() {
    let (_place, folder) = folder("round");
    let mut opened = open(&folder);
    let reports = vec![
        report(&opened.saved, 1, reading(5, 1200.0)),
        report(&opened.saved, 2, mark(6, Some(Mark::New))),
    ];
    let next = Agreement {
        revision: Revision(2),
        round: Round(2),
        ..opened.saved.agreement.clone()
    };
    let late = vec![report(&opened.saved, 3, reading(5, 1201.0))];
    persist(
        &mut opened,
        vec![
            station(),
            Record::Reports { peer: PEER, reports },
            agreed(next),
            // Heard in the round before: acknowledged, not counted.
            Record::Reports {
                peer: PEER,
                reports: late,
            },
        ],
    );
    drop(opened);
    let opened = open(&folder);
    let station = only_station(&opened);
    assert!(station.stories.iter().all(|story| story.readings().is_empty()));
    assert_eq!(station.stories[5].mark(), Some(Mark::New));
    assert_eq!(station.acked, Sequence(3));
}

#[test]
fn a_removed_station_stays_removed_until_it_is_let_back() {
    let (_place, folder) = folder("removed");
    for removed in [true, false] {
        let mut opened = open(&folder);
        persist(&mut opened, vec![station(), Record::Removed { peer: PEER, removed }]);
        drop(opened);
        assert_eq!(only_station(&open(&folder)).removed, removed);
    }
}

#[test]
fn after_a_refusal_nothing_is_safe_until_the_session_knows_of_it() {
    let (_place, folder) = folder("refusal");
    let mut opened = open(&folder);
    let reports = |peer| Record::Reports {
        peer,
        reports: vec![report(&opened.saved, 1, reading(1, 3000.0))],
    };
    // Reports of a station that was never written down cannot be written either.
    opened.store.persist(Ticket(1), reports(Fingerprint([1; 32])));
    opened.store.persist(Ticket(2), station());
    for ticket in [Ticket(1), Ticket(2)] {
        assert_eq!(opened.events.blocking_recv(), Some(Event::NotPersisted(ticket)));
    }
    opened.store.refusal_is_told();
    opened.store.persist(Ticket(3), station());
    assert_eq!(opened.events.blocking_recv(), Some(Event::Persisted(Ticket(3))));
}

#[test]
fn a_value_that_means_nothing_puts_the_file_aside_and_begins_anew() {
    for damage in [
        "UPDATE agreement SET a4_hz = 4400",
        "UPDATE agreement SET setting = 'H dur'",
        "UPDATE agreement SET temperament = 'loud'",
        "UPDATE agreement SET ensemble = ''",
        "UPDATE session SET id = x'00'",
        "DELETE FROM agreement",
        "DELETE FROM string",
        "UPDATE string SET material = 'stone' WHERE number = 3",
    ] {
        let (_place, folder) = folder("meaningless");
        let mut opened = open(&folder);
        persist(&mut opened, vec![station()]);
        let before = opened.saved.agreement.session;
        drop(opened);
        let connection = rusqlite::Connection::open(folder.file(FILE)).expect("connection");
        connection.execute_batch(damage).expect(damage);
        drop(connection);
        let opened = open(&folder);
        assert!(opened.put_aside.is_some_and(|aside| aside.exists()), "{damage}");
        assert_ne!(opened.saved.agreement.session, before, "{damage}");
    }
}

const OTHER: Fingerprint = Fingerprint([8; 32]);

/// Another laptop, on which a harp of these strings is played.
fn other(harp: Harp) -> Record {
    Record::Station {
        peer: OTHER,
        name: "Otto".parse().expect("name"),
        harp,
    }
}

#[test]
fn a_seat_that_changed_hands_keeps_its_readings_if_the_harps_are_alike() {
    for (same, kept) in [(true, 1), (false, 0)] {
        let (_place, folder) = folder("taken-over");
        let mut opened = open(&folder);
        let of_ilse = vec![report(&opened.saved, 7, reading(12, 440.2))];
        let taker = if same {
            // How far its levers are off is known on the second laptop alone, and makes no other harp of it.
            let mut strings = harp().strings().to_vec();
            strings[11].regulation[0] = Cents(-3.0);
            Harp::new(harp().name().to_owned(), harp().kind(), strings).expect("a harp")
        } else {
            harp_file::preset("lever-22").expect("preset")
        };
        persist(
            &mut opened,
            vec![
                station(),
                Record::Reports {
                    peer: PEER,
                    reports: of_ilse,
                },
                other(taker.clone()),
                Record::TakenOver { from: PEER, to: OTHER },
            ],
        );
        drop(opened);
        let mut opened = open(&folder);
        let seat = only_station(&opened).clone();
        assert_eq!((seat.peer, seat.tenure), (OTHER, Tenure { seat: 1, epoch: 2 }));
        assert_eq!(
            (seat.name.as_str(), &seat.harp, seat.acked),
            ("Otto", &taker, Sequence(0))
        );
        assert_eq!(seat.stories[11].readings().len(), kept);
        // Ilse's laptop is a newcomer now, and what it had heard in the first seat is not counted in the second.
        let late = vec![report(&opened.saved, 8, reading(12, 440.3))];
        persist(
            &mut opened,
            vec![
                station(),
                Record::Reports {
                    peer: PEER,
                    reports: late,
                },
            ],
        );
        drop(opened);
        let stations = open(&folder).saved.stations;
        assert_eq!(
            (stations[1].peer, stations[1].tenure),
            (PEER, Tenure { seat: 2, epoch: 1 })
        );
        assert_eq!(
            (stations[1].acked, stations[1].stories[11].readings().len()),
            (Sequence(8), 0)
        );
    }
}

#[test]
fn deputies_levels_and_a_called_string_are_kept() {
    let (_place, folder) = folder("deputies");
    let mut opened = open(&folder);
    let Content::Reading(quiet) = reading(12, 440.2) else {
        unreachable!("it is a reading")
    };
    let quiet = quiet.at_level(-31.5).expect("level");
    let reports = vec![
        report(&opened.saved, 1, Content::Reading(quiet)),
        report(
            &opened.saved,
            2,
            Content::Reading(quiet.judged(consort_proto::Verdict::Unsure)),
        ),
    ];
    let called = Agreement {
        revision: Revision(2),
        called: Some("C4".parse().expect("note")),
        ..opened.saved.agreement.clone()
    };
    persist(
        &mut opened,
        vec![
            station(),
            Record::Reports { peer: PEER, reports },
            Record::Pinned { peer: OTHER },
            Record::Deputy {
                peer: OTHER,
                granted: true,
            },
            Record::Deputy {
                peer: PEER,
                granted: true,
            },
            Record::Deputy {
                peer: PEER,
                granted: false,
            },
            agreed(called.clone()),
        ],
    );
    drop(opened);
    let opened = open(&folder);
    assert_eq!(
        (&opened.saved.deputies, &opened.saved.agreement),
        (&vec![OTHER], &called)
    );
    assert_eq!(only_station(&opened).stories[11].readings(), [quiet]);
}

#[test]
fn what_was_ruled_is_kept_and_a_pitch_for_the_next_round_until_it_begins() {
    let (_place, folder) = folder("ruled");
    let mut opened = open(&folder);
    let a4 = ReferencePitch::new(441.5).expect("pitch");
    let rulings = [
        Ruling::NextPitch(Some(a4)),
        Ruling::Tones { allowed: false },
        Ruling::Board(3),
    ];
    persist(&mut opened, rulings.map(Record::Ruling).into());
    drop(opened);
    let mut opened = open(&folder);
    let ruled = Ruled {
        next_pitch: Some(a4),
        silenced: true,
        board: 3,
    };
    assert_eq!(opened.saved.ruled, ruled);
    let next = Agreement {
        revision: Revision(2),
        round: Round(2),
        ..opened.saved.agreement.clone()
    };
    persist(&mut opened, vec![agreed(next)]);
    drop(opened);
    let ruled = Ruled {
        next_pitch: None,
        silenced: true,
        board: 3,
    };
    assert_eq!(open(&folder).saved.ruled, ruled);
}

#[test]
fn the_order_of_seats_is_kept_and_who_comes_later_is_last() {
    let (_place, folder) = folder("order");
    let mut opened = open(&folder);
    let seated = |number: u8| Record::Station {
        peer: Fingerprint([number; 32]),
        name: "Ilse".parse().expect("name"),
        harp: harp(),
    };
    let order = [3, 1, 2].map(|number| Fingerprint([number; 32]));
    let records = vec![
        seated(1),
        seated(2),
        seated(3),
        Record::Ruling(Ruling::Order(order.into())),
        seated(4),
    ];
    persist(&mut opened, records);
    drop(opened);
    let stations = open(&folder).saved.stations;
    let places: Vec<(u8, u32)> = stations.iter().map(|one| (one.peer.0[0], one.place)).collect();
    assert_eq!(places, [(1, 2), (2, 3), (3, 1), (4, 4)]);
}
