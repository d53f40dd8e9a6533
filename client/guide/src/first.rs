//! Advice before any pin is turned: the plucks of the opening check, and what they have found.

use consort_proto::{Letter, StringNumber};
use consort_words::{Arg, Key};

use crate::Phrase;
use crate::advice::{Action, Advice, Hand, Heard, Situation, advice};
use crate::opening::{Doubt, PLUCKS, What};

/// What the opening check wants of the harpist now; nothing once it is over and nothing is left to be looked at.
pub(crate) fn about_opening(situation: &Situation<'_>) -> Option<Advice> {
    let check = situation.opening?;
    let sounds = |string| match situation.hand {
        Some(hand) if hand.string == string => Some(hand),
        _ => None,
    };
    if let Some(doubt) = check.doubt() {
        // It is plucked again: what is heard of it now says more.
        let is_heard = |hand: Hand| matches!(hand.heard, Heard::Young(_) | Heard::Live(_) | Heard::Moved(_));
        return (!sounds(doubt.string).is_some_and(is_heard)).then(|| about_doubt(situation, doubt));
    }
    let (asked, place) = check.asks()?;
    let (action, why) = match sounds(asked).map(|hand| hand.heard) {
        Some(Heard::Young(_) | Heard::Live(_)) => (Action::LetRing, Phrase::plain(Key::WhyOpeningRings)),
        Some(Heard::Unsure) => (Action::Again, Phrase::plain(Key::WhyUnsure)),
        Some(Heard::Turned | Heard::Moved(_)) => (Action::Again, Phrase::plain(Key::WhyTurned)),
        Some(Heard::TooSoft) => (Action::Again, Phrase::plain(Key::WhyTooSoft)),
        Some(Heard::Strong) => (Action::Again, Phrase::plain(Key::WhyStrong)),
        Some(Heard::Waits) => (Action::Again, Phrase::plain(Key::WhyWaits)),
        Some(Heard::Settled(_)) | None => {
            let args = vec![
                ("place", Arg::from(place as u64)),
                ("of", Arg::from(PLUCKS.max(place) as u64)),
            ];
            (Action::Pluck, of_place(situation, check.again(), asked, args))
        }
    };
    Some(advice(situation, asked, action, None, None, why))
}

/// Which pluck is asked for; and, where the one `before` was plucked once more, that it was.
fn of_place(
    situation: &Situation<'_>,
    before: Option<StringNumber>,
    asked: StringNumber,
    mut args: Vec<(&'static str, Arg)>,
) -> Phrase {
    let name = |number| {
        let string = situation.harp.string(number);
        string.map_or_else(String::new, |string| situation.ways.naming.of(string.open))
    };
    let Some(before) = before else {
        let key = Key::WhyOpening;
        return Phrase { key, args };
    };
    args.extend([("before", Arg::from(name(before))), ("name", Arg::from(name(asked)))]);
    let key = Key::WhyOpeningAgain;
    Phrase { key, args }
}

fn about_doubt(situation: &Situation<'_>, doubt: &Doubt) -> Advice {
    let (action, why) = match &doubt.observation.what {
        What::Pedal { .. } => (Action::PedalUp, of_string(situation, Key::WhyPedal, doubt.string)),
        What::Lever(_) => (Action::LeverDown, of_string(situation, Key::WhyLever, doubt.string)),
        What::AllPedals => (Action::PedalUp, Phrase::plain(Key::WhyAllPedals)),
        What::OpenTuning { lower, higher } if higher.len() >= lower.len() => {
            (Action::WhichTuning, of_letters(Key::WhyOpenTuningHigh, higher))
        }
        What::OpenTuning { lower, .. } => (Action::WhichTuning, of_letters(Key::WhyOpenTuningLow, lower)),
        What::Elsewhere(_) => (Action::Pluck, of_string(situation, Key::WhyElsewhere, doubt.string)),
        What::AnotherHarp => (Action::WhichHarp, Phrase::plain(Key::WhyAnotherHarp)),
        What::FarBelow => {
            let cents = format!("{:.0}", doubt.observation.above.0.abs());
            let args = vec![("cents", Arg::from(cents))];
            let key = Key::WhyFarBelow;
            (Action::WhichPitch, Phrase { key, args })
        }
    };
    advice(situation, doubt.string, action, None, None, why)
}

fn of_string(situation: &Situation<'_>, key: Key, number: StringNumber) -> Phrase {
    let (name, letter) = situation.harp.string(number).map_or_else(Default::default, |string| {
        (situation.ways.naming.of(string.open), string.open.letter.to_string())
    });
    let args = vec![("name", Arg::from(name)), ("letter", Arg::from(letter))];
    Phrase { key, args }
}

fn of_letters(key: Key, letters: &[Letter]) -> Phrase {
    let letters: Vec<String> = letters.iter().map(ToString::to_string).collect();
    Phrase {
        key,
        args: vec![
            ("count", Arg::from(letters.len() as u64)),
            ("letters", Arg::from(letters.join(", "))),
        ],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::opening::Check;
    use consort_proto::harp_file::preset;
    use consort_proto::{Cents, Readiness, StringStory, Tolerance, Tuning};
    use consort_words::Words;

    /// Plucks what the check asks for, so many cents above the open targets, then asks with `hand` in hand.
    #[track_caller]
    fn check(preset_name: &str, plucks: &[f64], hand: Option<(u32, Heard)>, expected: (Option<u32>, Action, &str)) {
        check_with(preset_name, plucks, None, hand, expected);
    }

    /// The same on a concert harp, after the string `again` was plucked once more.
    #[track_caller]
    fn check_again(plucks: &[f64], again: u32, expected: (Option<u32>, Action, &str)) {
        let hand = Some((again, Heard::Settled(Cents(0.0))));
        check_with("pedal-47", plucks, Some(again), hand, expected);
    }

    #[track_caller]
    fn check_with(
        preset_name: &str,
        plucks: &[f64],
        again: Option<u32>,
        hand: Option<(u32, Heard)>,
        expected: (Option<u32>, Action, &str),
    ) {
        let harp = preset(preset_name).expect("a preset");
        let (tuning, tolerance) = (Tuning::default(), Tolerance::default());
        let stories = vec![StringStory::default(); harp.len()];
        let readiness = Readiness::judge(&harp, &stories, &tuning, &tolerance);
        let mut opening = Check::begin(&harp, &readiness);
        for (pluck, &above) in plucks.iter().enumerate() {
            let (string, _) = opening.asks().expect("a string is asked for");
            let target = tuning.open_target(harp.string(string).expect("a string"));
            opening.hear(&harp, &tuning, pluck as f64, string, target.raised_by(Cents(above)));
        }
        if let Some(again) = again.map(|again| StringNumber::new(again).expect("a string")) {
            let target = tuning.open_target(harp.string(again).expect("a string"));
            opening.hear(&harp, &tuning, plucks.len() as f64, again, target);
        }
        let advice = crate::advise(&Situation {
            harp: &harp,
            tolerance: &tolerance,
            readiness: &readiness,
            hand: hand.map(|(string, heard)| Hand {
                string: StringNumber::new(string).expect("a string"),
                heard,
            }),
            stands_still: false,
            opening: Some(&opening),
            ways: &crate::Ways::default(),
        });
        assert_eq!(advice.cents, None, "nothing to be turned by");
        let said = advice.why.say(&Words::english());
        let string = advice.string.map(|string| u32::from(string.get()));
        assert_eq!((string, advice.action, said.as_str()), expected);
    }

    #[test]
    fn each_of_the_seven_is_asked_for_and_none_is_turned() {
        let asked = "1 of 7: pedals, levers and pitch are heard before any pin is turned.";
        let rings = "Let it ring, then the next one.";
        check("pedal-47", &[], None, (Some(26), Action::Pluck, asked));
        let live = Heard::Live(Cents(-30.0));
        check("pedal-47", &[], Some((26, live)), (Some(26), Action::LetRing, rings));
        check("pedal-47", &[], Some((12, live)), (Some(26), Action::Pluck, asked));
        let unsure = "The string could not be told for sure. Pluck it alone and let it ring.";
        check(
            "pedal-47",
            &[],
            Some((26, Heard::Unsure)),
            (Some(26), Action::Again, unsure),
        );
        check(
            "pedal-47",
            &[-30.0],
            Some((26, Heard::Settled(Cents(-30.0)))),
            (
                Some(27),
                Action::Pluck,
                "2 of 7: pedals, levers and pitch are heard before any pin is turned.",
            ),
        );
    }

    #[test]
    fn who_plucks_the_one_before_once_more_is_told_so() {
        let asked = "2 of 7: that was 4C once more, by its pitch. Now 4B, alone; if it was 4B, once more.";
        check_again(&[-3.0], 26, (Some(27), Action::Pluck, asked));
    }

    #[test]
    fn what_was_found_is_looked_at_first() {
        check(
            "pedal-47",
            &[-3.0, 98.0, -3.0, 2.0, 0.0, -5.0, -1.0],
            None,
            (
                Some(27),
                Action::PedalUp,
                "4B sounds about a semitone high or more. Is the B pedal all the way up? If it is, look at the pin, then \
                 loosen the string.",
            ),
        );
        check(
            "pedal-47",
            &[99.0; 7],
            None,
            (
                Some(26),
                Action::PedalUp,
                "Every letter sounds about a semitone high. Are all pedals up, in flat?",
            ),
        );
        check(
            "lever-34",
            &[0.0, 99.0, 99.0, 0.0, 0.0, 99.0, 0.0],
            None,
            (
                Some(20),
                Action::WhichTuning,
                "B, E, A sound a semitone high. If the harp is meant to be tuned so, start with a harp file that says so; if not, go on.",
            ),
        );
        check(
            "lever-34",
            &[0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -99.0],
            None,
            (
                Some(20),
                Action::WhichTuning,
                "D sounds a semitone low. If the harp is meant to be tuned so, start with a harp file that says so; if not, go on.",
            ),
        );
    }
}
