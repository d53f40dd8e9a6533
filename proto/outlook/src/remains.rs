//! What would remain if the music began now: strings that a listener would notice, by register.

use consort_proto::{Cents, Harp, Readiness, Standing};

use crate::register::Register;

/// What would remain out of tune in one register.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Remains {
    /// Which.
    pub register: Register,
    /// Strings that were last heard further off than [`HEARD_OFF`].
    pub off: usize,
    /// Strings that nobody has heard in this round: what they are is not known.
    pub not_heard: usize,
}

/// A string further off than this is noticed among others in tune: the just noticeable difference of tones in sequence is
/// 3 to 6 cents for trained listeners (common practice, no source).
pub const HEARD_OFF: Cents = Cents(5.0);

impl Remains {
    /// What would remain on one `harp` that stands as in `readiness`, register by register from the bass up.
    ///
    /// A missing string sounds nowhere, so it remains nowhere.
    pub fn of(harp: &Harp, readiness: &Readiness) -> [Self; Register::ALL.len()] {
        let mut all = Self::NOTHING;
        for (string, standing) in harp.strings().iter().zip(readiness.standings()) {
            let remains = &mut all[Register::of(string) as usize];
            match (standing, standing.cents()) {
                (Standing::NotHeard, _) | (Standing::New(None), _) => remains.not_heard += 1,
                (_, Some(cents)) if !cents.is_within(HEARD_OFF) => remains.off += 1,
                _ => {}
            }
        }
        all
    }

    const NOTHING: [Self; Register::ALL.len()] = {
        let mut all = [Self {
            register: Register::Wires,
            off: 0,
            not_heard: 0,
        }; Register::ALL.len()];
        let mut place = 0;
        while place < all.len() {
            all[place].register = Register::ALL[place];
            place += 1;
        }
        all
    };
}

/// What would remain on all of `harps` together, for each register in which anything does, from the bass up.
pub fn remains(harps: impl IntoIterator<Item = [Remains; Register::ALL.len()]>) -> Vec<Remains> {
    let mut all = Remains::NOTHING;
    for harp in harps {
        for (sum, one) in all.iter_mut().zip(harp) {
            sum.off += one.off;
            sum.not_heard += one.not_heard;
        }
    }
    all.into_iter()
        .filter(|remains| remains.off + remains.not_heard > 0)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_proto::harp_file::preset;

    #[test]
    fn what_is_off_and_what_nobody_has_heard_is_counted_apart() {
        let harp = preset("lever-22").expect("a preset");
        let mut standings = vec![Standing::Holds(Cents(0.4)); harp.len()];
        standings[0] = Standing::Off(Cents(-5.1));
        standings[1] = Standing::Off(Cents(4.9));
        standings[2] = Standing::NotHeard;
        standings[3] = Standing::Missing;
        standings[4] = Standing::WillNotHold(Cents(-9.0));
        let readiness = Readiness::judged(standings);
        let remains = remains([Remains::of(&harp, &readiness); 2]);
        let (off, not_heard) = remains
            .iter()
            .fold((0, 0), |(off, not), one| (off + one.off, not + one.not_heard));
        assert_eq!((off, not_heard), (4, 2));
    }
}
