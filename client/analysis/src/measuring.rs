//! The partials of a note, each measured over what of it is the string's own.

use crate::fit::{CENT, PartialPitch};
use crate::frequency::{Framing, turning};
use crate::own::{Watched, middle, own};
use crate::partials::FOLLOWED_MAX;

/// A drift is fitted from this length on, seconds.
pub(crate) const DRIFT_S: f64 = 0.45;
/// A partial that is left out altogether for so long would have been this far off, cents: a string's partials glide.
const LEFT_OUT_CENTS: f64 = 1.0;
/// The partials of a string glide together; where one goes further than this from what most do, cents, another sound is on
/// it, which draws its frequency along by this share of the rest.
const APART_CENTS: f64 = 0.5;
const APART_SHARE: f64 = 0.35;

/// What was measured of all partials.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Measures {
    /// How many have a pitch.
    pub(crate) count: usize,
    /// How far most of them went from the first to the second half of their time, cents, had they gone on as they began.
    pub(crate) glide: f64,
    /// How far most of them went from the first to the second half of the time in which they had their energy, cents: of one
    /// that fades soon it is known no further where it goes.
    pub(crate) moved: f64,
    /// How far its strongest partials went together as they began, cents: first partials wander by themselves while they fade,
    /// strings that are turned take all along.
    pub(crate) together: f64,
    /// Whether it falls from its pluck on.
    pub(crate) falls: bool,
    /// How much of the sound on the partials is the string's own.
    pub(crate) own: f64,
    /// About the pitch of the string, hertz.
    pub(crate) near_hz: f64,
}

/// The pitch of each of `partials`, all watched over the same time, into `pitches`; those that lie off what the others have in
/// common are left out.
///
/// Never allocates.
pub(crate) fn measure(
    partials: &[Watched<'_>],
    near_hz: f64,
    framing: Framing,
    pitches: &mut [PartialPitch; FOLLOWED_MAX],
) -> Option<Measures> {
    let own = own(partials, near_hz, framing)?;
    let (mut glides, mut moves, mut weights) = ([0.0; FOLLOWED_MAX], [0.0; FOLLOWED_MAX], [0.0; FOLLOWED_MAX]);
    let (mut count, mut near_hz) = (0, own.near_hz);
    let mut certain = [false; FOLLOWED_MAX];
    for (at, partial) in partials.iter().enumerate().take(FOLLOWED_MAX) {
        let whole = partial.frames.len();
        // Of a string that moves, nothing is left out.
        let stretch = if own.moves { Some((0, whole)) } else { own.stretch(at) };
        let Some((from, to)) = stretch else {
            continue;
        };
        let span_s = (to - from) as f64 * framing.hop_s;
        let turned = turning(
            &partial.frames[from..to],
            Framing {
                noise: partial.before,
                drift: span_s >= DRIFT_S,
                ..framing
            },
        );
        let Some(turned) = turned else {
            continue;
        };
        let hz = partial.hz + turned.hz;
        let left_out = 1.0 - (to - from) as f64 / whole as f64;
        pitches[count] = PartialPitch {
            n: partial.n,
            hz,
            sigma_hz: turned.sigma_hz.hypot(LEFT_OUT_CENTS * left_out * hz * CENT),
            amplitude: turned.energy.sqrt(),
        };
        // What the others say of it is then no doubt of where it is.
        if own.is_certain(at) {
            near_hz = hz;
        }
        glides[count] = 0.5 * span_s * turned.drift / hz / CENT;
        // Of a tone that does not fade, both are the same.
        moves[count] = 3.0_f64.sqrt() * turned.spread_s * turned.drift / hz / CENT;
        weights[count] = turned.energy * hz;
        certain[count] = own.is_certain(at);
        count += 1;
    }
    let glide = middle(glides.into_iter().zip(weights).take(count));
    let together = together(pitches[..count].iter().map(|pitch| pitch.amplitude).zip(glides));
    let moved = middle(moves.into_iter().zip(weights).take(count));
    let drawn = pitches[..count].iter_mut().zip(moves).zip(certain);
    for ((pitch, own), _) in drawn.filter(|(_, certain)| !certain) {
        let drawn = APART_SHARE * ((own - moved).abs() - APART_CENTS).max(0.0);
        pitch.sigma_hz = pitch.sigma_hz.hypot(drawn * pitch.hz * CENT);
    }
    Some(Measures {
        count,
        glide,
        moved,
        together,
        falls: own.falls,
        own: own.share,
        near_hz,
    })
}

/// What the three strongest partials have in common of how far each went, given as (amplitude, cents): the one in the middle, and
/// nothing of a single one.
pub(crate) fn together(partials: impl Iterator<Item = (f64, f64)>) -> f64 {
    let mut strongest = [(0.0, 0.0); 3];
    for mut next in partials {
        for place in &mut strongest {
            if next.0 > place.0 {
                std::mem::swap(place, &mut next);
            }
        }
    }
    // Where there are no three, the missing one stands still.
    let [a, b, c] = strongest.map(|(_, went)| went);
    a.min(b).max(a.max(b).min(c))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A first partial that wanders by itself while it fades, and a string that is turned.
    #[test]
    #[rustfmt::skip]
    fn partials_go_together_where_the_string_is_turned() {
        for (what, glides, cents) in [
            ("turned",                         &[(1.0, 9.0), (0.3, 8.0), (0.1, 10.0)][..],               9.0),
            ("the same, weaker ones aside",    &[(1.0, 9.0), (0.01, -3.0), (0.3, 8.0), (0.1, 10.0)],     9.0),
            ("the first wanders",              &[(1.0, 10.0), (0.3, 0.5), (0.1, -0.5)],                  0.5),
            ("two that agree",                 &[(1.0, -9.0), (0.3, -7.0)],                             -7.0),
            ("two that do not",                &[(1.0, -9.0), (0.3, 1.0)],                               0.0),
            ("one, which may have wandered",   &[(1.0, 9.0)],                                            0.0),
        ] {
            assert_eq!(together(glides.iter().copied()), cents, "{what}");
        }
    }
}
