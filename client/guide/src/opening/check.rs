//! The opening check as it is played: which string is asked for next, and what is still to be looked at.

use consort_proto::{Cents, Harp, Hz, Letter, Mechanism, Readiness, Standing, StringNumber, Tuning, order};

use super::{Observation, Opening, PLUCKS, Plucked, What, observe, one_more};

/// What sounds by so many cents above the string that is asked for is taken for it: its pedal or lever may hold it up, and
/// in another open tuning it is lower.
const STEPS: [f64; 4] = [0.0, 100.0, 200.0, -100.0];
/// And by this much beside that and beside the strings before it: more than a string is off, less than half a semitone.
const BESIDE: Cents = Cents(45.0);
/// Once so many other strings were plucked instead, the harpist goes her own way and the check is over.
const PASSED_OVER_MAX: u32 = 3;
/// A harp that stands so far below its pitch is not brought up in one go: each string loads the frame for the others.
const FAR_BELOW: Cents = Cents(-40.0);
/// The check is made anew after something about the whole harp was found, but only so often.
const TIMES_MAX: u32 = 2;

/// An opening check under way, or over.
#[derive(Clone, Debug, Default)]
pub struct Check {
    /// The strings that are asked for, in order.
    strings: Vec<StringNumber>,
    plucks: Vec<Plucked>,
    /// The newest pluck, by its onset in seconds, and the string that it was taken for.
    newest: Option<(f64, StringNumber)>,
    passed_over: u32,
    times: u32,
    /// What was found and is still to be looked at, likeliest first.
    doubts: Vec<Doubt>,
    mean: Option<Cents>,
}

/// Something to look at, and the string by which it is shown.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// The string.
    pub string: StringNumber,
    /// What was found.
    pub observation: Observation,
}

impl Check {
    /// A check of `harp`; one that is over, if any of its strings was heard in this round.
    pub fn begin(harp: &Harp, readiness: &Readiness) -> Self {
        let unheard =
            |standing: &Standing| matches!(standing, Standing::NotHeard | Standing::Missing | Standing::New(None));
        let heard = !readiness.standings().iter().all(unheard);
        let takes_part = |number: &StringNumber| {
            harp.string(*number)
                .is_some_and(|string| string.mechanism != Mechanism::Fixed)
                && readiness.of(*number) == Some(Standing::NotHeard)
        };
        let strings: Vec<StringNumber> = order::usual_order(harp)
            .into_iter()
            .filter(takes_part)
            .take(PLUCKS)
            .collect();
        if heard || strings.len() < PLUCKS {
            return Self::default();
        }
        Self {
            strings,
            ..Self::default()
        }
    }

    /// Another sound begins, whose times start over.
    pub const fn begin_sound(&mut self) {
        self.newest = None;
    }

    /// The string that is to be plucked, and its place among those that are asked for, from 1; `None` when it is over.
    pub fn asks(&self) -> Option<(StringNumber, usize)> {
        let next = self.strings.get(self.plucks.len())?;
        Some((*next, self.plucks.len() + 1))
    }

    /// What is to be looked at before any pin is turned.
    pub fn doubt(&self) -> Option<&Doubt> {
        self.doubts.first()
    }

    /// How far the harp as a whole stands above its targets, once the check was made.
    pub const fn mean(&self) -> Option<Cents> {
        self.mean
    }

    /// The string that was asked for, if what was plucked at `onset_s` and sounds like `hz` may be that one.
    ///
    /// A pluck that was taken for a string stays with it while it rings on.
    pub fn takes(&self, harp: &Harp, tuning: &Tuning, onset_s: f64, hz: Hz) -> Option<StringNumber> {
        if let Some((_, string)) = self.newest.filter(|(onset, _)| *onset == onset_s) {
            return Some(string);
        }
        let (asked, _) = self.asks()?;
        let above = hz.cents_above(tuning.open_target(harp.string(asked)?)).0 - self.offset(harp, tuning).0;
        let near = |step: &f64| Cents(above - step).is_within(BESIDE);
        STEPS.iter().any(near).then_some(asked)
    }

    /// How far the strings so far stand above their targets, whole semitones aside: the one in their middle.
    fn offset(&self, harp: &Harp, tuning: &Tuning) -> Cents {
        let mut beside: Vec<f64> = self
            .plucks
            .iter()
            .filter_map(|plucked| {
                let above = plucked
                    .hz
                    .cents_above(tuning.open_target(harp.string(plucked.string)?))
                    .0;
                Some(above - 100.0 * (above / 100.0).round())
            })
            .collect();
        beside.sort_by(f64::total_cmp);
        Cents(beside.get(beside.len() / 2).copied().unwrap_or_default())
    }

    /// Takes in a settled pluck of what was taken for `string`; each pluck counts once.
    pub fn hear(&mut self, harp: &Harp, tuning: &Tuning, onset_s: f64, string: StringNumber, hz: Hz) {
        if self.newest.is_some_and(|(onset, _)| onset == onset_s) {
            return;
        }
        self.newest = Some((onset_s, string));
        self.count(harp, tuning, string, hz);
    }

    fn count(&mut self, harp: &Harp, tuning: &Tuning, string: StringNumber, hz: Hz) {
        match self.asks() {
            Some((asked, _)) if asked == string => {
                self.plucks.push(Plucked { string, hz });
                self.passed_over = 0;
                if self.asks().is_none() {
                    self.weigh(harp, tuning);
                }
            }
            Some(_) => {
                self.passed_over += 1;
                if self.passed_over >= PASSED_OVER_MAX {
                    *self = Self::default();
                }
            }
            None => self.looked_at(harp, tuning, string, hz),
        }
    }

    /// The harpist has looked at what is doubted of `string`, and wants to go on.
    pub fn overrule(&mut self, string: StringNumber) {
        if let Some(at) = self.doubts.iter().position(|doubt| doubt.string == string) {
            self.doubts.remove(at);
        }
    }

    /// The harpist wants to tune without a check.
    pub fn leave_out(&mut self) {
        *self = Self::default();
    }

    fn weigh(&mut self, harp: &Harp, tuning: &Tuning) {
        let opening = observe(harp, tuning, &self.plucks);
        if self.strings.len() == PLUCKS
            && let Some(more) = one_more(harp, &opening)
            && !self.strings.contains(&more)
        {
            self.strings.push(more);
            return;
        }
        self.times += 1;
        self.take(harp, opening);
    }

    fn take(&mut self, harp: &Harp, opening: Opening) {
        self.mean = Some(opening.mean);
        let first = self.strings.first().copied();
        self.doubts = opening
            .observations
            .into_iter()
            .filter_map(|observation| {
                let string = match &observation.what {
                    What::Pedal { letter, .. } => self.string_of(harp, *letter),
                    What::Lever(string) | What::Elsewhere(string) => Some(*string),
                    What::AllPedals | What::OpenTuning { .. } | What::AnotherHarp | What::FarBelow => first,
                }?;
                Some(Doubt { string, observation })
            })
            .collect();
        if let Some(string) = first.filter(|_| opening.mean.0 <= FAR_BELOW.0) {
            let observation = Observation {
                what: What::FarBelow,
                probability: 1.0,
                above: opening.mean,
            };
            self.doubts.push(Doubt { string, observation });
        }
    }

    /// A string that is plucked again was looked at; what is about the whole harp is checked anew.
    fn looked_at(&mut self, harp: &Harp, tuning: &Tuning, string: StringNumber, hz: Hz) {
        let whole_harp = |doubt: &Doubt| {
            matches!(
                doubt.observation.what,
                What::AllPedals | What::OpenTuning { .. } | What::AnotherHarp | What::FarBelow
            )
        };
        if self
            .doubt()
            .is_some_and(|doubt| doubt.observation.what == What::FarBelow)
        {
            self.doubts.remove(0);
            return;
        }
        if self.doubt().is_some_and(whole_harp) {
            self.doubts.clear();
            if self.times < TIMES_MAX {
                self.strings.truncate(PLUCKS);
                self.plucks.clear();
                self.count(harp, tuning, string, hz);
            }
            return;
        }
        self.doubts.retain(|doubt| doubt.string != string);
    }

    fn string_of(&self, harp: &Harp, letter: Letter) -> Option<StringNumber> {
        let of_letter =
            |number: &&StringNumber| harp.string(**number).is_some_and(|string| string.open.letter == letter);
        self.strings.iter().find(of_letter).copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_proto::harp_file::preset;
    use consort_proto::{Reading, StringStory, Tolerance};

    struct Desk {
        harp: Harp,
        tuning: Tuning,
        check: Check,
        /// When the next pluck comes, seconds.
        now_s: f64,
    }

    impl Desk {
        fn new(preset_name: &str) -> Self {
            let harp = preset(preset_name).expect("a preset");
            let tuning = Tuning::default();
            let stories = vec![StringStory::default(); harp.len()];
            let readiness = Readiness::judge(&harp, &stories, &tuning, &Tolerance::default());
            let check = Check::begin(&harp, &readiness);
            Self {
                harp,
                tuning,
                check,
                now_s: 0.0,
            }
        }

        /// Plucks what is asked for, so many cents above its open target.
        fn pluck(&mut self, above: f64) {
            let (asked, _) = self.check.asks().expect("a string is asked for");
            let (hz, at_s) = (self.hz(asked, above), self.now_s);
            let taken = self.check.takes(&self.harp, &self.tuning, at_s, hz);
            assert_eq!(taken, Some(asked), "{above} cents");
            self.hear(asked, above);
            let rings_on = self.check.takes(&self.harp, &self.tuning, at_s, hz);
            assert_eq!(rings_on, Some(asked), "it is no other string's pluck");
        }

        fn hear(&mut self, string: StringNumber, above: f64) {
            let hz = self.hz(string, above);
            self.check.hear(&self.harp, &self.tuning, self.now_s, string, hz);
            self.check.hear(&self.harp, &self.tuning, self.now_s, string, hz);
            self.now_s += 2.0;
        }

        fn hz(&self, string: StringNumber, above: f64) -> Hz {
            let target = self.tuning.open_target(self.harp.string(string).expect("a string"));
            target.raised_by(Cents(above))
        }

        fn doubt(&self) -> Option<What> {
            self.check.doubt().map(|doubt| doubt.observation.what.clone())
        }
    }

    #[test]
    fn seven_plucks_from_middle_c_down_are_asked_for_and_nothing_more_of_a_sound_harp() {
        let mut desk = Desk::new("pedal-47");
        let mut asked = Vec::new();
        while let Some((string, place)) = desk.check.asks() {
            let name = desk.harp.string(string).expect("a string").open.harp_name();
            asked.push(format!("{place} {name}"));
            desk.pluck(-6.0);
        }
        assert_eq!(asked, ["1 4C", "2 4B", "3 4A", "4 4G", "5 4F", "6 5E", "7 5D"]);
        assert_eq!(desk.doubt(), None);
        assert!((desk.check.mean().expect("a mean").0 + 6.0).abs() < 0.5);
    }

    #[test]
    fn a_pedal_is_shown_by_its_string_until_that_is_plucked_again() {
        let mut desk = Desk::new("pedal-47");
        for above in [0.0, 101.0, 2.0, -1.0, 0.0, 203.0, 1.0] {
            desk.pluck(above);
        }
        let pedal = |letter, semitones| Some(What::Pedal { letter, semitones });
        let first = desk.check.doubt().expect("a doubt").string;
        let both = [pedal(Letter::B, 1), pedal(Letter::E, 2)];
        assert!(both.contains(&desk.doubt()));
        desk.hear(first, 0.0);
        assert!(both.contains(&desk.doubt()), "the other one is left");
        let second = desk.check.doubt().expect("a doubt").string;
        assert_ne!(first, second);
        desk.check.overrule(first);
        assert!(
            both.contains(&desk.doubt()),
            "a key pressed twice says nothing of the next doubt"
        );
        desk.check.overrule(second);
        assert_eq!(desk.doubt(), None);
    }

    #[test]
    fn one_string_of_a_lever_harp_asks_for_its_octave_before_its_lever_is_doubted() {
        let mut desk = Desk::new("lever-34");
        for above in [0.0, 1.0, 101.0, -1.0, 0.0, 2.0, 1.0] {
            desk.pluck(above);
        }
        assert_eq!(desk.doubt(), None);
        let (octave, _) = desk.check.asks().expect("one more");
        assert_eq!(desk.harp.string(octave).expect("a string").open.letter, Letter::A);
        desk.pluck(0.0);
        assert!(matches!(desk.doubt(), Some(What::Lever(_))));
    }

    #[test]
    fn pedals_in_natural_are_checked_anew_once_they_were_moved() {
        let mut desk = Desk::new("pedal-47");
        (0..PLUCKS).for_each(|_| desk.pluck(98.0));
        assert_eq!(desk.doubt(), Some(What::AllPedals));
        let first = desk.check.doubt().expect("a doubt").string;
        desk.hear(first, -2.0);
        assert_eq!(desk.check.asks().map(|(_, place)| place), Some(2));
        (1..PLUCKS).for_each(|_| desk.pluck(-2.0));
        assert_eq!((desk.doubt(), desk.check.asks()), (None, None));
    }

    #[test]
    fn what_lies_between_all_that_the_string_asked_for_may_be_is_another_string() {
        let mut desk = Desk::new("pedal-47");
        desk.pluck(-30.0);
        let (asked, _) = desk.check.asks().expect("a string");
        for (above, taken) in [
            (-35.0, true),
            (70.0, true),
            (170.0, true),
            (-130.0, true),
            (20.0, false),
            (120.0, false),
            (260.0, false),
        ] {
            let hz = desk.hz(asked, above);
            let takes = desk.check.takes(&desk.harp, &desk.tuning, desk.now_s, hz);
            assert_eq!(takes.is_some(), taken, "{above} cents");
        }
    }

    #[test]
    fn who_plays_something_else_is_not_held_up() {
        let mut desk = Desk::new("pedal-47");
        desk.pluck(0.0);
        let top = StringNumber::new(1).expect("a string");
        for _ in 0..PASSED_OVER_MAX {
            assert!(desk.check.asks().is_some());
            desk.hear(top, 0.0);
        }
        assert_eq!(desk.check.asks(), None);
    }

    #[test]
    fn a_harp_that_was_heard_in_this_round_is_not_checked_again() {
        let harp = preset("pedal-47").expect("a preset");
        let tuning = Tuning::default();
        let mut stories = vec![StringStory::default(); harp.len()];
        let number = StringNumber::new(3).expect("a string");
        let hz = tuning.open_target(harp.string(number).expect("a string"));
        stories[2].hear(Reading::new(number, hz, Cents(0.1)).expect("a reading"));
        let readiness = Readiness::judge(&harp, &stories, &tuning, &Tolerance::default());
        assert_eq!(Check::begin(&harp, &readiness).asks(), None);
    }
}
