//! What the station has to show, as the desk's page takes it: every sentence finished.

use consort_guide::Action;
use consort_link::LinkState;
use consort_pages::{DeskPage, DeskString, StringInHand};
use consort_proto::{Standing, StringNumber};
use consort_words::{Arg, Key, Words};

use crate::image::{Image, Input};
use crate::question;

/// The desk of `image`, with what people read in `words`.
pub(crate) fn of(image: &Image, words: &Words) -> DeskPage {
    let advice = &image.advice;
    let string = advice.string.and_then(|number| hand(image, number));
    let word = words.say(advice.action.key(), &[]);
    let far = advice.far.map(|far| words.say(far.key(), &[]));
    let why = advice.why.say(words);
    let place = advice.place.as_ref().map(|place| place.say(words));
    let (message, urgent) = message(image, words);
    DeskPage {
        name: image.name.to_string(),
        harp: image.harp.name().to_owned(),
        tuning: words.tuning(&image.tuning),
        says: words.readiness(&image.harp, &image.readiness),
        message,
        urgent,
        may_join: !matches!(image.link.state, LinkState::Joined | LinkState::Reaching),
        questions: question::all(image, words),
        help: (image.link.state == LinkState::Joined).then_some(image.link.help),
        notices: image.notices.clone(),
        sentence: sentence(string.as_ref(), place.as_deref(), &word, far.as_deref(), &why),
        string,
        word,
        far,
        why,
        place,
        strings: image
            .harp
            .numbered()
            .zip(image.readiness.standings())
            .map(|((number, string), &standing)| DeskString::of(number, string, standing, words))
            .collect(),
    }
}

fn hand(image: &Image, number: StringNumber) -> Option<StringInHand> {
    let string = image.harp.string(number)?;
    // Nothing that is in doubt is drawn, so that it cannot be taken for advice.
    let in_doubt = matches!(
        image.advice.action,
        Action::WhichPin
            | Action::WhichHarp
            | Action::WhichTuning
            | Action::PedalUp
            | Action::LeverDown
            | Action::Again
            | Action::Pluck
    );
    Some(StringInHand::of(
        number,
        string,
        image.readiness.of(number).unwrap_or(Standing::NotHeard),
        image.advice.cents.filter(|_| !in_doubt),
        image.tolerance.of(string),
    ))
}

/// One message at a time: what spoils the sound first, then the link, then what is merely so.
fn message(image: &Image, words: &Words) -> (String, bool) {
    let of_input = image.input.sentence(words);
    if let Some(sentence) = of_input.as_ref().filter(|_| image.input.is_urgent()) {
        return (sentence.clone(), true);
    }
    let link = image.link.sentence(words, image.agreement.as_ref());
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
    format!("{}{word}{}. {why}", of.unwrap_or_default(), far.unwrap_or_default())
}
