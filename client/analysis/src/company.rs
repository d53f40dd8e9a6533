//! Who plucks many strings within a few seconds plays: what else was plucked around a note.

/// Plucks that are remembered: those of some seconds of music.
const REMEMBERED: usize = 24;
/// So long before a pluck, and after it, others are its company, seconds: music goes on for as long, and by the second a note
/// has been measured.
const BEFORE_S: f64 = 3.0;
const AFTER_S: f64 = 1.7;

/// The newest plucks that were found for certain.
pub(crate) struct Company {
    /// Each as its onset, working samples, and its string; the oldest is overwritten next.
    plucked: [(u64, u8); REMEMBERED],
    count: usize,
    rate: f64,
}

impl Company {
    pub(crate) const fn new(rate: f64) -> Self {
        Self {
            plucked: [(0, 0); REMEMBERED],
            count: 0,
            rate,
        }
    }

    /// `string` was plucked for certain at this working sample.
    pub(crate) const fn add(&mut self, onset: u64, string: u8) {
        self.plucked[self.count % REMEMBERED] = (onset, string);
        self.count += 1;
    }

    /// How many other strings were plucked for certain around the pluck of `string` at this working sample, as far as is known.
    pub(crate) fn of(&self, onset: u64, string: u8) -> usize {
        let (before, after) = ((BEFORE_S * self.rate) as u64, (AFTER_S * self.rate) as u64);
        let known = &self.plucked[..self.count.min(REMEMBERED)];
        let around = known
            .iter()
            .filter(|&&(at, other)| other != string && at + before > onset && at < onset + after);
        // Each string is a bit: one that is plucked again and again is tuned.
        around
            .fold(0_u64, |strings, &(_, other)| strings | 1 << (other % 64))
            .count_ones() as usize
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn other_strings_within_some_seconds_are_company_and_the_same_one_is_none() {
        let mut company = Company::new(1000.0);
        assert_eq!(company.of(500, 20), 0);
        for (onset, string) in [(1_000, 20), (2_000, 24), (3_000, 20), (4_500, 27)] {
            company.add(onset, string);
        }
        assert_eq!(company.of(3_000, 20), 2);
        assert_eq!(company.of(4_500, 27), 2, "the first is more than three seconds ago");
        assert_eq!(company.of(2_700, 24), 1, "and the last more than 1.7 s to come");
        for onset in 0..40 {
            company.add(10_000 + 10 * onset, 30);
        }
        assert_eq!(company.of(10_200, 20), 1, "one string again and again is one string");
        for (onset, string) in (0..40).zip(1..) {
            company.add(20_000 + 10 * onset, string);
        }
        assert_eq!(company.of(20_200, 50), REMEMBERED, "as many as are remembered");
    }
}
