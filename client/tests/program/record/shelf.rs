//! Lengths of string in stock.

use std::fs;

use super::{record, refused};
use crate::running::Folder;

#[test]
fn the_shelf_knows_what_is_left_and_what_to_buy_and_is_taken_back() {
    let folder = Folder::new("record-shelf");
    let data = folder.at("data");
    record(&data, &["begin"]);
    assert!(record(&data, &["shelf", "list"])[0].starts_with("Nothing lies on the shelf"));
    record(
        &data,
        &[
            "shelf",
            "add",
            "3E-a",
            "3E",
            "--yields",
            "2",
            "--bought",
            "2020-01-05",
            "--gauge",
            "0.86",
        ],
    );
    // Two strings of three years and more are due; a third from the same length there is not.
    record(&data, &["fitted", "3E", "2020-01-10", "--length", "3E-a"]);
    record(&data, &["fitted", "3D", "2020-01-10"]);
    let list = record(&data, &["shelf", "list"]);
    assert_eq!(
        list,
        ["3E-a: 3rd octave E, No. 15, gut, 0.86 mm, 1 of 2 left. Cut from it: 3E 2020-01-10."]
    );
    let needs = record(&data, &["shelf", "needs"]);
    assert!(
        needs.contains(&"3E   3rd octave E, No. 15, gut: cut it from 3E-a".to_owned()),
        "{needs:?}"
    );
    assert_eq!(
        record(&data, &["shelf", "shopping"]),
        ["count,what", "1,\"3rd octave D, No. 16, gut\""]
    );
    record(&data, &["shelf", "spoilt", "3E-a", "--note", "a kink"]);
    let shopping = record(&data, &["shelf", "shopping"]);
    assert!(
        shopping.contains(&"1,\"3rd octave E, No. 15, gut\"".to_owned()),
        "{shopping:?}"
    );
    assert!(record(&data, &["undo"])[0].starts_with("Taken out again: that the length 3E-a is bad"));
    record(&data, &["fitted", "3E", "2021-01-10", "--length", "3E-a"]);
    for (words, says) in [
        (
            vec!["fitted", "3E", "2022-01-10", "--length", "3E-a"],
            "yields 2 strings, and all of them are used",
        ),
        (vec!["shelf", "add", "3E-a", "3E"], "already is a length called “3E-a”"),
        (
            vec!["shelf", "add", "3E-b", "3E", "--yields", "0"],
            "a length of 0 strings is none",
        ),
        (vec!["shelf", "add", " ", "3E"], "a length needs a name"),
        (
            vec!["shelf", "add", "3E-b", "3E", "--bought", "2999-01-01"],
            "has not come yet",
        ),
        (vec!["shelf", "spoilt", "3E-z"], "no length called “3E-z”"),
    ] {
        let sentence = refused(&data, &words);
        assert!(sentence.contains(says), "{words:?}: {sentence}");
    }
    let list = folder.at("lengths.csv");
    record(&data, &["export", &list, "--list", "lengths"]);
    let text = fs::read_to_string(&list).expect("the list");
    assert!(
        text.starts_with("name,bought,string,material,gauge_mm,yields\n3E-a,2020-01-05,17,gut,0.86,2"),
        "{text}"
    );
    let backup = folder.at("backup.json");
    record(&data, &["export", &backup]);
    let other = folder.at("other");
    record(&other, &["import", &backup]);
    assert_eq!(record(&other, &["shelf", "list"]), record(&data, &["shelf", "list"]));
    assert_eq!(
        record(&other, &["--json", "import", &list]),
        [r#"{"entries":0,"harps":0,"readings":0}"#]
    );
}
