//! A harp's strings: what each did in this round, and what that says of them, judged once for each of their changes.

use std::cell::RefCell;

use consort_proto::message::Content;
use consort_proto::{Agreement, Harp, Readiness, Revision, StringStory};

/// The strings of one harp.
///
/// Whoever looks at the ensemble asks for every harp, and most have not changed since: a judgement is kept until this harp
/// or the agreement is another, and nothing else can change it.
#[derive(Debug)]
pub(crate) struct Strings {
    harp: Harp,
    /// From the top, one for each string.
    stories: Vec<StringStory>,
    /// Under which agreement they were last judged, if nothing has changed since.
    judged: RefCell<Option<(Revision, Readiness)>>,
}

impl Strings {
    /// The harp with what is remembered of it.
    pub(crate) fn new(harp: Harp, mut stories: Vec<StringStory>) -> Self {
        stories.resize_with(harp.len(), StringStory::default);
        Self {
            harp,
            stories,
            judged: RefCell::default(),
        }
    }

    pub(crate) const fn harp(&self) -> &Harp {
        &self.harp
    }

    /// Whether nothing was heard of them in this round.
    pub(crate) fn are_untouched(&self) -> bool {
        self.stories.iter().all(|story| story.last().is_none())
    }

    /// What they are by `agreement`: within a session its revision tells it from any other.
    pub(crate) fn readiness(&self, agreement: &Agreement) -> Readiness {
        let mut judged = self.judged.borrow_mut();
        if let Some((_, readiness)) = judged.as_ref().filter(|(under, _)| *under == agreement.revision) {
            return readiness.clone();
        }
        let Agreement { tuning, tolerance, .. } = agreement;
        let readiness = Readiness::judge(&self.harp, &self.stories, tuning, tolerance);
        *judged = Some((agreement.revision, readiness.clone()));
        readiness
    }

    /// Takes in what was reported; `false` where the harp has no such string, since another harp's was meant.
    pub(crate) fn hear(&mut self, content: Content) -> bool {
        self.judged.take();
        let Some(story) = self.stories.get_mut(content.string().index()) else {
            return false;
        };
        match content {
            Content::Reading(reading) => story.hear(reading),
            Content::Mark { mark, .. } => story.set_mark(mark),
        }
        true
    }

    /// Forgets the readings, since a new round has begun.
    pub(crate) fn begin_round(&mut self) {
        self.judged.take();
        self.stories.iter_mut().for_each(StringStory::begin_round);
    }

    /// Another harp starts with no story. The same strings with other errors of their discs are the same harp: what was
    /// heard stays, and is judged by the new targets. Says whether it is another one.
    pub(crate) fn set_harp(&mut self, harp: Harp) -> bool {
        self.judged.take();
        let is_another = !self.harp.is_strung_like(&harp);
        if is_another {
            self.stories = vec![StringStory::default(); harp.len()];
        }
        self.harp = harp;
        is_another
    }

    /// What the strings of `other` did, these did: it is the same harp.
    pub(crate) fn inherit(&mut self, other: Self) {
        self.judged.take();
        self.stories = other.stories;
    }
}
