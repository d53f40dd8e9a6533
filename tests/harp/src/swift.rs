//! A harpist without sound: the same harp, hand and pace as a [`crate::Harpist`]'s, but her readings are the truth with a
//! little noise, so that an ensemble tunes in milliseconds.
//!
//! What a station advises is left to the rules that every station follows: a harp that is off as a whole is brought near in
//! a quick pass first; then turn until a pluck lies within the tolerance, pluck once more, go on; and at the end play every
//! string once more. Once a start is called for, what is heard most comes first.

use std::ops::Range;

use consort_proto::{
    Cents, Harp, Hz, Readiness, Reading, Standing, StringNumber, StringStory, Tolerance, Tuning, order,
};

use crate::chance::Chance;
use crate::hand::{Hand, Pace};
use crate::harp::VirtualHarp;

/// What was read of one pluck.
#[derive(Clone, Copy, Debug)]
pub struct Heard {
    /// When the reading stood, seconds from the beginning.
    pub time_s: f64,
    /// The reading.
    pub reading: Reading,
}

/// A harpist who tunes her harp without a sound.
#[derive(Debug)]
pub struct Swift {
    harp: VirtualHarp,
    pace: Pace,
    hand: Hand,
    chance: Chance,
    feel: Vec<f64>,
    /// How much slower than her pace she is today, as a factor of all times.
    slower: f64,
    /// How often she breaks off between two strings, to talk or to look for something.
    breaks: f64,
    /// When a start was called for, and when it is, seconds from the beginning.
    called_s: Option<Range<f64>>,
    tuning: Tuning,
    tolerance: Tolerance,
    stories: Vec<StringStory>,
    now_s: f64,
    heard: Vec<Heard>,
}

/// A pluck is read this long after it, seconds, besides her reaction: a settled reading takes as long.
const SETTLES_S: f64 = 1.0;
/// A finger lies on the string this long before it plucks, seconds.
const PLACING_S: f64 = 0.1;
/// The readings' noise, cents, one standard deviation: measured of stations on recordings.
const NOISE_CENTS: f64 = 0.25;
/// Plucks of one string in one visit, and visits of one string, before she gives it up.
const PLUCKS_MAX: usize = 30;
const VISITS_MAX: usize = 8;
/// Between two strings of the last check, seconds.
const CHECK_S: f64 = 0.9;
/// How long she breaks off, seconds, least and most: assumed.
const BREAK_S: (f64, f64) = (10.0, 75.0);

impl Pace {
    /// Between a professional (0) and a student (1): each figure moves evenly in its logarithm.
    pub fn between(skill: f64) -> Self {
        let mix = |a: f64, b: f64| a * (b / a).powf(skill);
        let (a, b) = (Self::PROFESSIONAL, Self::STUDENT);
        Self {
            reaction_s: mix(a.reaction_s, b.reaction_s),
            move_s: mix(a.move_s, b.move_s),
            move_pin_s: mix(a.move_pin_s, b.move_pin_s),
            finest_degrees: mix(a.finest_degrees, b.finest_degrees),
            overshoot: mix(a.overshoot, b.overshoot),
            feel: mix(a.feel, b.feel),
            degrees_per_s: mix(a.degrees_per_s, b.degrees_per_s),
            furthest_degrees: mix(a.furthest_degrees, b.furthest_degrees),
            wrong_pin: mix(a.wrong_pin, b.wrong_pin),
            noodles: mix(a.noodles, b.noodles),
            follows: mix(a.follows, b.follows),
            notices: mix(a.notices, b.notices),
        }
    }
}

impl Swift {
    /// A harpist of `pace` at `harp`; `slower` stretches all her times, `breaks` is how often she breaks off between two
    /// strings, and `seed` decides what is left to chance.
    pub fn new(harp: VirtualHarp, pace: Pace, slower: f64, breaks: f64, seed: u64) -> Self {
        let mut chance = Chance::new(seed ^ 0x0053_5749_4654);
        let count = harp.harp().len();
        Self {
            hand: Hand::new(pace, count, chance.apart()),
            feel: (0..count).map(|_| (pace.feel * chance.spread()).exp()).collect(),
            stories: vec![StringStory::default(); count],
            tuning: Tuning::default(),
            tolerance: Tolerance::default(),
            now_s: 0.0,
            heard: Vec::new(),
            called_s: None,
            harp,
            pace,
            chance,
            slower,
            breaks,
        }
    }

    /// The same, but at the beginning of the range a start is called for, and at its end the tuning is over: seconds from
    /// the beginning. Until then everything is as it would have been.
    #[must_use]
    pub fn called_for(mut self, called_s: Range<f64>) -> Self {
        self.called_s = Some(called_s);
        self
    }

    /// The harp.
    pub fn harp(&self) -> &Harp {
        self.harp.harp()
    }

    /// Tunes everything, checks it once, and sets what has moved; all readings in their order.
    pub fn tune(mut self) -> Vec<Heard> {
        let all = order::usual_order(self.harp.harp());
        let mean = all.iter().map(|&string| self.now_cents(string)).sum::<f64>() / all.len() as f64;
        if !Cents(mean).is_within(order::QUICK_FROM) {
            self.go_through(&all, order::QUICK_WITHIN.0);
        }
        self.go_through(&all, 0.0);
        self.see_to_what_is_left(&all);
        for &string in &all {
            if self.is_called() {
                break;
            }
            self.passes(CHECK_S);
            self.pluck(string);
        }
        self.see_to_what_is_left(&all);
        self.see_to_what_is_heard_most(&all);
        self.heard
    }

    /// One string after the other, each until it holds or is heard so near, cents.
    fn go_through(&mut self, strings: &[StringNumber], near_cents: f64) {
        for &string in strings {
            if self.is_called() {
                return;
            }
            self.visit(string, near_cents);
            self.idles();
        }
    }

    /// What keeps her between two strings.
    fn idles(&mut self) {
        if self.chance.is(self.pace.noodles) {
            self.passes(1.5);
        }
        if self.chance.is(self.breaks) {
            let (least, most) = BREAK_S;
            let s = self.chance.between(least, most);
            self.passes(s / self.slower);
        }
    }

    /// Goes back to what is neither set nor set aside, until nothing is or it is of no use.
    fn see_to_what_is_left(&mut self, all: &[StringNumber]) {
        for _ in 0..VISITS_MAX {
            let left: Vec<StringNumber> = all.iter().copied().filter(|string| self.is_left(*string)).collect();
            for &string in &left {
                if self.is_called() {
                    return;
                }
                self.visit(string, 0.0);
            }
            if left.is_empty() {
                return;
            }
        }
    }

    /// From the call until the start: the most audible fault first.
    fn see_to_what_is_heard_most(&mut self, all: &[StringNumber]) {
        let Some(Range { end, .. }) = self.called_s else { return };
        while self.now_s < end {
            let first = order::most_audible_first(self.harp.harp(), all, &self.readiness());
            let Some(string) = first.into_iter().find(|string| self.is_left(*string)) else {
                return;
            };
            self.visit(string, 0.0);
            self.idles();
        }
    }

    /// Whether a start has been called for.
    fn is_called(&self) -> bool {
        self.called_s.as_ref().is_some_and(|called| self.now_s >= called.start)
    }

    fn is_left(&self, string: StringNumber) -> bool {
        !self.standing(string).lets_the_harp_be_ready()
    }

    fn visit(&mut self, string: StringNumber, near_cents: f64) {
        let took = self.hand.go_to(string);
        self.passes(took);
        let mut unanswered = 0;
        for _ in 0..PLUCKS_MAX {
            let before = self.now_cents(string);
            self.passes(PLACING_S);
            let cents = self.pluck(string);
            self.passes(SETTLES_S + self.pace.reaction_s);
            if cents.abs() <= near_cents {
                return;
            }
            match self.standing(string) {
                standing if standing.lets_the_harp_be_ready() => return,
                Standing::SetOnce(_) => continue,
                _ => {}
            }
            let size = if cents.abs() > 15.0 { 0.9 * cents } else { cents };
            let per_degree = self.harp.cents_per_degree(string) * self.feel[string.index()];
            let degrees = self.hand.turn(-size / per_degree);
            let took = self.hand.takes_s(degrees);
            self.passes(took);
            let pin = self.hand.pin().unwrap_or(string);
            self.harp.turn(pin, degrees);
            if (self.now_cents(string) - before).abs() < 0.3 * cents.abs() {
                unanswered += 1;
                if unanswered > 2 || self.chance.is(self.pace.notices) {
                    let took = self.hand.look_and_go_to(string);
                    self.passes(took);
                }
            }
        }
    }

    fn pluck(&mut self, string: StringNumber) -> f64 {
        let cents = self.now_cents(string) + NOISE_CENTS * self.chance.spread();
        let target = self.tuning.open_target(&self.harp.harp().strings()[string.index()]);
        let hz = Hz::new(target.get() * (cents / 1200.0).exp2()).expect("a string has a pitch");
        let reading = Reading::new(string, hz, Cents(NOISE_CENTS)).expect("a string of a harp can be read");
        self.stories[string.index()].hear(reading);
        self.heard.push(Heard {
            time_s: self.now_s + SETTLES_S,
            reading,
        });
        cents
    }

    fn now_cents(&self, string: StringNumber) -> f64 {
        let open = &self.harp.harp().strings()[string.index()];
        let note = Tuning::default().frequency(open.open);
        self.harp.stands_cents(string) + note.cents_above(self.tuning.open_target(open)).0
    }

    fn standing(&self, string: StringNumber) -> Standing {
        self.readiness().of(string).unwrap_or(Standing::Missing)
    }

    fn readiness(&self) -> Readiness {
        Readiness::judge(self.harp.harp(), &self.stories, &self.tuning, &self.tolerance)
    }

    fn passes(&mut self, seconds: f64) {
        let seconds = seconds * self.slower;
        self.now_s += seconds;
        self.harp.rest(seconds);
    }
}
