//! The two programs' shells at their plainest: effects carried out in order, each disk answered in its own time.

use std::net::SocketAddr;

use consort_link::Known;
use consort_logbook::Logged;
use consort_proto::{JoinCode, JoinLink, Report, ToCoordinator, Tolerance, Tuning, Uptime};
use consort_session::Opening;

use super::agenda::{Due, Whose};
use super::disk::Answer;
use super::hall::{COORDINATOR, Hall, TOKEN, name};
use super::logbooks::Kept;
use super::{Broken, Flaw};

pub(super) const ADDRESS: SocketAddr = SocketAddr::new(
    std::net::IpAddr::V4(std::net::Ipv4Addr::LOCALHOST),
    consort_proto::discovery::PORT,
);

impl Hall {
    fn has(&self, flaw: Flaw) -> bool {
        self.plan.flaw == Some(flaw)
    }

    pub(super) fn open(&mut self) -> Result<(), Broken> {
        self.start_coordinator()?;
        (0..self.players.len()).try_for_each(|station| self.start_station(station))
    }

    // --- the coordinator ---

    pub(super) fn start_coordinator(&mut self) -> Result<(), Broken> {
        self.life += 1;
        let saved = match self.plan.flaw {
            Some(Flaw::OpensAnOldFile) => self.disk.open_old(TOKEN),
            _ => self.disk.open(TOKEN),
        };
        // A program's clock starts at zero; here the hall's own clock serves, since only differences count.
        let opening = Opening {
            config: consort_session::Config::default(),
            saved,
        };
        let logbook = self.logbooks.as_ref().map(Kept::of_coordinator);
        self.session = Some(Logged::start(self.now, opening, logbook));
        self.coordinator(consort_session::Event::Tick)?;
        self.draw()
    }

    pub(super) fn kill_coordinator(&mut self) -> Result<(), Broken> {
        self.tally.coordinator_kills += 1;
        // Some of what was on its way had arrived on the disk, and nobody was told.
        for _ in 0..self.chance.below(4) {
            self.disk.step().map_err(|what| self.broken(what))?;
        }
        self.judged = false;
        self.session = None;
        self.board.clear();
        self.ready.clear();
        self.agenda.set_clock(Whose::Coordinators, None);
        self.break_wires(|_| true);
        self.close_up_ends();
        if self.chance.is(60) {
            self.start_coordinator()?;
        }
        Ok(())
    }

    pub(super) fn coordinator(&mut self, event: consort_session::Event) -> Result<(), Broken> {
        let now = self.now;
        let only_time_passed = event == consort_session::Event::Tick;
        let Some(session) = &mut self.session else {
            return Ok(());
        };
        session.handle(now, event);
        let wake = session.poll_timeout();
        if wake.is_some_and(|at| at <= now) {
            return Err(self.broken("the session wants to be woken at once, again and again"));
        }
        self.agenda.set_clock(Whose::Coordinators, wake);
        while let Some(effect) = self.session.as_mut().and_then(Logged::poll_effect) {
            match effect {
                consort_session::Effect::Send { link, message } => {
                    self.check_said(link.0, &message)?;
                    self.say_down(link.0, message);
                }
                consort_session::Effect::Close { link, why } => self.dismiss(link.0, why),
                consort_session::Effect::Persist { ticket, record } => {
                    self.disk.hand_over(ticket, record);
                    let (life, wait) = (self.life, self.chance.ms(2, 40));
                    self.after(wait, Due::DiskStep { life });
                }
                consort_session::Effect::DrawCode => {
                    let code = JoinCode::drawn(self.chance.number());
                    self.coordinator(consort_session::Event::Code(code))?;
                }
                // Only strangers try a code here, and none of them knows it.
                consort_session::Effect::AnswerShare { .. } => {}
                consort_session::Effect::CheckProof { link, .. } => {
                    self.coordinator(consort_session::Event::Proof { link, right: false })?;
                }
                consort_session::Effect::Accept { link, .. } => {
                    return Err(self.broken(format!("{link:?} was accepted without a code")));
                }
                consort_session::Effect::Redraw if only_time_passed && self.has(Flaw::DrawsTooSeldom) => {}
                consort_session::Effect::Redraw => self.draw()?,
            }
        }
        Ok(())
    }

    pub(super) fn disk_step(&mut self) -> Result<(), Broken> {
        self.judged = false;
        let lost = (self.has(Flaw::LosesReports) && self.chance.is(2)).then(|| self.disk.lose_report());
        let answer = match lost.flatten() {
            Some(answer) => Some(answer),
            None => self.disk.step().map_err(|what| self.broken(what))?,
        };
        match answer {
            Some(Answer::Taken(ticket)) => self.coordinator(consort_session::Event::Persisted(ticket)),
            Some(Answer::Refused(ticket)) => {
                self.tally.refused_records += 1;
                self.disk.refusal_is_told();
                self.coordinator(consort_session::Event::NotPersisted(ticket))
            }
            None => Ok(()),
        }
    }

    // --- the stations ---

    pub(super) fn start_station(&mut self, station: usize) -> Result<(), Broken> {
        let (process, seed) = (self.chance.number(), self.chance.number());
        self.arrived(station);
        let player = &mut self.players[station];
        player.life += 1;
        let knows = player.known;
        let known = knows.then_some(Known {
            coordinator: COORDINATOR,
            address: Some(ADDRESS),
        });
        let (agreement, tenure, stories) = player.kept.clone();
        player.held = None;
        player.last_call = self.now;
        let logbook = self.logbooks.as_ref().map(|kept| kept.of_station(station));
        player.link = Some(Logged::start(
            self.now,
            consort_link::Config {
                name: name("Player"),
                harp: self.harp.clone(),
                process,
                known: known.into_iter().collect(),
                journal: player.journal.values().copied().collect(),
                next: player.next,
                agreement,
                tenure,
                stories,
                own: (Tuning::default(), Tolerance::default()),
                seed,
            },
            logbook,
        ));
        if knows {
            return self.station(station, consort_link::Event::Tick);
        }
        let link = JoinLink {
            addresses: vec![ADDRESS],
            coordinator: COORDINATOR,
            token: TOKEN,
        };
        self.station(station, consort_link::Event::JoinLink(link))
    }

    pub(super) fn kill_station(&mut self, station: usize) -> Result<(), Broken> {
        self.tally.station_kills += 1;
        let arrived = self.chance.below(3);
        let player = &mut self.players[station];
        // Some of what was on its way had arrived on the disk, and nobody was told.
        let writing: Vec<_> = player.writing.drain(..).take(arrived).collect();
        writing.into_iter().for_each(|report| player.keep(report));
        // The numbers of what did not arrive are free again.
        let noted = &player.noted;
        player.issued.retain(|sequence, _| noted.contains(sequence));
        player.link = None;
        self.agenda.set_clock(Whose::Stations(station), None);
        self.break_wires(|wire| wire.station.is_some_and(|(of, ..)| of == station));
        self.close_down_ends(station);
        self.start_station(station)
    }

    /// Something arrives at a station now; who was quiet is not any more, and may be from another time on.
    pub(super) fn arrived(&mut self, station: usize) {
        let last = std::mem::replace(&mut self.players[station].last_arrival, self.now);
        if self.now.since(last) > consort_link::SILENT_AFTER {
            self.told_until = Uptime::default();
        }
    }

    pub(super) fn station(&mut self, station: usize, event: consort_link::Event) -> Result<(), Broken> {
        let now = self.now;
        let player = &mut self.players[station];
        let Some(link) = &mut player.link else {
            return Ok(());
        };
        link.handle(now, event);
        if now.since(player.last_arrival) > consort_link::SILENT_AFTER {
            // What a quiet one shows is looked at whenever it may have changed.
            self.told_until = Uptime::default();
        }
        let (wake, life) = (link.poll_timeout(), player.life);
        if wake.is_some_and(|at| at <= now) {
            return Err(self.broken(format!("station {station} wants to be woken at once, again and again")));
        }
        self.agenda.set_clock(Whose::Stations(station), wake);
        while let Some(effect) = self.players[station].link.as_mut().and_then(Logged::poll_effect) {
            match effect {
                consort_link::Effect::Dial {
                    attempt,
                    address,
                    expect,
                } => {
                    if (address, expect) != (ADDRESS, Some(COORDINATOR)) {
                        return Err(self.broken(format!("station {station} called {expect:?} at {address}")));
                    }
                    if self.has(Flaw::NeverCallsAgain) && self.players[station].known {
                        continue;
                    }
                    self.players[station].last_call = self.now;
                    let wait = self.chance.ms(5, 65);
                    self.after(wait, Due::Dialled { station, life, attempt });
                }
                consort_link::Effect::Send { attempt, message } => {
                    if let Some(wire) = self.wire_of(station, attempt) {
                        if let (true, ToCoordinator::Reports(said)) = (self.has(Flaw::ForgetsTooSoon), &message) {
                            let journal = &mut self.players[station].journal;
                            journal.retain(|&kept, _| said.iter().all(|report| report.sequence != kept));
                        }
                        self.say_up(wire, message);
                    }
                }
                consort_link::Effect::Close { attempt } => {
                    if let Some(wire) = self.wire_of(station, attempt) {
                        self.hang_up(wire);
                    }
                }
                consort_link::Effect::Journal(report) => {
                    let player = &mut self.players[station];
                    player.issued.insert(report.sequence, report);
                    player.writing.push_back(report);
                    let wait = self.chance.ms(2, 20);
                    self.after(wait, Due::JournalStep { station, life });
                }
                consort_link::Effect::Forget { session, up_to } => {
                    let journal = &mut self.players[station].journal;
                    let other = |report: &Report| session.is_some_and(|session| report.session != session);
                    journal.retain(|&kept, report| kept > up_to || other(report));
                }
                consort_link::Effect::Remember { .. } => self.players[station].known = true,
                pairing @ (consort_link::Effect::Pair { .. }
                | consort_link::Effect::Confirm { .. }
                | consort_link::Effect::CheckProof { .. }
                | consort_link::Effect::Pin { .. }) => {
                    return Err(self.broken(format!("station {station} has no code and wants {pairing:?}")));
                }
                consort_link::Effect::Redraw => self.note_held(station)?,
            }
        }
        Ok(())
    }

    pub(super) fn journal_step(&mut self, station: usize) -> Result<(), Broken> {
        let Some(report) = self.players[station].writing.pop_front() else {
            return Ok(());
        };
        self.players[station].keep(report);
        self.station(station, consort_link::Event::Journalled(report.sequence))
    }
}
