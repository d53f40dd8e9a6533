//! What is plucked in a check, and how it sounds when all is in tune.

use consort_proto::beats::Interval;
use consort_proto::{Cents, Harp, HarpString, Hz, Mechanism, StringNumber, Tuning};

use super::Kind;

/// A check for one harp and what it is tuned to.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    kind: Kind,
    asks: Asks,
}

/// What is to be plucked.
#[derive(Clone, Debug, PartialEq)]
pub enum Asks {
    /// Two strings at once.
    Together {
        /// The lower string, and its pitch in tune.
        lower: Sound,
        /// The higher one.
        higher: Sound,
        /// The interval between them.
        interval: Interval,
        /// Beats in a second when both are in tune and as stiff as usual.
        expected: f64,
    },
    /// Sounds one after another.
    InTurn(Vec<Sound>),
}

/// One sound.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sound {
    /// The string.
    pub string: StringNumber,
    /// How it is plucked.
    pub how: How,
    /// Its pitch when all is in tune.
    pub hz: Hz,
}

/// How a string is plucked.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum How {
    /// As it is.
    Plain,
    /// With the hand on its middle, so that it sounds an octave higher.
    Harmonic,
    /// Raised by so many semitones by its discs or lever.
    Raised(u8),
}

/// Why there is no such check.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
pub enum NoCheck {
    /// The harp has no such string.
    #[error("this harp has no string {0}")]
    NoString(StringNumber),
    /// No other open string makes that interval with it.
    #[error("no other string makes this interval with it while the pedals are in flat: choose another string")]
    NoPartner,
}

/// Strings in a scale.
const SCALE: usize = 8;

impl Check {
    /// The check of this kind that begins on `string`; `stiffness` tells the usual inharmonicity of a string of some pitch.
    ///
    /// # Errors
    ///
    /// When the harp has no such string, or no partner for it.
    pub fn of(
        kind: Kind,
        string: StringNumber,
        harp: &Harp,
        tuning: &Tuning,
        stiffness: impl Fn(Hz) -> f64,
    ) -> Result<Self, NoCheck> {
        let own = harp.string(string).ok_or(NoCheck::NoString(string))?;
        let sound = |(string, strung): (StringNumber, &HarpString)| Sound {
            string,
            how: How::Plain,
            hz: tuning.open_target(strung),
        };
        let above = |semitones: i32| {
            let wanted = own.open.semitones_above_a4() + semitones;
            harp.numbered()
                .find(|(number, other)| *number != string && other.open.semitones_above_a4() == wanted)
        };
        let own_sound = sound((string, own));
        let together = |semitones: i32, interval: Interval| {
            let higher = sound(above(semitones).ok_or(NoCheck::NoPartner)?);
            let (p, q) = interval.meeting();
            let meets = |one: Sound, n: u32| partial(one.hz, n, stiffness(one.hz));
            Ok(Asks::Together {
                lower: own_sound,
                higher,
                interval,
                expected: meets(higher, q) - meets(own_sound, p),
            })
        };
        let asks = match kind {
            Kind::Octave => together(12, Interval::OCTAVE)?,
            Kind::Fifth => together(7, Interval::FIFTH)?,
            Kind::Fourth => together(5, Interval::FOURTH)?,
            Kind::Harmonic => {
                let octave = sound(above(12).ok_or(NoCheck::NoPartner)?);
                let hz = Hz::new(partial(own_sound.hz, 2, stiffness(own_sound.hz))).map_err(|_| NoCheck::NoPartner)?;
                let harmonic = Sound {
                    how: How::Harmonic,
                    hz,
                    ..own_sound
                };
                Asks::InTurn(vec![harmonic, octave])
            }
            Kind::Enharmonic => {
                let positions = match own.mechanism {
                    Mechanism::Fixed => 0,
                    Mechanism::Discs => 2,
                    Mechanism::Lever => 1,
                };
                let meets = (1..=positions).find_map(|raised| above(i32::from(raised)).map(|other| (raised, other)));
                let (raised, other) = meets.ok_or(NoCheck::NoPartner)?;
                // The disc is to raise the open string by whole semitones, and by what is known of it besides.
                let by = Cents(100.0 * f64::from(raised) + own.regulation_error(raised).0);
                let raised = Sound {
                    how: How::Raised(raised),
                    hz: own_sound.hz.raised_by(by),
                    ..own_sound
                };
                Asks::InTurn(vec![raised, sound(other)])
            }
            Kind::Scale => {
                // The strings are numbered from the top: a scale goes up to lower numbers.
                let up = harp.numbered().rev().skip_while(|(number, _)| *number != string);
                let sounds: Vec<Sound> = up.take(SCALE).map(sound).collect();
                if sounds.len() < 3 {
                    return Err(NoCheck::NoPartner);
                }
                Asks::InTurn(sounds)
            }
        };
        Ok(Self { kind, asks })
    }

    /// What is compared.
    pub const fn kind(&self) -> Kind {
        self.kind
    }

    /// What is to be plucked.
    pub const fn asks(&self) -> &Asks {
        &self.asks
    }
}

/// Partial `n` of a string whose first one is at `hz`: n·√((1 + B·n²)/(1 + B)) times that (H. Fletcher, JASA 36, 1964).
fn partial(hz: Hz, n: u32, stiffness: f64) -> f64 {
    let n = f64::from(n);
    hz.get() * n * ((1.0 + stiffness * n * n) / (1.0 + stiffness)).sqrt()
}
