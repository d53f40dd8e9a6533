//! Beats of two strings of a virtual harp that are plucked together, against those that they truly have.

mod harmonics;

use consort_analysis::{Beating as Told, NoBeat, Together, beating};
use consort_harp::chance::Chance;
use consort_harp::{Beating, Condition, Pickup, Pluck, Room, Stage, VirtualHarp, Voices};
use consort_proto::beats::Interval;
use consort_proto::{Cents, Harp, HarpString, SampleRate, StringNumber, Tuning, harp_file};

use crate::figures::Figures;
use crate::report;
use crate::statistics::{percent, quantile};

/// What `cargo measure` says about this measure.
pub(crate) const ABOUT: &str = "beats of octaves, fifths and fourths within two seconds of sound, and harmonics against their octaves [--json FILE]";

/// Pairs of each kind of sound.
const PAIRS: u64 = 150;
/// Beats that are asked for, in a second, and how exactly.
const BEATS: (f64, f64) = (0.3, 15.0);
const EXACT: f64 = 0.05;
const GOAL_PERCENT: f64 = 95.0;
/// Beats are listened to where the partials that meet lie below this, hertz: above it they die within half a second.
const PAIR_HZ_MOST: f64 = 1_000.0;
/// Strings that are further off than this are tuned before they are listened to, cents.
const OFF_MOST: f64 = 40.0;
const RATE: u32 = 48_000;
const LISTENED_S: f64 = 2.0;
/// The true beat is taken over this time after the pluck, as a listener would.
const TRUE_S: (f64, f64) = (0.15, 2.0);

/// The intervals that are listened to: semitones, and the ratio that would not beat.
const INTERVALS: [(i32, Interval); 3] = [(12, Interval::OCTAVE), (7, Interval::FIFTH), (5, Interval::FOURTH)];

/// How the strings sound.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Sounding {
    /// Each partial is one line, and all other strings are damped.
    Plain,
    /// Each partial is two lines, as a plucked string moves in two directions; other strings are damped.
    TwoLines,
    /// The whole harp answers.
    WholeHarp,
}

struct Case {
    truth: f64,
    /// Time in which the shorter-lived of the two partials that meet falls to 1/e, seconds.
    lives_s: f64,
    told: Result<Told, NoBeat>,
}

/// Runs the measure.
pub(crate) fn run(words: &[String]) -> Result<(), String> {
    let mut figures = Figures::new("beats", words)?;
    let harp = harp_file::preset("pedal-47").ok_or("there is no such harp")?;
    for (name, sounding) in [
        ("one line each, others damped", Sounding::Plain),
        ("two lines each, others damped", Sounding::TwoLines),
        ("two lines each, the whole harp answers", Sounding::WholeHarp),
    ] {
        let cases: Vec<Case> = (0..PAIRS)
            .map(|seed| play(&harp, sounding, seed))
            .collect::<Result<_, _>>()?;
        let cases: Vec<Case> = cases.into_iter().filter(|case| case.truth.abs() >= BEATS.0).collect();
        report(&format!(
            "{name}: {} pairs of {} to {} beats in a second",
            cases.len(),
            BEATS.0,
            BEATS.1
        ));
        let mut errors: Vec<f64> = cases
            .iter()
            .map(|case| {
                case.told
                    .as_ref()
                    .map_or(f64::INFINITY, |told| (told.beats_per_second - case.truth).abs())
            })
            .collect();
        // The measure adds no noise, whose bound would be nothing. What can be told of a beat is how the pair swells and fades
        // while it lasts: one that has died before it swelled once is told from the other partials alone, which lie beside
        // their string's law by as much as the goal allows.
        let (mut once, mut slower) = (Vec::new(), Vec::new());
        for (case, error) in cases.iter().zip(&errors) {
            let swells = case.truth.abs() * case.lives_s >= 1.0;
            if swells { &mut once } else { &mut slower }.push(*error);
        }
        let within = |limit: f64| percent(errors.iter().filter(|error| **error <= limit).count(), errors.len());
        let [exact, nearly] = [EXACT, 0.1].map(within);
        figures.at_least(GOAL_PERCENT, format!("within {EXACT} beats/s"), exact, "%");
        figures.tell("within 0.1 beats/s", nearly, "%");
        for (which, errors) in [("beats that swell once while they last", once), ("slower ones", slower)] {
            let exact = errors.iter().filter(|error| **error <= EXACT).count();
            let share = percent(exact, errors.len());
            figures.tell(format!("{which}, {}: within {EXACT} beats/s", errors.len()), share, "%");
        }
        figures.tell("error, median", quantile(&mut errors, 0.5), "beats/s");
        let refused = cases.iter().filter(|case| case.told.is_err()).count();
        figures.tell("refused", percent(refused, cases.len()), "%");
        let honest = cases.iter().filter(|case| {
            case.told
                .as_ref()
                .is_ok_and(|told| (told.beats_per_second - case.truth).abs() <= 2.0 * told.sigma)
        });
        figures.tell(
            "truth within two stated deviations",
            percent(honest.count(), cases.len() - refused),
            "%",
        );
    }
    harmonics::measure(&harp, &mut figures)?;
    figures.close()
}

/// Plays one pair and listens.
fn play(harp: &Harp, sounding: Sounding, seed: u64) -> Result<Case, String> {
    let mut chance = Chance::new(seed ^ 0x6265_6174);
    let (lower, higher, interval) = pair(harp, &mut chance);
    let tuning = Tuning::default();
    let hz = [lower, higher].map(|(_, string)| tuning.open_target(string));
    let (p, q) = interval.meeting();
    let pair_hz = f64::from(p) * hz[0].get();
    let beats = loop {
        let size = chance.between(BEATS.0.ln(), BEATS.1.ln()).exp();
        let beats = if chance.is(0.5) { size } else { -size };
        if (1200.0 * (1.0 + beats / pair_hz).log2()).abs() < OFF_MOST {
            break beats;
        }
    };
    let lower_cents = 4.0 * chance.spread();
    let pure = hz[0].raised_by(Cents(1200.0 * (f64::from(p) / f64::from(q)).log2()));
    let higher_cents = lower_cents + pure.cents_above(hz[1]).0 + 1200.0 * (1.0 + beats / pair_hz).log2();
    let mut condition = Condition::sound(seed);
    condition.scatter_cents = 2.0;
    condition.far_off = vec![(lower.0, lower_cents), (higher.0, higher_cents)];
    let stage = Stage {
        rate: SampleRate::new(RATE).map_err(|why| why.to_string())?,
        voices: Voices::Computed,
        pickup: Pickup::GOOD,
        room: Room::default(),
    };
    let mut virtual_harp = VirtualHarp::new(harp, &condition, stage);
    if sounding != Sounding::WholeHarp {
        virtual_harp.damp_all();
    }
    let plucks = [(), ()].map(|()| Pluck {
        loudness: chance.between(0.7, 1.3),
        place: chance.between(0.36, 0.46),
        plane: if sounding == Sounding::Plain {
            0.0
        } else {
            chance.between(0.2, 0.8)
        },
    });
    virtual_harp.pluck(lower.0, plucks[0]);
    let mut between = vec![0.0; (chance.between(0.0, 0.03) * f64::from(RATE)) as usize];
    virtual_harp.render(&mut between);
    virtual_harp.pluck(higher.0, plucks[1]);
    let mut sound = vec![0.0; (LISTENED_S * f64::from(RATE)) as usize];
    virtual_harp.render(&mut sound);
    let one = |string: StringNumber, pluck, partial: u32| Beating {
        string,
        pluck,
        partial: partial as usize,
    };
    let truth = virtual_harp.true_beats(one(lower.0, plucks[0], p), one(higher.0, plucks[1], q), TRUE_S);
    let together = Together {
        lower: hz[0],
        higher: hz[1],
        interval,
    };
    let lives_s = |string: StringNumber, n: u32| {
        let stringing = virtual_harp.stringing(string);
        stringing.decay_s(n as usize) / stringing.split_decay.sqrt()
    };
    Ok(Case {
        truth,
        lives_s: lives_s(lower.0, p).min(lives_s(higher.0, q)),
        told: beating(&sound, stage.rate, together),
    })
}

type Numbered<'a> = (StringNumber, &'a HarpString);

/// Any open octave, fifth or fourth that is listened to.
fn pair<'a>(harp: &'a Harp, chance: &mut Chance) -> (Numbered<'a>, Numbered<'a>, Interval) {
    let strings: Vec<Numbered<'_>> = harp.numbered().collect();
    let semitones = |one: &Numbered<'_>| one.1.open.semitones_above_a4();
    loop {
        let (apart, interval) = INTERVALS[chance.below(INTERVALS.len())];
        let lower = strings[chance.below(strings.len())];
        let (p, q) = interval.meeting();
        let hz = Tuning::default().open_target(lower.1).get();
        // Below, what meets lies among other partials closer than a beat.
        if hz * f64::from(p) > PAIR_HZ_MOST || hz / f64::from(q) < 30.0 {
            continue;
        }
        if let Some(higher) = strings.iter().find(|one| semitones(one) - semitones(&lower) == apart) {
            return (lower, *higher, interval);
        }
    }
}
