//! Readiness: what the readings of a round say about each string and about the harp.
//!
//! Pure functions of (tuning, tolerance, readings, marks), used by station, coordinator, board and record alike.
//! Nothing here is stored: a new reference pitch or temperament re-judges everything at once, without a pluck.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::harp::{Harp, HarpString, Material, StringNumber};
use crate::note::{Accidental, Letter, Note};
use crate::reading::{Reading, Verdict};
use crate::target::Tuning;
use crate::units::Cents;

/// How far off a string may be and still count as in tune, by register and material.
///
/// One degree of the key moves a middle string by about 2 cents and a top one by about 11, so one figure for all
/// strings would ask for what no hand can do.
/// Defaults: common practice, no source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// Gut, nylon and fluorocarbon up to C6.
    pub middle: Cents,
    /// Wires.
    pub wires: Cents,
    /// The top octave and a half: D6 and above.
    pub top: Cents,
}

impl Default for Tolerance {
    fn default() -> Self {
        Self {
            middle: Cents(2.0),
            wires: Cents(3.0),
            top: Cents(5.0),
        }
    }
}

impl Tolerance {
    /// Whether `string` is of the top octave and a half, where a touch of the key moves the pitch furthest.
    pub const fn is_top(&self, string: &HarpString) -> bool {
        const TOP_FROM: i32 = Note::new(Letter::D, Accidental::Natural, 6).steps();
        string.open.steps() >= TOP_FROM
    }

    /// The tolerance of `string`.
    pub fn of(&self, string: &HarpString) -> Cents {
        if self.is_top(string) {
            self.top
        } else if string.material == Material::Wire {
            self.wires
        } else {
            self.middle
        }
    }
}

/// What the harpist said of a string; neither keeps the harp from being ready.
#[derive(Clone, Copy, Debug, Deserialize, Eq, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Mark {
    /// Newly put on: it will not hold yet, comes last, and may be left a touch sharp.
    New,
    /// Broken or taken off.
    Missing,
}

/// What is known of one string in this round: its last readings, oldest first, and its mark.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StringStory {
    readings: Vec<Reading>,
    mark: Option<Mark>,
}

impl StringStory {
    /// Readings kept per string and round; older ones no longer change what the string is.
    pub const KEPT: usize = 24;

    /// Adds a reading of this round; one that is in doubt says nothing and is left out.
    pub fn hear(&mut self, reading: Reading) {
        if reading.verdict != Verdict::Settled {
            return;
        }
        if self.readings.len() == Self::KEPT {
            self.readings.remove(0);
        }
        self.readings.push(reading);
    }

    /// Sets or clears the mark.
    pub const fn set_mark(&mut self, mark: Option<Mark>) {
        self.mark = mark;
    }

    /// The mark.
    pub const fn mark(&self) -> Option<Mark> {
        self.mark
    }

    /// The readings kept, oldest first.
    pub fn readings(&self) -> &[Reading] {
        &self.readings
    }

    /// The newest reading.
    pub fn last(&self) -> Option<&Reading> {
        self.readings.last()
    }

    /// Forgets the readings, since a new round has begun; the mark stays.
    pub fn begin_round(&mut self) {
        self.readings.clear();
    }
}

/// What a string is, in the words of the board.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Standing {
    /// No reading in this round.
    NotHeard,
    /// Heard and out of tolerance.
    Off(Cents),
    /// In tolerance once, not yet confirmed by another pluck.
    SetOnce(Cents),
    /// In tolerance and confirmed.
    Holds(Cents),
    /// Held, then heard out of tolerance.
    Moved(Cents),
    /// Set again and again, and fell out of tolerance each time.
    WillNotHold(Cents),
    /// Marked as newly put on.
    New(Option<Cents>),
    /// Marked as broken or taken off.
    Missing,
}

/// A string that held this often and fell away each time will not hold.
///
/// A string that was in tune for one pluck only and then fell counts half: the key may still have been on its pin.
/// Common practice, no source: a harpist gives a string three tries before the concert and leaves it.
pub const FALLS_UNTIL_STUBBORN: u32 = 3;

/// A string that stands lower than when it was in tune by more than this share of its tolerance has fallen.
///
/// Less is what two plucks of one string differ by; and what stands higher was turned, since pins only ever give way
/// downwards.
const FALLEN_BY: f64 = 1.25;

impl Standing {
    /// The word by which programs know it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::NotHeard => "not-heard",
            Self::Off(_) => "off",
            Self::SetOnce(_) => "set-once",
            Self::Holds(_) => "holds",
            Self::Moved(_) => "moved",
            Self::WillNotHold(_) => "will-not-hold",
            Self::New(_) => "new",
            Self::Missing => "missing",
        }
    }

    /// How far the newest reading lies above the target, if there is one.
    pub const fn cents(self) -> Option<Cents> {
        match self {
            Self::NotHeard | Self::Missing => None,
            Self::Off(cents)
            | Self::SetOnce(cents)
            | Self::Holds(cents)
            | Self::Moved(cents)
            | Self::WillNotHold(cents) => Some(cents),
            Self::New(cents) => cents,
        }
    }

    /// Whether the harp may be ready with this string as it is.
    pub const fn lets_the_harp_be_ready(self) -> bool {
        self.is_set_aside() || matches!(self, Self::Holds(_))
    }

    /// Whether the string is set aside: stubborn, new or missing.
    pub const fn is_set_aside(self) -> bool {
        matches!(self, Self::WillNotHold(_) | Self::New(_) | Self::Missing)
    }
}

/// What `story` says of `string` under `tuning` and `tolerance`.
///
/// The whole story is judged under today's tuning: a string that held at 440 Hz is *off* at 442 Hz, not *moved*, since
/// it was the agreement that moved.
pub fn standing(string: &HarpString, story: &StringStory, tuning: &Tuning, tolerance: &Tolerance) -> Standing {
    let target = tuning.open_target(string);
    let within = tolerance.of(string);
    let last = story.last().map(|reading| reading.hz.cents_above(target));
    match story.mark {
        Some(Mark::Missing) => return Standing::Missing,
        Some(Mark::New) => return Standing::New(last),
        None => {}
    }
    let Some(last) = last else { return Standing::NotHeard };
    let mut in_a_row = 0_u32;
    let mut held = false;
    let mut half_falls = 0_u32;
    let mut stood = Cents(0.0);
    for reading in &story.readings {
        let stands = reading.hz.cents_above(target);
        if stands.is_within(within) {
            in_a_row += 1;
            held |= in_a_row >= 2;
            stood = stands;
        } else {
            if stands.0 < stood.0 - FALLEN_BY * within.0 {
                half_falls += in_a_row.min(2);
            }
            in_a_row = 0;
        }
    }
    match in_a_row {
        // A string that has fallen often enough must hold longer than it ever did to be believed again.
        0 | 1 if half_falls >= 2 * FALLS_UNTIL_STUBBORN => Standing::WillNotHold(last),
        0 if held => Standing::Moved(last),
        0 => Standing::Off(last),
        1 => Standing::SetOnce(last),
        _ => Standing::Holds(last),
    }
}

/// The standing of every string of a harp, from the top. A copy costs nothing.
#[derive(Clone, Debug, PartialEq)]
pub struct Readiness {
    standings: Arc<[Standing]>,
}

impl Readiness {
    /// The readiness that somebody else has judged, from the top.
    pub fn judged(standings: Vec<Standing>) -> Self {
        let standings = standings.into();
        Self { standings }
    }

    /// Judges `stories`, one per string of `harp` from the top; strings without a story were not heard.
    pub fn judge(harp: &Harp, stories: &[StringStory], tuning: &Tuning, tolerance: &Tolerance) -> Self {
        let silent = StringStory::default();
        let standings = harp
            .strings()
            .iter()
            .enumerate()
            .map(|(index, string)| standing(string, stories.get(index).unwrap_or(&silent), tuning, tolerance))
            .collect();
        Self { standings }
    }

    /// The same where nothing but the stories of the strings `changed`, counted from 0, is another.
    pub fn judged_anew(
        &self,
        changed: &[usize],
        harp: &Harp,
        stories: &[StringStory],
        tuning: &Tuning,
        tolerance: &Tolerance,
    ) -> Self {
        let judged = harp
            .strings()
            .iter()
            .zip(stories)
            .zip(self.standings.iter())
            .enumerate();
        let standings = judged.map(|(index, ((string, story), &before))| match changed.contains(&index) {
            true => standing(string, story, tuning, tolerance),
            false => before,
        });
        let standings = standings.collect();
        Self { standings }
    }

    /// The standings from the top.
    pub fn standings(&self) -> &[Standing] {
        &self.standings
    }

    /// The standing of string `number`, if the harp has it.
    pub fn of(&self, number: StringNumber) -> Option<Standing> {
        self.standings.get(number.index()).copied()
    }

    /// Whether every string holds or is set aside.
    pub fn is_ready(&self) -> bool {
        self.standings.iter().all(|standing| standing.lets_the_harp_be_ready())
    }

    /// How many strings hold.
    pub fn holding(&self) -> usize {
        self.standings
            .iter()
            .filter(|standing| matches!(standing, Standing::Holds(_)))
            .count()
    }

    /// How many strings are left to tune: neither holding nor set aside.
    pub fn left(&self) -> usize {
        self.standings
            .iter()
            .filter(|standing| !standing.lets_the_harp_be_ready())
            .count()
    }

    /// The strings that are set aside, from the top.
    pub fn set_aside(&self) -> impl Iterator<Item = StringNumber> {
        (1..)
            .zip(self.standings.iter())
            .filter(|(_, standing)| standing.is_set_aside())
            .filter_map(|(number, _)| StringNumber::new(number).ok())
    }
}
