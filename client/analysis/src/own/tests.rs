use super::*;
use crate::fit::fit_string;
use crate::measuring::measure;

const HOP_S: f64 = 0.01;
const FRAMING: Framing = Framing {
    hop_s: HOP_S,
    frame_s: 0.04,
    noise: 0.0,
    drift: false,
};
const HZ: f64 = 440.0;
const FRAMES: usize = 135;

/// A partial and what is said of it: its number, decibels below the first, and what another tone does on it.
#[derive(Clone, Copy)]
struct Sounding {
    n: usize,
    softer_db: f64,
    /// How far it lies off the law of the others, cents.
    off_cents: f64,
    /// Another tone: hertz above it, amplitude beside that of the partial at its pluck, and (from, to) in frames.
    other: Option<(f64, f64, (usize, usize))>,
}

const fn partial(n: usize, softer_db: f64) -> Sounding {
    Sounding {
        n,
        softer_db,
        off_cents: 0.0,
        other: None,
    }
}

/// Its frames: it falls by 1/e in 0.7 s, from a pitch that is `moved` cents away at a time in seconds.
fn frames(sounding: &Sounding, moved: impl Fn(f64) -> f64) -> Vec<Complex<f64>> {
    let hz = HZ * sounding.n as f64;
    let amplitude = 10.0_f64.powf(-sounding.softer_db / 20.0);
    let mut phase = 0.3 * sounding.n as f64;
    (0..FRAMES)
        .map(|m| {
            let t = m as f64 * HOP_S;
            let off = sounding.off_cents + moved(t);
            phase += std::f64::consts::TAU * hz * off * CENT * HOP_S;
            let own = Complex::from_polar(amplitude * (-t / 0.7).exp(), phase);
            let other = sounding.other.filter(|(.., (from, to))| (*from..*to).contains(&m));
            let other = other.map(|(above, strength, _)| {
                Complex::from_polar(amplitude * strength, std::f64::consts::TAU * above * t)
            });
            own + other.unwrap_or_default()
        })
        .collect()
}

/// Mean square amplitude of what was there before the onset, in a quiet room and in one where others play.
const QUIET: f64 = 1e-4;
const LOUD: f64 = 2e-3;

/// The partials with their frames, followed at the places that a usual stiffness foretells.
fn watched<'a>(soundings: &[Sounding], frames: &'a [Vec<Complex<f64>>], before: f64) -> Vec<Watched<'a>> {
    let stiffness = expected_stiffness(HZ);
    let partials = soundings.iter().zip(frames);
    let watched = partials.map(|(sounding, frames)| Watched {
        n: sounding.n,
        hz: HZ * partial_ratio(sounding.n, stiffness),
        before,
        frames,
    });
    watched.collect()
}

/// What is found the string's own of these partials, and where each was said to be.
fn found(
    soundings: &[Sounding],
    before: f64,
    moved: impl Fn(f64) -> f64,
) -> (Own, Vec<Option<crate::frequency::Turning>>) {
    let frames: Vec<_> = soundings.iter().map(|sounding| frames(sounding, &moved)).collect();
    let watched = watched(soundings, &frames, before);
    let own = own(&watched, HZ, FRAMING).expect("partials that stand clear");
    let turned = watched.iter().enumerate().map(|(at, partial)| {
        let (from, to) = own.stretch(at)?;
        let noise = partial.before;
        turning(&partial.frames[from..to], Framing { noise, ..FRAMING })
    });
    let turned = turned.collect();
    (own, turned)
}

#[test]
fn of_a_string_alone_all_is_its_own() {
    let partials = [partial(1, 0.0), partial(2, 12.0), partial(3, 15.0), partial(4, 20.0)];
    let (own, _) = found(&partials, QUIET, |_| 0.0);
    assert!(!own.moves);
    for (at, partial) in partials.iter().enumerate() {
        assert_eq!(own.stretch(at), Some((0, FRAMES)), "partial {}", partial.n);
    }
}

#[test]
fn another_tone_in_the_middle_third_is_left_out_with_what_is_behind_it() {
    for above_hz in [3.0, -4.0, 6.0] {
        let disturbed = Sounding {
            other: Some((above_hz, 0.8, (FRAMES / 3, 2 * FRAMES / 3))),
            ..partial(1, 0.0)
        };
        let partials = [disturbed, partial(2, 12.0), partial(3, 15.0)];
        let (own, turned) = found(&partials, LOUD, |_| 0.0);
        let (from, to) = own.stretch(0).expect("what is its own");
        assert!(from == 0 && to <= FRAMES / 2, "{above_hz} Hz: {from} to {to}");
        let turned = turned[0].expect("a frequency");
        let sigma_hz = turned.sigma_hz.max(0.02 * HZ * CENT);
        assert!(turned.hz.abs() < 3.0 * sigma_hz, "{above_hz} Hz: {turned:?}");
        // As a whole it is drawn along, and does not know it.
        let whole = frames(&disturbed, |_| 0.0);
        let whole = turning(&whole, FRAMING).expect("a frequency");
        assert!(whole.hz.abs() > 10.0 * turned.hz.abs(), "{above_hz} Hz: {whole:?}");
    }
}

#[test]
fn a_partial_off_the_law_of_all_others_is_left_out() {
    let off = Sounding {
        off_cents: 20.0,
        ..partial(3, 6.0)
    };
    let partials = [partial(1, 0.0), partial(2, 12.0), off, partial(4, 20.0)];
    let (own, _) = found(&partials, QUIET, |_| 0.0);
    assert_eq!(own.stretch(2), None);
    assert_eq!(own.stretch(0), Some((0, FRAMES)));
}

/// Nobody else is there who could have put it there.
#[test]
fn a_first_partial_that_stands_clear_is_the_strings_wherever_it_lies() {
    let first = |softer_db, off_cents| {
        let off = Sounding {
            off_cents,
            ..partial(1, softer_db)
        };
        [
            off,
            partial(2, 3.0),
            partial(3, 10.0),
            partial(4, 12.0),
            partial(5, 16.0),
        ]
    };
    for off_cents in [-14.0, 9.0] {
        let (own, turned) = found(&first(0.0, off_cents), QUIET, |_| 0.0);
        assert!(own.is_certain(0), "{off_cents} cents");
        assert_eq!(own.stretch(0), Some((0, FRAMES)), "{off_cents} cents");
        let hz = turned[0].expect("a frequency").hz;
        assert!((hz / HZ / CENT - off_cents).abs() < 0.2, "{off_cents} cents: {hz} Hz");
        // And it is what the pitch of the string means.
        let soundings = first(0.0, off_cents);
        let frames: Vec<_> = soundings.iter().map(|sounding| frames(sounding, |_| 0.0)).collect();
        let mut pitches = [PartialPitch::default(); FOLLOWED_MAX];
        let measures = measure(&watched(&soundings, &frames, QUIET), HZ, FRAMING, &mut pitches).expect("partials");
        let fitted = fit_string(&pitches[..measures.count], measures.near_hz).expect("a string");
        let cents = (fitted.hz / HZ / partial_ratio(1, expected_stiffness(HZ))).ln() / CENT;
        assert!((cents - off_cents).abs() < 0.3, "{off_cents} cents: {cents}");
    }
    let (own, _) = found(&first(0.0, 0.0), LOUD, |_| 0.0);
    assert!(!own.is_certain(0), "in a loud room");
    let (own, _) = found(&first(20.0, 0.0), QUIET, |_| 0.0);
    assert!(!own.is_certain(0), "where it is weak");
}

#[test]
fn a_string_that_is_turned_moves_and_one_that_glides_does_not() {
    let partials = [partial(1, 0.0), partial(2, 12.0), partial(3, 15.0), partial(4, 20.0)];
    let (turned, _) = found(&partials, QUIET, |t| (12.0 * (t - 0.4)).clamp(0.0, 8.0));
    assert!(turned.moves, "{turned:?}");
    let (glides, _) = found(&partials, QUIET, |t| 2.0 * (-t / 0.4).exp());
    assert!(!glides.moves, "{glides:?}");
}

#[test]
fn a_string_that_was_plucked_hard_falls_at_once_and_one_that_is_turned_later() {
    let partials = [partial(1, 0.0), partial(2, 12.0), partial(3, 15.0)];
    let falls = |moved: &dyn Fn(f64) -> f64| found(&partials, QUIET, moved).0.falls;
    assert!(falls(&|t| 14.0 * (-t / 0.5).exp()));
    assert!(falls(&|t| -9.0 * t));
    assert!(!falls(&|t| -30.0 * (t - 0.6).clamp(0.0, 0.3)));
    assert!(!falls(&|t| 9.0 * t));
}
