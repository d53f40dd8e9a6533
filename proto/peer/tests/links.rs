//! What a link promises, on loopback: the right key joins, and whatever else comes costs only itself.

use std::net::{Ipv4Addr, SocketAddr, UdpSocket};
use std::sync::Arc;
use std::time::Duration;

use consort_peer::link::{CLOSE_GOODBYE, CLOSE_REFUSED};
use consort_peer::message::{FrameError, HEADER_LEN, Message};
use consort_peer::{DialError, Dialer, Hear, HearError, Identity, Link, ListenError, Listener, Say};
use consort_proto::agreement::Revision;
use consort_proto::{Hello, JoinToken, ToCoordinator, ToStation, harp_file};

/// A test that waits longer than this hangs.
const PATIENCE: Duration = Duration::from_secs(30);

/// A message of these tests: a word; one that begins with `~` is fleeting.
#[derive(Clone, Debug, Eq, PartialEq)]
struct Word(String);

/// The longest word that is let in.
const WORD_MAX: usize = 1_000;

fn word(text: &str) -> Word {
    Word(text.to_owned())
}

impl Message for Word {
    fn is_fleeting(&self) -> bool {
        self.0.starts_with('~')
    }

    fn to_frame(&self) -> Vec<u8> {
        let length = self.0.len() as u32;
        [&[7, 0, 0][..], &length.to_le_bytes(), self.0.as_bytes()].concat()
    }

    fn frame_len(start: &[u8]) -> Result<usize, FrameError> {
        let length = start[3..HEADER_LEN]
            .iter()
            .rev()
            .fold(0, |sum, &byte| sum * 256 + usize::from(byte));
        if length > WORD_MAX {
            return Err(FrameError(format!("{length} bytes are too many")));
        }
        Ok(HEADER_LEN + length)
    }

    fn from_frame(frame: &[u8]) -> Result<Option<Self>, FrameError> {
        let text = std::str::from_utf8(&frame[HEADER_LEN..]).map_err(|why| FrameError(why.to_string()))?;
        // An empty word stands for a kind of frame that is unknown and may be skipped.
        Ok((!text.is_empty()).then(|| word(text)))
    }
}

/// Bytes that a peer could send instead of messages.
struct Raw(Vec<u8>);

impl Message for Raw {
    fn is_fleeting(&self) -> bool {
        false
    }

    fn to_frame(&self) -> Vec<u8> {
        self.0.clone()
    }

    fn frame_len(start: &[u8]) -> Result<usize, FrameError> {
        Word::frame_len(start)
    }

    fn from_frame(_: &[u8]) -> Result<Option<Self>, FrameError> {
        Ok(None)
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
    async fn join<Out: Message>(&self, first: Out) -> (End<Out>, End<Word>) {
        let dial = async {
            let expect = self.coordinator.fingerprint();
            let link: Link<Out, Word> = self.dialer.dial(self.address(), expect).await.expect("dial");
            assert_eq!(link.peer(), expect);
            let (mut say, hear) = link.split();
            say.say(&first).await.expect("say");
            (say, hear)
        };
        let admit = async {
            let caller = self.listener.knock().await.expect("a caller");
            let link = caller.admit::<Word, Word>().await.expect("admit");
            assert_eq!(link.peer(), self.station.fingerprint());
            link.split()
        };
        tokio::join!(dial, admit)
    }
}

/// One end of a link; the peer says words.
type End<Out> = (Say<Out>, Hear<Word>);

async fn patiently<T>(work: impl Future<Output = T>) -> T {
    tokio::time::timeout(PATIENCE, work).await.expect("the test hangs")
}

#[tokio::test]
async fn the_holder_of_the_right_key_is_joined_and_both_are_heard() {
    patiently(async {
        let room = room();
        let ((mut station, mut at_station), (mut coordinator, mut at_coordinator)) = room.join(word("hello")).await;
        assert_eq!(at_coordinator.hear().await, Ok(Some(word("hello"))));
        for text in ["welcome", "~tick", "A4 = 442", &"long".repeat(250)] {
            coordinator.say(&word(text)).await.expect("say");
            assert_eq!(at_station.hear().await, Ok(Some(word(text))));
            station.say(&word(text)).await.expect("say");
            assert_eq!(at_coordinator.hear().await, Ok(Some(word(text))));
        }
    })
    .await;
}

#[tokio::test]
async fn the_words_of_both_programs_travel() {
    patiently(async {
        let room = room();
        let hello = ToCoordinator::Hello(Hello {
            name: "Ilse".parse().expect("name"),
            harp: harp_file::preset("pedal-47").expect("preset"),
            token: Some(JoinToken([5; 16])),
            process: 9,
            newest: 0,
        });
        let beat = ToStation::Beat {
            epoch: 2,
            revision: Revision(3),
        };
        let expect = room.coordinator.fingerprint();
        let dial = async {
            let link = room
                .dialer
                .dial::<ToCoordinator, ToStation>(room.address(), expect)
                .await
                .expect("dial");
            let (mut say, mut hear) = link.split();
            say.say(&hello).await.expect("say");
            assert_eq!(hear.hear().await, Ok(Some(beat.clone())));
            say.say(&ToCoordinator::Beat).await.expect("say");
            assert_eq!(hear.hear().await, Err(HearError::Closed(CLOSE_GOODBYE)));
        };
        let admit = async {
            let link = room
                .listener
                .knock()
                .await
                .expect("a caller")
                .admit()
                .await
                .expect("admit");
            let (mut say, mut hear): (Say<ToStation>, Hear<ToCoordinator>) = link.split();
            assert_eq!(hear.hear().await, Ok(Some(hello.clone())));
            say.say(&beat).await.expect("say");
            assert_eq!(hear.hear().await, Ok(Some(ToCoordinator::Beat)));
            say.cut(CLOSE_GOODBYE);
        };
        tokio::join!(dial, admit);
    })
    .await;
}

#[tokio::test]
async fn a_frame_of_an_unknown_kind_is_skipped_by_its_length() {
    patiently(async {
        let room = room();
        let ((mut station, _at_station), (_coordinator, mut at_coordinator)) = room.join(word("")).await;
        station.say(&word("known")).await.expect("say");
        assert_eq!(at_coordinator.hear().await, Ok(Some(word("known"))));
    })
    .await;
}

#[tokio::test]
async fn giving_up_on_hearing_loses_no_part_of_a_frame() {
    let whole = word("in two halves").to_frame();
    patiently(async {
        let room = room();
        let ((mut station, _at_station), (_coordinator, mut at_coordinator)) =
            room.join(Raw(whole[..9].to_vec())).await;
        while tokio::time::timeout(Duration::from_millis(20), at_coordinator.hear())
            .await
            .is_ok()
        {}
        station.say(&Raw(whole[9..].to_vec())).await.expect("say");
        assert_eq!(at_coordinator.hear().await, Ok(Some(word("in two halves"))));
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
        let dial = room.dialer.dial::<Word, Word>(address, expected);
        let admit = async {
            room.listener
                .knock()
                .await
                .expect("a caller")
                .admit::<Word, Word>()
                .await
        };
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
    assert!(
        refused.to_string().contains(&room.address().port().to_string()),
        "{refused}"
    );
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
        let (_station, (_say, mut hear)) = room.join(word("good")).await;
        assert_eq!(hear.hear().await, Ok(Some(word("good"))));
    })
    .await;
}

#[tokio::test]
async fn what_is_no_frame_ends_its_own_link_only() {
    let frame = word("frame").to_frame();
    let too_long = [&frame[..3], &u32::MAX.to_le_bytes()[..], &[0; 9_000][..]].concat();
    let unreadable = [&frame[..HEADER_LEN], &[0xff; 5]].concat();
    patiently(async {
        let room = room();
        let ((mut say, _at_station), (_say, mut good)) = room.join(word("good")).await;
        assert_eq!(good.hear().await, Ok(Some(word("good"))));
        for (name, bytes) in [("too long", too_long), ("unreadable", unreadable)] {
            let (_bad, (_say, mut hear)) = room.join(Raw(bytes)).await;
            let refused = hear.hear().await.expect_err(name);
            assert!(matches!(refused, HearError::Frame(_)), "{name}: {refused}");
        }
        say.say(&word("still good")).await.expect("say");
        assert_eq!(good.hear().await, Ok(Some(word("still good"))));
    })
    .await;
}

#[tokio::test]
async fn a_stream_ends_between_frames_or_it_was_cut() {
    let whole = word("whole").to_frame();
    patiently(async {
        for length in 1..=whole.len() {
            let room = room();
            let ((say, _at_station), (_say, mut hear)) = room.join(Raw(whole[..length].to_vec())).await;
            let farewell = tokio::spawn(say.close(CLOSE_GOODBYE));
            let heard = hear.hear().await;
            if length == whole.len() {
                assert_eq!(heard, Ok(Some(word("whole"))));
                assert_eq!(hear.hear().await, Ok(None));
            } else {
                assert!(
                    matches!(heard, Err(HearError::Cut { arrived, .. }) if arrived == length),
                    "{heard:?}"
                );
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
        let ((_station, mut hear), (mut say, _at_coordinator)) = room.join(word("hello")).await;
        say.say(&word("no")).await.expect("say");
        let farewell = tokio::spawn(say.close(CLOSE_REFUSED));
        assert_eq!(hear.hear().await, Ok(Some(word("no"))));
        farewell.await.expect("farewell");
        assert_eq!(ended(&mut hear).await, HearError::Closed(CLOSE_REFUSED));
    })
    .await;
}

#[tokio::test]
async fn what_arrived_before_the_link_closed_is_still_heard() {
    patiently(async {
        // Which of stream and datagrams is looked at first must not matter, so luck gets several chances.
        for _ in 0..20 {
            let room = room();
            let ((station, mut hear), (mut say, _at_coordinator)) = room.join(word("hello")).await;
            for text in ["one", "two", "three"] {
                say.say(&word(text)).await.expect("say");
            }
            say.close(CLOSE_REFUSED).await;
            station.gone().await;
            for text in ["one", "two", "three"] {
                assert_eq!(hear.hear().await, Ok(Some(word(text))));
            }
            assert_eq!(ended(&mut hear).await, HearError::Closed(CLOSE_REFUSED));
        }
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
        let identity = Arc::new(Identity::generate().expect("identity"));
        let (kill, killed) = tokio::sync::oneshot::channel::<()>();
        let (tell, told) = tokio::sync::oneshot::channel();
        let first_run = std::thread::spawn({
            let identity = identity.clone();
            move || {
                let runtime = tokio::runtime::Builder::new_current_thread()
                    .enable_all()
                    .build()
                    .expect("runtime");
                runtime.block_on(async move {
                    let listener = Listener::bind(&identity, loopback(0)).expect("listen");
                    tell.send(listener.local_addr().expect("address")).expect("tell");
                    let caller = listener.knock().await.expect("a caller");
                    let (mut say, _hear) = caller.admit::<Word, Word>().await.expect("admit").split();
                    say.say(&word("welcome")).await.expect("say");
                    killed.await.expect("kill");
                });
            }
        });
        let address = told.await.expect("address");
        let dialer = Dialer::new(Arc::new(Identity::generate().expect("station"))).expect("dialer");
        let link = dialer.dial(address, identity.fingerprint()).await.expect("dial");
        let (mut say, mut hear): (Say<Word>, Hear<Word>) = link.split();
        say.say(&word("here")).await.expect("say");
        assert_eq!(hear.hear().await, Ok(Some(word("welcome"))));

        // The runtime ends with everything in it, so that no farewell leaves the first run.
        kill.send(()).expect("kill");
        first_run.join().expect("first run");
        let _second_run = Listener::bind(&identity, address).expect("listen again");
        say.say(&word("here")).await.expect("say");
        assert_eq!(ended(&mut hear).await, HearError::Restarted);
    })
    .await;
}

#[tokio::test]
async fn only_the_two_ends_of_a_link_export_the_same() {
    patiently(async {
        let room = room();
        let mut bindings = Vec::new();
        for _ in 0..3 {
            let dial = room
                .dialer
                .dial::<Word, Word>(room.address(), room.coordinator.fingerprint());
            let admit = async {
                let link = room.listener.knock().await.expect("a caller").admit::<Word, Word>();
                link.await.expect("admit")
            };
            // The listener sees a stream only once something is said on it.
            let dialled = async {
                let link = dial.await.expect("dial");
                let binding = link.binding(b"EXPORTER-one");
                let other = link.binding(b"EXPORTER-other");
                let (mut say, hear) = link.split();
                say.say(&word("hello")).await.expect("say");
                (binding, other, say, hear)
            };
            let ((binding, other, _say, _hear), admitted) = tokio::join!(dialled, admit);
            assert_eq!(admitted.binding(b"EXPORTER-one"), binding);
            assert_ne!(other, binding);
            assert!(!bindings.contains(&binding.0), "two links export the same");
            bindings.push(binding.0);
        }
    })
    .await;
}

#[tokio::test]
async fn where_no_key_is_expected_the_link_says_whose_it_is() {
    patiently(async {
        let room = room();
        let dial = async {
            let link: Link<Word, Word> = room.dialer.dial(room.address(), None).await.expect("dial");
            assert_eq!(link.peer(), room.coordinator.fingerprint());
            let (mut say, hear) = link.split();
            say.say(&word("hello")).await.expect("say");
            (say, hear)
        };
        let admit = async {
            let caller = room.listener.knock().await.expect("a caller");
            caller.admit::<Word, Word>().await.expect("admit")
        };
        let (_end, link) = tokio::join!(dial, admit);
        assert_eq!(link.peer(), room.station.fingerprint());
    })
    .await;
}

#[tokio::test]
async fn a_stranger_says_no_more_than_it_may() {
    patiently(async {
        let room = room();
        let ((mut station, _at_station), (_coordinator, mut at_coordinator)) = room.join(word("hello")).await;
        let length = word("hello").to_frame().len();
        at_coordinator.allow(Some(3 * length));
        for _ in 0..3 {
            assert_eq!(at_coordinator.hear().await, Ok(Some(word("hello"))));
            station.say(&word("hello")).await.expect("say");
        }
        assert_eq!(at_coordinator.hear().await, Err(HearError::TooMuch));
    })
    .await;
}

#[tokio::test]
async fn a_peer_that_becomes_known_may_say_any_number_of_things() {
    patiently(async {
        let room = room();
        let ((mut station, _at_station), (_coordinator, mut at_coordinator)) = room.join(word("hello")).await;
        at_coordinator.allow(Some(word("hello").to_frame().len()));
        assert_eq!(at_coordinator.hear().await, Ok(Some(word("hello"))));
        at_coordinator.allow(None);
        for _ in 0..100 {
            station.say(&word("more")).await.expect("say");
            assert_eq!(at_coordinator.hear().await, Ok(Some(word("more"))));
        }
    })
    .await;
}

#[tokio::test]
async fn who_floods_with_datagrams_is_still_heard_on_the_stream() {
    patiently(async {
        let room = room();
        let ((mut station, _at_station), (_coordinator, mut at_coordinator)) = room.join(word("hello")).await;
        assert_eq!(at_coordinator.hear().await, Ok(Some(word("hello"))));
        // As much as waits at most, then one word on the stream, and all of it is there before anybody listens.
        for number in 0..500 {
            station.say(&word(&format!("~{number}"))).await.expect("say");
            tokio::task::yield_now().await;
        }
        station.say(&word("plucked")).await.expect("say");
        tokio::time::sleep(Duration::from_millis(300)).await;
        let mut before = 0;
        while at_coordinator.hear().await != Ok(Some(word("plucked"))) {
            before += 1;
        }
        assert!(
            before <= 4,
            "{before} datagrams were heard before the stream had its turn"
        );
        // And what waited of the others was not forgotten.
        assert!(matches!(at_coordinator.hear().await, Ok(Some(Word(text))) if text.starts_with('~')));
    })
    .await;
}
