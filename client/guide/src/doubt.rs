//! What makes a string doubtful: it is looked at before it is turned.

use consort_proto::{Cents, Mechanism, Standing, StringNumber};
use consort_words::{Arg, Key};

use crate::Phrase;
use crate::advice::{Action, Advice, Situation, advice};

/// Beyond a semitone the string is more likely another one, or the key on another pin.
const WHICH_PIN_FROM: Cents = Cents(105.0);
/// A disc or a lever raises its string by 100 cents, some cents more or less, and the string may be off besides: from
/// here on it is as likely as a sharp string.
const MECHANISM_FROM: Cents = Cents(75.0);

/// What has to be looked at before a string this far off is turned, if anything.
pub(crate) fn doubt(
    situation: &Situation<'_>,
    number: StringNumber,
    standing: Standing,
    cents: Cents,
) -> Option<Advice> {
    let string = situation.harp.string(number)?;
    if situation.ways.looked_at == Some(number) {
        return None;
    }
    let held_up = match string.mechanism {
        Mechanism::Discs => Some((Action::PedalUp, Key::WhyPedal)),
        Mechanism::Lever => Some((Action::LeverDown, Key::WhyLever)),
        Mechanism::Fixed => None,
    };
    let (action, why) = match held_up {
        Some((action, key)) if cents.0 > MECHANISM_FROM.0 => (
            action,
            Phrase {
                key,
                args: vec![
                    ("name", Arg::from(situation.ways.naming.of(string.open))),
                    ("letter", Arg::from(string.open.letter.to_string())),
                ],
            },
        ),
        _ if cents.0 > WHICH_PIN_FROM.0 => (Action::WhichPin, Phrase::plain(Key::WhyTooFarSharp)),
        // A string just put on is far below for a reason, and the harpist has said so, or has chosen it by hand.
        _ if cents.0 < -WHICH_PIN_FROM.0
            && !matches!(standing, Standing::New(_))
            && situation.ways.chosen != Some(number) =>
        {
            (Action::WhichPin, Phrase::plain(Key::WhyTooFarFlat))
        }
        _ => return None,
    };
    Some(advice(situation, number, action, Some(cents), None, why))
}
