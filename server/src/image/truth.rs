//! Simulated sessions: whatever happens, the board shows no harp ready whose last readings are not.

use std::collections::BTreeMap;
use std::time::Duration;

use consort_pages::BoardPage;
use consort_proto::message::Content;
use consort_proto::{
    Agreement, Binding, Cents, Fingerprint, Harp, Hello, JoinToken, Kind, Mark, Reading, ReferencePitch, Report,
    Revision, Round, Sequence, SessionId, StringNumber, Tenure, ToCoordinator, Tolerance, Tuning, Uptime, harp_file,
};
use consort_session::{Command, Config, Effect, Event, LinkId, Record, Ruled, SILENT_AFTER, Saved, Session, Ticket};
use consort_words::Words;

/// Sessions that are played; `CONSORT_SESSIONS` asks for more.
const SESSIONS: u64 = 500;
const STEPS: u32 = 90;
const PLAYERS: usize = 3;
const SESSION: SessionId = SessionId([8; 16]);
const TOKEN: JoinToken = JoinToken([9; 16]);

/// Marsaglia's xorshift with the constants 13, 7, 17.
struct Dice(u64);

impl Dice {
    fn below(&mut self, limit: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) % limit
    }
}

/// What is true of one harp: what rests on the disk, judged by nobody.
#[derive(Debug, Default)]
struct Truth {
    heard: BTreeMap<u8, Vec<Reading>>,
    marked: BTreeMap<u8, Mark>,
    said_at: Option<Uptime>,
    sequence: u64,
}

struct Play {
    session: Session,
    dice: Dice,
    now: Uptime,
    harp: Harp,
    tuning: Tuning,
    round: Round,
    truths: Vec<Truth>,
    /// Records on their way to the disk.
    written: Vec<(Ticket, Record)>,
}

/// Four strings are a harp that is soon ready.
fn harp() -> Harp {
    let strings = harp_file::preset("lever-22").expect("a preset").strings()[..4].to_vec();
    Harp::new("Four strings".to_owned(), Kind::Lever, strings).expect("a harp")
}

fn key(player: usize) -> Fingerprint {
    Fingerprint([player as u8 + 1; 32])
}

impl Play {
    fn new(seed: u64) -> Self {
        let saved = Saved {
            agreement: Agreement {
                session: SESSION,
                revision: Revision(1),
                ensemble: "Trio".parse().expect("a name"),
                tuning: Tuning::default(),
                tolerance: Tolerance::default(),
                round: Round(1),
                called: None,
            },
            start_in: None,
            past: Vec::new(),
            epoch: 1,
            token: TOKEN,
            pinned: Vec::new(),
            deputies: Vec::new(),
            ruled: Ruled::default(),
            stations: Vec::new(),
        };
        let mut play = Self {
            session: Session::open(Uptime::default(), Config::default(), saved),
            dice: Dice(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1),
            now: Uptime::from_secs(1),
            harp: harp(),
            tuning: Tuning::default(),
            round: Round(1),
            truths: (0..PLAYERS).map(|_| Truth::default()).collect(),
            written: Vec::new(),
        };
        for player in 0..PLAYERS {
            let link = LinkId(player as u64 + 1);
            play.happens(Event::LinkOpened {
                link,
                peer: key(player),
                from: [192, 168, 1, player as u8].into(),
                binding: Binding([player as u8; 32]),
            });
            let hello = Hello {
                name: format!("Player {player}").parse().expect("a name"),
                harp: play.harp.clone(),
                token: Some(TOKEN),
                process: 1,
                newest: 0,
            };
            play.says(player, ToCoordinator::Hello(hello));
            play.disk_takes_all();
        }
        play
    }

    fn happens(&mut self, event: Event) {
        self.session.handle(self.now, event);
        while let Some(effect) = self.session.poll_effect() {
            if let Effect::Persist { ticket, record } = effect {
                self.written.push((ticket, record));
            }
        }
    }

    fn says(&mut self, player: usize, message: ToCoordinator) {
        self.truths[player].said_at = Some(self.now);
        self.happens(Event::Heard {
            link: LinkId(player as u64 + 1),
            message,
        });
    }

    /// The disk has taken everything so far: from now on it is true.
    fn disk_takes_all(&mut self) {
        let Some((last, _)) = self.written.last() else { return };
        let last = *last;
        for (_, record) in std::mem::take(&mut self.written) {
            match record {
                Record::Agreement { agreement, .. } => {
                    if agreement.round != self.round {
                        self.truths.iter_mut().for_each(|truth| truth.heard.clear());
                    }
                    (self.tuning, self.round) = (agreement.tuning, agreement.round);
                }
                Record::Reports { peer, reports } => {
                    let player = usize::from(peer.0[0]) - 1;
                    reports.into_iter().for_each(|report| self.is_true(player, report));
                }
                _ => {}
            }
        }
        self.happens(Event::Persisted(last));
    }

    fn is_true(&mut self, player: usize, report: Report) {
        let truth = &mut self.truths[player];
        match report.content {
            Content::Reading(reading) if report.round == self.round => {
                truth.heard.entry(reading.string.get()).or_default().push(reading);
            }
            Content::Reading(_) => {}
            Content::Mark {
                string,
                mark: Some(mark),
            } => drop(truth.marked.insert(string.get(), mark)),
            Content::Mark { string, mark: None } => drop(truth.marked.remove(&string.get())),
        }
    }

    fn reports(&mut self, player: usize, content: Content) {
        self.truths[player].sequence += 1;
        let report = Report {
            sequence: Sequence(self.truths[player].sequence),
            session: SESSION,
            // Now and then one that was heard before the round began.
            round: if self.dice.below(20) == 0 {
                Round(self.round.0.saturating_sub(1))
            } else {
                self.round
            },
            tenure: Tenure {
                seat: player as u32 + 1,
                epoch: 1,
            },
            age: Duration::ZERO,
            content,
        };
        self.says(player, ToCoordinator::Reports(vec![report]));
    }

    fn step(&mut self) {
        self.now = self.now + Duration::from_millis(100 + self.dice.below(900));
        let player = self.dice.below(PLAYERS as u64) as usize;
        let string = StringNumber::new(self.dice.below(4) as u32 + 1).expect("a string");
        match self.dice.below(60) {
            0 => self.happens(Event::Command(Command::NewRound)),
            1 => {
                let a4 = ReferencePitch::new(439.0 + self.dice.below(4) as f64).expect("a pitch");
                self.happens(Event::Command(Command::Pitch(a4)));
            }
            2 => self.happens(Event::Command(Command::Undo)),
            3 => {
                let mark = [None, Some(Mark::New), Some(Mark::Missing)][self.dice.below(3) as usize];
                self.reports(player, Content::Mark { string, mark });
            }
            // Nobody says anything for a while.
            4 => self.now = self.now + Duration::from_secs(self.dice.below(8)),
            5..10 => self.happens(Event::Tick),
            10..18 => (0..PLAYERS).for_each(|player| self.says(player, ToCoordinator::Beat)),
            _ => {
                let cents = match self.dice.below(8) {
                    0 => -20.0 + self.dice.below(40) as f64,
                    _ => self.dice.below(30) as f64 / 10.0 - 1.5,
                };
                let target = self.tuning.open_target(self.harp.string(string).expect("a string"));
                let reading = Reading::new(string, target.raised_by(Cents(cents)), Cents(0.2)).expect("a reading");
                self.reports(player, Content::Reading(reading));
            }
        }
        if self.dice.below(4) > 0 {
            self.disk_takes_all();
        }
    }

    /// Draws the board and compares each harp that it shows ready with what is true; how many those are.
    fn look(&mut self, words: &Words) -> usize {
        self.happens(Event::Tick);
        let view = self.session.view(self.now);
        let board = BoardPage::of(&super::of(&view), words);
        let ready: Vec<_> = board.harps.iter().filter(|harp| harp.state == "ready").collect();
        for harp in &ready {
            let truth = &self.truths[harp.seat as usize - 1];
            let said = truth.said_at.expect("who is ready has said something");
            assert!(self.now.since(said) < SILENT_AFTER, "{} is ready and silent", harp.name);
            for (number, string) in self.harp.numbered() {
                let aside = harp
                    .aside
                    .iter()
                    .any(|aside| aside.starts_with(&string.open.harp_name()));
                if aside || truth.marked.contains_key(&number.get()) {
                    continue;
                }
                let heard = truth.heard.get(&number.get()).map_or(&[][..], Vec::as_slice);
                let within = |reading: &&Reading| {
                    let cents = reading.hz.cents_above(self.tuning.open_target(string));
                    cents.is_within(Tolerance::default().of(string))
                };
                let held = heard.iter().rev().take_while(within).count();
                assert!(
                    held >= 2,
                    "{} is shown ready, but {number} was last heard as {heard:?}",
                    harp.name
                );
            }
        }
        ready.len()
    }
}

#[test]
fn no_harp_is_shown_ready_whose_last_readings_are_not() {
    let sessions = std::env::var("CONSORT_SESSIONS")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(SESSIONS);
    let words = Words::english();
    let mut ready = 0;
    for seed in 1..=sessions {
        let mut play = Play::new(seed);
        for step in 0..STEPS {
            play.step();
            if step % 8 == 7 {
                ready += play.look(&words);
            }
        }
    }
    assert!(
        ready as u64 > sessions / 4,
        "harps do get ready: {ready} in {sessions} sessions"
    );
}
