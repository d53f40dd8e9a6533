//! Tunings of simulated harpists with what was foretold of each on the way, when it was truly done, and what truly remained
//! when a start was called for.

use std::time::Duration;

use consort_harp::chance::Chance;
use consort_harp::swift::{Heard, Swift};
use consort_harp::{Condition, Fault, Pace, Pickup, Room, Stage, VirtualHarp, Voices};
use consort_outlook::{Course, Forecast, Register, Remains, SOON};
use consort_proto::{
    Harp, Mark, Readiness, SampleRate, StringNumber, StringStory, Tolerance, Tuning, Uptime, harp_file,
};

/// A harpist with her harp, as she begins.
#[derive(Clone, Debug)]
pub(crate) struct Harpist {
    seed: u64,
    harp: Harp,
    condition: Condition,
    /// The string that she has marked as new.
    new: Option<StringNumber>,
    pace: Pace,
    slower: f64,
}

/// One tuning from its first string to its end.
#[derive(Clone, Debug)]
pub(crate) struct Tuned {
    /// When the harp was ready and stayed so, seconds from the beginning.
    pub(crate) done_s: f64,
    /// What was foretold after each reading, and when, seconds from the beginning; while the harp was not ready.
    pub(crate) foretold: Vec<(f64, Forecast)>,
}

/// What would remain, register by register from the bass up.
pub(crate) type Left = [Remains; Register::ALL.len()];

/// What was foretold of the moment when the music begins, as that was called for, beside what remained when it came.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Called {
    pub(crate) at_the_call: Left,
    pub(crate) foretold: Left,
    pub(crate) remained: Left,
}

/// The harps of an ensemble.
const HARPS: [&str; 4] = ["pedal-47", "pedal-46", "pedal-47", "lever-34"];
/// How much slower or faster than her pace a harpist is, one standard deviation of its logarithm; how often one breaks off.
const SLOWER: f64 = 0.2;
const BREAKS: f64 = 0.02;
/// How far a harp has drifted, cents, one standard deviation, least and most; and how far one that comes from a cold car has,
/// as one of so many does.
const DRIFT_CENTS: (f64, f64) = (2.0, 8.0);
const COLD_CENTS: (f64, f64) = (10.0, 30.0);
const ONE_IS_COLD_OF: usize = 5;

impl Harpist {
    /// Harpist `seed`.
    pub(crate) fn of(seed: u64) -> Option<Self> {
        let mut chance = Chance::new(seed ^ 0x666f_7265);
        let harp = harp_file::preset(HARPS[chance.below(HARPS.len())])?;
        let mut condition = Condition::before_a_rehearsal(&harp, seed);
        condition.drift_cents = chance.between(DRIFT_CENTS.0, DRIFT_CENTS.1);
        let any = |chance: &mut Chance| StringNumber::new(chance.below(harp.len()) as u32 + 1).ok();
        let mut new = None;
        if chance.is(0.25) {
            condition.faults.push((any(&mut chance)?, Fault::SlippingPin));
        }
        if chance.is(0.25) {
            new = any(&mut chance);
            condition.faults.push((new?, Fault::New));
        }
        let (pace, slower) = (Pace::between(chance.unit()), (SLOWER * chance.spread()).exp());
        if chance.below(ONE_IS_COLD_OF) == 0 {
            condition.drift_cents = chance.between(COLD_CENTS.0, COLD_CENTS.1);
        }
        Some(Self {
            seed,
            harp,
            condition,
            new,
            pace,
            slower,
        })
    }

    fn begins(&self) -> Swift {
        let stage = Stage {
            rate: SampleRate::STUDIO,
            voices: Voices::Computed,
            pickup: Pickup::GOOD,
            room: Room {
                warm_up_db: None,
                talk_db: None,
                harp_db: None,
            },
        };
        let harp = VirtualHarp::new(&self.harp, &self.condition, stage);
        Swift::new(harp, self.pace, self.slower, BREAKS, self.seed)
    }

    /// Her tuning; `None` if she does not come to an end.
    pub(crate) fn tunes(&self) -> Option<Tuned> {
        let mut seen = Seen::of(self);
        let mut foretold: Vec<(f64, Forecast)> = Vec::new();
        let mut done_s = None;
        for one in self.begins().tune() {
            let readiness = seen.hear(&one);
            if readiness.is_ready() {
                done_s.get_or_insert(one.time_s);
            } else {
                done_s = None;
                let told = seen.course.forecast(at(one.time_s), &self.harp, &readiness);
                foretold.extend(told.map(|told| (one.time_s, told)));
            }
        }
        Some(Tuned {
            done_s: done_s?,
            foretold,
        })
    }

    /// What comes of it if a start in [`SOON`] is called for `called_s` seconds after she began; `None` if nothing was foretold
    /// then, or nothing was left.
    pub(crate) fn is_called(&self, called_s: f64) -> Option<Called> {
        let end_s = called_s + SOON.as_secs_f64();
        let mut seen = Seen::of(self);
        let mut heard = self.begins().called_for(called_s..end_s).tune().into_iter().peekable();
        while let Some(one) = heard.next_if(|one| one.time_s <= called_s) {
            seen.hear(&one);
        }
        let readiness = seen.readiness();
        if readiness.is_ready() {
            return None;
        }
        let foretold = seen.course.outlook(at(called_s), &self.harp, &readiness).soon?;
        for one in heard.take_while(|one| one.time_s <= end_s) {
            seen.hear(&one);
        }
        Some(Called {
            at_the_call: Remains::of(&self.harp, &readiness),
            foretold,
            remained: Remains::of(&self.harp, &seen.readiness()),
        })
    }
}

/// What a coordinator has seen of a tuning.
struct Seen<'a> {
    harp: &'a Harp,
    stories: Vec<StringStory>,
    course: Course,
}

impl<'a> Seen<'a> {
    fn of(harpist: &'a Harpist) -> Self {
        let mut stories = vec![StringStory::default(); harpist.harp.len()];
        if let Some(new) = harpist.new {
            stories[new.index()].set_mark(Some(Mark::New));
        }
        Self {
            harp: &harpist.harp,
            stories,
            course: Course::default(),
        }
    }

    fn hear(&mut self, one: &Heard) -> Readiness {
        self.stories[one.reading.string.index()].hear(one.reading);
        let readiness = self.readiness();
        self.course.see(at(one.time_s), self.harp, &readiness);
        readiness
    }

    fn readiness(&self) -> Readiness {
        Readiness::judge(self.harp, &self.stories, &Tuning::default(), &Tolerance::default())
    }
}

fn at(seconds: f64) -> Uptime {
    Uptime(Duration::from_secs_f64(seconds))
}
