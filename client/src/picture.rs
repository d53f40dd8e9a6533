//! The desk as data: what its page draws, with every sentence finished.

use consort_guide::Action;
use consort_link::LinkState;
use consort_proto::{Cents, HarpString, Standing, StringNumber};
use consort_words::{Arg, Key, Words};
use serde::Serialize;

use crate::image::{Image, Input};
use crate::pluck::rounded;

/// Everything that the desk's page shows.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(crate) struct DeskPicture {
    /// The harpist.
    pub(crate) name: String,
    /// What people call the harp.
    pub(crate) harp: String,
    /// What is tuned to, in one line.
    pub(crate) tuning: String,
    /// What the harp has come to, in words.
    pub(crate) says: String,
    /// The one message that matters most now.
    pub(crate) message: String,
    /// Whether the message asks for something.
    pub(crate) urgent: bool,
    /// Whether a join link may be pasted.
    pub(crate) may_join: bool,
    /// What has to be said besides, newest last.
    pub(crate) notices: Vec<String>,
    /// The string that the advice is about; null when all is set.
    pub(crate) string: Option<HandPicture>,
    /// What to do, in one large word.
    pub(crate) word: String,
    /// How far to turn.
    pub(crate) far: Option<String>,
    /// Why.
    pub(crate) why: String,
    /// Where the pin is.
    pub(crate) place: Option<String>,
    /// The advice as one whole sentence, for those who hear the page.
    pub(crate) sentence: String,
    /// The strings from the top.
    pub(crate) strings: Vec<StringPicture>,
}

/// The string that the advice is about.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(crate) struct HandPicture {
    /// Its number from the top.
    pub(crate) string: u8,
    /// The harpist's name, as in `4C`.
    pub(crate) name: String,
    /// The letter alone, which decides the colour.
    pub(crate) letter: String,
    /// How far it is above its target; null where that is in doubt, so that nothing drawn can be taken for advice.
    pub(crate) cents: Option<f64>,
    /// Half the width of the tolerance.
    pub(crate) within: f64,
    /// What it is, as a word for programs.
    pub(crate) standing: &'static str,
}

/// One string of the harp.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(crate) struct StringPicture {
    /// Its number from the top.
    pub(crate) string: u8,
    /// The harpist's name, as in `4C`.
    pub(crate) name: String,
    /// The letter alone.
    pub(crate) letter: String,
    /// What it is, as a word for programs.
    pub(crate) standing: &'static str,
    /// How far the newest reading lies above the target, if there is one.
    pub(crate) cents: Option<f64>,
    /// What it is, in words.
    pub(crate) says: String,
}

impl DeskPicture {
    /// The picture of `image`, with what people read in `words`.
    pub(crate) fn of(image: &Image, words: &Words) -> Self {
        let advice = &image.advice;
        let string = advice.string.and_then(|number| hand(image, number));
        let word = words.say(advice.action.key(), &[]);
        let far = advice.far.map(|far| words.say(far.key(), &[]));
        let why = advice.why.say(words);
        let place = advice.place.as_ref().map(|place| place.say(words));
        let (message, urgent) = message(image, words);
        Self {
            name: image.name.to_string(),
            harp: image.harp.name().to_owned(),
            tuning: words.tuning(&image.tuning),
            says: words.readiness(&image.harp, &image.readiness),
            message,
            urgent,
            may_join: !matches!(image.link.state, LinkState::Joined | LinkState::Reaching),
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
                .map(|((number, string), &standing)| StringPicture::of(number, string, standing, words))
                .collect(),
        }
    }
}

impl StringPicture {
    fn of(number: StringNumber, string: &HarpString, standing: Standing, words: &Words) -> Self {
        Self {
            string: number.get(),
            name: string.open.harp_name(),
            letter: string.open.letter.to_string(),
            standing: standing.word(),
            cents: standing.cents().map(shown),
            says: words.standing(standing),
        }
    }
}

fn hand(image: &Image, number: StringNumber) -> Option<HandPicture> {
    let string = image.harp.string(number)?;
    let in_doubt = matches!(
        image.advice.action,
        Action::WhichPin | Action::PedalUp | Action::LeverDown | Action::Again | Action::Pluck
    );
    Some(HandPicture {
        string: number.get(),
        name: string.open.harp_name(),
        letter: string.open.letter.to_string(),
        cents: image.advice.cents.filter(|_| !in_doubt).map(shown),
        within: image.tolerance.of(string).0,
        standing: image.readiness.of(number).map_or("not-heard", Standing::word),
    })
}

/// One message at a time: what spoils the sound first, then the link, then what is merely so.
fn message(image: &Image, words: &Words) -> (String, bool) {
    if !matches!(image.input, Input::Waiting | Input::Hears | Input::Ended)
        && let Some(sentence) = image.input.sentence(words)
    {
        return (sentence, true);
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
    (link, urgent)
}

fn sentence(string: Option<&HandPicture>, place: Option<&str>, word: &str, far: Option<&str>, why: &str) -> String {
    let of = string.map(|string| match place {
        Some(place) => format!("{}, {place}: ", string.name),
        None => format!("{}: ", string.name),
    });
    let far = far.map(|far| format!(", {far}"));
    format!("{}{word}{}. {why}", of.unwrap_or_default(), far.unwrap_or_default())
}

/// Tenths of a cent: finer cannot be seen.
fn shown(cents: Cents) -> f64 {
    rounded(cents.0, 1)
}
