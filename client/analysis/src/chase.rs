//! Chases a string that is turned so far that its partials leave the bands in which they are followed.
//!
//! Wherever a string passes, others of the harp answer it and stay behind, louder in some partials than it is by then. So no
//! partial decides alone: where the string may be by now, and how fast it may turn, every partial says how much of what
//! sounds around it such a string would explain, and the place is taken that explains most of most partials (`chase/odds.rs`).
//!
//! What half-way between the partials is left of sound that was brought down as they were (`chase/blocks.rs`) is noise.

mod blocks;
mod odds;
#[cfg(test)]
mod tests;

use consort_transform::Complex;

use self::blocks::{BLOCKS_MIN, Blocks, LONG, Sound, hann};
use self::odds::{Odds, PARTIALS, Place};
use crate::character::partial_ratio;
use crate::fit::CENT;
use crate::history::History;
use crate::trend::{Trend, Way};

/// Partials are looked at below this share of the rate.
const CEILING: f64 = 0.4;
/// The sound that is looked at is so many periods long, within these bounds, seconds.
const PERIODS: f64 = 9.0;
const LOOK_S: (f64, f64) = (0.12, 0.5);
/// So many spots half-way between partials are looked at, the lowest ones.
const SPOTS: usize = 10;
/// Noise under a sine's first half wave is this much of it under Hann's window, by the widths of their bands.
const OF_A_SINE: f64 = 1.23 / 1.50;
/// Places up to so many steps either way of the expected one, and speeds, are held against the sound: cents, cents in a second.
const PLACES: i32 = 16;
const PLACE_STEP: f64 = 2.5;
const SPEEDS: i32 = 3;
const SPEED_STEP: f64 = 35.0;
/// The way is known no better than this, however steadily it went so far, cents and cents in a second.
const PLACE_LEAST: f64 = 5.0;
const SPEED_LEAST: f64 = 50.0;
/// What all partials have to say together to be believed, nats: a high string that fades has one left, which may say eight.
const BELIEVED: f64 = 3.0;
/// After so many looks in which nothing was found the string is lost.
const LOST: u32 = 8;

/// Where the string that is chased is.
#[derive(Clone, Copy, Debug, Default)]
enum State {
    /// It is where it was found.
    #[default]
    Home,
    /// It was here last.
    At(f64),
    /// It was not found any more: nothing is told until it is plucked again.
    Lost,
}

/// Where a string was chased to, from which it may be chased on.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Trail {
    state: State,
    stiffness: f64,
    plucked_hz: f64,
}

/// The string that is chased, if one is.
#[derive(Debug)]
pub(crate) struct Chase {
    state: State,
    stiffness: f64,
    /// Where it was plucked, and others may have answered it.
    plucked_hz: f64,
    missed: u32,
    blocks: Blocks,
    odds: Odds,
}

/// Where the string was in the middle of a look.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Found {
    pub(crate) hz: f64,
    /// Standard deviation, cents.
    pub(crate) sigma_cents: f64,
    /// How many times its partials together have the power of noise on as many spots.
    pub(crate) clear: f64,
    pub(crate) stiffness: f64,
}

impl Chase {
    /// Looks at sound of `rate` samples in a second.
    pub(crate) fn new(rate: f64) -> Self {
        Self {
            state: State::Home,
            stiffness: 0.0,
            plucked_hz: 0.0,
            missed: 0,
            blocks: Blocks::new(PARTIALS + SPOTS, (LOOK_S.1 * rate) as usize + 1),
            odds: Odds::new(),
        }
    }

    /// How much sound is looked at where the string is expected at `hz`, seconds.
    fn look_s(hz: f64) -> f64 {
        (PERIODS / hz).clamp(LOOK_S.0, LOOK_S.1)
    }

    /// Nothing is chased.
    pub(crate) const fn end(&mut self) {
        self.state = State::Home;
        self.missed = 0;
    }

    /// The string that was plucked at `plucked_hz`, and is so stiff, is at `hz`, and chased from here; one that is too low to be
    /// seen in a look is not.
    pub(crate) const fn begin(&mut self, plucked_hz: f64, hz: f64, stiffness: f64) {
        self.end();
        if LOOK_S.1 * hz >= (BLOCKS_MIN + LONG) as f64 {
            self.state = State::At(hz);
            self.stiffness = stiffness;
            self.plucked_hz = plucked_hz;
        }
    }

    /// The string was plucked anew at `plucked_hz`, near where it is chased, and is chased on.
    pub(crate) const fn go_on(&mut self, plucked_hz: f64) {
        self.plucked_hz = plucked_hz;
        self.missed = 0;
    }

    /// Where it is chased.
    pub(crate) const fn trail(&self) -> Trail {
        Trail {
            state: self.state,
            stiffness: self.stiffness,
            plucked_hz: self.plucked_hz,
        }
    }

    /// It is chased on from there.
    pub(crate) const fn return_to(&mut self, trail: Trail) {
        self.state = trail.state;
        self.stiffness = trail.stiffness;
        self.plucked_hz = trail.plucked_hz;
        self.missed = 0;
    }

    /// In how many looks in a row it was not found.
    pub(crate) const fn missed(&self) -> u32 {
        self.missed
    }

    /// Whether the string is where it was found, as far as this knows.
    pub(crate) const fn is_home(&self) -> bool {
        matches!(self.state, State::Home)
    }

    /// Where it was last.
    pub(crate) const fn at(&self) -> Option<f64> {
        match self.state {
            State::At(hz) => Some(hz),
            State::Home | State::Lost => None,
        }
    }

    /// Looks at the newest sound of `history`, `rate` samples in a second, for a string that goes on as `trend` says: when the
    /// middle of that was, seconds, and where the string was then, if it was found. `None` where nothing is chased, or too
    /// little has sounded. Never allocates.
    pub(crate) fn look_newest(&mut self, history: &History, rate: f64, trend: &Trend) -> Option<(f64, Option<Found>)> {
        let at = self.at()?;
        let seconds = Self::look_s(at);
        let len = (seconds * rate) as usize;
        let now = history.count();
        let sound = history.slice(now.checked_sub(len as u64)?, len)?;
        let middle_s = now as f64 / rate - 0.5 * seconds;
        let way = trend.way(middle_s).unwrap_or(Way::from_rest(at));
        Some((middle_s, self.look(sound, rate, way)))
    }

    /// Where the string was in the middle of `samples`, [`Self::look_s`] long, if it took about the `way` that was expected;
    /// `rate` in samples a second.
    fn look(&mut self, samples: &[f32], rate: f64, way: Way) -> Option<Found> {
        self.at()?;
        let found = self.find(Sound { samples, rate, way });
        match found {
            Some(found) => (self.state, self.missed) = (State::At(found.hz), 0),
            None => {
                self.missed += 1;
                if self.missed >= LOST {
                    self.state = State::Lost;
                }
            }
        }
        found
    }

    fn find(&mut self, sound: Sound<'_>) -> Option<Found> {
        let way = sound.way;
        self.blocks.begin(sound)?;
        let mut hertz = [0.0; PARTIALS];
        let mut count = 0;
        for (n, hz) in (1..).zip(&mut hertz) {
            let ratio = partial_ratio(n, self.stiffness);
            *hz = way.hz * ratio;
            if *hz > CEILING * sound.rate {
                break;
            }
            self.blocks.add(sound, ratio);
            count += 1;
        }
        if count == 0 {
            return None;
        }
        let noise = self.noise(sound, count);
        let in_a_block = noise / OF_A_SINE * self.blocks.in_a_look();
        let plucked_off = (self.plucked_hz / way.hz).ln() / CENT;
        self.odds
            .take(&self.blocks, &hertz[..count], way.speed, plucked_off, in_a_block);
        if self.odds.is_stopped() {
            return None;
        }
        let place = self.likeliest(way);
        let aside = |off| Place {
            off: place.off + off,
            ..place
        };
        let here = self.odds.of(place);
        let (below, above) = (self.odds.of(aside(-PLACE_STEP)), self.odds.of(aside(PLACE_STEP)));
        let bend = (2.0 * here - below - above) / (PLACE_STEP * PLACE_STEP);
        if here < BELIEVED || bend <= 0.0 {
            return None;
        }
        let nearer = (0.5 * (above - below) / PLACE_STEP / bend).clamp(-PLACE_STEP, PLACE_STEP);
        Some(Found {
            hz: way.hz * ((place.off + nearer) * CENT).exp(),
            sigma_cents: (1.0 / bend).sqrt(),
            clear: self.odds.power(place) / (count as f64 * noise).max(f64::MIN_POSITIVE),
            stiffness: self.stiffness,
        })
    }

    /// The place and speed that the sound and the way say together.
    fn likeliest(&self, way: Way) -> Place {
        let (place_sd, speed_sd) = (way.place_sd.hypot(PLACE_LEAST), way.speed_sd.hypot(SPEED_LEAST));
        let mut most = f64::NEG_INFINITY;
        let mut likeliest = Place { off: 0.0, by: 0.0 };
        for speed in -SPEEDS..=SPEEDS {
            for off in -PLACES..=PLACES {
                let place = Place {
                    off: PLACE_STEP * f64::from(off),
                    by: SPEED_STEP * f64::from(speed),
                };
                let expected = -0.5 * ((place.off / place_sd).powi(2) + (place.by / speed_sd).powi(2));
                let odds = self.odds.of(place) + expected;
                if odds > most {
                    (most, likeliest) = (odds, place);
                }
            }
        }
        likeliest
    }

    /// Mean square of the noise that a look lets through at a partial: the middle one of what it lets through half-way between
    /// partials, whose first `count` are among the blocks.
    fn noise(&mut self, sound: Sound<'_>, count: usize) -> f64 {
        let mut powers = [0.0; SPOTS];
        let mut spots = 0;
        let weights = hann(self.blocks.of(0).len());
        for (at, power) in powers.iter_mut().enumerate().take(count) {
            self.blocks.add(sound, at as f64 + 0.5);
            let own = self.blocks.of(count + at);
            let sum: Complex<f64> = own.iter().zip(weights).map(|(z, weight)| z * weight).sum();
            *power = sum.norm_sqr();
            spots += 1;
        }
        powers[..spots].sort_unstable_by(f64::total_cmp);
        // The powers of noise are spread exponentially, of which half lie below ln 2 of the mean.
        powers[spots / 2] / std::f64::consts::LN_2 * OF_A_SINE
    }
}
