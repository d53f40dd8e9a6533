//! Where a string may be by what its partials show: how much of each such a string would explain, and a tone that stays where
//! the string was plucked.
//!
//! What answered the string there is often louder than it is by now, and the nearer the string still is, the less its partials
//! tell the two apart. So both are fitted together: a place is better when a string there explains what the tone that stays
//! leaves over. A tone that stays costs something, lest a string that rests be taken for one, and less once the string is
//! known to be elsewhere.

use consort_transform::Complex;

use super::blocks::{BLOCKS, Blocks, sine};
use crate::fit::CENT;

/// So many partials are looked at.
pub(super) const PARTIALS: usize = 14;
/// The most of a partial that can be explained: a little always stays, so that one partial cannot decide for all.
const EXPLAINED: f64 = 0.97;
/// So many looks beside one another a look is worth, when explained shares become odds.
const WORTH: f64 = 2.5;
/// A partial with less than this many times the power of what sounds beside it says nothing, and the others the less, the less
/// they stand clear: of so many times what is beside them nothing can be explained.
const CLEAR: f64 = 4.0;
const UNCLEAR: f64 = 6.0;
/// So much of the strongest partial's power leaks into the others while the string moves: 65 dB less.
const LEAKS: f64 = 3e-7;
/// What a tone that stays costs, as a share of its power, while the string is expected within so many cents of it, and beyond.
const STAYS_COSTS: (f64, f64) = (0.3, 0.003);
const STAYS_WITHIN: f64 = 30.0;
/// Sound whose second half has less than this share of its power was stopped: 13 dB within half a look.
const STOPPED: f64 = 0.05;

/// A string that would lie so many cents from where it is expected, and turn faster by so many cents in a second.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub(super) off: f64,
    pub(super) by: f64,
}

/// One partial.
#[derive(Clone, Copy, Debug, Default)]
struct Partial {
    /// Mean square of its blocks, and as much of it as lies beside them.
    power: f64,
    beside: f64,
    /// How fast it turns, radians in a second, for each cent that it lies aside.
    turns: f64,
    /// What the tone that stays is in it, and how much it explains.
    stays: Complex<f64>,
    explained: f64,
}

/// What the blocks of all partials say.
#[derive(Debug)]
pub(super) struct Odds {
    partials: [Partial; PARTIALS],
    count: usize,
    /// Blocks of a partial, and seconds between them.
    blocks: usize,
    apart_s: f64,
    /// What a tone that stays costs.
    costs: f64,
    /// The share of the power that the second half of the sound has.
    late: f64,
    /// The blocks of one partial after the other, and the tone that stays, each block by its weight.
    shown: Vec<Complex<f64>>,
    stays: Vec<Complex<f64>>,
}

/// A tone brought down, block by block: conjugate turns.
struct Turns {
    z: Complex<f64>,
    step: Complex<f64>,
    grow: Complex<f64>,
}

impl Turns {
    /// Of a partial that turns so fast for a cent, at this place, over so many blocks.
    fn new(turns: f64, place: Place, blocks: usize, apart_s: f64) -> Self {
        let turn = turns * apart_s;
        let faster = turn * place.by * apart_s;
        let first = -(turn * place.off - faster * (0.5 * blocks as f64 - 0.5));
        Self {
            z: Complex::new(1.0, 0.0),
            step: Complex::from_polar(1.0, first),
            grow: Complex::from_polar(1.0, -faster),
        }
    }
}

impl Iterator for Turns {
    type Item = Complex<f64>;

    fn next(&mut self) -> Option<Complex<f64>> {
        let now = self.z;
        self.z *= self.step;
        self.step *= self.grow;
        Some(now)
    }
}

impl Odds {
    pub(super) fn new() -> Self {
        Self {
            partials: [Partial::default(); PARTIALS],
            count: 0,
            blocks: 0,
            apart_s: 0.0,
            costs: 0.0,
            late: 0.0,
            shown: Vec::with_capacity(PARTIALS * BLOCKS),
            stays: Vec::with_capacity(PARTIALS * BLOCKS),
        }
    }

    /// Takes the partials at these hertz, whose `blocks` were brought down along a way of `speed`, cents in a second; what stays
    /// lies `stays_off` cents from where the string is expected, and `beside` is the mean square of noise in a block.
    pub(super) fn take(&mut self, blocks: &Blocks, hertz: &[f64], speed: f64, stays_off: f64, beside: f64) {
        self.count = hertz.len();
        self.apart_s = blocks.apart_s();
        self.blocks = blocks.of(0).len();
        let near = stays_off.abs() < STAYS_WITHIN;
        self.costs = if near { STAYS_COSTS.0 } else { STAYS_COSTS.1 };
        self.shown.clear();
        self.stays.clear();
        let (mut all, mut late) = (0.0, 0.0);
        let weights = sine(self.blocks);
        let stays_at = Place {
            off: stays_off,
            by: -speed,
        };
        for (at, hz) in hertz.iter().enumerate() {
            let turns = std::f64::consts::TAU * hz * CENT;
            let own = blocks.of(at);
            let (mut power, mut stays) = (0.0, Complex::new(0.0, 0.0));
            let tone = Turns::new(turns, stays_at, self.blocks, self.apart_s);
            for (n, ((block, weight), turn)) in own.iter().zip(&weights).zip(tone).enumerate() {
                let shown = block * *weight;
                power += weight * block.norm_sqr();
                late += if 2 * n >= self.blocks {
                    weight * block.norm_sqr()
                } else {
                    0.0
                };
                stays += turn * shown;
                self.shown.push(shown);
                self.stays.push(turn.conj() * *weight);
            }
            all += power;
            self.partials[at] = Partial {
                power,
                beside: 0.0,
                turns,
                stays,
                explained: stays.norm_sqr() / (1.0 + self.costs),
            };
        }
        self.late = late / f64::max(all, f64::MIN_POSITIVE);
        let strongest = self.partials[..self.count]
            .iter()
            .map(|partial| partial.power)
            .fold(0.0, f64::max);
        for partial in &mut self.partials[..self.count] {
            partial.beside = beside + LEAKS * strongest;
        }
    }

    /// Whether the sound was stopped in the middle: what is left of it then is not where the string seems to be.
    pub(super) fn is_stopped(&self) -> bool {
        self.late < STOPPED
    }

    /// Log odds, nats, that the string lies there.
    pub(super) fn of(&self, place: Place) -> f64 {
        let mut odds = 0.0;
        for (at, partial) in self.partials[..self.count].iter().enumerate() {
            if partial.power > CLEAR * partial.beside {
                let share =
                    (partial.explained + self.explained(at, place)) / (partial.power + UNCLEAR * partial.beside);
                odds -= WORTH * (1.0 - EXPLAINED * share.min(1.0)).ln();
            }
        }
        odds
    }

    /// The power of the string, if it lies there.
    pub(super) fn power(&self, place: Place) -> f64 {
        (0..self.count).map(|at| self.explained(at, place)).sum()
    }

    /// Mean square amplitude of the tone that the string would have in the band of a partial, beside the tone that stays.
    fn explained(&self, at: usize, place: Place) -> f64 {
        let own = at * self.blocks..(at + 1) * self.blocks;
        let (mut shown, mut both) = (Complex::new(0.0, 0.0), Complex::new(0.0, 0.0));
        let tone = Turns::new(self.partials[at].turns, place, self.blocks, self.apart_s);
        for ((block, stays), turn) in self.shown[own.clone()].iter().zip(&self.stays[own]).zip(tone) {
            shown += turn * block;
            both += turn * stays;
        }
        let all = 1.0 + self.costs;
        let left = shown - both * self.partials[at].stays / all;
        // What stays costs something, so that the two are never quite the same tone.
        left.norm_sqr() / (1.0 - both.norm_sqr() / all)
    }
}
