//! What the harpist has chosen at the desk, kept beside the station's key, and taken back again.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use consort_guide::{Order, Way};
use consort_proto::Naming;
use consort_store::Folder;
use serde::{Deserialize, Serialize};

/// The choices as they are kept; what is missing in an older file is as usual.
#[derive(Clone, Debug, Default, Deserialize, PartialEq, Serialize)]
#[serde(default)]
pub(crate) struct Choices {
    /// The order of strings, by its word.
    order: String,
    /// Whether octaves are named as in acoustics.
    scientific: bool,
    /// Which way the key goes to tighten, by the name of the harp.
    key: BTreeMap<String, String>,
    /// Harps on which nobody wants to be asked that.
    key_left_out: BTreeSet<String>,
    /// The input that is heard in the place of the one that the system prefers.
    input: Option<String>,
}

/// The choices, their file, and what they were before.
pub(crate) struct Kept {
    folder: Arc<Folder>,
    now: Choices,
    before: Vec<Choices>,
}

/// The file with the choices.
const FILE: &str = "choices.json";
/// Changes that can be taken back.
const BEFORE_MAX: usize = 32;

impl Choices {
    /// The order of strings.
    pub(crate) fn order(&self) -> Order {
        Order::from_word(&self.order).unwrap_or_default()
    }

    /// How strings are named.
    pub(crate) const fn naming(&self) -> Naming {
        if self.scientific {
            Naming::Scientific
        } else {
            Naming::Harp
        }
    }

    /// Which way the key goes on the harp called `harp`.
    pub(crate) fn way(&self, harp: &str) -> Option<Way> {
        self.key.get(harp).and_then(|word| Way::from_word(word))
    }

    /// Whether that is still to be asked.
    pub(crate) fn asks_way(&self, harp: &str) -> bool {
        self.way(harp).is_none() && !self.key_left_out.contains(harp)
    }

    /// The input that was chosen.
    pub(crate) fn input(&self) -> Option<&str> {
        self.input.as_deref()
    }

    pub(crate) fn set_order(&mut self, order: Order) {
        order.word().clone_into(&mut self.order);
    }

    pub(crate) const fn set_naming(&mut self, naming: Naming) {
        self.scientific = matches!(naming, Naming::Scientific);
    }

    /// The key goes that way on `harp`; without a way, nobody wants to be asked.
    pub(crate) fn set_way(&mut self, harp: &str, way: Option<Way>) {
        if let Some(way) = way {
            self.key_left_out.remove(harp);
            self.key.insert(harp.to_owned(), way.word().to_owned());
        } else {
            self.key.remove(harp);
            self.key_left_out.insert(harp.to_owned());
        }
    }

    pub(crate) fn set_input(&mut self, input: Option<String>) {
        self.input = input;
    }
}

impl Kept {
    /// The choices that were kept in `folder`; damaged ones are the usual ones, since each can be made again in a moment.
    pub(crate) fn open(folder: Arc<Folder>) -> Self {
        let kept = folder.read(FILE).ok().flatten();
        let now = kept.and_then(|bytes| serde_json::from_slice(&bytes).ok());
        Self {
            folder,
            now: now.unwrap_or_default(),
            before: Vec::new(),
        }
    }

    /// The choices as they are.
    pub(crate) const fn now(&self) -> &Choices {
        &self.now
    }

    /// Changes them, so that it can be taken back.
    pub(crate) fn change(&mut self, change: impl FnOnce(&mut Choices)) {
        let before = self.now.clone();
        change(&mut self.now);
        if self.now == before {
            return;
        }
        if self.before.len() == BEFORE_MAX {
            self.before.remove(0);
        }
        self.before.push(before);
        self.write();
    }

    /// Takes the last change back; whether there was one.
    pub(crate) fn undo(&mut self) -> bool {
        let Some(before) = self.before.pop() else { return false };
        self.now = before;
        self.write();
        true
    }

    /// Whether there is something to take back.
    pub(crate) fn can_undo(&self) -> bool {
        !self.before.is_empty()
    }

    fn write(&self) {
        // A disk that takes nothing is told of by the journal; a choice is not worth a second alarm.
        let text = serde_json::to_vec(&self.now).unwrap_or_default();
        if let Err(why) = self.folder.write(FILE, &text) {
            tracing::warn!(%why, "the choices are not kept");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn choices_are_kept_taken_back_and_begun_anew_when_damaged() {
        let place = tempfile::TempDir::with_prefix("consort-choices-").expect("a place");
        let folder = Arc::new(Folder::open(place.path()).expect("the folder opens"));
        let mut kept = Kept::open(folder.clone());
        assert!(kept.now().asks_way("Alder") && !kept.can_undo());
        kept.change(|choices| choices.set_way("Alder", Some(Way::Away)));
        kept.change(|choices| choices.set_order(Order::Down));
        kept.change(|choices| choices.set_order(Order::Down));
        assert_eq!(Kept::open(folder.clone()).now(), kept.now());
        assert!(kept.undo());
        assert_eq!(
            (kept.now().order(), kept.now().way("Alder")),
            (Order::Usual, Some(Way::Away))
        );
        assert!(kept.undo() && !kept.undo());
        assert_eq!(Kept::open(folder.clone()).now(), &Choices::default());
        folder.write(FILE, b"{\"order\":3}").expect("written");
        assert_eq!(Kept::open(folder).now(), &Choices::default());
    }
}
