//! Checks by listening at the desk: what is asked, and what came of what was plucked.
//!
//! While one is under way nothing that sounds is a reading: two strings at once, a harmonic or a raised string would be taken
//! for another string out of tune.

use consort_analysis::{Beating, NoBeat, Together, expected_inharmonicity};
use consort_guide::listening::{Asks, Check, Kind, Listening, Trouble};
use consort_proto::{Standing, StringNumber};
use consort_words::{Arg, Key};

use super::EventLoop;
use crate::ear::{Sensed, Verdict};
use crate::feed::ToEar;
use crate::image::Input;

/// A sound of a check is taken when it is this certain, cents.
const SIGMA_MOST: f64 = 2.0;

impl EventLoop {
    /// Begins a check on a string, or ends the one that is under way.
    pub(super) fn listen(&mut self, asked: Option<(Kind, StringNumber)>) {
        self.listening = None;
        self.swell.clear();
        if let Some((kind, string)) = asked {
            let tuning = self.link.tuning();
            match Check::of(kind, string, &self.harp, tuning, expected_inharmonicity) {
                Ok(check) => self.listening = Some(Listening::new(check)),
                Err(why) => {
                    let why = self
                        .words
                        .say(Key::ProblemOther, &[("why", Arg::from(why.to_string()))]);
                    self.notice(why);
                }
            }
        }
        let pair = self
            .listening
            .as_ref()
            .and_then(|listening| match listening.check().asks() {
                Asks::Together {
                    lower,
                    higher,
                    interval,
                    ..
                } => Some(Together {
                    lower: lower.hz,
                    higher: higher.hz,
                    interval: *interval,
                }),
                Asks::InTurn(_) => None,
            });
        // The ear may have ended with its sound.
        let _ = self.ear.send(ToEar::Beats(pair));
        self.refresh();
    }

    /// Takes in how two strings beat.
    pub(super) fn listened(&mut self, found: Result<Beating, NoBeat>) {
        let readiness = self.link.readiness();
        let Some(listening) = &mut self.listening else { return };
        let Asks::Together { lower, higher, .. } = listening.check().asks() else {
            return;
        };
        let (lower, higher) = (lower.string, higher.string);
        match found {
            Ok(beating) => {
                self.swell = beating.swell;
                listening.beats(beating.beats_per_second, beating.sigma, |string| {
                    in_tune(readiness.of(string))
                });
            }
            Err(why) => listening.spoilt(match why {
                NoBeat::OnlyLower => Trouble::Only(lower),
                NoBeat::OnlyHigher => Trouble::Only(higher),
                NoBeat::TooShort => Trouble::Short,
                NoBeat::TooLow => Trouble::Low,
                NoBeat::Elsewhere => Trouble::Other,
            }),
        }
        self.refresh();
    }

    /// Takes in a sound while a check is under way.
    pub(super) fn sense_in_check(&mut self, sensed: &Sensed) {
        match sensed {
            Sensed::Answer(answer) => {
                let stands = answer.verdict == Verdict::Settled
                    || (answer.verdict != Verdict::Provisional && answer.sigma.0 <= SIGMA_MOST);
                let readiness = self.link.readiness();
                if let Some(listening) = self.listening.as_mut().filter(|_| stands) {
                    listening.sound(answer.hz, |string| in_tune(readiness.of(string)));
                    self.refresh();
                }
            }
            Sensed::Input(trouble) => self.set_input(trouble.map_or(Input::Hears, Input::Troubled)),
            Sensed::Track { .. } | Sensed::Refused { .. } => {}
        }
    }
}

/// Whether a string is in tune by itself; `None` where that is not known.
const fn in_tune(standing: Option<Standing>) -> Option<bool> {
    match standing {
        Some(Standing::Holds(_) | Standing::SetOnce(_)) => Some(true),
        Some(Standing::Off(_) | Standing::Moved(_) | Standing::WillNotHold(_)) => Some(false),
        _ => None,
    }
}
