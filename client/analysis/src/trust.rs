//! How far a reading is to be relied on: what plucks have that the other sounds of a room lack.

use crate::character::expected_stiffness;

/// What tells a pluck from a player, a voice, or a string that answers.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Signs {
    /// About the pitch, hertz.
    pub(crate) hz: f64,
    /// How far the belief in the string stands above that in any other pitch, nats.
    pub(crate) lead: f64,
    /// How many times the power in the bands of its partials grew at the onset.
    pub(crate) growth: f64,
    /// How long after the onset the partials were loudest, seconds, beyond the length of a frame.
    pub(crate) late_s: f64,
    /// Standard deviation of the pitch, cents.
    pub(crate) sigma_cents: f64,
    /// The most that the inharmonicity B of its partials may well be, dimensionless: one standard deviation above what was
    /// measured. Winds, voices and bowed strings have none, and show that; one partial of a string that a room draws along
    /// shows nothing.
    pub(crate) inharmonicity_at_most: f64,
    /// Whether something else began to sound since.
    pub(crate) joined: bool,
    /// How much of the sound on its partials says this pitch from the pluck to the end.
    pub(crate) own: f64,
    /// How many other strings were plucked for certain around then, unless this one was expected: who tunes plucks one for a
    /// while, or one beside the other; who plays plucks many.
    pub(crate) company: usize,
}

/// A lead beyond this says no more, nats; nor does a growth of the power beyond e to this (22 dB).
const LEAD_MAX: f64 = 22.0;
const GROWTH_MAX_NATS: f64 = 5.0;
/// A pluck is loudest at once: later than this, seconds, is late.
const LATE_S: f64 = 0.2;
/// Range in which the uncertainty of the pitch tells anything, nats above 1 cent.
const SIGMA_NATS: (f64, f64) = (-2.0, 1.5);
/// Registers are octaves from here, hertz.
const MIDDLE_HZ: f64 = 250.0;
/// Others that were plucked around then tell no more than so many of them do.
const COMPANY_MAX: usize = 3;
/// What each sign is worth, nats per unit, and where trust begins.
///
/// Logistic regression of "this is the string that was plucked" over 4,300 plucks generated in all surroundings, a third of
/// them in a room only 3 dB softer, and 7,000 of music on virtual harps, which count by 0.3, against 9,000 readings that were
/// not so: of players who warm up, of loud talk, of knocks, beside those plucks and, counted by half, alone; and of strings
/// that answer in the music, or sound together; held to signs that say the same over the whole harp, if less at one end. That
/// the string explains little of what was added says nothing: other strings
/// of hers take from it what players do. Nor does it that a string is stiffer than usual, as harmonics of lower strings are:
/// those of a small harp are, too, B going with 1/L⁴.
/// It was fitted to B as it was measured; since B counts by what it may be at most, a tenth of a nat more is asked for.
const LEAD: f64 = 0.045;
const GROWTH: Worth = Worth(0.24, 0.079);
const LATE_PER_S: Worth = Worth(-9.7, -2.69);
const SIGMA: Worth = Worth(-0.60, 0.158);
const HARMONIC: f64 = -1.44;
const JOINED: f64 = -0.66;
const OWN: f64 = 1.68;
const COMPANY: f64 = -0.42;
/// By 0.2 nats less is asked for than that the one is as likely as the other: of right readings in the loudest room 4 in a
/// hundred are unsure for want of trust then, and of wrong ones of the music half remain, before anybody asks for a string.
const BEGINS: Worth = Worth(-1.86, -0.32);

/// What a sign is worth in the middle of the harp, and by how much more with each octave above: low strings rise slowly.
#[derive(Clone, Copy)]
struct Worth(f64, f64);

impl Worth {
    fn at(self, octaves: f64) -> f64 {
        self.0 + self.1 * octaves
    }
}

impl Signs {
    /// Log odds that the reading is that of a pluck, less what is asked for; it is to be relied on above zero.
    pub(crate) fn trust(&self) -> f64 {
        let octaves = (self.hz / MIDDLE_HZ).log2();
        let growth = self.growth.max(1.0).ln().min(GROWTH_MAX_NATS);
        // As stiff as a string of this pitch, or stiffer: no less of one for that.
        let harmonic = (1.0 - self.inharmonicity_at_most / expected_stiffness(self.hz)).clamp(0.0, 1.0);
        BEGINS.at(octaves)
            + LEAD * self.lead.min(LEAD_MAX)
            + GROWTH.at(octaves) * growth
            + LATE_PER_S.at(octaves) * self.late_s.clamp(0.0, LATE_S)
            + SIGMA.at(octaves) * self.sigma_cents.ln().clamp(SIGMA_NATS.0, SIGMA_NATS.1)
            + HARMONIC * harmonic
            + if self.joined { JOINED } else { 0.0 }
            + OWN * self.own
            + COMPANY * self.company.min(COMPANY_MAX) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whatever its register, a pluck is trusted no less for growing more, for being loudest sooner, or for a surer pitch.
    #[test]
    fn signs_say_the_same_over_the_whole_harp() {
        for hz in [31.0, 62.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 3000.0, 3400.0] {
            let octaves = (hz / MIDDLE_HZ).log2();
            assert!(GROWTH.at(octaves) >= 0.0, "{hz} Hz");
            assert!(LATE_PER_S.at(octaves) <= 0.0, "{hz} Hz");
            assert!(SIGMA.at(octaves) <= 0.0, "{hz} Hz");
        }
    }

    /// Plucks at home, and what else there is.
    #[test]
    #[rustfmt::skip]
    fn a_pluck_is_loudest_at_once_grows_and_fits_one_stiff_string() {
        for (what, hz, lead, growth, late_s, sigma_cents, inharmonicity_at_most, joined, own, company, trusted) in [
            //                                        hz      nats  times  s     cents
            ("a pluck in a quiet room",               260.0, 15.0, 1e5,  0.00, 0.14, 1.0e-4, false, 1.00, 0, true),
            ("a pluck while an orchestra warms up",   260.0, 10.0, 30.0, 0.00, 0.35, 1.0e-4, true,  0.95, 0, true),
            ("a string plucked anew while it rings",  260.0, 18.0,  4.0, 0.00, 0.20, 1.0e-4, true,  1.00, 0, true),
            ("the same after the string before it",   260.0, 18.0,  4.0, 0.00, 0.20, 1.0e-4, true,  1.00, 1, true),
            ("a pluck that fits a string loosely",    260.0, 10.0, 20.0, 0.00, 0.50, 1.0e-4, true,  0.95, 0, true),
            ("the same in the midst of music",        260.0, 10.0, 20.0, 0.00, 0.50, 1.0e-4, true,  0.95, 5, false),
            ("a pluck of a stiff string",             260.0, 15.0, 1e5,  0.00, 0.14, 2.2e-4, false, 1.00, 0, true),
            ("a loose fit of a harmonic sound",       260.0, 10.0, 20.0, 0.00, 0.50, 0.0,    true,  0.95, 0, false),
            ("the same of which much is another's",   260.0, 10.0, 20.0, 0.00, 0.50, 1.0e-4, true,  0.40, 0, false),
            ("a player's note",                       260.0,  5.0, 20.0, 0.08, 0.80, 0.0,    true,  0.90, 0, false),
            ("a low player's note",                    60.0,  5.0,  5.0, 0.08, 0.80, 0.0,    true,  0.90, 0, false),
            ("a low string that rises slowly",         60.0,  8.0,  8.0, 0.15, 0.45, 1.0e-4, false, 0.90, 0, true),
            ("a high one that does",                 1000.0,  8.0,  8.0, 0.15, 0.45, 2.2e-4, false, 0.90, 0, false),
            ("a voice",                               180.0,  4.0,  8.0, 0.05, 1.50, 0.0,    true,  0.80, 0, false),
            ("a string that answers",                 260.0,  3.0,  3.0, 0.20, 0.60, 1.0e-4, true,  0.90, 0, false),
        ] {
            let signs = Signs { hz, lead, growth, late_s, sigma_cents, inharmonicity_at_most, joined, own, company };
            assert_eq!(signs.trust() > 0.0, trusted, "{what}: {}", signs.trust());
        }
    }
}
