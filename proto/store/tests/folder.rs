//! What a data folder promises: one holder, files that arrive whole, a sentence when it cannot be used.

use std::path::PathBuf;

use consort_store::{Folder, FolderError};
use tempfile::TempDir;

/// A path at which nothing is, in a place that goes with the test.
fn place(test: &str) -> (TempDir, PathBuf) {
    let place = TempDir::with_prefix(format!("consort-store-{test}-")).expect("a place");
    let path = place.path().join("data");
    (place, path)
}

#[test]
fn a_missing_folder_is_made_with_its_parents() {
    let (_place, path) = place("made");
    let path = path.join("a/b");
    let folder = Folder::open(&path).expect("open");
    assert_eq!(folder.path(), path);
    assert!(path.is_dir());
}

#[test]
fn a_second_copy_is_told_that_the_folder_is_in_use() {
    let (_place, path) = place("held");
    let first = Folder::open(&path).expect("first");
    let second = Folder::open(&path).expect_err("second");
    assert!(matches!(second, FolderError::Held { .. }), "{second}");
    assert!(second.to_string().contains("another copy"), "{second}");
    drop(first);
    Folder::open(&path).expect("after the first has let go");
}

#[test]
fn a_file_in_place_of_the_folder_is_named() {
    let (_place, path) = place("file");
    std::fs::write(&path, "not a folder").expect("write");
    let refused = Folder::open(&path).expect_err("a file");
    assert!(matches!(refused, FolderError::NotAFolder { .. }), "{refused}");
    assert_eq!(std::fs::read(&path).expect("read"), b"not a folder");
}

#[test]
fn a_folder_that_cannot_be_made_or_written_is_said_in_one_sentence() {
    // Nobody, not even root, can make a folder in these places.
    for path in ["/proc/consort", "/dev/null/consort"] {
        let refused = Folder::open(&PathBuf::from(path)).expect_err(path);
        assert!(matches!(refused, FolderError::NotWritable { .. }), "{refused}");
        let sentence = refused.to_string();
        assert!(sentence.contains(path) && sentence.contains("--data"), "{sentence}");
    }
}

#[test]
fn a_written_file_is_read_back_whole_and_belongs_to_this_user_alone() {
    let (_place, path) = place("write");
    let folder = Folder::open(&path).expect("open");
    assert_eq!(folder.read("key").expect("read"), None);
    folder.write("key", b"first").expect("write");
    folder.write("key", b"second").expect("write again");
    assert_eq!(folder.read("key").expect("read").as_deref(), Some(&b"second"[..]));
    assert!(!folder.file("key.new").exists());
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let mode = std::fs::metadata(folder.file("key"))
            .expect("metadata")
            .permissions()
            .mode();
        assert_eq!(mode & 0o777, 0o600);
    }
    folder.remove("key");
    assert_eq!(folder.read("key").expect("read"), None);
}

#[test]
fn what_is_put_aside_twice_in_a_second_keeps_both() {
    let (_place, path) = place("aside");
    let folder = Folder::open(&path).expect("open");
    let asides: Vec<PathBuf> = [b"one", b"two"]
        .iter()
        .map(|bytes| {
            folder.write("key", *bytes).expect("write");
            folder.put_aside("key").expect("put aside")
        })
        .collect();
    assert_ne!(asides[0], asides[1]);
    assert_eq!(std::fs::read(&asides[0]).expect("first"), b"one");
    assert_eq!(std::fs::read(&asides[1]).expect("second"), b"two");
}
