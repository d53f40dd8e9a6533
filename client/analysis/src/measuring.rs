//! The partials of a note, each measured over what of it is the string's own.

use crate::fit::{CENT, FIRST_DECIDES_HZ, PartialPitch};
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
    /// How far most of them went from the first to the second half of their time, cents.
    pub(crate) glide: f64,
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
    let (mut glides, mut weights) = ([0.0; FOLLOWED_MAX], [0.0; FOLLOWED_MAX]);
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
        if partial.n == 1 && hz > FIRST_DECIDES_HZ && own.is_certain(at) {
            near_hz = hz;
        }
        glides[count] = 0.5 * span_s * turned.drift / hz / CENT;
        weights[count] = turned.energy * hz;
        certain[count] = own.is_certain(at);
        count += 1;
    }
    let glide = middle(glides.into_iter().zip(weights).take(count));
    let drawn = pitches[..count].iter_mut().zip(glides).zip(certain);
    for ((pitch, own), _) in drawn.filter(|(_, certain)| !certain) {
        let drawn = APART_SHARE * ((own - glide).abs() - APART_CENTS).max(0.0);
        pitch.sigma_hz = pitch.sigma_hz.hypot(drawn * pitch.hz * CENT);
    }
    Some(Measures {
        count,
        glide,
        own: own.share,
        near_hz,
    })
}
