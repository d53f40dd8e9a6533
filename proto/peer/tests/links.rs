//! What a link promises, on loopback: the right key joins, and whatever else comes costs only itself.

use std::net::{Ipv4Addr, SocketAddr, UdpSocket};
use std::sync::Arc;
use std::time::Duration;

use consort_peer::link::{CLOSE_GOODBYE, CLOSE_REFUSED};
use consort_peer::message::{FrameError, Message};
use consort_peer::{DialError, Dialer, Hear, HearError, Identity, Link, ListenError, Listener, Say};
use consort_proto::agreement::Revision;
use consort_proto::{Sequence, ToCoordinator, ToStation};

/// A test that waits longer than this hangs.
const PATIENCE: Duration = Duration::from_secs(30);

/// Bytes that a peer could send instead of messages.
struct Raw(Vec<u8>);

impl Message for Raw {
    fn is_fleeting(&self) -> bool {
        false
    }

    fn to_frame(&self) -> Result<Vec<u8>, FrameError> {
        Ok(self.0.clone())
    }

    fn frame_len(start: &[u8]) -> Result<usize, FrameError> {
        ToStation::frame_len(start)
    }

    fn from_frame(frame: &[u8]) -> Result<Option<Self>, FrameError> {
        Ok(Some(Self(frame.to_vec())))
    }
}

struct Room {
    listener: Listener,
    coordinator: Identity,
    dialer: Dialer,
    station: Arc<Identity>,
}

fn room() -> Room {
    let coordinator = Identity::generate().expect("coordinator");
    let listener = Listener::bind(&coordinator, loopback(0)).expect("listen");
    let station = Arc::new(Identity::generate().expect("station"));
    let dialer = Dialer::new(station.clone()).expect("dialer");
    Room {
        listener,
        coordinator,
        dialer,
        station,
    }
}

fn loopback(port: u16) -> SocketAddr {
    (Ipv4Addr::LOCALHOST, port).into()
}

impl Room {
    fn address(&self) -> SocketAddr {
        self.listener.local_addr().expect("address")
    }

    /// Joins, says `first`, and returns both ends.
    async fn join<Out: Message>(&self, first: Out) -> (Link<Out, ToStation>, Link<ToStation, ToCoordinator>) {
        let dial = async {
            let link: Link<Out, ToStation> = self
                .dialer
                .dial(self.address(), self.coordinator.fingerprint())
                .await
                .expect("dial");
            let (mut say, hear) = link.split();
            say.say(&first).await.expect("say");
            Link::join(say, hear)
        };
        let admit = async {
            let caller = self.listener.knock().await.expect("a caller");
            caller.admit().await.expect("admit")
        };
        tokio::join!(dial, admit)
    }
}

async fn patiently<T>(work: impl Future<Output = T>) -> T {
    tokio::time::timeout(PATIENCE, work).await.expect("the test hangs")
}

#[tokio::test]
async fn the_holder_of_the_right_key_is_joined_and_both_know_who_is_who() {
    patiently(async {
        let room = room();
        let (station, coordinator) = room.join(ToCoordinator::Reports(Vec::new())).await;
        assert_eq!(station.peer(), room.coordinator.fingerprint());
        assert_eq!(coordinator.peer(), room.station.fingerprint());
        let (_, mut at_station) = station.split();
        let (mut say, mut at_coordinator) = coordinator.split();
        assert_eq!(at_coordinator.hear().await, Ok(Some(ToCoordinator::Reports(Vec::new()))));
        for message in [
            ToStation::Acked(Sequence(7)),
            ToStation::Beat {
                epoch: 2,
                revision: Revision(3),
            },
            ToStation::Acked(Sequence(8)),
        ] {
            say.say(&message).await.expect("say");
            assert_eq!(at_station.hear().await, Ok(Some(message)));
        }
    })
    .await;
}

#[tokio::test]
async fn another_key_is_told_apart_from_no_answer() {
    patiently(async {
        let room = room();
        let expected = Identity::generate().expect("identity").fingerprint();
        let found = room.coordinator.fingerprint();
        let address = room.address();
        let dial = room.dialer.dial::<ToCoordinator, ToStation>(address, expected);
        let admit = async { room.listener.knock().await.expect("a caller").admit::<ToStation, ToCoordinator>().await };
        let (dialled, admitted) = tokio::join!(dial, admit);
        assert_eq!(
            dialled.expect_err("another key"),
            DialError::OtherKey {
                address,
                expected,
                found
            }
        );
        assert!(admitted.is_err());
    })
    .await;
}

#[tokio::test]
async fn a_port_in_use_is_named() {
    let room = room();
    let refused = Listener::bind(&room.coordinator, room.address()).expect_err("in use");
    assert!(matches!(refused, ListenError::PortInUse(_)), "{refused}");
    assert!(refused.to_string().contains(&room.address().port().to_string()), "{refused}");
}

#[tokio::test]
async fn garbage_on_the_port_leaves_the_listener_serving() {
    patiently(async {
        let room = room();
        let stranger = UdpSocket::bind(loopback(0)).expect("socket");
        for length in (0..1_500).step_by(7) {
            // Long and short QUIC headers, and bytes that are neither.
            for first in [0x00, 0x40, 0x80, 0xc0, 0xff] {
                let mut packet: Vec<u8> = (0..length).map(|place| (place * 31 + length) as u8).collect();
                if let Some(byte) = packet.first_mut() {
                    *byte = first;
                }
                stranger.send_to(&packet, room.address()).expect("send");
            }
        }
        let (_station, coordinator) = room.join(ToCoordinator::Leave).await;
        let (_say, mut hear) = coordinator.split();
        assert_eq!(hear.hear().await, Ok(Some(ToCoordinator::Leave)));
    })
    .await;
}

#[tokio::test]
async fn what_is_no_frame_ends_its_own_link_only() {
    let frame = ToCoordinator::Leave.to_frame().expect("frame");
    let too_long = [&frame[..3], &u32::MAX.to_le_bytes()[..], &[0; 9_000][..]].concat();
    let unreadable = {
        let mut frame = ToCoordinator::Reports(Vec::new()).to_frame().expect("frame");
        frame.iter_mut().skip(7).for_each(|byte| *byte = 0xff);
        frame
    };
    patiently(async {
        let room = room();
        let (_good, coordinator) = room.join(ToCoordinator::Reports(Vec::new())).await;
        let (_say, mut good) = coordinator.split();
        assert!(matches!(good.hear().await, Ok(Some(_))));
        for (name, bytes) in [("too long", too_long), ("unreadable", unreadable)] {
            let (_bad, coordinator) = room.join(Raw(bytes)).await;
            let (_say, mut hear) = coordinator.split();
            let refused = hear.hear().await.expect_err(name);
            assert!(matches!(refused, HearError::Frame(_)), "{name}: {refused}");
        }
        let (mut say, _hear) = _good.split();
        say.say(&ToCoordinator::Leave).await.expect("say");
        assert_eq!(good.hear().await, Ok(Some(ToCoordinator::Leave)));
    })
    .await;
}

#[tokio::test]
async fn a_stream_ends_between_frames_or_it_was_cut() {
    let whole = ToCoordinator::Leave.to_frame().expect("frame");
    patiently(async {
        for length in 1..=whole.len() {
            let room = room();
            let (station, coordinator) = room.join(Raw(whole[..length].to_vec())).await;
            let (say, _hear_station) = station.split();
            let (_say, mut hear) = coordinator.split();
            let farewell = tokio::spawn(say.close(CLOSE_GOODBYE));
            let heard = hear.hear().await;
            if length == whole.len() {
                assert_eq!(heard, Ok(Some(ToCoordinator::Leave)));
                assert_eq!(hear.hear().await, Ok(None));
            } else {
                assert!(matches!(heard, Err(HearError::Cut { arrived, .. }) if arrived == length), "{heard:?}");
            }
            drop(hear);
            farewell.await.expect("farewell");
        }
    })
    .await;
}

#[tokio::test]
async fn the_last_word_arrives_before_the_link_closes() {
    patiently(async {
        let room = room();
        let (station, coordinator) = room.join(ToCoordinator::Leave).await;
        let (mut say, _) = coordinator.split();
        say.say(&ToStation::Acked(Sequence(9))).await.expect("say");
        let farewell = tokio::spawn(say.close(CLOSE_REFUSED));
        let (_say, mut hear) = station.split();
        assert_eq!(hear.hear().await, Ok(Some(ToStation::Acked(Sequence(9)))));
        assert_eq!(hear.hear().await, Ok(None));
        farewell.await.expect("farewell");
        assert_eq!(ended(&mut hear).await, HearError::Closed(CLOSE_REFUSED));
    })
    .await;
}

/// Why the link ended, once it has.
async fn ended<In: Message + std::fmt::Debug>(hear: &mut Hear<In>) -> HearError {
    loop {
        if let Err(ended) = hear.hear().await {
            return ended;
        }
        tokio::task::yield_now().await;
    }
}

#[tokio::test]
async fn a_restarted_coordinator_tells_the_old_links_at_once() {
    patiently(async {
        let identity = Identity::generate().expect("identity");
        let first_run = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(1)
            .enable_all()
            .build()
            .expect("runtime");
        let (listener, address) = {
            let _inside = first_run.enter();
            let listener = Listener::bind(&identity, loopback(0)).expect("listen");
            let address = listener.local_addr().expect("address");
            (listener, address)
        };
        first_run.spawn(async move {
            let caller = listener.knock().await.expect("a caller");
            let link = caller.admit::<ToStation, ToCoordinator>().await.expect("admit");
            let (mut say, _hear) = link.split();
            say.say(&ToStation::Acked(Sequence(1))).await.expect("say");
            std::future::pending::<()>().await;
        });
        let dialer = Dialer::new(Arc::new(Identity::generate().expect("station"))).expect("dialer");
        let link = dialer.dial(address, identity.fingerprint()).await.expect("dial");
        let (mut say, mut hear): (Say<ToCoordinator>, Hear<ToStation>) = link.split();
        say.say(&ToCoordinator::Reports(Vec::new())).await.expect("say");
        assert_eq!(hear.hear().await, Ok(Some(ToStation::Acked(Sequence(1)))));

        // Killed: no farewell leaves the first run.
        first_run.shutdown_background();
        let _second_run = loop {
            match Listener::bind(&identity, address) {
                Ok(listener) => break listener,
                Err(ListenError::PortInUse(_)) => tokio::time::sleep(Duration::from_millis(10)).await,
                Err(other) => panic!("{other}"),
            }
        };
        say.say(&ToCoordinator::Reports(Vec::new())).await.expect("say");
        assert_eq!(ended(&mut hear).await, HearError::Restarted);
    })
    .await;
}
