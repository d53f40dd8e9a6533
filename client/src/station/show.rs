//! Drawing what there is to show, and doing what is due.

use std::sync::Arc;
use std::time::Duration;

use consort_guide::Advice;
use consort_link::LinkState;
use consort_proto::{Agreement, Uptime};
use consort_words::{Arg, Key};
use tokio::time::Instant;

use super::{EventLoop, opening};
use crate::course::{Course, URGENT, minutes};
use crate::feed::ToEar;
use crate::image::Image;
use crate::network;
use crate::pluck::json;
use crate::store::Note;
use crate::voice::AdviceLine;

impl EventLoop {
    /// Draws everything anew, and tells the ear and the disk when the agreement has changed.
    pub(super) fn refresh(&mut self) {
        let now = self.now();
        self.begin_round(now);
        let drawn = self.draw(now);
        let image = Image {
            input: self.input,
            notices: self.notices.clone(),
            listening: self.listening.clone(),
            swell: self.swell.clone(),
            ..Image::of(&self.link, &self.harp, (&self.name, &self.own_tag), drawn, now)
        };
        let tenure = image.link.tenure;
        if tenure != self.noted_tenure || image.agreement != self.agreed {
            self.say_what_changed(image.agreement.as_ref());
            self.agreed.clone_from(&image.agreement);
            self.noted_tenure = tenure;
            // The ear may have ended with its sound.
            let _ = self.ear.send(ToEar::Retune(image.tuning));
            if let Some(agreement) = &image.agreement {
                self.store.note(Note::Agreed(agreement.clone(), tenure));
            }
        }
        if image.course.last_check != self.image.borrow().course.last_check {
            let _ = self.ear.send(ToEar::Run(image.course.last_check));
        }
        match image.link.state {
            LinkState::Joined => {
                self.unanswered = None;
                if image.agreement.is_some() {
                    self.start_feed();
                }
            }
            // Somebody has answered, and what they said is shown already.
            LinkState::Refused(_) | LinkState::OtherKey | LinkState::OtherVersion => self.unanswered = None,
            LinkState::Alone | LinkState::Searching | LinkState::Reaching | LinkState::Offline(_) => {}
        }
        let image = Image {
            course: Course {
                changed: self.changed.clone(),
                ..image.course
            },
            ..image
        };
        if self.image.borrow().advice != image.advice {
            let line = AdviceLine::new(&image.advice, &self.words);
            self.lately.say(now.0, json(&line));
        }
        // Every target of the letters that are allowed for is another one then.
        self.anew |= self.allows_otherwise && !image.course.dark && !self.link.is_playing();
        self.voice.show(&image);
        self.image.send_if_modified(|shown| {
            let changed = **shown != image;
            if changed {
                *shown = Arc::new(image);
            }
            changed
        });
    }

    /// Begins at the beginning where the leader has begun another round: after a performance, pedals may stand anywhere.
    fn begin_round(&mut self, now: Uptime) {
        if let (Some(before), Some(agreement)) = (&self.agreed, &self.link.view(now).agreement)
            && before.round != agreement.round
        {
            let opening = opening(self.opens, &self.harp, &self.link);
            self.hearing.begin_round(opening);
        }
    }

    /// The advice that stands, and the course of the tuning.
    fn draw(&mut self, now: Uptime) -> (Advice, Course) {
        let view = self.link.view(now);
        let start_in = view.start_in;
        let round = view.agreement.map(|agreement| agreement.round);
        if start_in == Some(Duration::ZERO) {
            self.performed = self.performed.or(round);
        } else {
            (self.performed, self.woken) = (None, false);
        }
        let dark = self.performed.is_some() && self.performed == round && !self.woken;
        if dark && self.listening.take().is_some() {
            self.swell.clear();
            // The ear may have ended with its sound.
            let _ = self.ear.send(ToEar::Beats(None));
        }
        // The time that is said changes when a minute is over.
        self.clock_at = start_in.filter(|left| !left.is_zero()).map(|left| {
            let over = Duration::from_millis(left.as_millis().saturating_sub(1) as u64 % 60_000 + 1);
            Instant::now() + over + Duration::from_millis(20)
        });
        let urgent = start_in.is_some_and(|left| !left.is_zero() && left <= URGENT);
        let choices = self.kept.now();
        self.hearing.guide_by(choices, urgent, &self.harp, self.link.tuning());
        let advice = self.hearing.advise(&self.harp, &self.link, now);
        let ways = self.hearing.ways();
        let course = Course {
            naming: ways.naming,
            order: ways.order,
            key: ways.key,
            // Asked when it is of use for the first time, and never in the way of a doubt.
            asks_key: advice.turn.is_some() && choices.asks_way(self.harp.name()),
            quick: ways.quick.is_some(),
            last_check: ways.last_check.is_some(),
            chosen: ways.chosen,
            next: self.hearing.following(&self.harp, &self.link, advice.string),
            start_in: start_in.map(minutes),
            dark,
            changed: None,
            can_undo: self.slipped.is_some() || self.kept.can_undo() || self.had_another_harp(),
            fresh: !self.knows_its_harp(),
            pedals: ways.pedals.clone(),
            input: choices.input().map(str::to_owned),
        };
        (advice, course)
    }

    /// She performs: the start has passed, and no other round has begun.
    pub(super) fn is_dark(&self) -> bool {
        self.image.borrow().course.dark
    }

    fn say_what_changed(&mut self, agreement: Option<&Agreement>) {
        if let (Some(before), Some(now)) = (&self.agreed, agreement)
            && before.tuning != now.tuning
        {
            let was = ("was", Arg::from(self.words.agreement(before)));
            let does = (
                "does",
                Arg::from(self.words.consequence(&self.harp, &before.tuning, &now.tuning)),
            );
            self.changed = Some(self.words.say(Key::LinkChanged, &[was, does]));
        }
    }

    fn start_feed(&mut self) {
        if let Some((feed, _)) = self.waiting.take()
            && let Err(why) = feed.start()
        {
            self.notice(
                self.words
                    .say(Key::ProblemOther, &[("why", Arg::from(why.to_string()))]),
            );
        }
    }

    pub(super) fn next_deadline(&self) -> Option<Instant> {
        let waiting = self.waiting.as_ref().map(|(_, until)| *until);
        let unanswered = self.unanswered.map(|(_, at)| at);
        let word = self.hearing.until().map(|at| self.instant(at));
        [waiting, unanswered, word, self.retry_at, self.let_go_at, self.end_by]
            .into_iter()
            .chain([self.clock_at, self.rest_at, self.alone_at])
            .flatten()
            .min()
    }

    pub(super) fn deadline(&mut self) {
        let now = Instant::now();
        if self.waiting.as_ref().is_some_and(|(_, until)| *until <= now) {
            self.start_feed();
        }
        if let Some((address, _)) = self.unanswered.take_if(|(_, at)| *at <= now) {
            let shown = ("address", Arg::from(address.to_string()));
            self.notice(self.words.say(Key::ProblemCoordinatorUnreachable, &[shown]));
            if network::is_near(address.ip()) {
                self.notice(self.words.say(Key::LinkApart, &[]));
            }
        }
        if self.let_go_at.is_some_and(|at| at <= now) {
            self.let_go_at = None;
            let advice = self.image.borrow().advice.clone();
            if self.hearing.let_go(&advice) {
                // The ear may have ended with its sound.
                let _ = self.ear.send(ToEar::Choose(None));
            }
            self.refresh();
        }
        if self.rest_at.take_if(|at| *at <= now).is_some() {
            self.hearing.rest();
            self.refresh();
        }
        if self.alone_at.take_if(|at| *at <= now).is_some() {
            self.count_alone(f64::INFINITY);
        }
        let word_is_due = self.hearing.until().is_some_and(|at| at <= self.now());
        if word_is_due || self.clock_at.is_some_and(|at| at <= now) {
            self.refresh();
        }
        if self.retry_at.is_some_and(|at| at <= now) {
            self.retry_at = None;
            self.unwritten.values().for_each(|report| self.store.journal(*report));
            for note in std::mem::take(&mut self.unnoted) {
                self.store.note(note);
            }
        }
    }
}
