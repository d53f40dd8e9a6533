//! A record with a little of everything in it.

use std::path::PathBuf;

use consort_proto::{Cents, Reading, StringNumber, Tolerance, Tuning, harp_file};
use consort_record::{
    Climate, Concert, Date, Deed, Event, Fitting, Heard, Length, Moment, Partial, Place, Sheet, Spoilt, Timbre,
};
use consort_record_store::{Entry, Kept, Store};
use tempfile::TempDir;

pub(crate) const TODAY: &str = "2026-11-25";

pub(crate) fn day(text: &str) -> Date {
    text.parse().expect("a day")
}

/// The path of a record that is not there yet, in a place that goes with the test.
pub(crate) fn file(test: &str) -> (TempDir, PathBuf) {
    let place = TempDir::with_prefix(format!("consort-records-{test}-")).expect("a place");
    let path = place.path().join("data/record.sqlite");
    (place, path)
}

pub(crate) fn string(number: u32) -> StringNumber {
    StringNumber::new(number).expect("a string")
}

/// A new record in a place that goes with the test.
pub(crate) fn empty(test: &str) -> (TempDir, Store) {
    let (place, path) = file(test);
    let store = Store::open(&path).expect("open");
    (place, store)
}

/// The same with one harp, made in 2001.
pub(crate) fn begun(test: &str) -> (TempDir, Store, Kept) {
    let (place, mut store) = empty(test);
    let sheet = Sheet {
        made: Some(day("2001-05-01")),
        ..Sheet::of(harp_file::preset("pedal-47").expect("a preset"))
    };
    store.add_harp("a1", &sheet).expect("a harp");
    let kept = store.harp(None).expect("the only harp");
    (place, store, kept)
}

/// Begins a tuning and hears three strings in it.
pub(crate) fn tune(store: &mut Store, kept: &Kept, begun: &str) {
    let at: Moment = begun.parse().expect("a moment");
    let place = Place::new("home, \"upstairs\"").expect("a place");
    let tuning = store
        .begin_tuning(kept.id, at, &place, &Tuning::default(), &Tolerance::default())
        .expect("a tuning");
    for number in [1, 20, 47] {
        let open = Tuning::default().open_target(kept.sheet.harp.string(string(number)).expect("a string"));
        let timbre = Timbre {
            partials: vec![Partial {
                number: 2,
                above: Cents(1.5),
                sigma: Cents(0.2),
            }],
            beat_hz: None,
            decay_s: Some(1.25),
            brightness_db: None,
            glide: None,
        };
        for (later, cents) in [(0_i64, -3.0), (4_500, 0.5)] {
            let reading = Reading::new(string(number), open.raised_by(Cents(cents)), Cents(0.2)).expect("a reading");
            let at_ms = at.0 * 1_000 + i64::from(number) * 10_000 + later;
            let heard = Heard {
                at: Moment(at_ms / 1_000),
                position: 0,
                reading,
                timbre: Some(timbre.clone()),
            };
            store.hear(kept.id, tuning, at_ms, &heard).expect("kept");
        }
    }
}

pub(crate) fn fitting(number: u32, on: &str) -> Entry {
    Entry::Fitting(Fitting {
        string: string(number),
        on: day(on),
        material: kept_material(number),
        gauge_mm: Some(1.02),
        length: Some("3E, spring".to_owned()),
    })
}

pub(crate) fn kept_material(number: u32) -> consort_proto::Material {
    let harp = harp_file::preset("pedal-47").expect("a preset");
    harp.string(string(number)).expect("a string").material
}

pub(crate) fn fill(store: &mut Store, kept: &Kept) {
    tune(store, kept, "2026-11-20T18:00:00Z");
    tune(store, kept, "2026-11-21T18:00:00Z");
    store
        .write(kept, &fitting(20, "2026-11-19"), day(TODAY))
        .expect("a fitting");
    let length = Length {
        name: "3E, spring".to_owned(),
        bought: day("2026-03-01"),
        string: string(17),
        material: kept_material(17),
        gauge_mm: Some(1.02),
        yields: 4,
    };
    store.write(kept, &Entry::Length(length), day(TODAY)).expect("a length");
    let spoilt = Spoilt {
        length: "3E, spring".to_owned(),
        on: day("2026-11-20"),
        note: "a kink, \"half-way\"".to_owned(),
    };
    store.write(kept, &Entry::Spoilt(spoilt), day(TODAY)).expect("a mark");
    let pushed = Event {
        on: day("2026-11-21"),
        deed: Deed::PinPushed(string(47)),
        note: "squeaks, \"a bit\"".to_owned(),
    };
    store.write(kept, &Entry::Event(pushed), day(TODAY)).expect("an event");
    let concert = Concert {
        on: day("2026-12-12"),
        name: "Winter".to_owned(),
    };
    store
        .write(kept, &Entry::Concert(concert), day(TODAY))
        .expect("a concert");
    let climate = Climate::new(Moment(1_795_600_000), Some(20.5), Some(44.0)).expect("a room");
    store.note_climate(kept.id, &climate).expect("the room");
}
