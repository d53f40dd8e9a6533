//! Crashes in the middle of a write, several programs at once, damaged pages, refused imports.

use std::fs;
use std::path::{Path, PathBuf};
use std::thread;

use consort_record_store::{RecordError, Store, Whose};

use crate::filled::{TODAY, begun, day, empty, file, fill, fitting, string, tune};

/// The companion of `path` that holds what was written lately.
fn log_of(path: &Path) -> PathBuf {
    PathBuf::from(format!("{}-wal", path.display()))
}

/// A killed program or a power cut leaves any part of what was being written: the log is cut after each of its bytes, or
/// after enough of them, and what was acknowledged before is there while the last change is there whole or not at all.
#[test]
fn a_write_that_broke_off_anywhere_leaves_everything_before_it() {
    let (_place, mut store, kept) = begun("broken");
    tune(&mut store, &kept, "2026-11-20T18:00:00Z");
    let path = store.path().to_owned();
    let before = fs::read(log_of(&path)).expect("the log").len();
    store
        .write(&kept, &fitting(20, "2026-11-19"), day(TODAY))
        .expect("written");
    let (database, log) = (
        fs::read(&path).expect("the file"),
        fs::read(log_of(&path)).expect("the log"),
    );
    assert!(log.len() > before, "the log has grown");
    let (_place, left) = file("broken-left");
    fs::create_dir_all(left.parent().expect("a folder")).expect("a folder");
    let (mut whole, mut without) = (0, 0);
    for length in (before..=log.len()).step_by(61).chain([log.len()]) {
        for end in ["-wal", "-shm"] {
            let _ = fs::remove_file(format!("{}{end}", left.display()));
        }
        fs::write(&left, &database).expect("a copy");
        fs::write(log_of(&left), &log[..length]).expect("a copy");
        let mut store = Store::open(&left).expect("open what is left");
        assert_eq!(store.history(kept.id, string(20)).expect("a history").len(), 2);
        let life = store.life(&kept, None).expect("a life");
        match life.fittings.len() {
            0 => without += 1,
            _ => whole += 1,
        }
        // Either way the change can be taken back or made again.
        match store.undo(kept.id) {
            Ok(_) => assert_eq!(life.fittings.len(), 1),
            Err(RecordError::NothingToUndo) => assert_eq!(life.fittings.len(), 0),
            Err(other) => panic!("{other}"),
        }
        store
            .write(&kept, &fitting(20, "2026-11-19"), day(TODAY))
            .expect("written again");
    }
    assert!(whole >= 1 && without > 10, "{whole} {without}");
}

#[test]
fn programs_that_write_one_record_at_the_same_time_lose_nothing() {
    const WRITERS: u32 = 4;
    const EACH: u32 = 8;
    let (_place, store, kept) = begun("at-once");
    let path = store.path().to_owned();
    let writers: Vec<_> = (0..WRITERS)
        .map(|writer| {
            let (path, kept) = (path.clone(), kept.clone());
            thread::spawn(move || {
                let mut store = Store::open(&path).expect("open");
                for number in 0..EACH {
                    let entry = fitting(1 + writer * EACH + number, "2026-11-19");
                    store.write(&kept, &entry, day(TODAY)).expect("written");
                    tune(
                        &mut store,
                        &kept,
                        &format!("2026-11-{:02}T{number:02}:00:00Z", 10 + writer),
                    );
                }
            })
        })
        .collect();
    for writer in writers {
        writer.join().expect("a writer");
    }
    let life = store.life(&kept, None).expect("a life");
    assert_eq!(life.fittings.len() as u32, WRITERS * EACH);
    assert_eq!(life.visits.len() as u32, WRITERS * EACH);
    let heard: u32 = life.visits.iter().map(|visit| visit.strings[&string(47)].plucks).sum();
    assert_eq!(heard, 2 * WRITERS * EACH);
}

/// A page deep in the readings is not looked at when the file is opened; whoever meets it says that the file is damaged.
#[test]
fn a_damaged_page_of_readings_is_said_when_it_is_read() {
    let (_place, mut store, kept) = begun("page");
    for hour in 0..24 {
        for day in 1..10 {
            tune(&mut store, &kept, &format!("2026-11-{day:02}T{hour:02}:00:00Z"));
        }
    }
    let path = store.path().to_owned();
    drop(store);
    let mut bytes = fs::read(&path).expect("the file");
    // The last pages hold readings and their index; the first ones the harps and the layout.
    let middle = bytes.len() / 2;
    let whole = bytes.clone();
    bytes[middle..].fill(0x5a);
    fs::write(&path, &bytes).expect("damage");
    let store = Store::open(&path).expect("its beginning is in order");
    let says = |refusal: RecordError| {
        let says = refusal.at(&path).to_string();
        assert!(
            says.contains("is damaged") && says.contains("import the newest backup"),
            "{says}"
        );
    };
    says(store.export().expect_err("damaged"));
    says(store.life(&kept, None).expect_err("damaged"));
    drop(store);
    assert_eq!(fs::read(&path).expect("the file")[middle..], bytes[middle..]);
    fs::write(&path, whole).expect("the backup");
    assert!(Store::open(&path).expect("open").export().is_ok());
}

#[test]
fn an_import_that_is_refused_takes_in_none_of_its_harps() {
    let (_place, mut store, kept) = begun("half");
    fill(&mut store, &kept);
    let mut form = store.export().expect("an export");
    let mut second = form.harps[0].clone();
    second.tag = "b2".to_owned();
    form.harps.push(second);
    let text = serde_json::to_string(&form).expect("JSON");
    let (_place, mut other) = empty("half-other");
    let refusal = other
        .import(&text, Whose::File, day(TODAY))
        .expect_err("two harps of one name");
    assert!(refusal.to_string().contains("already has a harp called"), "{refusal}");
    assert_eq!(other.harps().expect("harps").len(), 0);
    let refusal = other
        .import(&text, Whose::Called("The pupil's"), day(TODAY))
        .expect_err("one name for two harps");
    assert!(refusal.to_string().contains("only a record of one harp"), "{refusal}");
}

/// A teacher's harp and her pupil's have one name, as those of one kind do where nobody gave them another.
#[test]
fn a_harp_of_the_same_name_is_taken_in_under_another_and_found_again() {
    let (_place, mut pupils, pupils_harp) = begun("pupil");
    fill(&mut pupils, &pupils_harp);
    let mut form = pupils.export().expect("an export");
    form.harps[0].tag = "b2".to_owned();
    let text = serde_json::to_string(&form).expect("JSON");
    let (_place, mut teacher, own) = begun("teacher");
    let first = teacher
        .import(&text, Whose::Called("The pupil's"), day(TODAY))
        .expect("an import");
    assert_eq!((first.harps, first.readings), (1, 12));
    assert_eq!(teacher.tunings(own.id).expect("tunings"), 0, "nothing is mixed");
    // What comes later goes to the same harp, whatever it is called there.
    let second = teacher.import(&text, Whose::File, day(TODAY)).expect("an import");
    assert_eq!((second.harps, second.readings, second.entries), (0, 0, 0));
    let kept = teacher.harp(Some("the PUPIL'S")).expect("in other letters");
    assert_eq!(kept.sheet.harp.name(), "The pupil's");
    let refusal = teacher
        .import(
            &text.replace("\"b2\"", "\"c3\""),
            Whose::Called("the pupil's"),
            day(TODAY),
        )
        .expect_err("a name that looks the same");
    assert!(refusal.to_string().contains("called “The pupil's”"), "{refusal}");
}

#[test]
fn what_the_other_laptop_knows_of_the_harp_for_good_is_taken_in() {
    let (_place, mut store, kept) = begun("sheet");
    let form = store.export().expect("an export");
    let text = serde_json::to_string(&form)
        .expect("JSON")
        .replace("\"tapered\"", "\"threaded\"");
    let imported = store.import(&text, Whose::File, day(TODAY)).expect("an import");
    assert_eq!(imported.entries, 1);
    let sheet = store.harp(None).expect("the harp").sheet;
    assert_eq!(
        (sheet.pins, sheet.made),
        (consort_record::Pins::Threaded, kept.sheet.made)
    );
    // Threaded pins stay threaded, since pushing them does harm.
    let back = serde_json::to_string(&form).expect("JSON");
    store.import(&back, Whose::File, day(TODAY)).expect("an import");
    assert_eq!(
        store.harp(None).expect("the harp").sheet.pins,
        consort_record::Pins::Threaded
    );
}
