//! A check of the regulation by ear on virtual pedal harps whose discs are off by known amounts: how long it takes to
//! play, and how near the table of discs comes to the truth.

use consort_analysis::{Config, Context, Doubt, ExpectedString, Heard, Listener, Reading};
use consort_harp::chance::Chance;
use consort_harp::{Condition, Pickup, Pluck, Room, Stage, VirtualHarp, Voices};
use consort_proto::{
    Cents, Harp, HarpString, Mechanism, Reading as Kept, SampleRate, StringNumber, Tolerance, Tuning, harp_file,
};
use consort_record::check::{Check, PLACE, Stage as Position};
use consort_record::{Chronicle, Heard as Noted, Life, Moment, Place, Sheet, Timbre, Visit, regulation};

use crate::figures::Figures;
use crate::report;
use crate::statistics::quantile;

/// What `cargo measure` says about this measure.
pub(crate) const ABOUT: &str = "a check of all discs by ear: its time and its errors, through sound [--json FILE]";

/// Harps that are checked.
const HARPS: u64 = 3;
/// Goals: minutes of played time, and cents within which 95 of 100 errors lie.
const GOAL_MIN: f64 = 6.0;
const GOAL_CENTS: f64 = 1.0;
/// Discs of an older harp were 0 to +10 cents off (R. Swanson, 2021); one standard deviation, about a mean of 2.
const DISC_CENTS: f64 = 3.0;
const DISC_MEAN_CENTS: f64 = 2.0;
/// From the answer to the next pluck, and for a pedal to be moved, seconds: assumed.
const HAND_S: f64 = 0.35;
const PEDAL_S: f64 = 1.5;
/// A pluck that has no answer by then is made anew, seconds; so often at most.
const PATIENCE_S: f64 = 4.5;
const TRIES: usize = 3;
const RATE: u32 = 48_000;
/// Sound is handed over in pieces of a hundredth of a second.
const PIECE: usize = RATE as usize / 100;

/// What came of one harp.
struct Checked {
    played_s: f64,
    plucks: usize,
    again: usize,
    missing: usize,
    errors: Vec<f64>,
}

/// Runs the measure.
pub(crate) fn run(words: &[String]) -> Result<(), String> {
    let mut figures = Figures::new("regulation", words)?;
    let harp = harp_file::preset("pedal-47").ok_or("there is no such harp")?;
    let (mut errors, mut longest, mut missing) = (Vec::new(), 0.0_f64, 0);
    for seed in 0..HARPS {
        let mut checked = check(&harp, seed)?;
        report(&format!(
            "harp {}: {} plucks, {} of them made anew, {:.1} min, 95 of 100 within {:.2} cents",
            seed + 1,
            checked.plucks,
            checked.again,
            checked.played_s / 60.0,
            quantile(&mut checked.errors, 0.95),
        ));
        longest = longest.max(checked.played_s);
        missing += checked.missing;
        errors.extend(checked.errors);
    }
    figures.at_most(GOAL_MIN, "played time, longest", longest / 60.0, "min");
    figures.tell("error of a disc, median", quantile(&mut errors, 0.5), "cents");
    figures.at_most(
        GOAL_CENTS,
        "error of a disc, 95 %",
        quantile(&mut errors, 0.95),
        "cents",
    );
    figures.at_most(0.0, "steps without an answer", missing as f64, "steps");
    figures.close()
}

/// Plays a whole check of `harp`, its discs off by what `seed` says.
fn check(harp: &Harp, seed: u64) -> Result<Checked, String> {
    let mut chance = Chance::new(seed ^ 0x7265_6775);
    let off = regulated(harp, &mut chance)?;
    let mut condition = Condition::sound(seed + 40);
    condition.scatter_cents = 2.0;
    let stage = Stage {
        rate: SampleRate::new(RATE).map_err(|why| why.to_string())?,
        voices: Voices::Computed,
        pickup: Pickup::GOOD,
        room: Room::default(),
    };
    let mut player = Player {
        harp: VirtualHarp::new(&off, &condition, stage),
        listener: Listener::new(Config {
            rate: stage.rate,
            ..Config::default()
        }),
        played_s: 0.0,
        again: 0,
    };
    let at = Moment(1_790_000_000);
    let place = Place::new(PLACE).map_err(|why| why.to_string())?;
    let mut visit = Visit::new(at, place, Tuning::default(), Tolerance::default());
    let mut check = Check::new(harp.clone(), None);
    let (mut plucks, mut missing) = (0, 0);
    while let Some(position) = check.stage() {
        if let Some(letter) = position.letter {
            player.harp.move_pedal(letter, position.position);
            player.wait(PEDAL_S);
        }
        player.expect(&position.sounding(harp))?;
        for string in check.missing() {
            plucks += 1;
            let Some(reading) = player.hear(string, position, harp, &mut chance) else {
                missing += 1;
                continue;
            };
            let timbre = Timbre {
                glide: Some(reading.glide),
                decay_s: reading.timbre.decay_s,
                ..Timbre::default()
            };
            let reading = Kept::new(string, reading.hz, reading.sigma).map_err(|why| why.to_string())?;
            visit.hear(&Noted {
                at,
                position: position.position,
                reading,
                timbre: Some(timbre),
            });
            check.hear(string);
        }
        // What had no answer is left out, as she would.
        if check.stage() == Some(position) {
            check.leave_out();
        }
        // The pedal goes back before the next letter.
        if let Some(letter) = position.letter.filter(|_| position.position == 2) {
            player.harp.move_pedal(letter, 0);
            player.wait(PEDAL_S);
        }
    }
    let mut life = Life::new(Sheet::of(harp.clone()));
    life.visits.push(visit);
    let table = regulation::table(&Chronicle::of(&life));
    let errors = table.iter().filter_map(|step| {
        let truth = off.string(step.string)?.regulation_error(step.position);
        Some((step.by.0 - truth.0).abs())
    });
    Ok(Checked {
        errors: errors.collect(),
        played_s: player.played_s,
        plucks,
        again: player.again,
        missing,
    })
}

/// `harp` with discs that are off.
fn regulated(harp: &Harp, chance: &mut Chance) -> Result<Harp, String> {
    let mut off = || Cents(DISC_MEAN_CENTS + DISC_CENTS * chance.spread());
    let strings = harp.strings().iter().map(|string| HarpString {
        regulation: if string.mechanism == Mechanism::Discs {
            [off(), off()]
        } else {
            string.regulation
        },
        ..*string
    });
    Harp::new(harp.name().to_owned(), harp.kind(), strings.collect()).map_err(|why| why.to_string())
}

/// Who plucks, and what is heard of it.
struct Player {
    harp: VirtualHarp,
    listener: Listener,
    played_s: f64,
    again: usize,
}

impl Player {
    /// Listens for the strings as they sound now.
    fn expect(&mut self, sounding: &Harp) -> Result<(), String> {
        let tuning = Tuning::default();
        let expected: Vec<ExpectedString> = sounding
            .strings()
            .iter()
            .map(|string| ExpectedString::new(tuning.open_target(string)))
            .collect();
        let context = Context::new(&expected).map_err(|why| why.to_string())?;
        self.listener.set_context(&context);
        Ok(())
    }

    /// Lets time pass, without looking at what is heard.
    fn wait(&mut self, seconds: f64) {
        let mut left = (seconds * f64::from(RATE)) as usize / PIECE;
        while left > 0 {
            self.piece();
            while self.listener.poll().is_some() {}
            left -= 1;
        }
    }

    fn piece(&mut self) {
        let mut piece = [0.0; PIECE];
        self.harp.render(&mut piece);
        self.listener.push(&piece);
        self.played_s += PIECE as f64 / f64::from(RATE);
    }

    /// Plucks `string` until it is heard, a few times at most; damps it then.
    fn hear(&mut self, string: StringNumber, position: Position, harp: &Harp, chance: &mut Chance) -> Option<Reading> {
        for attempt in 0..TRIES {
            self.again += usize::from(attempt > 0);
            let pluck = Pluck {
                loudness: chance.between(0.8, 1.2),
                place: chance.between(0.38, 0.46),
                plane: chance.between(0.35, 0.65),
            };
            self.harp.pluck(string, pluck);
            let answer = self.answer();
            self.harp.damp_all();
            self.wait(HAND_S);
            let meant = |reading: &Reading| position.meant(harp, &Tuning::default(), reading.hz) == Some(string);
            if let Some(reading) = answer.filter(meant) {
                return Some(reading);
            }
        }
        None
    }

    /// The first answer that stands.
    fn answer(&mut self) -> Option<Reading> {
        let pieces = (PATIENCE_S * f64::from(RATE)) as usize / PIECE;
        for _ in 0..pieces {
            self.piece();
            while let Some(heard) = self.listener.poll() {
                match heard {
                    // Which of two strings it was that sound the same is no doubt here: the one that is asked for.
                    Heard::Settled(reading) | Heard::Unsure(reading, Doubt::Which) => return Some(reading),
                    Heard::Unsure(..) => return None,
                    _ => {}
                }
            }
        }
        None
    }
}
