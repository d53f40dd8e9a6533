//! A check of the regulation: every string in every position, in an order that moves each pedal as little as can be.
//!
//! Pedal harp: letter by letter in the order of the pedals, flat, natural, sharp through the octaves, so that each pedal
//! moves twice and no more. Lever harp: every string with its lever off, then every string with it on.

use std::collections::BTreeSet;

use consort_proto::{Accidental, Harp, HarpString, Hz, Kind, Letter, Note, StringNumber, Tuning};

use crate::visit::Visit;

/// Where a tuning took place that was a check: it says nothing of where the harp stands.
pub const PLACE: &str = "regulation check";

/// What is plucked between two moves: one letter, or all strings, in one position.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Stage {
    /// The letter whose pedal stands there; `None` for the levers of all strings.
    pub letter: Option<Letter>,
    /// 0, 1 or 2 semitones above the open string.
    pub position: u8,
}

/// What a pluck was for the check.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Taken {
    /// It was still missing.
    New,
    /// It had been heard; the newer one counts.
    Again,
    /// Another string than those that are asked for.
    Elsewhere,
}

/// A check that goes on, or was broken off and goes on where it was.
#[derive(Clone, Debug)]
pub struct Check {
    harp: Harp,
    stages: Vec<Stage>,
    at: usize,
    heard: BTreeSet<(StringNumber, u8)>,
}

/// Further from where it should sound, cents, it is another string or another position.
const NEAR_CENTS: f64 = 45.0;

/// The stages of a check of `harp`; none where no string has a mechanism.
pub fn stages(harp: &Harp) -> Vec<Stage> {
    let letters: Vec<Option<Letter>> = match harp.kind() {
        Kind::Pedal => Letter::PEDALS.map(Some).to_vec(),
        Kind::Lever | Kind::Other => vec![None],
    };
    letters
        .into_iter()
        .flat_map(|letter| (0..=2).map(move |position| Stage { letter, position }))
        .filter(|stage| !stage.strings(harp).is_empty())
        .collect()
}

impl Stage {
    /// The strings that are plucked, from the top; every other time from the bottom, where the hand is.
    pub fn strings(self, harp: &Harp) -> Vec<StringNumber> {
        let mut strings: Vec<StringNumber> = harp
            .numbered()
            .filter(|(_, string)| self.letter.is_none_or(|letter| string.open.letter == letter))
            .filter(|(_, string)| string.mechanism.positions() >= self.position.max(1))
            .filter(|(_, string)| raised(string.open, self.position).is_some())
            .map(|(number, _)| number)
            .collect();
        if self.position == 1 {
            strings.reverse();
        }
        strings
    }

    /// The string that is meant by a sound of `hz` in this stage; `None` where that is none of those that are plucked.
    ///
    /// A raised string often sounds like its neighbour, as C sharp like D flat: what is asked for decides, not which of
    /// the two was heard.
    pub fn meant(self, harp: &Harp, tuning: &Tuning, hz: Hz) -> Option<StringNumber> {
        let sounding = self.sounding(harp);
        self.strings(harp).into_iter().find(|&number| {
            let target = sounding.string(number).map(|string| tuning.open_target(string));
            target.is_some_and(|target| hz.cents_above(target).abs().0 < NEAR_CENTS)
        })
    }

    /// The string that is meant by a sound of `hz` though its pedal or lever stands elsewhere than this stage has it: one of
    /// those that are plucked, whole semitones off.
    pub fn elsewhere(self, harp: &Harp, tuning: &Tuning, hz: Hz) -> Option<StringNumber> {
        let at = |position| Self { position, ..self }.meant(harp, tuning, hz);
        let mut others = (0..=2).filter(|&position| position != self.position);
        others.find_map(|position| at(position).filter(|string| self.strings(harp).contains(string)))
    }

    /// The harp as it sounds in this stage: its strings stand where pedal or levers put them.
    pub fn sounding(self, harp: &Harp) -> Harp {
        let asked = self.strings(harp);
        let strings: Vec<HarpString> = harp
            .numbered()
            .map(|(number, string)| HarpString {
                open: raised(string.open, self.position)
                    .filter(|_| asked.contains(&number))
                    .unwrap_or(string.open),
                ..*string
            })
            .collect();
        // Strings that were a harp before are one again, unless a raised string meets its neighbour.
        Harp::new(harp.name().to_owned(), harp.kind(), strings).unwrap_or_else(|_| harp.clone())
    }
}

/// `open` raised by so many semitones without another letter.
fn raised(open: Note, position: u8) -> Option<Note> {
    let accidental = Accidental::from_semitones(open.accidental.semitones() + i32::from(position))?;
    Some(Note::new(open.letter, accidental, open.octave))
}

impl Check {
    /// A check of `harp` that goes on after `begun`, the tuning in which it was begun, if it was.
    pub fn new(harp: Harp, begun: Option<&Visit>) -> Self {
        let mut heard = BTreeSet::new();
        for (&number, seen) in begun.iter().flat_map(|visit| &visit.strings) {
            let open = seen.left.map(|_| 0);
            let stepped = (1..)
                .zip(seen.positions)
                .filter_map(|(position, step)| step.map(|_| position));
            heard.extend(open.into_iter().chain(stepped).map(|position| (number, position)));
        }
        let mut check = Self {
            stages: stages(&harp),
            harp,
            at: 0,
            heard,
        };
        check.pass_what_is_done();
        check
    }

    /// What is plucked now; `None` when all is done or left out.
    pub fn stage(&self) -> Option<Stage> {
        self.stages.get(self.at).copied()
    }

    /// The strings of this stage that are still missing, in the order in which they are plucked.
    pub fn missing(&self) -> Vec<StringNumber> {
        let Some(stage) = self.stage() else { return Vec::new() };
        let mut strings = stage.strings(&self.harp);
        strings.retain(|&string| !self.heard.contains(&(string, stage.position)));
        strings
    }

    /// Takes in that `string` was plucked where this stage has it; goes on by itself when nothing is missing.
    pub fn hear(&mut self, string: StringNumber) -> Taken {
        let Some(stage) = self.stage() else {
            return Taken::Elsewhere;
        };
        if !stage.strings(&self.harp).contains(&string) {
            return Taken::Elsewhere;
        }
        let taken = if self.heard.insert((string, stage.position)) {
            Taken::New
        } else {
            Taken::Again
        };
        self.pass_what_is_done();
        taken
    }

    /// Leaves out what is missing of this stage.
    pub fn leave_out(&mut self) {
        self.at += 1;
        self.pass_what_is_done();
    }

    fn pass_what_is_done(&mut self) {
        while self.stage().is_some() && self.missing().is_empty() {
            self.at += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_proto::harp_file;

    fn harp(name: &str) -> Harp {
        harp_file::preset(name).expect("a preset")
    }

    #[test]
    fn every_step_of_every_string_is_asked_for_once_and_each_pedal_moves_twice() {
        for (name, stages_, plucks) in [("pedal-47", 21, None), ("lever-22", 2, Some(44))] {
            let harp = harp(name);
            let order = stages(&harp);
            assert_eq!(order.len(), stages_, "{name}");
            let asked: Vec<(StringNumber, u8)> = order
                .iter()
                .flat_map(|stage| stage.strings(&harp).into_iter().map(|string| (string, stage.position)))
                .collect();
            let once: BTreeSet<_> = asked.iter().copied().collect();
            assert_eq!(once.len(), asked.len(), "{name}");
            let all: usize = harp
                .strings()
                .iter()
                .map(|string| usize::from(string.mechanism.positions()))
                .filter(|&positions| positions > 0)
                .map(|positions| positions + 1)
                .sum();
            assert_eq!(asked.len(), all, "{name}");
            assert_eq!(plucks.unwrap_or(all), all, "{name}");
            // A pedal that begins in flat moves once from each of its stages to the next.
            let moves = order
                .iter()
                .filter(|stage| stage.letter.is_some() && stage.position > 0)
                .count();
            assert_eq!(moves, if name == "pedal-47" { 14 } else { 0 });
        }
    }

    #[test]
    fn a_check_goes_on_where_it_was_broken_off() {
        let mut check = Check::new(harp("lever-22"), None);
        let missing = check.missing();
        assert_eq!(
            (missing.len(), check.stage().map(|stage| stage.position)),
            (22, Some(0))
        );
        for &string in &missing[1..] {
            assert_eq!(check.hear(string), Taken::New);
        }
        assert_eq!(check.hear(missing[1]), Taken::Again);
        assert_eq!(check.missing(), [missing[0]]);
        assert_eq!(check.hear(missing[0]), Taken::New);
        assert_eq!(check.stage().map(|stage| stage.position), Some(1));
        check.leave_out();
        assert_eq!((check.stage(), check.missing().len()), (None, 0));
    }

    #[test]
    fn a_string_of_another_letter_is_not_taken() {
        let harp = harp("pedal-47");
        let mut check = Check::new(harp.clone(), None);
        let a = harp.find(Letter::A, 4).expect("an A");
        assert_eq!(check.hear(a), Taken::Elsewhere);
    }

    #[test]
    fn a_raised_string_is_meant_though_its_neighbour_sounds_the_same() {
        let harp = harp("pedal-47");
        let stage = Stage {
            letter: Some(Letter::C),
            position: 2,
        };
        let tuning = Tuning::default();
        let [c, d] = [Letter::C, Letter::D].map(|letter| harp.find(letter, 4).expect("a string"));
        let hz = tuning.open_target(harp.string(d).expect("a string"));
        let sharp = hz.raised_by(consort_proto::Cents(8.0));
        assert_eq!(stage.meant(&harp, &tuning, sharp), Some(c));
        // The pedal still stands in natural.
        assert_eq!(
            stage.meant(&harp, &tuning, hz.raised_by(consort_proto::Cents(-100.0))),
            None
        );
    }

    #[test]
    fn a_pedal_that_stands_elsewhere_is_told_from_another_string() {
        let harp = harp("pedal-47");
        let natural = Stage {
            letter: Some(Letter::C),
            position: 1,
        };
        let tuning = Tuning::default();
        let c = harp.find(Letter::C, 4).expect("a C");
        let open = tuning.open_target(harp.string(c).expect("a string"));
        for (cents, means) in [
            (0.0, Some(c)),
            (7.0, Some(c)),
            (207.0, Some(c)),
            (107.0, None),
            (350.0, None),
        ] {
            let hz = open.raised_by(consort_proto::Cents(cents));
            assert_eq!(natural.elsewhere(&harp, &tuning, hz), means, "{cents}");
        }
        // A lever harp's strings have one step.
        let harp = self::harp("lever-22");
        let on = Stage {
            letter: None,
            position: 1,
        };
        let (number, string) = harp.numbered().next().expect("a string");
        let open = tuning.open_target(string);
        assert_eq!(on.elsewhere(&harp, &tuning, open), Some(number));
    }

    #[test]
    fn the_strings_of_a_stage_sound_where_the_pedal_puts_them() {
        let harp = harp("pedal-47");
        let stage = Stage {
            letter: Some(Letter::D),
            position: 2,
        };
        let sounding = stage.sounding(&harp);
        let number = harp.find(Letter::D, 4).expect("a D");
        let note = |harp: &Harp| harp.string(number).expect("a string").open.to_string();
        assert_eq!((note(&harp).as_str(), note(&sounding).as_str()), ("Db4", "D#4"));
    }
}
