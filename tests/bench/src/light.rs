//! Light stations: the station's own link with sockets of its own, and no sound, no disk and no desk around it.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};

use consort_link::{Attempt, AttemptFailure, Config, Effect, Event, Link, LinkState};
use consort_logbook::{Logbook, Logged};
use consort_peer::{Dialer, Identity};
use consort_proto::message::Content;
use consort_proto::{
    Binding, Cents, Fingerprint, Harp, JoinLink, Reading, StringNumber, ToCoordinator, ToStation, Tuning, Uptime,
    harp_file,
};
use consort_store::Lines;
use tokio::sync::mpsc;

/// So many light stations in one program, and what they say.
#[derive(Debug)]
pub(crate) struct Crowd {
    told: std::sync::mpsc::Receiver<Told>,
    /// Dropped to end them all.
    _wishes: Vec<mpsc::UnboundedSender<Wish>>,
    states: Vec<(bool, f64)>,
    begun: Instant,
}

/// A station shows something else than before.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Told {
    pub(crate) station: usize,
    pub(crate) at: Instant,
    pub(crate) joined: bool,
    /// What it tunes to.
    pub(crate) a4_hz: f64,
}

/// How a light station behaves.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Habits {
    /// Heartbeats besides its own, as a station that is watched live would send.
    pub(crate) live_every: Option<Duration>,
    /// A string is plucked so often.
    pub(crate) pluck_every: Option<Duration>,
}

#[derive(Debug)]
enum Wish {}

impl Crowd {
    /// One station for each join link; they call one after the other, not all at once. Each keeps a logbook in the folder,
    /// if there is one.
    pub(crate) fn start(links: Vec<JoinLink>, habits: Habits, logbooks: Option<&Path>) -> Result<Self, String> {
        let (tell, told) = std::sync::mpsc::channel();
        let (wishes, wished): (Vec<_>, Vec<_>) = links.iter().map(|_| mpsc::unbounded_channel()).unzip();
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(|why| why.to_string())?;
        let states = vec![(false, 0.0); links.len()];
        let logbook = |number| {
            let Some(folder) = logbooks else { return Ok(None) };
            let file = folder.join(format!("light-{number}.logbook"));
            let lines = Lines::append(&file).map_err(|why| format!("{}: {why}", file.display()))?;
            Ok::<_, String>(Some(Logbook::new(move |line| lines.add(line))))
        };
        let logbooks = (0..links.len()).map(logbook).collect::<Result<Vec<_>, _>>()?;
        let begun = Instant::now();
        thread::spawn(move || {
            runtime.block_on(async {
                let stations = links.into_iter().zip(wished).zip(logbooks).enumerate();
                let running = stations.map(|(number, ((link, wishes), logbook))| {
                    let own = Own { number, begun, logbook };
                    tokio::spawn(live(own, link, habits, wishes, tell.clone()))
                });
                for station in running.collect::<Vec<_>>() {
                    // It ends when nobody listens any more.
                    let _ = station.await;
                }
            });
        });
        Ok(Self {
            told,
            _wishes: wishes,
            states,
            begun,
        })
    }

    /// Waits until `wanted` holds of every station (its link is up; what it tunes to); gives when each last changed to
    /// it, counted from `since`, in milliseconds.
    pub(crate) fn wait(
        &mut self,
        since: Instant,
        patience: Duration,
        wanted: impl Fn(bool, f64) -> bool,
    ) -> Result<Vec<f64>, String> {
        let mut reached = vec![None; self.states.len()];
        for (place, &(joined, a4)) in reached.iter_mut().zip(&self.states) {
            *place = wanted(joined, a4).then_some(since);
        }
        let until = Instant::now() + patience;
        while reached.iter().any(Option::is_none) {
            let left = until.saturating_duration_since(Instant::now());
            let Ok(told) = self.told.recv_timeout(left) else {
                let missing = reached.iter().filter(|at| at.is_none()).count();
                return Err(format!("{missing} of {} stations do not come to it", reached.len()));
            };
            self.states[told.station] = (told.joined, told.a4_hz);
            let place = &mut reached[told.station];
            *place = wanted(told.joined, told.a4_hz).then(|| place.unwrap_or(told.at));
        }
        let ms = |at: Instant| at.saturating_duration_since(since).as_secs_f64() * 1_000.0;
        Ok(reached.into_iter().flatten().map(ms).collect())
    }

    /// How long the crowd has lived: the time in its logbooks.
    pub(crate) fn age(&self) -> Duration {
        self.begun.elapsed()
    }

    /// Takes in what was told meanwhile, so that a wait that follows begins with what is so now.
    pub(crate) fn catch_up(&mut self) {
        while let Ok(told) = self.told.try_recv() {
            self.states[told.station] = (told.joined, told.a4_hz);
        }
    }
}

/// The harp of light stations.
pub(crate) fn harp() -> Result<Harp, String> {
    harp_file::preset("lever-34").ok_or_else(|| "the harp is not known".to_owned())
}

/// What a station has of its own.
struct Own {
    number: usize,
    /// When its crowd began.
    begun: Instant,
    logbook: Option<Logbook>,
}

async fn live(
    Own { number, begun, logbook }: Own,
    link: JoinLink,
    habits: Habits,
    mut wishes: mpsc::UnboundedReceiver<Wish>,
    tell: std::sync::mpsc::Sender<Told>,
) -> Result<(), String> {
    tokio::time::sleep(Duration::from_millis(5) * u32::try_from(number).unwrap_or_default()).await;
    let identity = Identity::generate().map_err(|why| why.to_string())?;
    let dialer = Arc::new(Dialer::new(Arc::new(identity)).map_err(|why| why.to_string())?);
    let harp = harp()?;
    let name = format!("Light {number}").parse().map_err(|_| "no name")?;
    let config = Config {
        process: number as u64,
        seed: number as u64,
        ..Config::first(name, harp.clone())
    };
    let (events, mut heard) = mpsc::unbounded_channel();
    let mut station = Station {
        number,
        begun,
        link: Logged::start(Uptime(begun.elapsed()), config, logbook),
        dialer,
        queues: BTreeMap::new(),
        events,
        shown: (false, 0.0),
    };
    station.take(Event::JoinLink(link), &tell);
    let mut live_at = habits.live_every.map(|every| begun + every);
    // Not all at the same moment.
    let first = Duration::from_millis(37) * u32::try_from(number).unwrap_or_default();
    let mut pluck_at = habits.pluck_every.map(|every| begun + every + first);
    let mut string = 0;
    loop {
        let tick = station.link.poll_timeout().map(|at| begun + at.0);
        let event = tokio::select! {
            biased;
            Some(event) = heard.recv() => event,
            // Nobody wishes anything; the end of the wishes is the end of the station.
            None = wishes.recv() => return Ok(()),
            () = until(tick) => Event::Tick,
            () = until(live_at) => {
                live_at = live_at.zip(habits.live_every).map(|(at, every)| at + every);
                station.live();
                continue;
            }
            () = until(pluck_at) => {
                pluck_at = pluck_at.zip(habits.pluck_every).map(|(at, every)| at + every);
                string = string % harp.len() as u32 + 1;
                match reading(&harp, string) {
                    Some(content) => Event::Observed(content),
                    None => continue,
                }
            }
        };
        station.take(event, &tell);
    }
}

fn reading(harp: &Harp, string: u32) -> Option<Content> {
    let number = StringNumber::new(string).ok()?;
    let hz = Tuning::default().open_target(harp.string(number)?);
    let reading = Reading::new(number, hz, Cents(0.2)).ok()?.at_level(-20.0).ok()?;
    Some(Content::Reading(reading))
}

/// One light station.
struct Station {
    number: usize,
    begun: Instant,
    link: Logged<Link>,
    dialer: Arc<Dialer>,
    queues: BTreeMap<Attempt, mpsc::UnboundedSender<ToCoordinator>>,
    events: mpsc::UnboundedSender<Event>,
    shown: (bool, f64),
}

impl Station {
    fn take(&mut self, event: Event, tell: &std::sync::mpsc::Sender<Told>) {
        self.link.handle(Uptime(self.begun.elapsed()), event);
        while let Some(effect) = self.link.poll_effect() {
            match effect {
                Effect::Dial {
                    attempt,
                    address,
                    expect,
                } => {
                    let (queue, waiting) = mpsc::unbounded_channel();
                    self.queues.insert(attempt, queue);
                    let call = call(
                        attempt,
                        address,
                        expect,
                        self.dialer.clone(),
                        waiting,
                        self.events.clone(),
                    );
                    tokio::spawn(call);
                }
                Effect::Send { attempt, message } => {
                    if let Some(queue) = self.queues.get(&attempt) {
                        // The link's end is told as an event.
                        let _ = queue.send(message);
                    }
                }
                Effect::Close { attempt } => {
                    self.queues.remove(&attempt);
                }
                // A light station has no disk: what it noted counts as written.
                Effect::Journal(report) => {
                    let _ = self.events.send(Event::Journalled(report.sequence));
                }
                Effect::Redraw => self.tell(tell),
                Effect::Forget { .. }
                | Effect::Remember { .. }
                | Effect::Pin { .. }
                | Effect::Pair { .. }
                | Effect::Confirm { .. }
                | Effect::CheckProof { .. } => {}
            }
        }
    }

    fn tell(&mut self, tell: &std::sync::mpsc::Sender<Told>) {
        let joined = self.link.view(Uptime(self.begun.elapsed())).state == LinkState::Joined;
        let a4_hz = self.link.tuning().a4.hz().get();
        if std::mem::replace(&mut self.shown, (joined, a4_hz)) != (joined, a4_hz) {
            let told = Told {
                station: self.number,
                at: Instant::now(),
                joined,
                a4_hz,
            };
            // Whoever measures may have ended.
            let _ = tell.send(told);
        }
    }

    fn live(&self) {
        if self.shown.0
            && let Some((_, queue)) = self.queues.last_key_value()
        {
            let _ = queue.send(ToCoordinator::Beat);
        }
    }
}

/// Carries one call from the dialling to its end.
async fn call(
    attempt: Attempt,
    address: std::net::SocketAddr,
    expect: Option<Fingerprint>,
    dialer: Arc<Dialer>,
    mut waiting: mpsc::UnboundedReceiver<ToCoordinator>,
    events: mpsc::UnboundedSender<Event>,
) {
    let dialled = tokio::select! {
        dialled = dialer.dial::<ToCoordinator, ToStation>(address, expect) => dialled,
        _ = waiting.recv() => return,
    };
    let Ok(link) = dialled else {
        let why = AttemptFailure::NoAnswer;
        let _ = events.send(Event::AttemptFailed { attempt, why });
        return;
    };
    let peer = link.peer();
    // No code is ever proven here, so that the link is bound to nothing.
    let binding = Binding([0; 32]);
    let _ = events.send(Event::Connected {
        attempt,
        peer,
        address,
        binding,
    });
    let (mut say, mut hear) = link.split();
    let saying = async {
        while let Some(message) = waiting.recv().await {
            if say.say(&message).await.is_err() {
                return;
            }
        }
        say.cut(consort_peer::link::CLOSE_GOODBYE);
    };
    let hearing = async {
        while let Ok(Some(message)) = hear.hear().await {
            if events.send(Event::Heard { attempt, message }).is_err() {
                return;
            }
        }
    };
    tokio::select! {
        () = saying => {}
        () = hearing => {}
    }
    let _ = events.send(Event::LinkClosed { attempt });
}

async fn until(then: Option<Instant>) {
    match then {
        Some(then) => tokio::time::sleep_until(then.into()).await,
        None => std::future::pending().await,
    }
}
