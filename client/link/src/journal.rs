//! Reports that the coordinator may not have yet.

use std::time::Duration;

use consort_proto::message::{Content, REPORTS_MAX};
use consort_proto::{Report, Sequence, SessionId, Uptime};

/// Readings kept per string while they wait.
///
/// Not only the newest: whether a string holds, moved, or will not hold is told by several plucks in a row.
const KEPT_PER_STRING: usize = 4;

/// Sessions whose reports are kept: whoever plays in more ensembles has been heard by the older ones long since.
const SESSIONS_MAX: usize = 4;

/// The session of reports that were made alone: nobody ever asks for them.
pub(crate) const NOBODYS: SessionId = SessionId([0; 16]);

/// What waits, by number; each report waits for the coordinator of the session in which it was made.
#[derive(Debug)]
pub(crate) struct Journal {
    /// In the order of their numbers; a few for each string, so that a list serves better than a tree.
    waiting: Vec<Entry>,
    next: Sequence,
}

#[derive(Debug)]
struct Entry {
    report: Report,
    /// When the report's age was right.
    noted_at: Uptime,
    /// Whether it rests on this station's disk, so that it may be sent.
    on_disk: bool,
}

impl Journal {
    /// What an earlier run of the program left, none of it sent for certain.
    pub(crate) fn restore(reports: Vec<Report>, next: Sequence, now: Uptime) -> Self {
        let after = reports.iter().map(|report| report.sequence).max().unwrap_or_default();
        let mut journal = Self {
            waiting: Vec::new(),
            next: next.max(Sequence(after.0.saturating_add(1))),
        };
        for report in reports {
            journal.insert(report, now, true);
        }
        journal
    }

    /// Gives `content` the next number.
    pub(crate) fn note(&mut self, now: Uptime, report: impl FnOnce(Sequence) -> Report) -> Report {
        let report = report(self.next);
        self.next.0 = self.next.0.saturating_add(1);
        self.insert(report, now, false);
        report
    }

    fn insert(&mut self, report: Report, noted_at: Uptime, on_disk: bool) {
        if report.session == NOBODYS {
            return;
        }
        let string = report.content.string();
        let is_mark = matches!(report.content, Content::Mark { .. });
        let kept = if is_mark { 1 } else { KEPT_PER_STRING };
        let entry = Entry {
            report,
            noted_at,
            on_disk,
        };
        // The highest number, but for what an earlier run left in whatever order.
        let place = self
            .waiting
            .partition_point(|before| before.report.sequence < report.sequence);
        match self.waiting.get_mut(place) {
            Some(same) if same.report.sequence == report.sequence => *same = entry,
            Some(_) | None => self.waiting.insert(place, entry),
        }
        let is_alike = |entry: &&Entry| {
            entry.report.session == report.session
                && entry.report.content.string() == string
                && matches!(entry.report.content, Content::Mark { .. }) == is_mark
        };
        // One was added, so that one is too many at most.
        if self.waiting.iter().filter(is_alike).count() > kept
            && let Some(oldest) = self.waiting.iter().position(|entry| is_alike(&entry))
        {
            self.waiting.remove(oldest);
        }
        self.drop_oldest_session(report.session);
    }

    /// The sessions that reported longest ago are given up when there are too many, now that `reported` has.
    fn drop_oldest_session(&mut self, reported: SessionId) {
        if self.waiting.iter().all(|entry| entry.report.session == reported) {
            return;
        }
        let mut newest_first: Vec<SessionId> = Vec::new();
        for entry in self.waiting.iter().rev() {
            if !newest_first.contains(&entry.report.session) {
                newest_first.push(entry.report.session);
            }
        }
        for session in newest_first.into_iter().skip(SESSIONS_MAX) {
            self.waiting.retain(|entry| entry.report.session != session);
        }
    }

    /// Everything up to `sequence` rests on this station's disk; returns what may now be sent in `session`.
    pub(crate) fn on_disk(&mut self, now: Uptime, sequence: Sequence, session: Option<SessionId>) -> Vec<Report> {
        let mut fresh = Vec::new();
        for entry in self
            .waiting
            .iter_mut()
            .filter(|entry| entry.report.sequence <= sequence)
        {
            if !std::mem::replace(&mut entry.on_disk, true) && Some(entry.report.session) == session {
                fresh.push(entry.aged(now));
            }
        }
        fresh
    }

    /// The coordinator of `session` has everything of it up to `sequence`; whether anything was dropped.
    pub(crate) fn forget(&mut self, session: SessionId, sequence: Sequence) -> bool {
        let before = self.waiting.len();
        self.waiting
            .retain(|entry| entry.report.sequence > sequence || entry.report.session != session);
        // A station whose disk was lost must not use numbers again that the coordinator has seen.
        self.next = self.next.max(Sequence(sequence.0.saturating_add(1)));
        self.waiting.len() < before
    }

    /// The coordinator has seen `sequence`, a number that was not given out yet: this station's disk was lost. What
    /// waits would be taken for repetitions, so it gets higher numbers; it is returned to be written down anew.
    pub(crate) fn outrun(&mut self, now: Uptime, sequence: Sequence) -> Vec<Report> {
        if sequence < self.next {
            return Vec::new();
        }
        self.next = Sequence(sequence.0.saturating_add(1));
        let waiting = std::mem::take(&mut self.waiting);
        let renumbered = waiting.into_iter().map(|entry| {
            let next = self.next;
            self.next.0 = self.next.0.saturating_add(1);
            let mut report = entry.aged(now);
            report.sequence = next;
            report
        });
        let renumbered: Vec<Report> = renumbered.collect();
        for &report in &renumbered {
            self.insert(report, now, false);
        }
        renumbered
    }

    /// Everything of `session` that may be sent, in batches.
    pub(crate) fn batches(&self, now: Uptime, session: SessionId) -> Vec<Vec<Report>> {
        let ready: Vec<Report> = self
            .waiting
            .iter()
            .filter(|entry| entry.on_disk && entry.report.session == session)
            .map(|entry| entry.aged(now))
            .collect();
        ready.chunks(REPORTS_MAX).map(<[Report]>::to_vec).collect()
    }

    /// How many reports of `session` wait.
    pub(crate) fn count(&self, session: SessionId) -> usize {
        let waiting = self.waiting.iter();
        waiting.filter(|entry| entry.report.session == session).count()
    }
}

impl Entry {
    fn aged(&self, now: Uptime) -> Report {
        let passed: Duration = now.since(self.noted_at);
        Report {
            age: self.report.age.saturating_add(passed),
            ..self.report
        }
    }
}
