//! Which strings were plucked one after the other, judged together: a run goes on in its direction from string to string;
//! now and then one is hit twice, skipped, or is another one altogether.

use super::likeness::{Likeness, register};
use crate::context::STRINGS_MAX;

/// How likely the next pluck is the string beside the last, further in the same direction or back; the same string again; the
/// one after the next; and any other string (assumed: five wrong notes of a hundred, and one run in five that turns).
const ON: f64 = 0.78;
const BACK: f64 = 0.04;
const AGAIN: f64 = 0.04;
const SKIPS: f64 = 0.03;
const ANY: f64 = 0.002;
/// Nats for what began to sound being no pluck of hers: as such, for each of the string that explains it best, for each decibel
/// that it is softer than plucks lately, over these, and for the logarithm of its novelty; for best strings below the first
/// frequency, hertz, and what is added above the second, where novelty is more.
///
/// Fitted to 2,600 plucks and 400 others of virtual runs and of runs over harps built from recordings, by logistic regression,
/// and rounded; of these odds.
const NONE: (f64, f64) = (-2.6, -0.2);
const NONE_ODDS: f64 = 0.15;
const NONE_PER_NAT: f64 = -0.55;
const NONE_PER_DB: f64 = 0.3;
const SOFTER_DB: (f64, f64) = (5.0, 20.0);
const NONE_NOVELTY: (f64, f64) = (-2.2, -0.9);
const NOVELTY_LEAST: f64 = 0.02;
/// A string that was plucked a moment ago and swells adds much, and is not new: below this novelty it is less likely that it was
/// plucked again, by this power.
const SWELL_NOVELTY: f64 = 0.1;
const SWELL_POWER: f64 = 8.0;
/// Plucked again it adds little to its own ringing, which the finger has stopped, and yet is new: each decibel softer than the
/// first of these speaks for that so much, nats, up to the second, beside what explains the sound best; the more, the newer it is
/// up to this novelty, by this power.
const AGAIN_DB: (f64, f64) = (13.0, 28.0);
const AGAIN_PER_DB: f64 = 0.5;
const AGAIN_NOVELTY: f64 = 0.2;
const AGAIN_POWER: f64 = 3.0;
/// Nothing of that where a string explains what was added clearly, by so many nats: that is another one, plucked softly
/// (assumed).
const AGAIN_NATS: f64 = 6.0;

/// A probability for each string, reached downwards and upwards, that is with rising and falling numbers.
type Ways = [[f64; STRINGS_MAX]; 2];

/// What is believed of something that began to sound.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Belief {
    /// The string that was plucked last when it had begun.
    last: Ways,
    /// As far as it was this pluck.
    plucked: Ways,
}

/// How likely the sound of one pluck alone is, for each string, and if it was none; on any scale.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Says {
    strings: [f64; STRINGS_MAX],
    /// The same string as before is at least as likely as this.
    again: f64,
    none: f64,
}

/// What something that began to sound most likely was.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Verdict {
    /// The likeliest string, counted from 0.
    pub(crate) string: usize,
    /// How likely it is that one.
    pub(crate) sure: f64,
    /// How likely no string was plucked.
    pub(crate) none: f64,
}

impl Says {
    /// Nothing.
    pub(crate) const NOTHING: Self = Self {
        strings: [1.0; STRINGS_MAX],
        again: 0.0,
        none: 1.0,
    };

    /// What the sound of a pluck alone says, by how well each string explains it, how new it is, and how many decibels softer than
    /// plucks lately; of what began to sound lately `others` were no plucks, as a share, and which strings were plucked lately
    /// tells `rings`.
    pub(crate) fn new(
        likeness: &[Likeness],
        rings: &[bool; STRINGS_MAX],
        (novelty, softer_db): (f64, f64),
        others: f64,
    ) -> Self {
        let best = likeness.iter().max_by(|a, b| a.nats.total_cmp(&b.nats));
        let best = best.copied().unwrap_or(Likeness::NONE);
        let mut strings = [0.0; STRINGS_MAX];
        for (string, likeness) in strings.iter_mut().zip(likeness) {
            *string = (likeness.nats - best.nats).exp();
        }
        // What it is if it is none was weighed while any string was as likely as any other.
        let all = strings.iter().sum::<f64>() / likeness.len().max(1) as f64;
        let register = register(best.hz);
        let of = |(low, more): (f64, f64)| low + register * more;
        let softer = |(from, to): (f64, f64)| softer_db.clamp(from, to) - from;
        let new = novelty.max(NOVELTY_LEAST);
        let none = of(NONE) + NONE_PER_NAT * best.nats + NONE_PER_DB * softer(SOFTER_DB) + of(NONE_NOVELTY) * new.ln();
        let swells = (new / SWELL_NOVELTY).min(1.0).powf(SWELL_POWER);
        for (string, _) in strings.iter_mut().zip(rings).filter(|(_, rings)| **rings) {
            *string *= swells;
        }
        let again = if softer(AGAIN_DB) > 0.0 && best.nats < AGAIN_NATS {
            (new / AGAIN_NOVELTY).min(1.0).powf(AGAIN_POWER) * (AGAIN_PER_DB * softer(AGAIN_DB)).exp()
        } else {
            0.0
        };
        Self {
            strings,
            again,
            none: all * none.exp() * others / (1.0 - others) / NONE_ODDS,
        }
    }

    /// The same where no string was plucked before.
    pub(crate) fn first(self) -> Self {
        Self { again: 0.0, ..self }
    }

    /// How likely it is the string `at` again.
    fn again(&self, at: usize) -> f64 {
        let is_string = self.strings[at] > 0.0;
        if is_string {
            self.strings[at].max(self.again)
        } else {
            0.0
        }
    }
}

impl Belief {
    /// Nothing is known.
    pub(crate) const ANY: Self = Self {
        last: [[1.0; STRINGS_MAX]; 2],
        plucked: [[1.0; STRINGS_MAX]; 2],
    };

    /// What is believed of what sounds like `says`, where this is believed of what was before it.
    pub(crate) fn forward(&self, says: &Says) -> Self {
        let any = ANY * self.last.iter().flatten().sum::<f64>();
        let mut plucked = [[any; STRINGS_MAX]; 2];
        for (way, plucked) in plucked.iter_mut().enumerate() {
            let (same, other) = (&self.last[way], &self.last[1 - way]);
            for (to, plucked) in plucked.iter_mut().enumerate() {
                if let Some(from) = beside(to, 1 - way, 1) {
                    *plucked += ON * same[from] + BACK * other[from];
                }
                if let Some(from) = beside(to, 1 - way, 2) {
                    *plucked += SKIPS * same[from];
                }
                *plucked *= says.strings[to];
                *plucked += AGAIN * same[to] * says.again(to);
            }
        }
        let mut last = plucked;
        for (last, before) in last.iter_mut().flatten().zip(self.last.iter().flatten()) {
            *last += says.none * before;
        }
        let all = last.iter().flatten().sum::<f64>().max(f64::MIN_POSITIVE);
        for belief in last.iter_mut().chain(&mut plucked).flatten() {
            *belief /= all;
        }
        Self { last, plucked }
    }

    /// The likeliest string, where this is believed from before and `after` is told by what came after.
    pub(crate) fn verdict(&self, after: &After) -> Verdict {
        let sum = |ways: &Ways, at: usize| ways[0][at] * after.0[0][at] + ways[1][at] * after.0[1][at];
        let plucked = |at: usize| sum(&self.plucked, at);
        let string = (0..STRINGS_MAX).fold(0, |best, at| if plucked(at) > plucked(best) { at } else { best });
        let last: f64 = (0..STRINGS_MAX).map(|at| sum(&self.last, at)).sum();
        let all = last.max(f64::MIN_POSITIVE);
        Verdict {
            string,
            sure: plucked(string) / all,
            none: 1.0 - (0..STRINGS_MAX).map(plucked).sum::<f64>() / all,
        }
    }
}

/// What is told of the string that was plucked last, by all that came after it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct After(Ways);

impl After {
    /// Nothing came after it.
    pub(crate) const NOTHING: Self = Self([[1.0; STRINGS_MAX]; 2]);

    /// The same for the one before, where what came after that sounds like `says`.
    pub(crate) fn before(&self, says: &Says) -> Self {
        let told = |way: usize, at: usize| self.0[way][at] * says.strings[at];
        let any: f64 = (0..2)
            .flat_map(|way| (0..STRINGS_MAX).map(move |at| told(way, at)))
            .sum();
        let mut before = [[ANY * any; STRINGS_MAX]; 2];
        for (way, before) in before.iter_mut().enumerate() {
            for (from, before) in before.iter_mut().enumerate() {
                *before += (AGAIN * says.again(from) + says.none) * self.0[way][from];
                if let Some(to) = beside(from, way, 1) {
                    *before += ON * told(way, to);
                }
                if let Some(to) = beside(from, 1 - way, 1) {
                    *before += BACK * told(1 - way, to);
                }
                if let Some(to) = beside(from, way, 2) {
                    *before += SKIPS * told(way, to);
                }
            }
        }
        let all = before.iter().flatten().sum::<f64>().max(f64::MIN_POSITIVE);
        before.iter_mut().flatten().for_each(|told| *told /= all);
        Self(before)
    }
}

/// The string so many steps further down (way 0) or up (way 1).
fn beside(at: usize, way: usize, steps: usize) -> Option<usize> {
    if way == 0 {
        Some(at + steps).filter(|at| *at < STRINGS_MAX)
    } else {
        at.checked_sub(steps)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The likeliest strings of plucks that sound like these, each (string, score), 0 for none; and how sure the middle one is.
    fn judge(plucks: &[&[(usize, f64)]]) -> (Vec<usize>, f64) {
        let score =
            |pluck: &[(usize, f64)], at| pluck.iter().find(|(string, _)| *string == at).map_or(0.0, |(_, s)| *s);
        let says: Vec<Says> = plucks
            .iter()
            .map(|pluck| {
                let likeness: Vec<Likeness> = (0..STRINGS_MAX)
                    .map(|at| Likeness {
                        score: score(pluck, at),
                        nats: 24.0 * score(pluck, at),
                        hz: 440.0,
                    })
                    .collect();
                Says::new(&likeness, &[false; STRINGS_MAX], (0.3, 0.0), 0.1)
            })
            .collect();
        let mut before = vec![Belief::ANY];
        for says in &says {
            before.push(before[before.len() - 1].forward(says));
        }
        let mut after = vec![After::NOTHING];
        for says in says.iter().skip(1).rev() {
            after.push(after[after.len() - 1].before(says));
        }
        after.reverse();
        let found: Vec<Verdict> = before[1..].iter().zip(&after).map(|(a, b)| a.verdict(b)).collect();
        let told = |verdict: &Verdict| if verdict.none > verdict.sure { 0 } else { verdict.string };
        (found.iter().map(told).collect(), found[found.len() / 2].sure)
    }

    #[test]
    fn what_is_no_string_stands_between_nothing() {
        let (found, _) = judge(&[
            &[(30, 0.8)],
            &[(31, 0.7)],
            &[(12, 0.1), (40, 0.1)],
            &[(32, 0.8)],
            &[(33, 0.8)],
        ]);
        assert_eq!(found, [30, 31, 0, 32, 33]);
    }

    #[test]
    fn strings_on_both_sides_tell_an_octave_that_sounds_alike() {
        let (found, sure) = judge(&[
            &[(30, 0.8)],
            &[(31, 0.7)],
            &[(32, 0.6), (39, 0.7)],
            &[(33, 0.8)],
            &[(34, 0.8)],
        ]);
        assert_eq!(found, [30, 31, 32, 33, 34]);
        assert!(sure > 0.97, "{sure}");
        let (found, _) = judge(&[&[(32, 0.6), (39, 0.7)]]);
        assert_eq!(found, [39], "alone, the better one");
    }

    #[test]
    fn the_direction_goes_on() {
        for strings in [[30, 31, 32, 33], [33, 32, 31, 30]] {
            let [first, second, third, fourth] = strings;
            let (found, sure) = judge(&[
                &[(first, 0.8)],
                &[(second, 0.8)],
                &[(third, 0.6), (first, 0.6)],
                &[(fourth, 0.5), (second, 0.5)],
            ]);
            assert_eq!(found, strings);
            assert!(sure > 0.9, "{sure}");
        }
    }

    #[test]
    fn a_wrong_note_that_sounds_clearly_is_believed() {
        let (found, sure) = judge(&[&[(30, 0.8)], &[(31, 0.7)], &[(12, 0.8)], &[(33, 0.8)], &[(34, 0.8)]]);
        assert_eq!(found, [30, 31, 12, 33, 34]);
        assert!(sure > 0.95, "{sure}");
        let (found, _) = judge(&[&[(30, 0.8)], &[(31, 0.7)], &[(31, 0.7)], &[(33, 0.8)]]);
        assert_eq!(found, [30, 31, 31, 33]);
    }

    /// How sure it is that the second of two plucks was the string 30 of the first again, where it sounds like 30 and is so new and
    /// so many decibels softer.
    fn again(novelty: f64, softer_db: f64, score: f64) -> f64 {
        let likeness = |score: f64| -> Vec<Likeness> {
            (0..STRINGS_MAX)
                .map(|at| Likeness {
                    score: if at == 30 { score } else { 0.0 },
                    nats: if at == 30 { 24.0 * score } else { 0.0 },
                    hz: 196.0,
                })
                .collect()
        };
        let first = Says::new(&likeness(0.8), &[false; STRINGS_MAX], (0.4, 0.0), 0.05).first();
        let mut rings = [false; STRINGS_MAX];
        rings[30] = true;
        let second = Says::new(&likeness(score), &rings, (novelty, softer_db), 0.05);
        let verdict = Belief::ANY.forward(&first).forward(&second).verdict(&After::NOTHING);
        if verdict.string == 30 { verdict.sure } else { 0.0 }
    }

    #[test]
    fn a_string_that_is_plucked_again_is_told_from_one_that_swells() {
        assert!(
            again(0.4, 30.0, 0.0) > 0.6,
            "little that is quite new is the same string again"
        );
        assert!(again(0.04, 0.0, 0.4) < 0.5, "much that is not new is a swell");
    }

    /// However soft, what one string explains clearly is that string, and not the one before it again.
    #[test]
    fn a_soft_pluck_that_is_clear_is_no_string_plucked_again() {
        let likeness = |at: usize, nats: f64| -> Vec<Likeness> {
            (0..STRINGS_MAX)
                .map(|string| Likeness {
                    score: if string == at { 0.4 } else { 0.0 },
                    nats: if string == at { nats } else { 0.0 },
                    hz: 196.0,
                })
                .collect()
        };
        let says = |nats| Says::new(&likeness(14, nats), &[false; STRINGS_MAX], (0.15, 24.0), 0.05);
        assert!(says(1.0).again > 0.0);
        assert_eq!(says(14.0).again.to_bits(), 0.0_f64.to_bits());
    }

    #[test]
    fn of_two_that_sound_alike_and_lie_alike_neither_is_sure() {
        let (_, sure) = judge(&[&[(30, 0.8)], &[(12, 0.6), (40, 0.6)], &[(25, 0.8)]]);
        assert!(sure < 0.6, "{sure}");
    }
}
