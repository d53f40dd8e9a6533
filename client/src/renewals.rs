//! Strings that were put on, as the record has them and as the desk marks them: each comes to know of the other's.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use consort_proto::{Harp, Mark, StringNumber};
use consort_record::Date;
use consort_record::settling::Settling;
use consort_store::Folder;
use serde::{Deserialize, Serialize};

/// What the record of the harp that is heard says to the station.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Noted {
    /// The harp with what is allowed for.
    pub(crate) harp: Harp,
    /// Strings that are still coming to hold.
    pub(crate) settling: Vec<Settling>,
    /// The newest day on which each string was put on, as far as it is known.
    pub(crate) put_on: BTreeMap<StringNumber, String>,
}

/// A mark that the desk is to make or take back, since the record says so.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum Change {
    /// The string was put on.
    New(StringNumber),
    /// What the record said is gone.
    NoLonger(StringNumber),
    /// The string should hold by now.
    Holds(StringNumber),
}

/// Which new strings of the harp were taken in already, kept so that a mark that she took back stays so.
#[derive(Debug)]
pub(crate) struct Renewals {
    folder: Arc<Folder>,
    harp: String,
    kept: Kept,
    /// Marked at the desk, and not in the record yet.
    awaited: BTreeSet<StringNumber>,
    settling: Vec<Settling>,
}

/// For each harp the day of each new string.
#[derive(Debug, Default, Deserialize, Serialize)]
#[serde(transparent)]
struct Kept(BTreeMap<String, BTreeMap<StringNumber, String>>);

const FILE: &str = "renewals.json";

impl Renewals {
    /// What was taken in of the harp called `harp`; what is damaged is begun anew, and marks at worst once more.
    pub(crate) fn open(folder: Arc<Folder>, harp: &str) -> Self {
        let kept = folder.read(FILE).ok().flatten();
        Self {
            kept: kept
                .and_then(|bytes| serde_json::from_slice(&bytes).ok())
                .unwrap_or_default(),
            folder,
            harp: harp.to_owned(),
            awaited: BTreeSet::new(),
            settling: Vec::new(),
        }
    }

    /// What the record says of a string that is coming to hold.
    pub(crate) fn settling(&self) -> &[Settling] {
        &self.settling
    }

    /// She has marked `string` as new at the desk; the record is told, and says so in a moment.
    pub(crate) fn marked(&mut self, string: StringNumber, today: Date) {
        let taken = self.kept.0.entry(self.harp.clone()).or_default();
        taken.insert(string, today.to_string());
        self.awaited.insert(string);
    }

    /// Takes in what the record says, where each string is marked as `mark` tells; gives the marks that change.
    pub(crate) fn take(&mut self, noted: &Noted, mark: impl Fn(StringNumber) -> Option<Mark>) -> Vec<Change> {
        let taken = self.kept.0.entry(self.harp.clone()).or_default();
        let before = taken.clone();
        let mut changes = Vec::new();
        for new in &noted.settling {
            self.awaited.remove(&new.string);
            let on = new.on.to_string();
            if taken.get(&new.string) != Some(&on) {
                taken.insert(new.string, on);
                if mark(new.string) != Some(Mark::New) {
                    changes.push(Change::New(new.string));
                }
            }
        }
        taken.retain(|string, on| {
            if self.awaited.contains(string) || noted.settling.iter().any(|new| new.string == *string) {
                return true;
            }
            if mark(*string) == Some(Mark::New) {
                let is_written = noted.put_on.get(string) == Some(on);
                changes.push(if is_written {
                    Change::Holds(*string)
                } else {
                    Change::NoLonger(*string)
                });
            }
            false
        });
        let is_news = *taken != before;
        self.settling.clone_from(&noted.settling);
        if is_news {
            let text = serde_json::to_vec(&self.kept).unwrap_or_default();
            if let Err(why) = self.folder.write(FILE, &text) {
                tracing::warn!(%why, "which new strings were taken in is not kept");
            }
        }
        changes
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_proto::harp_file;

    fn string(number: u32) -> StringNumber {
        StringNumber::new(number).expect("a string")
    }

    /// What a record says in which these strings were put on on these days and should hold a week later.
    fn noted(fitted: &[(u32, &str)], today: &str) -> Noted {
        let today: Date = today.parse().expect("a day");
        let settling = fitted.iter().map(|(number, on)| {
            let on: Date = on.parse().expect("a day");
            let (again, holds) = (on.plus(1), on.plus(7));
            Settling {
                string: string(*number),
                on,
                again,
                holds,
            }
        });
        Noted {
            harp: harp_file::preset("lever-22").expect("a preset"),
            settling: settling.filter(|one| today <= one.holds).collect(),
            put_on: fitted
                .iter()
                .map(|(number, on)| (string(*number), (*on).to_owned()))
                .collect(),
        }
    }

    #[test]
    fn a_string_of_the_record_is_marked_once_and_its_mark_ends_with_it() {
        let place = tempfile::TempDir::with_prefix("consort-renewals-").expect("a place");
        let folder = Arc::new(Folder::open(place.path()).expect("the folder opens"));
        let none = |_| None;
        let new = |_| Some(Mark::New);
        let fitted: &[(u32, &str)] = &[(5, "2026-11-25")];
        let mut renewals = Renewals::open(folder.clone(), "Alder");
        let take = |renewals: &mut Renewals, fitted, today, marked: bool| {
            let noted = noted(fitted, today);
            if marked {
                renewals.take(&noted, new)
            } else {
                renewals.take(&noted, none)
            }
        };
        // Written down: marked, also one that was missing; marked at the desk: known already.
        assert_eq!(
            take(&mut renewals, fitted, "2026-11-25", false),
            [Change::New(string(5))]
        );
        assert!(
            take(
                &mut renewals,
                &[(5, "2026-11-25"), (6, "2026-11-25")],
                "2026-11-25",
                true
            )
            .is_empty()
        );
        // What was taken out of the record is taken back at the desk.
        assert_eq!(
            take(&mut renewals, fitted, "2026-11-25", true),
            [Change::NoLonger(string(6))]
        );
        // A mark that she took back stays so, also after a start; another string in its place is news.
        let mut renewals = Renewals::open(folder.clone(), "Alder");
        assert!(take(&mut renewals, fitted, "2026-11-26", false).is_empty());
        assert_eq!(
            take(&mut renewals, &[(5, "2026-11-27")], "2026-11-27", false),
            [Change::New(string(5))]
        );
        // What she marks is awaited, whatever the record says before it has it.
        renewals.marked(string(7), "2026-11-27".parse().expect("a day"));
        assert!(take(&mut renewals, &[(5, "2026-11-27")], "2026-11-27", true).is_empty());
        let both: &[(u32, &str)] = &[(5, "2026-11-27"), (7, "2026-11-27")];
        assert!(
            take(&mut renewals, both, "2026-11-27", false).is_empty(),
            "she may have taken it back meanwhile"
        );
        assert_eq!(
            take(&mut renewals, &[(5, "2026-11-27")], "2026-11-27", true),
            [Change::NoLonger(string(7))]
        );
        // A week later it is tuned with the others.
        assert_eq!(
            take(&mut renewals, &[(5, "2026-11-27")], "2026-12-05", true),
            [Change::Holds(string(5))]
        );
        assert!(take(&mut renewals, &[(5, "2026-11-27")], "2026-12-05", false).is_empty());
        // Another harp has its own.
        let mut other = Renewals::open(folder, "Birch");
        assert_eq!(take(&mut other, fitted, "2026-11-25", false), [Change::New(string(5))]);
    }
}
