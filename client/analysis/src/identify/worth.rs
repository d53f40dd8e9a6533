//! What is likely of a string whatever sounds: where it stands, and which one is plucked next.

use consort_proto::Cents;

use crate::context::Spread;

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
pub(super) const ORDER_NATS: f64 = 3.0;
/// What it is worth that a string was the one plucked last, nats: while its pin turns it is plucked again and again, and
/// the next string may lie only a semitone away. Once it is set, less than the order.
const AGAIN_NATS: f64 = 3.0;
const AGAIN_SET_NATS: f64 = 2.2;

/// What it is worth that a string is the one in hand, which was left this far from its target.
pub(super) fn again_worth(left: Option<Cents>) -> f64 {
    if left.is_some_and(|left| left.0.abs() < SET_WITHIN_CENTS) {
        AGAIN_SET_NATS
    } else {
        AGAIN_NATS
    }
}

/// Log probability of an offset, up to a constant: most strings stand where the others do, a few anywhere, those that were
/// heard before mostly where they were, and the one in hand there or anywhere on the way to its target.
pub(super) fn offset_worth(offset: f64, remembered: Option<Cents>, spread: Spread, in_hand: bool) -> f64 {
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
