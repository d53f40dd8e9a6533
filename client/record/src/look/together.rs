//! Strings that were put on together, as one finding.

use std::collections::BTreeMap;

use consort_proto::Material;

use super::NAMED_FROM;
use crate::date::Date;
use crate::finding::{About, Cause, Finding};
use crate::visit::Life;

/// New strings that were put on on one day are one finding where they are so many: a whole set has nothing to say string by
/// string.
const TOGETHER: usize = 6;

/// `findings` with the new strings of a set as one for each material.
pub(super) fn together(findings: Vec<Finding>, life: &Life) -> Vec<Finding> {
    let key = |finding: &Finding| match (finding.about, &finding.cause) {
        (
            About::String(string),
            &Cause::NewString {
                fitted, noted: true, ..
            },
        ) => {
            let material = life.fitted(string).map(|fitting| fitting.material);
            let material = material.or_else(|| Some(life.sheet.harp.string(string)?.material));
            material.map(|material| (material, fitted))
        }
        _ => None,
    };
    let mut sets: BTreeMap<(Material, Date), Vec<Finding>> = BTreeMap::new();
    let mut all = Vec::new();
    for finding in findings {
        match key(&finding) {
            Some(set) => sets.entry(set).or_default().push(finding),
            None => all.push(finding),
        }
    }
    let mut on: BTreeMap<Date, usize> = BTreeMap::new();
    for ((_, fitted), set) in &sets {
        *on.entry(*fitted).or_default() += set.len();
    }
    for ((material, fitted), set) in sets {
        if set.len() == 1 || on.get(&fitted).is_none_or(|count| *count < TOGETHER) {
            all.extend(set);
            continue;
        }
        let last = set.iter().filter_map(|finding| match finding.cause {
            Cause::NewString {
                holds_on, within_days, ..
            } => Some((holds_on, within_days)),
            _ => None,
        });
        if let Some((holds_on, within_days)) = last.max() {
            all.push(Finding {
                about: About::Material(material),
                cause: Cause::NewStrings {
                    fitted,
                    strings: set.len(),
                    holds_on,
                    within_days,
                },
                since: fitted,
                likely: NAMED_FROM,
            });
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chronicle::Chronicle;
    use crate::date::Moment;
    use crate::look;
    use crate::{Deed, Event, Heard, Place, Sheet, Visit};
    use consort_proto::{Cents, Reading, Tolerance, Tuning, harp_file};

    #[test]
    fn a_whole_new_set_is_one_finding_for_each_material_and_nothing_is_said_of_the_old_strings() {
        let mut life = Life::new(Sheet::of(harp_file::preset("lever-34").expect("a preset")));
        let begin = 1_790_000_000;
        for day in 0..8_i64 {
            let at = Moment(begin + day * 86_400);
            let mut visit = Visit::new(at, Place::default(), Tuning::default(), Tolerance::default());
            for (number, string) in life.sheet.harp.numbered() {
                let open = Tuning::default().open_target(string);
                let slips = number.get() == 12 && (2..=5).contains(&day);
                let stretches = if day > 5 { -40.0 / (day - 4) as f64 } else { 0.0 };
                for cents in [if slips { -9.0 } else { stretches }, 0.0] {
                    let reading = Reading::new(number, open.raised_by(Cents(cents)), Cents(0.2)).expect("a reading");
                    visit.hear(&Heard {
                        at,
                        position: 0,
                        reading,
                        timbre: None,
                    });
                }
            }
            life.visits.push(visit);
        }
        let words = |life: &Life| -> Vec<&'static str> {
            let today = life.visits.last().expect("a tuning").at.date();
            look(&Chronicle::of(life), life, today)
                .iter()
                .map(|finding| finding.cause.word())
                .collect()
        };
        let mut before = life.clone();
        before.visits.truncate(6);
        assert_eq!(words(&before), ["slipping-pin"]);
        life.events = vec![Event {
            on: Moment(begin + 5 * 86_400).date(),
            deed: Deed::Restrung,
            note: String::new(),
        }];
        let said = words(&life);
        assert!(
            !said.is_empty() && said.iter().all(|word| *word == "new-strings"),
            "{said:?}"
        );
    }
}
