//! What a record promises: nothing acknowledged is lost, edits can be taken back, imports are idempotent and refused
//! with their place, two laptops' records become one.

mod faults;
mod filled;
mod sheet;

use std::fs;
use std::path::PathBuf;

use consort_proto::{Cents, Hz, Reading, Tolerance, Tuning, harp_file};
use consort_record::{Climate, Concert, Fitting, Heard, Moment, Partial, Place, Sheet, Timbre};
use consort_record_store::csv::List;
use consort_record_store::{Entry, RecordError, Store, Undone, Whose};
use filled::{TODAY, begun, day, empty, file, fill, fitting, kept_material, string, tune};

#[test]
fn a_life_comes_back_as_it_was_written() {
    let (_place, mut store, kept) = begun("again");
    fill(&mut store, &kept);
    let path = store.path().to_owned();
    drop(store);
    let store = Store::open(&path).expect("open again");
    let life = store.life(&kept, None).expect("a life");
    assert_eq!(
        (
            life.visits.len(),
            life.fittings.len(),
            life.events.len(),
            life.concerts.len()
        ),
        (2, 1, 1, 1)
    );
    let seen = &life.visits[1].strings[&string(20)];
    assert_eq!((seen.plucks, seen.turned), (2, true));
    assert!((seen.left.expect("left").hz.cents_above(seen.found.expect("found").hz).0 - 3.5).abs() < 1e-6);
    assert_eq!(seen.timbres[0].decay_s, Some(1.25));
    assert_eq!(life.climates[0].humidity_percent, Some(44.0));
    let history = store.history(kept.id, string(20)).expect("a history");
    assert_eq!(history.len(), 4);
    assert!(history.windows(2).all(|pair| pair[0].at <= pair[1].at));
    assert_eq!(store.life(&kept, Some(1)).expect("a life").visits.len(), 1);
    let outline = store.outline(&kept).expect("an outline");
    assert_eq!((outline.visits.len(), outline.fittings), (2, life.fittings.clone()));
    assert!(outline.visits.iter().all(|visit| visit.strings.is_empty()));
}

/// The files as they lie on the disk while the program runs are what a killed program leaves.
#[test]
fn what_was_acknowledged_is_there_after_a_crash_at_any_write() {
    let (_place, mut store, kept) = begun("crash");
    for hour in 0..6 {
        tune(&mut store, &kept, &format!("2026-11-20T{hour:02}:00:00Z"));
        let (_place, crashed) = file(&format!("crashed-{hour}"));
        fs::create_dir_all(crashed.parent().expect("a folder")).expect("a folder");
        for end in ["", "-wal"] {
            let name = |path: &PathBuf| PathBuf::from(format!("{}{end}", path.display()));
            fs::copy(name(&store.path().to_owned()), name(&crashed)).expect("a copy");
        }
        let left = Store::open(&crashed).expect("open what is left");
        assert_eq!(left.tunings(kept.id).expect("tunings"), hour + 1);
        assert_eq!(
            left.history(kept.id, string(47)).expect("a history").len(),
            2 * (hour + 1)
        );
    }
}

#[test]
fn two_programs_write_one_record() {
    let (_place, mut one, kept) = begun("two");
    let mut other = Store::open(one.path()).expect("open again");
    tune(&mut one, &kept, "2026-11-20T18:00:00Z");
    tune(&mut other, &kept, "2026-11-21T18:00:00Z");
    other
        .write(&kept, &fitting(20, "2026-11-19"), day(TODAY))
        .expect("a fitting");
    assert_eq!(one.tunings(kept.id).expect("tunings"), 2);
    assert_eq!(one.life(&kept, None).expect("a life").fittings.len(), 1);
}

#[test]
fn edits_are_taken_back_one_after_the_other() {
    let (_place, mut store, kept) = begun("undo");
    let today = day(TODAY);
    let (first, second) = (fitting(20, "2026-11-01"), fitting(21, "2026-11-02"));
    store.write(&kept, &first, today).expect("written");
    store.write(&kept, &second, today).expect("written");
    store
        .write(&kept, &second, today)
        .expect("writing twice changes nothing");
    store.take_out(&kept, &first).expect("taken out");
    let fitted = |store: &Store| -> Vec<u8> {
        let life = store.life(&kept, None).expect("a life");
        life.fittings.iter().map(|fitting| fitting.string.get()).collect()
    };
    assert_eq!(fitted(&store), [21]);
    assert!(matches!(store.undo(kept.id), Ok(Undone::TakenOut(_))));
    assert_eq!(fitted(&store), [20, 21]);
    assert!(matches!(store.undo(kept.id), Ok(Undone::Written(_))));
    assert_eq!(fitted(&store), [20]);
    assert!(matches!(store.undo(kept.id), Ok(Undone::Written(_))));
    assert!(matches!(store.undo(kept.id), Err(RecordError::NothingToUndo)));
    assert_eq!(fitted(&store), Vec::<u8>::new());
    assert!(matches!(store.take_out(&kept, &second), Err(RecordError::NoSuchEntry)));
}

#[test]
fn the_room_and_the_sheet_are_taken_back_before_what_is_older() {
    let (_place, mut store, kept) = begun("undo-all");
    let concert = Entry::Concert(Concert {
        on: day("2026-12-12"),
        name: "Winter".to_owned(),
    });
    store.write(&kept, &concert, day(TODAY)).expect("a concert");
    let warm = Climate::new(Moment(1_795_600_000), Some(20.5), None).expect("a room");
    let humid = Climate::new(Moment(1_795_600_000), Some(21.0), Some(44.0)).expect("a room");
    for climate in [&warm, &humid, &humid] {
        store.note_climate(kept.id, climate).expect("the room");
    }
    let threaded = Sheet {
        pins: consort_record::Pins::Threaded,
        made: None,
        ..kept.sheet.clone()
    };
    store.change_sheet(kept.id, &threaded).expect("changed");
    store
        .change_sheet(kept.id, &threaded)
        .expect("the same changes nothing");
    let undone = store.undo(kept.id).expect("the sheet");
    assert_eq!(undone, Undone::Sheet(Box::new(kept.sheet.clone())));
    assert_eq!(
        undone.json().expect("JSON"),
        r#"{"undone":"put-back","kind":"harp","content":{"pins":"tapered","player":"student","made":"2001-05-01"}}"#
    );
    assert_eq!(store.harp(None).expect("the harp"), kept);
    let climates = |store: &Store| store.life(&kept, None).expect("a life").climates;
    assert_eq!(store.undo(kept.id).expect("the room"), Undone::Room(humid));
    assert_eq!(climates(&store), [warm]);
    assert_eq!(store.undo(kept.id).expect("the room"), Undone::Room(warm));
    assert_eq!(climates(&store), []);
    assert_eq!(store.life(&kept, None).expect("a life").concerts.len(), 1);
    assert_eq!(store.undo(kept.id).expect("the concert"), Undone::Written(concert));
}

#[test]
fn an_export_is_imported_once_and_then_changes_nothing() {
    let (_place, mut store, kept) = begun("export");
    fill(&mut store, &kept);
    let whole = store.export().expect("an export");
    let text = serde_json::to_string(&whole).expect("JSON");
    let (_place, mut other) = empty("import");
    let first = other.import(&text, Whose::File, day(TODAY)).expect("an import");
    assert_eq!((first.harps, first.readings, first.entries), (1, 12, 6));
    let second = other.import(&text, Whose::File, day(TODAY)).expect("an import");
    assert_eq!((second.harps, second.readings, second.entries), (0, 0, 0));
    assert_eq!(other.export().expect("an export"), whole);
}

/// Pitches as they are measured have sixteen digits, which not every reader of JSON takes in exactly.
#[test]
fn a_backup_of_a_backup_is_the_same_to_the_last_digit() {
    let (_place, mut store, kept) = begun("digits");
    let at: Moment = "2026-11-20T18:00:00Z".parse().expect("a moment");
    let (tuning, tolerance) = (Tuning::default(), Tolerance::default());
    let id = store
        .begin_tuning(kept.id, at, &Place::default(), &tuning, &tolerance)
        .expect("a tuning");
    for step in 0..400_i64 {
        let hz = 185.061_326_255_387_12 * (1.0 + step as f64 / 137.0);
        let reading = Reading::new(string(20), Hz::new(hz).expect("a pitch"), Cents(0.1 + 1.0 / hz));
        let heard = Heard {
            at,
            position: 0,
            reading: reading.expect("a reading"),
            timbre: Some(Timbre {
                partials: vec![Partial {
                    number: 2,
                    above: Cents(hz / 700.0),
                    sigma: Cents(1.0 / hz),
                }],
                beat_hz: None,
                decay_s: Some(100.0 / hz),
                brightness_db: Some(-hz / 37.0),
                glide: Some(Cents(-hz / 41.0)),
            }),
        };
        store.hear(kept.id, id, at.0 * 1_000 + step, &heard).expect("kept");
    }
    let text = |store: &Store| serde_json::to_string(&store.export().expect("an export")).expect("JSON");
    let first = text(&store);
    let (_place, mut other) = empty("digits-other");
    other.import(&first, Whose::File, day(TODAY)).expect("an import");
    assert!(text(&other) == first, "the figures differ");
}

#[test]
fn two_laptops_records_of_one_harp_become_one() {
    let (_place, mut one, kept) = begun("one");
    let (_place, mut other, other_kept) = begun("other");
    fill(&mut one, &kept);
    tune(&mut other, &other_kept, "2026-11-22T18:00:00Z");
    other
        .write(&other_kept, &fitting(20, "2026-11-19"), day(TODAY))
        .expect("written");
    other
        .take_out(&other_kept, &fitting(20, "2026-11-19"))
        .expect("taken out");
    let text = |store: &Store| serde_json::to_string(&store.export().expect("an export")).expect("JSON");
    let (from_one, from_other) = (text(&one), text(&other));
    one.import(&from_other, Whose::File, day(TODAY)).expect("an import");
    other.import(&from_one, Whose::File, day(TODAY)).expect("an import");
    assert_eq!(one.export().expect("an export"), other.export().expect("an export"));
    let life = one.life(&kept, None).expect("a life");
    assert_eq!(
        (life.visits.len(), life.fittings.len()),
        (3, 0),
        "what one laptop took out is out"
    );
}

#[test]
fn records_begun_apart_are_joined_by_name() {
    let (_place, mut store, kept) = begun("apart");
    fill(&mut store, &kept);
    let mut form = store.export().expect("an export");
    form.harps[0].tag = "b2".to_owned();
    let text = serde_json::to_string(&form).expect("JSON");
    let (_place, mut other, _) = begun("apart-other");
    let refusal = other
        .import(&text, Whose::File, day(TODAY))
        .expect_err("two harps of one name");
    assert!(refusal.to_string().contains("already has a harp called"), "{refusal}");
    let name = kept.sheet.harp.name().to_owned();
    let imported = other.import(&text, Whose::Into(&name), day(TODAY)).expect("joined");
    assert_eq!((imported.harps, imported.readings), (0, 12));
}

#[test]
fn every_list_goes_out_and_in_as_csv() {
    let (_place, mut store, kept) = begun("csv");
    fill(&mut store, &kept);
    let (_place, mut other, other_kept) = begun("csv-in");
    for list in List::ALL {
        let lines = store.export_csv(&kept, list).expect("a list");
        assert!(lines.len() > 1, "{list:?}");
        let text = lines.join("\r\n");
        other.import_csv(&other_kept, &text, day(TODAY)).expect("an import");
        let again = other.import_csv(&other_kept, &text, day(TODAY)).expect("an import");
        assert_eq!((again.readings, again.entries), (0, 0), "{list:?}");
        assert_eq!(other.export_csv(&other_kept, list).expect("a list"), lines, "{list:?}");
    }
}

/// What spreadsheets save where the comma is the decimal mark: a semicolon between fields (common practice, no source).
#[test]
fn a_list_with_semicolons_and_decimal_commas_is_the_same_list() {
    let (_place, mut store, kept) = begun("semicolons");
    let text =
        "\u{feff}at;temperature_c;humidity_percent\r\n2026-11-20T10:00:00Z;20,5;44\r\n2026-11-20T11:00:00Z;21;\r\n";
    let imported = store.import_csv(&kept, text, day(TODAY)).expect("an import");
    assert_eq!(imported.entries, 2);
    let lines = store.export_csv(&kept, List::Climate).expect("a list");
    assert_eq!(lines[1..], ["2026-11-20T10:00:00Z,20.5,44", "2026-11-20T11:00:00Z,21,"]);
    let text = "on;deed;string;note\n2026-11-20;remark;;\"soft; but even\"\n2026-11-20;remark;5;dull, slow";
    store.import_csv(&kept, text, day(TODAY)).expect("an import");
    let lines = store.export_csv(&kept, List::Events).expect("a list");
    assert_eq!(lines[1], "2026-11-20,remark,,soft; but even");
    assert_eq!(lines[2], "2026-11-20,remark,5,\"dull, slow\"");
    let wrong = "at;temperature_c;humidity_percent\n2026-11-20T10:00:00Z;20,5;140";
    let refusal = store
        .import_csv(&kept, wrong, day(TODAY))
        .expect_err("140 %")
        .to_string();
    assert!(
        refusal.starts_with("line 2, column humidity_percent: a humidity of 140 %"),
        "{refusal}"
    );
}

#[test]
#[rustfmt::skip]
fn a_list_that_cannot_be_is_refused_with_its_line_and_column_and_nothing_is_taken_in() {
    let table = [
        ("string,fitted\n20,2026-01-01",                                              "line 1: these columns are those of no list"),
        ("",                                                                           "line 1: these columns are those of no list"),
        ("at,humidity_percent,temperature_c\n2026-11-20T10:00:00Z,40,20",              "line 1, column 2: “humidity_percent” stands where the list climate has “temperature_c”"),
        ("on,deed,string",                                                              "line 1, column 4: nothing stands where the list events has “note”"),
        ("on,name\n2026-12-12,\"Winter\n2026-12-13,Spring",                             "line 2, column 2: a quotation mark is opened and never closed"),
        ("on,name\n2026-12-12,Winter\n2026-12-13",                                     "line 3: 1 columns in place of 2"),
        ("at,temperature_c,humidity_percent\n2026-11-20T10:00:00Z,20,40\n2026-11-20T11:00:00Z,20,140", "line 3, column humidity_percent: a humidity of 140 %"),
        ("at,temperature_c,humidity_percent\n2026-11-20T10:00:00Z,99,40",              "line 2, column temperature_c: a temperature of 99"),
        ("at,temperature_c,humidity_percent\n2027-11-20T10:00:00Z,20,40",              "line 2, column at: 2027-11-20 has not come yet"),
        ("string,on,material,gauge_mm,length\n20,2000-01-01,gut,,",                    "line 2, column on: 2000-01-01 was before the harp was made"),
        ("string,on,material,gauge_mm,length\n48,2020-01-01,gut,,",                    "line 2, column string: the harp has 47 strings, and no string 48"),
        ("string,on,material,gauge_mm,length\n20,2020-01-01,silk,,",                   "line 2, column material: it is nylon"),
        ("string,on,material,gauge_mm,length\n20,2020-01-01,gut,90,",                  "line 2, column gauge_mm: a string of 90 mm"),
        ("on,deed,string,note\n2020-01-01,painted,,",                                  "line 2, column deed: it is restrung"),
        ("name,string,yields\n3E-a,17,2",                                               "line 1, column 2: “string” stands where the list lengths has “bought”"),
        ("name,bought,string,material,gauge_mm,yields\n3E-a,2020-01-01,17,gut,,-2",      "line 2, column yields: “-2” is no number that can stand there"),
        ("name,bought,string,material,gauge_mm,yields\n3E-a,2020-01-01,17,gut,,0",       "line 2, column yields: a length of 0 strings is none"),
        ("name,bought,string,material,gauge_mm,yields\n3E-a,2020-01-01,17,gut,thick,2",  "line 2, column gauge_mm: “thick” is no number"),
        ("name,bought,string,material,gauge_mm,yields\n3E-a,2020-01-01,48,gut,,2",       "line 2, column string: the harp has 47 strings"),
        ("on,deed,string,note\n2020-01-01,broke,,",                                     "line 2, column deed"),
        ("on,deed,string,note\n2020-01-01,pin-pushed,,",                               "line 2, column deed"),
    ];
    let (_place, mut store, kept) = begun("refused");
    let before = store.export().expect("an export");
    for (text, says) in table {
        let refusal = store.import_csv(&kept, text, day(TODAY)).expect_err(text).to_string();
        assert!(refusal.starts_with(says), "{refusal}");
    }
    assert_eq!(store.export().expect("an export"), before);
}

#[test]
fn json_that_cannot_be_is_refused_with_its_place() {
    let (_place, mut store, kept) = begun("json");
    fill(&mut store, &kept);
    let before = store.export().expect("an export");
    let text = serde_json::to_string_pretty(&before).expect("JSON");
    let future = text.replace("2026-11-21", "2027-11-21");
    let refusal = store
        .import(&future, Whose::File, day(TODAY))
        .expect_err("a day to come")
        .to_string();
    assert!(
        refusal.starts_with("harps[0].tunings[1].on: 2027-11-21 has not come yet"),
        "{refusal}"
    );
    let refusal = store
        .import("{\n  \"harps\": 3 }", Whose::File, day(TODAY))
        .expect_err("no record")
        .to_string();
    assert!(refusal.starts_with("line 2, column "), "{refusal}");
    let newer = text.replacen("\"consort_record\": 1", "\"consort_record\": 2", 1);
    let refusal = store
        .import(&newer, Whose::File, day(TODAY))
        .expect_err("a newer form")
        .to_string();
    assert!(refusal.contains("update this program"), "{refusal}");
    assert_eq!(store.export().expect("an export"), before);
}

#[test]
fn entries_that_cannot_be_are_refused() {
    let (_place, mut store, kept) = begun("entries");
    for (entry, says) in [
        (
            fitting(20, "2026-11-26"),
            "2026-11-26 has not come yet: today is 2026-11-25",
        ),
        (
            fitting(20, "2001-04-30"),
            "2001-04-30 was before the harp was made on 2001-05-01",
        ),
    ] {
        assert_eq!(
            store.write(&kept, &entry, day(TODAY)).expect_err(says).to_string(),
            says
        );
    }
    let sheet = Sheet::of(harp_file::preset("pedal-47").expect("a preset"));
    assert!(matches!(store.add_harp("c3", &sheet), Err(RecordError::NameTaken(_))));
}

#[test]
fn a_damaged_record_is_said_and_left_as_it_is() {
    let (_place, mut store, kept) = begun("damaged");
    fill(&mut store, &kept);
    let path = store.path().to_owned();
    drop(store);
    fs::write(
        &path,
        b"a shopping list, long enough to be looked at as a database header of a hundred bytes and more, yes",
    )
    .expect("damage");
    let refusal = Store::open(&path).expect_err("damaged").to_string();
    assert!(
        refusal.contains("is damaged") && refusal.contains("import the newest backup"),
        "{refusal}"
    );
    assert!(fs::read(&path).expect("the file").starts_with(b"a shopping list"));
}

/// A record as each shipped layout left it; a new layout adds a file and a name here.
const LAYOUTS: &[&str] = &[
    "layout-1.sqlite",
    "layout-2.sqlite",
    "layout-3.sqlite",
    "layout-4.sqlite",
    "layout-5.sqlite",
];

#[test]
fn records_of_every_layout_are_opened() {
    for layout in LAYOUTS {
        let (_place, path) = file(layout);
        fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
        let fixture = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests").join(layout);
        fs::copy(&fixture, &path).expect("a copy");
        let store = Store::open(&path).expect("open");
        let kept = store.harp(None).expect("a harp");
        let life = store.life(&kept, None).expect("a life");
        assert_eq!(
            (
                life.visits.len(),
                life.fittings.len(),
                life.events.len(),
                life.climates.len()
            ),
            (2, 1, 1, 1)
        );
        assert_eq!(store.history(kept.id, string(20)).expect("a history").len(), 4);
        assert_eq!(kept.sheet.concert_days, 10);
        assert!(kept.sheet.allowed.is_empty());
    }
}

/// It moves targets: nobody but the harpist at this laptop chooses it.
#[test]
fn what_is_allowed_for_is_kept_taken_back_and_left_alone_by_an_import() {
    let (_place, mut store, kept) = begun("allowed");
    let allowing = Sheet {
        allowed: "C G".parse().expect("letters"),
        ..kept.sheet.clone()
    };
    store.change_sheet(kept.id, &allowing).expect("changed");
    assert_eq!(store.harp(None).expect("the harp").sheet, allowing);
    let text = serde_json::to_string(&store.export().expect("an export")).expect("JSON");
    assert!(text.contains(r#""allowed":"C G""#), "{text}");
    assert!(matches!(store.undo(kept.id), Ok(Undone::Sheet(sheet)) if sheet.allowed.is_empty()));
    let imported = store.import(&text, Whose::File, day(TODAY)).expect("an import");
    assert_eq!(imported.entries, 0);
    assert!(store.harp(None).expect("the harp").sheet.allowed.is_empty());
    // A harp that is new here comes as it was there.
    let (_place, mut other) = empty("allowed-other");
    other.import(&text, Whose::File, day(TODAY)).expect("an import");
    assert_eq!(other.harp(None).expect("the harp").sheet.allowed, allowing.allowed);
    let refusal = other
        .import(&text.replace("C G", "H"), Whose::File, day(TODAY))
        .expect_err("no letter")
        .to_string();
    assert!(
        refusal.starts_with("harps[0].allowed: “H” names no letters"),
        "{refusal}"
    );
}

/// What a mark at the desk wrote, and what is said of the same string afterwards, is one string.
#[test]
fn more_that_is_said_of_a_new_string_takes_the_place_of_what_was_known_and_is_taken_back_as_one() {
    let (_place, mut store, kept) = begun("said-more");
    let told = |on: &str, gauge_mm| {
        let Entry::Fitting(plain) = fitting(20, on) else {
            unreachable!("it is one")
        };
        let material = kept_material(20);
        (
            Entry::Fitting(Fitting {
                material,
                gauge_mm: None,
                length: None,
                ..plain.clone()
            }),
            Entry::Fitting(Fitting {
                material,
                gauge_mm,
                length: None,
                ..plain
            }),
        )
    };
    let fittings = |store: &Store| store.outline(&kept).expect("a life").fittings;
    let (plain, thick) = told("2026-11-24", Some(1.02));
    store.write(&kept, &plain, day(TODAY)).expect("written");
    store.write(&kept, &thick, day(TODAY)).expect("written");
    assert_eq!(fittings(&store).len(), 1);
    assert_eq!(fittings(&store)[0].gauge_mm, Some(1.02));
    assert_eq!(store.undo(kept.id).expect("undone"), Undone::Written(thick.clone()));
    assert_eq!(fittings(&store)[0].gauge_mm, None);
    assert_eq!(store.undo(kept.id).expect("undone"), Undone::Written(plain.clone()));
    assert!(fittings(&store).is_empty());
    // It was put on the evening before it was marked; what was put on the week before is another string.
    let (evening, _) = told("2026-11-25", None);
    for (other, count) in [(evening, 1), (told("2026-11-17", None).0, 2)] {
        store.write(&kept, &other, day(TODAY)).expect("written");
        store.write(&kept, &thick, day(TODAY)).expect("written");
        assert_eq!(fittings(&store).len(), count, "{other:?}");
    }
}

#[test]
fn days_before_a_concert_are_kept_taken_back_and_joined() {
    let (_place, mut store, kept) = begun("concert-days");
    let longer = Sheet {
        concert_days: 21,
        ..kept.sheet.clone()
    };
    store.change_sheet(kept.id, &longer).expect("changed");
    let text = serde_json::to_string(&store.export().expect("an export")).expect("JSON");
    assert!(text.contains(r#""concert_days":21"#), "{text}");
    assert!(matches!(store.undo(kept.id), Ok(Undone::Sheet(_))));
    assert_eq!(store.harp(None).expect("the harp").sheet.concert_days, 10);
    // The laptop on which nobody had said takes over what the other one knows.
    let first = store.import(&text, Whose::File, day(TODAY)).expect("an import");
    let second = store.import(&text, Whose::File, day(TODAY)).expect("an import");
    assert_eq!((first.entries, second.entries), (1, 0));
    assert_eq!(store.harp(None).expect("the harp").sheet.concert_days, 21);
    let refusal = store
        .import(&text.replace(":21", ":99"), Whose::File, day(TODAY))
        .expect_err("a quarter of a year")
        .to_string();
    assert!(
        refusal.starts_with("harps[0].concert_days: 99 days before a concert"),
        "{refusal}"
    );
}

/// Otherwise its own backup could not be taken in any more.
#[test]
fn a_harp_cannot_have_been_made_after_its_record_speaks_of_it() {
    let (_place, mut store, kept) = begun("made");
    store
        .write(&kept, &fitting(20, "2010-03-01"), day(TODAY))
        .expect("a fitting");
    let made = |store: &mut Store, on: &str| {
        let sheet = Sheet {
            made: Some(day(on)),
            ..kept.sheet.clone()
        };
        store.change_sheet(kept.id, &sheet)
    };
    assert_eq!(
        made(&mut store, "2012-01-01").expect_err("later").to_string(),
        "the harp cannot have been made on 2012-01-01: its record speaks of it on 2010-03-01"
    );
    store.take_out(&kept, &fitting(20, "2010-03-01")).expect("taken out");
    made(&mut store, "2012-01-01").expect("nothing speaks of it any more");
    let text = serde_json::to_string(&store.export().expect("an export")).expect("JSON");
    let (_place, mut other) = empty("made-other");
    other
        .import(&text, Whose::File, day(TODAY))
        .expect("what was taken out claims nothing");
    assert_eq!(other.export().expect("an export"), store.export().expect("an export"));
}
