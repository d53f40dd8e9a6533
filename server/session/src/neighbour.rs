//! Whether a station hears its own harp or the one beside it: two reports of one pluck, and the weaker is not its own.

use std::collections::VecDeque;
use std::time::Duration;

use consort_proto::{Cents, Fingerprint, Hz, Uptime};

/// A pluck as one station has reported it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pluck {
    /// Whose report it is.
    pub station: Fingerprint,
    /// When the string was plucked, by the coordinator's clock: the report's arrival less its age.
    pub onset: Uptime,
    /// What was measured.
    pub hz: Hz,
    /// How uncertain that is.
    pub sigma: Cents,
    /// How loud it was at its loudest, full scale 0.
    pub level_dbfs: f64,
}

/// Two reports of one pluck differ by what they take on the way, and by no more than this once they were on time.
const AT_ONCE: Duration = Duration::from_millis(120);
/// One pluck has one pitch: two measurements of it lie within so many times their common uncertainty, and half a cent.
const SIGMAS: f64 = 3.0;
const ALIKE: f64 = 0.5;
/// A pickup hears its own harp this much louder than another hears it (assumed: a clip-on microphone a metre from the next
/// harp hears it 15 to 20 dB below its own).
const LOUDER_DB: f64 = 10.0;

/// Which of two stations has heard the other's harp; none when these are two plucks, or it cannot be told.
pub fn overheard(one: &Pluck, other: &Pluck) -> Option<Fingerprint> {
    let apart = one.onset.since(other.onset).max(other.onset.since(one.onset));
    let alike = ALIKE + SIGMAS * one.sigma.0.hypot(other.sigma.0);
    if one.station == other.station || apart > AT_ONCE || !one.hz.cents_above(other.hz).is_within(Cents(alike)) {
        return None;
    }
    let louder = one.level_dbfs - other.level_dbfs;
    if louder >= LOUDER_DB {
        Some(other.station)
    } else if louder <= -LOUDER_DB {
        Some(one.station)
    } else {
        None
    }
}

/// The last plucks of everyone, and whom each station has overheard of late.
#[derive(Debug, Default)]
pub(crate) struct Neighbours {
    plucks: VecDeque<(Pluck, Option<Fingerprint>)>,
}

/// Two harps do now and then sound one string at one moment: a station is suspected once so many of its last plucks were
/// one and the same neighbour's.
const SUSPECTED_AT: usize = 3;
const OF_LAST: usize = 8;
/// Plucks kept: so many of each station in the largest ensemble.
const KEPT: usize = 64 * OF_LAST;

impl Neighbours {
    /// Takes in a pluck; whether it is another harp's that the station is known to hear.
    pub(crate) fn hear(&mut self, pluck: Pluck) -> bool {
        let mut heard_of = None;
        for (before, theirs) in &mut self.plucks {
            match overheard(&pluck, before) {
                Some(weaker) if weaker == pluck.station => heard_of = Some(before.station),
                Some(_) => *theirs = Some(pluck.station),
                None => {}
            }
        }
        if self.plucks.len() == KEPT {
            self.plucks.pop_front();
        }
        self.plucks.push_back((pluck, heard_of));
        heard_of.is_some() && heard_of == self.suspect(pluck.station)
    }

    /// Whose harp the station seems to hear in place of its own.
    pub(crate) fn suspect(&self, station: Fingerprint) -> Option<Fingerprint> {
        let own = self.plucks.iter().rev().filter(|(pluck, _)| pluck.station == station);
        let whose: Vec<Fingerprint> = own.take(OF_LAST).filter_map(|(_, whose)| *whose).collect();
        let count = |neighbour| whose.iter().filter(|&&other| other == neighbour).count();
        whose
            .iter()
            .copied()
            .find(|&neighbour| count(neighbour) >= SUSPECTED_AT)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ILSE: Fingerprint = Fingerprint([1; 32]);
    const OTTO: Fingerprint = Fingerprint([2; 32]);

    fn pluck(station: Fingerprint, onset_ms: u64, cents: f64, level_dbfs: f64) -> Pluck {
        let hz = Hz::new(220.0).expect("a frequency").raised_by(Cents(cents));
        Pluck {
            station,
            onset: Uptime::from_millis(onset_ms),
            hz,
            sigma: Cents(0.1),
            level_dbfs,
        }
    }

    #[test]
    #[rustfmt::skip]
    fn of_two_reports_of_one_pluck_the_weaker_is_the_neighbours() {
        for (what, otto, whose) in [
            // Ilse plucks at 1,000 ms, 0 cents, -20 dBFS; what Otto reports:
            ("the same pluck, far weaker",      (1_030,  0.3, -38.0), Some(OTTO)),
            ("the same pluck, far louder",      (  990,  0.3,  -8.0), Some(ILSE)),
            ("as loud: two plucks at a time",   (1_030,  0.3, -22.0), None),
            ("another pitch: another string",   (1_030,  4.0, -38.0), None),
            ("another moment",                  (1_200,  0.3, -38.0), None),
        ] {
            let (ms, cents, level) = otto;
            let (ilse, otto) = (pluck(ILSE, 1_000, 0.0, -20.0), pluck(OTTO, ms, cents, level));
            assert_eq!(overheard(&ilse, &otto), whose, "{what}");
            assert_eq!(overheard(&otto, &ilse), whose, "{what}, told the other way round");
        }
        let twice = pluck(ILSE, 1_001, 0.0, -40.0);
        assert_eq!(overheard(&pluck(ILSE, 1_000, 0.0, -20.0), &twice), None, "one's own");
    }

    #[test]
    fn three_plucks_of_one_neighbour_are_a_suspicion_that_own_plucks_take_away() {
        let mut neighbours = Neighbours::default();
        for round in 0..3_u64 {
            assert_eq!(neighbours.suspect(OTTO), None, "after {round}");
            let at = 1_000 * round;
            // Whichever report comes first.
            let both = [pluck(ILSE, at, 0.0, -20.0), pluck(OTTO, at + 20, 0.2, -38.0)];
            let both: Vec<Pluck> = if round == 1 {
                both.into_iter().rev().collect()
            } else {
                both.into()
            };
            let not_own = both.into_iter().map(|pluck| neighbours.hear(pluck));
            assert_eq!(not_own.collect::<Vec<_>>(), [false, round == 2]);
        }
        assert_eq!(neighbours.suspect(OTTO), Some(ILSE));
        assert_eq!(neighbours.suspect(ILSE), None);
        // A pluck of its own counts all the same, and enough of them lift the suspicion.
        for own in 0..6_u64 {
            assert!(!neighbours.hear(pluck(OTTO, 10_000 + 1_000 * own, 0.0, -20.0)), "{own}");
        }
        assert_eq!(neighbours.suspect(OTTO), None);
    }

    #[test]
    fn a_chance_meeting_is_no_suspicion() {
        let mut neighbours = Neighbours::default();
        for minute in 0..20_u64 {
            let at = 60_000 * minute;
            neighbours.hear(pluck(ILSE, at, 0.0, -20.0));
            // Every fourth time at the same moment.
            let apart = if minute % 4 == 0 { 20 } else { 700 };
            assert!(!neighbours.hear(pluck(OTTO, at + apart, 0.2, -38.0)), "{minute}");
        }
        assert_eq!(neighbours.suspect(OTTO), None);
    }
}
