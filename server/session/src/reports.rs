//! Reports of the stations: written down first, then counted and acknowledged, each once.

use std::time::Duration;

use consort_proto::message::{Content, Refusal};
use consort_proto::{Fingerprint, Report, ToStation, Uptime, Verdict};

use crate::event::LinkId;
use crate::neighbour::Pluck;
use crate::record::Record;
use crate::session::{Session, Waiting};

impl Session {
    /// Takes what is new among `reports`; what is on disk already is acknowledged once more.
    pub(crate) fn take_reports(&mut self, now: Uptime, id: LinkId, peer: Fingerprint, reports: Vec<Report>) {
        if !self
            .links
            .get_mut(&id)
            .is_some_and(|link| link.pace.takes(now, reports.len()))
        {
            self.close(id, Refusal::Misspoke);
            return;
        }
        let Some(station) = self.roster.get_mut(peer) else {
            return;
        };
        let mut new = Vec::with_capacity(reports.len());
        let asked_for_one = self.agreement.called.is_some();
        for mut report in reports {
            // Numbers may be left out, never used twice.
            if report.sequence <= station.accepted {
                continue;
            }
            station.accepted = report.sequence;
            if let Content::Reading(reading) = &mut report.content
                && reading.verdict == Verdict::Settled
                && let Some(level_dbfs) = reading.level_dbfs
                // All pluck at a time what they are asked for.
                && !asked_for_one
                // What was plucked before this start of the program has no moment that others could share.
                && let Some(onset) = now.0.checked_sub(report.age)
            {
                let pluck = Pluck {
                    station: peer,
                    onset: Uptime(onset),
                    hz: reading.hz,
                    sigma: reading.sigma,
                    level_dbfs,
                };
                if self.neighbours.hear(pluck) {
                    // Kept like everything that is reported, and says nothing about the string.
                    *reading = reading.judged(Verdict::Unsure);
                }
            }
            new.push(report);
        }
        let acked = station.acked;
        if new.is_empty() {
            // The acknowledgement was lost with an older link.
            self.send(id, ToStation::Acked(acked));
        } else {
            let record = Record::Reports { peer, reports: new };
            let waiting = Waiting::Reports {
                record: record.clone(),
                heard_at: now,
            };
            self.persist(record, waiting);
        }
    }

    /// Counts reports that were heard at `heard_at` and rest on the disk now, and acknowledges them.
    pub(crate) fn count(&mut self, heard_at: Uptime, record: Record) {
        let Record::Reports { peer, reports } = record else {
            return;
        };
        let (session, round) = (self.agreement.session, self.agreement.round);
        let Some(station) = self.roster.get_mut(peer) else {
            return;
        };
        for report in &reports {
            station.acked = station.acked.max(report.sequence);
            // A report of an earlier holder of a seat, or of an earlier seat, is not one of this harp now.
            if report.session != session || report.tenure != station.tenure {
                continue;
            }
            let is_of_another_round = matches!(report.content, Content::Reading(_)) && report.round != round;
            if is_of_another_round || !station.strings.hear(report.content) {
                continue;
            }
            if let Content::Reading(reading) = report.content
                && reading.verdict == Verdict::Settled
            {
                let at = plucked_at(heard_at, report.age);
                station.traces.hear(reading.string, at, reading.hz);
            }
        }
        let acked = station.acked;
        self.roster.follow(peer, heard_at, &self.agreement);
        let links: Vec<LinkId> = self
            .joined()
            .filter(|&(_, other)| other == peer)
            .map(|(link, _)| link)
            .collect();
        links
            .into_iter()
            .for_each(|link| self.send(link, ToStation::Acked(acked)));
    }
}

/// When what is reported now, and is so old, was plucked; the start of the program for what is older.
fn plucked_at(heard_at: Uptime, age: Duration) -> Uptime {
    Uptime(heard_at.0.saturating_sub(age))
}
