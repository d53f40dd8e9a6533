//! Several strings that look like one: those of a chord, all of whose partials are partials of a lower string.
//!
//! Strings an octave, a twelfth and two octaves above a low one, and a fifth among them, have the low one's even partials and
//! every third one. The first, fifth, seventh, eleventh and thirteenth are nobody's then, while of a string that is plucked
//! they are as loud as those beside them, wherever it is plucked: where one falls on a node, others do not.

/// The partials that no string an octave or a twelfth above has: neither even ones nor every third.
const NOBODYS: [usize; 5] = [1, 5, 7, 11, 13];
/// The highest partial beside one of them.
pub(crate) const HIGHEST: usize = 14;
/// What is so much softer than the loudest partial, decibels, is as soft as anything.
const FLOOR_DB: f64 = 45.0;
/// One partial says no more than so many decibels, and fewer than so many say nothing: one may fall on a node, and pickups
/// are weak below.
const MOST_DB: f64 = 25.0;
const TELLING: usize = 3;

/// How far the partials of `power`, by their number from 1, that higher strings do not have stand above those beside them,
/// decibels in the mean; `None` where nothing can be told. A partial that was not looked for has no power.
pub(crate) fn own_above_others_db(power: &[f64; HIGHEST]) -> Option<f64> {
    let loudest = power.iter().copied().fold(0.0, f64::max);
    let level = |n: usize| {
        let share = power.get(n.checked_sub(1)?)? / loudest;
        (share > 0.0).then(|| (10.0 * share.log10()).max(-FLOOR_DB))
    };
    let (mut sum, mut count) = (0.0, 0_usize);
    for n in NOBODYS {
        let (Some(own), Some(above)) = (level(n), level(n + 1)) else {
            continue;
        };
        let beside = level(n - 1).map_or(above, |below| f64::midpoint(below, above));
        if own.max(beside) > -FLOOR_DB {
            sum += (own - beside).clamp(-MOST_DB, MOST_DB);
            count += 1;
        }
    }
    (count >= TELLING).then(|| sum / count as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Powers of the first partials of a string whose `first` partial is that of another one, plucked at this share of its
    /// length: the force on the bridge goes by sin(π·n·β)/n (N. H. Fletcher and T. D. Rossing, The Physics of Musical
    /// Instruments, chapter 2; from memory).
    fn pluck(power: &mut [f64; HIGHEST], first: usize, share: f64) {
        for n in 1..=HIGHEST / first {
            let shape = (std::f64::consts::PI * n as f64 * share).sin() / n as f64;
            power[n * first - 1] += shape * shape + 1e-9;
        }
    }

    #[test]
    fn a_string_has_all_its_partials_wherever_it_is_plucked_and_a_chord_lacks_those_that_are_nobodys() {
        for hundredth in 10..=50 {
            let share = f64::from(hundredth) / 100.0;
            let mut one = [0.0; HIGHEST];
            pluck(&mut one, 1, share);
            let one = own_above_others_db(&one).expect("partials");
            assert!(one > -8.0, "plucked at {share}: {one} dB");
            for chord in [&[2, 3][..], &[3, 4], &[2, 3, 4]] {
                // The low string answers.
                let mut power = [1e-5; HIGHEST];
                for &first in chord {
                    pluck(&mut power, first, share);
                }
                let several = own_above_others_db(&power).expect("partials");
                assert!(several < -11.0, "{chord:?} plucked at {share}: {several} dB");
            }
        }
    }

    /// Pickups hear the lowest strings' first partials badly, and a string may be plucked where its fifth has a node.
    #[test]
    fn a_low_string_that_a_pickup_hears_badly_is_still_one() {
        for hz in [33.0, 49.0, 65.0, 98.0, 131.0] {
            for hundredth in 33..=47 {
                let mut power = [0.0; HIGHEST];
                pluck(&mut power, 1, f64::from(hundredth) / 100.0);
                for (n, power) in (1..).zip(&mut power) {
                    // A high-pass of the second order at 160 Hz.
                    let below = (160.0 / (hz * f64::from(n))).powi(4);
                    *power /= 1.0 + below;
                }
                for followed in [6, 8, 12, HIGHEST] {
                    let mut heard = [0.0; HIGHEST];
                    heard[..followed].copy_from_slice(&power[..followed]);
                    let above = own_above_others_db(&heard);
                    assert!(
                        above.is_none_or(|above| above > -10.0),
                        "{hz} Hz, {followed} partials, plucked at 0.{hundredth}: {above:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn what_was_not_looked_for_says_nothing() {
        assert_eq!(own_above_others_db(&[0.0; HIGHEST]), None);
        let mut power = [0.0; HIGHEST];
        power[..6].copy_from_slice(&[1.0, 100.0, 1.0, 100.0, 1.0, 100.0]);
        assert_eq!(own_above_others_db(&power), None, "two are too few");
        power[6..8].copy_from_slice(&[1.0, 100.0]);
        let above = own_above_others_db(&power).expect("three partials");
        assert!((above + (20.0 + 20.0 + 20.0) / 3.0).abs() < 1e-9, "{above}");
    }
}
