//! The restring plan: which strings have had their time, and when to put on new ones around concerts and regulation.

mod worn_out;

use consort_proto::{HarpString, Material, StringNumber, Tolerance};

use crate::chronicle::Chronicle;
use crate::date::Date;
use crate::finding::{About, Cause, Finding};
use crate::sheet::{CONCERT_DAYS, Player, Sheet};
use crate::visit::Life;

pub use worn_out::worn_out;

/// One string to replace.
#[derive(Clone, Debug, PartialEq)]
pub struct Replacement {
    /// Which.
    pub string: StringNumber,
    /// When it was put on, if known.
    pub fitted: Option<Date>,
    /// Why.
    pub why: Why,
    /// When.
    pub when: When,
}

/// Why a string is to be replaced.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Why {
    /// It broke, on that day.
    Broke {
        /// The day.
        on: Date,
    },
    /// It is false.
    False,
    /// It has served its time.
    Old {
        /// Months that it has been on.
        months: u32,
        /// Months that are usual for its place and player.
        usual: u32,
    },
    /// Its upper partials have gone, decibels.
    Dull {
        /// By how much.
        db: f64,
    },
    /// Nobody knows how old it is.
    Unknown,
}

/// When to do it.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
pub enum When {
    /// At once.
    Now,
    /// On or before this day.
    By(Date),
    /// Only after the concert on this day.
    After(Date),
    /// Nobody can say: its age has to be asked for first.
    Unknown,
}

/// What the plan keeps to.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Rules {
    /// Nothing unbroken is replaced within so many days before a concert.
    pub concert_days: i32,
    /// Nylon goes on so many days before a regulation: it stretches longest.
    pub nylon_days: i32,
    /// A technician's appointment, if there is one.
    pub regulation: Option<Date>,
    /// Only what is due within so many days is planned.
    pub ahead_days: i32,
}

impl Default for Rules {
    fn default() -> Self {
        Self {
            concert_days: i32::from(CONCERT_DAYS),
            nylon_days: 14,
            regulation: None,
            ahead_days: 90,
        }
    }
}

impl Rules {
    /// The rules of the harp of `sheet`, whose technician comes on the day `regulation`, if one comes.
    pub fn of(sheet: &Sheet, regulation: Option<Date>) -> Self {
        Self {
            concert_days: i32::from(sheet.concert_days),
            regulation,
            ..Self::default()
        }
    }
}

/// Strings other than nylon settle for so many days before a regulation: up to a week by size.
const SETTLES_DAYS: i32 = 7;
/// What is due within so many days after a regulation is put on before it.
const BEFORE_REGULATION_DAYS: i32 = 180;
/// Days in a month, in the mean.
const MONTH_DAYS: f64 = 30.44;
/// The top two octaves serve this share of the others' time: "more often than the middle" (common practice), the share
/// is assumed.
const TOP_SHARE: f64 = 0.67;

/// Months that a string in this place serves: whole sets every year, three years or five; wires two, three or five.
pub fn usual_months(string: &HarpString, player: Player) -> u32 {
    let years = match (player, string.material) {
        (Player::Professional, Material::Wire) => 2.0,
        (Player::Professional, _) => 1.0,
        (Player::Student, _) => 3.0,
        (Player::Amateur, _) => 5.0,
    };
    let share = if Tolerance::default().is_top(string) {
        TOP_SHARE
    } else {
        1.0
    };
    (12.0_f64 * years * share).round() as u32
}

/// The plan on the day `today`, soonest first.
pub fn plan(chronicle: &Chronicle, life: &Life, findings: &[Finding], today: Date, rules: &Rules) -> Vec<Replacement> {
    let chronicle = chronicle.up_to(life, today);
    let dull_db = chronicle.dull();
    let mut plan: Vec<Replacement> = life
        .sheet
        .harp
        .numbered()
        .filter_map(|(number, string)| {
            let fitted = life.put_on(number);
            if let Some(on) = life.broke(number) {
                // No concert is a reason to leave a gap.
                return Some(Replacement {
                    string: number,
                    fitted,
                    why: Why::Broke { on },
                    when: When::Now,
                });
            }
            let is_false = findings.iter().any(|finding| {
                finding.about == About::String(number) && matches!(finding.cause, Cause::FalseString { .. })
            });
            let (why, due) = if is_false {
                (Why::False, today)
            } else if let Some(db) = dull_db(number) {
                (Why::Dull { db }, today.plus(rules.ahead_days))
            } else if let Some(fitted) = fitted {
                let usual = usual_months(string, life.sheet.player);
                let due = fitted.plus((f64::from(usual) * MONTH_DAYS) as i32);
                let months = (f64::from(today.days_since(fitted)) / MONTH_DAYS) as u32;
                (Why::Old { months, usual }, due)
            } else {
                // Its age is not known, which is no sign that it is old: no concert and no regulation makes it due.
                return Some(Replacement {
                    string: number,
                    fitted,
                    why: Why::Unknown,
                    when: When::Unknown,
                });
            };
            let due = before_regulation(due, string, rules);
            (due.days_since(today) <= rules.ahead_days).then(|| Replacement {
                string: number,
                fitted,
                why,
                when: around_concerts(due, today, life, rules),
            })
        })
        .collect();
    plan.sort_by_key(|entry| (entry.when, entry.string));
    plan
}

fn before_regulation(due: Date, string: &HarpString, rules: &Rules) -> Date {
    let Some(regulation) = rules
        .regulation
        .filter(|on| due.days_since(*on) <= BEFORE_REGULATION_DAYS)
    else {
        return due;
    };
    let settles = if string.material == Material::Nylon {
        rules.nylon_days
    } else {
        SETTLES_DAYS
    };
    due.min(regulation.plus(-settles))
}

/// A day that lies in no concert's shadow, no later than `due` where that is possible.
fn around_concerts(due: Date, today: Date, life: &Life, rules: &Rules) -> When {
    let mut by = due.max(today);
    let mut after = None;
    let mut concerts: Vec<Date> = life
        .concerts
        .iter()
        .map(|concert| concert.on)
        .filter(|&on| on >= today)
        .collect();
    concerts.sort_unstable();
    for &on in concerts.iter().rev() {
        let shadow = on.plus(-rules.concert_days);
        if by >= shadow && by <= on {
            by = shadow.plus(-1);
        }
    }
    if by < today {
        // There is no day before: the first one after a concert that has no other concert close behind it.
        for pair in concerts.windows(2).chain(concerts.last().map(std::slice::from_ref)) {
            let free = pair
                .get(1)
                .is_none_or(|next| next.days_since(pair[0]) > rules.concert_days + 1);
            if free {
                after = Some(pair[0]);
                break;
            }
        }
    }
    match after {
        Some(concert) => When::After(concert),
        None if by <= today => When::Now,
        None => When::By(by),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Concert, Event, Fitting, Sheet};
    use consort_proto::harp_file;

    fn day(text: &str) -> Date {
        text.parse().expect("a day")
    }

    /// Checks when string 20, a gut string put on at `fitted`, is to be replaced on 2026-11-25.
    #[track_caller]
    fn check(fitted: &str, concerts: &[&str], regulation: Option<&str>, when: Option<When>) {
        let mut life = Life::new(Sheet::of(harp_file::preset("pedal-47").expect("a preset")));
        let string = StringNumber::new(20).expect("a string");
        life.fittings = life
            .sheet
            .harp
            .numbered()
            .map(|(number, kind)| Fitting {
                string: number,
                on: if number == string {
                    day(fitted)
                } else {
                    day("2026-11-01")
                },
                material: kind.material,
                gauge_mm: None,
                length: None,
            })
            .collect();
        life.concerts = concerts
            .iter()
            .map(|on| Concert {
                on: day(on),
                name: "concert".to_owned(),
            })
            .collect();
        let chronicle = Chronicle::of(&life);
        let rules = Rules {
            regulation: regulation.map(day),
            ..Rules::default()
        };
        let plan = plan(&chronicle, &life, &[], day("2026-11-25"), &rules);
        assert_eq!(
            plan.iter().find(|entry| entry.string == string).map(|entry| entry.when),
            when
        );
    }

    #[test]
    #[rustfmt::skip]
    fn nothing_unbroken_is_replaced_in_the_ten_days_before_a_concert() {
        // A student's gut serves three years.
        check("2026-01-10", &[],                           None, None);
        check("2023-01-10", &[],                           None, Some(When::Now));
        check("2023-12-20", &[],                           None, Some(When::By(day("2026-12-19"))));
        check("2023-12-20", &["2026-12-24"],               None, Some(When::By(day("2026-12-13"))));
        check("2023-01-10", &["2026-12-01"],               None, Some(When::After(day("2026-12-01"))));
        check("2023-01-10", &["2026-12-01", "2026-12-08"], None, Some(When::After(day("2026-12-08"))));
    }

    #[test]
    fn a_broken_string_is_replaced_at_once_until_another_one_is_on() {
        let mut life = Life::new(Sheet::of(harp_file::preset("pedal-47").expect("a preset")));
        let string = StringNumber::new(20).expect("a string");
        life.events = vec![Event {
            on: day("2026-11-20"),
            deed: crate::Deed::Broke(string),
            note: String::new(),
        }];
        life.concerts = vec![Concert {
            on: day("2026-11-28"),
            name: "concert".to_owned(),
        }];
        let today = day("2026-11-25");
        let planned = |life: &Life| {
            let plan = plan(&Chronicle::of(life), life, &[], today, &Rules::default());
            let first = plan.first().cloned().expect("an entry");
            (first.string == string).then_some((first.why, first.when))
        };
        let on = day("2026-11-20");
        assert_eq!(planned(&life), Some((Why::Broke { on }, When::Now)));
        for put_on in ["2026-11-19", "2026-11-20"] {
            life.fittings.push(Fitting {
                string,
                on: day(put_on),
                material: consort_proto::Material::Gut,
                gauge_mm: None,
                length: None,
            });
            // It is the one that was on that broke, and the one of the same day that took its place.
            assert_eq!(planned(&life).is_some(), put_on == "2026-11-19", "{put_on}");
        }
    }

    #[test]
    fn what_is_due_soon_after_a_regulation_goes_on_a_week_before_it() {
        check("2024-04-01", &[], Some("2027-01-10"), Some(When::By(day("2027-01-03"))));
    }

    #[test]
    fn nylon_goes_on_two_weeks_before_a_regulation_and_all_others_one() {
        let mut life = Life::new(Sheet::of(harp_file::preset("pedal-47").expect("a preset")));
        life.events = vec![Event {
            on: day("2026-05-10"),
            deed: crate::Deed::Restrung,
            note: String::new(),
        }];
        life.sheet.player = Player::Professional;
        let rules = Rules::of(&life.sheet, Some(day("2027-01-20")));
        let plan = plan(&Chronicle::of(&life), &life, &[], day("2026-11-25"), &rules);
        let when = |number: u32| {
            let string = StringNumber::new(number).expect("a string");
            plan.iter().find(|entry| entry.string == string).map(|entry| entry.when)
        };
        // 1A is nylon, 3B gut: a professional's top strings serve eight months, the others twelve.
        assert_eq!(when(6), Some(When::By(day("2027-01-06"))));
        assert_eq!(when(20), Some(When::By(day("2027-01-13"))));
    }

    #[test]
    fn a_string_of_unknown_age_is_not_taken_for_an_old_one_before_a_regulation() {
        let life = Life::new(Sheet::of(harp_file::preset("pedal-47").expect("a preset")));
        let rules = Rules {
            regulation: Some(day("2026-12-20")),
            ..Rules::default()
        };
        let plan = plan(&Chronicle::of(&life), &life, &[], day("2026-11-25"), &rules);
        assert_eq!(plan.len(), 47);
        assert!(
            plan.iter()
                .all(|entry| entry.why == Why::Unknown && entry.when == When::Unknown),
            "{plan:?}"
        );
    }

    #[test]
    fn strings_serve_by_player_and_register() {
        let harp = harp_file::preset("pedal-47").expect("a preset");
        let months = |number: u32, player| {
            let number = StringNumber::new(number).expect("a string");
            usual_months(harp.string(number).expect("a string"), player)
        };
        assert_eq!(months(24, Player::Professional), 12);
        assert_eq!(months(45, Player::Professional), 24);
        assert_eq!(months(24, Player::Student), 36);
        assert_eq!(months(24, Player::Amateur), 60);
        assert!(months(3, Player::Student) < months(24, Player::Student));
    }
}
