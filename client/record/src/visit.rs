//! One tuning of the harp as the record sees it: each string as found and as left.

use std::collections::BTreeMap;

use consort_proto::{Cents, Reading, StringNumber, Tolerance, Tuning};

use crate::check::PLACE;
use crate::date::{Date, Moment};
use crate::entry::{Climate, Concert, Deed, Event, Fitting, Heard, Place, Timbre};
use crate::rest::above_rest;
use crate::sheet::Sheet;
use crate::shelf::{Length, Spoilt};

/// Everything that is known of one harp; each list in the order of time.
#[derive(Clone, Debug, PartialEq)]
pub struct Life {
    /// What belongs to it for good.
    pub sheet: Sheet,
    /// Its tunings.
    pub visits: Vec<Visit>,
    /// Strings that were put on.
    pub fittings: Vec<Fitting>,
    /// What was done to it.
    pub events: Vec<Event>,
    /// The room.
    pub climates: Vec<Climate>,
    /// Days on which it has to hold, past and to come.
    pub concerts: Vec<Concert>,
    /// Strings in stock for it.
    pub lengths: Vec<Length>,
    /// Lengths that are not to be used any more.
    pub spoilt: Vec<Spoilt>,
}

impl Life {
    /// The life of a harp of which nothing is known yet.
    pub const fn new(sheet: Sheet) -> Self {
        Self {
            sheet,
            visits: Vec::new(),
            fittings: Vec::new(),
            events: Vec::new(),
            climates: Vec::new(),
            concerts: Vec::new(),
            lengths: Vec::new(),
            spoilt: Vec::new(),
        }
    }

    /// The newest fitting of `string`, if it is known and all strings were not renewed since.
    pub fn fitted(&self, string: StringNumber) -> Option<&Fitting> {
        let newest = self.fittings.iter().rev().find(|fitting| fitting.string == string);
        newest.filter(|fitting| self.restrung().is_none_or(|on| fitting.on >= on))
    }

    /// The day on which `string` was put on, alone or with all others, if it is known.
    pub fn put_on(&self, string: StringNumber) -> Option<Date> {
        self.fitted(string)
            .map(|fitting| fitting.on)
            .or_else(|| self.restrung())
    }

    /// The day on which `string` broke, if no other was put on since; one put on on the same day is the next one.
    pub fn broke(&self, string: StringNumber) -> Option<Date> {
        let broke = self.events.iter().filter(|event| event.deed == Deed::Broke(string));
        let newest = broke.map(|event| event.on).max()?;
        self.put_on(string).is_none_or(|on| on < newest).then_some(newest)
    }

    /// The newest day on which all strings were renewed.
    fn restrung(&self) -> Option<Date> {
        let renewed = self.events.iter().filter(|event| event.deed == Deed::Restrung);
        renewed.map(|event| event.on).max()
    }
}

/// One tuning of the harp: a round, or an hour at home.
#[derive(Clone, Debug, PartialEq)]
pub struct Visit {
    /// When it began.
    pub at: Moment,
    /// Where the harp stood.
    pub place: Place,
    /// What it was tuned to.
    pub tuning: Tuning,
    /// How far off a string might be.
    pub tolerance: Tolerance,
    /// The strings that were heard.
    pub strings: BTreeMap<StringNumber, Seen>,
}

/// One string in one tuning.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Seen {
    /// Its first settled reading of the open string, before anything was turned.
    pub found: Option<Reading>,
    /// Its last settled reading of the open string.
    pub left: Option<Reading>,
    /// Settled readings of the open string.
    pub plucks: u32,
    /// The pin was turned in between, as far as hearing tells.
    pub turned: bool,
    /// The newest reading of one and of two semitones, where a disc or lever was tried.
    pub positions: [Option<Reading>; 2],
    /// What its plucks sounded like.
    pub timbres: Vec<Timbre>,
    /// In a check of the regulation, how far above its rest the string was heard in the newest readings of the open string
    /// and of one and of two semitones; `None` where that was not measured.
    pub above_rest: [Option<Cents>; 3],
}

/// Two readings further apart than this, cents, have the key between them; a string at rest repeats within less.
const TURNED_CENTS: f64 = 1.5;
/// A reading more uncertain than this, cents, is of a string that was being turned or that beats.
const STEADY_CENTS: f64 = 3.0;
/// Timbres that are kept of one string and tuning: more plucks tell nothing new.
const TIMBRES_MAX: usize = 6;

impl Visit {
    /// A tuning that begins at `at`, with nothing heard yet.
    pub const fn new(at: Moment, place: Place, tuning: Tuning, tolerance: Tolerance) -> Self {
        Self {
            at,
            place,
            tuning,
            tolerance,
            strings: BTreeMap::new(),
        }
    }

    /// Takes in a reading of this tuning; they come in the order of time.
    pub fn hear(&mut self, heard: &Heard) {
        let is_check = self.place.as_str() == PLACE;
        let seen = self.strings.entry(heard.reading.string).or_default();
        let is_steady = heard.reading.sigma.0 <= STEADY_CENTS;
        if is_check
            && (is_steady || heard.position > 0)
            && let Some(kept) = seen.above_rest.get_mut(usize::from(heard.position))
        {
            *kept = heard.timbre.as_ref().and_then(above_rest);
        }
        match heard.position {
            0 => {
                // A string that is plucked for its disc is not listened to as in a tuning.
                let room = !is_check && seen.timbres.len() < TIMBRES_MAX;
                if let Some(timbre) = heard.timbre.as_ref().filter(|_| room) {
                    seen.timbres.push(timbre.clone());
                }
                // What moved while it was heard says nothing of where the string was found or left.
                if !is_steady {
                    return;
                }
                let before = seen.left.or(seen.found);
                seen.turned |=
                    before.is_some_and(|before| heard.reading.hz.cents_above(before.hz).abs().0 > TURNED_CENTS);
                if seen.found.is_none() {
                    seen.found = Some(heard.reading);
                }
                seen.left = Some(heard.reading);
                seen.plucks += 1;
            }
            position => {
                if let Some(kept) = seen.positions.get_mut(usize::from(position) - 1) {
                    *kept = Some(heard.reading);
                }
            }
        }
    }
}
