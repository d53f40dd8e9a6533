//! The check as it is played, pluck by pluck.

use super::*;
use consort_proto::harp_file::preset;
use consort_proto::{Reading, StringStory, Tolerance};
use proptest::prelude::*;

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

    /// Lets something sound that is taken for whatever the check takes it for; the ear itself knows no pedals.
    fn sound(&mut self, hz: Hz) {
        let heard = self.harp.numbered().min_by(|(_, one), (_, other)| {
            let apart = |string: &consort_proto::HarpString| hz.cents_above(self.tuning.open_target(string)).0.abs();
            apart(one).total_cmp(&apart(other))
        });
        let taken = self.check.takes(&self.harp, &self.tuning, self.now_s, hz);
        let string = taken.unwrap_or_else(|| heard.expect("a harp has strings").0);
        // What is taken for a string that is not asked for is passed over: it may be the one that is.
        let is_asked = self.check.asks().is_none_or(|(asked, _)| asked == string);
        let was_read = self.check.plucks.iter().any(|plucked| plucked.string == string);
        assert_eq!(self.check.passes_over(self.now_s, string), !is_asked && was_read);
        self.check.hear(&self.harp, &self.tuning, self.now_s, string, hz);
        self.now_s += 2.0;
    }

    /// Plucks what is asked for, so many cents above its open target; as often as it takes where it sounds like another one.
    fn pluck(&mut self, above: f64) {
        let (asked, _) = self.check.asks().expect("a string is asked for");
        for _ in 0..AGAIN_MAX {
            let hz = self.hz(asked, above);
            if self.check.takes(&self.harp, &self.tuning, self.now_s, hz) == Some(asked) {
                break;
            }
            self.sound(hz);
        }
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
fn a_harp_that_was_heard_in_this_round_is_not_checked_again_and_one_whose_check_broke_off_is() {
    let harp = preset("pedal-47").expect("a preset");
    let tuning = Tuning::default();
    let mut stories = vec![StringStory::default(); harp.len()];
    for heard in 1..=PLUCKS {
        let number = StringNumber::new(25 + heard as u32).expect("a string");
        let hz = tuning.open_target(harp.string(number).expect("a string"));
        stories[number.index()].hear(Reading::new(number, hz, Cents(0.1)).expect("a reading"));
        let readiness = Readiness::judge(&harp, &stories, &tuning, &Tolerance::default());
        let first = Check::begin(&harp, &readiness).asks().map(|(string, _)| string.get());
        assert_eq!(first, (heard < PLUCKS).then_some(26), "{heard}");
    }
}

/// A C flat is a semitone above the B flat that is asked for after it: by pitch it is a B whose pedal is in natural.
#[test]
fn a_string_that_is_plucked_again_is_no_pedal_of_the_next_one() {
    let mut desk = Desk::new("pedal-47");
    let first = desk.check.asks().expect("a string").0;
    desk.pluck(0.0);
    let asked = desk.check.asks().expect("the next string");
    for _ in 0..AGAIN_MAX {
        desk.sound(desk.hz(first, 1.0));
        assert_eq!((desk.check.asks(), desk.check.again()), (Some(asked), Some(first)));
    }
    desk.pluck(0.0);
    assert_eq!(desk.check.again(), None);
    while desk.check.asks().is_some() {
        desk.pluck(0.0);
    }
    assert_eq!(desk.doubt(), None);
}

#[test]
fn a_pedal_whose_string_sounds_just_like_the_one_before_is_found_once_it_is_plucked_often_enough() {
    let mut desk = Desk::new("pedal-47");
    desk.pluck(0.0);
    let (asked, _) = desk.check.asks().expect("a string");
    for _ in 0..AGAIN_MAX {
        desk.sound(desk.hz(asked, 100.0));
        assert_eq!(desk.check.asks().map(|(string, _)| string), Some(asked));
    }
    desk.pluck(100.0);
    while desk.check.asks().is_some() {
        desk.pluck(0.0);
    }
    let semitones = 1;
    assert_eq!(
        desk.doubt(),
        Some(What::Pedal {
            letter: Letter::B,
            semitones
        })
    );
}

#[test]
fn who_goes_on_plucking_one_string_is_not_held_up_either() {
    let mut desk = Desk::new("pedal-47");
    let first = desk.check.asks().expect("a string").0;
    desk.pluck(0.0);
    desk.pluck(0.0);
    // It is two letters from the one that is asked for, and cannot be that one.
    for _ in 0..AGAIN_MAX as u32 + PASSED_OVER_MAX {
        assert!(desk.check.asks().is_some());
        desk.hear(first, 0.0);
    }
    assert_eq!(desk.check.asks(), None);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// However far the harp and its strings are off, whoever plucks any string once or twice more than asked for is told
    /// nothing of pedals and levers that stand as they should.
    #[test]
    fn plucking_again_never_makes_a_doubt(
        preset_name in prop::sample::select(vec!["pedal-47", "pedal-40", "lever-34", "lever-22"]),
        offset in -38.0..38.0_f64,
        strings in prop::collection::vec((-9.0..9.0_f64, 0..=AGAIN_MAX, -2.0..2.0_f64), PLUCKS),
    ) {
        let mut desk = Desk::new(preset_name);
        for (beside, again, wavers) in strings {
            let (asked, _) = desk.check.asks().expect("a string is asked for");
            let above = offset + beside;
            desk.sound(desk.hz(asked, above));
            for _ in 0..again {
                desk.sound(desk.hz(asked, above + wavers));
            }
        }
        prop_assert_eq!(desk.check.asks(), None);
        let doubt = desk.doubt().filter(|what| *what != What::FarBelow);
        prop_assert_eq!(doubt, None);
    }
}
