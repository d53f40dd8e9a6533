//! What belongs to a harp for good: taken back, joined with what another laptop says, and the same on both.

use consort_record::{Length, Pins, Player, Sheet};
use consort_record_store::{Entry, Undone, Whole, Whose};

use crate::filled::{TODAY, begun, day, empty, fitting, kept_material, string};

fn text(whole: &Whole) -> String {
    serde_json::to_string(whole).expect("JSON")
}

/// Pushing a threaded pin does harm: an undo must not forget what the other laptop has said since.
#[test]
fn an_undo_after_an_import_takes_back_only_what_was_changed_here() {
    let (_place, mut store, kept) = begun("undo-import");
    let said = |pins, concert_days| {
        let (_place, other, _) = begun("undo-import-other");
        let mut form = other.export().expect("an export");
        form.harps[0].pins = String::from(pins);
        form.harps[0].concert_days = concert_days;
        text(&form)
    };
    let played = Sheet {
        player: Player::Professional,
        ..kept.sheet.clone()
    };
    store.change_sheet(kept.id, &played).expect("changed");
    store
        .import(&said("threaded", 21), Whose::File, day(TODAY))
        .expect("an import");
    let expected = Sheet {
        pins: Pins::Threaded,
        concert_days: 21,
        ..kept.sheet.clone()
    };
    let undone = store.undo(kept.id).expect("the player");
    assert_eq!(undone, Undone::Sheet(Box::new(expected.clone())));
    assert_eq!(store.harp(None).expect("the harp").sheet, expected);
}

#[test]
fn an_undo_does_not_make_the_harp_later_than_its_record_speaks_of_it() {
    let (_place, mut store, kept) = begun("undo-made");
    for made in ["2020-01-01", "2010-01-01"] {
        let sheet = Sheet {
            made: Some(day(made)),
            ..kept.sheet.clone()
        };
        store.change_sheet(kept.id, &sheet).expect("changed");
    }
    let (_place, mut other, other_kept) = begun("undo-made-other");
    other
        .write(&other_kept, &fitting(20, "2015-01-01"), day(TODAY))
        .expect("a fitting");
    let mut form = other.export().expect("an export");
    form.harps[0].made = None;
    store.import(&text(&form), Whose::File, day(TODAY)).expect("an import");
    store.undo(kept.id).expect("the day it was made");
    assert_eq!(store.harp(None).expect("the harp").sheet.made, None);
    let (_place, mut third) = empty("undo-made-third");
    third
        .import(&text(&store.export().expect("an export")), Whose::File, day(TODAY))
        .expect("its own export is taken in");
}

/// A file that takes out what is older than the harp, and says when that was made.
#[test]
fn a_second_import_of_a_file_that_takes_something_out_changes_nothing() {
    let (_place, mut one, kept) = begun("out-once");
    let unknown = Sheet {
        made: None,
        ..kept.sheet.clone()
    };
    one.change_sheet(kept.id, &unknown).expect("changed");
    let kept = one.harp(None).expect("the harp");
    let old = fitting(20, "1999-03-01");
    one.write(&kept, &old, day(TODAY)).expect("a fitting");
    let form = one.export().expect("an export");
    one.take_out(&kept, &old).expect("taken out");
    one.change_sheet(
        kept.id,
        &Sheet {
            made: Some(day("2001-05-01")),
            ..unknown
        },
    )
    .expect("changed");
    let (_place, mut other) = empty("out-once-other");
    other.import(&text(&form), Whose::File, day(TODAY)).expect("as it was");
    let newer = text(&one.export().expect("an export"));
    let first = other.import(&newer, Whose::File, day(TODAY)).expect("an import");
    let second = other.import(&newer, Whose::File, day(TODAY)).expect("an import");
    assert_eq!((first.entries, second.entries), (2, 0));
    assert_eq!(other.export().expect("an export"), one.export().expect("an export"));
}

#[test]
fn two_laptops_that_take_in_each_others_file_say_the_same_of_the_harp() {
    use Player::{Amateur, Professional, Student};
    let table = [
        (
            (14, Student, Some("2001-05-01")),
            (20, Amateur, None),
            (20, Amateur, Some("2001-05-01")),
        ),
        ((10, Professional, None), (5, Amateur, None), (5, Professional, None)),
        (
            (14, Student, Some("2003-05-01")),
            (10, Student, Some("2001-05-01")),
            (14, Student, Some("2001-05-01")),
        ),
    ];
    for (number, (here, there, both)) in table.into_iter().enumerate() {
        let laptop = |name: &str, (concert_days, player, made): (u8, _, Option<&str>)| {
            let (place, mut store, kept) = begun(&format!("{name}-{number}"));
            let sheet = Sheet {
                concert_days,
                player,
                made: made.map(day),
                ..kept.sheet.clone()
            };
            store.change_sheet(kept.id, &sheet).expect("changed");
            let text = text(&store.export().expect("an export"));
            (place, store, text)
        };
        let (_place, mut one, from_one) = laptop("same-one", here);
        let (_place, mut other, from_other) = laptop("same-other", there);
        one.import(&from_other, Whose::File, day(TODAY)).expect("an import");
        other.import(&from_one, Whose::File, day(TODAY)).expect("an import");
        for store in [one, other] {
            let sheet = store.harp(None).expect("the harp").sheet;
            assert_eq!(
                (sheet.concert_days, sheet.player, sheet.made),
                (both.0, both.1, both.2.map(day))
            );
        }
    }
}

/// Strings are often bought while the harp is still being built.
#[test]
fn a_length_may_have_been_bought_before_the_harp_was_made() {
    let (_place, mut store, kept) = begun("bought-before");
    let length = Length {
        name: "3E, spring".to_owned(),
        bought: day("2001-03-01"),
        string: string(17),
        material: kept_material(17),
        gauge_mm: None,
        yields: 4,
    };
    store
        .write(&kept, &Entry::Length(length), day(TODAY))
        .expect("a length bought two months before");
    let later = Sheet {
        made: Some(day("2001-06-01")),
        ..kept.sheet.clone()
    };
    store.change_sheet(kept.id, &later).expect("made after it was bought");
    let (_place, mut other) = empty("bought-before-other");
    let whole = store.export().expect("an export");
    other.import(&text(&whole), Whose::File, day(TODAY)).expect("an import");
    assert_eq!(other.export().expect("an export"), whole);
    let list = "name,bought,string,material,gauge_mm,yields\n4C,2000-12-01,26,gut,,1\n";
    let kept = store.harp(None).expect("the harp");
    store.import_csv(&kept, list, day(TODAY)).expect("a list of lengths");
}
