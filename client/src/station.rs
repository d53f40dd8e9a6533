//! The event loop: one task owns the link, hands it events, and carries out its effects without ever waiting for them.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::mpsc::Sender as Tunings;
use std::time::Duration;

use consort_analysis::Doubt;
use consort_guide::Action;
use consort_guide::opening::Check;
use consort_link::{Attempt, Effect, Event, Link, LinkState};
use consort_pairing::NotPaired;
use consort_peer::{Dialer, Identity};
use consort_proto::message::Content;
use consort_proto::{
    Agreement, Cents, Harp, Mark, Name, Reading, Report, Sequence, StringNumber, Tenure, ToCoordinator, Uptime,
};
use consort_store::Folder;
use consort_words::{Arg, Key, Words};
use tokio::sync::{mpsc, watch};
use tokio::time::Instant;

use crate::ear::{Answer, Sensed, Verdict};
use crate::endpoint::Calls;
use crate::feed::{Fed, Feed};
use crate::hearing::Hearing;
use crate::image::{Image, Input};
use crate::invitation::Invitation;
use crate::keeper::Keeper;
use crate::network;
use crate::pairing::Exchanges;
use crate::store::{Note, Store, Written};
use crate::voice::Voice;

/// What the harpist asks for at the desk.
#[derive(Clone, Debug)]
pub(crate) enum Wish {
    /// Mark a string, or take the mark back.
    Mark { string: StringNumber, mark: Option<Mark> },
    /// Join with what the leader gave.
    Join(Invitation),
    /// Something that the link does.
    Link(Event),
    /// Be a new laptop: one with a fresh key.
    Renew,
}

/// Everything that reaches the loop from outside.
#[derive(Debug)]
pub(crate) struct Inboxes {
    pub(crate) events: mpsc::Receiver<Event>,
    pub(crate) fed: mpsc::Receiver<Fed>,
    pub(crate) written: mpsc::UnboundedReceiver<Written>,
    pub(crate) wishes: mpsc::Receiver<Wish>,
}

/// The link, its harp's sound, its memory, and what shows them.
pub(crate) struct EventLoop {
    link: Link,
    calls: Calls,
    exchanges: Exchanges,
    store: Store,
    /// Where the key is kept.
    folder: Arc<Folder>,
    /// The tag of this laptop's own key.
    own_tag: String,
    /// Keeps the harp's record; `None` where its thread does not start.
    keeper: Option<Keeper>,
    started: Instant,
    harp: Arc<Harp>,
    name: Name,
    hearing: Hearing,
    input: Input,
    notices: Vec<String>,
    words: Words,
    voice: Voice,
    image: watch::Sender<Arc<Image>>,
    /// Tells the ear of other targets.
    tunings: Tunings<consort_proto::Tuning>,
    /// The agreement that the ear and the disk know of.
    agreed: Option<Agreement>,
    noted_tenure: Tenure,
    /// The newest report that rests on the disk.
    on_disk: Sequence,
    /// Reports and notes that the disk refused, and when to try them again.
    unwritten: BTreeMap<Sequence, Report>,
    unnoted: Vec<Note>,
    retry_at: Option<Instant>,
    /// Recordings that wait for the agreement, and until when.
    waiting: Option<(Feed, Instant)>,
    /// The coordinator that was named by link or address and has not answered yet, and when to say so.
    unanswered: Option<(SocketAddr, Instant)>,
    /// When the hand is let go of, since its string is done.
    let_go_at: Option<Instant>,
    /// Whether to end with the sound, and by when at the latest.
    until_end: bool,
    end_by: Option<Instant>,
}

/// What a loop starts from.
pub(crate) struct Parts {
    pub(crate) link: Link,
    pub(crate) calls: Calls,
    pub(crate) exchanges: Exchanges,
    pub(crate) store: Store,
    pub(crate) folder: Arc<Folder>,
    pub(crate) own_tag: String,
    pub(crate) keeper: Option<Keeper>,
    pub(crate) started: Instant,
    pub(crate) harp: Arc<Harp>,
    pub(crate) name: Name,
    pub(crate) voice: Voice,
    pub(crate) notices: Vec<String>,
    pub(crate) tunings: Tunings<consort_proto::Tuning>,
    pub(crate) feed: Feed,
    /// How long the sound may wait for an agreement.
    pub(crate) patience: Duration,
    /// Where the coordinator should be, by link or address.
    pub(crate) called: Option<SocketAddr>,
    pub(crate) until_end: bool,
    /// Whether the tuning opens with a check.
    pub(crate) opens: bool,
}

/// A disk that took nothing is tried again after this long.
const RETRY_AFTER: Duration = Duration::from_secs(5);
/// A coordinator that was named and has not answered after this long is said to be missing.
const ANSWERED_WITHIN: Duration = Duration::from_secs(5);
/// A string that is done is shown for this long, then the next one.
const LET_GO_AFTER: Duration = Duration::from_secs(2);
/// How long a station that ends with its recordings waits until the coordinator has everything.
const ACKED_WITHIN: Duration = Duration::from_secs(10);
/// How long leaving may take; a coordinator that is gone does not hold up the end.
const LEAVE_WITHIN: Duration = Duration::from_secs(2);
/// Notices that are kept to be shown; older ones were seen or do not matter any more.
const NOTICES_MAX: usize = 64;

impl EventLoop {
    /// Carries on until `shutdown`, or until the sound has ended if it is to end with it; then takes leave.
    ///
    /// Says whether nothing waits to be reported.
    pub(crate) async fn run(mut self, mut inboxes: Inboxes, shutdown: impl Future<Output = ()>) -> bool {
        let mut shutdown = std::pin::pin!(shutdown);
        self.tell(Event::Tick);
        self.refresh();
        loop {
            while let Some(effect) = self.link.poll_effect() {
                self.perform(effect);
            }
            if self.is_done() {
                break;
            }
            let tick = self.link.poll_timeout().map(|at| self.started + at.0);
            tokio::select! {
                biased;
                () = &mut shutdown => break,
                Some(written) = inboxes.written.recv() => self.written(written),
                Some(event) = inboxes.events.recv() => self.tell(event),
                () = until(tick) => self.tell(Event::Tick),
                () = until(self.next_deadline()) => self.deadline(),
                Some(wish) = inboxes.wishes.recv() => self.wish(wish),
                Some(fed) = inboxes.fed.recv() => self.hear(fed),
            }
        }
        self.voice.farewell(&self.image.borrow());
        let delivered = self.is_delivered();
        // What was not said by then is in the journal and is said next time.
        let _ = tokio::time::timeout(LEAVE_WITHIN, self.calls.leave()).await;
        delivered
    }
}

impl EventLoop {
    /// A loop around `parts`; its images appear in the receiver.
    pub(crate) fn new(parts: Parts) -> (Self, watch::Receiver<Arc<Image>>) {
        let now = Instant::now();
        let hearing = Hearing::new(if parts.opens {
            Check::begin(&parts.harp, &parts.link.readiness())
        } else {
            Check::default()
        });
        let mut event_loop = Self {
            image: watch::Sender::new(Arc::new(Image::of(
                &parts.link,
                &parts.harp,
                (&parts.name, &parts.own_tag),
                &hearing,
                Uptime(now - parts.started),
            ))),
            link: parts.link,
            calls: parts.calls,
            exchanges: parts.exchanges,
            store: parts.store,
            folder: parts.folder,
            own_tag: parts.own_tag,
            keeper: parts.keeper,
            started: parts.started,
            harp: parts.harp,
            name: parts.name,
            hearing,
            input: Input::Waiting,
            notices: parts.notices,
            words: Words::english(),
            voice: parts.voice,
            tunings: parts.tunings,
            agreed: None,
            noted_tenure: Tenure::default(),
            on_disk: Sequence::default(),
            unwritten: BTreeMap::new(),
            unnoted: Vec::new(),
            retry_at: None,
            waiting: Some((parts.feed, now + parts.patience)),
            unanswered: parts.called.map(|address| (address, now + ANSWERED_WITHIN)),
            let_go_at: None,
            until_end: parts.until_end,
            end_by: None,
        };
        let view = event_loop.link.view(Uptime::default());
        (event_loop.agreed, event_loop.noted_tenure) = (view.agreement.cloned(), view.tenure);
        let images = event_loop.image.subscribe();
        (event_loop, images)
    }

    fn perform(&mut self, effect: Effect) {
        match effect {
            Effect::Dial {
                attempt,
                address,
                expect,
            } => self.calls.dial(attempt, address, expect),
            Effect::Send { attempt, message } => self.calls.say(attempt, message),
            Effect::Close { attempt } => self.close(attempt),
            Effect::Pair {
                attempt,
                peer,
                binding,
                code,
            } => {
                let said = self.exchanges.start(attempt, peer, binding, code);
                self.prove(attempt, said);
            }
            Effect::Confirm {
                attempt,
                session,
                share,
                name,
            } => {
                let said = self.exchanges.confirm(attempt, session, share, name);
                self.prove(attempt, said);
            }
            Effect::CheckProof {
                attempt,
                ensemble,
                proof,
            } => {
                let right = self.exchanges.check(attempt, &ensemble, proof);
                self.tell(Event::Proof { attempt, right });
            }
            Effect::Pin { coordinator, address } => self.store.note(Note::Pinned(coordinator, address)),
            Effect::Journal(report) => self.store.journal(report),
            Effect::Forget { session, up_to } => {
                self.store.note(Note::Acked(session, up_to));
                self.refresh();
            }
            Effect::Remember { coordinator, address } => self.store.note(Note::Reached(coordinator, address)),
            Effect::Redraw => self.refresh(),
        }
    }

    fn tell(&mut self, event: Event) {
        self.link.handle(self.now(), event);
    }

    /// Says the next word of a try, or that it is over.
    fn prove(&mut self, attempt: Attempt, said: Result<ToCoordinator, NotPaired>) {
        match said {
            Ok(message) => self.calls.say(attempt, message),
            Err(why) => {
                tracing::debug!(attempt = attempt.0, %why, "the code is not proven");
                self.tell(Event::Proof { attempt, right: false });
            }
        }
    }

    fn close(&mut self, attempt: Attempt) {
        self.exchanges.forget(attempt);
        self.calls.close(attempt);
    }

    fn wish(&mut self, wish: Wish) {
        match wish {
            Wish::Mark { string, mark } => self.tell(Event::Observed(Content::Mark { string, mark })),
            Wish::Join(invitation) => self.tell(invitation.into()),
            Wish::Link(event) => self.tell(event),
            Wish::Renew => self.renew(),
        }
    }

    /// The key goes aside and a fresh one takes its place: nobody knows this laptop any more.
    fn renew(&mut self) {
        let renewed = Identity::renew(&self.folder)
            .map_err(|why| why.to_string())
            .and_then(|identity| {
                let own = identity.fingerprint();
                let dialer = Dialer::new(Arc::new(identity)).map_err(|why| why.to_string())?;
                Ok((own, dialer))
            });
        match renewed {
            Ok((own, dialer)) => {
                self.own_tag = own.tag();
                self.exchanges = Exchanges::new(own);
                self.calls.renew(dialer);
                self.tell(Event::Renewed);
                self.refresh();
            }
            Err(why) => self.notice(self.words.say(Key::ProblemOther, &[("why", Arg::from(why))])),
        }
    }

    fn written(&mut self, written: Written) {
        match written {
            Written::Report(sequence) => {
                self.unwritten.remove(&sequence);
                self.on_disk = self.on_disk.max(sequence);
                // What the disk refused keeps back what came after it: the journal counts upwards.
                if self.unwritten.is_empty() {
                    self.tell(Event::Journalled(self.on_disk));
                }
            }
            Written::Pinned(coordinator, address) => self.tell(Event::Pinned { coordinator, address }),
            Written::NotReport(report, why) => {
                self.unwritten.insert(report.sequence, report);
                self.disk_refuses(&why);
            }
            Written::NotNote(note, why) => {
                // The newest of its kind is what has to be known.
                self.unnoted.retain(|older| !note.replaces(older));
                self.unnoted.push(note);
                self.disk_refuses(&why);
            }
        }
    }

    fn disk_refuses(&mut self, why: &str) {
        if self.retry_at.is_none() {
            self.retry_at = Some(Instant::now() + RETRY_AFTER);
            self.notice(why.to_owned());
        }
    }

    fn hear(&mut self, fed: Fed) {
        match fed {
            Fed::Sensed { file, sensed } => {
                self.hearing.turn_to(file);
                let shown = self.image.borrow().advice.string;
                let sensed = self.hearing.told_apart(sensed, &self.harp, &self.link, shown);
                self.sense(&sensed);
            }
            Fed::Said(sentence) => self.notice(sentence),
            Fed::Hears => {
                self.hearing.begin_sound();
                self.set_input(Input::Hears);
            }
            Fed::Lost => self.set_input(Input::Lost),
            Fed::Ended => {
                self.set_input(Input::Ended);
                self.end_by = self.until_end.then(|| Instant::now() + ACKED_WITHIN);
            }
        }
    }

    fn sense(&mut self, sensed: &Sensed) {
        if let Sensed::Answer(answer) = sensed
            && answer.verdict != Verdict::Provisional
        {
            let file = self.hearing.file();
            self.voice.pluck(&file, answer, &self.image.borrow());
            self.observe(answer);
        }
        if let Sensed::Input(trouble) = sensed {
            self.set_input(trouble.map_or(Input::Hears, Input::Troubled));
        }
        if self.hearing.follow(sensed) {
            self.refresh();
            let done = matches!(self.image.borrow().advice.action, Action::Holds | Action::LeaveIt);
            self.let_go_at = done.then(|| Instant::now() + LET_GO_AFTER);
        }
    }

    /// Reports a settled answer; one that cannot be a reading of a harp's string is left out.
    fn observe(&mut self, answer: &Answer) {
        // Partials that do not agree, and a pitch that bends as its lines beat, are what a false string sounds like: the
        // record wants to know of them, with a pitch that is as uncertain as it moved.
        let settled = answer.verdict == Verdict::Settled;
        let sigma = match answer.verdict {
            Verdict::Settled => answer.sigma,
            Verdict::Unsure(Doubt::Scattered | Doubt::Turned) => Cents(answer.sigma.0.max(answer.glide.0.abs())),
            Verdict::Unsure(_) | Verdict::Provisional => return,
        };
        match Reading::new(answer.string, answer.hz, sigma) {
            Ok(reading) => {
                if let Some(keeper) = &self.keeper {
                    let own = (*self.link.tuning(), *self.link.tolerance());
                    keeper.keep(reading, &answer.partials, self.agreed.as_ref(), own);
                }
                if !settled {
                    return;
                }
                self.hearing.settled(answer.onset_s, &reading, &self.harp, &self.link);
                // A level that cannot be is left out, not the reading.
                let reading = reading.at_level(answer.level_dbfs).unwrap_or(reading);
                let since = Duration::try_from_secs_f64(answer.time_s - answer.onset_s).unwrap_or_default();
                self.tell(Event::Plucked { reading, since });
            }
            Err(why) => tracing::debug!(%why, "a pluck is no reading"),
        }
    }

    fn set_input(&mut self, input: Input) {
        if self.input != input {
            self.input = input;
            self.refresh();
        }
    }

    fn notice(&mut self, sentence: String) {
        if self.notices.len() == NOTICES_MAX {
            self.notices.remove(0);
        }
        self.notices.push(sentence);
        self.refresh();
    }

    /// Draws everything anew, and tells the ear and the disk when the agreement has changed.
    fn refresh(&mut self) {
        let now = self.now();
        let image = Image {
            input: self.input,
            notices: self.notices.clone(),
            ..Image::of(&self.link, &self.harp, (&self.name, &self.own_tag), &self.hearing, now)
        };
        let tenure = image.link.tenure;
        if tenure != self.noted_tenure || image.agreement != self.agreed {
            self.agreed.clone_from(&image.agreement);
            self.noted_tenure = tenure;
            // The ear may have ended with its sound.
            let _ = self.tunings.send(image.tuning);
            if let Some(agreement) = &image.agreement {
                self.store.note(Note::Agreed(agreement.clone(), tenure));
            }
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
        self.voice.show(&image);
        self.image.send_if_modified(|shown| {
            let changed = **shown != image;
            if changed {
                *shown = Arc::new(image);
            }
            changed
        });
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

    fn next_deadline(&self) -> Option<Instant> {
        let waiting = self.waiting.as_ref().map(|(_, until)| *until);
        let unanswered = self.unanswered.map(|(_, at)| at);
        [waiting, unanswered, self.retry_at, self.let_go_at, self.end_by]
            .into_iter()
            .flatten()
            .min()
    }

    fn deadline(&mut self) {
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
            self.hearing.let_go();
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

    /// Whether the sound is over, and everything that can be reported has been, or will not be any more today.
    fn is_done(&self) -> bool {
        self.end_by
            .is_some_and(|by| self.is_delivered() || by <= Instant::now())
    }

    /// Whether the coordinator has every report, or there is none to have them.
    fn is_delivered(&self) -> bool {
        let view = self.link.view(self.now());
        view.unsent == 0 || view.state == LinkState::Alone
    }

    fn now(&self) -> Uptime {
        Uptime(self.started.elapsed())
    }
}

/// Sleeps until then; for ever when there is no then.
async fn until(then: Option<Instant>) {
    match then {
        Some(then) => tokio::time::sleep_until(then).await,
        None => std::future::pending().await,
    }
}
