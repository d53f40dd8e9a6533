//! Whole tunings of virtual harps by what real stations advise: how long they take, and how often a word was untrue.

use std::path::Path;
use std::process::Command;
use std::time::Duration;

use consort_harp::deed::{Deed, Done};
use consort_harp::trial::Trial;
use consort_harp::{AdviceLine, Condition, Harpist, Library, Pace, Pickup, Room, Stage, VirtualHarp, Voices, Word};
use consort_proto::{Harp, SampleRate, Tolerance, harp_file};
use consort_tests::process::{Folder, path_of};

use crate::coordinator::QUIET;
use crate::figures::{Figures, take};
use crate::report;
use crate::statistics::quantile;

/// What `cargo measure` says about this measure.
pub(crate) const ABOUT: &str = "whole tunings of virtual harps by what real stations advise: their time, and words that were untrue \
     [--voices computed|recorded] [--harps N] [--seed S] [--each] [--json FILE]";

/// Harps that are tuned where no other number is asked for, and the first seed.
const HARPS: u64 = 6;
const SEED: u64 = 1;
/// The harp of each kind of voice: recordings reach as far as the smaller one.
const COMPUTED: &str = "pedal-47";
const RECORDED: &str = "pedal-40";
/// Where the recordings are.
const RECORDINGS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../recordings");
const RATE: SampleRate = SampleRate::STUDIO;
/// How loud others warm up and talk at the pickup beside a pluck, decibels: assumed, for a clip on the wood.
const ROOM: Room = Room {
    warm_up_db: Some(-30.0),
    talk_db: Some(-35.0),
    harp_db: None,
};
/// How long a station may take to give its first advice.
const STARTS_WITHIN: Duration = Duration::from_secs(20);
/// Who plays for longer than this, seconds, will not come to an end.
const PLAYS_AT_MOST_S: f64 = 3_600.0;
/// A word to turn that tells of this much or more, cents, while the string is this near and has been so for as long,
/// seconds, is untrue: the live track of a string that stands still is known within 3 cents.
const TOLD_CENTS: f64 = 5.0;
const NEAR_CENTS: f64 = 2.0;
const STANDS_S: f64 = 0.5;
/// Goals: minutes of played time, and untrue words in a tuning.
const GOAL_MIN: f64 = 10.0;
const GOAL_UNTRUE: f64 = 1.0;

/// What came of the tunings.
#[derive(Default)]
struct Tunings {
    /// How far strings were off at first, cents.
    found: Vec<f64>,
    minutes: Vec<f64>,
    words: usize,
    untrue: usize,
    /// Strings at the end that are further off than they may be.
    left: usize,
    finished: usize,
    plucks: usize,
    /// Plucks after which nothing was read that she could go by.
    in_vain: usize,
    /// Whether every untrue word is told.
    each: bool,
}

/// Runs the measure.
pub(crate) fn run(words: &[String]) -> Result<(), String> {
    let mut words = words.to_vec();
    let whole = |text: Option<String>, usual: u64| {
        text.map_or(Ok(usual), |text| {
            text.parse().map_err(|_| format!("{text} is not a whole number"))
        })
    };
    let harps = whole(take("--harps", &mut words)?, HARPS)?.max(1);
    let seed = whole(take("--seed", &mut words)?, SEED)?;
    let each = words.iter().position(|word| word == "--each");
    let mut tunings = Tunings {
        each: each.map(|at| words.remove(at)).is_some(),
        ..Tunings::default()
    };
    let library = match take("--voices", &mut words)?.as_deref() {
        None | Some("computed") => None,
        Some("recorded") => Some(Library::read(Path::new(RECORDINGS)).map_err(|why| why.to_string())?),
        Some(other) => return Err(format!("{other} are no voices: computed or recorded")),
    };
    let mut figures = Figures::new("tuning", &words)?;
    let (name, voices) = match &library {
        None => (COMPUTED, Voices::Computed),
        Some(library) => (RECORDED, Voices::Recorded(library)),
    };
    let harp = harp_file::preset(name).ok_or_else(|| format!("there is no harp {name}"))?;
    for seed in seed..seed + harps {
        tunings.tune(name, &harp, voices, seed)?;
    }
    let kind = if library.is_some() { "recorded" } else { "computed" };
    report(&format!(
        "{harps} harps of {} {kind} strings, tuned by a professional while others warm up and talk",
        harp.len()
    ));
    let mean = tunings.found.iter().sum::<f64>() / tunings.found.len() as f64;
    figures.tell("how far strings were off at first, mean", mean, "cents");
    figures.at_most(
        GOAL_MIN,
        "played until all hold, median",
        quantile(&mut tunings.minutes, 0.5),
        "min",
    );
    figures.tell("the longest", quantile(&mut tunings.minutes, 1.0), "min");
    figures.at_most(
        0.0,
        "harps that were not finished",
        (harps as usize - tunings.finished) as f64,
        "harps",
    );
    figures.tell(
        "strings beyond their tolerance in truth",
        tunings.left as f64,
        "strings",
    );
    let in_a_tuning = |some: usize| some as f64 / harps as f64;
    figures.tell("plucks", in_a_tuning(tunings.plucks), "a tuning");
    figures.tell("plucks in vain", in_a_tuning(tunings.in_vain), "a tuning");
    figures.tell("words to turn", in_a_tuning(tunings.words), "a tuning");
    figures.at_most(
        GOAL_UNTRUE,
        "words to turn a string that was right",
        in_a_tuning(tunings.untrue),
        "a tuning",
    );
    figures.close()
}

impl Tunings {
    /// Tunes one harp from the first pluck to the last.
    fn tune(&mut self, name: &str, harp: &Harp, voices: Voices<'_>, seed: u64) -> Result<(), String> {
        let stage = Stage {
            rate: RATE,
            voices,
            pickup: Pickup::GOOD,
            room: ROOM,
        };
        let condition = Condition::before_a_rehearsal(harp, seed);
        let mut harpist = Harpist::new(
            VirtualHarp::new(harp, &condition, stage),
            Pace::PROFESSIONAL,
            false,
            seed,
        );
        let tolerance = Tolerance::default();
        let standing = |harpist: &Harpist| -> Vec<f64> {
            let strings = harpist.standing(&tolerance);
            strings.iter().map(|string| string.cents).collect()
        };
        self.found.extend(standing(&harpist).iter().map(|cents| cents.abs()));
        let folder = Folder::new("measure-tuning");
        let mut command = Command::new(path_of("consort-station"));
        command
            .args(["--data", &folder.inside("station"), "--harp", name])
            .args(["--input", "stdin", "--rate", &RATE.get().to_string()])
            .args(["--advice", "json"])
            .args(QUIET);
        let mut trial = Trial::start(&mut command, RATE.get(), false).map_err(|why| why.to_string())?;
        if !trial.is_ready(STARTS_WITHIN, |_| {}) {
            return Err("the station gives no advice".to_owned());
        }
        // Where each string was and since when, as far as it has not moved from there.
        let mut stands: Vec<(f64, f64)> = standing(&harpist).into_iter().map(|cents| (cents, 0.0)).collect();
        let mut said = None;
        while !harpist.is_finished() && harpist.now_s() < PLAYS_AT_MOST_S {
            let mut lines = Vec::new();
            trial
                .step(&mut harpist, |_, line| lines.extend(AdviceLine::parse(line)))
                .map_err(|why| format!("the station takes no more sound: {why}"))?;
            let now_s = harpist.now_s();
            for (before, now) in stands.iter_mut().zip(standing(&harpist)) {
                if (before.0 - now).abs() > 0.5 * NEAR_CENTS {
                    *before = (now, now_s);
                }
            }
            for line in &lines {
                self.judge(line, &stands, now_s, seed);
            }
            said = lines.pop().or(said);
            for done in harpist.take_log() {
                self.count(&done, said.as_ref(), seed);
            }
        }
        trial.end(|_| {}).map_err(|why| why.to_string())?;
        self.finished += usize::from(harpist.is_finished());
        self.minutes.push(harpist.now_s() / 60.0);
        let left = harpist.standing(&tolerance);
        for string in left.iter().filter(|string| !string.is_in_tune()) {
            self.left += 1;
            if self.each {
                report(&format!(
                    "  harp {seed}, at the end, string {}: {:+.1} true, {:.1} allowed, {}",
                    string.string,
                    string.cents,
                    string.tolerance_cents,
                    if string.can_hold { "holds" } else { "cannot hold" },
                ));
            }
        }
        Ok(())
    }

    /// Counts a pluck, and one in vain; `said` stands on the screen.
    fn count(&mut self, done: &Done, said: Option<&AdviceLine>, seed: u64) {
        match &done.deed {
            Deed::Plucked { .. } => self.plucks += 1,
            Deed::ReadNothing { advice, .. } | Deed::ReadOfAnother { advice, .. } => {
                self.in_vain += 1;
                if self.each {
                    let why = said.map_or("", |line| line.why.as_str());
                    report(&format!(
                        "  harp {seed}, {:.2} s, in vain, she read {advice}; {why}",
                        done.time_s
                    ));
                }
            }
            _ => {}
        }
    }

    /// Counts a word to turn, and whether it was untrue; `stands` says where each string is and since when.
    fn judge(&mut self, line: &AdviceLine, stands: &[(f64, f64)], now_s: f64, seed: u64) {
        let (Word::Tighten | Word::Loosen, Some(string), Some(told)) = (line.word, line.string, line.cents) else {
            return;
        };
        self.words += 1;
        let Some(&(truth, since_s)) = stands.get(usize::from(string).wrapping_sub(1)) else {
            return;
        };
        if told.abs() >= TOLD_CENTS && truth.abs() <= NEAR_CENTS && now_s - since_s >= STANDS_S {
            self.untrue += 1;
            if self.each {
                report(&format!(
                    "  harp {seed}, {now_s:.2} s, string {string}: {told:+.1} told, {truth:+.1} true since {since_s:.2} s"
                ));
            }
        }
    }
}
