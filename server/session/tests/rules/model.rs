//! Whatever happens in whatever order: what is shown and said follows from what rests on the disk.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use crate::common::*;
use consort_proto::message::Content;
use consort_proto::{
    Agreement, Fingerprint, JoinCode, JoinToken, Proof, Readiness, Report, Revision, Share, StringStory, Tenure,
    ToCoordinator, ToStation, Uptime,
};
use consort_session::{Command, Effect, Event, LinkId, Presence, Record, SILENT_AFTER, Session, Ticket};
use proptest::prelude::*;

/// What can be done to the session; links, tickets and numbers are filled in so that most of it is meant.
#[derive(Clone, Debug)]
enum Step {
    Open {
        station: u8,
    },
    Hello {
        link: u8,
        token: bool,
    },
    Report {
        link: u8,
        back: u8,
        count: u8,
        string: u8,
        cents: i8,
        old_round: bool,
    },
    Beat {
        link: u8,
    },
    Leave {
        link: u8,
    },
    Close {
        link: u8,
    },
    DiskTakes {
        records: u8,
    },
    DiskRefuses,
    Pitch {
        hz: u16,
    },
    NewRound,
    Undo,
    Joining(bool),
    Remove {
        station: u8,
    },
    LetBack {
        station: u8,
    },
    Pair {
        link: u8,
    },
    Confirm {
        link: u8,
    },
    Proof {
        right: bool,
    },
    Knock {
        link: u8,
    },
    Admit {
        station: u8,
    },
    TakeOver {
        link: u8,
        seat: u8,
    },
    GiveUp {
        link: u8,
        seat: u8,
        yes: bool,
    },
    Deputy {
        station: u8,
        granted: bool,
    },
    Wait {
        ms: u16,
    },
}

fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        4 => (0..3_u8).prop_map(|station| Step::Open { station }),
        6 => (any::<u8>(), prop::bool::weighted(0.9)).prop_map(|(link, token)| Step::Hello { link, token }),
        12 => (any::<u8>(), 0..3_u8, 1..4_u8, 1..24_u8, -6..=6_i8, prop::bool::weighted(0.1)).prop_map(
            |(link, back, count, string, cents, old_round)| Step::Report { link, back, count, string, cents, old_round }
        ),
        3 => any::<u8>().prop_map(|link| Step::Beat { link }),
        1 => any::<u8>().prop_map(|link| Step::Leave { link }),
        2 => any::<u8>().prop_map(|link| Step::Close { link }),
        14 => (1..4_u8).prop_map(|records| Step::DiskTakes { records }),
        2 => Just(Step::DiskRefuses),
        3 => (438..443_u16).prop_map(|hz| Step::Pitch { hz }),
        1 => Just(Step::NewRound),
        1 => Just(Step::Undo),
        1 => any::<bool>().prop_map(Step::Joining),
        1 => (0..3_u8).prop_map(|station| Step::Remove { station }),
        1 => (0..3_u8).prop_map(|station| Step::LetBack { station }),
        2 => any::<u8>().prop_map(|link| Step::Pair { link }),
        2 => any::<u8>().prop_map(|link| Step::Confirm { link }),
        2 => prop::bool::weighted(0.7).prop_map(|right| Step::Proof { right }),
        1 => any::<u8>().prop_map(|link| Step::Knock { link }),
        1 => (0..3_u8).prop_map(|station| Step::Admit { station }),
        2 => (any::<u8>(), 1..4_u8).prop_map(|(link, seat)| Step::TakeOver { link, seat }),
        2 => (any::<u8>(), 1..4_u8, prop::bool::weighted(0.8)).prop_map(|(link, seat, yes)| Step::GiveUp { link, seat, yes }),
        1 => (0..3_u8, any::<bool>()).prop_map(|(station, granted)| Step::Deputy { station, granted }),
        6 => (1..2500_u16).prop_map(|ms| Step::Wait { ms }),
    ]
}

/// What the reference knows of one station: only what was written down.
#[derive(Default)]
struct Seat {
    tenure: Tenure,
    stories: Vec<StringStory>,
    numbers: BTreeSet<u64>,
    removed: bool,
}

struct Model {
    session: Session,
    now: Uptime,
    /// Handed to the disk and not answered.
    pending: Vec<(Ticket, Record)>,
    agreement: Agreement,
    seats: BTreeMap<Fingerprint, Seat>,
    links: Vec<Fingerprint>,
    /// The highest number that each station has used.
    used: BTreeMap<Fingerprint, u64>,
    /// Numbers that reached the session on a link where they count.
    heard: BTreeMap<Fingerprint, BTreeSet<u64>>,
    told: BTreeMap<LinkId, Revision>,
    /// Stations that showed the token, and keys that the disk has.
    shown: BTreeSet<Fingerprint>,
    pinned: BTreeSet<Fingerprint>,
    /// Proofs that the session wants to have looked at.
    asked: Vec<LinkId>,
    codes: u64,
    last_heard: BTreeMap<Fingerprint, Uptime>,
}

impl Model {
    fn new() -> Self {
        Self {
            session: session(),
            now: Uptime::default(),
            pending: Vec::new(),
            agreement: agreement(1, 440.0, 1),
            seats: BTreeMap::new(),
            links: Vec::new(),
            used: BTreeMap::new(),
            heard: BTreeMap::new(),
            told: BTreeMap::new(),
            shown: BTreeSet::new(),
            pinned: BTreeSet::new(),
            asked: Vec::new(),
            codes: 0,
            last_heard: BTreeMap::new(),
        }
    }

    fn take(&mut self, step: Step) {
        let link = |number: u8| u64::from(number) % self.links.len().max(1) as u64;
        let event = match step {
            Step::Open { station } => {
                let peer = Fingerprint([station + 1; 32]);
                self.links.push(peer);
                opened(self.links.len() as u64 - 1, peer)
            }
            Step::Hello { link: number, token } => {
                if token && let Some(&peer) = self.links.get(link(number) as usize) {
                    self.shown.insert(peer);
                }
                let token = if token { TOKEN } else { JoinToken([0; 16]) };
                hello(link(number), Some(token))
            }
            Step::Report {
                link: number,
                back,
                count,
                string,
                cents,
                old_round,
            } => {
                let number = link(number);
                let Some(&peer) = self.links.get(number as usize) else {
                    return;
                };
                let used = self.used.entry(peer).or_default();
                let first = (*used + 1).saturating_sub(u64::from(back)).max(1);
                let numbers = first..first + u64::from(count);
                *used = (*used).max(numbers.end - 1);
                let round = self.agreement.round.0 - u32::from(old_round && self.agreement.round.0 > 1);
                let content = reading(u32::from(string).min(22), f64::from(cents));
                let tenure = self.seats.get(&peer).map(|seat| seat.tenure).unwrap_or_default();
                let numbered = |number| Report {
                    tenure,
                    ..report(number, round, content)
                };
                reports(number, numbers.map(numbered).collect())
            }
            Step::Beat { link: number } => heard(link(number), ToCoordinator::Beat),
            Step::Leave { link: number } => heard(link(number), ToCoordinator::Leave),
            Step::Close { link: number } => closed(link(number)),
            Step::DiskTakes { records } => {
                let taken: Vec<_> = self
                    .pending
                    .drain(..usize::from(records).min(self.pending.len()))
                    .collect();
                let Some((last, _)) = taken.last() else { return };
                let last = *last;
                taken.into_iter().for_each(|(_, record)| self.write(record));
                Event::Persisted(last)
            }
            Step::DiskRefuses => {
                let Some((first, _)) = self.pending.first() else { return };
                let first = *first;
                self.pending.clear();
                Event::NotPersisted(first)
            }
            Step::Pitch { hz } => pitch(f64::from(hz)),
            Step::NewRound => command(Command::NewRound),
            Step::Undo => command(Command::Undo),
            Step::Joining(open) => command(Command::Joining(open)),
            Step::Remove { station } => command(Command::Remove(Fingerprint([station + 1; 32]))),
            Step::LetBack { station } => command(Command::LetBack(Fingerprint([station + 1; 32]))),
            Step::Pair { link: number } => heard(link(number), ToCoordinator::PairStart(Share([0x41; 33]))),
            Step::Confirm { link: number } => heard(
                link(number),
                ToCoordinator::PairConfirm {
                    name: "Player".parse().expect("a name"),
                    proof: Proof([0; 32]),
                },
            ),
            Step::Proof { right } => {
                let Some(link) = self.asked.pop() else { return };
                Event::Proof { link, right }
            }
            Step::Knock { link: number } => {
                heard(link(number), ToCoordinator::Knock("Player".parse().expect("a name")))
            }
            Step::Admit { station } => command(Command::Admit(Fingerprint([station + 1; 32]))),
            Step::TakeOver { link: number, seat } => {
                let seat = u32::from(seat);
                heard(link(number), ToCoordinator::TakeOver { seat })
            }
            Step::GiveUp {
                link: number,
                seat,
                yes,
            } => {
                let seat = u32::from(seat);
                heard(link(number), ToCoordinator::GiveUp { seat, yes })
            }
            Step::Deputy { station, granted } => {
                let peer = Fingerprint([station + 1; 32]);
                command(Command::Deputy { peer, granted })
            }
            Step::Wait { ms } => {
                self.now = self.now + Duration::from_millis(u64::from(ms));
                Event::Tick
            }
        };
        if let Event::Heard { link, .. } = &event {
            // At the latest now; the session may know that this link does not count.
            self.last_heard
                .insert(self.links.get(link.0 as usize).copied().unwrap_or(ILSE), self.now);
        }
        self.session.handle(self.now, event);
    }

    /// The rules of the disk: whatever is counted is counted from here.
    fn write(&mut self, record: Record) {
        match record {
            Record::Agreement { agreement, .. } => {
                if agreement.round != self.agreement.round {
                    let stories = self.seats.values_mut().flat_map(|seat| &mut seat.stories);
                    stories.for_each(StringStory::begin_round);
                }
                assert!(agreement.revision > self.agreement.revision, "a revision went back");
                self.agreement = *agreement;
            }
            Record::Station { peer, harp, .. } => {
                let highest = self.seats.values().map(|seat| seat.tenure.seat).max();
                let seat = self.seats.entry(peer).or_default();
                if seat.tenure == Tenure::default() {
                    seat.tenure = Tenure {
                        seat: highest.unwrap_or_default() + 1,
                        epoch: 1,
                    };
                }
                seat.stories.resize_with(harp.len(), StringStory::default);
            }
            Record::Reports { peer, reports } => {
                let seat = self.seats.get_mut(&peer).expect("reports of somebody who was let in");
                for report in reports {
                    assert!(seat.numbers.insert(report.sequence.0), "{report:?} counts twice");
                    let story = &mut seat.stories[report.content.string().index()];
                    if let Content::Reading(reading) = report.content
                        && report.round == self.agreement.round
                        && report.tenure == seat.tenure
                    {
                        story.hear(reading);
                    }
                }
            }
            Record::TakenOver { from, to } => {
                if let (Some(taker), Some(giver)) = (self.seats.remove(&to), self.seats.remove(&from)) {
                    // Numbers belong to the laptop, strings to the seat.
                    let tenure = Tenure {
                        epoch: giver.tenure.epoch + 1,
                        ..giver.tenure
                    };
                    let stories = giver.stories;
                    self.seats.insert(
                        to,
                        Seat {
                            tenure,
                            stories,
                            ..taker
                        },
                    );
                }
            }
            Record::Deputy { peer, .. } => {
                let known = self.seats.contains_key(&peer) || self.pinned.contains(&peer);
                assert!(known, "{peer:?} was granted something and is nobody");
            }
            Record::Ruling(_) => {}
            Record::Pinned { peer } => drop(self.pinned.insert(peer)),
            Record::Removed { peer, removed } => {
                self.seats.get_mut(&peer).expect("a seat").removed = removed;
            }
        }
    }

    fn check(&mut self) {
        while let Some(effect) = self.session.poll_effect() {
            match effect {
                Effect::Persist { ticket, record } => {
                    if let Record::Reports { peer, reports } = &record {
                        let numbers = reports.iter().map(|report| report.sequence.0);
                        self.heard.entry(*peer).or_default().extend(numbers);
                    }
                    if let Record::Station { peer, .. } = &record {
                        let known = [&self.shown, &self.pinned].iter().any(|keys| keys.contains(peer));
                        assert!(known || self.seats.contains_key(peer), "{peer:?} is let in for nothing");
                    }
                    self.pending.push((ticket, record));
                }
                Effect::Send { link, message } => self.check_said(link, message),
                Effect::DrawCode => {
                    self.codes += 1;
                    self.session.handle(self.now, Event::Code(JoinCode::drawn(self.codes)));
                }
                Effect::CheckProof { link, .. } => self.asked.push(link),
                Effect::Accept { link, .. } => {
                    let peer = self.links[link.0 as usize];
                    assert!(self.pinned.contains(&peer), "{peer:?} is accepted before it is on disk");
                }
                Effect::AnswerShare { .. } | Effect::Close { .. } | Effect::Redraw => {}
            }
        }
        let view = self.session.view(self.now);
        assert_eq!(view.agreement, self.agreement);
        let shown: BTreeSet<Fingerprint> = view.stations.iter().map(|station| station.peer).collect();
        assert_eq!(shown, self.seats.keys().copied().collect());
        for station in view.stations {
            let seat = &self.seats[&station.peer];
            let Agreement { tuning, tolerance, .. } = &self.agreement;
            assert_eq!(
                station.readiness,
                Readiness::judge(&harp(), &seat.stories, tuning, tolerance)
            );
            assert_eq!(station.removed, seat.removed);
            let quiet = self.last_heard.get(&station.peer).map(|&heard| self.now.since(heard));
            if quiet.is_none_or(|quiet| quiet >= SILENT_AFTER) {
                assert!(!station.presence.counts(), "{:?} after {quiet:?}", station.presence);
            }
            if station.is_ready() {
                assert!(matches!(station.presence, Presence::Here | Presence::Unsure) && !seat.removed);
            }
        }
        // Whenever the session asks to be woken, waking it moves the time on: it never spins.
        if let Some(at) = self.session.poll_timeout() {
            assert!(at > self.now, "due at {at:?}, now {:?}", self.now);
        }
    }

    fn check_said(&mut self, link: LinkId, message: ToStation) {
        let peer = self.links[link.0 as usize];
        match message {
            ToStation::Welcome { acked, .. } | ToStation::Acked(acked) => {
                let seat = &self.seats[&peer];
                if let ToStation::Welcome { tenure, .. } = message {
                    assert_eq!(tenure, seat.tenure);
                }
                let heard = self.heard.get(&peer).into_iter().flatten();
                for number in heard.take_while(|&&number| number <= acked.0) {
                    assert!(
                        seat.numbers.contains(number),
                        "{number} is acknowledged and not on disk"
                    );
                }
            }
            ToStation::Agreement(document) => {
                let agreement = document.agreement;
                assert!(
                    agreement.revision <= self.agreement.revision,
                    "told before it was on disk"
                );
                let told = self.told.insert(link, agreement.revision);
                assert!(
                    told.is_none_or(|told| told <= agreement.revision),
                    "a revision went back"
                );
            }
            ToStation::Beat { revision, .. } => assert!(revision <= self.agreement.revision),
            ToStation::Admitted { .. } => {
                let known = self.pinned.contains(&peer) || self.seats.contains_key(&peer);
                assert!(known, "{peer:?} is admitted before it is on disk");
            }
            ToStation::TakeOverAsked { seat, .. } => assert_eq!(self.seats[&peer].tenure.seat, seat),
            ToStation::Refused(_)
            | ToStation::TakeOverDenied { .. }
            | ToStation::Tones { .. }
            | ToStation::Places(_) => {}
            // Only the shell makes these.
            ToStation::PairReply { .. } | ToStation::PairAccept { .. } => panic!("{message:?}"),
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, ..ProptestConfig::default() })]

    #[test]
    fn what_is_shown_and_said_follows_from_what_is_on_disk(steps in prop::collection::vec(step(), 1..120)) {
        let mut model = Model::new();
        for step in steps {
            model.take(step);
            model.check();
        }
    }
}
