//! The harp's record as data: findings first, every sentence finished.

use serde::Serialize;

/// Everything that the record's page shows of one harp.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct RecordPage {
    /// Tells this picture from any other; the page asks again with it.
    pub version: String,
    /// What people call the harp.
    pub harp: String,
    /// The harps of this record, this one among them.
    pub harps: Vec<String>,
    /// Strings, pins, player and tunings, in one line.
    pub about: String,
    /// Why nothing can be written here; null where it can.
    pub only_read: Option<String>,
    /// Why there are no findings; null where there are some.
    pub nothing: Option<String>,
    /// What is wrong, first what wants doing.
    pub findings: Vec<RecordFinding>,
    /// The strings from the top.
    pub strings: Vec<RecordString>,
    /// Strings to replace, soonest first, those of unknown age left out.
    pub plan: Vec<RecordReplacement>,
    /// What is to be said below the plan.
    pub plan_says: Vec<String>,
    /// How far discs or levers lie off whole semitones; without rows where none was ever
    /// tried, and null where the harp has none.
    pub steps: Option<RecordSteps>,
    /// What is allowed for and what that does; null where nothing was checked.
    pub allowances: Option<RecordAllowances>,
    /// Strings in stock, by strings from the top.
    pub shelf: Vec<RecordLength>,
    /// What the plan needs and the shelf does not have, as a shop names it.
    pub shopping: Vec<String>,
    /// What a person wrote down, the newest day first; each can be taken out by these words.
    pub written: Vec<String>,
    /// How its pins are held, as a word for programs.
    pub pins: &'static str,
    /// How much it is played, as a word for programs.
    pub player: &'static str,
    /// The day it was made, if that is known.
    pub made: Option<String>,
    /// Days before a concert in which nothing unbroken is replaced.
    pub concert_days: u8,
    /// Today, as in 2026-11-25, so that the page reads no clock of its own.
    pub today: String,
}

/// One finding.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RecordFinding {
    /// What it is, as a word for programs, which chooses the drawing.
    pub cause: &'static str,
    /// The string's number from the top; null where it is about more than one.
    pub string: Option<u8>,
    /// Its headline.
    pub says: String,
    /// How it is known.
    pub evidence: String,
    /// What to do.
    pub action: String,
    /// What would change it.
    pub doubt: String,
}

/// One string.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RecordString {
    /// Its number from the top.
    pub string: u8,
    /// The harpist's name, as in `4C`.
    pub name: String,
    /// The letter alone, which decides the colour.
    pub letter: String,
    /// `not-heard`, `heard`, or `will-not-hold` where a finding is about it.
    pub standing: &'static str,
    /// How far from its target it is usually found, to a tenth of a cent.
    pub cents: Option<f64>,
    /// How much of its usual time it has served, 1 for all of it; null where its age is not known.
    pub served: Option<f64>,
    /// All of that in words.
    pub says: String,
}

/// One string to replace.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RecordReplacement {
    /// The string's number from the top.
    pub string: u8,
    /// The harpist's name.
    pub name: String,
    /// The letter alone.
    pub letter: String,
    /// The number on its packet.
    pub packet: String,
    /// When it was put on, if that is known.
    pub fitted: Option<String>,
    /// Why.
    pub why: String,
    /// When.
    pub when: String,
    /// Whether it wants doing now.
    pub now: bool,
}

/// A bought length on the shelf.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RecordLength {
    /// Its name.
    pub name: String,
    /// What it is, as a shop names it.
    pub what: String,
    /// What is left of it, in words.
    pub left: String,
    /// The strings that were cut from it, in words.
    pub cut: String,
    /// Why it is not to be used, if it is bad.
    pub bad: Option<String>,
}

/// Discs or levers: for each octave the letters' errors, in the order of the pedals where the harp has some.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RecordSteps {
    /// What a cell says, in words.
    pub says: String,
    /// The letters, in the order of the columns.
    pub letters: Vec<String>,
    /// One row for each octave, the top first.
    pub rows: Vec<RecordStepRow>,
}

/// The strings of one octave.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RecordStepRow {
    /// The harpist's octave, 0 for the strings above the first.
    pub octave: String,
    /// One cell for each letter; null where the harp has no such string.
    pub cells: Vec<Option<RecordStepCell>>,
}

/// The steps of one string.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RecordStepCell {
    /// The string's number from the top.
    pub string: u8,
    /// Each step's error as it is read, as in `+2 ±0.5`, or that it is not known yet.
    pub steps: Vec<String>,
    /// Which of them are out of regulation.
    pub off: Vec<bool>,
}

/// Letters whose discs or levers can be allowed for.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RecordAllowances {
    /// What it is to allow for something, in words.
    pub says: String,
    /// What the figures are, and who goes by them.
    pub caution: String,
    /// The positions of a string, as in `flat`, `natural`, `sharp`.
    pub positions: Vec<String>,
    /// The letter that is looked at first: one that is allowed for, else the one whose open strings would move most.
    pub foremost: String,
    /// The letters that were checked, in the order of the pedals where the harp has some.
    pub letters: Vec<RecordAllowance>,
}

/// One letter.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RecordAllowance {
    /// The letter.
    pub letter: String,
    /// Whether it is allowed for.
    pub on: bool,
    /// That in words.
    pub says: String,
    /// What the button that changes it says.
    pub changes: String,
    /// Its strings from the top.
    pub strings: Vec<RecordAllowed>,
}

/// What allowing for its disc or lever does, or would do, to one string.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RecordAllowed {
    /// The string's number from the top.
    pub string: u8,
    /// The harpist's name.
    pub name: String,
    /// How far the open string is tuned aside, cents as they are read; null where it stays.
    pub moves: Option<String>,
    /// Why it stays.
    pub stays: Option<String>,
    /// How far each position is off without it, cents as they are read; null where that was not checked.
    pub before: Vec<Option<String>>,
    /// The same with it.
    pub after: Vec<Option<String>>,
}
