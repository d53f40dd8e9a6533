//! How far a reading is to be relied on: what plucks have that the other sounds of a room lack.

/// What tells a pluck from a player, a voice, or a string that answers.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Signs {
    /// How far the belief in the string stands above that in any other pitch, nats.
    pub(crate) lead: f64,
    /// How many times the power in the bands of its partials grew at the onset.
    pub(crate) growth: f64,
    /// How long after the onset the partials were loudest, seconds, beyond the length of a frame.
    pub(crate) late_s: f64,
    /// Standard deviation of the pitch, cents.
    pub(crate) sigma_cents: f64,
}

/// A lead beyond this says no more, nats; nor does a growth of the power beyond e to this (22 dB).
const LEAD_MAX: f64 = 22.0;
const GROWTH_MAX_NATS: f64 = 5.0;
/// A pluck is loudest at once: later than this, seconds, is late.
const LATE_S: f64 = 0.2;
/// Range in which the uncertainty of the pitch tells anything, nats above 1 cent.
const SIGMA_NATS: (f64, f64) = (-2.0, 1.5);
/// What each sign is worth, nats per unit, and where trust begins: at odds of two to one.
///
/// Logistic regression of "this is the string that was plucked" over 1,800 plucks, generated in all surroundings and of
/// virtual harps, against 590 readings that belonged to no pluck: of players who warm up, of loud talk, of strings that
/// answer.
const LEAD: f64 = 0.36;
const GROWTH: f64 = 0.94;
const LATE_PER_S: f64 = -27.0;
const SIGMA: f64 = -1.31;
const BEGINS: f64 = -6.7;

impl Signs {
    /// Log odds that the reading is that of a pluck, less what is asked for; it is to be relied on above zero.
    pub(crate) fn trust(&self) -> f64 {
        LEAD * self.lead.min(LEAD_MAX)
            + GROWTH * self.growth.max(1.0).ln().min(GROWTH_MAX_NATS)
            + LATE_PER_S * self.late_s.clamp(0.0, LATE_S)
            + SIGMA * self.sigma_cents.ln().clamp(SIGMA_NATS.0, SIGMA_NATS.1)
            + BEGINS
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Plucks at home, and what else there is.
    #[test]
    #[rustfmt::skip]
    fn a_pluck_is_loudest_at_once_grows_and_fits_one_pitch() {
        for (what, lead, growth, late_s, sigma_cents, trusted) in [
            //                                       nats  times   s     cents
            ("a pluck in a quiet room",              15.0, 1e5,  0.00, 0.14, true),
            ("a pluck while an orchestra warms up",  10.0, 30.0, 0.00, 0.35, true),
            ("a string plucked anew while it rings", 18.0,  4.0, 0.00, 0.20, true),
            ("a player's note",                       5.0, 20.0, 0.08, 0.40, false),
            ("a voice",                               4.0,  8.0, 0.05, 1.50, false),
            ("a string that answers",                 3.0,  3.0, 0.20, 0.60, false),
        ] {
            let signs = Signs { lead, growth, late_s, sigma_cents };
            assert_eq!(signs.trust() > 0.0, trusted, "{what}: {}", signs.trust());
        }
    }
}
