//! How the harps stand together: apart in each register, and on one called string.

use consort_outlook::{Register, spread};
use consort_proto::apart::{Against, Member, apart};
use consort_proto::{Agreement, Note};
use consort_words::{Arg, Key, Words};
use serde::Serialize;

use crate::board::{CROWD, tenths};
use crate::image::SeatImage;

/// How far the harps stand apart.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Together {
    /// Each register in which harps can be compared, from the bass up.
    pub registers: Vec<RegisterShown>,
    /// The widest register, or that all are close.
    pub says: String,
    /// Who stands lowest and highest there, and the string that beats most against the others once all are ready, for those
    /// who may see people; null where nobody stands out.
    pub who: Option<String>,
}

/// One register.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RegisterShown {
    /// What people call it.
    pub name: String,
    /// How far the harps stand apart in whole cents.
    pub apart: u32,
    /// Whether that is more than the tolerance lets two harps differ.
    pub wide: bool,
    /// Where each harp stands, cents from the target, from the lowest up.
    pub strands: Vec<f64>,
}

/// A called string on all harps side by side.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Called {
    /// What is asked, and how far the harps are apart on it.
    pub says: String,
    /// Each harp that has the string, in the order of seats.
    pub harps: Vec<CalledHarp>,
}

/// The called string on one harp.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CalledHarp {
    /// The seat.
    pub seat: u32,
    /// What the string is.
    pub standing: &'static str,
    /// How far it stands from its target; null where it was not plucked since it is called.
    pub cents: Option<f64>,
}

/// Whole cents apart.
fn whole(cents: f64) -> u32 {
    cents.abs().round() as u32
}

impl Together {
    /// How `seats` stand apart under the `agreement`.
    pub(crate) fn of(seats: &[&SeatImage<'_>], agreement: &Agreement, words: &Words) -> Self {
        let tolerance = &agreement.tolerance;
        let spreads = spread(seats.iter().map(|seat| (seat.harp, seat.readiness)));
        let within = |register| match register {
            Register::Wires => tolerance.wires.0,
            Register::Top => tolerance.top.0,
            Register::Low | Register::Middle | Register::High => tolerance.middle.0,
        };
        let wide = |spread: &consort_outlook::Spread| spread.apart.0 > 2.0 * within(spread.register);
        let widest = spreads.iter().max_by(|a, b| {
            let share = |spread: &consort_outlook::Spread| spread.apart.0 / within(spread.register);
            share(a).total_cmp(&share(b))
        });
        let most = spreads.iter().map(|spread| spread.apart.0).fold(0.0, f64::max);
        let (says, who) = match widest {
            None => (words.say(Key::SpreadTooFew, &[]), None),
            Some(spread) if wide(spread) => {
                let name = words.say(register_key(spread.register), &[]);
                let args = [
                    ("register", Arg::from(name)),
                    ("cents", Arg::from(whole(spread.apart.0).to_string())),
                ];
                let by = |a: &&consort_outlook::Stands, b: &&consort_outlook::Stands| a.cents.0.total_cmp(&b.cents.0);
                let name = |stands: Option<&consort_outlook::Stands>| {
                    stands.map_or_else(String::new, |stands| {
                        format!("{} {}", seats[stands.harp].name, words.signed(stands.cents))
                    })
                };
                let who = [
                    ("low", Arg::from(name(spread.stands.iter().min_by(by)))),
                    ("high", Arg::from(name(spread.stands.iter().max_by(by)))),
                ];
                (
                    words.say(Key::SpreadWidest, &args),
                    Some(words.say(Key::SpreadWho, &who)),
                )
            }
            Some(_) => {
                let args = [("cents", Arg::from(whole(most.ceil()).max(1)))];
                (words.say(Key::SpreadClose, &args), None)
            }
        };
        let who: Vec<String> = who.into_iter().chain(farthest(seats, agreement, words)).collect();
        let who = (!who.is_empty()).then(|| who.join(" "));
        let shown = |spread: &consort_outlook::Spread| {
            let mut strands: Vec<f64> = spread.stands.iter().map(|stands| tenths(stands.cents)).collect();
            strands.sort_by(f64::total_cmp);
            RegisterShown {
                name: words.say(register_key(spread.register), &[]),
                apart: whole(spread.apart.0),
                wide: wide(spread),
                strands,
            }
        };
        Self {
            registers: spreads.iter().map(shown).collect(),
            says,
            who,
        }
    }
}

/// Which string of which harp stands farthest from the others, and how it beats; `None` before every harp is ready, since
/// whoever still tunes will hear of it at her own desk, nor for a crowd, in which every string meets every other.
fn farthest(seats: &[&SeatImage<'_>], agreement: &Agreement, words: &Words) -> Option<String> {
    if seats.len() > CROWD || !seats.iter().all(|seat| seat.is_ready()) {
        return None;
    }
    let members: Vec<Member<'_>> = seats
        .iter()
        .map(|seat| Member {
            harp: seat.harp,
            readiness: seat.readiness,
        })
        .collect();
    let first = *apart(&members, &agreement.tuning, &agreement.tolerance).first()?;
    let seat = seats.get(first.member)?;
    let args = [
        ("string", Arg::from(seat.harp.string(first.string)?.open.harp_name())),
        ("seat", Arg::from(seat.seat.to_string())),
        ("cents", Arg::from(words.signed(first.by))),
        ("beats", Arg::from(format!("{:.1}", first.beats_per_second))),
    ];
    let key = match first.against {
        Against::Unisons => Key::SpreadUnison,
        Against::Octaves => Key::SpreadOctave,
    };
    Some(words.say(key, &args))
}

impl Called {
    /// The string called `note` on `seats`.
    pub(crate) fn of(note: Note, seats: &[&SeatImage<'_>], words: &Words) -> Self {
        let on = |seat: &SeatImage<'_>| {
            let number = seat.harp.find(note.letter, note.octave)?;
            let standing = seat.readiness.of(number)?;
            Some(CalledHarp {
                seat: seat.seat,
                standing: standing.word(),
                cents: standing.cents().filter(|_| seat.answered != Some(false)).map(tenths),
            })
        };
        let harps: Vec<CalledHarp> = seats.iter().filter_map(|seat| on(seat)).collect();
        let heard = || harps.iter().filter_map(|harp| harp.cents);
        let name = ("string", Arg::from(note.harp_name()));
        let says = match heard().count() {
            0 | 1 => words.say(Key::CalledSays, &[name]),
            count => {
                let apart = heard().fold(f64::MIN, f64::max) - heard().fold(f64::MAX, f64::min);
                let args = [
                    name,
                    ("count", Arg::from(count)),
                    ("cents", Arg::from(format!("{apart:.1}"))),
                ];
                words.say(Key::CalledApart, &args)
            }
        };
        Self { says, harps }
    }
}

pub(crate) const fn register_key(register: Register) -> Key {
    match register {
        Register::Wires => Key::RegisterWires,
        Register::Low => Key::RegisterLow,
        Register::Middle => Key::RegisterMiddle,
        Register::High => Key::RegisterHigh,
        Register::Top => Key::RegisterTop,
    }
}
