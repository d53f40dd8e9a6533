//! Which string was plucked: every string's comb is held against the peaks, and beliefs are updated as the note unfolds.

mod score;
mod worth;

use self::score::Comb;
use self::worth::{ORDER_NATS, again_worth, offset_worth};
use crate::character::{expected_stiffness, partial_ratio};
use crate::context::{Context, Order, STRINGS_MAX};
use crate::evidence::{Evidence, Peak};
use crate::fit::CENT;

/// Pitches further than this from every target are not looked for, cents.
const REACH_CENTS: f64 = 250.0;
/// A string that was chosen by hand may be a new one on its way up: it is looked for from an octave below, cents.
const CHOSEN_BELOW_CENTS: f64 = 1300.0;
/// It is what sounds as long as it explains this share of what another string would explain: what is too high for it, or
/// fits its lower octave with every second partial alone, is another one.
const CHOSEN_SHARE: f64 = 0.6;
/// How many of the strongest peaks suggest pitches, and as which partials.
const SUGGESTING: usize = 12;
const SUGGESTED_PARTIAL_MAX: usize = 14;
/// Pitches closer than this to one that was suggested before are the same, cents.
const SAME_CENTS: f64 = 2.0;
const PITCHES_MAX: usize = 320;
/// Pitches further apart than this are different ones, and those that lie within so much of an octave are one, cents.
const ANOTHER_PITCH_CENTS: f64 = 30.0;
const OCTAVE_WITHIN_CENTS: f64 = 40.0;
/// Nats per unit of score, and the share of the earlier belief that stays at each look.
const NATS: f64 = 30.0;
const MEMORY: f64 = 0.5;

/// What is believed of one string.
#[derive(Clone, Copy, Debug, Default)]
struct Belief {
    evidence: f64,
    /// Pitch and score that explain the sound best if it is this string.
    hz: f64,
    score: f64,
    seen: bool,
}

/// What is believed of all strings about one pluck.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Beliefs {
    strings: [Belief; STRINGS_MAX],
}

/// The string and pitch that explain a pluck best.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Verdict {
    pub(crate) string: u8,
    pub(crate) hz: f64,
    /// How much of the sound is explained, 1 at most.
    pub(crate) score: f64,
    /// How far the belief stands above that in any other string that would mean a different pitch, nats.
    pub(crate) lead: f64,
    /// How far it stands above that in any other string at all, nats.
    pub(crate) string_lead: f64,
    /// How far it stands above that in the same an octave lower, nats.
    pub(crate) octave_lead: f64,
}

impl Beliefs {
    pub(crate) const fn new() -> Self {
        Self {
            strings: [Belief {
                evidence: 0.0,
                hz: 0.0,
                score: 0.0,
                seen: false,
            }; STRINGS_MAX],
        }
    }

    /// The most believed string, if any pitch was suggested.
    pub(crate) fn verdict(&self, context: &Context) -> Option<Verdict> {
        let next = context.next_in_order();
        let worth = |number: u8, belief: &Belief| {
            let string = context.string(number)?;
            let offset = 1200.0 * (belief.hz / string.target.get()).log2();
            let mut worth =
                belief.evidence + offset_worth(offset, string.offset, context.spread, in_hand(context, number));
            if next == Some(number) {
                worth += ORDER_NATS;
            }
            if in_hand(context, number) {
                worth += again_worth(string.offset);
            }
            belief.seen.then_some(worth)
        };
        let all = || {
            (1u8..)
                .zip(&self.strings[..context.len()])
                .filter_map(|(n, b)| Some((n, b, worth(n, b)?)))
        };
        let (string, belief, best) = all().max_by(|a, b| a.2.total_cmp(&b.2))?;
        if let Some(chosen) = context.chosen
            && let Some(own) = self.strings[..context.len()].get(usize::from(chosen).wrapping_sub(1))
            && own.seen
            && own.score >= CHOSEN_SHARE * belief.score
        {
            // No other string competes with the one that she has in hand.
            return Some(Verdict {
                string: chosen,
                hz: own.hz,
                score: own.score,
                lead: f64::INFINITY,
                string_lead: f64::INFINITY,
                octave_lead: f64::INFINITY,
            });
        }
        let mut verdict = Verdict {
            string,
            hz: belief.hz,
            score: belief.score,
            lead: f64::INFINITY,
            string_lead: f64::INFINITY,
            octave_lead: f64::INFINITY,
        };
        for (number, other, worth) in all() {
            if number != string {
                verdict.string_lead = verdict.string_lead.min(best - worth);
                let above_cents = 1200.0 * (other.hz / belief.hz).log2();
                if (above_cents + 1200.0).abs() < OCTAVE_WITHIN_CENTS {
                    verdict.octave_lead = verdict.octave_lead.min(best - worth);
                }
                if above_cents.abs() > ANOTHER_PITCH_CENTS {
                    verdict.lead = verdict.lead.min(best - worth);
                }
            }
        }
        Some(verdict)
    }
}

/// Whether a string is the one that was plucked last in a tuning, whose pin may have been turned since.
fn in_hand(context: &Context, number: u8) -> bool {
    context.order == Order::Usual && context.previous == Some(number)
}

/// Holds the peaks of one look against every string.
pub(crate) struct Identifier {
    pitches: Vec<(f64, f64)>,
}

impl Identifier {
    pub(crate) fn new() -> Self {
        Self {
            pitches: Vec::with_capacity(PITCHES_MAX),
        }
    }

    /// Updates `beliefs` with the peaks of a look.
    pub(crate) fn look(&mut self, evidence: &Evidence, context: &Context, beliefs: &mut Beliefs) {
        let seconds = evidence.seconds();
        self.suggest(evidence.peaks(), context);
        for (hz, score) in &mut self.pitches {
            let first = Comb { hz: *hz, seconds }.score(evidence);
            let refined = Comb { hz: first.1, seconds }.score(evidence);
            (*hz, *score) = if refined.0 > first.0 {
                (first.1, refined.0)
            } else {
                (*hz, first.0)
            };
        }
        for (number, string) in context.strings() {
            let belief = &mut beliefs.strings[usize::from(number) - 1];
            let best = self
                .pitches
                .iter()
                .filter(|&&(hz, _)| is_sought(hz, number, string.target.get(), context))
                .map(|&(hz, score)| {
                    let offset = 1200.0 * (hz / string.target.get()).log2();
                    // One that was chosen may stand anywhere.
                    let worth = if context.chosen == Some(number) {
                        0.0
                    } else {
                        offset_worth(offset, string.offset, context.spread, in_hand(context, number))
                    };
                    (hz, score, NATS * score + worth)
                })
                .max_by(|a, b| a.2.total_cmp(&b.2));
            belief.evidence *= MEMORY;
            if let Some((hz, score, _)) = best {
                belief.evidence += NATS * score;
                let before = if belief.seen { belief.score } else { score };
                (belief.hz, belief.score, belief.seen) = (hz, MEMORY * before + (1.0 - MEMORY) * score, true);
            } else {
                belief.evidence -= 0.1 * NATS;
                belief.score *= MEMORY;
            }
        }
    }

    /// Collects the pitches that would make one of the strongest peaks a partial of some string.
    fn suggest(&mut self, peaks: &[Peak], context: &Context) {
        self.pitches.clear();
        for peak in peaks.iter().take(SUGGESTING) {
            for n in 1..=SUGGESTED_PARTIAL_MAX {
                let hz = peak.hz / partial_ratio(n, expected_stiffness(peak.hz / n as f64));
                let wanted = context
                    .strings()
                    .any(|(number, string)| is_sought(hz, number, string.target.get(), context));
                let new = self.pitches.iter().all(|&(other, _)| !within(hz, other, SAME_CENTS));
                if wanted && new && self.pitches.len() < PITCHES_MAX {
                    self.pitches.push((hz, 0.0));
                }
            }
        }
    }
}

/// Whether `hz` is looked for as the pitch of string `number`, which is meant to have `target`.
fn is_sought(hz: f64, number: u8, target: f64, context: &Context) -> bool {
    let below = context.chosen == Some(number) && hz < target && hz > target * (-CHOSEN_BELOW_CENTS * CENT).exp();
    below || within(hz, target, REACH_CENTS)
}

/// Whether two frequencies lie within so many cents: by 2·(h − l)/(h + l), which is two thousandths less than ln(h/l) at
/// 250 cents, since a logarithm for each of ten thousand pairs would cost as much as all spectra.
fn within(hz: f64, other: f64, cents: f64) -> bool {
    let (low, high) = if hz < other { (hz, other) } else { (other, hz) };
    2.0 * (high - low) <= cents * CENT * (high + low)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A recorded C3 begins with its third partial, and with a tone of the soundboard that stands where its first one should
    /// be seen: it is no string a twelfth above.
    #[test]
    fn a_partial_that_a_struck_soundboard_hides_is_not_missed() {
        let rate = 16_000.0;
        let (begins_s, hz) = (0.3, 122.0);
        let partial = |n: usize| hz * partial_ratio(n, expected_stiffness(hz));
        let tones = [
            (partial(1), 0.12, 1.0),
            (partial(2), 0.10, 1.0),
            (partial(3), 1.0, 1.0),
            (partial(5), 0.10, 1.0),
            (116.0, 0.5, 0.05),
            (198.5, 0.2, 0.03),
        ];
        let mut history = crate::history::History::new(16_000);
        for n in 0..8_000 {
            let at_s = f64::from(n) / rate - begins_s;
            let tone = |&(hz, amplitude, fades_s): &(f64, f64, f64)| {
                amplitude * (-at_s / fades_s).exp() * (std::f64::consts::TAU * hz * at_s).sin()
            };
            let sample: f64 = tones.iter().map(tone).sum();
            history.push(if at_s < 0.0 { 0.0 } else { 0.1 * sample as f32 });
        }
        let context = Context::concert_harp(consort_proto::Hz::new(440.0).expect("above zero"));
        let (mut evidence, mut identifier) = (Evidence::new(rate), Identifier::new());
        for look in 0..4 {
            let mut beliefs = Beliefs::new();
            evidence.gather(&history, (begins_s * rate) as u64, 0, look, &[]);
            identifier.look(&evidence, &context, &mut beliefs);
            let verdict = beliefs.verdict(&context).expect("a string");
            assert_eq!(verdict.string, 33, "look {look}: {verdict:?}");
        }
    }
}
