//! The chronicle: a life told as movements between tunings, each beside what the room did.

use std::borrow::Cow;
use std::collections::{BTreeMap, VecDeque};

use consort_proto::{Material, Reading, StringNumber};

use crate::brightness::{self, Brightness};
use crate::date::{Date, Moment};
use crate::entry::{Deed, Event, Fitting};
use crate::robust::{self, Line};
use crate::sheet::Sheet;
use crate::sound::Sound;
use crate::visit::{Life, Visit};

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

/// One string's story.
#[derive(Clone, Debug, Default)]
pub(crate) struct Track {
    /// Its movements beyond the room's, newest last.
    pub(crate) moves: VecDeque<Move>,
    left: Option<(Moment, Reading)>,
    /// What the room has done to it since it was left, cents.
    room: f64,
    /// How much more than its material it answers the room: sums of products and of squares.
    answers: (f64, f64),
    /// Sum of its squared movements in units of what is usual, cut at the top, and how many.
    unrest: (f64, f64),
    /// What it sounded like at each tuning since it was fitted, newest last.
    pub(crate) sounds: VecDeque<(Moment, Sound)>,
    /// What it sounded like before the tunings in `sounds`, since it was fitted.
    pub(crate) usual: Sound,
    /// What the string before it sounded like.
    pub(crate) former: Sound,
    /// How bright it is against itself when it was new.
    pub(crate) brightness: Brightness,
    /// Errors of one and two semitones at the checks since it was fitted and regulated, newest last.
    pub(crate) steps: [VecDeque<Step>; 2],
    /// The mean of those errors before it was fitted.
    pub(crate) former_steps: [Option<f64>; 2],
    pub(crate) fitted: Option<Date>,
    /// The tuning of the same day that still heard the string before it.
    fitted_after: Option<Moment>,
    /// The newest tuning in which it was heard at all.
    pub(crate) heard: Option<Moment>,
}

/// One check of one step of a disc or lever.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Step {
    pub(crate) at: Moment,
    /// How far it lay off whole semitones above the open string, cents.
    pub(crate) error: f64,
    /// One standard deviation of that.
    pub(crate) sigma: f64,
}

/// How a string moved from one tuning to the next, beyond what the room did to its material.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Move {
    pub(crate) from: Moment,
    pub(crate) at: Moment,
    pub(crate) days: f64,
    /// Cents, positive is up.
    pub(crate) beyond: f64,
    /// One standard deviation of that on a string in order.
    pub(crate) sigma: f64,
    /// The tuning's number.
    pub(crate) visit: usize,
}

/// Movements and sounds that are kept: older ones no longer say what is wrong now.
const MOVES_KEPT: usize = 40;
const SOUNDS_KEPT: usize = 8;
const CHECKS_KEPT: usize = 4;
const ROOMS_KEPT: usize = 24;
/// What a string at rest wanders, cents: at once, and in one day (its variance grows with the days, up to ten).
/// Assumed; each string's own unrest and each tuning's scale correct it.
const WANDERS: (f64, f64) = (0.5, 0.6);
const WANDERS_UP_TO_DAYS: f64 = 10.0;
/// How differently strings of one material answer the room, one standard deviation as a share of its movement.
const ANSWERS_SPREAD: f64 = 0.3;
/// How strongly the past's unrest is held to the usual: as if so many movements had been as usual.
const UNREST_PRIOR: f64 = 12.0;
const UNREST_CUT: f64 = 4.0;
/// The past fades by this share with every movement.
const FADES: f64 = 0.98;
/// A string that stands this far from where it was left was renewed before the tuning and not after it.
const RENEWED_CENTS: f64 = 15.0;

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
            Deed::Restrung | Deed::Moved | Deed::Remark(_) => {}
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
                        let error = reading.hz.cents_above(left.hz).0 - 100.0 * (step + 1) as f64;
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

impl Track {
    fn renew(&mut self, on: Date) {
        self.moves.clear();
        self.left = None;
        self.room = 0.0;
        self.answers = (0.0, 0.0);
        self.unrest = (0.0, 0.0);
        let mut former = std::mem::take(&mut self.usual);
        self.sounds.iter().for_each(|(_, sound)| former.add(sound));
        self.sounds.clear();
        self.former = former;
        self.brightness.renew();
        for (former, steps) in self.former_steps.iter_mut().zip(&mut self.steps) {
            let count = steps.len() as f64;
            *former = (!steps.is_empty()).then(|| steps.iter().map(|step| step.error).sum::<f64>() / count);
            steps.clear();
        }
        self.fitted = Some(on);
        self.fitted_after = None;
    }

    /// Whether the string that is on may have been there before the day `on`.
    fn is_older_than(&self, on: Date) -> bool {
        self.fitted.is_none_or(|fitted| fitted < on)
    }

    /// Whether the string that was put on on the day `on` was so after `next`, a tuning of that day, heard the one before
    /// it: it was found where that had been left. `None` where nothing tells.
    fn was_renewed_after(&self, on: Date, string: StringNumber, next: &Visit) -> Option<bool> {
        let (_, left) = self.left?;
        let found = next.strings.get(&string)?.found?;
        let moved = found.hz.cents_above(left.hz).0 - self.room;
        Some(next.at.date() == on && moved.abs() < RENEWED_CENTS)
    }

    /// Whether the string was put on so lately that its fall says nothing of the room.
    fn is_young(&self, at: Moment) -> bool {
        self.fitted.is_some_and(|on| at.date().days_since(on) < YOUNG_DAYS)
    }

    /// The movement that ends with `found`, if where it began is known.
    fn moved(&mut self, at: Moment, found: Reading, level: f64, visit: usize) -> Option<Move> {
        let (from, left) = self.left?;
        if self.fitted_after.is_some_and(|after| from <= after) {
            return None;
        }
        let days = at.days_since(from).max(0.02);
        let answer = self.answer();
        let beyond = found.hz.cents_above(left.hz).0 - self.room - answer.0 * level;
        let wanders = WANDERS.0.hypot(WANDERS.1 * days.min(WANDERS_UP_TO_DAYS).sqrt());
        let sigma = (wanders * self.unrest())
            .hypot(found.sigma.0)
            .hypot(left.sigma.0)
            .hypot(answer.1 * level);
        Some(Move {
            from,
            at,
            days,
            beyond,
            sigma,
            visit,
        })
    }

    fn remember(&mut self, made: Move, level: f64) {
        let z = (made.beyond / made.sigma).clamp(-2.5, 2.5);
        let held = z * made.sigma;
        let weight = 1.0 / (made.sigma * made.sigma);
        let answer = self.answer().0;
        self.answers.0 = FADES * self.answers.0 + weight * level * (held + answer * level);
        self.answers.1 = FADES * self.answers.1 + weight * level * level;
        self.unrest.0 = FADES * self.unrest.0 + (self.unrest() * z).powi(2).min(UNREST_CUT);
        self.unrest.1 = FADES * self.unrest.1 + 1.0;
        keep(&mut self.moves, made, MOVES_KEPT);
    }

    /// How much more than its material the string answers the room, and one standard deviation of that.
    fn answer(&self) -> (f64, f64) {
        let precision = self.answers.1 + 1.0 / (ANSWERS_SPREAD * ANSWERS_SPREAD);
        (self.answers.0 / precision, precision.sqrt().recip())
    }

    /// How much more than usual it wanders; 1 where nothing is known.
    fn unrest(&self) -> f64 {
        ((UNREST_PRIOR + self.unrest.0) / (UNREST_PRIOR + self.unrest.1)).sqrt()
    }

    /// Takes in what the string sounded like; whether it was this one and not the string before it.
    fn sounds_like(&mut self, at: Moment, sound: Sound) -> bool {
        if sound.is_silent() || self.fitted_after.is_some_and(|after| at <= after) {
            return false;
        }
        if self.sounds.len() == SOUNDS_KEPT
            && let Some((_, oldest)) = self.sounds.pop_front()
        {
            self.usual.add(&oldest);
        }
        self.sounds.push_back((at, sound));
        true
    }
}

/// A string younger than this has no part in what its material does.
const YOUNG_DAYS: i32 = 14;

/// Where a string stands between the shortest, −1, and the longest, 1.
fn place(index: usize, count: usize) -> f64 {
    2.0 * index as f64 / (count.max(2) - 1) as f64 - 1.0
}

fn number_of(index: usize) -> StringNumber {
    StringNumber::new(index as u32 + 1).unwrap_or_else(|_| unreachable!("a harp's strings have numbers"))
}

fn keep<T>(list: &mut VecDeque<T>, entry: T, most: usize) {
    if list.len() >= most {
        list.pop_front();
    }
    list.push_back(entry);
}
