//! Chases a string that is turned so far that its partials leave the bands in which they are followed.
//!
//! Wherever a string passes, others of the harp answer it and stay behind, louder in some partials than it is by then. So no
//! partial decides alone: where the string may be by now, and how fast it may turn, every partial says how much of what
//! sounds around it such a string would explain, and the place is taken that explains most of most partials (`chase/odds.rs`).
//!
//! What half-way between the partials is left of sound that was brought down as they were (`chase/blocks.rs`) is noise.

mod blocks;
mod odds;

use consort_transform::Complex;

use self::blocks::{BLOCKS_MIN, Blocks, LONG, Sound, hann};
use self::odds::{Odds, PARTIALS, Place};
use crate::character::partial_ratio;
use crate::fit::CENT;
use crate::trend::Way;

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
    pub(crate) fn look_s(hz: f64) -> f64 {
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

    /// Where the string was in the middle of `samples`, [`Self::look_s`] long, if it took about the `way` that was expected;
    /// `rate` in samples a second. Never allocates.
    pub(crate) fn look(&mut self, samples: &[f32], rate: f64, way: Way) -> Option<Found> {
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
        chase.begin(300.0, 300.0, 0.0);
        let seconds = Chase::look_s(300.0);
        let len = (seconds * RATE) as usize;
        let looks = (len..sound.len()).step_by(640);
        looks
            .map(|end| {
                let middle_s = end as f64 / RATE - 0.5 * seconds;
                let way = trend.way(middle_s).unwrap_or(Way::from_rest(300.0));
                let found = chase.look(&sound[end - len..end], RATE, way)?;
                trend.look(middle_s, found.hz, found.sigma_cents);
                Some(1200.0 * (found.hz / 300.0).log2() - cents * (middle_s - 0.5).max(0.0))
            })
            .collect()
    }

    #[test]
    fn a_string_too_high_for_the_rate_is_not_found() {
        let mut chase = Chase::new(RATE);
        let way = Way::from_rest(0.41 * RATE);
        chase.begin(way.hz, way.hz, 0.0);
        let sound = vec![0.1_f32; (Chase::look_s(way.hz) * RATE) as usize];
        assert!(chase.look(&sound, RATE, way).is_none());
    }

    #[test]
    fn a_string_that_rises_is_found_where_it_is() {
        for cents in [40.0, 100.0, 200.0] {
            let off = chased(&sound(cents, 0.0), cents);
            let worst = off.iter().map(|off| off.expect("found").abs()).fold(0.0, f64::max);
            assert!(worst < 3.0, "{worst} cents off at {cents} cents a second");
        }
    }

    /// The other string is as loud as this one in its first partial, which would draw the pitch back to where it began, and then
    /// 16 dB louder, more than this one in two of its three.
    #[test]
    fn what_stays_behind_does_not_hold_it() {
        for ring in [1.0, 6.0] {
            let off = chased(&sound(100.0, ring), 100.0);
            let last = off.iter().rev().take(10).map(|off| off.expect("found").abs());
            let worst = last.fold(0.0, f64::max);
            assert!(
                worst < 3.0,
                "{worst} cents off after a semitone and a half beside {ring}"
            );
        }
    }

    /// The octave below, with which it is compared, rings on: its odd partials lie half-way between those of the string.
    #[test]
    fn an_octave_that_rings_below_is_no_noise() {
        for loud in [0.1, 0.5] {
            let mut both = sound(100.0, 0.0);
            for (n, sample) in both.iter_mut().enumerate() {
                let turn = std::f64::consts::TAU * 150.0 * n as f64 / RATE;
                *sample += (1..=20)
                    .map(|k| (f64::from(k) * turn).sin() / f64::from(k))
                    .sum::<f64>() as f32
                    * loud;
            }
            let off = chased(&both, 100.0);
            let found = off.iter().flatten();
            let worst = found.clone().map(|off| off.abs()).fold(0.0, f64::max);
            assert!(found.count() > off.len() * 9 / 10, "{loud}: {off:?}");
            assert!(worst < 6.0, "{worst} cents off beside {loud}");
        }
    }

    /// In noise that is as loud as three thousandths of it a string is found 20 dB clear of it, and noise alone soon ends the chase.
    #[test]
    fn noise_is_no_string() {
        let mut seed = 1_u32;
        let mut noisy = sound(0.0, 0.0);
        noisy.extend([0.0; 16_000]);
        for sample in &mut noisy {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            *sample += 0.1 * ((seed >> 8) as f32 / (1 << 24) as f32 - 0.5);
        }
        let mut chase = Chase::new(RATE);
        chase.begin(300.0, 300.0, 0.0);
        let len = (Chase::look_s(300.0) * RATE) as usize;
        let mut lost_at = None;
        for end in (len..noisy.len()).step_by(640) {
            let found = chase.look(&noisy[end - len..end], RATE, Way::from_rest(300.0));
            let clear = found.map_or(0.0, |found| found.clear);
            if end <= 32_000 {
                assert!(clear > 100.0, "{clear} at {end}");
            } else if end > 32_000 + len {
                assert!(clear < 10.0, "{clear} at {end}");
                lost_at = lost_at.or(chase.at().is_none().then_some(end));
            }
        }
        let after_s = (lost_at.expect("lost") - 32_000) as f64 / RATE;
        assert!(after_s < 0.7, "{after_s} s after it fell silent");
    }

    /// After a third of a second in which it is not found it is lost, until it is plucked again.
    #[test]
    fn a_string_that_falls_silent_is_lost() {
        let mut chase = Chase::new(RATE);
        chase.begin(300.0, 300.0, 0.0);
        let silence = vec![0.0; (Chase::look_s(300.0) * RATE) as usize];
        for _ in 0..LOST {
            assert!(chase.at().is_some());
            assert!(chase.look(&silence, RATE, Way::from_rest(300.0)).is_none());
        }
        assert!(chase.at().is_none() && !chase.is_home());
        chase.begin(310.0, 310.0, 0.0);
        assert!(chase.at() == Some(310.0));
        chase.end();
        assert!(chase.is_home());
    }
}
