//! Whether an input still lives, what to do when it does not, and when to say so: events and time in, actions out.
//!
//! Only the one input that was named is ever opened.
//! This module reads no clock and opens nothing; whoever holds it does.

use std::collections::VecDeque;
use std::time::Duration;

use consort_proto::Uptime;

use crate::sound::signals::Seen;

/// The life of one named input.
#[derive(Debug)]
pub(crate) struct Recovery {
    state: State,
    /// How long to wait before the next attempt.
    pause: Duration,
    /// What the harpist was told last; `None` before anything was said.
    told: Option<News>,
    actions: VecDeque<Action>,
}

/// What happens to the input.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum Event {
    /// Time has passed.
    Tick,
    /// The attempt has succeeded.
    Opened,
    /// The attempt has not.
    NotOpened,
    /// The open stream, looked at.
    Seen(Seen),
}

/// What is to be done.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum Action {
    /// Try to open the input.
    Open,
    /// Let go of the stream, or of the attempt to open one.
    LetGo,
    /// Tell the harpist.
    Tell(News),
}

/// What a harpist wants to know of her input.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum News {
    /// It is heard, for the first time or again.
    Hears,
    /// It has gone.
    Lost,
}

#[derive(Debug)]
enum State {
    /// Until the next attempt.
    Waiting {
        until: Uptime,
    },
    Opening {
        since: Uptime,
    },
    Open {
        /// What had been seen when samples last came.
        then: Seen,
        /// When that was; at first, when the stream was opened.
        alive: Uptime,
        /// When the first samples came.
        heard: Option<Uptime>,
    },
}

/// With errors and no samples for this long, a stream is dead: some systems repeat an error for ever.
const DEAD_AFTER: Duration = Duration::from_millis(500);
/// Without any samples for this long, it is dead though it reports nothing; the slowest first block comes after 2 s.
const STALLED_AFTER: Duration = Duration::from_secs(5);
/// An attempt that has not ended by now hangs in the system; another one is made in its place.
const OPENS_WITHIN: Duration = Duration::from_secs(10);
/// A lost input is tried again after this long, then after twice as long each time.
const PAUSE_FIRST: Duration = Duration::from_millis(250);
const PAUSE_MAX: Duration = Duration::from_secs(4);
/// After so long with samples it counts as back for good: the next loss is tried again at once.
const STEADY_AFTER: Duration = Duration::from_secs(2);

impl Recovery {
    /// An input that has not been opened yet.
    pub(crate) fn new() -> Self {
        Self {
            state: State::Waiting {
                until: Uptime::default(),
            },
            pause: PAUSE_FIRST,
            told: None,
            actions: VecDeque::new(),
        }
    }

    /// Takes in what has happened; the actions wait in [`Self::poll`].
    pub(crate) fn handle(&mut self, now: Uptime, event: Event) {
        match (&mut self.state, event) {
            (State::Waiting { until }, Event::Tick) if now >= *until => {
                self.state = State::Opening { since: now };
                self.actions.push_back(Action::Open);
            }
            (State::Opening { .. }, Event::Opened) => {
                self.state = State::Open {
                    then: Seen::default(),
                    alive: now,
                    heard: None,
                };
            }
            (State::Opening { .. }, Event::NotOpened) => self.lose(now, None),
            (State::Opening { since }, Event::Tick) if elapsed(*since, now) >= OPENS_WITHIN => {
                self.lose(now, Some(Action::LetGo));
            }
            (State::Open { .. }, Event::Seen(seen)) => self.look(now, seen),
            // An answer to an attempt that was given up, or nothing new.
            (_, Event::Tick | Event::Opened | Event::NotOpened | Event::Seen(_)) => {}
        }
    }

    /// The next action, oldest first.
    pub(crate) fn poll(&mut self) -> Option<Action> {
        self.actions.pop_front()
    }

    fn look(&mut self, now: Uptime, seen: Seen) {
        let State::Open { then, alive, heard } = &mut self.state else {
            return;
        };
        let mut hears = false;
        if seen.callbacks != then.callbacks {
            (*then, *alive) = (seen, now);
            let since = *heard.get_or_insert(now);
            if elapsed(since, now) >= STEADY_AFTER {
                self.pause = PAUSE_FIRST;
            }
            hears = true;
        }
        let quiet = elapsed(*alive, now);
        let stumbled = seen.errors != then.errors;
        if seen.gone || quiet >= STALLED_AFTER || (stumbled && quiet >= DEAD_AFTER) {
            self.lose(now, Some(Action::LetGo));
        } else if hears {
            self.tell(News::Hears);
        }
    }

    /// The harpist is told first: letting go can take its time.
    fn lose(&mut self, now: Uptime, let_go: Option<Action>) {
        self.tell(News::Lost);
        self.actions.extend(let_go);
        self.state = State::Waiting {
            until: Uptime(now.0 + self.pause),
        };
        self.pause = (self.pause * 2).min(PAUSE_MAX);
    }

    fn tell(&mut self, news: News) {
        if self.told != Some(news) {
            self.told = Some(news);
            self.actions.push_back(Action::Tell(news));
        }
    }
}

fn elapsed(since: Uptime, now: Uptime) -> Duration {
    now.0.saturating_sub(since.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEARS: Action = Action::Tell(News::Hears);
    const LOST: Action = Action::Tell(News::Lost);

    /// Feeds each event at its time in milliseconds and compares everything that is to be done.
    #[track_caller]
    fn check(table: &[(u64, Event, &[Action])]) {
        let mut recovery = Recovery::new();
        for (row, (ms, event, expected)) in table.iter().enumerate() {
            recovery.handle(Uptime(Duration::from_millis(*ms)), *event);
            let actions: Vec<Action> = std::iter::from_fn(|| recovery.poll()).collect();
            assert_eq!(actions, *expected, "row {row}, {event:?} at {ms} ms");
        }
    }

    const fn seen(callbacks: u64, errors: u64) -> Event {
        Event::Seen(Seen {
            callbacks,
            errors,
            gone: false,
        })
    }

    const fn gone(callbacks: u64) -> Event {
        Event::Seen(Seen {
            callbacks,
            errors: 0,
            gone: true,
        })
    }

    use Action::{LetGo, Open};
    use Event::{NotOpened, Opened, Tick};

    #[test]
    #[rustfmt::skip]
    fn an_input_is_heard_with_its_first_samples_and_told_once() {
        check(&[
            // ms    event       actions
            (   0, Tick,       &[Open]),
            (  10, Tick,       &[]),
            (  20, Opened,     &[]),
            (  30, seen(0, 0), &[]),
            (  60, seen(1, 0), &[HEARS]),
            (  70, seen(2, 0), &[]),
            (9_000, seen(900, 0), &[]),
        ]);
    }

    #[test]
    #[rustfmt::skip]
    fn an_input_that_is_gone_is_told_let_go_and_opened_again() {
        check(&[
            (    0, Tick,       &[Open]),
            (   20, Opened,     &[]),
            (   30, seen(1, 0), &[HEARS]),
            (3_000, seen(99, 0), &[]),
            (3_010, gone(99),   &[LOST, LetGo]),
            (3_020, Tick,       &[]),
            (3_260, Tick,       &[Open]),
            (3_270, NotOpened,  &[]),            // It was told already.
            (3_300, Tick,       &[]),
            (3_770, Tick,       &[Open]),        // Twice as long as before.
            (3_780, Opened,     &[]),
            (3_800, seen(1, 0), &[HEARS]),
        ]);
    }

    #[test]
    #[rustfmt::skip]
    fn a_stream_is_dead_after_errors_without_sound_or_a_long_silence_of_its_own() {
        check(&[
            (     0, Tick,       &[Open]),
            (    10, Opened,     &[]),
            (    10, seen(1, 0), &[HEARS]),
            (   400, seen(1, 5), &[]),
            (   450, seen(2, 9), &[]),           // A late block after errors: it only stumbled.
            (   900, seen(2, 9), &[]),
            ( 1_000, seen(2, 10), &[LOST, LetGo]),
            ( 1_250, Tick,       &[Open]),
            ( 1_260, Opened,     &[]),
            ( 1_300, seen(1, 0), &[HEARS]),
            ( 6_290, seen(1, 0), &[]),
            ( 6_300, seen(1, 0), &[LOST, LetGo]), // No error, and no samples for five seconds.
        ]);
    }

    #[test]
    #[rustfmt::skip]
    fn a_stream_that_opens_without_a_sample_is_not_said_to_be_back() {
        check(&[
            (     0, Tick,       &[Open]),
            (    10, Opened,     &[]),
            (    20, seen(7, 0), &[HEARS]),
            (    30, gone(7),    &[LOST, LetGo]),
            (   280, Tick,       &[Open]),
            (   290, Opened,     &[]),
            ( 5_280, seen(0, 0), &[]),
            ( 5_290, seen(0, 0), &[LetGo]),
            ( 5_780, Tick,       &[]),
            ( 5_790, Tick,       &[Open]),
            ( 5_800, Opened,     &[]),
            ( 5_810, seen(1, 0), &[HEARS]),
        ]);
    }

    #[test]
    #[rustfmt::skip]
    fn attempts_come_at_growing_distances_up_to_four_seconds_and_start_over_after_steady_sound() {
        check(&[
            (     0, Tick, &[Open]),
            (     0, NotOpened, &[LOST]),
            (   250, Tick, &[Open]),
            (   250, NotOpened, &[]),
            (   750, Tick, &[Open]),
            (   750, NotOpened, &[]),
            ( 1_750, Tick, &[Open]),
            ( 1_750, NotOpened, &[]),
            ( 3_750, Tick, &[Open]),
            ( 3_750, NotOpened, &[]),
            ( 7_740, Tick, &[]),
            ( 7_750, Tick, &[Open]),
            ( 7_750, NotOpened, &[]),
            (11_750, Tick, &[Open]),
            (11_750, Opened, &[]),
            (11_800, seen(1, 0), &[HEARS]),
            (11_900, gone(1), &[LOST, LetGo]),   // It flickers: no reason to hurry.
            (15_890, Tick, &[]),
            (15_900, Tick, &[Open]),
            (15_900, Opened, &[]),
            (16_000, seen(1, 0), &[HEARS]),
            (18_000, seen(9, 0), &[]),           // Two seconds of sound.
            (18_100, gone(9), &[LOST, LetGo]),
            (18_350, Tick, &[Open]),
        ]);
    }

    #[test]
    #[rustfmt::skip]
    fn an_attempt_that_hangs_is_given_up_and_its_late_answer_means_nothing() {
        check(&[
            (     0, Tick,      &[Open]),
            ( 9_990, Tick,      &[]),
            (10_000, Tick,      &[LOST, LetGo]),
            (10_100, Opened,    &[]),
            (10_100, seen(5, 0), &[]),
            (10_250, Tick,      &[Open]),
            (10_260, Opened,    &[]),
            (10_270, seen(1, 0), &[HEARS]),
        ]);
    }
}
