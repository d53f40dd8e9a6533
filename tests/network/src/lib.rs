//! One session and many links in virtual time, on a seeded network that delays, loses, cuts and restarts.
//!
//! The programs' shells are replaced by the plainest thing that keeps their contracts: disks that lose what they have
//! not confirmed, streams that keep their order and break as a whole, datagrams that get lost.
//! After every step the promises are checked from outside, against what a bystander would have written down.

mod agenda;
mod bundle;
mod chance;
mod disk;
mod ends;
mod hall;
mod logbooks;
mod people;
mod programs;
mod promises;
mod wires;

use std::time::Duration;

use hall::Hall;
use logbooks::Kept;
pub use logbooks::Logbooks;

/// What makes one schedule differ from another.
#[derive(Clone, Copy, Debug)]
pub struct Plan {
    /// Decides everything.
    pub seed: u64,
    /// How many stations, at least one.
    pub stations: usize,
    /// How long until the faults end.
    pub faults_for: Duration,
    /// What one of the shells does wrong, to see that a promise breaks by it; `None` but for that.
    pub flaw: Option<Flaw>,
}

/// How a shell can break the contract on which the cores rely.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Flaw {
    /// The coordinator's disk says of one report message in fifty that it has it, and has not.
    LosesReports,
    /// The coordinator is opened with the agreement that was written before the last one.
    OpensAnOldFile,
    /// The coordinator takes whoever calls for one of the stations.
    TrustsAnybody,
    /// The board is not drawn anew when nothing but time has passed.
    DrawsTooSeldom,
    /// A station drops reports from its disk when it says them, and not when the coordinator has them.
    ForgetsTooSoon,
    /// A station that hears nothing does not call.
    NeverCallsAgain,
}

/// A promise that was broken, with what was seen.
#[derive(Clone, Debug, thiserror::Error)]
#[error("seed {seed} at {at:?}: {what}")]
pub struct Broken {
    /// The schedule.
    pub seed: u64,
    /// When.
    pub at: Duration,
    /// What was seen.
    pub what: String,
}

/// What a schedule did, to see that its faults and its work were real.
#[derive(Clone, Copy, Debug, Default)]
pub struct Tally {
    /// Reports acknowledged to stations.
    pub acked: u64,
    /// Times the coordinator was killed.
    pub coordinator_kills: u64,
    /// Times a station was killed.
    pub station_kills: u64,
    /// Links that broke.
    pub breaks: u64,
    /// Times a station was cut off, in one direction or both.
    pub cuts: u64,
    /// Times a station's laptop woke from a sleep.
    pub sleeps: u64,
    /// Records that the coordinator's disk did not take.
    pub refused_records: u64,
    /// Changes of the agreement that came into force.
    pub changes: u64,
    /// Times the board was drawn with at least one harp ready.
    pub drawn_ready: u64,
    /// Words said by strangers to the coordinator.
    pub strange_words: u64,
    /// The time from the end of the faults until every station was joined and held the newest revision.
    pub healed_after: Duration,
}

impl std::ops::AddAssign for Tally {
    /// Adds up what was done; of the healing the longest stays.
    fn add_assign(&mut self, other: Self) {
        let Self {
            acked,
            coordinator_kills,
            station_kills,
            breaks,
            cuts,
            sleeps,
            refused_records,
            changes,
            drawn_ready,
            strange_words,
            healed_after,
        } = other;
        self.acked += acked;
        self.coordinator_kills += coordinator_kills;
        self.station_kills += station_kills;
        self.breaks += breaks;
        self.cuts += cuts;
        self.sleeps += sleeps;
        self.refused_records += refused_records;
        self.changes += changes;
        self.drawn_ready += drawn_ready;
        self.strange_words += strange_words;
        self.healed_after = self.healed_after.max(healed_after);
    }
}

/// Fault-free time after which everything must be in order again.
pub const HEALING: Duration = Duration::from_secs(30);

/// Plays the schedule to its end.
pub fn play(plan: Plan) -> Result<Tally, Broken> {
    run(Hall::new(plan, None))
}

/// The same, with the logbooks that the programs would have kept, also of a schedule that breaks a promise.
pub fn play_logged(plan: Plan) -> (Result<Tally, Broken>, Logbooks) {
    let kept = Kept::for_stations(plan.stations);
    let played = run(Hall::new(plan, Some(kept.clone())));
    (played, kept.take())
}

fn run(mut hall: Hall) -> Result<Tally, Broken> {
    let plan = hall.plan;
    hall.run_until(plan.faults_for)?;
    hall.heal()?;
    hall.run_until(plan.faults_for + HEALING)?;
    hall.check_healed()?;
    Ok(hall.tally())
}
