//! The coordinator's disk: what rests on it, and what is on its way there.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use consort_proto::message::Content;
use consort_proto::{Agreement, Fingerprint, JoinToken, Sequence, StringStory, Tenure};
use consort_session::{Record, Ruled, Saved, SavedStation, Ticket};

/// Survives every kill, as far as it was written.
#[derive(Debug)]
pub(super) struct Disk {
    pub(super) agreement: Agreement,
    /// What was agreed before.
    before: Agreement,
    pub(super) epoch: u32,
    pub(super) stations: Vec<SavedStation>,
    pinned: Vec<Fingerprint>,
    /// Every report that rests here.
    pub(super) reports: BTreeMap<Fingerprint, BTreeSet<Sequence>>,
    /// Handed over and not answered yet, oldest first, with the generation in which it was handed over.
    queue: VecDeque<(Ticket, Record, u64)>,
    /// Goes up each time the session is told of a refusal.
    generation: u64,
    /// What was handed over up to this generation is refused, since it may build on what was refused before it.
    refused: u64,
    /// Takes nothing for now.
    pub(super) full: bool,
}

/// How a record fared.
#[derive(Clone, Copy, Debug)]
pub(super) enum Answer {
    Taken(Ticket),
    Refused(Ticket),
}

impl Disk {
    pub(super) fn new(agreement: Agreement) -> Self {
        Self {
            before: agreement.clone(),
            agreement,
            epoch: 0,
            stations: Vec::new(),
            pinned: Vec::new(),
            reports: BTreeMap::new(),
            queue: VecDeque::new(),
            generation: 1,
            refused: 0,
            full: false,
        }
    }

    /// Counts the epoch up and reads everything; what was not written when the program ended is lost.
    pub(super) fn open(&mut self, token: JoinToken) -> Saved {
        self.queue.clear();
        self.epoch += 1;
        Saved {
            agreement: self.agreement.clone(),
            start_in: None,
            past: Vec::new(),
            epoch: self.epoch,
            token,
            pinned: self.pinned.clone(),
            deputies: Vec::new(),
            ruled: Ruled::default(),
            stations: self.stations.clone(),
        }
    }

    /// As if a copy of yesterday had been put in the file's place.
    pub(super) fn open_old(&mut self, token: JoinToken) -> Saved {
        Saved {
            agreement: self.before.clone(),
            ..self.open(token)
        }
    }

    pub(super) fn hand_over(&mut self, ticket: Ticket, record: Record) {
        self.queue.push_back((ticket, record, self.generation));
    }

    /// Writes or refuses the oldest record that waits.
    pub(super) fn step(&mut self) -> Result<Option<Answer>, String> {
        let Some((ticket, record, generation)) = self.queue.pop_front() else {
            return Ok(None);
        };
        if self.full || generation <= self.refused {
            self.refused = self.refused.max(generation);
            return Ok(Some(Answer::Refused(ticket)));
        }
        self.write(record)?;
        Ok(Some(Answer::Taken(ticket)))
    }

    /// Says that it has the oldest record that waits, and has not, if that is a report.
    pub(super) fn lose_report(&mut self) -> Option<Answer> {
        let is_report = |(_, record, _): &(Ticket, Record, u64)| matches!(record, Record::Reports { .. });
        let (ticket, ..) = self.queue.pop_front_if(|oldest| is_report(oldest))?;
        Some(Answer::Taken(ticket))
    }

    /// The session knows of a refusal: what it hands over from now on stands on its own.
    pub(super) const fn refusal_is_told(&mut self) {
        self.generation += 1;
    }

    /// How many records wait.
    pub(super) fn waiting(&self) -> usize {
        self.queue.len()
    }

    pub(super) fn station(&self, peer: Fingerprint) -> Option<&SavedStation> {
        self.stations.iter().find(|station| station.peer == peer)
    }

    pub(super) fn has(&self, peer: Fingerprint, sequence: Sequence) -> bool {
        self.reports
            .get(&peer)
            .is_some_and(|reports| reports.contains(&sequence))
    }

    fn write(&mut self, record: Record) -> Result<(), String> {
        match record {
            Record::Agreement { agreement, .. } => {
                if agreement.revision <= self.agreement.revision {
                    return Err(format!(
                        "{:?} was written after {:?}",
                        agreement.revision, self.agreement.revision
                    ));
                }
                if agreement.round != self.agreement.round {
                    let stories = self.stations.iter_mut().flat_map(|station| &mut station.stories);
                    stories.for_each(StringStory::begin_round);
                }
                self.before = std::mem::replace(&mut self.agreement, *agreement);
            }
            Record::Station { peer, name, harp } => match self.stations.iter_mut().find(|known| known.peer == peer) {
                Some(station) => station.name = name,
                None => self.stations.push(SavedStation {
                    peer,
                    tenure: Tenure {
                        seat: self.stations.len() as u32 + 1,
                        epoch: 1,
                    },
                    place: self.stations.len() as u32 + 1,
                    name,
                    acked: Sequence(0),
                    removed: false,
                    stories: vec![StringStory::default(); harp.len()],
                    harp,
                }),
            },
            Record::Pinned { peer } => self.pinned.push(peer),
            Record::Reports { peer, reports } => {
                let (session, round) = (self.agreement.session, self.agreement.round);
                let known = self.stations.iter_mut().find(|known| known.peer == peer);
                let station = known.ok_or("reports of nobody")?;
                for report in reports {
                    if !self.reports.entry(peer).or_default().insert(report.sequence) {
                        return Err(format!("report {} of {peer:?} counts twice", report.sequence.0));
                    }
                    station.acked = station.acked.max(report.sequence);
                    let story = station.stories.get_mut(report.content.string().index());
                    match (story, report.content) {
                        (Some(story), Content::Reading(reading))
                            if (report.session, report.round, report.tenure) == (session, round, station.tenure) =>
                        {
                            story.hear(reading);
                        }
                        (Some(story), Content::Mark { mark, .. })
                            if (report.session, report.tenure) == (session, station.tenure) =>
                        {
                            story.set_mark(mark);
                        }
                        (Some(_) | None, _) => {}
                    }
                }
            }
            // Nobody takes a seat over in these schedules, nobody is a deputy, and nothing is ruled.
            Record::TakenOver { .. } | Record::Deputy { .. } | Record::Ruling(_) => {
                return Err("an order that nobody gave".to_owned());
            }
            Record::Removed { peer, removed } => {
                let known = self.stations.iter_mut().find(|known| known.peer == peer);
                known.ok_or("nobody was removed")?.removed = removed;
            }
        }
        Ok(())
    }
}
