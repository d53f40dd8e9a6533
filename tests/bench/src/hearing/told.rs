//! What a station knows when a string is plucked in the middle of a tuning: where each was heard last, and the one before it.

use consort_analysis::{Context, Order, Spread};
use consort_proto::{Cents, Hz};

use super::bed::Dice;
use crate::recordings::Recording;

/// Put before the condition of a recording that is heard so.
pub(super) const TOLD: &str = "told ";
/// The strings of such a harp stood up to this far from their targets when they were heard last, cents.
const STOOD_CENTS: f64 = 180.0;
/// And have moved by no more than this since then, cents.
const MOVED_CENTS: f64 = 8.0;

/// Whether the recording's string is so far off that its pitch alone does not tell which it is.
pub(super) fn is_wide(recording: &Recording) -> bool {
    recording.condition.starts_with("wide")
}

/// The harp of `recording`, as a station expects it that has heard every string and asks for them in the usual order: its
/// string was last heard where it still is, give or take what a string moves in a while, all others as far off as it may be.
pub(super) fn expected(recording: &Recording, dice: &mut Dice) -> Result<Context, String> {
    let hertz = |hz: f64| Hz::new(hz).map_err(|why| why.to_string());
    let mut context = Context::concert_harp(hertz(recording.a4)?);
    let truth = hertz(recording.hz)?;
    let targets: Vec<(u8, Hz)> = context
        .strings()
        .map(|(number, string)| (number, string.target))
        .collect();
    let mut stood = Vec::new();
    for (number, target) in targets {
        let offset = if number == recording.string {
            Cents(truth.cents_above(target).0 + dice.within(-MOVED_CENTS, MOVED_CENTS))
        } else {
            Cents(dice.within(-STOOD_CENTS, STOOD_CENTS))
        };
        context.remember(number, Some(offset));
        stood.push(offset);
    }
    context.spread = Spread::of(stood.into_iter());
    context.order = Order::Usual;
    context.previous = before(&mut context, recording.string);
    Ok(context)
}

/// The string that comes before `string` in the usual order; `None` for the first one.
fn before(context: &mut Context, string: u8) -> Option<u8> {
    (1..=context.len() as u8).find(|&number| {
        context.previous = Some(number);
        context.next_in_order() == Some(string)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_string_follows_the_one_before_it_in_the_usual_order() {
        let mut context = Context::concert_harp(Hz::new(440.0).expect("A4"));
        context.order = Order::Usual;
        for (string, previous) in [(26, None), (27, Some(26)), (47, Some(46)), (25, Some(47)), (1, Some(2))] {
            assert_eq!(before(&mut context, string), previous, "{string}");
        }
    }
}
