//! Bad Wi-Fi on loopback: a UDP proxy that stands between stations and their coordinator.
//!
//! What becomes of each packet is a function of the seed and of what passed before it ([`Fate`]); when a packet comes is
//! the programs' own doing, so that a run shows what can happen and does not replay to the packet.

mod weather;

use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};
use std::io;
use std::net::{Ipv4Addr, SocketAddr, UdpSocket};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

pub use weather::{Bursts, Fate, LATE, Weather};

/// A proxy that passes packets on until it is dropped.
#[derive(Debug)]
pub struct Proxy {
    hall: Arc<Hall>,
    address: SocketAddr,
}

/// What its threads have in common.
#[derive(Debug)]
struct Hall {
    /// Where callers call.
    front: UdpSocket,
    coordinator: SocketAddr,
    begun: Instant,
    weather: Mutex<(Weather, Weather)>,
    fates: Mutex<(Fate, Fate)>,
    callers: Mutex<BTreeMap<SocketAddr, Arc<Back>>>,
    due: Mutex<BinaryHeap<Reverse<Due>>>,
    more: Condvar,
    order: AtomicU64,
    /// Bytes towards the coordinator and back.
    carried: (AtomicU64, AtomicU64),
    ended: AtomicBool,
}

/// The socket by which the coordinator sees one caller.
#[derive(Debug)]
struct Back {
    socket: UdpSocket,
    /// The caller has wandered: nothing comes this way any more.
    left: AtomicBool,
}

/// A packet on its way, the earliest first.
#[derive(Debug)]
struct Due {
    at: Instant,
    order: u64,
    packet: Vec<u8>,
    to: To,
}

#[derive(Debug)]
enum To {
    Coordinator(Arc<Back>),
    Caller(SocketAddr),
}

/// How often a thread that waits for packets looks whether the proxy has ended.
const LOOK_EVERY: Duration = Duration::from_millis(50);
/// No packet of these programs is longer.
const PACKET_MAX: usize = 2_048;

impl Proxy {
    /// A proxy in front of `coordinator`, on a free port of loopback, with the same weather both ways.
    pub fn start(seed: u64, coordinator: SocketAddr, weather: Weather) -> io::Result<Self> {
        let front = UdpSocket::bind((Ipv4Addr::LOCALHOST, 0))?;
        front.set_read_timeout(Some(LOOK_EVERY))?;
        let address = front.local_addr()?;
        let hall = Arc::new(Hall {
            front,
            coordinator,
            begun: Instant::now(),
            weather: Mutex::new((weather, weather)),
            // Both ways differ, and neighbouring seeds begin apart.
            fates: Mutex::new((Fate::new(seed << 1), Fate::new((seed << 1) + 1))),
            callers: Mutex::new(BTreeMap::new()),
            due: Mutex::new(BinaryHeap::new()),
            more: Condvar::new(),
            order: AtomicU64::new(0),
            carried: (AtomicU64::new(0), AtomicU64::new(0)),
            ended: AtomicBool::new(false),
        });
        for work in [Hall::hear_callers, Hall::deliver] {
            let hall = hall.clone();
            thread::spawn(move || work(&hall));
        }
        Ok(Self { hall, address })
    }

    /// Where callers are to call.
    pub const fn address(&self) -> SocketAddr {
        self.address
    }

    /// The weather from now on, towards the coordinator and back.
    pub fn set(&self, up: Weather, down: Weather) {
        *locked(&self.hall.weather) = (up, down);
    }

    /// Every caller wanders: the coordinator sees it come from another port, and what it still sends to the old one is
    /// lost.
    pub fn roam(&self) -> io::Result<()> {
        let mut callers = locked(&self.hall.callers);
        for (&caller, back) in callers.iter_mut() {
            back.left.store(true, Ordering::Relaxed);
            *back = self.hall.back(caller)?;
        }
        Ok(())
    }

    /// Bytes of packets that came from callers and from the coordinator, lost ones included.
    pub fn carried(&self) -> (u64, u64) {
        let (up, down) = &self.hall.carried;
        (up.load(Ordering::Relaxed), down.load(Ordering::Relaxed))
    }
}

impl Drop for Proxy {
    fn drop(&mut self) {
        self.hall.ended.store(true, Ordering::Relaxed);
        self.hall.more.notify_all();
    }
}

impl Hall {
    fn is_over(&self) -> bool {
        self.ended.load(Ordering::Relaxed)
    }

    fn hear_callers(self: &Arc<Self>) {
        let mut packet = [0; PACKET_MAX];
        while !self.is_over() {
            // Nothing came, or a caller has gone: neither ends the proxy.
            let Ok((length, caller)) = self.front.recv_from(&mut packet) else {
                continue;
            };
            let mut callers = locked(&self.callers);
            let back = match callers.get(&caller) {
                Some(back) => back.clone(),
                None => match self.back(caller) {
                    Ok(back) => callers.entry(caller).or_insert(back).clone(),
                    Err(_) => continue,
                },
            };
            drop(callers);
            let copies = self.fate(|(up, _)| up, |(up, _)| up);
            self.carried.0.fetch_add(length as u64, Ordering::Relaxed);
            self.send(copies, &packet[..length], || To::Coordinator(back.clone()));
        }
    }

    /// A socket by which `caller` is seen, and a thread that passes on what comes back to it.
    fn back(self: &Arc<Self>, caller: SocketAddr) -> io::Result<Arc<Back>> {
        let socket = UdpSocket::bind((Ipv4Addr::LOCALHOST, 0))?;
        socket.connect(self.coordinator)?;
        socket.set_read_timeout(Some(LOOK_EVERY))?;
        let back = Arc::new(Back {
            socket,
            left: AtomicBool::new(false),
        });
        let (hall, ear) = (self.clone(), back.clone());
        thread::spawn(move || hall.hear_coordinator(caller, &ear));
        Ok(back)
    }

    fn hear_coordinator(&self, caller: SocketAddr, back: &Back) {
        let mut packet = [0; PACKET_MAX];
        while !self.is_over() && !back.left.load(Ordering::Relaxed) {
            let Ok(length) = back.socket.recv(&mut packet) else {
                continue;
            };
            let copies = self.fate(|(_, down)| down, |(_, down)| down);
            self.carried.1.fetch_add(length as u64, Ordering::Relaxed);
            self.send(copies, &packet[..length], || To::Caller(caller));
        }
    }

    fn fate(
        &self,
        weather: impl Fn(&(Weather, Weather)) -> &Weather,
        fate: impl Fn(&mut (Fate, Fate)) -> &mut Fate,
    ) -> Vec<Duration> {
        let weather = *weather(&locked(&self.weather));
        fate(&mut locked(&self.fates)).of_packet(self.begun.elapsed(), &weather)
    }

    fn send(&self, copies: Vec<Duration>, packet: &[u8], to: impl Fn() -> To) {
        let now = Instant::now();
        for on_the_way in copies {
            let due = Due {
                at: now + on_the_way,
                order: self.order.fetch_add(1, Ordering::Relaxed),
                packet: packet.to_vec(),
                to: to(),
            };
            locked(&self.due).push(Reverse(due));
            self.more.notify_one();
        }
    }

    fn deliver(self: &Arc<Self>) {
        let mut due = locked(&self.due);
        while !self.is_over() {
            let now = Instant::now();
            let wait = match due.peek() {
                Some(Reverse(next)) if next.at <= now => {
                    if let Some(Reverse(next)) = due.pop() {
                        drop(due);
                        self.arrive(&next);
                        due = locked(&self.due);
                    }
                    continue;
                }
                Some(Reverse(next)) => next.at - now,
                None => LOOK_EVERY,
            };
            due = self
                .more
                .wait_timeout(due, wait)
                .unwrap_or_else(PoisonError::into_inner)
                .0;
        }
    }

    fn arrive(&self, due: &Due) {
        // Whoever it is for may have gone, as on any network.
        let _ = match &due.to {
            To::Coordinator(back) => back.socket.send(&due.packet),
            To::Caller(caller) => self.front.send_to(&due.packet, caller),
        };
    }
}

impl PartialEq for Due {
    fn eq(&self, other: &Self) -> bool {
        (self.at, self.order) == (other.at, other.order)
    }
}

impl Eq for Due {}

impl PartialOrd for Due {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Due {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        (self.at, self.order).cmp(&(other.at, other.order))
    }
}

/// No thread leaves anything half done, so that a lock is as good after a panic as before it.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn socket() -> UdpSocket {
        let socket = UdpSocket::bind((Ipv4Addr::LOCALHOST, 0)).expect("a socket");
        socket
            .set_read_timeout(Some(Duration::from_secs(10)))
            .expect("a time limit");
        socket
    }

    fn heard(socket: &UdpSocket) -> (Vec<u8>, SocketAddr) {
        let mut packet = [0; PACKET_MAX];
        let (length, from) = socket.recv_from(&mut packet).expect("a packet");
        (packet[..length].to_vec(), from)
    }

    #[test]
    fn packets_pass_both_ways_and_a_wandering_caller_comes_from_another_port() {
        let (coordinator, caller) = (socket(), socket());
        let address = coordinator.local_addr().expect("an address");
        let proxy = Proxy::start(1, address, Weather::FAIR).expect("a proxy");
        caller.send_to(b"pluck", proxy.address()).expect("sent");
        let (packet, before) = heard(&coordinator);
        assert_eq!(packet, b"pluck");
        coordinator.send_to(b"set", before).expect("sent");
        assert_eq!(heard(&caller), (b"set".to_vec(), proxy.address()));
        proxy.roam().expect("another port");
        caller.send_to(b"again", proxy.address()).expect("sent");
        let (packet, after) = heard(&coordinator);
        assert_eq!(packet, b"again");
        assert_ne!(before, after);
        coordinator.send_to(b"holds", after).expect("sent");
        assert_eq!(heard(&caller).0, b"holds");
        assert_eq!(proxy.carried(), (10, 8));
    }

    #[test]
    fn a_cut_lets_nothing_pass_until_it_is_mended() {
        let (coordinator, caller) = (socket(), socket());
        let address = coordinator.local_addr().expect("an address");
        let proxy = Proxy::start(1, address, Weather::CUT).expect("a proxy");
        caller.send_to(b"lost", proxy.address()).expect("sent");
        // What is sent after the mending says that what was sent before it is lost: nothing here overtakes.
        while proxy.carried().0 < 4 {
            thread::yield_now();
        }
        proxy.set(Weather::FAIR, Weather::FAIR);
        caller.send_to(b"kept", proxy.address()).expect("sent");
        assert_eq!(heard(&coordinator).0, b"kept");
    }
}
