//! New strings: what the desk marks is written into the record, and what the record says is marked at the desk.

use consort_link::Event;
use consort_proto::message::Content;
use consort_proto::{Mark, StringNumber};
use consort_words::{Arg, Key};

use super::EventLoop;
use crate::keeper;
use crate::renewals::{Change, Noted};

impl EventLoop {
    /// She marks a string or takes its mark back: the record is told of a string that was put on.
    pub(super) fn mark(&mut self, string: StringNumber, mark: Option<Mark>) {
        let before = self.mark_of(string);
        if mark == Some(Mark::Missing) {
            self.hearing.is_missing(string);
        }
        self.tell(Event::Observed(Content::Mark { string, mark }));
        let Some(keeper) = &self.keeper else { return };
        let today = keeper::now().date();
        match (before, mark) {
            (Some(Mark::New), Some(Mark::New)) => {}
            (_, Some(Mark::New)) => {
                keeper.renewed(string, today);
                self.renewals.marked(string, today);
            }
            (Some(Mark::New), _) => keeper.not_renewed(string, today),
            _ => {}
        }
        self.slipped = (mark != before).then_some((string, before));
    }

    /// Takes back the mark that was made last, if nothing was chosen since.
    pub(super) fn unmark(&mut self) -> bool {
        let Some((string, before)) = self.slipped.take() else {
            return false;
        };
        self.mark(string, before);
        self.slipped = None;
        true
    }

    fn mark_of(&self, string: StringNumber) -> Option<Mark> {
        self.link.stories().get(string.index()).and_then(|story| story.mark())
    }

    /// Takes in what the record says, in whatever way it came to say so.
    pub(super) fn note_record(&mut self, noted: &Noted) {
        let stories = self.link.stories();
        let mark = |string: StringNumber| stories.get(string.index()).and_then(|story| story.mark());
        let changes = self.renewals.take(noted, mark);
        for change in changes {
            let (string, mark) = match change {
                Change::New(string) => (string, Some(Mark::New)),
                Change::NoLonger(string) | Change::Holds(string) => (string, None),
            };
            self.tell(Event::Observed(Content::Mark { string, mark }));
            if let Change::Holds(string) = change {
                let on = noted.put_on.get(&string).cloned().unwrap_or_default();
                let args = [("string", Arg::from(self.name_of(string))), ("date", Arg::from(on))];
                self.notice(self.words.say(Key::FittedHolds, &args));
            }
        }
        self.hearing.settle(self.renewals.settling());
        self.allows_otherwise = noted.harp != *self.harp;
        self.refresh();
    }

    fn name_of(&self, string: StringNumber) -> String {
        let naming = self.kept.now().naming();
        self.harp
            .string(string)
            .map_or_else(|| string.to_string(), |string| naming.of(string.open))
    }
}
