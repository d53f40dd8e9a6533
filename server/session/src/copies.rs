//! Two laptops with one key, as a copied disk makes them: told apart from one that was started anew.

use std::time::Duration;

use consort_proto::Uptime;

/// When which program showed one key.
#[derive(Debug, Default)]
pub(crate) struct Copies {
    seen: Vec<(Uptime, u64)>,
    frozen: bool,
}

/// How long a program that showed the key is remembered. A program that is turned away asks again after ten seconds.
const REMEMBERED: Duration = Duration::from_secs(30);
/// So many changes from one program to another, with one of them coming back, are not one laptop that was started anew.
const CHANGES_MAX: usize = 3;
/// Programs remembered of one key; a key that shows more is frozen in any case.
const SEEN_MAX: usize = 16;

impl Copies {
    /// A program with the random number `process` shows the key; says whether the key may be let in.
    pub(crate) fn show(&mut self, now: Uptime, process: u64) -> bool {
        self.seen.retain(|(at, _)| *at + REMEMBERED > now);
        if self.seen.len() == SEEN_MAX {
            self.seen.remove(0);
        }
        self.seen.push((now, process));
        let shown = || self.seen.iter().map(|(_, process)| process);
        let changes = shown().zip(shown().skip(1)).filter(|(one, next)| one != next).count();
        let mut others: Vec<u64> = shown().copied().collect();
        others.sort_unstable();
        others.dedup();
        // Whoever was started anew never comes back as what it was.
        let comes_back = changes >= others.len();
        if others.len() == 1 {
            self.frozen = false;
        } else if changes >= CHANGES_MAX && comes_back {
            self.frozen = true;
        }
        !self.frozen
    }

    /// Whether two laptops show the key.
    pub(crate) const fn is_frozen(&self) -> bool {
        self.frozen
    }

    /// When nothing of it is worth keeping any more.
    pub(crate) fn stale_at(&self) -> Uptime {
        let last = self.seen.last().map(|(at, _)| *at);
        last.unwrap_or_default() + REMEMBERED
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    #[rustfmt::skip]
    fn a_copy_is_told_from_a_program_that_was_started_anew() {
        for (what, shown, let_in) in [
            ("one program that loses its link",  vec![(0, 1), (5, 1), (9, 1), (14, 1)],                    true),
            ("one laptop, started four times",   vec![(0, 1), (5, 2), (9, 3), (14, 4)],                    true),
            ("two laptops, three changes",       vec![(0, 1), (10, 2), (20, 1), (29, 2)],                  false),
            ("two laptops, long apart",          vec![(0, 1), (40, 2), (80, 1), (120, 2)],                 true),
            ("the other is gone for half a minute", vec![(0, 1), (5, 2), (10, 1), (15, 2), (46, 2)],       true),
            ("the other has just gone",          vec![(0, 1), (5, 2), (10, 1), (15, 2), (25, 2)],          false),
        ] {
            let mut copies = Copies::default();
            let mut last = true;
            for (at, process) in shown {
                last = copies.show(Uptime::from_secs(at), process);
            }
            assert_eq!(last, let_in, "{what}");
        }
    }
}
