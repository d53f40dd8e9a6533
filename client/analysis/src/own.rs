//! What of a note's partials is the string's own: other sounds lie on them for a while, and draw their frequencies along.
//!
//! All partials of a string say one pitch, from its pluck to its end; what players and voices put onto them says another one,
//! swells, and lasts as long as their notes do.
//! So each partial is cut into pieces, each piece is measured by itself, and the pitch that explains the most pieces tells
//! which of them are the string's own.

use consort_transform::Complex;

use crate::character::{expected_stiffness, partial_ratio};
use crate::fit::{CENT, FIRST_DECIDES_HZ, PartialPitch, stray_cents};
use crate::frequency::{Framing, turning};
use crate::partials::FOLLOWED_MAX;

/// Pieces are about this long, seconds, and so many frames at least: shorter ones tell frequencies badly, longer ones hold
/// more than one note of a player.
const PIECE_S: f64 = 0.2;
const PIECE_FRAMES: f64 = 1.6;
/// The most pieces of one partial.
const PIECES_MAX: usize = 7;
/// A pitch is looked for so far from where the note was found, cents, in steps of so many: pieces are told no finer.
const SPAN_CENTS: f64 = 25.0;
const STEP_CENTS: f64 = 0.5;
const PLACES: usize = 2 * (SPAN_CENTS / STEP_CENTS) as usize + 1;
/// By themselves strings glide, and their partials beat: one piece is this far from the mean of all, cents (one standard
/// deviation of what recorded strings do in silence).
const WANDER_CENTS: f64 = 1.5;
/// The stiffness is known beforehand to this share of itself.
const STIFFNESS_SHARE: f64 = 0.7;
/// A second tone on a partial moves its amplitude as it moves its phase: of how fast the logarithm of a piece's amplitude
/// changes beside the partial's usual decay, this share is believed to be in its frequency, too.
const SWELL_SHARE: f64 = 0.5;
/// No partial of a string lasts for ever: its amplitude falls by a factor of e in 3 s at least.
const DECAY_LEAST_HZ: f64 = 0.05;
/// A piece further off than this many standard deviations is somebody else's, whatever it is.
const FAR: f64 = 6.0;
/// Where pieces are explained so much better by a pitch that moves, nats, it is the string that moves.
const MOVES_NATS: f64 = 14.0;

/// A string that falls by itself begins with this share of the speed at which it falls on the whole, or more: it is fastest
/// then, but the first piece of one that beats lies anywhere.
const FALLS_AT_ONCE: f64 = 0.6;

/// Log odds that a piece is the string's own before its frequency is looked at.
///
/// Logistic regression over 43,000 pieces of 1,500 generated plucks in all surroundings: for a piece of the first partial at
/// [`AT_HZ`] whose pitch is certain to one cent, as loud as what was there before the onset and as the loudest piece; for each
/// ten decibels above either; for each e-fold of the uncertainty, doubling of the partial's number and of its frequency; and
/// for a hertz by which it swells. What was there before and being the first count for more than they did there: with that,
/// pitches in loud rooms came out best, and nobody else waits for the pluck.
const BEGINS: f64 = 0.2;
const ABOVE_ROOM: f64 = 0.8;
const ABOVE_LOUDEST: f64 = 0.32;
const UNCERTAINTY: f64 = -1.4;
const NUMBER: f64 = 0.4;
const FREQUENCY: f64 = -0.4;
const AT_HZ: f64 = 300.0;
const SWELLS: f64 = -1.0;
const FIRST: f64 = 3.0;
/// No piece is surer than this to be its own before its frequency is looked at, nats.
const SUREST: f64 = 5.0;
/// But one of the first partial of a string above middle C is, whose power is so many times (30 dB) what was there before the onset, and no more than so many
/// times the least since: what others add to it moves it by less than it moves by itself.
const CLEAR: f64 = 1000.0;
const SWELLS_BY: f64 = 1.5;
const CERTAIN: f64 = 20.0;
/// How far each sign tells anything: tens of decibels, and e-folds above one cent.
const ROOM_RANGE: (f64, f64) = (-2.0, 5.0);
const LOUDEST_LEAST: f64 = -4.0;
const UNCERTAINTY_RANGE: (f64, f64) = (-2.0, 3.0);
/// What was there before is averaged over so many of the lowest partials.
const ROOM_PARTIALS: usize = 8;

/// A partial as it was followed.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Watched<'a> {
    pub(crate) n: usize,
    /// The frequency that was brought down to zero, hertz.
    pub(crate) hz: f64,
    /// Mean square amplitude in its band before the onset.
    pub(crate) before: f64,
    pub(crate) frames: &'a [Complex<f64>],
}

/// What is the string's own.
#[derive(Debug)]
pub(crate) struct Own {
    /// About the pitch, hertz.
    pub(crate) near_hz: f64,
    /// Whether the string itself moves, so that nothing can be told by its standing still.
    pub(crate) moves: bool,
    /// Whether it falls from its pluck on, and no faster later.
    pub(crate) falls: bool,
    /// How much of the sound on its partials is its own.
    pub(crate) share: f64,
    /// Which partials are it for certain, whatever the others say, as far as most of their power goes.
    certain: [bool; FOLLOWED_MAX],
    /// The frames of each partial that are its own, as (from, to); none where it lies off all others.
    stretches: [Option<(usize, usize)>; FOLLOWED_MAX],
}

impl Own {
    /// Whether the partial at this place is the string's for certain, wherever it lies.
    pub(crate) fn is_certain(&self, at: usize) -> bool {
        self.certain.get(at).copied().unwrap_or(false)
    }

    /// The frames of the partial at this place, as (from, to).
    pub(crate) fn stretch(&self, at: usize) -> Option<(usize, usize)> {
        self.stretches.get(at).copied().flatten()
    }
}

/// A piece of one partial.
#[derive(Clone, Copy, Debug, Default)]
struct Piece {
    at: usize,
    part: usize,
    /// Its frequency as that of the first partial, and one standard deviation of that beside the string's own straying, cents
    /// above where the note was found.
    cents: f64,
    noise_cents: f64,
    sigma_cents: f64,
    /// Whether it stands clear of all that was there before.
    is_clear: bool,
    /// How likely it is its own before its frequency is looked at, and where that is known.
    before: f64,
    own: f64,
    /// The band in which it may lie if it is not, cents.
    band_cents: f64,
    /// Mean square amplitude, and how fast the logarithm of the amplitude rises, on the scale of a frequency, hertz.
    power: f64,
    swell_hz: f64,
}

/// On what pieces agree: the pitch, cents above where the note was found, and what [`Own`] says of it.
struct Agreed {
    cents: f64,
    moves: bool,
    falls: bool,
}

/// Every piece of a note.
struct Pieces {
    all: [Piece; FOLLOWED_MAX * PIECES_MAX],
    count: usize,
    /// Pieces of each partial.
    parts: usize,
    frames: usize,
}

/// What of `partials`, all watched over the same time, belongs to a string near `near_hz`; `None` where nothing can be told.
///
/// Never allocates.
pub(crate) fn own(partials: &[Watched<'_>], near_hz: f64, framing: Framing) -> Option<Own> {
    let mut pieces = Pieces::cut(partials, near_hz, framing)?;
    let agreed = pieces.agree();
    let (mut stretches, mut certain) = ([None; FOLLOWED_MAX], [false; FOLLOWED_MAX]);
    for at in 0..partials.len().min(FOLLOWED_MAX) {
        stretches[at] = pieces.stretch(at);
        certain[at] = pieces.is_certain(at);
    }
    Some(Own {
        near_hz: near_hz * (agreed.cents * CENT).exp(),
        moves: agreed.moves,
        falls: agreed.falls,
        share: pieces.share(),
        certain,
        stretches,
    })
}

impl Pieces {
    fn cut(partials: &[Watched<'_>], near_hz: f64, framing: Framing) -> Option<Self> {
        let frames = partials.first()?.frames.len();
        let length_s = PIECE_S.max(PIECE_FRAMES * framing.frame_s);
        let parts = (frames as f64 * framing.hop_s / length_s).round() as usize;
        let mut pieces = Self {
            all: [Piece::default(); FOLLOWED_MAX * PIECES_MAX],
            count: 0,
            parts: parts.clamp(1, PIECES_MAX),
            frames,
        };
        let mut loudest = 0.0_f64;
        let mut strongest = 0.0_f64;
        for partial in partials {
            strongest = strongest.max(power(partial.frames).sqrt());
        }
        let room = &partials[..partials.len().min(ROOM_PARTIALS)];
        let room = room.iter().map(|partial| partial.before).sum::<f64>() / room.len() as f64;
        for (at, partial) in partials.iter().enumerate().take(FOLLOWED_MAX) {
            let first = pieces.count;
            let stray = Stray::of(partial, near_hz, strongest);
            let mut least = f64::INFINITY;
            for part in 0..pieces.parts {
                let frames = &partial.frames[pieces.begin(part)..pieces.begin(part + 1)];
                let Some(piece) = Piece::of(frames, partial, &stray, room, framing) else {
                    continue;
                };
                loudest = loudest.max(piece.power);
                least = least.min(piece.power);
                let first = if part == 0 { FIRST } else { 0.0 };
                pieces.all[pieces.count] = Piece {
                    at,
                    part,
                    is_clear: piece.is_clear && piece.power <= SWELLS_BY * least,
                    before: piece.before + first,
                    ..piece
                };
                pieces.count += 1;
            }
            let of_partial = &mut pieces.all[first..pieces.count];
            let usual = middle(of_partial.iter().map(|piece| (piece.swell_hz, piece.power)));
            for piece in of_partial {
                piece.wander(usual.min(-DECAY_LEAST_HZ), partial.hz);
            }
        }
        for piece in &mut pieces.all[..pieces.count] {
            let odds = piece.before + ABOVE_LOUDEST * tens_of_db(piece.power / loudest).max(LOUDEST_LEAST);
            let odds = if piece.is_clear { CERTAIN } else { odds.min(SUREST) };
            piece.before = 1.0 / (1.0 + (-odds).exp());
        }
        (pieces.count > 0).then_some(pieces)
    }

    /// The frame with which a part begins.
    fn begin(&self, part: usize) -> usize {
        part * self.frames / self.parts
    }

    /// On what the pieces agree; then it is known of each how likely it is the string's own.
    fn agree(&mut self) -> Agreed {
        let mut likely = [[0.0; PLACES]; PIECES_MAX];
        for piece in &self.all[..self.count] {
            let strange = piece.strange();
            let reach = FAR * piece.sigma_cents;
            let from = place(piece.cents - reach);
            let to = place(piece.cents + reach);
            for (at, likely) in likely[piece.part].iter_mut().enumerate().take(to + 1).skip(from) {
                *likely += (1.0 + piece.likely(cents_at(at)) / strange).ln();
            }
        }
        let best = |of: &dyn Fn(usize) -> f64| {
            let at = (0..PLACES)
                .max_by(|&a, &b| of(a).total_cmp(&of(b)))
                .unwrap_or(PLACES / 2);
            (at, of(at))
        };
        let (at, still) = best(&|at| likely.iter().map(|part| part[at]).sum());
        let moving: f64 = likely.iter().map(|part| best(&|at| part[at]).1).sum();
        let mut way = [0.0; PIECES_MAX];
        for (way, part) in way.iter_mut().zip(&likely) {
            *way = cents_at(best(&|at| part[at]).0);
        }
        let falls = falls(&way[..self.parts]);
        let cents = cents_at(at);
        for piece in &mut self.all[..self.count] {
            let own = piece.likely(cents);
            piece.own = own / (own + piece.strange());
        }
        Agreed {
            cents,
            moves: moving - still > MOVES_NATS,
            falls,
        }
    }

    /// How much of the power of all pieces is the string's own.
    fn share(&self) -> f64 {
        let (mut own, mut all) = (0.0, 0.0);
        for piece in &self.all[..self.count] {
            own += piece.power * piece.own;
            all += piece.power;
        }
        own / all
    }

    /// Whether most of the power of one partial stands clear of all that was there before.
    fn is_certain(&self, at: usize) -> bool {
        let (mut clear, mut all) = (0.0, 0.0);
        for piece in self.all[..self.count].iter().filter(|piece| piece.at == at) {
            clear += if piece.is_clear { piece.power } else { 0.0 };
            all += piece.power;
        }
        clear > 0.5 * all
    }

    /// The frames of one partial that are its own: all of them, or the pieces in a row that tell its frequency best, those of
    /// most power where it is certain, for over what is another's the phase may have slipped by a turn.
    fn stretch(&self, at: usize) -> Option<(usize, usize)> {
        let pieces = self.all[..self.count].iter().filter(|piece| piece.at == at);
        if pieces.clone().all(Piece::is_own) {
            return pieces.clone().next().map(|_| (0, self.frames));
        }
        let certain = self.is_certain(at);
        let mut best = (0.0, None);
        let mut run = (0.0, 0, 0);
        for piece in pieces.filter(|piece| piece.is_own()) {
            if run.2 != piece.part {
                run = (0.0, piece.part, piece.part);
            }
            let tells = if certain {
                piece.power
            } else {
                piece.noise_cents.powi(-2)
            };
            run = (run.0 + piece.own * tells, run.1, piece.part + 1);
            if run.0 > best.0 {
                best = (run.0, Some((self.begin(run.1), self.begin(run.2))));
            }
        }
        best.1
    }
}

impl Piece {
    /// These `frames` of a partial; `room` is what was in its band and its neighbours' before the onset.
    fn of(frames: &[Complex<f64>], partial: &Watched<'_>, stray: &Stray, room: f64, framing: Framing) -> Option<Self> {
        let noise = partial.before;
        let turned = turning(frames, Framing { noise, ..framing })?;
        let hz = Some(partial.hz + turned.hz).filter(|hz| *hz > 0.0)?;
        let swell_hz = swell_hz(frames, framing.hop_s);
        let noise_cents = turned.sigma_hz / hz / CENT;
        let before = BEGINS
            + ABOVE_ROOM * tens_of_db(turned.energy / room).clamp(ROOM_RANGE.0, ROOM_RANGE.1)
            + UNCERTAINTY * noise_cents.ln().clamp(UNCERTAINTY_RANGE.0, UNCERTAINTY_RANGE.1)
            + NUMBER * (partial.n as f64).log2()
            + FREQUENCY * (hz / AT_HZ).log2()
            + SWELLS * swell_hz.clamp(0.0, 1.0);
        Some(Self {
            cents: (hz / stray.hz).ln() / CENT,
            noise_cents,
            sigma_cents: stray.cents,
            is_clear: partial.n == 1 && stray.hz > FIRST_DECIDES_HZ && turned.energy > CLEAR * room.max(partial.before),
            before,
            swell_hz,
            power: turned.energy,
            band_cents: 1.0 / framing.frame_s / partial.hz / CENT,
            ..Self::default()
        })
    }

    /// Adds what strings do by themselves, and what goes with a swell beside the `usual` one, to how uncertain it is.
    fn wander(&mut self, usual_hz: f64, hz: f64) {
        let swell_cents = SWELL_SHARE * (self.swell_hz - usual_hz) / hz / CENT;
        self.noise_cents = (self.noise_cents.powi(2) + swell_cents.powi(2) + WANDER_CENTS.powi(2)).sqrt();
        self.sigma_cents = self.noise_cents.hypot(self.sigma_cents);
    }

    fn is_own(&self) -> bool {
        self.own > 0.5
    }

    /// How likely it is the string's own and lies where it does, if the string is at `cents`: by Student's law with four degrees
    /// of freedom, since now and then a string's own partials stray far.
    fn likely(&self, cents: f64) -> f64 {
        let miss = (self.cents - cents) / self.sigma_cents;
        let u = 1.0 + 0.25 * miss * miss;
        self.before * 0.375 / (u * u * u.sqrt() * self.sigma_cents)
    }

    /// How likely it is somebody else's and lies there.
    fn strange(&self) -> f64 {
        (1.0 - self.before).max(f64::EPSILON) / self.band_cents
    }
}

/// Where a partial should be, and how far from there it may be.
struct Stray {
    hz: f64,
    cents: f64,
}

impl Stray {
    fn of(partial: &Watched<'_>, near_hz: f64, strongest: f64) -> Self {
        let stiffness = expected_stiffness(near_hz);
        let n2 = (partial.n * partial.n) as f64;
        let stiff_cents = 0.5 * (n2 - 1.0) * STIFFNESS_SHARE * stiffness / CENT;
        let itself = PartialPitch {
            n: partial.n,
            hz: partial.hz,
            sigma_hz: 0.0,
            amplitude: power(partial.frames).sqrt(),
        };
        Self {
            hz: near_hz * partial_ratio(partial.n, stiffness),
            cents: stiff_cents.hypot(stray_cents(&itself, strongest)),
        }
    }
}

/// Whether a string that was here, cents, piece by piece, falls as one does that was plucked hard: from the pluck on, and no
/// faster later. One whose pin is turned waits until it is heard. Fewer than three pieces do not tell.
///
/// What a pluck adds to the pitch follows the string's energy (K. A. Legge and N. H. Fletcher, JASA 76, 1984, 5–12).
fn falls(way: &[f64]) -> bool {
    let &[first, second, .., last] = way else {
        return false;
    };
    let steps = (way.len() - 1) as f64;
    first - second > FALLS_AT_ONCE * (first - last) / steps && last < first
}

/// Mean square amplitude.
fn power(frames: &[Complex<f64>]) -> f64 {
    frames.iter().map(|z| z.norm_sqr()).sum::<f64>() / frames.len().max(1) as f64
}

/// How fast the logarithm of the amplitude rises, on the scale of a frequency, hertz.
fn swell_hz(frames: &[Complex<f64>], hop_s: f64) -> f64 {
    let (mut w, mut wt, mut wtt, mut wa, mut wta) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (m, z) in frames.iter().enumerate() {
        let (t, power) = (m as f64 * hop_s, z.norm_sqr());
        let log = 0.5 * power.max(f64::MIN_POSITIVE).ln();
        w += power;
        wt += power * t;
        wtt += power * t * t;
        wa += power * log;
        wta += power * t * log;
    }
    let spread = w * wtt - wt * wt;
    if spread > 0.0 {
        (w * wta - wt * wa) / spread / std::f64::consts::TAU
    } else {
        0.0
    }
}

/// Of values with weights, the one that has half of all weight below it; 0 of none.
pub(crate) fn middle(weighted: impl Iterator<Item = (f64, f64)> + Clone) -> f64 {
    let half = 0.5 * weighted.clone().map(|(_, weight)| weight).sum::<f64>();
    let below = |value: f64| {
        let lower = weighted.clone().filter(|&(other, _)| other <= value);
        lower.map(|(_, weight)| weight).sum::<f64>()
    };
    let enough = weighted
        .clone()
        .map(|(value, _)| value)
        .filter(|&value| below(value) >= half);
    enough.min_by(f64::total_cmp).unwrap_or(0.0)
}

fn tens_of_db(power: f64) -> f64 {
    power.max(f64::MIN_POSITIVE).log10()
}

fn cents_at(place: usize) -> f64 {
    place as f64 * STEP_CENTS - SPAN_CENTS
}

/// The place nearest to a pitch.
fn place(cents: f64) -> usize {
    (((cents + SPAN_CENTS) / STEP_CENTS).round().max(0.0) as usize).min(PLACES - 1)
}

#[cfg(test)]
mod tests;
