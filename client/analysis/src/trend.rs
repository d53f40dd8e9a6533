//! Where a string that is turned stands now: a look at its sound tells where it was in the middle of what was looked at, and
//! from how the last looks followed one another it is told where it has got to since.
//!
//! Method: a Kalman filter of place and speed (R. E. Kalman, J. Basic Eng. 82, 1960, 35–45) whose speed wanders as a key's
//! does.

use crate::fit::CENT;

/// No key turns a string faster, cents in a second.
const SPEED_MAX: f64 = 220.0;
/// How fast a key's speed changes: the variance of the speed grows by this much in a second, (cents/s)²; a key that starts or
/// stops changes by 40 cents/s within a quarter of a second or so (tried on virtual harps).
const WANDERS: f64 = 6_000.0;
/// Looks stray by this much, cents, however certain each is.
const STRAYS_CENTS: f64 = 0.5;
/// A look may lie so many standard deviations from where it was expected.
const FAR: f64 = 4.0;
/// After so many looks in a row that were not believed, the newest of them is.
const DISBELIEVED: u32 = 3;
/// Looks this far apart, seconds, have nothing to do with one another.
const FORGOTTEN_S: f64 = 0.5;

/// Where the string is, and how it moves.
#[derive(Clone, Copy, Debug)]
struct State {
    /// When it was there, seconds.
    at_s: f64,
    hz: f64,
    /// Cents in a second.
    speed: f64,
    /// Variances of place and speed, and what they share: cents², cents²/s, cents²/s².
    place_var: f64,
    shared: f64,
    speed_var: f64,
}

/// The way that one string takes.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Trend {
    state: Option<State>,
    disbelieved: u32,
}

/// The way that a string is expected to take.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Way {
    pub(crate) hz: f64,
    /// Cents in a second.
    pub(crate) speed: f64,
    /// Standard deviations of both, cents and cents in a second.
    pub(crate) place_sd: f64,
    pub(crate) speed_sd: f64,
}

impl Way {
    /// Of a string that stands at `hz`, so far.
    pub(crate) const fn from_rest(hz: f64) -> Self {
        Self {
            hz,
            speed: 0.0,
            place_sd: 0.0,
            speed_sd: 0.0,
        }
    }
}

/// Where a string is told to be.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Ahead {
    pub(crate) hz: f64,
    /// Standard deviation, cents.
    pub(crate) sigma_cents: f64,
}

impl State {
    fn new(at_s: f64, hz: f64, sigma_cents: f64) -> Self {
        Self {
            at_s,
            hz,
            speed: 0.0,
            place_var: sigma_cents * sigma_cents,
            shared: 0.0,
            // A string that has just been plucked may be turning already.
            speed_var: 400.0,
        }
    }

    /// Where it will be at a later moment, or was a little earlier.
    fn at(self, at_s: f64) -> Self {
        let by_s = at_s - self.at_s;
        let long = by_s.abs();
        Self {
            at_s,
            hz: self.hz * (self.speed * by_s * CENT).exp(),
            speed: self.speed,
            place_var: self.place_var
                + 2.0 * by_s * self.shared
                + by_s * by_s * self.speed_var
                + WANDERS * long.powi(3) / 3.0,
            shared: self.shared + by_s * self.speed_var + WANDERS * long * by_s / 2.0,
            speed_var: self.speed_var + WANDERS * long,
        }
    }
}

impl Trend {
    /// Another string, or the same one plucked anew: nothing is known.
    pub(crate) const fn end(&mut self) {
        self.state = None;
        self.disbelieved = 0;
    }

    /// The same where something says that the string is so many cents elsewhere.
    pub(crate) fn loosened(mut self, cents: f64) -> Self {
        if let Some(state) = &mut self.state {
            state.place_var += cents * cents;
        }
        self
    }

    /// Takes in a look that shows the string at `hz`, within `sigma_cents`, at the moment `at_s`, seconds; whether it is
    /// believed.
    pub(crate) fn look(&mut self, at_s: f64, hz: f64, sigma_cents: f64) -> bool {
        let Some(before) = self.state.filter(|state| (at_s - state.at_s).abs() < FORGOTTEN_S) else {
            self.state = Some(State::new(at_s, hz, sigma_cents.hypot(STRAYS_CENTS)));
            self.disbelieved = 0;
            return true;
        };
        let expected = before.at(at_s);
        let off = (hz / expected.hz).ln() / CENT;
        let look_var = sigma_cents * sigma_cents + STRAYS_CENTS * STRAYS_CENTS;
        let doubt = (expected.place_var + look_var).sqrt();
        if off.abs() > FAR * doubt {
            self.disbelieved += 1;
            if self.disbelieved < DISBELIEVED {
                return false;
            }
            self.state = Some(State::new(at_s, hz, look_var.sqrt()));
            self.disbelieved = 0;
            return true;
        }
        self.disbelieved = 0;
        let (place_gain, speed_gain) = (expected.place_var / doubt.powi(2), expected.shared / doubt.powi(2));
        self.state = Some(State {
            at_s,
            hz: expected.hz * (place_gain * off * CENT).exp(),
            speed: (expected.speed + speed_gain * off).clamp(-SPEED_MAX, SPEED_MAX),
            place_var: (1.0 - place_gain) * expected.place_var,
            shared: (1.0 - place_gain) * expected.shared,
            speed_var: expected.speed_var - speed_gain * expected.shared,
        });
        true
    }

    /// The way that the string is expected to take about the moment `at_s`; nothing where it was seen too long ago.
    pub(crate) fn way(&self, at_s: f64) -> Option<Way> {
        let state = self.state.filter(|state| at_s - state.at_s < FORGOTTEN_S)?;
        let then = state.at(at_s);
        Some(Way {
            hz: then.hz,
            speed: then.speed,
            place_sd: then.place_var.max(0.0).sqrt(),
            speed_sd: then.speed_var.max(0.0).sqrt(),
        })
    }

    /// Whether the last look left the string known within so many cents, one standard deviation.
    pub(crate) fn is_within(&self, cents: f64) -> bool {
        self.state.is_some_and(|state| state.place_var < cents * cents)
    }

    /// Where the string is at the moment `now_s`.
    pub(crate) fn ahead(&self, now_s: f64) -> Option<Ahead> {
        let now = self.state?.at(now_s);
        Some(Ahead {
            hz: now.hz,
            sigma_cents: now.place_var.max(0.0).sqrt(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Looks every 0.04 s, each at where the string was 0.07 s before, and how far off it is told, cents: at rest, while a
    /// key turns it by 40 cents a second, and at rest again.
    #[test]
    fn a_turning_string_is_told_where_it_is_and_one_at_rest_stays() {
        let truth = |at_s: f64| 40.0 * (at_s.clamp(0.5, 1.5) - 0.5);
        let mut trend = Trend::default();
        let (mut turning, mut resting) = (0.0_f64, 0.0_f64);
        for look in 0..55 {
            let now_s = 0.04 * f64::from(look);
            let seen_s = now_s - 0.07;
            // Looks stray up and down by a quarter of a cent.
            let stray = if look % 2 == 0 { 0.25 } else { -0.25 };
            assert!(trend.look(seen_s, 440.0 * ((truth(seen_s) + stray) * CENT).exp(), 0.3));
            let told = trend.ahead(now_s).expect("looks").hz;
            let off = (told / 440.0).ln() / CENT - truth(now_s);
            if (0.65..1.5).contains(&now_s) {
                turning = turning.max(off.abs());
            } else if !(0.1..1.65).contains(&now_s) {
                resting = resting.max(off.abs());
            }
        }
        assert!(turning < 2.0, "{turning} cents while it turns: 2.8 without");
        assert!(resting < 2.0, "{resting} cents at rest");
    }

    #[test]
    fn a_leap_is_believed_only_when_it_stays() {
        let mut trend = Trend::default();
        for look in 0..10 {
            assert!(trend.look(0.04 * f64::from(look), 440.0, 0.3));
        }
        let leapt = 440.0 * 1.03;
        assert!(!trend.look(0.40, leapt, 0.3));
        assert!(trend.look(0.44, 440.0, 0.3), "back where it was");
        assert!(!trend.look(0.48, leapt, 0.3));
        assert!(!trend.look(0.52, leapt, 0.3));
        assert!(trend.look(0.56, leapt, 0.3));
        assert!((trend.ahead(0.56).expect("looks").hz - leapt).abs() < 1e-9);
    }
}
