//! What people and faults do: plucks, decisions, kills, cuts, full disks and strangers.

use std::time::Duration;

use consort_link::Stranger;
use consort_proto::message::Content;
use consort_proto::{
    Binding, Cents, Hello, JoinToken, Mark, Proof, Reading, ReferencePitch, Report, Round, Sequence, Share,
    StringNumber, Tenure, ToCoordinator, Tuning,
};
use consort_session::{Command, LinkId};

use super::agenda::Due;
use super::hall::{Hall, SESSION, STRANGER, name};
use super::programs::ADDRESS;
use super::wires::Cut;
use super::{Broken, Flaw};

/// Playing ends this long after the faults, so that everything can be acknowledged before the end.
const PLAYING_ON: Duration = Duration::from_secs(15);
/// The transport gives a link up after this long without a packet.
const IDLE_OUT: Duration = Duration::from_secs(15);

impl Hall {
    pub(super) fn pluck(&mut self, station: usize) -> Result<(), Broken> {
        let number = self.some_string();
        let good = self.chance.is(80);
        // Within the tolerance of 2 cents, or anywhere near.
        let within = if good { 1.5 } else { 6.0 };
        let cents = (self.chance.below(2001) as f64 / 1000.0 - 1.0) * within;
        let mark = self.chance.is(3).then(|| self.some_mark());
        if self.now.0 < self.plan.faults_for + PLAYING_ON {
            let next = self.chance.ms(200, 1500);
            self.after(next, Due::Pluck(station));
        }
        let Some(link) = &self.players[station].link else {
            return Ok(());
        };
        let content = match mark {
            Some(mark) => Content::Mark { string: number, mark },
            None => {
                let string = self.harp.string(number).expect("the harp has it");
                let hz = link.tuning().open_target(string).raised_by(Cents(cents));
                Content::Reading(Reading::new(number, hz, Cents(0.1)).expect("in range"))
            }
        };
        self.station(station, consort_link::Event::Observed(content))
    }

    pub(super) fn decide(&mut self) -> Result<(), Broken> {
        if !self.faulty {
            return self.forgive();
        }
        let next = self.chance.ms(500, 14_000);
        self.after(next, Due::Decide);
        let player = self.chance.below(self.players.len());
        let player = self.players[player].key;
        let hz = 438.0 + self.chance.below(60) as f64 / 10.0;
        let command = match self.chance.below(16) {
            0 | 1 => Command::NewRound,
            2..=4 => Command::Undo,
            5 => Command::Start(Some(Duration::from_secs(60))),
            6 => Command::Joining(false),
            7 => Command::Joining(true),
            8 => Command::Remove(player),
            9 | 10 => Command::LetBack(player),
            _ => Command::Pitch(ReferencePitch::new(hz).expect("in reach")),
        };
        self.coordinator(consort_session::Event::Command(command))
    }

    pub(super) fn fault(&mut self) -> Result<(), Broken> {
        if !self.faulty {
            return Ok(());
        }
        let next = self.chance.ms(200, 3000);
        self.after(next, Due::Fault);
        let station = self.chance.below(self.players.len());
        match self.chance.below(10) {
            0 if self.session.is_some() => self.kill_coordinator()?,
            0 | 1 if self.session.is_none() => self.start_coordinator()?,
            1 | 2 => self.kill_station(station)?,
            3 | 4 => self.cut_off(station),
            5 | 6 => self.players[station].cut = None,
            7 => self.break_wires(|wire| wire.station.is_some_and(|(of, ..)| of == station)),
            8 => self.disk.full = !self.disk.full && self.chance.is(50),
            9 if self.chance.is(50) => {
                // Whether it slept for a moment or for long, what it had heard of the coordinator is in doubt.
                self.tally.sleeps += 1;
                self.station(station, consort_link::Event::Woke)?;
            }
            _ => self.lure(station)?,
        }
        Ok(())
    }

    fn cut_off(&mut self, station: usize) {
        self.tally.cuts += 1;
        let ways = [Cut::Up, Cut::Down, Cut::Both, Cut::Both];
        let way = ways[self.chance.below(ways.len())];
        let player = &mut self.players[station];
        player.cut = Some(way);
        player.cuts += 1;
        let cut = player.cuts;
        self.after(IDLE_OUT, Due::IdleOut { station, cut });
    }

    /// Somebody else claims to be a coordinator, on this network.
    fn lure(&mut self, station: usize) -> Result<(), Broken> {
        let event = consort_link::Event::Sighted {
            who: Stranger {
                tag: STRANGER.tag(),
                name: None,
            },
            addresses: vec![([127, 0, 0, 1], 666).into()],
        };
        self.station(station, event)
    }

    /// Somebody who was not invited says everything that a station may say.
    pub(super) fn stranger(&mut self) -> Result<(), Broken> {
        if !self.faulty {
            return Ok(());
        }
        let next = self.chance.ms(1000, 9000);
        self.after(next, Due::Stranger);
        if self.session.is_none() {
            return Ok(());
        }
        let wire = self.wire(None);
        let link = LinkId(wire);
        let trusted = self.plan.flaw == Some(Flaw::TrustsAnybody);
        let peer = if trusted { self.players[0].key } else { STRANGER };
        self.coordinator_unmoved(consort_session::Event::LinkOpened {
            link,
            peer,
            from: ADDRESS.ip(),
            binding: Binding([0; 32]),
        })?;
        let number = self.some_string();
        let string = self.harp.string(number).expect("the harp has it");
        let hz = Tuning::default().open_target(string);
        let report = Report {
            sequence: Sequence(self.chance.number()),
            session: SESSION,
            round: Round(1),
            tenure: Tenure { seat: 1, epoch: 1 },
            age: Duration::ZERO,
            content: Content::Reading(Reading::new(number, hz, Cents(0.1)).expect("in range")),
        };
        let hello = Hello {
            name: name("Nobody"),
            harp: self.harp.clone(),
            token: self.chance.is(50).then_some(JoinToken([8; 16])),
            process: 1,
            newest: 0,
        };
        let words = [
            ToCoordinator::Beat,
            ToCoordinator::Reports(vec![report]),
            ToCoordinator::Hello(hello),
            ToCoordinator::Leave,
            ToCoordinator::PairStart(Share([0x41; 33])),
            ToCoordinator::PairConfirm {
                name: name("Nobody"),
                proof: Proof([0; 32]),
            },
            ToCoordinator::Knock(name("Nobody")),
            ToCoordinator::TakeOver { seat: 1 },
            ToCoordinator::GiveUp { seat: 1, yes: true },
            ToCoordinator::Help(true),
        ];
        let first = self.chance.below(words.len());
        for word in words.iter().cycle().skip(first).take(words.len()) {
            self.say_up(wire, word.clone());
        }
        Ok(())
    }

    /// The faults end.
    pub(super) fn heal(&mut self) -> Result<(), Broken> {
        self.faulty = false;
        self.disk.full = false;
        self.players.iter_mut().for_each(|player| player.cut = None);
        if self.session.is_none() {
            self.start_coordinator()?;
        }
        self.forgive()?;
        // Once more, since a removal may have been on its way to the disk.
        self.after(Duration::from_secs(1), Due::Decide);
        Ok(())
    }

    /// The leader lets everyone in again.
    fn forgive(&mut self) -> Result<(), Broken> {
        self.coordinator(consort_session::Event::Command(Command::Joining(true)))?;
        let peers: Vec<_> = self.players.iter().map(|player| player.key).collect();
        peers.into_iter().try_for_each(|peer| {
            let command = Command::LetBack(peer);
            self.coordinator(consort_session::Event::Command(command))
        })
    }

    fn some_string(&mut self) -> StringNumber {
        let number = self.chance.below(self.harp.len()) as u32 + 1;
        StringNumber::new(number).expect("a string")
    }

    fn some_mark(&mut self) -> Option<Mark> {
        [None, None, Some(Mark::New), Some(Mark::Missing)][self.chance.below(4)]
    }
}
