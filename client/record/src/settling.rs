//! Strings that were put on lately: when each is to be looked at again, and by when it should hold.

use consort_proto::{Material, StringNumber};

use crate::date::Date;
use crate::entry::Fitting;
use crate::visit::Life;

/// A string that is still coming to hold.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Settling {
    /// The string.
    pub string: StringNumber,
    /// The day on which it was put on.
    pub on: Date,
    /// The next day on which it is to be tuned.
    pub again: Date,
    /// The day by which it should hold.
    pub holds: Date,
}

/// Days in which a new string comes to hold: up to a week by size, nylon up to two (common practice, no source).
const HOLDS_DAYS: i32 = 7;
const NYLON_HOLDS_DAYS: i32 = 14;

impl Settling {
    /// What `fitting` asks for, seen from `today`; nothing once it should hold, and nothing before its day.
    pub fn of(fitting: &Fitting, today: Date) -> Option<Self> {
        let holds = fitting.on.plus(match fitting.material {
            Material::Nylon => NYLON_HOLDS_DAYS,
            Material::Gut | Material::Fluorocarbon | Material::Wire => HOLDS_DAYS,
        });
        // Several times on its first day, then daily (common practice, no source): the next day is tomorrow on the day
        // itself, and today on every later one.
        (fitting.on <= today && today <= holds).then(|| Self {
            string: fitting.string,
            on: fitting.on,
            again: today.max(fitting.on.plus(1)),
            holds,
        })
    }
}

/// The strings of `life` that are still coming to hold on the day `today`, from the top.
pub fn settling(life: &Life, today: Date) -> Vec<Settling> {
    let strings = life.sheet.harp.numbered();
    strings
        .filter_map(|(number, _)| Settling::of(life.fitted(number)?, today))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::{Deed, Event};
    use crate::sheet::Sheet;
    use consort_proto::harp_file;

    fn day(text: &str) -> Date {
        text.parse().expect("a day")
    }

    fn fitting(number: u32, on: &str, material: Material) -> Fitting {
        Fitting {
            string: StringNumber::new(number).expect("a string"),
            on: day(on),
            material,
            gauge_mm: None,
            length: None,
        }
    }

    #[test]
    fn a_new_string_is_tuned_daily_until_it_should_hold() {
        for (material, today, expected) in [
            (Material::Gut, "2026-11-24", None),
            (Material::Gut, "2026-11-25", Some(("2026-11-26", "2026-12-02"))),
            (Material::Gut, "2026-11-26", Some(("2026-11-26", "2026-12-02"))),
            (Material::Gut, "2026-12-02", Some(("2026-12-02", "2026-12-02"))),
            (Material::Gut, "2026-12-03", None),
            (Material::Nylon, "2026-12-03", Some(("2026-12-03", "2026-12-09"))),
        ] {
            let found = Settling::of(&fitting(20, "2026-11-25", material), day(today));
            let found = found.map(|one| (one.again.to_string(), one.holds.to_string()));
            let expected = expected.map(|(again, holds)| (again.to_owned(), holds.to_owned()));
            assert_eq!(found, expected, "{material:?} on {today}");
        }
    }

    #[test]
    fn only_the_newest_string_of_a_place_counts_and_none_from_before_a_whole_new_set() {
        let mut life = Life::new(Sheet::of(harp_file::preset("pedal-47").expect("a preset")));
        life.fittings = vec![
            fitting(20, "2026-11-20", Material::Gut),
            fitting(20, "2026-11-25", Material::Gut),
            fitting(5, "2026-11-22", Material::Nylon),
        ];
        let today = day("2026-11-27");
        let found: Vec<(u8, String)> = settling(&life, today)
            .iter()
            .map(|one| (one.string.get(), one.on.to_string()))
            .collect();
        assert_eq!(found, [(5, "2026-11-22".to_owned()), (20, "2026-11-25".to_owned())]);
        life.events.push(Event {
            on: day("2026-11-24"),
            deed: Deed::Restrung,
            note: String::new(),
        });
        assert_eq!(settling(&life, today).len(), 1);
    }
}
