//! `listen`: hears recordings and prints what was plucked in them.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

use consort_analysis::Refusal;
use consort_proto::{Harp, Tuning};
use consort_words::{Arg, Key, Words};

use crate::ear::{Answer, Ear, Expectation, Sensed, Verdict};
use crate::pluck::{PluckLine, TABLE_HEAD};
use crate::say;
use crate::sound::recording::{Notice, Recording};

/// How recordings are heard.
#[derive(Clone, Debug)]
pub struct Listening {
    /// The harp that was recorded.
    pub harp: Arc<Harp>,
    /// What it should be tuned to.
    pub tuning: Tuning,
    /// Whether all files are one tuning, in the usual order and with memory.
    pub one_tuning: bool,
    /// Whether each change of a provisional answer is a line too.
    pub trace: bool,
    /// Whether lines are JSON.
    pub json: bool,
}

impl Listening {
    /// Hears every file that can be heard; says whether that were all, and all of them to their ends.
    pub fn hear_all(&self, files: &[PathBuf]) -> bool {
        let words = Words::english();
        let mut expectation = self.fresh();
        let mut all = true;
        if !self.json {
            say::line(TABLE_HEAD);
        }
        for path in files {
            let name = path.display().to_string();
            let mut recording = match Recording::open(path) {
                Ok(recording) => recording,
                Err(why) => {
                    say::note(&why.sentence(&words));
                    all = false;
                    continue;
                }
            };
            for notice in &recording.notices {
                say::note(&notice.sentence(&words, &name));
                all &= !matches!(notice, Notice::BreaksOff(_));
            }
            if !self.one_tuning {
                expectation = self.fresh();
            }
            let mut hearing = Hearing::new(self, name.clone());
            expectation = hearing.hear(&mut recording, expectation);
            if hearing.plucks == 0 {
                say::note(&words.say(Key::ProblemFileNoPluck, &[("file", Arg::from(name))]));
            }
        }
        all
    }

    fn fresh(&self) -> Expectation {
        if self.one_tuning {
            Expectation::one_tuning(self.harp.clone(), self.tuning)
        } else {
            Expectation::alone(self.harp.clone(), self.tuning)
        }
    }
}

/// One file being heard.
struct Hearing<'a> {
    listening: &'a Listening,
    name: String,
    plucks: u32,
    /// The newest provisional answer of each pluck that is not answered for good, by its onset in microseconds.
    open: BTreeMap<u64, Answer>,
}

impl<'a> Hearing<'a> {
    fn new(listening: &'a Listening, name: String) -> Self {
        Self {
            listening,
            name,
            plucks: 0,
            open: BTreeMap::new(),
        }
    }

    fn hear(&mut self, recording: &mut Recording, expectation: Expectation) -> Expectation {
        let mut ear = Ear::new(recording.rate(), expectation);
        let mut block = Vec::new();
        if !self.listening.json {
            say::line(&self.name);
        }
        while recording.next_block(&mut block) {
            ear.push(&block, &mut |sensed| self.tell(&sensed));
        }
        ear.finish(&mut |sensed| self.tell(&sensed))
    }

    fn tell(&mut self, sensed: &Sensed) {
        match sensed {
            Sensed::Answer(answer) => self.answer(answer),
            // The swell of a string that rings is nothing to talk about.
            Sensed::Refused {
                why: Refusal::NotNew, ..
            } => {}
            Sensed::Refused { onset_s, why } => {
                if !self.listening.json {
                    say::line(&format!("{onset_s:8.2}  no reading: {}", refusal(*why)));
                }
            }
            Sensed::Track { .. } | Sensed::Input(_) => {}
        }
    }

    fn answer(&mut self, answer: &Answer) {
        let onset = (answer.onset_s * 1e6) as u64;
        if answer.verdict == Verdict::Provisional {
            let before = self.open.insert(onset, *answer);
            let changed = before.is_none_or(|before| (before.string, before.hz) != (answer.string, answer.hz));
            if !(self.listening.trace && changed) {
                return;
            }
        } else {
            self.open.remove(&onset);
            self.plucks += 1;
        }
        let Listening { harp, tuning, json, .. } = self.listening;
        let Some(line) = PluckLine::new(&self.name, answer, harp, tuning) else {
            return;
        };
        say::line(&if *json {
            line.json()
        } else {
            let name = harp.string(answer.string).map(|string| string.open.harp_name());
            line.row(&name.unwrap_or_default())
        });
    }
}

/// Why a sound gives no reading, in a few words.
const fn refusal(why: Refusal) -> &'static str {
    match why {
        Refusal::NoPitch => "no pitch in it, as a knock has none",
        Refusal::NotAString => "not one of this harp's strings",
        Refusal::Stopped => "it stopped at once",
        Refusal::TooSoft => "much softer than this harp's strings: another harp, perhaps",
        Refusal::TooMany => "too much at the same time",
        _ => "not a pluck",
    }
}
