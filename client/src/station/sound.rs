//! Taking in what the ear says: the string in hand, the readings, the state of the input.

use std::time::Duration;

use consort_analysis::Doubt;
use consort_guide::Action;
use consort_link::Event;
use consort_proto::{Cents, Reading};
use tokio::time::Instant;

use super::{ACKED_WITHIN, EventLoop, LEFT_FOR, LET_GO_AFTER};
use crate::ear::{Answer, Sensed, Verdict};
use crate::feed::Fed;
use crate::image::Input;
use crate::pluck::json;

impl EventLoop {
    pub(super) fn hear(&mut self, fed: Fed) {
        match fed {
            // Nothing that she performs is a reading.
            Fed::Sensed { .. } if self.is_dark() => {}
            Fed::Sensed { file, sensed } => {
                if self.hearing.file() != file {
                    self.count_alone(f64::INFINITY);
                }
                self.hearing.turn_to(file);
                let shown = self.image.borrow().advice.string;
                let sensed = self.hearing.told_apart(sensed, &self.harp, &self.link, shown);
                self.sense(&sensed);
            }
            Fed::Beats(found) => self.listened(found),
            Fed::Record(noted) => self.note_record(&noted),
            Fed::Said(sentence) => self.notice(sentence),
            Fed::Hears => {
                self.count_alone(f64::INFINITY);
                self.hearing.begin_sound();
                self.set_input(Input::Hears);
            }
            Fed::Lost => self.set_input(Input::Lost),
            Fed::Ended => {
                self.count_alone(f64::INFINITY);
                self.set_input(Input::Ended);
                self.end_by = self.until_end.then(|| Instant::now() + ACKED_WITHIN);
            }
        }
    }

    fn sense(&mut self, sensed: &Sensed) {
        self.lately.say(
            self.now().0,
            json(&serde_json::json!({ "sensed": format!("{sensed:?}") })),
        );
        if self.link.is_playing() {
            // The performance has begun: it is neither judged nor kept in the harp's record.
            if let Sensed::Input(trouble) = sensed {
                self.set_input(trouble.map_or(Input::Hears, Input::Troubled));
            }
            return;
        }
        if self.listening.is_some() {
            return self.sense_in_check(sensed);
        }
        let before = self.hearing.newest_pluck_s();
        if self.hearing.plays(sensed) {
            if self.hearing.newest_pluck_s() > before || self.rest_at.is_none() {
                self.rest_at = Some(Instant::now() + Duration::from_secs_f64(consort_guide::REST_S));
            }
            self.let_go_at = None;
            self.refresh();
            return;
        }
        if let Sensed::Answer(Answer { time_s, .. }) | Sensed::Track { time_s, .. } = sensed {
            self.count_alone(*time_s);
        }
        if let Sensed::Answer(answer) = sensed
            && answer.verdict != Verdict::Provisional
        {
            // How a string stands with its pedal elsewhere is shown, and no reading of the open string.
            if self.hearing.counts(answer.string) {
                let file = self.hearing.file();
                self.voice.pluck(&file, answer, &self.image.borrow());
                let called = self.agreed.as_ref().and_then(|agreed| agreed.called);
                let counts = self.hearing.what_counts(answer, called, &self.harp, &self.link);
                for counts in &counts {
                    self.observe(counts, answer.time_s);
                }
                let left_s = self.hearing.alone_at().map(|at_s| at_s - answer.time_s);
                self.alone_at = left_s.map(|left_s| Instant::now() + Duration::from_secs_f64(left_s.max(0.0)));
            }
        }
        if let Sensed::Input(trouble) = sensed {
            self.set_input(trouble.map_or(Input::Hears, Input::Troubled));
        }
        if self.hearing.follow(sensed, &self.harp, &self.link) {
            self.refresh_and_let_go();
        }
    }

    /// Shows what is in hand; what is done, or does not count, is let go of a little later.
    fn refresh_and_let_go(&mut self) {
        self.refresh();
        let done = matches!(
            self.image.borrow().advice.action,
            Action::Holds | Action::LeaveIt | Action::NextOne
        );
        let left = self.hearing.is_left();
        let after = if left { LEFT_FOR } else { LET_GO_AFTER };
        self.let_go_at = (done || left).then(|| Instant::now() + after);
    }

    /// Lets count what has stood alone, now that the sound has come to `time_s`, or has ended.
    pub(super) fn count_alone(&mut self, time_s: f64) {
        let Some(at_s) = self.hearing.alone_at().filter(|at_s| *at_s <= time_s) else {
            return;
        };
        self.alone_at = None;
        for answer in self.hearing.stood_alone(time_s) {
            self.observe(&answer, at_s);
        }
        self.refresh_and_let_go();
    }

    /// Reports a settled answer at `time_s`, seconds of the sound; one that cannot be a reading of a harp's string is left
    /// out.
    fn observe(&mut self, answer: &Answer, time_s: f64) {
        // Partials that do not agree, and a pitch that bends as its lines beat, are what a false string sounds like: the
        // record wants to know of them, with a pitch that is as uncertain as it moved.
        let settled = answer.verdict == Verdict::Settled;
        let sigma = match answer.verdict {
            Verdict::Settled => answer.sigma,
            Verdict::Unsure(Doubt::Scattered | Doubt::Turned) => Cents(answer.sigma.0.max(answer.glide.0.abs())),
            Verdict::Unsure(_) | Verdict::Provisional => return,
        };
        let called = self.agreed.as_ref().and_then(|agreed| agreed.called);
        let own = self.harp.string(answer.string);
        let is_called = own.is_some_and(|own| Some(own.open) == called);
        match Reading::new(answer.string, answer.hz, sigma) {
            Ok(reading) if !is_called && self.hearing.passes_over(answer.onset_s, answer.string) => {
                if settled {
                    self.hearing
                        .settled(answer.onset_s, &reading, false, &self.harp, &self.link);
                }
            }
            Ok(reading) => {
                if let Some(keeper) = &self.keeper {
                    let own = (*self.link.tuning(), *self.link.tolerance());
                    keeper.keep(reading, &answer.timbre, self.agreed.as_ref(), own);
                }
                if !settled {
                    return;
                }
                self.hearing
                    .settled(answer.onset_s, &reading, is_called, &self.harp, &self.link);
                // A level that cannot be is left out, not the reading.
                let reading = reading.at_level(answer.level_dbfs).unwrap_or(reading);
                let since = Duration::try_from_secs_f64(time_s - answer.onset_s).unwrap_or_default();
                self.tell(Event::Plucked { reading, since });
            }
            Err(why) => tracing::debug!(%why, "a pluck is no reading"),
        }
    }

    pub(super) fn set_input(&mut self, input: Input) {
        if self.input != input {
            self.input = input;
            self.refresh();
        }
    }
}
