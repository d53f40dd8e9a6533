//! The minds of both programs over the protocol itself, in virtual time: a station, its coordinator and the way between.
//!
//! The shells are replaced by the plainest thing that keeps their contracts: a disk that has everything after 5 ms, a door
//! that lets in whoever has finished the handshake and opened the stream.

use std::collections::BTreeMap;
use std::io::Write;

use consort_link::{Attempt, AttemptFailure, Link, LinkState};
use consort_proto::message::Content;
use consort_proto::{
    Agreement, Binding, Cents, Fingerprint, Harp, JoinCode, JoinLink, JoinToken, Reading, ReferencePitch, Revision,
    Round, SessionId, StringNumber, ToCoordinator, Tolerance, Tuning, harp_file,
};
use consort_session::{Command, LinkId, Presence, Session, Ticket};

use super::*;
use crate::link::{CLOSE_GOODBYE, CLOSE_REFUSED};

/// Both programs and the way between them.
struct Hall {
    epoch: Instant,
    now: Duration,
    ends: [Host; 2],
    keys: [Fingerprint; 2],
    client: ClientConfig,
    link: Link,
    session: Session,
    /// Records that the disk will have, and farewells that will have been heard.
    due: BTreeMap<(Duration, u64), Due>,
    on_the_way: BTreeMap<(Duration, u64), (usize, Vec<u8>)>,
    order: u64,
    fates: [Fate; 2],
    weather: Weather,
}

/// The sockets and connections of one program.
struct Host {
    endpoint: Endpoint,
    address: SocketAddr,
    wires: BTreeMap<ConnectionHandle, Wire>,
}

/// One connection, and what a shell keeps of it.
struct Wire {
    connection: Connection,
    /// The attempt of the station, or the link of the coordinator.
    number: u64,
    /// Whether the core was told that it is open.
    open: bool,
    stream: Option<StreamId>,
    unsaid: Vec<u8>,
    unread: Vec<u8>,
}

enum Due {
    Written(Ticket),
    Closed(ConnectionHandle),
}

/// What the core of an end is told.
enum Told {
    Open,
    Heard(Vec<u8>),
    Gone { was_open: bool },
}

const WRITTEN_WITHIN: Duration = Duration::from_millis(5);
const HEARD_WITHIN: Duration = Duration::from_millis(100);

impl Hall {
    /// The station is called in by a join link, on a way that loses nothing yet.
    fn open(seed: u64) -> Self {
        let identities = [0, 1].map(|_| Identity::generate().expect("an identity"));
        let keys = [0, 1].map(|end: usize| identities[end].fingerprint());
        let tls = server_config(&identities[COORDINATOR]).expect("tls");
        let mut server = ServerConfig::with_crypto(Arc::new(QuicServerConfig::try_from(tls).expect("quic")));
        server.transport_config(transport());
        let tls = client_config(&identities[STATION], Some(keys[COORDINATOR]), Arc::default()).expect("tls");
        let mut client = ClientConfig::new(Arc::new(QuicClientConfig::try_from(tls).expect("quic")));
        client.transport_config(transport());
        let chance = |end: u8| Some([end ^ seed as u8; 32]);
        let listening = lasting(&identities[COORDINATOR]);
        let endpoints = [
            Endpoint::new(Arc::new(EndpointConfig::default()), None, false, chance(1)),
            Endpoint::new(Arc::new(listening), Some(Arc::new(server)), false, chance(2)),
        ];
        let mut host = 0;
        let ends = endpoints.map(|endpoint| {
            host += 1;
            Host {
                endpoint,
                address: ([192, 168, 1, host], 4700).into(),
                wires: BTreeMap::new(),
            }
        });
        let token = JoinToken([7; 16]);
        let start = consort_link::Config {
            seed,
            ..consort_link::Config::first("Runa".parse().expect("a name"), harp())
        };
        let mut hall = Self {
            epoch: Instant::now(),
            now: Duration::ZERO,
            link: Link::new(Uptime::default(), start),
            session: Session::open(Uptime::default(), consort_session::Config::default(), saved(token)),
            due: BTreeMap::new(),
            on_the_way: BTreeMap::new(),
            order: 0,
            fates: [Fate::new(seed << 1), Fate::new((seed << 1) + 1)],
            weather: Weather::FAIR,
            ends,
            keys,
            client,
        };
        let invitation = JoinLink {
            addresses: vec![hall.ends[COORDINATOR].address],
            coordinator: keys[COORDINATOR],
            token,
        };
        hall.coordinator(consort_session::Event::Tick);
        hall.station(consort_link::Event::JoinLink(invitation));
        hall
    }

    /// Goes on until `end`, or until `wanted`.
    fn run(&mut self, end: Duration, wanted: impl Fn(&Self) -> bool) -> bool {
        loop {
            self.settle();
            if wanted(self) {
                return true;
            }
            let epoch = self.epoch;
            let wires = self.ends.iter_mut().flat_map(|end| end.wires.values_mut());
            let timeouts = wires.filter_map(|wire| wire.connection.poll_timeout());
            let timeouts = timeouts.map(|at| at.saturating_duration_since(epoch)).min();
            let arrival = self.on_the_way.keys().next().map(|(at, _)| *at);
            let due = self.due.keys().next().map(|(at, _)| *at);
            let ticks = [self.link.poll_timeout(), self.session.poll_timeout()].map(|at| at.map(|at| at.0));
            let next = [timeouts, arrival, due].into_iter().chain(ticks).flatten().min();
            let Some(next) = next.filter(|&next| next <= end) else {
                self.now = end;
                return false;
            };
            self.now = self.now.max(next);
            self.happen();
        }
    }

    /// What is due now.
    fn happen(&mut self) {
        let at = self.epoch + self.now;
        while let Some(entry) = self.on_the_way.first_entry().filter(|entry| entry.key().0 <= self.now) {
            let (to, packet) = entry.remove();
            self.arrive(to, &packet);
        }
        while let Some(entry) = self.due.first_entry().filter(|entry| entry.key().0 <= self.now) {
            match entry.remove() {
                Due::Written(ticket) => self.coordinator(consort_session::Event::Persisted(ticket)),
                Due::Closed(handle) => self.close(COORDINATOR, handle, CLOSE_REFUSED),
            }
        }
        let wires = self.ends.iter_mut().flat_map(|end| end.wires.values_mut());
        wires.for_each(|wire| wire.connection.handle_timeout(at));
        let is_due = |tick: Option<Uptime>| tick.is_some_and(|tick| tick.0 <= self.now);
        let (hers, the_leaders) = (is_due(self.link.poll_timeout()), is_due(self.session.poll_timeout()));
        if hers {
            self.station(consort_link::Event::Tick);
        }
        if the_leaders {
            self.coordinator(consort_session::Event::Tick);
        }
    }

    fn arrive(&mut self, to: usize, packet: &[u8]) {
        let (at, from) = (self.epoch + self.now, self.ends[1 - to].address);
        let mut answer = Vec::new();
        let end = &mut self.ends[to];
        match end.endpoint.handle(at, from, None, None, packet.into(), &mut answer) {
            Some(DatagramEvent::ConnectionEvent(handle, event)) => {
                if let Some(wire) = end.wires.get_mut(&handle) {
                    wire.connection.handle_event(event);
                }
            }
            Some(DatagramEvent::NewConnection(incoming)) => {
                match end.endpoint.accept(incoming, at, &mut answer, None) {
                    Ok((handle, connection)) => {
                        self.order += 1;
                        end.wires.insert(handle, Wire::new(connection, self.order));
                    }
                    Err(refused) => {
                        if let Some(transmit) = refused.response {
                            self.leave(to, &transmit, &answer);
                        }
                    }
                }
            }
            Some(DatagramEvent::Response(transmit)) => self.leave(to, &transmit, &answer),
            None => {}
        }
    }

    fn leave(&mut self, from: usize, transmit: &Transmit, packet: &[u8]) {
        let packet = &packet[..transmit.size];
        for on_the_way in self.fates[from].of_packet(self.now, &self.weather) {
            self.order += 1;
            let arrives = (self.now + on_the_way, self.order);
            self.on_the_way.insert(arrives, (1 - from, packet.to_vec()));
        }
    }

    /// Sends what wants to be sent and tells the cores what was heard, until nothing is left to do.
    fn settle(&mut self) {
        loop {
            let mut told = Vec::new();
            for from in [STATION, COORDINATOR] {
                let handles: Vec<ConnectionHandle> = self.ends[from].wires.keys().copied().collect();
                for handle in handles {
                    told.extend(self.settle_wire(from, handle).into_iter().map(|told| (from, told)));
                }
            }
            if told.is_empty() {
                return;
            }
            for (end, (number, told)) in told {
                self.tell(end, number, told);
            }
        }
    }

    fn settle_wire(&mut self, from: usize, handle: ConnectionHandle) -> Vec<(u64, Told)> {
        let at = self.epoch + self.now;
        let Some(mut wire) = self.ends[from].wires.remove(&handle) else {
            return Vec::new();
        };
        let mut told = Vec::new();
        wire.say_on();
        while let Some(event) = wire.connection.poll_endpoint_events() {
            if let Some(event) = self.ends[from].endpoint.handle_event(handle, event) {
                wire.connection.handle_event(event);
            }
        }
        loop {
            let mut packet = Vec::new();
            let Some(transmit) = wire.connection.poll_transmit(at, 1, &mut packet) else {
                break;
            };
            self.leave(from, &transmit, &packet);
        }
        let mut is_lost = false;
        while let Some(event) = wire.connection.poll() {
            match event {
                Event::Connected if from == STATION => {
                    wire.stream = wire.connection.streams().open(Dir::Bi);
                    wire.open = true;
                    told.push(Told::Open);
                }
                Event::ConnectionLost { .. } => is_lost = true,
                _ => {}
            }
        }
        if from == COORDINATOR
            && !wire.open
            && let Some(stream) = wire.connection.streams().accept(Dir::Bi)
        {
            wire.stream = Some(stream);
            wire.open = true;
            told.push(Told::Open);
        }
        told.extend(wire.read().into_iter().map(Told::Heard));
        if is_lost {
            told.push(Told::Gone { was_open: wire.open });
        }
        let number = wire.number;
        if !is_lost || !wire.connection.is_drained() {
            wire.number = if is_lost { u64::MAX } else { number };
            self.ends[from].wires.insert(handle, wire);
        }
        // Who is gone has nothing more to tell.
        told.retain(|_| number != u64::MAX);
        told.into_iter().map(|told| (number, told)).collect()
    }

    /// Tells the core of an end.
    fn tell(&mut self, end: usize, number: u64, told: Told) {
        if end == STATION {
            let attempt = Attempt(number);
            self.station(match told {
                Told::Open => consort_link::Event::Connected {
                    attempt,
                    peer: self.keys[COORDINATOR],
                    address: self.ends[COORDINATOR].address,
                    binding: Binding([0; 32]),
                },
                Told::Heard(frame) => match ToStation::from_frame(&frame) {
                    Ok(Some(message)) => consort_link::Event::Heard { attempt, message },
                    other => panic!("{other:?}"),
                },
                Told::Gone { was_open: true } => consort_link::Event::LinkClosed { attempt },
                Told::Gone { was_open: false } => {
                    let why = AttemptFailure::NoAnswer;
                    consort_link::Event::AttemptFailed { attempt, why }
                }
            });
            return;
        }
        let link = LinkId(number);
        self.coordinator(match told {
            Told::Open => consort_session::Event::LinkOpened {
                link,
                peer: self.keys[STATION],
                from: self.ends[STATION].address.ip(),
                binding: Binding([0; 32]),
            },
            Told::Heard(frame) => match ToCoordinator::from_frame(&frame) {
                Ok(Some(message)) => consort_session::Event::Heard { link, message },
                other => panic!("{other:?}"),
            },
            Told::Gone { was_open: true } => consort_session::Event::LinkClosed { link },
            Told::Gone { was_open: false } => return,
        });
    }

    fn station(&mut self, event: consort_link::Event) {
        self.link.handle(Uptime(self.now), event);
        while let Some(effect) = self.link.poll_effect() {
            match effect {
                consort_link::Effect::Dial { attempt, address, .. } => {
                    let at = self.epoch + self.now;
                    let called = &mut self.ends[STATION];
                    let called_as = called.endpoint.connect(at, self.client.clone(), address, "consort");
                    let (handle, connection) = called_as.expect("a call");
                    called.wires.insert(handle, Wire::new(connection, attempt.0));
                }
                consort_link::Effect::Send { attempt, message } => self.say(STATION, attempt.0, &message),
                consort_link::Effect::Close { attempt } => {
                    if let Some(handle) = self.handle_of(STATION, attempt.0) {
                        self.close(STATION, handle, CLOSE_GOODBYE);
                    }
                }
                consort_link::Effect::Journal(report) => {
                    self.station(consort_link::Event::Journalled(report.sequence));
                }
                _ => {}
            }
        }
    }

    fn coordinator(&mut self, event: consort_session::Event) {
        self.session.handle(Uptime(self.now), event);
        while let Some(effect) = self.session.poll_effect() {
            match effect {
                consort_session::Effect::Send { link, message } => self.say(COORDINATOR, link.0, &message),
                consort_session::Effect::Close { link, why } => {
                    self.say(COORDINATOR, link.0, &ToStation::Refused(why));
                    if let Some(handle) = self.handle_of(COORDINATOR, link.0) {
                        self.later(HEARD_WITHIN, Due::Closed(handle));
                    }
                }
                consort_session::Effect::Persist { ticket, .. } => self.later(WRITTEN_WITHIN, Due::Written(ticket)),
                consort_session::Effect::DrawCode => {
                    self.coordinator(consort_session::Event::Code(JoinCode::drawn(1)));
                }
                _ => {}
            }
        }
    }

    fn later(&mut self, wait: Duration, due: Due) {
        self.order += 1;
        self.due.insert((self.now + wait, self.order), due);
    }

    fn handle_of(&self, end: usize, number: u64) -> Option<ConnectionHandle> {
        let mut wires = self.ends[end].wires.iter();
        wires.find(|(_, wire)| wire.number == number).map(|(&handle, _)| handle)
    }

    fn say<M: Message>(&mut self, end: usize, number: u64, message: &M) {
        let Some(handle) = self.handle_of(end, number) else {
            return;
        };
        let Some(wire) = self.ends[end].wires.get_mut(&handle) else {
            return;
        };
        if message.is_fleeting() {
            // One that finds no room is not missed.
            let _ = wire.connection.datagrams().send(message.to_frame().into(), true);
        } else {
            wire.unsaid.extend(message.to_frame());
        }
    }

    fn close(&mut self, end: usize, handle: ConnectionHandle, code: u32) {
        let at = self.epoch + self.now;
        if let Some(wire) = self.ends[end].wires.get_mut(&handle) {
            wire.number = u64::MAX;
            wire.connection.close(at, code.into(), Vec::new().into());
        }
    }

    /// Whether the station holds the newest agreement.
    fn is_told(&self) -> bool {
        let (hers, shown) = (self.link.view(Uptime(self.now)), self.session.view(Uptime(self.now)));
        hers.agreement == Some(&shown.agreement)
    }

    /// Whether the station is joined, holds the newest agreement, and is shown as here.
    fn is_well(&self) -> bool {
        let (hers, shown) = (self.link.view(Uptime(self.now)), self.session.view(Uptime(self.now)));
        let is_here = shown.stations.iter().all(|station| station.presence == Presence::Here);
        hers.state == LinkState::Joined && hers.agreement == Some(&shown.agreement) && is_here && hers.unsent == 0
    }
}

impl Wire {
    fn new(connection: Connection, number: u64) -> Self {
        Self {
            connection,
            number,
            open: false,
            stream: None,
            unsaid: Vec::new(),
            unread: Vec::new(),
        }
    }

    /// Says as much as there is room for.
    fn say_on(&mut self) {
        while let Some(stream) = self.stream.filter(|_| !self.unsaid.is_empty()) {
            // Where there is no room, or the link is gone, it waits.
            let Ok(written) = self.connection.send_stream(stream).write(&self.unsaid) else {
                return;
            };
            self.unsaid.drain(..written);
        }
    }

    /// The frames that are whole.
    fn read(&mut self) -> Vec<Vec<u8>> {
        let mut frames = Vec::new();
        while let Some(datagram) = self.connection.datagrams().recv() {
            frames.push(datagram.to_vec());
        }
        if let Some(stream) = self.stream
            && let Ok(mut chunks) = self.connection.recv_stream(stream).read(true)
        {
            while let Ok(Some(chunk)) = chunks.next(usize::MAX) {
                self.unread.extend_from_slice(&chunk.bytes);
            }
            let _ = chunks.finalize();
        }
        while self.unread.len() >= consort_wire::HEADER_LEN {
            let length = consort_wire::frame_len(&self.unread).expect("a frame");
            if self.unread.len() < length {
                break;
            }
            frames.push(self.unread.drain(..length).collect());
        }
        frames
    }
}

fn harp() -> Harp {
    harp_file::preset("lever-34").expect("a harp")
}

fn saved(token: JoinToken) -> consort_session::Saved {
    consort_session::Saved {
        agreement: Agreement {
            session: SessionId([5; 16]),
            revision: Revision(1),
            ensemble: "Hall".parse().expect("a name"),
            tuning: Tuning::default(),
            tolerance: Tolerance::default(),
            round: Round(1),
            called: None,
        },
        start_in: None,
        past: Vec::new(),
        epoch: 1,
        token,
        pinned: Vec::new(),
        deputies: Vec::new(),
        ruled: consort_session::Ruled::default(),
        stations: Vec::new(),
    }
}

/// How long after an outage in that weather the station holds the newest pitch, and how long until everything is well again:
/// the pitch changes in it, and a string is plucked.
fn back_after(seed: u64, weather: Weather, outage: Duration) -> [Duration; 2] {
    let mut hall = Hall::open(seed);
    assert!(hall.run(MINUTE, Hall::is_well), "seed {seed}: it does not join");
    hall.weather = weather;
    // Seeds that begin the outage at different moments of heartbeats and bursts.
    hall.run(hall.now + Duration::from_millis(2_000 + seed % 1_000), |_| false);
    hall.weather = Weather::CUT;
    let began = hall.now;
    hall.run(began + outage / 2, |_| false);
    let a4 = ReferencePitch::new(442.0).expect("a pitch");
    hall.coordinator(consort_session::Event::Command(Command::Pitch(a4)));
    let string = StringNumber::new(3).expect("a string");
    let hz = Tuning::default().open_target(harp().string(string).expect("the harp has it"));
    let reading = Reading::new(string, hz, Cents(0.2)).expect("a reading");
    hall.station(consort_link::Event::Observed(Content::Reading(reading)));
    hall.run(began + outage, |_| false);
    hall.weather = weather;
    let healed = hall.now;
    [Hall::is_told, Hall::is_well].map(|wanted| {
        let is_back = hall.run(healed + MINUTE, wanted);
        assert!(is_back, "seed {seed}: it does not come back");
        hall.now - healed
    })
}

/// The times after which so many seeds hold the newest pitch, and after which they are back, each in order.
fn all_back(seeds: u64, weather: Weather, outage: Duration) -> [Vec<Duration>; 2] {
    let threads = std::thread::available_parallelism().map_or(1, |cores| cores.get() as u64);
    let of_thread = |thread| move || (1..=seeds).skip(thread as usize).step_by(threads as usize);
    let all: Vec<[Duration; 2]> = std::thread::scope(|scope| {
        let parts: Vec<_> = (0..threads)
            .map(|thread| {
                let seeds = of_thread(thread)();
                scope.spawn(move || seeds.map(|seed| back_after(seed, weather, outage)).collect::<Vec<_>>())
            })
            .collect();
        let parts = parts.into_iter().map(|part| part.join().expect("a seed failed"));
        parts.flatten().collect()
    });
    [0, 1].map(|which| {
        let mut times: Vec<Duration> = all.iter().map(|times| times[which]).collect();
        times.sort();
        times
    })
}

/// Played in each weather, unless `CONSORT_OUTAGES` says otherwise.
const USUAL: u64 = 60;

#[test]
fn minds_and_protocol_together_are_well_again_soon_after_an_outage() {
    let asked = std::env::var("CONSORT_OUTAGES").ok();
    let seeds = asked.map_or(USUAL, |seeds| seeds.parse().expect("a number"));
    for (weather, outage_s, within_s) in [
        (LOSS, 12, 1.0),
        (Weather::BURSTS, 12, 1.5),
        (LOSS, 20, 3.0),
        (Weather::BURSTS, 20, 4.0),
    ] {
        let times = all_back(seeds, weather, Duration::from_secs(outage_s));
        for (what, all) in ["the newest pitch", "all well"].into_iter().zip(times) {
            let part = |part: f64| all[((all.len() - 1) as f64 * part) as usize].as_secs_f64();
            let told = format!(
                "{outage_s} s, {what}: median {:.2}, 99 of 100 {:.2}, most {:.2} s",
                part(0.5),
                part(0.99),
                part(1.0)
            );
            // Told past the test's own capture: a figure of virtual time, the same on every machine.
            let _ = writeln!(std::io::stderr(), "{told}");
            // The goal is for 99 of 100, of whom so few seeds say little: those that are late are bounded, and seldom.
            assert!(part(0.9) <= within_s && part(1.0) <= 8.0, "{told}");
        }
    }
}
