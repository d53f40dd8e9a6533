//! What an identity promises: the same key at each start, and a damaged key is kept, never replaced in silence.

use consort_peer::Identity;
use consort_store::Folder;
use tempfile::TempDir;

/// A data folder in a place that goes with the test.
fn folder(test: &str) -> (TempDir, Folder) {
    let place = TempDir::with_prefix(format!("consort-identity-{test}-")).expect("a place");
    let folder = Folder::open(&place.path().join("data")).expect("folder");
    (place, folder)
}

#[test]
fn the_key_is_the_same_at_each_start() {
    let (_place, folder) = folder("same");
    let (first, aside) = Identity::open(&folder).expect("first start");
    assert_eq!(aside, None);
    let (second, aside) = Identity::open(&folder).expect("second start");
    assert_eq!(aside, None);
    assert_eq!(first.fingerprint(), second.fingerprint());
}

#[test]
fn two_identities_differ_and_print_no_key() {
    let (one, other) = (Identity::generate().expect("one"), Identity::generate().expect("other"));
    assert_ne!(one.fingerprint(), other.fingerprint());
    assert_eq!(format!("{one:?}"), format!("Identity({}, …)", one.fingerprint().tag()));
}

#[test]
fn a_damaged_key_file_is_put_aside_unchanged() {
    let (_place, folder) = folder("damaged");
    let (first, _) = Identity::open(&folder).expect("first");
    let whole = folder.read("identity.key").expect("read").expect("file");
    let flipped = |place: usize| {
        let mut bytes = whole.clone();
        bytes[place] ^= 1;
        bytes
    };
    let middle_of_the_private_key = 24;
    let damages = [
        Vec::new(),
        whole[..whole.len() / 2].to_vec(),
        b"not a key".to_vec(),
        flipped(middle_of_the_private_key),
        flipped(whole.len() - 1),
    ];
    for damaged in damages {
        folder.write("identity.key", &damaged).expect("damage");
        let (next, aside) = Identity::open(&folder).expect("open");
        let aside = aside.expect("put aside");
        assert_eq!(std::fs::read(&aside).expect("aside"), damaged);
        assert_ne!(next.fingerprint(), first.fingerprint());
        let (again, aside) = Identity::open(&folder).expect("again");
        assert_eq!((again.fingerprint(), aside), (next.fingerprint(), None));
    }
}

#[cfg(unix)]
#[test]
fn the_key_file_belongs_to_this_user_alone() {
    use std::os::unix::fs::PermissionsExt;
    let (_place, folder) = folder("mode");
    Identity::open(&folder).expect("open");
    let mode = std::fs::metadata(folder.file("identity.key"))
        .expect("metadata")
        .permissions()
        .mode();
    assert_eq!(mode & 0o777, 0o600);
}
