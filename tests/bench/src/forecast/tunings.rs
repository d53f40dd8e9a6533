//! Tunings of simulated harpists with what was foretold of each on the way, and when it was truly done.

use std::time::Duration;

use consort_harp::chance::Chance;
use consort_harp::swift::Swift;
use consort_harp::{Condition, Fault, Pace, Pickup, Room, Stage, VirtualHarp, Voices};
use consort_outlook::{Course, Forecast};
use consort_proto::{Mark, Readiness, SampleRate, StringNumber, StringStory, Tolerance, Tuning, Uptime, harp_file};

/// One tuning from its first string to its end.
#[derive(Clone, Debug)]
pub(crate) struct Tuned {
    /// When the harp was ready and stayed so, seconds from the beginning.
    pub(crate) done_s: f64,
    /// What was foretold after each reading, and when, seconds from the beginning; while the harp was not ready.
    pub(crate) foretold: Vec<(f64, Forecast)>,
}

/// The harps of an ensemble.
const HARPS: [&str; 4] = ["pedal-47", "pedal-46", "pedal-47", "lever-34"];
/// How much slower or faster than her pace a harpist is, one standard deviation of its logarithm; how often one breaks off.
const SLOWER: f64 = 0.2;
const BREAKS: f64 = 0.02;

/// The tuning of harpist `seed`; `None` for one who does not come to an end.
pub(crate) fn tune(seed: u64) -> Option<Tuned> {
    let mut chance = Chance::new(seed ^ 0x666f_7265);
    let harp = harp_file::preset(HARPS[chance.below(HARPS.len())])?;
    let mut condition = Condition::before_a_rehearsal(&harp, seed);
    condition.drift_cents = chance.between(2.0, 8.0);
    let any = |chance: &mut Chance| StringNumber::new(chance.below(harp.len()) as u32 + 1).ok();
    let mut new = None;
    if chance.is(0.25) {
        condition.faults.push((any(&mut chance)?, Fault::SlippingPin));
    }
    if chance.is(0.25) {
        new = any(&mut chance);
        condition.faults.push((new?, Fault::New));
    }
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
    let harpist = Swift::new(
        VirtualHarp::new(&harp, &condition, stage),
        Pace::between(chance.unit()),
        (SLOWER * chance.spread()).exp(),
        BREAKS,
        seed,
    );
    let heard = harpist.tune();
    let (tuning, tolerance) = (Tuning::default(), Tolerance::default());
    let mut stories = vec![StringStory::default(); harp.len()];
    if let Some(new) = new {
        stories[new.index()].set_mark(Some(Mark::New));
    }
    let mut course = Course::default();
    let mut foretold: Vec<(f64, Forecast)> = Vec::new();
    let mut done_s = None;
    for one in heard {
        let now = Uptime(Duration::from_secs_f64(one.time_s));
        stories[one.reading.string.index()].hear(one.reading);
        let readiness = Readiness::judge(&harp, &stories, &tuning, &tolerance);
        course.see(now, &harp, &readiness);
        if readiness.is_ready() {
            done_s.get_or_insert(one.time_s);
        } else {
            done_s = None;
            foretold.extend(course.forecast(now, &harp, &readiness).map(|told| (one.time_s, told)));
        }
    }
    Some(Tuned {
        done_s: done_s?,
        foretold,
    })
}
