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
    judged: RefCell<Judged>,
}

/// What was last found of them.
#[derive(Debug, Default)]
struct Judged {
    /// Under which agreement, and what; `None` while it has to be found anew.
    found: Option<(Revision, Readiness)>,
    /// The strings that have been reported of since, counted from 0.
    changed: Vec<usize>,
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
        let Judged { found, changed } = &mut *judged;
        let Agreement { tuning, tolerance, .. } = agreement;
        let (harp, stories) = (&self.harp, &self.stories);
        let readiness = match found.as_ref().filter(|(under, _)| *under == agreement.revision) {
            Some((_, readiness)) if changed.is_empty() => return readiness.clone(),
            Some((_, readiness)) => readiness.judged_anew(changed, harp, stories, tuning, tolerance),
            None => Readiness::judge(harp, stories, tuning, tolerance),
        };
        changed.clear();
        *found = Some((agreement.revision, readiness.clone()));
        readiness
    }

    /// Takes in what was reported; `false` where the harp has no such string, since another harp's was meant.
    pub(crate) fn hear(&mut self, content: Content) -> bool {
        let string = content.string().index();
        let Some(story) = self.stories.get_mut(string) else {
            return false;
        };
        let changed = &mut self.judged.get_mut().changed;
        if !changed.contains(&string) {
            changed.push(string);
        }
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

#[cfg(test)]
mod tests {
    use consort_proto::{Cents, Reading, ReferencePitch, Round, SessionId, StringNumber, Tolerance, Tuning, harp_file};

    use super::*;

    #[test]
    fn what_is_judged_string_by_string_is_what_is_judged_as_a_whole() {
        let harp = harp_file::preset("lever-34").expect("a harp");
        let mut agreement = Agreement {
            session: SessionId([1; 16]),
            revision: Revision(1),
            ensemble: "Hall".parse().expect("a name"),
            tuning: Tuning::default(),
            tolerance: Tolerance::default(),
            round: Round(1),
            called: None,
        };
        let mut strings = Strings::new(harp.clone(), Vec::new());
        // Up and down over some strings, in tune and not; now and then somebody looks, or the agreement changes.
        for pluck in 0..200_u32 {
            let string = StringNumber::new(1 + pluck * 7 % 5).expect("a string");
            let open = harp.string(string).expect("the harp has it");
            let cents = Cents(f64::from(pluck * 13 % 9) - 4.0);
            let hz = Tuning::default().open_target(open).raised_by(cents);
            let reading = Reading::new(string, hz, Cents(0.1)).expect("in range");
            assert!(strings.hear(Content::Reading(reading)));
            if pluck % 40 == 39 {
                agreement.revision.0 += 1;
                let a4 = 440.0 + f64::from(pluck) / 100.0;
                agreement.tuning.a4 = ReferencePitch::new(a4).expect("in reach");
            }
            if pluck % 3 == 0 {
                let whole = Readiness::judge(&harp, &strings.stories, &agreement.tuning, &agreement.tolerance);
                assert_eq!(strings.readiness(&agreement), whole, "after pluck {pluck}");
            }
        }
    }
}
