//! Beats: how often two strings that sound together swell and fade in a second.
//!
//! The strings are known, so it is known which partials nearly meet: every p-th of the lower string and every q-th of the
//! higher one. All partials of both, those that meet and those that stand alone, are explained at once by two stiff
//! strings that glide and die away in two directions of motion, each partial a little beside its string's law. So a beat that is too slow to be seen
//! once in the time that sounds is told from the partials that stand alone and from the pairs above, which beat faster;
//! and a fast one by the pair itself.
//! Method: non-linear least squares with known uncertainties beforehand, the amplitudes found in each step (G. H. Golub,
//! V. Pereyra, SIAM J. Numer. Anal. 10, 1973, 413–432), by K. Levenberg's and D. W. Marquardt's damping.

mod bands;
mod line;
mod model;
mod solve;
mod swell;

use consort_proto::beats::Interval;
use consort_proto::{Hz, SampleRate};

use bands::Bands;
use model::{LOWER, Model};

/// Two strings that are plucked together, and the interval between them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Together {
    /// About where the lower string sounds: within [`NEAR_CENTS`].
    pub lower: Hz,
    /// About where the higher one sounds.
    pub higher: Hz,
    /// The interval, which says whose partials meet.
    pub interval: Interval,
}

/// How two strings beat.
#[derive(Clone, Debug, PartialEq)]
pub struct Beating {
    /// Beats in a second between the lowest partials that nearly meet, each as it turns by itself, in the mean over the
    /// sound weighted by energy; positive where the interval is wider than pure.
    pub beats_per_second: f64,
    /// One standard deviation of that.
    pub sigma: f64,
    /// The first partial of the lower string.
    pub lower: Hz,
    /// The first partial of the higher string.
    pub higher: Hz,
    /// How loud the partials that meet are together beside their dying away, at every [`Self::SWELL_STEP_S`] from a tenth
    /// of a second after the pluck on, 1 the loudest: what the ear hears swell and fade.
    pub swell: Vec<f32>,
}

impl Beating {
    /// Seconds between two values of [`Self::swell`].
    pub const SWELL_STEP_S: f64 = 0.02;
}

/// Why no beat can be told.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
pub enum NoBeat {
    /// There is not enough sound.
    #[error("beats need a second of sound after the pluck: let both strings ring")]
    TooShort,
    /// The partials of the two strings lie too close for the ear, and for this.
    #[error("these strings are too low for their beats to be told apart: take a higher pair")]
    TooLow,
    /// Only the lower string sounds, or the other is much softer.
    #[error("only the lower string sounds: pluck both together, equally loud")]
    OnlyLower,
    /// Only the higher string sounds, or the other is much softer.
    #[error("only the higher string sounds: pluck both together, equally loud")]
    OnlyHigher,
    /// What sounds is mostly something else: another interval, music, a room.
    #[error("what sounds is not this pair: pluck these two strings, and no other")]
    Elsewhere,
}

/// The strings may stand this far from where they are said to sound, cents.
pub const NEAR_CENTS: f64 = 45.0;
/// Sound that is needed, and as much as is used, seconds after the later pluck.
const LEAST_S: f64 = 1.0;
const MOST_S: f64 = 2.0;
/// The beat is taken from here on, seconds after the pluck: before it, fingers and glide.
const FROM_S: f64 = 0.15;
/// Partials that meet lie among others that are this far away, hertz: closer ones cannot be told apart in a beat.
const APART_HZ: f64 = 27.0;
/// A string whose partials have less than this share of the other's energy does not sound: 20 dB.
const SOUNDS: f64 = 0.01;
/// Of a string that is plucked near its middle, as harpists do, the even partials have little of the energy; with less than
/// this share of that of the odd ones no string an octave above has been plucked, or very softly (from the virtual harp).
const EVEN_SHARE: f64 = 0.06;
/// And a string that is found with less than this share of the other's energy where they meet was not plucked, either.
const FOUND_SHARE: f64 = 0.02;
/// Less than this share of the sound belongs to the pair when other strings were plucked.
const OWN_SHARE: f64 = 0.4;
/// One standard deviation of a partial by its string's own two directions of motion, cents: what is left when all fits.
const STRAY_CENTS: f64 = 0.3;

/// Tells how `pair` beats in `sound`, which begins where the later of the two strings was plucked.
///
/// `sound` is mono at `rate`, full scale ±1; it holds one second or more, and no more than two are used.
/// Takes some tenths of a second of work and allocates; it is asked once for each pluck, not as sound comes in.
///
/// # Errors
///
/// When it is too short, too low, or something else than these two strings sounds.
pub fn beating(sound: &[f32], rate: SampleRate, pair: Together) -> Result<Beating, NoBeat> {
    let rate_hz = f64::from(rate.get());
    let length = sound.len().min((MOST_S * rate_hz) as usize);
    if (length as f64) < LEAST_S * rate_hz {
        return Err(NoBeat::TooShort);
    }
    let (p, q) = pair.interval.meeting();
    // The partials of both strings lie on multiples of this.
    if pair.lower.get() / f64::from(q) < APART_HZ {
        return Err(NoBeat::TooLow);
    }
    let bands = Bands::of(&sound[..length], rate_hz, pair);
    sounds(&bands, (p, q))?;
    let model = best(&bands);
    if model.higher_share() < FOUND_SHARE {
        return Err(NoBeat::OnlyLower);
    }
    let found = model.beat((p as usize, q as usize), FROM_S);
    let pair_hz = pair.lower.get() * f64::from(p);
    let stray = pair_hz * STRAY_CENTS * crate::fit::CENT;
    let hz = |string| Hz::new(model.pitch(string)).map_err(|_| NoBeat::Elsewhere);
    Ok(Beating {
        beats_per_second: found.hz,
        sigma: found.sigma_hz.hypot(stray),
        lower: hz(LOWER)?,
        higher: hz(1 - LOWER)?,
        swell: bands.swell(sound, rate_hz, pair_hz),
    })
}

/// Whether both strings sound, and little else.
fn sounds(bands: &Bands, (p, q): (u32, u32)) -> Result<(), NoBeat> {
    if bands.own_share < OWN_SHARE {
        return Err(NoBeat::Elsewhere);
    }
    let energy = |string: usize| bands.lone_energy(string);
    let (lower, met) = (energy(LOWER), bands.met_energy());
    if (p, q) == (1, 1) {
        // No partial of a unison stands alone: whether one or two sound, the beat alone tells.
        return Ok(());
    }
    if q == 1 {
        // All partials of the higher string meet one of the lower one.
        if lower < SOUNDS * met {
            return Err(NoBeat::OnlyHigher);
        }
        return if met < EVEN_SHARE * lower {
            Err(NoBeat::OnlyLower)
        } else {
            Ok(())
        };
    }
    let higher = energy(1 - LOWER);
    if higher < SOUNDS * lower {
        Err(NoBeat::OnlyLower)
    } else if lower < SOUNDS * higher {
        Err(NoBeat::OnlyHigher)
    } else {
        Ok(())
    }
}

/// The model that explains `bands` best.
///
/// Where no partial of the higher string stands alone, its pitch is first taken from what the lower one sounds like. So it
/// is looked for anew once the lower one is known.
fn best(bands: &Bands) -> Model {
    // In a unison both strings seem to stand at one place.
    let apart_cents = if bands.is_unison() { UNISON_CENTS } else { 0.0 };
    let begin = |split: [f64; 2]| Model::begun(bands, apart_cents, split).fitted(bands);
    // On which side of the first direction the second one sounds is not seen from where both seem to be one.
    let [mut best, others @ ..] = SPLITS.map(begin);
    for other in others {
        if other.cost() < best.cost() {
            best = other;
        }
    }
    for higher_cents in best.elsewhere(bands) {
        let other = best.clone().with_higher_at(higher_cents).fitted(bands);
        if other.cost() < best.cost() {
            best = other;
        }
    }
    best
}

/// The second directions of both strings are looked for so far beside the first, cents.
const SPLITS: [[f64; 2]; 4] = [[0.4, 0.4], [0.4, -0.4], [-0.4, 0.4], [-0.4, -0.4]];
/// The strings of a unison are looked for so far apart, cents.
const UNISON_CENTS: f64 = 3.0;

#[cfg(test)]
mod tests;
