//! Chases a string that is turned so far that its partials leave the bands in which they are followed.
//!
//! Wherever a string passes, others of the harp answer it and stay behind, louder in some partials than it is by then. So no
//! partial decides alone: where the string may be by now, and how fast it may turn, every partial says how much of what
//! sounds around it such a string would explain, and the place is taken that explains most of most partials.
//!
//! Each partial is brought down to zero along the way that is expected and smoothed over three periods of the string, which
//! silences its other partials and those of strings nearby; what is left is held against places and speeds near the expected
//! ones.

use consort_transform::Complex;

use crate::character::partial_ratio;
use crate::fit::CENT;
use crate::trend::Way;
use crate::window::hann_into;

/// So many partials are looked at, below this share of the rate.
const PARTIALS: usize = 14;
const CEILING: f64 = 0.4;
/// The sound that is looked at is so many periods long, within these bounds, seconds.
const PERIODS: f64 = 9.0;
const LOOK_S: (f64, f64) = (0.12, 0.25);
/// A partial is smoothed into at most so many blocks, whole periods apart and this many times as long.
const BLOCKS: usize = 32;
const BLOCKS_MIN: usize = 4;
const LONG: usize = 3;
/// Places up to so many steps either way of the expected one, and speeds, are held against the sound: cents, cents in a second.
const PLACES: i32 = 16;
const PLACE_STEP: f64 = 2.5;
const SPEEDS: i32 = 3;
const SPEED_STEP: f64 = 35.0;
/// The way is known no better than this, however steadily it went so far, cents and cents in a second.
const PLACE_LEAST: f64 = 5.0;
const SPEED_LEAST: f64 = 50.0;
/// The most of a partial that can be explained: a little always stays, so that one partial cannot decide for all.
const EXPLAINED: f64 = 0.97;
/// So many looks beside one another a look is worth, when explained shares become odds.
const WORTH: f64 = 2.5;
/// A partial with less than this many times the power of what sounds beside it says nothing.
const CLEAR: f64 = 1.0;
/// So much of the strongest partial's power leaks into the others while the string moves: 65 dB less.
const LEAKS: f64 = 3e-7;
/// What all partials have to say together to be believed, nats: a high string that fades has one left.
const BELIEVED: f64 = 1.5;
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

/// What one chase hands over to another.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Place {
    state: State,
    stiffness: f64,
}

/// The string that is chased, if one is.
#[derive(Debug, Default)]
pub(crate) struct Chase {
    state: State,
    stiffness: f64,
    missed: u32,
    /// Blocks of one partial after the other.
    blocks: Vec<Complex<f64>>,
    /// One partial brought down, and the window of a block.
    down: Vec<Complex<f64>>,
    window: Vec<f32>,
}

/// Where the string was in the middle of a look.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Found {
    pub(crate) hz: f64,
    /// Standard deviation, cents.
    pub(crate) sigma_cents: f64,
    /// Power of its partials, mean squares of amplitude, and how many were looked at.
    pub(crate) power: f64,
    pub(crate) partials: usize,
    pub(crate) stiffness: f64,
}

/// Partials around which the string is looked for.
#[derive(Clone, Copy, Debug)]
struct Partial {
    power: f64,
    /// Hertz for a cent.
    hz_per_cent: f64,
}

impl Chase {
    /// Looks at sound of `rate` samples in a second.
    pub(crate) fn new(rate: f64) -> Self {
        let len = (LOOK_S.1 * rate) as usize + 1;
        Self {
            blocks: Vec::with_capacity(PARTIALS * BLOCKS),
            down: Vec::with_capacity(len),
            window: Vec::with_capacity(len),
            ..Self::default()
        }
    }

    /// How much sound is looked at where the string is expected at `hz`, seconds.
    pub(crate) fn look_s(hz: f64) -> f64 {
        (PERIODS / hz).clamp(LOOK_S.0, LOOK_S.1)
    }

    /// Nothing is chased.
    pub(crate) const fn end(&mut self) {
        self.state = State::Home;
        self.missed = 0;
    }

    /// The string stands at `hz`, is so stiff, and is chased from here, unless it is already; one that is too low to be seen
    /// in a look is not.
    pub(crate) const fn begin(&mut self, hz: f64, stiffness: f64) {
        let is_seen = LOOK_S.1 * hz >= (BLOCKS_MIN + LONG) as f64;
        if is_seen && matches!(self.state, State::Home) {
            self.state = State::At(hz);
            self.stiffness = stiffness;
            self.missed = 0;
        }
    }

    /// Where it is.
    pub(crate) const fn place(&self) -> Place {
        Place {
            state: self.state,
            stiffness: self.stiffness,
        }
    }

    /// It is chased on from there.
    pub(crate) const fn go_on(&mut self, from: Place) {
        self.state = from.state;
        self.stiffness = from.stiffness;
        self.missed = 0;
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

    /// Where the string was in the middle of `sound`, [`Self::look_s`] long, if it took about the `way` that was expected;
    /// `rate` in samples a second, `beside` the mean square amplitude of what else sounds near a partial in so long a look.
    /// Never allocates.
    pub(crate) fn look(&mut self, sound: &[f32], rate: f64, way: Way, beside: f64) -> Option<Found> {
        self.at()?;
        let found = self.find(sound, rate, way, beside);
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

    fn find(&mut self, sound: &[f32], rate: f64, way: Way, beside: f64) -> Option<Found> {
        let periods = way.hz * sound.len() as f64 / rate;
        let apart = (periods / BLOCKS as f64).ceil();
        let hop = apart / way.hz * rate;
        let blocks = ((periods / apart) as usize).checked_sub(LONG - 1)?;
        if blocks < BLOCKS_MIN {
            return None;
        }
        hann_into(&mut self.window, ((LONG as f64 * hop) as usize).min(sound.len()));
        self.blocks.clear();
        let weights = weights(blocks);
        let mut partials = [Partial {
            power: 0.0,
            hz_per_cent: 0.0,
        }; PARTIALS];
        let mut count = 0;
        for n in 1..=PARTIALS {
            let hz = way.hz * partial_ratio(n, self.stiffness);
            if hz > CEILING * rate {
                break;
            }
            self.bring_down(sound, rate, hz, way.speed, hop, blocks);
            let own = &self.blocks[self.blocks.len() - blocks..];
            partials[count] = Partial {
                power: own.iter().zip(&weights).map(|(z, weight)| weight * z.norm_sqr()).sum(),
                hz_per_cent: hz * CENT,
            };
            count += 1;
        }
        let partials = &partials[..count];
        let strongest = partials.iter().map(|partial| partial.power).fold(0.0, f64::max);
        let view = View {
            partials,
            blocks: &self.blocks,
            weights: &weights[..blocks],
            block_s: hop / rate,
            beside: beside + LEAKS * strongest,
        };
        let (place_sd, speed_sd) = (way.place_sd.hypot(PLACE_LEAST), way.speed_sd.hypot(SPEED_LEAST));
        let mut best = (f64::NEG_INFINITY, 0.0, 0.0);
        for speed in -SPEEDS..=SPEEDS {
            let by = SPEED_STEP * f64::from(speed);
            for place in -PLACES..=PLACES {
                let off = PLACE_STEP * f64::from(place);
                let prior = -0.5 * ((off / place_sd).powi(2) + (by / speed_sd).powi(2));
                let odds = view.says(off, by) + prior;
                if odds > best.0 {
                    best = (odds, off, by);
                }
            }
        }
        let (_, off, by) = best;
        let here = view.says(off, by);
        let (below, above) = (view.says(off - PLACE_STEP, by), view.says(off + PLACE_STEP, by));
        let bend = (2.0 * here - below - above) / (PLACE_STEP * PLACE_STEP);
        if here < BELIEVED || bend <= 0.0 {
            return None;
        }
        let aside = (0.5 * (above - below) / PLACE_STEP / bend).clamp(-PLACE_STEP, PLACE_STEP);
        Some(Found {
            hz: way.hz * ((off + aside) * CENT).exp(),
            sigma_cents: (1.0 / bend).sqrt(),
            power: view.power(off, by),
            partials: count,
            stiffness: self.stiffness,
        })
    }

    /// Adds the blocks of one partial, `hop` samples apart, at `hz` in the middle and turning by `speed`, cents in a second.
    fn bring_down(&mut self, sound: &[f32], rate: f64, hz: f64, speed: f64, hop: f64, blocks: usize) {
        let middle = 0.5 * sound.len() as f64 - 0.5;
        let turn = std::f64::consts::TAU * hz / rate;
        // Turns by `turn` a sample in the middle, and faster by `faster` from each sample to the next.
        let faster = turn * speed * CENT / rate;
        let mut step = Complex::from_polar(1.0, -(turn - faster * middle));
        let grow = Complex::from_polar(1.0, -faster);
        let mut z = Complex::new(1.0, 0.0);
        self.down.clear();
        for x in sound {
            self.down.push(z * f64::from(*x));
            z *= step;
            step *= grow;
        }
        let len = self.window.len();
        let first = middle - 0.5 * (hop * (blocks as f64 - 1.0) + len as f64 - 1.0);
        for block in 0..blocks {
            let from = ((first + hop * block as f64).round().max(0.0) as usize).min(sound.len() - len);
            let own = &self.down[from..from + len];
            let sum: Complex<f64> = own.iter().zip(&self.window).map(|(z, w)| z * f64::from(*w)).sum();
            // The window's mean is one half, and a tone's amplitude twice what is brought down.
            self.blocks.push(sum * (4.0 / len as f64));
        }
    }
}

/// What the blocks say.
struct View<'a> {
    partials: &'a [Partial],
    blocks: &'a [Complex<f64>],
    /// How much each block of a partial counts.
    weights: &'a [f64],
    /// Seconds from one block to the next.
    block_s: f64,
    beside: f64,
}

impl View<'_> {
    /// Log odds, nats, that the string lies `off` cents from where it was expected, and turns faster `by` cents in a second.
    fn says(&self, off: f64, by: f64) -> f64 {
        let mut odds = 0.0;
        for (at, partial) in self.partials.iter().enumerate() {
            if partial.power > CLEAR * self.beside {
                let share = self.explained(at, partial, off, by) / (partial.power + self.beside);
                odds -= WORTH * (1.0 - EXPLAINED * share).ln();
            }
        }
        odds
    }

    /// The power of the string, if it lies there.
    fn power(&self, off: f64, by: f64) -> f64 {
        let partials = self.partials.iter().enumerate();
        partials.map(|(at, partial)| self.explained(at, partial, off, by)).sum()
    }

    /// Mean square amplitude of the tone that the string would have in the band of a partial.
    fn explained(&self, at: usize, partial: &Partial, off: f64, by: f64) -> f64 {
        let count = self.weights.len();
        let own = &self.blocks[at * count..(at + 1) * count];
        let turn = std::f64::consts::TAU * partial.hz_per_cent * self.block_s;
        let faster = turn * by * self.block_s;
        let first = -(turn * off - faster * (0.5 * count as f64 - 0.5));
        let (mut step, grow) = (Complex::from_polar(1.0, first), Complex::from_polar(1.0, -faster));
        let mut z = Complex::new(1.0, 0.0);
        let mut sum = Complex::new(0.0, 0.0);
        for (block, weight) in own.iter().zip(self.weights) {
            sum += z * block * *weight;
            z *= step;
            step *= grow;
        }
        sum.norm_sqr()
    }
}

/// Weights of so many blocks, one in all: a sine's first half wave, which tells places apart better than Hann's square of it.
fn weights(count: usize) -> [f64; BLOCKS] {
    let mut weights = [0.0; BLOCKS];
    for (at, weight) in weights.iter_mut().enumerate().take(count) {
        *weight = (std::f64::consts::PI * (at as f64 + 0.5) / count as f64).sin();
    }
    let sum: f64 = weights.iter().sum();
    weights.map(|weight| weight / sum)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trend::Trend;

    const RATE: f64 = 16_000.0;

    /// Two seconds of a string with three partials at 300 Hz that rises by `cents` in a second from the first half second on,
    /// while another one that answered it stays where it began, `ring` times as loud in the first partial.
    fn sound(cents: f64, ring: f64) -> Vec<f32> {
        let (mut phase, mut stays) = (0.0_f64, 0.0_f64);
        (0..32_000)
            .map(|n| {
                let turned = cents * (f64::from(n) / RATE - 0.5).max(0.0);
                phase += std::f64::consts::TAU * 300.0 * (turned / 1200.0).exp2() / RATE;
                stays += std::f64::consts::TAU * 300.0 / RATE;
                let string = phase.sin() + 0.5 * (2.0 * phase).sin() + 0.3 * (3.0 * phase).sin();
                (string + ring * stays.sin() + 0.2 * ring * (2.0 * stays).sin()) as f32
            })
            .collect()
    }

    /// How far off the string was told to be in the middle of each look, cents; `None` where it was not found.
    fn chased(sound: &[f32], cents: f64) -> Vec<Option<f64>> {
        let (mut chase, mut trend) = (Chase::new(RATE), Trend::default());
        chase.begin(300.0, 0.0);
        let seconds = Chase::look_s(300.0);
        let len = (seconds * RATE) as usize;
        let looks = (len..sound.len()).step_by(640);
        looks
            .map(|end| {
                let middle_s = end as f64 / RATE - 0.5 * seconds;
                let way = trend.way(middle_s).unwrap_or(Way::from_rest(300.0));
                let found = chase.look(&sound[end - len..end], RATE, way, 0.0)?;
                trend.look(middle_s, found.hz, found.sigma_cents);
                Some(1200.0 * (found.hz / 300.0).log2() - cents * (middle_s - 0.5).max(0.0))
            })
            .collect()
    }

    #[test]
    fn a_string_that_rises_is_found_where_it_is() {
        for cents in [40.0, 100.0, 200.0] {
            let off = chased(&sound(cents, 0.0), cents);
            let worst = off.iter().map(|off| off.expect("found").abs()).fold(0.0, f64::max);
            assert!(worst < 3.0, "{worst} cents off at {cents} cents a second");
        }
    }

    /// The other string is as loud as this one in its first partial, which would draw the pitch back to where it began.
    #[test]
    fn what_stays_behind_does_not_hold_it() {
        let off = chased(&sound(100.0, 1.0), 100.0);
        let last = off.iter().rev().take(10).map(|off| off.expect("found").abs());
        let worst = last.fold(0.0, f64::max);
        assert!(worst < 3.0, "{worst} cents off after a semitone and a half");
    }

    /// After a third of a second in which it is not found it is lost for good, until it is plucked again.
    #[test]
    fn a_string_that_falls_silent_is_lost() {
        let mut chase = Chase::new(RATE);
        chase.begin(300.0, 0.0);
        let silence = vec![0.0; (Chase::look_s(300.0) * RATE) as usize];
        for _ in 0..LOST {
            assert!(chase.at().is_some());
            assert!(chase.look(&silence, RATE, Way::from_rest(300.0), 0.0).is_none());
        }
        chase.begin(300.0, 0.0);
        assert!(chase.at().is_none() && !chase.is_home());
        chase.end();
        assert!(chase.is_home());
    }
}
