//! The protocol itself in virtual time: both ends with the very settings of the programs, on a line that loses packets.
//!
//! The state machines of QUIC take time and bytes as arguments, and their chance from a seed; keys of Ed25519 keep every
//! packet's size, so that one seed gives one run.

mod cores;

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};

use consort_proto::{ToStation, Uptime};
use consort_proxy::{Fate, Weather};
use quinn::crypto::rustls::{QuicClientConfig, QuicServerConfig};
use quinn::{ClientConfig, ServerConfig};
use quinn_proto::{
    Connection, ConnectionHandle, DatagramEvent, Dir, Endpoint, EndpointConfig, Event, StreamId, Transmit,
};

use super::{lasting, transport};
use crate::identity::Identity;
use crate::message::Message;
use crate::trust::{client_config, server_config};

const STATION: usize = 0;
const COORDINATOR: usize = 1;
/// How often hearts beat.
const BEAT_EVERY: Duration = Duration::from_millis(250);
/// How long nothing may be heard before a station is called silent.
const SILENT_AFTER: Duration = Duration::from_secs(4);
const LOSS: Weather = Weather {
    loss: 20.0,
    ..Weather::FAIR
};

/// Two ends and the line between them.
struct Line {
    epoch: Instant,
    now: Duration,
    ends: [End; 2],
    /// Packets by the time of their arrival, and for whom.
    on_the_way: BTreeMap<(Duration, u64), (usize, Vec<u8>)>,
    order: u64,
    fates: [Fate; 2],
    weather: Weather,
    /// When each packet left, and how long it was.
    trace: Vec<(Duration, usize)>,
    next_beat: Duration,
}

struct End {
    endpoint: Endpoint,
    address: SocketAddr,
    connection: Option<(ConnectionHandle, Connection)>,
    /// When heartbeats were heard.
    beats: Vec<Duration>,
    /// Bytes that came on the stream, and when the last of them did.
    stream: (usize, Duration),
    lost: bool,
}

impl Line {
    /// A line on which the station calls the coordinator.
    fn open(seed: u64, weather: Weather) -> Self {
        let identities = [0, 1].map(|_| Identity::generate().expect("an identity"));
        let tls = server_config(&identities[COORDINATOR]).expect("tls");
        let mut server = ServerConfig::with_crypto(Arc::new(QuicServerConfig::try_from(tls).expect("quic")));
        server.transport_config(transport());
        let expect = Some(identities[COORDINATOR].fingerprint());
        let tls = client_config(&identities[STATION], expect, Arc::default()).expect("tls");
        let mut client = ClientConfig::new(Arc::new(QuicClientConfig::try_from(tls).expect("quic")));
        client.transport_config(transport());
        let epoch = Instant::now();
        let chance = |end: u8| Some([end ^ seed as u8; 32]);
        let calling = EndpointConfig::default();
        let listening = lasting(&identities[COORDINATOR]);
        let ends = [
            End::new(Endpoint::new(Arc::new(calling), None, false, chance(1)), 1),
            End::new(
                Endpoint::new(Arc::new(listening), Some(Arc::new(server)), false, chance(2)),
                2,
            ),
        ];
        let mut line = Self {
            epoch,
            now: Duration::ZERO,
            ends,
            on_the_way: BTreeMap::new(),
            order: 0,
            fates: [Fate::new(seed << 1), Fate::new((seed << 1) + 1)],
            weather,
            trace: Vec::new(),
            next_beat: BEAT_EVERY,
        };
        let address = line.ends[COORDINATOR].address;
        let station = &mut line.ends[STATION];
        let connected = station
            .endpoint
            .connect(epoch, client, address, "consort")
            .expect("a call");
        station.connection = Some(connected);
        line
    }

    /// Goes on until `end`, or until `wanted`.
    fn run(&mut self, end: Duration, wanted: impl Fn(&Self) -> bool) {
        loop {
            self.settle();
            if wanted(self) {
                return;
            }
            let arrival = self.on_the_way.keys().next().map(|(at, _)| *at);
            let epoch = self.epoch;
            let timeouts = self.ends.iter_mut().filter_map(|end| {
                let (_, connection) = end.connection.as_mut()?;
                Some(connection.poll_timeout()?.saturating_duration_since(epoch))
            });
            let next = timeouts.chain(arrival).chain([self.next_beat]).min().unwrap_or(end);
            if next > end {
                self.now = end;
                return;
            }
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
        for end in &mut self.ends {
            if let Some((_, connection)) = &mut end.connection {
                connection.handle_timeout(at);
            }
        }
        if self.next_beat <= self.now {
            self.next_beat += BEAT_EVERY;
            for end in &mut self.ends {
                let beat = ToStation::Beat {
                    epoch: 1,
                    revision: consort_proto::Revision(1),
                };
                if let Some((_, connection)) = &mut end.connection {
                    // Before the handshake is done there is nobody to beat for.
                    let _ = connection.datagrams().send(beat.to_frame().into(), true);
                }
            }
        }
    }

    fn arrive(&mut self, to: usize, packet: &[u8]) {
        let (at, from) = (self.epoch + self.now, self.ends[1 - to].address);
        let mut answer = Vec::new();
        let end = &mut self.ends[to];
        match end.endpoint.handle(at, from, None, None, packet.into(), &mut answer) {
            Some(DatagramEvent::ConnectionEvent(_, event)) => {
                if let Some((_, connection)) = &mut end.connection {
                    connection.handle_event(event);
                }
            }
            Some(DatagramEvent::NewConnection(incoming)) => {
                match end.endpoint.accept(incoming, at, &mut answer, None) {
                    Ok(accepted) => end.connection = Some(accepted),
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

    /// Sends what wants to be sent, and hears what was heard.
    fn settle(&mut self) {
        let at = self.epoch + self.now;
        for from in [STATION, COORDINATOR] {
            let Some((handle, mut connection)) = self.ends[from].connection.take() else {
                continue;
            };
            while let Some(event) = connection.poll_endpoint_events() {
                if let Some(event) = self.ends[from].endpoint.handle_event(handle, event) {
                    connection.handle_event(event);
                }
            }
            loop {
                let mut packet = Vec::new();
                let Some(transmit) = connection.poll_transmit(at, 1, &mut packet) else {
                    break;
                };
                self.leave(from, &transmit, &packet);
            }
            while let Some(event) = connection.poll() {
                self.ends[from].lost |= matches!(event, Event::ConnectionLost { .. });
            }
            while let Some(beat) = connection.datagrams().recv() {
                assert!(ToStation::from_frame(&beat).is_ok_and(|beat| beat.is_some()));
                self.ends[from].beats.push(self.now);
            }
            let mut streams = Vec::new();
            while let Some(stream) = connection.streams().accept(Dir::Bi) {
                streams.push(stream);
            }
            let known = StreamId::new(quinn_proto::Side::Client, Dir::Bi, 0);
            if let Ok(mut chunks) = connection.recv_stream(known).read(true) {
                while let Ok(Some(chunk)) = chunks.next(usize::MAX) {
                    let (bytes, last) = &mut self.ends[from].stream;
                    *bytes += chunk.bytes.len();
                    *last = self.now;
                }
                let _ = chunks.finalize();
            }
            self.ends[from].connection = Some((handle, connection));
        }
    }

    fn leave(&mut self, from: usize, transmit: &Transmit, packet: &[u8]) {
        let packet = &packet[..transmit.size];
        self.trace.push((self.now, packet.len()));
        for on_the_way in self.fates[from].of_packet(self.now, &self.weather) {
            self.order += 1;
            self.on_the_way
                .insert((self.now + on_the_way, self.order), (1 - from, packet.to_vec()));
        }
    }

    /// Says so many bytes on the stream.
    fn say(&mut self, from: usize, bytes: usize) {
        let (_, connection) = self.ends[from].connection.as_mut().expect("a connection");
        let known = StreamId::new(quinn_proto::Side::Client, Dir::Bi, 0);
        if from == STATION && self.ends[COORDINATOR].stream.0 == 0 {
            assert_eq!(connection.streams().open(Dir::Bi), Some(known));
        }
        let written = connection.send_stream(known).write(&vec![7; bytes]).expect("room");
        assert_eq!(written, bytes);
    }

    /// The longest time between two heartbeats that came from `to`'s other end.
    fn longest_silence(&self, at: usize, since: Duration) -> Duration {
        let beats = self.ends[at].beats.iter().copied().filter(|&beat| beat >= since);
        let times: Vec<Duration> = [since].into_iter().chain(beats).chain([self.now]).collect();
        times.windows(2).map(|pair| pair[1] - pair[0]).max().unwrap_or_default()
    }
}

impl End {
    fn new(endpoint: Endpoint, host: u8) -> Self {
        Self {
            endpoint,
            address: ([192, 168, 1, host], 4700).into(),
            connection: None,
            beats: Vec::new(),
            stream: (0, Duration::ZERO),
            lost: false,
        }
    }
}

const MINUTE: Duration = Duration::from_secs(60);

/// A line that is up and whose stream is open.
fn up(seed: u64, weather: Weather) -> Line {
    let mut line = Line::open(seed, Weather::FAIR);
    line.run(MINUTE, |line| line.ends.iter().all(|end| !end.beats.is_empty()));
    line.say(STATION, 1);
    line.run(MINUTE, |line| line.ends[COORDINATOR].stream.0 == 1);
    line.weather = weather;
    line
}

#[test]
fn a_link_lives_and_nobody_is_called_silent_while_a_fifth_is_lost() {
    for weather in [LOSS, Weather::BURSTS] {
        for seed in 1..=2 {
            let mut line = up(seed, weather);
            let since = line.now;
            line.run(since + 10 * MINUTE, |line| line.ends.iter().any(|end| end.lost));
            for end in [STATION, COORDINATOR] {
                assert!(!line.ends[end].lost, "seed {seed}");
                let silence = line.longest_silence(end, since);
                assert!(silence < SILENT_AFTER, "seed {seed}: nothing for {silence:?}");
            }
        }
    }
}

/// How long after a blackout of that length the first heartbeat, and what was said in it on the stream, are there.
fn healing(seed: u64, blackout: Duration) -> (Duration, Duration) {
    let mut line = up(seed, LOSS);
    let since = line.now;
    line.run(since + 5 * Duration::from_secs(1), |_| false);
    line.weather = Weather::CUT;
    let began = line.now;
    line.run(began + blackout / 2, |_| false);
    line.say(COORDINATOR, 3_000);
    line.run(began + blackout, |_| false);
    line.weather = LOSS;
    let healed = line.now;
    line.run(healed + MINUTE, |line| {
        let station = &line.ends[STATION];
        station.stream.0 == 3_000 && station.beats.last().is_some_and(|&beat| beat > healed)
    });
    let station = &line.ends[STATION];
    assert!(!station.lost, "seed {seed}: the link was given up");
    let first = station.beats.iter().find(|&&beat| beat > healed).expect("a heartbeat");
    (*first - healed, station.stream.1.saturating_sub(healed))
}

#[test]
fn after_a_blackout_everything_is_there_within_moments() {
    for blackout_s in [3, 8, 12] {
        for seed in 1..=10 {
            let (beat, said) = healing(seed, Duration::from_secs(blackout_s));
            // A window that shrinks takes ten seconds and more at the worst; this one stays.
            assert!(
                beat <= Duration::from_secs(2),
                "{blackout_s} s, seed {seed}: a heartbeat after {beat:?}"
            );
            assert!(
                said <= Duration::from_secs(4),
                "{blackout_s} s, seed {seed}: the agreement after {said:?}"
            );
        }
    }
}

#[test]
fn what_arrives_is_acknowledged_at_once() {
    for seed in 1..=3 {
        let mut line = up(seed, Weather::FAIR);
        line.run(line.now + Duration::from_secs(2), |_| false);
        let (since, (_, slowest)) = (line.next_beat, Weather::FAIR.delay);
        line.run(since + Duration::from_secs(10), |_| false);
        // A heartbeat each way and an acknowledgement each way, the latter not later than the heartbeat arrives.
        let left: Vec<Duration> = line.trace.iter().map(|(at, _)| *at).filter(|at| *at >= since).collect();
        assert!(left.len() >= 4 * 40, "seed {seed}: {} packets", left.len());
        let after_beat = |at: Duration| Duration::from_nanos(((at - since).as_nanos() % BEAT_EVERY.as_nanos()) as u64);
        let late = left.into_iter().find(|&at| after_beat(at) > slowest);
        assert_eq!(late, None, "seed {seed}: a packet that waited");
    }
}

#[test]
fn a_seed_tells_when_each_packet_leaves_and_how_long_it_is() {
    let trace = |seed| {
        let mut line = Line::open(seed, Weather::FOUL);
        line.run(Uptime::from_secs(20).0, |_| false);
        line.trace
    };
    assert_eq!(trace(5), trace(5));
    assert_ne!(trace(5), trace(6));
}
