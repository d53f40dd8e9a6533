//! Strings that were written down as put on since the desk marked them: what a mark taken back takes out again, also after
//! a start.

use std::collections::BTreeMap;
use std::sync::Arc;

use consort_proto::StringNumber;
use consort_record::Date;
use consort_store::Folder;

/// For each harp the strings that were written down by a mark, and the day of each.
#[derive(Debug)]
pub(super) struct ByMark {
    /// Where it is kept; `None` for as long as the program runs only.
    folder: Option<Arc<Folder>>,
    harp: String,
    kept: BTreeMap<String, BTreeMap<StringNumber, String>>,
}

const FILE: &str = "written-by-mark.json";

impl ByMark {
    /// What was written so of the harp called `harp`; of what is damaged nothing is known, so that nothing is taken out.
    pub(super) fn open(folder: Option<Arc<Folder>>, harp: &str) -> Self {
        let bytes = folder.as_ref().and_then(|folder| folder.read(FILE).ok().flatten());
        Self {
            kept: bytes
                .and_then(|bytes| serde_json::from_slice(&bytes).ok())
                .unwrap_or_default(),
            folder,
            harp: harp.to_owned(),
        }
    }

    /// `string` was written down on the day `today`; what is of an earlier day cannot be a slip any more.
    pub(super) fn wrote(&mut self, string: StringNumber, today: Date) {
        let today = today.to_string();
        let strings = self.kept.entry(self.harp.clone()).or_default();
        strings.retain(|_, on| *on == today);
        strings.insert(string, today);
        self.keep();
    }

    /// Whether `string` was written down by its mark on the day `today`; it is no more then.
    pub(super) fn take(&mut self, string: StringNumber, today: Date) -> bool {
        let strings = self.kept.entry(self.harp.clone()).or_default();
        let on = strings.remove(&string);
        if on.is_some() {
            self.keep();
        }
        on == Some(today.to_string())
    }

    fn keep(&self) {
        let Some(folder) = &self.folder else { return };
        let text = serde_json::to_vec(&self.kept).unwrap_or_default();
        if let Err(why) = folder.write(FILE, &text) {
            tracing::warn!(%why, "which strings were written down by a mark is not kept");
        }
    }
}
