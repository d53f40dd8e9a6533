//! What a running station prints: lines for a person, for programs, or both.

use consort_guide::{Advice, Turn};
use consort_link::LinkState;
use consort_proto::{Agreement, Scheme};
use consort_words::{Key, Words};
use serde::Serialize;

use crate::config::Output;
use crate::ear::Answer;
use crate::image::{Image, Input};
use crate::pluck::{PluckLine, json, rounded};
use crate::say;

/// Prints what changes, and nothing twice.
#[derive(Debug)]
pub(crate) struct Voice {
    output: Output,
    words: Words,
    advice: Option<AdviceLine>,
    link: Option<&'static str>,
    agreement: Option<Agreement>,
    input: Input,
    notices: usize,
}

/// One piece of advice, for programs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(crate) struct AdviceLine {
    /// Number of the string from the top; `null` when all is set.
    pub(crate) string: Option<u8>,
    /// The large word on the desk.
    pub(crate) word: String,
    /// How far the string is above its target, where that is known for sure.
    pub(crate) cents: Option<f64>,
    /// Why.
    pub(crate) why: String,
    /// Where the pin is.
    pub(crate) place: Option<String>,
}

impl AdviceLine {
    pub(crate) fn new(advice: &Advice, words: &Words) -> Self {
        Self {
            string: advice.string.map(|string| string.get()),
            word: words.say(advice.action.key(), &[]),
            cents: advice.cents.map(|cents| rounded(cents.0, 2)),
            why: advice.why.say(words),
            place: advice.place.as_ref().map(|place| place.say(words)),
        }
    }
}

/// How far the key turns and where its handle goes: `a little, away from you`.
pub(crate) fn how_far(turn: Turn, words: &Words) -> String {
    let far = words.say(turn.far.key(), &[]);
    match turn.way {
        Some(way) => format!("{far}, {}", words.say(way.key(), &[])),
        None => far,
    }
}

#[derive(Serialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
enum EventLine<'a> {
    Desk {
        url: String,
    },
    Agreement {
        revision: u64,
        a4_hz: f64,
        temperament: &'a str,
        setting: String,
        session: String,
        round: u32,
        ensemble: &'a str,
    },
    Link {
        state: &'a str,
        unsent: usize,
    },
    Input {
        state: &'a str,
    },
    InputEnded,
    Said {
        sentence: &'a str,
    },
}

impl Voice {
    pub(crate) fn new(output: Output) -> Self {
        Self {
            output,
            words: Words::english(),
            advice: None,
            link: None,
            agreement: None,
            input: Input::Waiting,
            notices: 0,
        }
    }

    /// Says where the desk is.
    pub(crate) fn desk_at(&self, url: String) {
        if self.output.terminal || !(self.output.json || self.output.advice) {
            say::line(&format!("The desk: {url}"));
        }
        if self.output.json {
            say::line(&json(&EventLine::Desk { url }));
        }
    }

    /// A pluck has its final answer.
    pub(crate) fn pluck(&self, file: &str, answer: &Answer, image: &Image) {
        let Some(line) = PluckLine::new(file, answer, &image.harp, &image.tuning) else {
            return;
        };
        if self.output.json {
            say::line(&line.json());
        }
        if self.output.terminal {
            let name = image
                .harp
                .string(answer.string)
                .map(|string| image.course.naming.of(string.open));
            say::line(&line.row(&name.unwrap_or_default()));
        }
    }

    /// Says what is new in `image`.
    pub(crate) fn show(&mut self, image: &Image) {
        if image.agreement != self.agreement {
            self.agreement.clone_from(&image.agreement);
            self.agreement_changed(image);
        }
        if self.link != Some(image.link.word()) {
            self.link = Some(image.link.word());
            self.event(
                &EventLine::Link {
                    state: image.link.word(),
                    unsent: image.unsent,
                },
                || {
                    image
                        .link
                        .sentence(&self.words, image.agreement.as_ref(), image.course.naming)
                },
            );
        }
        if self.input != image.input {
            self.input = image.input;
            let state = image.input.word();
            let line = match image.input {
                Input::Ended => EventLine::InputEnded,
                _ => EventLine::Input { state },
            };
            self.event(&line, || image.input.sentence(&self.words).unwrap_or_default());
        }
        for notice in image.notices.iter().skip(self.notices) {
            self.event(&EventLine::Said { sentence: notice }, || notice.clone());
            if !self.output.terminal {
                say::note(notice);
            }
        }
        self.notices = image.notices.len();
        self.advise(image);
    }

    fn agreement_changed(&self, image: &Image) {
        let Some(agreement) = &image.agreement else { return };
        let tuning = &agreement.tuning;
        let line = EventLine::Agreement {
            revision: agreement.revision.0,
            a4_hz: tuning.a4.hz().get(),
            temperament: tuning.temperament.scheme().map_or("own", Scheme::word),
            setting: tuning.setting.to_string(),
            session: agreement.session.to_string(),
            round: agreement.round.0,
            ensemble: agreement.ensemble.as_str(),
        };
        self.event(&line, || self.words.agreement(agreement));
    }

    fn advise(&mut self, image: &Image) {
        if image.course.dark {
            return;
        }
        let line = AdviceLine::new(&image.advice, &self.words);
        if self.advice.as_ref() == Some(&line) {
            return;
        }
        if self.output.advice {
            say::line(&json(&line));
        }
        if self.output.terminal {
            let name = image.advice.string.and_then(|string| image.harp.string(string));
            let name = name
                .map(|string| image.course.naming.of(string.open))
                .unwrap_or_default();
            let far = image.advice.turn.map(|turn| format!(" {}", how_far(turn, &self.words)));
            let place = line
                .place
                .as_deref()
                .map(|place| format!(" ({place})"))
                .unwrap_or_default();
            let far = far.unwrap_or_default();
            say::line(&format!("{name:<3} {}{far}. {}{place}", line.word, line.why));
        }
        self.advice = Some(line);
    }

    /// One event in each form that was asked for.
    fn event(&self, line: &EventLine<'_>, sentence: impl FnOnce() -> String) {
        if self.output.json {
            say::line(&json(line));
        }
        if self.output.terminal {
            say::line(&sentence());
        }
    }

    /// What the harp has come to, when the program ends.
    pub(crate) fn farewell(&self, image: &Image) {
        if self.output.terminal {
            say::line(&self.words.readiness(&image.harp, &image.readiness));
            if image.unsent > 0 && image.link.state != LinkState::Alone {
                let unsent = ("count", consort_words::Arg::from(image.unsent));
                say::line(&self.words.say(Key::LinkUnsent, &[unsent]));
            }
        }
    }
}
