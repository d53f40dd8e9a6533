//! Whatever bytes a stranger sends: nothing is shown, written or said to anybody because of them.

use std::time::Duration;

use crate::common::*;
use consort_proto::message::Refusal;
use consort_proto::{Fingerprint, JoinCode, Proof, Share, ToCoordinator, ToStation, Uptime};
use consort_session::{CodeView, Effect, Event, LinkId, Session, View};
use consort_wire::{decode_to_coordinator, encode_to_coordinator};

/// Frames sent unless `CONSORT_FRAMES` says otherwise.
const USUAL: u64 = 50_000;
/// Frames on one link, if it lasts so long.
const PER_LINK: u64 = 5;

/// Marsaglia's xorshift with the constants 13, 7, 17 (J. Stat. Softw. 8(14), 2003).
struct Chance(u64);

impl Chance {
    fn below(&mut self, limit: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as usize % limit
    }

    fn byte(&mut self) -> u8 {
        self.below(256) as u8
    }
}

/// A whole word of a station, perhaps with some of its bytes changed, or no word at all.
fn frame(chance: &mut Chance) -> Vec<u8> {
    let name = || "Nobody".parse().expect("a name");
    let Event::Heard { message: greeting, .. } = hello(0, None) else {
        unreachable!("a hello is heard")
    };
    let mut frame = match chance.below(7) {
        0 => encode_to_coordinator(&greeting),
        1 => encode_to_coordinator(&ToCoordinator::Reports(vec![
            report(1, 1, reading(3, 0.0));
            chance.below(4)
        ])),
        2 => encode_to_coordinator(&ToCoordinator::Beat),
        3 => encode_to_coordinator(&ToCoordinator::Leave),
        4 => encode_to_coordinator(&ToCoordinator::PairStart(Share([chance.byte(); 33]))),
        5 => encode_to_coordinator(&ToCoordinator::PairConfirm {
            name: name(),
            proof: Proof([chance.byte(); 32]),
        }),
        _ => {
            let length = chance.below(80);
            let mut frame = vec![chance.byte(), 0, chance.byte() & 1, length as u8, 0, 0, 0];
            frame.extend((0..length).map(|_| chance.byte()));
            frame
        }
    };
    for _ in 0..chance.below(3) {
        let place = chance.below(frame.len());
        frame[place] = chance.byte();
    }
    frame
}

/// What everyone may see; the leader alone is shown that codes were tried.
fn seen(session: &Session, now: Uptime) -> View {
    View {
        code: CodeView::Closed,
        ..session.view(now)
    }
}

#[test]
fn no_frame_of_a_stranger_changes_anything() {
    let frames = std::env::var("CONSORT_FRAMES").map_or(USUAL, |text| text.parse().expect("a number"));
    let mut chance = Chance(0x5eed);
    let mut session = with_ilse();
    session.handle(Uptime::default(), Event::Code(JoinCode::drawn(1)));
    while session.poll_effect().is_some() {}
    let (mut understood, mut tried) = (0, 0);
    for number in 0..frames {
        // Links come slowly enough that the door is open for some of them.
        let now = Uptime(Duration::from_millis(number));
        let link = 1_000 + number / PER_LINK;
        let mut events = Vec::new();
        if number % PER_LINK == 0 {
            let mut key = [9; 32];
            key[..8].copy_from_slice(&link.to_le_bytes());
            let from = [10, 1, (link >> 8) as u8, link as u8].into();
            events.push(opened_from(link, Fingerprint(key), from));
        }
        if let Ok(Some(message)) = decode_to_coordinator(&frame(&mut chance)) {
            understood += 1;
            events.push(heard(link, message));
        }
        if number % PER_LINK == PER_LINK - 1 {
            events.push(closed(link));
        }
        if number % 20_000 == 19_999 {
            // The leader opens the door again, since guesses have closed it.
            let code = Event::Code(JoinCode::drawn(number));
            let reopened = [code, command(consort_session::Command::Joining(true))];
            reopened.into_iter().for_each(|event| session.handle(now, event));
        }
        // Ilse is heard, so that her own silence does not look like the stranger's work.
        session.handle(now, heard(1, ToCoordinator::Beat));
        while session.poll_effect().is_some() {}
        let before = seen(&session, now);
        for event in events {
            session.handle(now, event);
            while let Some(effect) = session.poll_effect() {
                match effect {
                    Effect::AnswerShare { .. } => tried += 1,
                    // Nobody proves a code that was only guessed.
                    Effect::CheckProof { link, .. } => session.handle(now, Event::Proof { link, right: false }),
                    Effect::DrawCode => session.handle(now, Event::Code(JoinCode::drawn(number))),
                    Effect::Close { link: LinkId(of), .. } if of == link => {}
                    Effect::Send {
                        message: ToStation::Beat { .. },
                        link: LinkId(1),
                    }
                    | Effect::Redraw => {}
                    other => panic!("frame {number}: {other:?}"),
                }
            }
        }
        assert_eq!(seen(&session, now), before, "frame {number}");
    }
    assert!(understood > frames / 4, "{understood} of {frames} were words");
    assert!(tried >= 10, "{tried} tries were begun");
    // And whoever is known is as welcome as before.
    let now = Uptime(Duration::from_millis(frames));
    session.handle(now, opened(2, ILSE));
    session.handle(now, hello(2, None));
    let refused = std::iter::from_fn(|| session.poll_effect())
        .any(|effect| matches!(effect, Effect::Close { why, .. } if why != Refusal::Superseded));
    assert!(!refused);
}
