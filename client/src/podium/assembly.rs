//! The pieces that a coordinator sends to a deputy, put together to the session that the pages are made from.

use std::collections::BTreeMap;

use consort_outlook::Course;
use consort_pages::{BoardPage, ControlPage, Links, Presence, SeatImage, SessionImage};
use consort_proto::deputy::{HarpPicture, Heard, Hindsight, Picture, ToDeputy};
use consort_proto::message::Refusal;
use consort_proto::{Age, Fingerprint, Note, Readiness, Round, Standing, Uptime};
use consort_words::{Key, Words};

/// Everything that was heard of the session.
#[derive(Clone, Debug, Default)]
pub(crate) struct Assembly {
    harps: BTreeMap<u32, Held>,
    /// Harps of the picture that is coming.
    coming: Vec<HarpPicture>,
    picture: Option<Picture>,
    hindsight: Hindsight,
    /// Seats that have plucked the string that is called in the picture that is coming, and in the one that is there; `None`
    /// where none is called, or from a coordinator that has no word of it.
    answers_coming: Option<Vec<u32>>,
    answers: Option<Vec<u32>>,
    /// When something was heard last.
    heard_at: Uptime,
    state: State,
}

/// One harp as it was heard last, and how its tuning goes since this laptop looks.
#[derive(Clone, Debug)]
struct Held {
    harp: HarpPicture,
    readiness: Readiness,
    course: Course,
    /// What the called string was when it was called, since when this laptop looks: whoever plucks it makes it another.
    asked: Option<Standing>,
}

/// Whether what is held may be shown as true.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
enum State {
    /// The link is there.
    #[default]
    Heard,
    /// The link is gone.
    Lost,
    /// The coordinator does not let this laptop look any more.
    Refused(Refusal),
}

impl Held {
    /// What the string called `note` is on this harp, if it has it.
    fn standing(&self, note: Note) -> Option<Standing> {
        self.readiness.of(self.harp.harp.find(note.letter, note.octave)?)
    }
}

impl Assembly {
    /// Takes in a piece; whether there is a whole picture to be shown with it.
    pub(crate) fn take(&mut self, now: Uptime, piece: ToDeputy) -> bool {
        self.heard_at = now;
        match piece {
            ToDeputy::Harp(harp) => {
                self.coming.push(harp);
                false
            }
            ToDeputy::Hindsight(hindsight) => {
                self.hindsight = hindsight;
                false
            }
            ToDeputy::Answers(seats) => {
                self.answers_coming = Some(seats);
                false
            }
            ToDeputy::Picture(picture) => {
                self.seat_who_came(now);
                self.answers = self.answers_coming.take();
                self.harps.retain(|seat, _| picture.seats.contains(seat));
                if self.round().is_some_and(|round| round != picture.agreement.round) {
                    // Everything is tuned anew; what was heard already of the new round is where it begins.
                    for held in self.harps.values_mut() {
                        held.course = Course::default();
                        held.course.see(now, &held.harp.harp, &held.readiness);
                    }
                }
                let called = picture.agreement.called;
                if self
                    .picture
                    .as_ref()
                    .is_some_and(|before| before.agreement.called != called)
                {
                    for held in self.harps.values_mut() {
                        held.asked = called.and_then(|note| held.standing(note));
                    }
                }
                self.picture = Some(picture);
                self.state = State::Heard;
                true
            }
            ToDeputy::Done { .. } | ToDeputy::Refused(_) => false,
        }
    }

    /// Puts the harps of the picture on their seats; one that has moved to another seat goes on with its tuning.
    fn seat_who_came(&mut self, now: Uptime) {
        let before = self.harps.clone();
        for harp in std::mem::take(&mut self.coming) {
            let readiness = Readiness::judged(harp.standings.clone());
            let same = |held: &&Held| held.harp.name == harp.name && held.harp.harp.strings() == harp.harp.strings();
            // Two of one name are told apart by their seats, as well as can be.
            let stayed = before.get(&harp.seat).filter(same);
            let own = stayed.or_else(|| before.values().find(same));
            let mut course = own.map(|held| held.course.clone()).unwrap_or_default();
            course.see(now, &harp.harp, &readiness);
            let held = Held {
                asked: own.and_then(|held| held.asked),
                harp,
                readiness,
                course,
            };
            self.harps.insert(held.harp.seat, held);
        }
    }

    /// The same without a link: what was heard last, and that it may not be true any more.
    pub(crate) fn lost(&self) -> Self {
        let state = match self.state {
            State::Refused(why) => State::Refused(why),
            State::Heard | State::Lost => State::Lost,
        };
        Self { state, ..self.clone() }
    }

    /// Nothing, since the coordinator says no.
    pub(crate) fn refused(&self, why: Refusal) -> Self {
        Self {
            state: State::Refused(why),
            ..Self::default()
        }
    }

    /// Whether this laptop may change the agreement.
    pub(crate) fn is_granted(&self) -> bool {
        self.state == State::Heard && self.picture.as_ref().is_some_and(|picture| picture.granted)
    }

    /// The session as the pages see it; `None` until the first picture is whole.
    pub(crate) fn image(&self) -> Option<SessionImage<'_>> {
        let picture = self.picture.as_ref()?;
        let called = picture.agreement.called;
        let seats = self.harps.values().map(|held| {
            let Held {
                harp,
                readiness,
                course,
                ..
            } = held;
            SeatImage {
                seat: harp.seat,
                // Keys are the leader's business.
                station: Fingerprint([0; 32]),
                name: &harp.name,
                harp: &harp.harp,
                readiness,
                outlook: course.outlook(self.heard_at, &harp.harp, readiness),
                age: self.age(harp.seat),
                overhears: None,
                answered: called.and_then(|note| self.answered(held, note)),
                presence: self.presence(harp.heard),
                removed: false,
                help: harp.help,
                copied: false,
                deputy: false,
                wanted_by: None,
            }
        });
        // What is decided for later and whether tones may sound stay with the leader.
        Some(SessionImage {
            start_in: picture.start_in,
            can_undo: picture.can_undo,
            disk_trouble: picture.disk_trouble,
            was_joined: true,
            room: self.hindsight.room.clone(),
            ..SessionImage::of(&picture.agreement, seats.collect())
        })
    }

    /// Whether the called string `note` was plucked on this harp since it is called: as the coordinator says, else as far as
    /// it was seen from here; `None` where that is not known.
    fn answered(&self, held: &Held, note: Note) -> Option<bool> {
        match &self.answers {
            Some(seats) => Some(seats.contains(&held.harp.seat)),
            None => held.asked.map(|asked| held.standing(note) != Some(asked)),
        }
    }

    /// How old it was what the harp on `seat` had reported, when the picture was made.
    fn age(&self, seat: u32) -> Age {
        let ages = &self.hindsight.ages;
        let own = ages.iter().find(|(other, _)| *other == seat);
        own.map(|&(_, age)| age).unwrap_or_default()
    }

    fn round(&self) -> Option<Round> {
        self.picture.as_ref().map(|picture| picture.agreement.round)
    }

    /// The board as one line of JSON; empty until there is one.
    pub(crate) fn board(&self, words: &Words) -> String {
        let Some(image) = self.image() else {
            return String::new();
        };
        let mut page = BoardPage::of(&image, words);
        page.trouble = self.trouble(words).or(page.trouble);
        crate::pluck::json(&page)
    }

    /// Control as one line of JSON; empty until there is one.
    pub(crate) fn control(&self, links: &Links, words: &Words) -> String {
        let Some(image) = self.image() else {
            return String::new();
        };
        let mut page = ControlPage::of(&image, links, words);
        page.board.trouble = self.trouble(words).or(page.board.trouble);
        crate::pluck::json(&page)
    }

    /// Nothing counts as heard of a harp while nothing is heard of its coordinator.
    fn presence(&self, heard: Heard) -> Presence {
        match (self.state, heard) {
            (State::Lost | State::Refused(_), _) | (State::Heard, Heard::Away) => Presence::Away,
            (State::Heard, Heard::Here) => Presence::Here,
            (State::Heard, Heard::Unsure) => Presence::Unsure,
            (State::Heard, Heard::Silent(silent)) => Presence::Silent(silent),
        }
    }

    fn trouble(&self, words: &Words) -> Option<String> {
        match self.state {
            State::Heard if self.is_granted() => None,
            State::Heard => Some(words.say(Key::BoardNotGranted, &[])),
            State::Lost => Some(words.say(Key::BoardNoLink, &[])),
            State::Refused(why) => Some(words.refusal(why)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    use consort_proto::{
        Agreement, Cents, Material, Revision, RoomMove, SessionId, Standing, Tolerance, Tuning, harp_file,
    };

    fn picture(seats: &[u32]) -> ToDeputy {
        ToDeputy::Picture(Picture {
            agreement: Agreement {
                session: SessionId([1; 16]),
                revision: Revision(1),
                ensemble: "Trio Wend".parse().expect("a name"),
                tuning: Tuning::default(),
                tolerance: Tolerance::default(),
                round: Round(1),
                called: None,
            },
            start_in: None,
            can_undo: false,
            disk_trouble: false,
            granted: true,
            seats: seats.to_vec(),
        })
    }

    fn harp(seat: u32) -> ToDeputy {
        let harp = harp_file::preset("lever-22").expect("a preset");
        ToDeputy::Harp(HarpPicture {
            seat,
            name: "Runa".parse().expect("a name"),
            standings: vec![Standing::Holds(Cents(0.1)); harp.len()],
            harp,
            heard: Heard::Here,
            help: false,
        })
    }

    fn ready(assembly: &Assembly) -> Vec<bool> {
        let image = assembly.image().expect("a picture");
        image.seats.iter().map(SeatImage::is_ready).collect()
    }

    #[test]
    fn a_picture_shows_the_harps_that_it_names_and_no_others() {
        let mut assembly = Assembly::default();
        assert!(assembly.board(&Words::english()).is_empty());
        assert!(!assembly.take(Uptime::default(), harp(1)) && !assembly.take(Uptime::default(), harp(2)));
        assert!(assembly.take(Uptime::default(), picture(&[1, 2])));
        assert_eq!(ready(&assembly), [true, true]);
        assert!(assembly.take(Uptime::default(), picture(&[2])));
        assert_eq!(ready(&assembly), [true]);
    }

    #[test]
    fn only_who_plucks_the_called_string_after_the_call_has_answered() {
        let called = |piece: ToDeputy, name: &str| match piece {
            ToDeputy::Picture(mut picture) => {
                picture.agreement.called = Some(Note::from_harp_name(name).expect("a note"));
                ToDeputy::Picture(picture)
            }
            other => other,
        };
        let answered = |assembly: &Assembly| -> Vec<_> {
            let image = assembly.image().expect("a picture");
            image.seats.iter().map(|seat| seat.answered).collect()
        };
        let mut assembly = Assembly::default();
        for piece in [harp(1), harp(2), picture(&[1, 2])] {
            assembly.take(Uptime::default(), piece);
        }
        assert_eq!(answered(&assembly), [None, None]);
        assembly.take(Uptime::default(), called(picture(&[1, 2]), "4C"));
        assert_eq!(answered(&assembly), [Some(false), Some(false)]);
        let ToDeputy::Harp(mut second) = harp(2) else {
            panic!("a harp")
        };
        let number = second.harp.find(consort_proto::Letter::C, 4).expect("middle C");
        second.standings[number.index()] = Standing::Holds(Cents(0.4));
        assembly.take(Uptime::default(), ToDeputy::Harp(second));
        assembly.take(Uptime::default(), called(picture(&[1, 2]), "4C"));
        assert_eq!(answered(&assembly), [Some(false), Some(true)]);
        // Whoever looks later than the call does not know it by itself, but from the coordinator.
        let mut later = Assembly::default();
        for piece in [harp(1), harp(2), called(picture(&[1, 2]), "4C")] {
            later.take(Uptime::default(), piece);
        }
        assert_eq!(answered(&later), [None, None]);
        assert!(
            !later.take(Uptime::default(), ToDeputy::Answers(vec![2])),
            "the picture is to come"
        );
        later.take(Uptime::default(), called(picture(&[1, 2]), "4C"));
        assert_eq!(answered(&later), [Some(false), Some(true)]);
        later.take(Uptime::default(), picture(&[1, 2]));
        assert_eq!(answered(&later), [None, None], "nothing is called any more");
    }

    #[test]
    fn nothing_is_ready_once_the_coordinator_is_lost_or_says_no() {
        let mut assembly = Assembly::default();
        assembly.take(Uptime::default(), harp(1));
        assembly.take(Uptime::default(), picture(&[1]));
        assert!(assembly.is_granted());
        let lost = assembly.lost();
        assert_eq!(ready(&lost), [false]);
        assert!(!lost.is_granted() && lost.board(&Words::english()).contains("No link"));
        let refused = assembly.refused(Refusal::Removed);
        assert!(refused.image().is_none() && !refused.lost().is_granted());
    }

    #[test]
    fn what_the_room_did_and_how_old_confirmations_are_is_shown_as_at_the_leaders() {
        let words = Words::english();
        let mut assembly = Assembly::default();
        assembly.take(Uptime::default(), harp(1));
        let minutes = |minutes: u64| Duration::from_secs(60 * minutes);
        let hindsight = ToDeputy::Hindsight(Hindsight {
            ages: vec![(
                1,
                Age {
                    confirmed: Some(minutes(12)),
                    to_confirm: None,
                },
            )],
            room: vec![RoomMove {
                material: Material::Gut,
                cents: Cents(-2.5),
                harps: 3,
                of: 4,
                since: minutes(20),
            }],
        });
        assert!(!assembly.take(Uptime::default(), hindsight), "the picture is to come");
        assembly.take(Uptime::default(), picture(&[1]));
        let board = assembly.board(&words);
        for part in ["12 min", "2.5 cents", "3 of 4"] {
            assert!(board.contains(part), "{part}: {board}");
        }
    }

    #[test]
    fn once_the_last_harp_has_left_it_is_not_said_that_nobody_has_come() {
        let words = Words::english();
        let mut assembly = Assembly::default();
        assembly.take(Uptime::default(), harp(1));
        assembly.take(Uptime::default(), picture(&[1]));
        assembly.take(Uptime::from_secs(5), picture(&[]));
        assert!(
            assembly.board(&words).contains("Nobody is in the session now"),
            "{}",
            assembly.board(&words)
        );
    }
}
