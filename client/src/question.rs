//! What the desk asks the harpist: whom to ask in, which seat to take over or give up, whether to be somebody new.

use consort_link::{Asked, LinkState};
use consort_pages::Question;
use consort_proto::message::Refusal;
use consort_words::{Arg, Key, Words};
use serde_json::json;

use crate::image::{Connection, Image};

/// The questions of `image`, the most pressing first.
pub(crate) fn all(image: &Image, words: &Words) -> Vec<Question> {
    let link = &image.link;
    let mut questions = Vec::new();
    questions.extend(link.asked.as_ref().map(|asked| give_up(asked, words)));
    if link.state == LinkState::Refused(Refusal::Copied) {
        questions.push(Question::new(
            words.say(Key::AskRenew, &[]),
            [(words.say(Key::AskRenewYes, &[]), json!({"wish": "renew"}))],
        ));
    }
    questions.extend(take_over(image, words));
    questions.extend(image.course.asks_key.then(|| key_way(words)));
    if !matches!(link.state, LinkState::Joined | LinkState::Reaching) {
        questions.extend(ask_in(link, words));
    }
    questions
}

fn give_up(asked: &Asked, words: &Words) -> Question {
    let args = [
        ("name", Arg::from(asked.name.as_str())),
        ("tag", Arg::from(asked.by.tag())),
    ];
    let answer = |key, yes: bool| (words.say(key, &[]), json!({"wish": "give-up", "yes": yes}));
    Question::new(
        words.say(Key::AskGiveUp, &args),
        [answer(Key::AskGiveUpYes, true), answer(Key::AskGiveUpNo, false)],
    )
}

/// Which way the key goes to tighten: asked once for each harp.
fn key_way(words: &Words) -> Question {
    let answer = |key, way: Option<&str>| (words.say(key, &[]), json!({"wish": "key-way", "way": way}));
    Question::new(
        words.say(Key::AskKey, &[]),
        [
            answer(Key::AskKeyAway, Some("away")),
            answer(Key::AskKeyTowards, Some("towards")),
            answer(Key::AskKeyLeave, None),
        ],
    )
}

/// Another seat in the same harpist's name is most likely hers, from another laptop.
fn take_over<'a>(image: &'a Image, words: &'a Words) -> impl Iterator<Item = Question> + 'a {
    let link = &image.link;
    let alike = link.seats.iter().filter(move |seat| {
        link.state == LinkState::Joined && seat.name == image.name && seat.tenure.seat != link.tenure.seat
    });
    alike.map(move |seat| {
        let number = seat.tenure.seat;
        let args = [
            ("name", Arg::from(seat.name.as_str())),
            ("seat", Arg::from(link.shown(number).to_string())),
        ];
        if link.wants_seat == Some(number) {
            return Question::new(words.say(Key::AskSeatWaits, &args), []);
        }
        let key = match link.denied_seat {
            Some(denied) if denied == number => Key::AskSeatDenied,
            _ => Key::AskSeat,
        };
        let wish = json!({"wish": "take-over", "seat": number});
        Question::new(words.say(key, &args), [(words.say(Key::AskSeatYes, &[]), wish)])
    })
}

/// The leaders of ensembles that are near and not known, first the one whose address was typed.
fn ask_in<'a>(link: &'a Connection, words: &'a Words) -> impl Iterator<Item = Question> + 'a {
    let at_address = link.typed_address.map(|address| {
        let args = [
            ("address", Arg::from(address.to_string())),
            ("own", Arg::from(link.own_tag.as_str())),
        ];
        let wish = json!({"wish": "ask-in", "tag": null});
        Question::new(words.say(Key::AskInAt, &args), [(words.say(Key::AskInYes, &[]), wish)])
    });
    let sighted = link.strangers.iter().map(|stranger| {
        let name = stranger
            .name
            .as_ref()
            .map_or(stranger.tag.as_str(), |name| name.as_str());
        let args = [
            ("name", Arg::from(name)),
            ("tag", Arg::from(stranger.tag.as_str())),
            ("own", Arg::from(link.own_tag.as_str())),
        ];
        let wish = json!({"wish": "ask-in", "tag": stranger.tag});
        Question::new(words.say(Key::AskIn, &args), [(words.say(Key::AskInYes, &[]), wish)])
    });
    at_address.into_iter().chain(sighted)
}
