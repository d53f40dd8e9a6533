//! What the station has to show, as the desk's page takes it: every sentence finished.

mod listening;

use std::time::Duration;

use consort_guide::{Action, Pedals, Way};
use consort_link::LinkState;
use consort_pages::{DeskPage, DeskPedals, DeskString, KeyTurn, StringInHand, Telling};
use consort_proto::{Naming, Standing, StringNumber};
use consort_words::{Arg, Key, Words};

use crate::image::{Image, Input};
use crate::question;
use crate::voice::how_far;

/// The desk of `image`, with what people read in `words`.
pub(crate) fn of(image: &Image, words: &Words) -> DeskPage {
    let advice = &image.advice;
    let string = advice.string.and_then(|number| hand(image, number));
    let word = words.say(advice.action.key(), &[]);
    let far = advice.turn.map(|turn| how_far(turn, words));
    let course = &image.course;
    let why = advice.why.say(words);
    let place = advice.place.as_ref().map(|place| place.say(words));
    let (message, urgent) = message(image, words);
    DeskPage {
        name: image.name.to_string(),
        harp: image.harp.name().to_owned(),
        tuning: words.tuning(&image.tuning),
        says: words.readiness_in(&image.harp, &image.readiness, course.naming),
        message,
        urgent,
        start: course.start_in.map(|left| start(left, words)),
        dark: course.dark,
        link: match image.link.state {
            LinkState::Joined => "joined",
            LinkState::Alone => "alone",
            _ => "lost",
        },
        health: image.input.sentence(words).unwrap_or_default(),
        may_see: course.changed.is_some(),
        telling: Telling {
            order: course.order.word(),
            scientific: course.naming == Naming::Scientific,
            key: course.key.map(Way::word),
            quick: course.quick,
            last_check: course.last_check,
            chosen: course.chosen,
            plays: matches!(advice.action, Action::Plays | Action::Rest),
            can_undo: course.can_undo,
            fresh: course.fresh,
            input: course.input.clone(),
        },
        turn: advice.turn.map(|turn| KeyTurn {
            degrees: if advice.action == Action::Loosen {
                -turn.degrees
            } else {
                turn.degrees
            },
            way: turn.way.map(Way::word),
        }),
        doubt: doubt(advice.action),
        may_go_on: advice.can_be_overruled(),
        next: course
            .next
            .and_then(|number| image.harp.string(number))
            .map(|string| course.naming.of(string.open)),
        may_join: !matches!(image.link.state, LinkState::Joined | LinkState::Reaching),
        questions: question::all(image, words),
        help: (image.link.state == LinkState::Joined).then_some(image.link.help),
        no_tone: image.link.silenced.then(|| words.say(Key::DeskNoTone, &[])),
        pedals: pedals(image, words),
        notices: image.notices.clone(),
        sentence: sentence(string.as_ref(), place.as_deref(), &word, far.as_deref(), &why),
        listening: listening::of(image, words),
        string,
        word,
        far,
        why,
        place,
        strings: image
            .harp
            .numbered()
            .zip(image.readiness.standings())
            .map(|((number, string), &standing)| {
                DeskString::of(number, string, standing, &image.tuning, course.naming, words)
            })
            .collect(),
    }
}

fn hand(image: &Image, number: StringNumber) -> Option<StringInHand> {
    let pedals = image.course.pedals.as_ref();
    let raised = pedals.filter(|pedals| !pedals.is_open(number));
    let string = raised.map_or(&*image.harp, Pedals::sounding).string(number)?;
    // Nothing that is in doubt is drawn, so that it cannot be taken for advice.
    let action = image.advice.action;
    let in_doubt = action.is_doubt() || matches!(action, Action::Again | Action::Pluck | Action::PlayOn);
    let cents = image.advice.cents.filter(|_| !in_doubt);
    let standing = match raised {
        // What is known of the open string says nothing of how it stands now.
        Some(_) => cents.map_or(Standing::NotHeard, Standing::Off),
        None => image.readiness.of(number).unwrap_or(Standing::NotHeard),
    };
    Some(StringInHand::of(
        number,
        string,
        standing,
        cents,
        image.tolerance.of(string),
        image.course.naming,
    ))
}

/// What has to be looked at, as a word for the drawing.
const fn doubt(action: Action) -> Option<&'static str> {
    Some(match action {
        Action::PedalUp => "pedal",
        Action::LeverDown => "lever",
        Action::WhichPin => "pin",
        Action::WhichHarp => "harp",
        Action::WhichTuning => "tuning",
        Action::WhichPitch => "pitch",
        Action::NotHigher => "limit",
        _ => return None,
    })
}

/// How long until the start.
fn start(left: Duration, words: &Words) -> String {
    if left.is_zero() {
        return words.say(Key::StartPassed, &[]);
    }
    let time = words.say(Key::TimeMinutes, &[("count", Arg::from(left.as_secs() / 60))]);
    words.say(Key::DeskStartIn, &[("time", Arg::from(time))])
}

/// Where the pedals or levers stand.
fn pedals(image: &Image, words: &Words) -> Option<DeskPedals> {
    DeskPedals::of(&image.harp, image.course.pedals.as_ref().map(Pedals::setting), words)
}

/// One message at a time: what spoils the sound first, then what has changed, where the pedals stand, the link, and what is merely so.
fn message(image: &Image, words: &Words) -> (String, bool) {
    let of_input = image.input.sentence(words);
    if let Some(sentence) = of_input.as_ref().filter(|_| image.input.is_urgent()) {
        return (sentence.clone(), true);
    }
    if image.course.dark {
        return (words.say(Key::DeskDark, &[]), false);
    }
    if let Some(changed) = &image.course.changed {
        return (changed.clone(), true);
    }
    if let Some(says) = pedals(image, words).and_then(|pedals| pedals.says) {
        return (says, false);
    }
    let link = image
        .link
        .sentence(words, image.agreement.as_ref(), image.course.naming);
    let urgent = !matches!(
        image.link.state,
        LinkState::Alone | LinkState::Searching | LinkState::Reaching | LinkState::Joined
    );
    if image.unsent > 0 && urgent {
        let unsent = words.say(Key::LinkUnsent, &[("count", Arg::from(image.unsent))]);
        return (format!("{link} {unsent}"), true);
    }
    match of_input {
        Some(sentence) if !urgent && matches!(image.input, Input::Troubled(_)) => (sentence, false),
        _ => (link, urgent),
    }
}

fn sentence(string: Option<&StringInHand>, place: Option<&str>, word: &str, far: Option<&str>, why: &str) -> String {
    let of = string.map(|string| match place {
        Some(place) => format!("{}, {place}: ", string.name),
        None => format!("{}: ", string.name),
    });
    let far = far.map(|far| format!(", {far}"));
    // A large word may be a question.
    let end = if word.ends_with('?') { "" } else { "." };
    format!("{}{word}{}{end} {why}", of.unwrap_or_default(), far.unwrap_or_default())
}
