//! The chronicle: a life told as movements between tunings, each beside what the room did.

mod track;

use std::borrow::Cow;
use std::collections::{BTreeMap, VecDeque};

use consort_proto::{Material, StringNumber};

use crate::brightness;
use crate::date::{Date, Moment};
use crate::entry::{Deed, Event, Fitting};
use crate::robust::{self, Line};
use crate::sheet::Sheet;
use crate::sound::Sound;
use crate::visit::{Life, Visit};
use track::keep;
pub(crate) use track::{Move, Step, Track};

/// What the findings are made from; it is extended tuning by tuning and never looks back.
#[derive(Clone, Debug)]
pub struct Chronicle {
    sheet: Sheet,
    pub(crate) tracks: Vec<Track>,
    /// What the room did from each tuning to the next, newest last.
    pub(crate) rooms: VecDeque<RoomMove>,
    /// Tunings taken in.
    pub(crate) visits: usize,
    pub(crate) last: Option<Moment>,
    fittings: usize,
    /// Days of whole new sets taken in, counted among all events, and all other events taken in.
    renewals: usize,
    events: usize,
}

/// One material's common movement from one tuning to the next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct RoomMove {
    pub(crate) material: Material,
    pub(crate) from: Moment,
    pub(crate) at: Moment,
    /// In the middle of its compass, cents.
    pub(crate) cents: f64,
    /// One standard deviation of that.
    pub(crate) sigma: f64,
    /// Strings heard, and how many of them moved to its side.
    pub(crate) strings: usize,
    pub(crate) along: usize,
}

/// Checks of a step and movements of the room that are kept.
const CHECKS_KEPT: usize = 4;
const ROOMS_KEPT: usize = 24;

impl Chronicle {
    /// The chronicle of a harp before its first tuning.
    pub fn new(sheet: Sheet) -> Self {
        let tracks = vec![Track::default(); sheet.harp.len()];
        Self {
            sheet,
            tracks,
            rooms: VecDeque::new(),
            visits: 0,
            last: None,
            fittings: 0,
            renewals: 0,
            events: 0,
        }
    }

    /// The chronicle of `life`.
    pub fn of(life: &Life) -> Self {
        let mut chronicle = Self::new(life.sheet.clone());
        chronicle.catch_up(life);
        chronicle
    }

    /// Takes in what has been added to the ends of `life`'s lists since the last time.
    ///
    /// A life that was edited further back has to be told from its beginning.
    pub fn catch_up(&mut self, life: &Life) {
        for visit in &life.visits[self.visits.min(life.visits.len())..] {
            let today = visit.at.date();
            while let Some(fitting) = life.fittings.get(self.fittings).filter(|fitting| fitting.on <= today) {
                self.fit(fitting, visit);
                self.fittings += 1;
            }
            while let Some(event) = life.events.get(self.renewals).filter(|event| event.on <= today) {
                if event.deed == Deed::Restrung {
                    self.restring(event.on, visit);
                }
                self.renewals += 1;
            }
            while let Some(event) = life.events.get(self.events).filter(|event| event.on < today) {
                self.happened(event);
                self.events += 1;
            }
            self.take(visit);
        }
    }

    /// The same with what was done since the newest tuning, up to the day `today`: it has nothing to say yet of a string
    /// that was put on or of a pin that was pushed since.
    pub(crate) fn up_to(&self, life: &Life, today: Date) -> Cow<'_, Self> {
        let fittings = life.fittings.get(self.fittings..).unwrap_or_default();
        let renewals = life.events.get(self.renewals..).unwrap_or_default();
        let events = life.events.get(self.events..).unwrap_or_default();
        if fittings.is_empty() && renewals.is_empty() && events.is_empty() {
            return Cow::Borrowed(self);
        }
        let mut told = self.clone();
        for fitting in fittings.iter().filter(|fitting| fitting.on <= today) {
            if let Some(track) = told.tracks.get_mut(fitting.string.index()) {
                track.renew(fitting.on);
            }
        }
        for event in renewals
            .iter()
            .filter(|event| event.deed == Deed::Restrung && event.on <= today)
        {
            told.older_than(event.on).for_each(|track| track.renew(event.on));
        }
        // A regulation on the day of a check came before or after it, and only the next check tells.
        let checked = self.last.map(Moment::date);
        for event in events.iter().filter(|event| event.on <= today) {
            if event.deed != Deed::Regulated || checked.is_none_or(|checked| event.on > checked) {
                told.happened(event);
            }
        }
        Cow::Owned(told)
    }

    /// The track of `string`.
    pub(crate) fn track(&self, string: StringNumber) -> Option<&Track> {
        self.tracks.get(string.index())
    }

    /// Tells of each string how much less of its upper partials it has than when it was new or first heard, decibels;
    /// `None` where it has not grown dull, or too little was heard.
    pub fn dull(&self) -> impl Fn(StringNumber) -> Option<f64> {
        let spread = brightness::spread(self.tracks.iter().map(|track| &track.brightness));
        move |string| brightness::dull_db(&self.track(string)?.brightness, spread)
    }

    /// The harp's sheet.
    pub const fn sheet(&self) -> &Sheet {
        &self.sheet
    }

    /// A string was put on on a day up to that of `next`, the next tuning.
    fn fit(&mut self, fitting: &Fitting, next: &Visit) {
        if let Some(track) = self.tracks.get_mut(fitting.string.index()) {
            let after_it = track
                .was_renewed_after(fitting.on, fitting.string, next)
                .unwrap_or(false);
            track.renew(fitting.on);
            track.fitted_after = after_it.then_some(next.at);
        }
    }

    /// All strings were renewed on a day up to that of `next`, the next tuning.
    fn restring(&mut self, on: Date, next: &Visit) {
        for (track, index) in self
            .tracks
            .iter_mut()
            .zip(0..)
            .filter(|(track, _)| track.is_older_than(on))
        {
            // A string that was never heard before tells nothing of when that was: what was heard may be the old one.
            let after_it = track.was_renewed_after(on, number_of(index), next);
            let after_it = after_it.unwrap_or(next.at.date() == on && track.left.is_none());
            track.renew(on);
            track.fitted_after = after_it.then_some(next.at);
        }
    }

    /// Strings that are not known to have been put on on the day `on` or later.
    fn older_than(&mut self, on: Date) -> impl Iterator<Item = &mut Track> {
        self.tracks.iter_mut().filter(move |track| track.is_older_than(on))
    }

    fn happened(&mut self, event: &Event) {
        match event.deed {
            Deed::PinPushed(string) => {
                if let Some(track) = self.tracks.get_mut(string.index()) {
                    track.moves.clear();
                }
            }
            Deed::Regulated => self.tracks.iter_mut().for_each(|track| {
                track.steps = Default::default();
                track.former_steps = [None; 2];
            }),
            // New strings are taken in with the fittings.
            Deed::Restrung | Deed::Moved | Deed::Broke(_) | Deed::Remark(_) => {}
        }
    }

    fn take(&mut self, visit: &Visit) {
        let number = self.visits;
        self.visits += 1;
        let lines = self.room(visit);
        let mut scales: BTreeMap<Material, Vec<f64>> = BTreeMap::new();
        let mut fresh: Vec<(usize, Move, f64)> = Vec::new();
        let mut bright: BTreeMap<usize, f64> = BTreeMap::new();
        let strings = self.sheet.harp.strings();
        for (index, (track, string)) in self.tracks.iter_mut().zip(strings).enumerate() {
            let line = lines.get(&string.material).copied().unwrap_or_default();
            let room = line.at(place(index, strings.len()));
            track.room += room;
            let Some(seen) = visit.strings.get(&number_of(index)) else {
                continue;
            };
            track.heard = Some(visit.at);
            if let Some(made) = seen
                .found
                .and_then(|found| track.moved(visit.at, found, line.level, number))
            {
                scales
                    .entry(string.material)
                    .or_default()
                    .push(made.beyond / made.sigma);
                fresh.push((index, made, line.level));
            }
            if let Some(left) = seen.left {
                track.left = Some((visit.at, left));
                track.room = 0.0;
                for (step, position) in seen.positions.iter().enumerate() {
                    if let Some(reading) = position {
                        // One pluck harder than the other is sharper by itself, whatever the disc does.
                        let [open, raised] = [0, step + 1].map(|at| seen.above_rest[at]);
                        let harder = open.zip(raised).map_or(0.0, |(open, raised)| raised.0 - open.0);
                        let error = reading.hz.cents_above(left.hz).0 - harder - 100.0 * (step + 1) as f64;
                        let checked = Step {
                            at: visit.at,
                            error,
                            sigma: reading.sigma.0.hypot(left.sigma.0),
                        };
                        keep(&mut track.steps[step], checked, CHECKS_KEPT);
                    }
                }
            }
            // A string whose pitch bends as it beats has no reading that stands.
            let stands = seen.left.or(seen.found).map(|reading| reading.hz);
            let hz = stands.unwrap_or_else(|| visit.tuning.open_target(string));
            let sound = Sound::of(&seen.timbres, hz);
            if track.sounds_like(visit.at, sound) {
                bright.extend(sound.bright_db().map(|db| (index, db)));
            }
        }
        let tracks = self.tracks.iter_mut().enumerate();
        brightness::take(tracks.filter_map(|(index, track)| Some((&mut track.brightness, *bright.get(&index)?))));
        // A tuning at which everything lies further apart than usual says less of each single string.
        let scales: BTreeMap<Material, f64> = scales
            .into_iter()
            .map(|(material, zs)| {
                let scale = if zs.len() >= 4 {
                    robust::spread(zs.into_iter())
                } else {
                    None
                };
                (material, scale.unwrap_or(1.0).max(1.0))
            })
            .collect();
        for (index, mut made, level) in fresh {
            let scale = scales.get(&strings[index].material).copied().unwrap_or(1.0);
            made.sigma *= scale;
            self.tracks[index].remember(made, level);
        }
        self.last = Some(visit.at);
    }

    /// The common movement of each material since the tuning before.
    fn room(&mut self, visit: &Visit) -> BTreeMap<Material, Line> {
        let Some(last) = self.last else { return BTreeMap::new() };
        let mut points: BTreeMap<Material, Vec<(f64, f64)>> = BTreeMap::new();
        let count = self.tracks.len();
        for (index, (track, string)) in self.tracks.iter().zip(self.sheet.harp.strings()).enumerate() {
            let found = visit.strings.get(&number_of(index)).and_then(|seen| seen.found);
            if let (Some((at, left)), Some(found)) = (track.left, found)
                && at == last
                && !track.is_young(visit.at)
            {
                let moved = found.hz.cents_above(left.hz).0;
                points
                    .entry(string.material)
                    .or_default()
                    .push((place(index, count), moved));
            }
        }
        // A material of one or two strings has no movement in common.
        points.retain(|_, points| points.len() >= 3);
        let lines: BTreeMap<Material, Line> = points
            .iter()
            .filter_map(|(material, points)| Some((*material, robust::line(points)?)))
            .collect();
        for (material, line) in &lines {
            let moved = &points[material];
            let middle = moved.iter().map(|point| point.0).sum::<f64>() / moved.len() as f64;
            let cents = line.at(middle);
            let along = moved.iter().filter(|point| point.1 * cents > 0.0).count();
            let entry = RoomMove {
                material: *material,
                from: last,
                at: visit.at,
                cents,
                sigma: line.scale * 1.25 / (moved.len() as f64).sqrt(),
                strings: moved.len(),
                along,
            };
            keep(&mut self.rooms, entry, ROOMS_KEPT);
        }
        lines
    }
}

/// Where a string stands between the shortest, −1, and the longest, 1.
fn place(index: usize, count: usize) -> f64 {
    2.0 * index as f64 / (count.max(2) - 1) as f64 - 1.0
}

fn number_of(index: usize) -> StringNumber {
    StringNumber::new(index as u32 + 1).unwrap_or_else(|_| unreachable!("a harp's strings have numbers"))
}
