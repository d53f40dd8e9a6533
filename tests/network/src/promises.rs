//! The promises, checked by a bystander who sees disks, screens and what arrives where, but no program's inside.

use std::time::Duration;

use consort_link::LinkState;
use consort_proto::message::Content;
use consort_proto::{Agreement, Cents, Sequence, ToStation, Uptime};
use consort_session::{Presence, SILENT_AFTER, StationView};

use super::Broken;
use super::hall::{Hall, Player, SESSION};
use super::wires::WireId;

/// So many readings of a string are kept while they wait; an older one need not arrive any more.
const KEPT_PER_STRING: usize = 4;
/// The longest that a station which hears nothing waits before it calls: the 10 s of rest after a refusal, and a tenth
/// of a second for the pause before the next call to be due.
const CALLS_WITHIN: Duration = Duration::from_millis(10_100);
/// A string that fell out of tolerance so often after it was in is set aside as one that will not hold.
const FALLS: usize = 3;
/// What two ways to work out an interval may differ by, in cents.
const ROUNDING: f64 = 1e-9;

impl Hall {
    /// After every step.
    pub(super) fn check(&mut self) -> Result<(), Broken> {
        // Whoever was heard at some time stays heard since then: only time breaks these two, or a new picture.
        if self.now >= self.heard_until {
            self.heard_until = self.check_heard()?;
        }
        if self.now >= self.told_until {
            self.told_until = self.check_quiet()?;
        }
        if !std::mem::replace(&mut self.judged, true) {
            self.note_in_tune();
            let ready = self.ready.iter().map(|&(place, _)| &self.board[place]);
            ready.into_iter().try_for_each(|station| self.check_ready(station))?;
        }
        if !self.faulty && !self.healed && self.late().next().is_none() {
            self.healed = true;
            self.tally.healed_after = self.now.0.saturating_sub(self.plan.faults_for);
        }
        Ok(())
    }

    /// A harp that is shown as ready was heard not long ago; until when that stays so of all of them.
    fn check_heard(&self) -> Result<Uptime, Broken> {
        let mut until = Uptime(Duration::MAX);
        for &(place, player) in &self.ready {
            let heard = self.players[player].last_heard;
            let quiet = heard.map(|at| self.now.since(at));
            let Some(heard) = heard.filter(|_| quiet <= Some(SILENT_AFTER)) else {
                return Err(self.broken(format!(
                    "seat {} is shown as ready and was not heard for {quiet:?}",
                    self.board[place].seat
                )));
            };
            until = until.min(heard + SILENT_AFTER);
        }
        Ok(until)
    }

    /// A station that hears nothing says so, and calls; until when that stays so unless a quiet one does something.
    fn check_quiet(&self) -> Result<Uptime, Broken> {
        let mut until = Uptime(Duration::MAX);
        for (number, player) in self.players.iter().enumerate() {
            let quiet = self.now.since(player.last_arrival);
            let Some(link) = player.link.as_ref().filter(|_| quiet > consort_link::SILENT_AFTER) else {
                until = until.min(player.last_arrival + consort_link::SILENT_AFTER);
                continue;
            };
            let state = link.state();
            let called = player.last_call.max(player.last_arrival);
            let uncalled = self.now.since(called);
            until = until.min(called + CALLS_WITHIN);
            if state == LinkState::Joined || uncalled > CALLS_WITHIN {
                return Err(self.broken(format!(
                    "station {number} heard nothing for {quiet:?}, called {uncalled:?} ago and shows {state:?}"
                )));
            }
        }
        Ok(until)
    }

    /// The board is drawn anew.
    pub(super) fn draw(&mut self) -> Result<(), Broken> {
        let Some(session) = &self.session else {
            return Ok(());
        };
        let view = session.view(self.now);
        let (revision, epoch) = (view.agreement.revision, view.epoch);
        if epoch < self.board_epoch || revision < self.board_revision {
            return Err(self.broken(format!(
                "epoch {epoch}, {revision:?} is shown after epoch {}, {:?}",
                self.board_epoch, self.board_revision
            )));
        }
        if view.agreement != self.disk.agreement {
            return Err(self.broken(format!("{revision:?} is shown and is not what is on disk")));
        }
        let unknown = view
            .stations
            .iter()
            .find(|station| self.disk.station(station.peer).is_none());
        if let Some(station) = unknown {
            return Err(self.broken(format!("seat {} is shown and is not on disk", station.seat)));
        }
        self.tally.changes += u64::from(revision > self.board_revision);
        self.ready.clear();
        for (place, station) in view
            .stations
            .iter()
            .enumerate()
            .filter(|(_, station)| station.is_ready())
        {
            let Some(player) = self.player_of(station.peer) else {
                return Err(self.broken(format!("seat {} is ready, and nobody's", station.seat)));
            };
            self.ready.push((place, player));
        }
        self.tally.drawn_ready += u64::from(!self.ready.is_empty());
        self.board_revision = revision;
        self.board_epoch = epoch;
        self.board = view.stations;
        self.judged = false;
        self.heard_until = Uptime::default();
        Ok(())
    }

    /// A harp that is shown as ready is so by what rests on the disk.
    fn check_ready(&self, station: &StationView) -> Result<(), Broken> {
        let Some(saved) = self.disk.station(station.peer).filter(|saved| !saved.removed) else {
            return Err(self.broken(format!("seat {} is ready, and nobody on disk", station.seat)));
        };
        let (_, in_tune) = &self.in_tune;
        for ((string, story), in_tune) in self.harp.strings().iter().zip(&saved.stories).zip(in_tune) {
            let (mut falls, mut is_in) = (0, false);
            for reading in story.readings() {
                let was_in = std::mem::replace(&mut is_in, in_tune.contains(&reading.hz.get()));
                falls += usize::from(was_in && !is_in);
            }
            let set_aside = story.mark().is_some() || falls >= FALLS;
            if !set_aside && !is_in {
                return Err(self.broken(format!(
                    "seat {} is shown as ready, {} was last heard at {:?}, and {in_tune:?} Hz are in tune",
                    station.seat,
                    string.open,
                    story.last().map(|reading| reading.hz.get()),
                )));
            }
        }
        Ok(())
    }

    /// Works out which frequencies of each string are in tune by what rests on the disk, once for each revision.
    fn note_in_tune(&mut self) {
        let Agreement {
            revision,
            tuning,
            tolerance,
            ..
        } = &self.disk.agreement;
        let (of, in_tune) = &mut self.in_tune;
        if std::mem::replace(of, *revision) == *revision {
            return;
        }
        let strings = self.harp.strings().iter().map(|string| {
            let (target, within) = (tuning.open_target(string), tolerance.of(string).0 + ROUNDING);
            target.raised_by(Cents(-within)).get()..=target.raised_by(Cents(within)).get()
        });
        *in_tune = strings.collect();
    }

    /// Nothing is said that could still be lost, nothing but a refusal to who is not let in, and each key has one link.
    pub(super) fn check_said(&mut self, id: WireId, message: &ToStation) -> Result<(), Broken> {
        if matches!(message, ToStation::Refused(_)) {
            return Ok(());
        }
        let peer = self.peer_of(id);
        if self.disk.station(peer).is_none_or(|saved| saved.removed) {
            return Err(self.broken(format!(
                "{peer:?} is not let in by what is on disk and was told {message:?}"
            )));
        }
        if matches!(message, ToStation::Welcome { .. }) && !self.welcome_on(id) {
            return Err(self.broken(format!("{peer:?} was welcomed on a second link")));
        }
        let newest = self.disk.agreement.revision;
        let (told_epoch, told) = match message {
            ToStation::Agreement(document) => (document.epoch, document.agreement.revision),
            ToStation::Beat { epoch, revision } => (*epoch, *revision),
            ToStation::Welcome { epoch, .. } => (*epoch, newest),
            ToStation::Acked(_)
            | ToStation::Refused(_)
            | ToStation::PairReply { .. }
            | ToStation::PairAccept { .. }
            | ToStation::Admitted { .. }
            | ToStation::TakeOverAsked { .. }
            | ToStation::TakeOverDenied { .. }
            | ToStation::Tones { .. }
            | ToStation::Places(_) => return Ok(()),
        };
        if told > newest || told_epoch != self.disk.epoch {
            return Err(self.broken(format!("epoch {told_epoch}, {told:?} was sent and is not on disk")));
        }
        Ok(())
    }

    /// Takes in an event of a stranger: nothing may be shown, written or said to others because of it.
    pub(super) fn coordinator_unmoved(&mut self, event: consort_session::Event) -> Result<(), Broken> {
        // What is due anyway must not look like the stranger's work.
        self.coordinator(consort_session::Event::Tick)?;
        let now = self.now;
        let what = event.clone();
        let image = |hall: &Self| {
            let mut view = hall.session.as_ref().map(|session| session.view(now));
            if let Some(view) = &mut view {
                // The leader is shown that somebody tried a code.
                view.code = consort_session::CodeView::Closed;
                // And who asks to be let in.
                view.knocking.clear();
            }
            (view, hall.disk.waiting(), hall.on_the_way())
        };
        let before = image(self);
        self.coordinator(event)?;
        if image(self) != before {
            return Err(self.broken(format!("a stranger changed something by {what:?}")));
        }
        Ok(())
    }

    /// A station shows another agreement, perhaps.
    pub(super) fn note_held(&mut self, station: usize) -> Result<(), Broken> {
        let saved = self.chance.is(70);
        let now = self.now;
        let player = &mut self.players[station];
        let Some(link) = &player.link else { return Ok(()) };
        let view = link.view(now);
        let (shown, tenure) = (view.agreement, view.tenure);
        let newest = self.disk.agreement.revision;
        let (before, after) = (
            player.held.as_ref().map(|held| held.revision),
            shown.map(|shown| shown.revision),
        );
        if after < before || after.is_some_and(|after| after > newest) {
            return Err(self.broken(format!(
                "station {station} shows {after:?} after {before:?}, {newest:?} is on disk"
            )));
        }
        if after != before {
            player.held = shown.cloned();
        }
        if saved {
            let (held, kept_tenure, kept) = &mut player.kept;
            held.clone_from(&player.held);
            *kept_tenure = tenure;
            kept.resize_with(link.stories().len(), Default::default);
            for (kept, story) in kept.iter_mut().zip(link.stories()) {
                // One of them has changed, at most.
                if kept != story {
                    kept.clone_from(story);
                }
            }
        }
        Ok(())
    }

    /// The coordinator's acknowledgement reaches a station: everything up to it must rest on the coordinator's disk.
    pub(super) fn note_acked(&mut self, station: usize, acked: Sequence) -> Result<(), Broken> {
        let player = &self.players[station];
        let lost = player
            .noted
            .range(..=acked)
            .find(|&&number| number > player.acked && !self.disk.has(player.key, number) && !player.was_folded(number));
        if let Some(lost) = lost {
            return Err(self.broken(format!(
                "report {} of station {station} was acknowledged and is not on disk",
                lost.0
            )));
        }
        let player = &mut self.players[station];
        if acked > player.acked {
            self.tally.acked += acked.0 - player.acked.0;
            player.acked = acked;
            player.issued.retain(|&number, _| number > acked);
            player.noted.retain(|&number| number > acked);
        }
        Ok(())
    }

    /// Some time after the last fault.
    pub(super) fn check_healed(&self) -> Result<(), Broken> {
        let late: Vec<usize> = self.late().collect();
        if !late.is_empty() {
            return Err(self.broken(format!("stations {late:?} are not back after the last fault")));
        }
        for (number, player) in self.players.iter().enumerate() {
            let unsent = player.link.as_ref().map_or(0, |link| link.view(self.now).unsent);
            let lost = player.noted.iter().find(|&&sequence| !player.was_folded(sequence));
            if unsent > 0 || lost.is_some() {
                return Err(self.broken(format!("station {number} still has {unsent} reports, of them {lost:?}")));
            }
        }
        if let Some(station) = self.board.iter().find(|station| station.presence != Presence::Here) {
            return Err(self.broken(format!("seat {} is shown as {:?}", station.seat, station.presence)));
        }
        Ok(())
    }

    /// The stations that are not joined, or do not hold the newest agreement.
    fn late(&self) -> impl Iterator<Item = usize> {
        let newest = &self.disk.agreement;
        let is_late = |player: &Player| {
            let state = player.link.as_ref().map(|link| link.state());
            state != Some(LinkState::Joined) || player.held.as_ref() != Some(newest)
        };
        let players = self.players.iter().enumerate();
        players
            .filter(move |(_, player)| is_late(player))
            .map(|(station, _)| station)
    }
}

impl Player {
    /// Whether this one need not arrive: it was made alone, or enough newer words about the same string were kept.
    fn was_folded(&self, number: Sequence) -> bool {
        let Some(report) = self.issued.get(&number) else {
            return false;
        };
        if report.session != SESSION {
            return true;
        }
        let is_mark = |content: Content| matches!(content, Content::Mark { .. });
        let alike = self
            .issued
            .range(Sequence(number.0 + 1)..)
            .filter(|(_, newer)| {
                newer.session == report.session
                    && newer.content.string() == report.content.string()
                    && is_mark(newer.content) == is_mark(report.content)
            })
            .count();
        alike >= if is_mark(report.content) { 1 } else { KEPT_PER_STRING }
    }
}
