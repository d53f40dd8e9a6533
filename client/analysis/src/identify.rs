//! Which string was plucked: every string's comb is held against the peaks, and beliefs are updated as the note unfolds.

mod score;

use consort_proto::Cents;

use self::score::Comb;
use crate::character::{expected_stiffness, partial_ratio};
use crate::context::{Context, Order, STRINGS_MAX, Spread};
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
/// Nats per unit of score, and the share of the earlier belief that stays at each look.
const NATS: f64 = 30.0;
const MEMORY: f64 = 0.5;
/// Spread of offsets about a remembered one, cents: of a string that is still to be turned, and of one that stood within the
/// last figure of its target and is left alone from then on.
const REMEMBERED_CENTS: f64 = 12.0;
const SET_CENTS: f64 = 6.0;
const SET_WITHIN_CENTS: f64 = 3.0;
/// How often a string is still where it was, and how often one is that was very far off: more likely it was another string.
const STILL_THERE: f64 = 0.8;
const STILL_FAR: f64 = 0.3;
const VERY_FAR_CENTS: f64 = 60.0;
/// How often the string in hand was turned since it was plucked last, so that it lies anywhere on its way to the target.
const TURNED_SHARE: f64 = 0.5;
/// This share of strings is further off than the others: new, slipped, or a lever forgotten.
const FAR_SHARE: f64 = 0.04;
const FAR_CENTS: f64 = 100.0;
/// What the order of tuning is worth, nats.
const ORDER_NATS: f64 = 3.0;
/// What it is worth that a string was the one plucked last, nats: while its pin turns it is plucked again and again, and
/// the next string may lie only a semitone away. Once it is set, less than the order.
const AGAIN_NATS: f64 = 3.0;
const AGAIN_SET_NATS: f64 = 2.2;

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
            });
        }
        let mut verdict = Verdict {
            string,
            hz: belief.hz,
            score: belief.score,
            lead: f64::INFINITY,
            string_lead: f64::INFINITY,
        };
        for (number, other, worth) in all() {
            if number != string {
                verdict.string_lead = verdict.string_lead.min(best - worth);
                if (1200.0 * (other.hz / belief.hz).log2()).abs() > 30.0 {
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

/// What it is worth that a string is the one in hand, which was left this far from its target.
fn again_worth(left: Option<Cents>) -> f64 {
    if left.is_some_and(|left| left.0.abs() < SET_WITHIN_CENTS) {
        AGAIN_SET_NATS
    } else {
        AGAIN_NATS
    }
}

/// Log probability of an offset, up to a constant: most strings stand where the others do, a few anywhere, those that were
/// heard before mostly where they were, and the one in hand there or anywhere on the way to its target.
fn offset_worth(offset: f64, remembered: Option<Cents>, spread: Spread, in_hand: bool) -> f64 {
    let z = (offset - spread.mean.0) / spread.scale.0;
    let usual = (-0.5 * z * z).exp() / (spread.scale.0 * std::f64::consts::TAU.sqrt());
    let anywhere = (1.0 - FAR_SHARE) * usual + FAR_SHARE * laplace(offset, FAR_CENTS);
    match remembered {
        None => anywhere.ln(),
        Some(Cents(known)) => {
            let there = if known.abs() > VERY_FAR_CENTS {
                STILL_FAR
            } else {
                STILL_THERE
            };
            let scale = if known.abs() < SET_WITHIN_CENTS {
                SET_CENTS
            } else {
                REMEMBERED_CENTS
            };
            let still = laplace(offset - known, scale);
            let near = if in_hand {
                (1.0 - TURNED_SHARE) * still + TURNED_SHARE * between(offset, known, scale)
            } else {
                still
            };
            (there * near + (1.0 - there) * anywhere).ln()
        }
    }
}

/// Density of Laplace's law at this distance from its middle.
fn laplace(from: f64, scale: f64) -> f64 {
    0.5 * (-from.abs() / scale).exp() / scale
}

/// Density of what lies evenly from zero to `end`, give or take Laplace's law of this `scale`.
fn between(at: f64, end: f64, scale: f64) -> f64 {
    if end.abs() < 0.01 * scale {
        return laplace(at, scale);
    }
    let below = |x: f64| {
        let tail = 0.5 * (-x.abs() / scale).exp();
        if x < 0.0 { tail } else { 1.0 - tail }
    };
    (below(at) - below(at - end)) / end
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
    use crate::note::doubt::WHICH_LEAD;

    /// A pin beside the one meant was turned: the sound lies 40 cents above a string that was just set, and 60 below the next
    /// one. It is the next one, unless the string before it had not been set yet.
    #[test]
    fn a_string_that_was_set_stays_and_the_next_one_was_turned_by_mistake() {
        let spread = Spread {
            mean: Cents(-8.0),
            scale: Cents(16.0),
        };
        let again = |left: f64| again_worth(Some(Cents(left))) + offset_worth(40.0, Some(Cents(left)), spread, true);
        for next in [None, Some(Cents(-12.0))] {
            let next = ORDER_NATS + offset_worth(-60.0, next, spread, false);
            assert!(next > again(0.0) + WHICH_LEAD, "{next} against {}", again(0.0));
            assert!(next < again(26.0), "{next} against {}", again(26.0));
        }
    }
    /// A string that was found 60 cents flat is turned up and plucked again 16 cents flat, as high as the next one was left
    /// 55 cents sharp and 30 more: it is the one in hand.
    #[test]
    fn the_string_in_hand_is_on_its_way_to_its_target() {
        let spread = Spread {
            mean: Cents(0.0),
            scale: Cents(35.0),
        };
        let next = ORDER_NATS + offset_worth(84.0, Some(Cents(55.0)), spread, false);
        let left = Some(Cents(-60.0));
        let again = |in_hand| again_worth(left) + offset_worth(-16.0, left, spread, in_hand);
        assert!(again(true) > next + WHICH_LEAD, "{} against {next}", again(true));
        assert!(again(false) < again(true));
    }

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
            evidence.gather(&history, (begins_s * rate) as u64, 0, look);
            identifier.look(&evidence, &context, &mut beliefs);
            let verdict = beliefs.verdict(&context).expect("a string");
            assert_eq!(verdict.string, 33, "look {look}: {verdict:?}");
        }
    }

    #[test]
    fn what_lies_between_two_places_is_somewhere() {
        for end in [-40.0, 0.0, 5.0, 60.0] {
            let all: f64 = (-20_000..20_000)
                .map(|n| 0.01 * between(0.01 * f64::from(n), end, 12.0))
                .sum();
            assert!((all - 1.0).abs() < 1e-3, "{end}: {all}");
        }
    }
}
