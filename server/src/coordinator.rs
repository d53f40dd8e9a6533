//! The event loop: one task owns the session, hands it events, and carries out its effects without ever waiting for them.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::Arc;
use std::time::Duration;

use consort_clock::{Clock, LOOK_EVERY};
use consort_logbook::Logged;
use consort_proto::{Binding, Fingerprint, Uptime};
use consort_session::{Command, Effect, Event, LinkId, Session, Ticket, View};
use tokio::sync::{mpsc, oneshot, watch};
use tokio::time::Instant;

use crate::deputy::Leave;
use crate::endpoint::Outbox;
use crate::pairing::{Exchanges, draw_code};
use crate::store::Store;
use crate::work::{Kind, Stopwatch, kind_of};

/// What reaches the event loop from outside.
#[derive(Debug)]
pub(crate) enum Input {
    /// A station's link is open.
    Link {
        id: LinkId,
        peer: Fingerprint,
        from: IpAddr,
        binding: Binding,
        outbox: Outbox,
    },
    /// Something happened to the session.
    Event(Event),
    /// The leader decided something and waits for the outcome.
    Order(Command, oneshot::Sender<Outcome>),
    /// Somebody wants to see the session as it is now.
    Look(oneshot::Sender<Arc<View>>),
    /// A deputy's link wants to know what the leader allows the holder of this key.
    Leave(Fingerprint, oneshot::Sender<Leave>),
    /// The leader closes the session.
    Stop,
}

/// A way to the event loop for those who look and order.
#[derive(Clone, Debug)]
pub struct Viewer {
    inbox: mpsc::Sender<Input>,
}

impl Viewer {
    pub(crate) const fn new(inbox: mpsc::Sender<Input>) -> Self {
        Self { inbox }
    }

    /// The session as it is now; `None` once the coordinator has ended.
    pub async fn look(&self) -> Option<Arc<View>> {
        let (answer, view) = oneshot::channel();
        self.inbox.send(Input::Look(answer)).await.ok()?;
        view.await.ok()
    }

    /// Carries the order out; `None` once the coordinator has ended.
    pub async fn order(&self, command: Command) -> Option<Outcome> {
        let (answer, outcome) = oneshot::channel();
        self.inbox.send(Input::Order(command, answer)).await.ok()?;
        outcome.await.ok()
    }

    /// Closes the session.
    pub async fn stop(&self) {
        // When nobody takes it, the coordinator has ended already.
        let _ = self.inbox.send(Input::Stop).await;
    }
}

/// What became of an order.
#[derive(Clone, Debug, PartialEq)]
pub enum Outcome {
    /// It is done, written down and on its way to every station.
    Done(Arc<View>),
    /// Nothing had to change.
    Unchanged(Arc<View>),
    /// The disk takes nothing, so the order was not carried out.
    NotWritten,
}

/// The session, its links, its store, and those who wait for it.
#[derive(Debug)]
pub(crate) struct EventLoop {
    session: Logged<Session>,
    store: Store,
    exchanges: Exchanges,
    events: mpsc::UnboundedReceiver<Event>,
    clock: Clock,
    watch: Stopwatch,
    /// When to look whether this laptop slept.
    look_at: Instant,
    links: BTreeMap<LinkId, Outbox>,
    /// The newest record that was handed to the store.
    handed: Ticket,
    /// Orders that wait until the disk has their record.
    orders: Vec<(Ticket, oneshot::Sender<Outcome>)>,
    image: watch::Sender<Arc<View>>,
    /// When the next image is due, if anything has changed since the last one.
    draw_at: Option<Instant>,
    drawn_at: Instant,
    /// The shortest time until the next one.
    draw_every: Duration,
}

/// At most one image in this time, so that a busy tuning costs no more to show than a quiet one. A change after a pause is
/// drawn at once; the eye follows no more than twenty pictures in a second.
const DRAW_EVERY: Duration = Duration::from_millis(50);
/// Images of a crowd come more slowly: at least so many times as long as one of them took.
const DRAWN_ONE_PART_IN: u32 = 10;

/// What answers a station's share leaves at the end of such a slot, so that nobody can tell by the time how long it took to
/// compute, which may depend on the code.
const REPLY_SLOT: Duration = Duration::from_millis(150);

/// Inputs that are taken before the clocks are looked at again: some tens of microseconds' worth.
const IN_ONE_GO: usize = 32;
/// How often the time left until the start is shown anew.
const COUNT_EVERY: Duration = Duration::from_secs(1);
/// How often it is shown anew how long nothing was heard of a harp.
const FORETELL_EVERY: Duration = Duration::from_secs(10);

impl EventLoop {
    /// Carries on until `shutdown`.
    pub(crate) async fn run(&mut self, mut inbox: mpsc::Receiver<Input>, shutdown: impl Future<Output = ()>) {
        let mut shutdown = std::pin::pin!(shutdown);
        tokio::select! {
            biased;
            () = &mut shutdown => return,
            () = self.settle() => {}
        }
        loop {
            let began = self.watch.start();
            self.perform_all();
            self.watch.stop(Kind::HandedOn, began);
            let tick = self.session.poll_timeout().map(|at| self.instant(at));
            let input = tokio::select! {
                biased;
                () = &mut shutdown => return,
                Some(event) = self.events.recv() => Input::Event(event),
                () = until(tick) => Input::Event(Event::Tick),
                () = until(Some(self.look_at)) => { self.look_at_clock(); continue }
                () = until(self.draw_at) => {
                    let began = self.watch.start();
                    self.draw();
                    self.watch.stop(Kind::Images, began);
                    continue
                }
                Some(input) = inbox.recv() => input,
            };
            // What is there already is taken in one go: setting the clocks costs more than a heartbeat.
            let mut next = Some(input);
            for _ in 0..IN_ONE_GO {
                let Some(input) = next.take().or_else(|| inbox.try_recv().ok()) else {
                    break;
                };
                if matches!(input, Input::Stop) {
                    return;
                }
                let (kind, began) = (kind_of_input(&input), self.watch.start());
                self.take(input);
                self.watch.stop(kind, began);
            }
        }
    }
}

/// What kind of work it is to take the input in.
const fn kind_of_input(input: &Input) -> Kind {
    match input {
        Input::Event(event) => kind_of(event),
        Input::Link { .. } => Kind::Joining,
        Input::Order(..) | Input::Look(_) | Input::Leave(..) | Input::Stop => Kind::Orders,
    }
}

impl EventLoop {
    /// A loop around `session`; images of it appear in the receiver.
    pub(crate) fn new(
        session: Logged<Session>,
        store: Store,
        exchanges: Exchanges,
        events: mpsc::UnboundedReceiver<Event>,
        (clock, watch): (Clock, Stopwatch),
    ) -> (Self, watch::Receiver<Arc<View>>) {
        let now = Instant::now();
        let (image, images) = watch::channel(Arc::new(session.view(clock.now())));
        let event_loop = Self {
            session,
            store,
            exchanges,
            events,
            clock,
            watch,
            look_at: now + LOOK_EVERY,
            links: BTreeMap::new(),
            handed: Ticket(0),
            orders: Vec::new(),
            image,
            // The first image shows the session before anything happens in it, so a start may already count down.
            draw_at: Some(now),
            drawn_at: now,
            draw_every: DRAW_EVERY,
        };
        (event_loop, images)
    }

    /// Waits for the disk to take or refuse what the opening decided, so that nobody sees the session without it.
    async fn settle(&mut self) {
        self.perform_all();
        if self.handed > Ticket(0)
            && let Some(event) = self.events.recv().await
        {
            self.take(Input::Event(event));
        }
    }

    /// Hands the input to the session, with the time.
    fn take(&mut self, input: Input) {
        // Before anything that came meanwhile is judged by the time.
        self.look_at_clock();
        let now = self.now();
        match input {
            Input::Link {
                id,
                peer,
                from,
                binding,
                outbox,
            } => {
                self.links.insert(id, outbox);
                let opened = Event::LinkOpened {
                    link: id,
                    peer,
                    from,
                    binding,
                };
                self.session.handle(now, opened);
            }
            Input::Order(command, answer) => self.order(command, answer),
            Input::Look(answer) => {
                // Whoever asked may have gone.
                let _ = answer.send(self.look());
            }
            Input::Leave(peer, answer) => {
                let leave = Leave {
                    looks: self.session.is_known(peer),
                    orders: self.session.is_deputy(peer),
                };
                // The link may have gone.
                let _ = answer.send(leave);
            }
            Input::Stop => {}
            Input::Event(event) => {
                match &event {
                    Event::LinkClosed { link } => {
                        self.links.remove(link);
                        self.exchanges.forget(*link);
                    }
                    Event::NotPersisted(_) => self.store.refusal_is_told(),
                    _ => {}
                }
                let settled = match event {
                    Event::Persisted(ticket) => Some((ticket, true)),
                    Event::NotPersisted(ticket) => Some((ticket, false)),
                    _ => None,
                };
                self.session.handle(now, event);
                if let Some((ticket, written)) = settled {
                    self.answer_orders(ticket, written);
                }
            }
        }
    }

    fn perform_all(&mut self) {
        while let Some(effect) = self.session.poll_effect() {
            self.perform(effect);
        }
    }

    fn perform(&mut self, effect: Effect) {
        match effect {
            Effect::Send { link, message } => {
                // A station that does not read costs only itself; the session hears of its end like of any other.
                if self.links.get(&link).is_some_and(|outbox| !outbox.post(message)) {
                    tracing::info!(link = link.0, "a station reads too slowly and is cut");
                    self.links.remove(&link);
                }
            }
            Effect::Close { link, why } => {
                self.exchanges.forget(link);
                if let Some(outbox) = self.links.remove(&link) {
                    outbox.dismiss(why);
                }
            }
            Effect::DrawCode => match draw_code() {
                Ok(code) => self.session.handle(self.now(), Event::Code(code)),
                Err(why) => tracing::warn!(%why, "no joining code can be drawn"),
            },
            Effect::AnswerShare {
                link,
                peer,
                binding,
                code,
                share,
            } => match self.exchanges.answer(link, peer, binding, code, share) {
                Ok(reply) => {
                    let at = self.reply_at();
                    if let Some(outbox) = self.links.get(&link) {
                        outbox.post_at(reply, at);
                    }
                }
                Err(why) => {
                    tracing::debug!(link = link.0, %why, "a share is none");
                    self.session.handle(self.now(), Event::Proof { link, right: false });
                }
            },
            Effect::CheckProof { link, name, proof } => {
                let right = self.exchanges.check(link, &name, proof);
                self.session.handle(self.now(), Event::Proof { link, right });
            }
            Effect::Accept { link, ensemble } => {
                if let Some(accept) = self.exchanges.accept(link, ensemble)
                    && let Some(outbox) = self.links.get(&link)
                {
                    outbox.post(accept);
                }
            }
            Effect::Persist { ticket, record } => {
                self.handed = ticket;
                self.store.persist(ticket, record);
            }
            Effect::Redraw => {
                let soon = self.drawn_at + self.draw_every;
                self.draw_at = Some(self.draw_at.map_or(soon, |at| at.min(soon)));
            }
        }
    }

    /// Carries the order out; the answer waits until what it changes is on the disk.
    fn order(&mut self, command: Command, answer: oneshot::Sender<Outcome>) {
        let before = self.handed;
        let now = self.now();
        let door_before = self.session.door(now);
        self.session.handle(now, Event::Command(command));
        self.perform_all();
        if self.handed > before {
            self.orders.push((self.handed, answer));
            return;
        }
        // The door is not written down: a restart opens it with another code.
        let outcome = if self.session.door(now) == door_before {
            Outcome::Unchanged(self.look())
        } else {
            Outcome::Done(self.look())
        };
        // Whoever ordered it may have gone.
        let _ = answer.send(outcome);
    }

    fn answer_orders(&mut self, ticket: Ticket, written: bool) {
        if !self.orders.iter().any(|(waits_for, _)| *waits_for <= ticket) {
            return;
        }
        let view = self.look();
        let (settled, waiting): (Vec<_>, Vec<_>) = std::mem::take(&mut self.orders)
            .into_iter()
            .partition(|(waits_for, _)| *waits_for <= ticket);
        self.orders = waiting;
        for (_, answer) in settled {
            let outcome = if written {
                Outcome::Done(view.clone())
            } else {
                Outcome::NotWritten
            };
            // Whoever ordered it may have gone.
            let _ = answer.send(outcome);
        }
    }

    fn draw(&mut self) {
        let began = Instant::now();
        let view = self.look();
        self.drawn_at = Instant::now();
        self.draw_every = DRAW_EVERY.max((self.drawn_at - began) * DRAWN_ONE_PART_IN);
        // A countdown moves by itself.
        let counts_down = view.start_in.is_some_and(|left| left > Duration::ZERO);
        // So does what is foretold while nobody is heard, more slowly.
        let foretells = view.stations.iter().any(|station| station.outlook.quiet.is_some());
        let every = if counts_down {
            Some(COUNT_EVERY)
        } else {
            foretells.then_some(FORETELL_EVERY)
        };
        self.draw_at = every.map(|every| self.drawn_at + every);
        self.image.send_replace(view);
    }

    /// The end of the slot of time in which an answer to a share was computed.
    fn reply_at(&self) -> Instant {
        let slots = self.now().0.as_millis() / REPLY_SLOT.as_millis() + 1;
        self.instant(Uptime(REPLY_SLOT * u32::try_from(slots).unwrap_or(u32::MAX)))
    }

    fn look(&self) -> Arc<View> {
        Arc::new(self.session.view(self.now()))
    }

    fn now(&self) -> Uptime {
        self.clock.now()
    }

    fn instant(&self, at: Uptime) -> Instant {
        self.clock.instant(at).into()
    }

    /// Tells the session when this laptop slept.
    fn look_at_clock(&mut self) {
        self.look_at = Instant::now() + LOOK_EVERY;
        if let Some(slept) = self.clock.look() {
            tracing::info!(?slept, "this program stood still");
            self.session.handle(self.clock.now(), Event::Woke);
        }
    }
}

/// Sleeps until then; for ever when there is no then.
async fn until(then: Option<Instant>) {
    match then {
        Some(then) => tokio::time::sleep_until(then).await,
        None => std::future::pending().await,
    }
}
