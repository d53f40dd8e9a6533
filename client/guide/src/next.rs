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
    if let Some(opening) = situation.opening
        && let Some(string) = opens_with(opening)
    {
        return Some(string);
    }
    let ways = situation.ways;
    let check = ways.last_check.as_ref();
    if let Some(next) = check.and_then(|check| check.next(&ways.order.strings(situation.harp), situation.readiness)) {
        return Some(next);
    }
    let near = |number: StringNumber| ways.quick.as_ref().is_some_and(|quick| quick.is_near(number));
    shown
        .filter(|number| is_open(situation, *number) && !near(*number))
        .or_else(|| next_in_order(situation))
}

/// The string that the opening check asks for, or doubts.
fn opens_with(opening: &Check) -> Option<StringNumber> {
    let asked = opening.asks().map(|(string, _)| string);
    asked.or_else(|| opening.doubt().map(|doubt| doubt.string))
}

/// The string that will be asked for once `shown` is done; `None` where that hangs on what is heard until then.
pub fn following(situation: &Situation<'_>, shown: StringNumber) -> Option<StringNumber> {
    let ways = situation.ways;
    if ways.urgent || ways.last_check.is_some() {
        return None;
    }
    let opens = situation.opening.is_some_and(|opening| opening.asks().is_some());
    let from = if opens || is_in_turn(situation, shown) {
        Some(shown)
    } else {
        ways.reached
    };
    let near = |number: StringNumber| ways.quick.as_ref().is_some_and(|quick| quick.is_near(number));
    let is_next = |number: StringNumber| number != shown && is_open(situation, number);
    let order = order_from(situation, from);
    let not_near = order.iter().find(|number| is_next(**number) && !near(**number));
    not_near
        .or_else(|| order.iter().find(|number| is_next(**number)))
        .copied()
}

/// Whether a harpist who tunes `string` goes on in her order, and has not left it for that one string: it is asked for, or is
/// the next one that is open after the one that she has reached.
pub fn is_in_turn(situation: &Situation<'_>, string: StringNumber) -> bool {
    let reached = situation.ways.reached;
    let order = order_from(situation, reached);
    let mut after = order
        .into_iter()
        .filter(|number| Some(*number) != reached && is_open(situation, *number));
    !situation.ways.urgent && (next_in_order(situation) == Some(string) || after.next() == Some(string))
}

/// The next string in the harpist's order that is open; new strings come last, those that were brought up least first.
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
    let mut order = order.into_iter();
    let open = order.clone().find(|number| is_open(situation, *number));
    open.or_else(|| order.by_ref().filter(new).min_by_key(|number| ways.taken(*number)))
}

/// The strings in the harpist's order from the one that she has reached, and then those before it.
///
/// What comes to be open again behind her, as everything does when the A moves, waits until she comes round to it.
fn order_from(situation: &Situation<'_>, from: Option<StringNumber>) -> Vec<StringNumber> {
    let mut order = situation.ways.order.strings(situation.harp);
    let at = order.iter().position(|number| Some(*number) == from);
    order.rotate_left(at.unwrap_or_default());
    order
}

/// Whether something is left to do about it.
fn is_open(situation: &Situation<'_>, number: StringNumber) -> bool {
    let standing = situation.readiness.of(number);
    standing.is_some_and(|standing| !standing.lets_the_harp_be_ready())
}
