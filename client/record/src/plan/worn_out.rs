//! What the plan says of old and dull strings, as findings.

use std::collections::BTreeMap;

use consort_proto::{Material, StringNumber};

use super::{MONTH_DAYS, Replacement, When, Why};
use crate::date::Date;
use crate::finding::{About, Cause, Finding};
use crate::look::NAMED_FROM;
use crate::visit::Life;

/// What the plan says of old and dull strings as findings: the old ones of a material together.
pub fn worn_out(plan: &[Replacement], life: &Life, today: Date) -> Vec<Finding> {
    let mut findings = Vec::new();
    let mut old: BTreeMap<Material, Vec<(&Replacement, u32, u32)>> = BTreeMap::new();
    for entry in plan {
        let about = About::String(entry.string);
        match entry.why {
            Why::Dull { db } => findings.push(Finding {
                about,
                cause: Cause::Dull { db, when: entry.when },
                since: today,
                likely: NAMED_FROM,
            }),
            Why::Old { months, usual } if months >= usual => {
                let material = life.fitted(entry.string).map(|fitting| fitting.material);
                let material = material.or_else(|| Some(life.sheet.harp.string(entry.string)?.material));
                if let Some(material) = material {
                    old.entry(material).or_default().push((entry, months, usual));
                }
            }
            Why::Broke { .. } | Why::False | Why::Old { .. } | Why::Unknown => {}
        }
    }
    findings.extend(old.into_iter().map(|(material, old)| {
        let range = |of: fn(&(&Replacement, u32, u32)) -> u32| {
            let all = || old.iter().map(of);
            (all().min().unwrap_or(0), all().max().unwrap_or(0))
        };
        let mut strings: Vec<StringNumber> = old.iter().map(|(entry, ..)| entry.string).collect();
        strings.sort_unstable();
        let due = |(entry, _, usual): &(&Replacement, u32, u32)| {
            Some(entry.fitted?.plus((f64::from(*usual) * MONTH_DAYS) as i32))
        };
        Finding {
            about: About::Material(material),
            cause: Cause::Old {
                strings,
                months: range(|old| old.1),
                usual: range(|old| old.2),
                when: old.iter().map(|(entry, ..)| entry.when).min().unwrap_or(When::Now),
            },
            since: old.iter().filter_map(due).min().unwrap_or(today),
            likely: 1.0,
        }
    }));
    findings.sort_by_key(Finding::order);
    findings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chronicle::Chronicle;
    use crate::plan::{Rules, plan};
    use crate::{Concert, Event, Sheet};
    use consort_proto::harp_file;

    fn day(text: &str) -> Date {
        text.parse().expect("a day")
    }

    #[test]
    fn old_strings_of_one_material_are_one_finding_with_the_day_of_the_first() {
        let mut life = Life::new(Sheet::of(harp_file::preset("pedal-47").expect("a preset")));
        life.sheet.concert_days = 20;
        life.events = vec![Event {
            on: day("2022-01-10"),
            deed: crate::Deed::Restrung,
            note: String::new(),
        }];
        life.concerts = vec![Concert {
            on: day("2026-12-12"),
            name: "concert".to_owned(),
        }];
        let today = day("2026-11-25");
        // Seventeen days before it, which ten would leave alone and twenty do not.
        let told = |life: &Life| {
            let plan = plan(&Chronicle::of(life), life, &[], today, &Rules::of(&life.sheet, None));
            worn_out(&plan, life, today)
        };
        let findings = told(&life);
        let gut = findings
            .iter()
            .find(|finding| finding.about == About::Material(Material::Gut));
        let Some(Cause::Old {
            strings,
            months,
            usual,
            when,
        }) = gut.map(|finding| &finding.cause)
        else {
            panic!("{findings:?}");
        };
        assert!(
            strings.len() > 20 && *months == (58, 58) && *usual == (24, 36),
            "{findings:?}"
        );
        assert_eq!(*when, When::After(day("2026-12-12")));
        life.sheet.concert_days = 10;
        assert!(
            told(&life)
                .iter()
                .all(|finding| matches!(finding.cause, Cause::Old { when: When::Now, .. })),
        );
    }
}
