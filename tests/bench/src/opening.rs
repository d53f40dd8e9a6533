//! Thousands of openings: harps that are out of tune and have pedals, levers or an open tuning elsewhere, and what the
//! opening check makes of seven plucks.

use consort_guide::opening::{PLUCKS, Plucked, What, observe, one_more};
use consort_harp::chance::Chance;
use consort_harp::{Condition, Fault, Pickup, Pluck, Room, Stage, VirtualHarp, Voices};
use consort_proto::{
    Accidental, Cents, Harp, HarpString, Letter, Mechanism, Note, ReferencePitch, SampleRate, Tuning, harp_file, order,
};

use crate::figures::Figures;
use crate::report;
use crate::statistics::percent;

/// What `cargo measure` says about this measure.
pub(crate) const ABOUT: &str =
    "pedals, levers and open tuning told from seven plucks of the middle octave [--json FILE]";

/// Harps of each kind of trouble.
const HARPS: u64 = 2_000;
/// A whole harp stands up to this far off, cents.
const OFFSET_MOST: f64 = 40.0;
/// Goals: those that are not told rightly, and those with nothing wrong of which something is told, in a hundred.
const GOAL_NOT_RIGHT: f64 = 1.0;
const GOAL_FALSE: f64 = 0.2;
/// Open tunings of lever harps have up to four flats, in this order (common practice).
const FLATS: [Letter; 4] = [Letter::B, Letter::E, Letter::A, Letter::D];

/// What is wrong with a harp besides being out of tune.
#[derive(Clone, Copy, Debug)]
enum Trouble {
    Nothing,
    OnePedal,
    TwoPedals,
    AllPedals,
    Lever,
    OpenTuning,
}

/// Runs the measure.
pub(crate) fn run(words: &[String]) -> Result<(), String> {
    let mut figures = Figures::new("opening", words)?;
    report(&format!(
        "openings not told rightly, of {HARPS} harps each, up to {OFFSET_MOST} cents off as a whole"
    ));
    for (name, preset, trouble) in [
        ("pedal harp, nothing wrong", "pedal-47", Trouble::Nothing),
        ("pedal harp, one pedal", "pedal-47", Trouble::OnePedal),
        ("pedal harp, two pedals", "pedal-40", Trouble::TwoPedals),
        ("pedal harp, all pedals in natural", "pedal-46", Trouble::AllPedals),
        ("lever harp, nothing wrong", "lever-34", Trouble::Nothing),
        ("lever harp, one lever up", "lever-34", Trouble::Lever),
        ("lever harp, another open tuning", "lever-34", Trouble::OpenTuning),
    ] {
        let harp = harp_file::preset(preset).ok_or_else(|| format!("there is no harp {preset}"))?;
        let mut wrong = 0;
        for seed in 0..HARPS {
            wrong += usize::from(!is_told_rightly(&harp, trouble, seed)?);
        }
        let goal = if matches!(trouble, Trouble::Nothing) {
            GOAL_FALSE
        } else {
            GOAL_NOT_RIGHT
        };
        figures.at_most(goal, name, percent(wrong, HARPS as usize), "%");
    }
    figures.close()
}

/// Plays one opening; whether all that is wrong is told, and nothing else.
fn is_told_rightly(harp: &Harp, trouble: Trouble, seed: u64) -> Result<bool, String> {
    let mut chance = Chance::new(seed ^ 0x6f70_656e);
    let mut condition = Condition::before_a_rehearsal(harp, seed);
    let strings = &order::usual_order(harp)[..PLUCKS];
    let mut strung = harp.clone();
    let mut expected = Vec::new();
    let pedal = |letter, semitones| What::Pedal { letter, semitones };
    match trouble {
        Trouble::Nothing => {}
        Trouble::OnePedal => {
            let (letter, to) = (Letter::ALL[chance.below(7)], 1 + chance.below(2) as u8);
            condition.pedals.push((letter, to));
            expected.push(pedal(letter, to));
        }
        Trouble::TwoPedals => {
            let first = chance.below(7);
            for at in [first, (first + 1 + chance.below(6)) % 7] {
                condition.pedals.push((Letter::ALL[at], 1));
                expected.push(pedal(Letter::ALL[at], 1));
            }
        }
        Trouble::AllPedals => {
            condition.pedals.extend(Letter::ALL.map(|letter| (letter, 1)));
            expected.push(What::AllPedals);
        }
        Trouble::Lever => {
            let string = strings[chance.below(PLUCKS)];
            condition.faults.push((string, Fault::LeverUp));
            expected.push(What::Lever(string));
        }
        Trouble::OpenTuning => {
            // Any but the one that the harp is set to: three flats.
            let flats = &FLATS[..[0, 1, 2, 4][chance.below(4)]];
            strung = retuned(harp, flats)?;
            let between = |lower: bool| {
                let differs =
                    |letter: &Letter| (flats.contains(letter), FLATS[..3].contains(letter)) == (lower, !lower);
                Letter::PEDALS.into_iter().filter(differs).collect()
            };
            expected.push(What::OpenTuning {
                lower: between(true),
                higher: between(false),
            });
        }
    }
    let mut virtual_harp = VirtualHarp::new(&strung, &condition, stage());
    let offset = chance.between(-OFFSET_MOST, OFFSET_MOST);
    let a4 = Tuning::default().a4.hz().raised_by(Cents(-offset));
    let tuning = Tuning {
        a4: ReferencePitch::new(a4.get()).map_err(|why| why.to_string())?,
        ..Tuning::default()
    };
    let mut plucked = |string| Plucked {
        string,
        hz: virtual_harp.pluck(string, Pluck::ORDINARY),
    };
    let mut plucks: Vec<Plucked> = strings.iter().map(|&string| plucked(string)).collect();
    if let Some(more) = one_more(harp, &observe(harp, &tuning, &plucks)) {
        plucks.push(plucked(more));
    }
    let found = observe(harp, &tuning, &plucks).observations;
    let all_found = expected
        .iter()
        .all(|what| found.iter().any(|observation| observation.what == *what));
    Ok(all_found && found.len() == expected.len())
}

/// The lever harp with these letters flat as open strings.
fn retuned(harp: &Harp, flats: &[Letter]) -> Result<Harp, String> {
    let strings = harp.strings().iter().map(|string| {
        let open = string.open;
        let accidental = match string.mechanism {
            Mechanism::Fixed => open.accidental,
            _ if flats.contains(&open.letter) => Accidental::Flat,
            _ => Accidental::Natural,
        };
        HarpString {
            open: Note::new(open.letter, accidental, open.octave),
            ..*string
        }
    });
    Harp::new(harp.name().to_owned(), harp.kind(), strings.collect()).map_err(|why| why.to_string())
}

/// Nothing is rendered: only the strings' pitches count here.
const fn stage() -> Stage<'static> {
    Stage {
        rate: SampleRate::STUDIO,
        voices: Voices::Computed,
        pickup: Pickup::GOOD,
        room: Room {
            warm_up_db: None,
            talk_db: None,
            harp_db: None,
        },
    }
}
