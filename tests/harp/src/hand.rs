//! A human hand on a tuning key: how far it turns, how finely, and how often it is on the wrong pin.

use consort_proto::StringNumber;

use crate::chance::Chance;

/// How a harpist works; all figures assumed.
///
/// A professional tunes a harp in about ten minutes (an orchestra's page on the harp), a new player in half an hour to an
/// hour (common practice).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pace {
    /// From seeing a word to acting on it, seconds.
    pub reaction_s: f64,
    /// Moving the key to the next pin, seconds, and a further one for each pin more.
    pub move_s: f64,
    /// A further one for each pin more, seconds, up to ten.
    pub move_pin_s: f64,
    /// The finest turn that the hand makes on purpose, degrees.
    pub finest_degrees: f64,
    /// How far a turn goes beside what was meant, as a share of it, one standard deviation.
    pub overshoot: f64,
    /// How well she knows how far a degree goes on each string: a factor, one standard deviation of its logarithm.
    pub feel: f64,
    /// How fast the key turns, degrees in a second.
    pub degrees_per_s: f64,
    /// The furthest turn without letting go of the key, degrees.
    pub furthest_degrees: f64,
    /// How often the key is put on a neighbouring pin.
    pub wrong_pin: f64,
    /// How often she plays a few notes between two strings.
    pub noodles: f64,
    /// How often she goes on following the sound after a turn; else she plucks anew.
    pub follows: f64,
    /// How often she notices that the sounding string does not answer the key.
    pub notices: f64,
}

impl Pace {
    /// Somebody who does this three times a day.
    pub const PROFESSIONAL: Self = Self {
        reaction_s: 0.3,
        move_s: 1.0,
        move_pin_s: 0.15,
        finest_degrees: 0.15,
        overshoot: 0.12,
        feel: 0.12,
        degrees_per_s: 40.0,
        furthest_degrees: 30.0,
        wrong_pin: 0.01,
        noodles: 0.04,
        follows: 0.5,
        notices: 0.95,
    };
    /// Somebody who has had a harp for a year.
    pub const STUDENT: Self = Self {
        reaction_s: 0.7,
        move_s: 2.5,
        move_pin_s: 0.4,
        finest_degrees: 0.35,
        overshoot: 0.25,
        feel: 0.35,
        degrees_per_s: 20.0,
        furthest_degrees: 20.0,
        wrong_pin: 0.04,
        noodles: 0.1,
        follows: 0.3,
        notices: 0.6,
    };
}

/// The hand that holds the key.
#[derive(Clone, Debug)]
pub struct Hand {
    pace: Pace,
    chance: Chance,
    /// The pin that the key is on.
    pin: Option<StringNumber>,
    strings: usize,
}

impl Hand {
    /// A hand on a harp of `strings` strings.
    pub fn new(pace: Pace, strings: usize, chance: Chance) -> Self {
        Self {
            pace,
            chance,
            pin: None,
            strings,
        }
    }

    /// The pin that the key is on; `None` before it is on any.
    pub const fn pin(&self) -> Option<StringNumber> {
        self.pin
    }

    /// Puts the key on the pin of `string`, or now and then on the one beside it; how long that takes, seconds.
    pub fn go_to(&mut self, string: StringNumber) -> f64 {
        let way = self.pin.map_or(10, |pin| pin.get().abs_diff(string.get()));
        let took = self.pace.move_s + self.pace.move_pin_s * f64::from(way.clamp(1, 10) - 1);
        self.pin = Some(if self.chance.is(self.pace.wrong_pin) {
            self.neighbour(string)
        } else {
            string
        });
        took * self.chance.between(0.8, 1.3)
    }

    /// Looks at the pins and puts the key on that of `string` for sure; how long that takes, seconds.
    pub fn look_and_go_to(&mut self, string: StringNumber) -> f64 {
        self.pin = Some(string);
        2.0 * self.pace.move_s
    }

    /// What a turn meant to be of `degrees` comes out as: never finer than the hand is, never further than it reaches.
    pub fn turn(&mut self, degrees: f64) -> f64 {
        let meant = degrees.clamp(-self.pace.furthest_degrees, self.pace.furthest_degrees);
        let steps = (meant / self.pace.finest_degrees).round();
        let at_least_one = if steps == 0.0 { meant.signum() } else { steps };
        let meant = at_least_one * self.pace.finest_degrees;
        let slip = 0.4 * self.pace.finest_degrees * self.chance.spread();
        let done = meant * (1.0 + self.pace.overshoot * self.chance.spread()) + slip;
        // A hand that pulls does not push.
        let done = if done * meant < 0.0 { 0.0 } else { done };
        done.clamp(-self.pace.furthest_degrees, self.pace.furthest_degrees)
    }

    /// How long a turn of `degrees` takes, seconds.
    pub fn takes_s(&self, degrees: f64) -> f64 {
        0.15 + degrees.abs() / self.pace.degrees_per_s
    }

    fn neighbour(&mut self, string: StringNumber) -> StringNumber {
        let number = u32::from(string.get());
        let beside = if self.chance.is(0.5) { number + 1 } else { number - 1 };
        let there = if beside == 0 || beside as usize > self.strings {
            2 * number - beside
        } else {
            beside
        };
        StringNumber::new(there)
            .ok()
            .filter(|there| there.index() < self.strings)
            .unwrap_or(string)
    }
}
