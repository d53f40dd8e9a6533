//! Who belongs to the ensemble, with which harp, and when each was last heard.

use std::collections::BTreeMap;

use consort_outlook::Course;
use consort_proto::agreement::SEATS_MAX;
use consort_proto::{Agreement, Fingerprint, Harp, Name, Seat, Sequence, Tenure, Uptime};

use crate::record::SavedStation;
use crate::strings::Strings;
use crate::trace::Traces;
use crate::view::Presence;
use crate::{SILENT_AFTER, UNSURE_AFTER};

/// Everyone who was ever let in.
#[derive(Debug, Default)]
pub(crate) struct Roster {
    stations: BTreeMap<Fingerprint, Station>,
    /// Until then nobody's presence reads otherwise than it was last shown, so that a heartbeat costs the same in a crowd;
    /// `None` when somebody has to be looked at now.
    nothing_before: Option<Uptime>,
}

/// Nobody is here whose presence could change.
const NEVER: Uptime = Uptime(std::time::Duration::MAX);

/// One station.
#[derive(Debug)]
pub(crate) struct Station {
    /// Its seat, and how often that changed hands.
    pub(crate) tenure: Tenure,
    /// The number under which the seat is shown.
    pub(crate) place: u32,
    pub(crate) name: Name,
    /// Its harp, and what the strings did in this round.
    pub(crate) strings: Strings,
    /// The last report that was handed to the disk.
    pub(crate) accepted: Sequence,
    /// The last report that rests on the disk.
    pub(crate) acked: Sequence,
    pub(crate) removed: bool,
    /// Whether the harpist wants help; the station says so again on each link.
    pub(crate) help: bool,
    pub(crate) traces: Traces,
    /// How its tuning goes in this round, as far as this start of the coordinator has seen it.
    pub(crate) course: Course,
    /// When it was last heard since the coordinator started; `None` also once it has said goodbye.
    last_heard: Option<Uptime>,
    /// What was last shown of its presence.
    shown: Shown,
}

/// What a change of presence is judged by: the words, without the length of a silence in seconds.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Shown {
    Here,
    Unsure,
    /// For so many whole seconds up to a minute, then minutes: what is written on the board.
    Silent(u64),
    Away,
}

impl Roster {
    pub(crate) fn restore(saved: Vec<SavedStation>) -> Self {
        let stations = saved.into_iter().map(|saved| {
            let station = Station {
                traces: Traces::of(&saved.harp),
                tenure: saved.tenure,
                place: saved.place,
                name: saved.name,
                strings: Strings::new(saved.harp, saved.stories),
                accepted: saved.acked,
                acked: saved.acked,
                removed: saved.removed,
                help: false,
                course: Course::default(),
                last_heard: None,
                shown: Shown::Away,
            };
            (saved.peer, station)
        });
        Self {
            stations: stations.collect(),
            nothing_before: None,
        }
    }

    pub(crate) fn iter(&self) -> impl Iterator<Item = (Fingerprint, &Station)> {
        self.stations.iter().map(|(peer, station)| (*peer, station))
    }

    pub(crate) fn get(&self, peer: Fingerprint) -> Option<&Station> {
        self.stations.get(&peer)
    }

    pub(crate) fn get_mut(&mut self, peer: Fingerprint) -> Option<&mut Station> {
        self.stations.get_mut(&peer)
    }

    /// How many seats are taken: whoever was removed has none.
    pub(crate) fn taken(&self) -> usize {
        self.stations.values().filter(|station| !station.removed).count()
    }

    /// Who holds the seat of that number.
    pub(crate) fn holder(&self, seat: u32) -> Option<Fingerprint> {
        let mut stations = self.stations.iter();
        let held = stations.find(|(_, station)| station.tenure.seat == seat && !station.removed);
        held.map(|(&peer, _)| peer)
    }

    /// The seats as everyone sees them, in the order of their numbers; the first [`SEATS_MAX`] of a larger crowd.
    pub(crate) fn seats(&self) -> Vec<Seat> {
        let held = self.stations.values().filter(|station| !station.removed);
        let mut seats: Vec<Seat> = held
            .map(|station| Seat {
                tenure: station.tenure,
                name: station.name.clone(),
            })
            .collect();
        seats.sort_by_key(|seat| seat.tenure);
        seats.truncate(SEATS_MAX);
        seats
    }

    /// All stations in the order in which their seats are shown; those that were turned away come last.
    pub(crate) fn order(&self) -> Vec<Fingerprint> {
        let mut stations: Vec<_> = self.iter().collect();
        stations.sort_by_key(|(_, station)| (station.removed, station.place));
        stations.into_iter().map(|(peer, _)| peer).collect()
    }

    /// Shows the seats in this order from now on, from 1.
    pub(crate) fn put_in_order(&mut self, order: &[Fingerprint]) {
        for (place, peer) in (1..).zip(order) {
            if let Some(station) = self.stations.get_mut(peer) {
                station.place = place;
            }
        }
    }

    /// The number of each seat that is held and the one under which it is shown.
    pub(crate) fn places(&self) -> Vec<(u32, u32)> {
        let held = self.stations.values().filter(|station| !station.removed);
        let mut places: Vec<(u32, u32)> = held.map(|station| (station.tenure.seat, station.place)).collect();
        places.sort_unstable();
        places.truncate(SEATS_MAX);
        places
    }

    /// Adds a station, or gives a known one its new name and harp; another harp starts with no story.
    pub(crate) fn seat(&mut self, peer: Fingerprint, name: Name, harp: Harp) {
        // As the store numbers them: after the highest, whoever holds it.
        let highest = self.stations.values().map(|station| station.tenure.seat).max();
        let seat = highest.unwrap_or_default() + 1;
        let last = self.stations.values().map(|station| station.place).max();
        let place = last.unwrap_or_default() + 1;
        let station = self.stations.entry(peer).or_insert_with(|| Station {
            tenure: Tenure { seat, epoch: 1 },
            place,
            name: name.clone(),
            strings: Strings::new(harp.clone(), Vec::new()),
            accepted: Sequence(0),
            acked: Sequence(0),
            removed: false,
            help: false,
            traces: Traces::of(&harp),
            course: Course::default(),
            last_heard: None,
            shown: Shown::Away,
        });
        station.name = name;
        if station.strings.set_harp(harp) {
            station.traces = Traces::of(station.strings.harp());
            station.course = Course::default();
        }
    }

    /// The seat of `from` goes to `to`, with what its strings did if both have the same; what `to` had is given up.
    pub(crate) fn take_over(&mut self, from: Fingerprint, to: Fingerprint) {
        if !self.stations.contains_key(&from) || from == to {
            return;
        }
        let (Some(mut taker), Some(giver)) = (self.stations.remove(&to), self.stations.remove(&from)) else {
            return;
        };
        if taker.strings.harp().is_strung_like(giver.strings.harp()) {
            taker.strings.inherit(giver.strings);
            taker.traces = giver.traces;
            taker.course = giver.course;
        }
        taker.tenure = Tenure {
            seat: giver.tenure.seat,
            epoch: giver.tenure.epoch + 1,
        };
        taker.place = giver.place;
        self.stations.insert(to, taker);
    }

    /// A round begins after one in which `before` was agreed.
    pub(crate) fn begin_round(&mut self, before: &Agreement) {
        for station in self.stations.values_mut() {
            let readiness = station.strings.readiness(before);
            let untouched = station.strings.are_untouched();
            station.traces.begin_round(readiness.is_ready(), untouched);
            station.strings.begin_round();
            station.course = Course::default();
        }
    }

    /// Looks at what the strings of `peer` have come to under the `agreement`, for the forecast.
    pub(crate) fn follow(&mut self, peer: Fingerprint, now: Uptime, agreement: &Agreement) {
        if let Some(station) = self.stations.get_mut(&peer) {
            let readiness = station.strings.readiness(agreement);
            station.course.see(now, station.strings.harp(), &readiness);
        }
    }

    /// The same for everyone.
    pub(crate) fn follow_all(&mut self, now: Uptime, agreement: &Agreement) {
        let peers: Vec<Fingerprint> = self.stations.keys().copied().collect();
        peers.into_iter().for_each(|peer| self.follow(peer, now, agreement));
    }

    pub(crate) fn heard(&mut self, peer: Fingerprint, now: Uptime) {
        if let Some(station) = self.stations.get_mut(&peer) {
            station.last_heard = Some(now);
            if station.shown != Shown::Here {
                self.nothing_before = None;
            }
        }
    }

    /// Whoever was heard until this program stood still is in doubt now, and silent only if nothing comes soon.
    pub(crate) fn excuse(&mut self, now: Uptime) {
        self.nothing_before = None;
        for station in self.stations.values_mut() {
            let counted = matches!(station.shown, Shown::Here | Shown::Unsure);
            station.last_heard = station.last_heard.map(|heard| {
                let in_doubt = Uptime(now.0.saturating_sub(UNSURE_AFTER));
                if counted { heard.max(in_doubt) } else { heard }
            });
        }
    }

    pub(crate) fn leave(&mut self, peer: Fingerprint) {
        self.nothing_before = None;
        if let Some(station) = self.stations.get_mut(&peer) {
            station.last_heard = None;
            station.help = false;
        }
    }

    /// Whether the harpist wants help; says whether that is news.
    pub(crate) fn set_help(&mut self, peer: Fingerprint, wanted: bool) -> bool {
        self.stations
            .get_mut(&peer)
            .is_some_and(|station| std::mem::replace(&mut station.help, wanted) != wanted)
    }

    pub(crate) fn set_removed(&mut self, peer: Fingerprint, removed: bool) {
        if let Some(station) = self.stations.get_mut(&peer) {
            station.removed = removed;
        }
    }

    /// Whether anything about presence reads otherwise than when this was last asked.
    pub(crate) fn note_presence(&mut self, now: Uptime) -> bool {
        if self.nothing_before.is_some_and(|at| now < at) {
            return false;
        }
        let mut changed = false;
        for station in self.stations.values_mut() {
            let shown = Shown::from(station.presence(now));
            changed |= shown != station.shown;
            station.shown = shown;
        }
        self.nothing_before = Some(self.look_again());
        changed
    }

    /// When presence may read otherwise: never later than it does, since what is heard only puts it off.
    pub(crate) fn next_change(&self) -> Option<Uptime> {
        self.nothing_before.filter(|&at| at < NEVER)
    }

    fn look_again(&self) -> Uptime {
        self.stations
            .values()
            .filter_map(Station::next_change)
            .min()
            .unwrap_or(NEVER)
    }
}

impl Station {
    pub(crate) fn presence(&self, now: Uptime) -> Presence {
        match self.last_heard.map(|heard| now.since(heard)) {
            None => Presence::Away,
            Some(quiet) if quiet >= SILENT_AFTER => Presence::Silent(quiet),
            Some(quiet) if quiet >= UNSURE_AFTER => Presence::Unsure,
            Some(_) => Presence::Here,
        }
    }

    fn next_change(&self) -> Option<Uptime> {
        let heard = self.last_heard?;
        Some(match self.shown {
            Shown::Here => heard + UNSURE_AFTER,
            Shown::Unsure => heard + SILENT_AFTER,
            Shown::Silent(seconds) => heard + std::time::Duration::from_secs(seconds + step(seconds)),
            // Heard again since: the next event shows it.
            Shown::Away => heard,
        })
    }
}

/// How long the words of a silence of so many seconds stay the same.
const fn step(seconds: u64) -> u64 {
    if seconds < 60 { 1 } else { 30 }
}

impl From<Presence> for Shown {
    fn from(presence: Presence) -> Self {
        match presence {
            Presence::Here => Self::Here,
            Presence::Unsure => Self::Unsure,
            Presence::Silent(quiet) => {
                let seconds = quiet.as_secs();
                Self::Silent(seconds - seconds % step(seconds))
            }
            Presence::Away => Self::Away,
        }
    }
}
