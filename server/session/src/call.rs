//! One string, plucked by all: each pickup measures its own, and they are put side by side.

use std::time::Duration;

use consort_proto::{Cents, Harp, Note, Readiness, StringNumber};

/// One harp's string beside the others'.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beside {
    /// The number under which the seat is shown.
    pub seat: u32,
    /// The string's number on this harp.
    pub string: StringNumber,
    /// How far it lies above its target on this harp; `None` until it is plucked after the call.
    pub cents: Option<Cents>,
}

/// A string that everyone was asked for, with what came of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Called {
    /// The string, by letter and octave.
    pub note: Note,
    /// How long ago it was called.
    pub ago: Duration,
    /// The harps that have it, in the order of their seats.
    pub harps: Vec<Beside>,
    /// How far the highest lies above the lowest of those that were plucked; `None` with fewer than two.
    pub apart: Option<Cents>,
}

/// A harp as it is compared: its seat, its strings, what they are, and how long ago each was last plucked, from the top.
#[derive(Clone, Copy, Debug)]
pub struct Plucked<'a> {
    /// The number under which the seat is shown.
    pub seat: u32,
    /// The harp.
    pub harp: &'a Harp,
    /// What its strings are.
    pub readiness: &'a Readiness,
    /// How long ago each was last plucked; `None` where that is not known.
    pub ago: &'a [Option<Duration>],
}

/// Puts the string `note`, called so long `ago`, of all `harps` side by side.
///
/// Harps count their strings differently and some do not have it at all, so that it is found by its letter and octave,
/// whatever its open accidental. Offsets, not frequencies, are compared: a pedal harp's open string is another note.
pub fn side_by_side<'a>(note: Note, ago: Duration, harps: impl IntoIterator<Item = Plucked<'a>>) -> Called {
    let mut beside: Vec<Beside> = harps
        .into_iter()
        .filter_map(|plucked| {
            let mut strings = plucked.harp.numbered();
            let (string, _) = strings.find(|(_, string)| string.open.steps() == note.steps())?;
            let heard = plucked.ago.get(string.index()).copied().flatten();
            let cents = heard
                .filter(|&heard| heard <= ago)
                .and_then(|_| plucked.readiness.of(string)?.cents());
            Some(Beside {
                seat: plucked.seat,
                string,
                cents,
            })
        })
        .collect();
    beside.sort_by_key(|beside| beside.seat);
    let heard = || beside.iter().filter_map(|beside| beside.cents).map(|cents| cents.0);
    let (least, most) = (
        heard().fold(f64::INFINITY, f64::min),
        heard().fold(f64::NEG_INFINITY, f64::max),
    );
    let apart = (heard().count() >= 2).then_some(Cents(most - least));
    Called {
        note,
        ago,
        harps: beside,
        apart,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_proto::{Accidental, Letter, Standing, harp_file};

    #[test]
    fn a_called_string_is_found_on_each_harp_and_only_plucks_after_the_call_count() {
        let (pedal, lever) = (
            harp_file::preset("pedal-47").expect("a preset"),
            harp_file::preset("lever-22").expect("a preset"),
        );
        let note = Note::new(Letter::C, Accidental::Natural, 4);
        let number = |harp: &Harp| {
            let found = harp.numbered().find(|(_, string)| string.open.steps() == note.steps());
            found.expect("both have it").0
        };
        let readiness = |harp: &Harp, cents: f64| {
            let mut standings = vec![Standing::NotHeard; harp.len()];
            standings[number(harp).index()] = Standing::Off(Cents(cents));
            Readiness::judged(standings)
        };
        let heard = |harp: &Harp, ago_s: Option<u64>| {
            let mut ago = vec![None; harp.len()];
            ago[number(harp).index()] = ago_s.map(Duration::from_secs);
            ago
        };
        assert_ne!(number(&pedal), number(&lever), "harps count differently");
        // seat, harp, cents above its target, plucked so many seconds ago
        for (what, harps, shown, apart) in [
            (
                "both plucked it",
                [(2, -3.0, Some(2)), (1, 1.5, Some(8))],
                [(1, Some(1.5)), (2, Some(-3.0))],
                Some(4.5),
            ),
            (
                "one before the call",
                [(1, 1.5, Some(11)), (2, -3.0, Some(2))],
                [(1, None), (2, Some(-3.0))],
                None,
            ),
            (
                "one not at all",
                [(1, 1.5, None), (2, -3.0, Some(2))],
                [(1, None), (2, Some(-3.0))],
                None,
            ),
        ] {
            let kept: Vec<_> = harps
                .iter()
                .map(|&(seat, cents, ago)| {
                    let harp = if seat == 1 { &pedal } else { &lever };
                    (seat, harp, readiness(harp, cents), heard(harp, ago))
                })
                .collect();
            let plucked = kept.iter().map(|(seat, harp, readiness, ago)| Plucked {
                seat: *seat,
                harp,
                readiness,
                ago,
            });
            let called = side_by_side(note, Duration::from_secs(10), plucked);
            let seen: Vec<_> = called
                .harps
                .iter()
                .map(|beside| (beside.seat, beside.cents.map(|cents| cents.0)))
                .collect();
            assert_eq!(seen, shown, "{what}");
            assert_eq!(called.apart.map(|cents| cents.0), apart, "{what}");
        }
    }

    #[test]
    fn a_harp_without_the_string_is_not_asked() {
        let lever = harp_file::preset("lever-22").expect("a preset");
        let readiness = Readiness::judged(vec![Standing::NotHeard; lever.len()]);
        let ago = vec![None; lever.len()];
        let low = Note::new(Letter::C, Accidental::Natural, 1);
        let plucked = Plucked {
            seat: 1,
            harp: &lever,
            readiness: &readiness,
            ago: &ago,
        };
        assert_eq!(side_by_side(low, Duration::ZERO, [plucked]).harps, []);
    }
}
