//! What will happen, and when: what is arranged, and the alarm clocks of the programs, which are moved with every step.

use std::time::Duration;

use consort_link::Attempt;
use consort_proto::{Revision, Uptime};

use super::wires::WireId;

/// What will happen at some time.
#[derive(Clone, Debug)]
pub(super) enum Due {
    /// Everyone starts.
    Opening,
    CoordinatorTick,
    StationTick(usize),
    /// The coordinator's disk is done with a record, unless this life is over.
    DiskStep {
        life: u64,
    },
    /// A station's disk is done with the oldest report that waits for it, unless this life is over.
    JournalStep {
        station: usize,
        life: u64,
    },
    Dialled {
        station: usize,
        life: u64,
        attempt: Attempt,
    },
    CallLost {
        station: usize,
        life: u64,
        attempt: Attempt,
    },
    /// Something may have arrived at the coordinator's end of a wire.
    Up(WireId),
    /// Something may have arrived at the station's end.
    Down(WireId),
    BeatUp(WireId),
    BeatDown {
        wire: WireId,
        epoch: u32,
        revision: Revision,
    },
    /// The coordinator's end learns that the link is gone.
    GoneUp(WireId),
    /// The station's end learns it.
    GoneDown(WireId),
    /// A cut that has lasted until now ends the links over it, unless it is another cut.
    IdleOut {
        station: usize,
        cut: u64,
    },
    Pluck(usize),
    Decide,
    Fault,
    Stranger,
}

/// Whose alarm clock it is.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum Whose {
    Coordinators,
    Stations(usize),
}

/// Everything that will happen.
#[derive(Debug)]
pub(super) struct Agenda {
    /// What was arranged and stays so, the last first: most of what is arranged happens soon, so that its place is found near
    /// the end, and what happens next is taken from there.
    arranged: Vec<Arranged>,
    /// When the alarm clocks ring: the coordinator's, then each station's.
    clocks: Vec<Moment>,
    /// Counts what was arranged.
    order: u64,
}

/// When something happens: nanoseconds above, and below them the order in which it was arranged, since of what is due at the
/// same time what was arranged first comes first. One number, because most of the work is to compare them.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
struct Moment(u128);

impl Moment {
    const NEVER: Self = Self(u128::MAX);

    const fn new(at: Uptime, order: u64) -> Self {
        Self(((nanos(at) as u128) << 64) | order as u128)
    }

    const fn nanos(self) -> u64 {
        (self.0 >> 64) as u64
    }
}

/// Nanoseconds since the start, which an evening's are far from filling.
const fn nanos(at: Uptime) -> u64 {
    at.0.as_secs() * 1_000_000_000 + at.0.subsec_nanos() as u64
}

#[derive(Debug)]
struct Arranged {
    at: Moment,
    due: Due,
}

impl Agenda {
    /// Nothing, for a coordinator and so many stations.
    pub(super) fn empty(stations: usize) -> Self {
        Self {
            arranged: Vec::new(),
            clocks: vec![Moment::NEVER; 1 + stations],
            order: 0,
        }
    }

    /// Arranges `due` for `at`.
    pub(super) fn arrange(&mut self, at: Uptime, due: Due) {
        let at = self.moment(at);
        let later = self.arranged.iter().rposition(|other| other.at > at);
        self.arranged
            .insert(later.map_or(0, |place| place + 1), Arranged { at, due });
    }

    /// Moves an alarm clock; one that stays where it is keeps its turn, and without a time it rings no more.
    pub(super) fn set_clock(&mut self, whose: Whose, at: Option<Uptime>) {
        let number = whose.number();
        match at {
            None => self.clocks[number] = Moment::NEVER,
            Some(at) if self.clocks[number].nanos() == nanos(at) => {}
            Some(at) => self.clocks[number] = self.moment(at),
        }
    }

    /// Takes out what happens next, with its time, unless that is after `end`.
    pub(super) fn next(&mut self, end: Uptime) -> Option<(Uptime, Due)> {
        let arranged = self.arranged.last().map_or(Moment::NEVER, |first| first.at);
        let (mut next, mut ringing) = (arranged, None);
        for (number, &at) in self.clocks.iter().enumerate() {
            if at < next {
                (next, ringing) = (at, Some(number));
            }
        }
        if next.nanos() > nanos(end) {
            return None;
        }
        let due = match ringing {
            None => self.arranged.pop()?.due,
            Some(number) => {
                self.clocks[number] = Moment::NEVER;
                match number.checked_sub(1) {
                    None => Due::CoordinatorTick,
                    Some(station) => Due::StationTick(station),
                }
            }
        };
        Some((Uptime(Duration::from_nanos(next.nanos())), due))
    }

    const fn moment(&mut self, at: Uptime) -> Moment {
        self.order += 1;
        Moment::new(at, self.order)
    }
}

impl Whose {
    const fn number(self) -> usize {
        match self {
            Self::Coordinators => 0,
            Self::Stations(station) => 1 + station,
        }
    }
}
