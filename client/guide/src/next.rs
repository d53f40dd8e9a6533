//! Which string comes next: what the desk asks for, and what it announces.

use consort_proto::order::most_audible_first;
use consort_proto::{Standing, StringNumber};

use crate::advice::{Situation, may_stay};
use crate::opening::Check;

/// The string that the desk waits for while it shows advice about `shown`: that one, or the next in order once it is done.
pub fn asked(situation: &Situation<'_>, shown: Option<StringNumber>) -> Option<StringNumber> {
    if situation.ways.chosen.is_some() {
        return situation.ways.chosen;
    }
    if let Some((string, _)) = situation.opening.and_then(Check::asks) {
        return Some(string);
    }
    let ways = situation.ways;
    let check = ways.last_check.as_ref();
    if let Some(next) = check.and_then(|check| check.next(&ways.order.strings(situation.harp), situation.readiness)) {
        return Some(next);
    }
    let near = |number: StringNumber| ways.quick.as_ref().is_some_and(|quick| quick.is_near(number));
    shown
        .filter(|number| is_left(situation, *number) && !near(*number))
        .or_else(|| next_in_order(situation))
}

/// The string that will be asked for once `shown` is done.
pub fn following(situation: &Situation<'_>, shown: StringNumber) -> Option<StringNumber> {
    let from = if goes_on(situation, shown) {
        Some(shown)
    } else {
        situation.ways.reached
    };
    let order = order_from(situation, from);
    order
        .into_iter()
        .find(|number| *number != shown && is_left(situation, *number))
}

/// Whether a harpist who tunes `string` goes on in her order, and has not left it for that one string: it is asked for, or the
/// next that is left, or the one after that.
pub fn goes_on(situation: &Situation<'_>, string: StringNumber) -> bool {
    let order = order_from(situation, situation.ways.reached);
    let mut left = order.into_iter().filter(|number| is_left(situation, *number));
    next_in_order(situation) == Some(string) || left.by_ref().take(2).any(|number| number == string)
}

/// The next string in the harpist's order that is left; new strings come last.
pub(crate) fn next_in_order(situation: &Situation<'_>) -> Option<StringNumber> {
    // New strings come last: they hold nobody up, and one that was brought up early has fallen by then.
    let new = |number: &StringNumber| match situation.readiness.of(*number) {
        Some(Standing::New(None)) => true,
        Some(Standing::New(Some(cents))) => !may_stay(situation, *number, cents),
        _ => false,
    };
    let ways = situation.ways;
    let mut order = order_from(situation, ways.reached);
    if ways.urgent {
        order = most_audible_first(situation.harp, &order, situation.readiness);
    } else if let Some(next) = ways
        .quick
        .as_ref()
        .and_then(|quick| quick.next(&order, situation.readiness))
    {
        return Some(next);
    }
    order
        .iter()
        .copied()
        .find(|number| is_left(situation, *number))
        .or_else(|| order.iter().copied().find(new))
}

/// The strings in the harpist's order from the one that she has reached, and then those before it.
///
/// What comes to be left behind her, as everything does when the A moves, waits until she comes round to it.
fn order_from(situation: &Situation<'_>, from: Option<StringNumber>) -> Vec<StringNumber> {
    let mut order = situation.ways.order.strings(situation.harp);
    let at = order.iter().position(|number| Some(*number) == from);
    order.rotate_left(at.unwrap_or_default());
    order
}

/// Whether something is left to do about it.
fn is_left(situation: &Situation<'_>, number: StringNumber) -> bool {
    let standing = situation.readiness.of(number);
    standing.is_some_and(|standing| !standing.lets_the_harp_be_ready())
}
